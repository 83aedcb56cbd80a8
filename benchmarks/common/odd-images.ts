import { deflateSync } from 'node:zlib';
import sharp from 'sharp';
import { pngChunk } from '../../src/plane/png.ts';

/** Photographs as customers send them, made from a sample while the tests run; none is stored. */

export const SAMPLE = 'images/photos/portrait.png';

/** A small colour photo, so that each odd file is quick to make: 160 × 120. */
export const openSample = () => sharp(SAMPLE).resize(160, 120);

export const makeBaselineJpeg = () => openSample().jpeg({ quality: 95, chromaSubsampling: '4:4:4' }).toBuffer();
export const makeProgressiveJpeg = () =>
  openSample().jpeg({ quality: 95, chromaSubsampling: '4:4:4', progressive: true }).toBuffer();
export const makeCmykJpeg = () => openSample().toColourspace('cmyk').jpeg({ quality: 100 }).toBuffer();
export const makeGreyJpeg = () => openSample().greyscale().toColourspace('b-w').jpeg({ quality: 95 }).toBuffer();
export const makePng = () => openSample().png().toBuffer();
export const makeTiff = () => openSample().tiff({ compression: 'deflate' }).toBuffer();
export const makeWebp = () => openSample().webp({ lossless: true }).toBuffer();
export const makeAvif = () => openSample().avif({ lossless: true, chromaSubsampling: '4:4:4' }).toBuffer();
export const makeGif = () => openSample().gif().toBuffer();

/** The sample in the P3 primaries with their profile: same colours, other numbers. */
export const makeP3Jpeg = () =>
  openSample().withIccProfile('p3').jpeg({ quality: 100, chromaSubsampling: '4:4:4' }).toBuffer();

/** The sample lying as EXIF orientation `orientation` says; upright it is 160 × 120 again for 1 … 4. */
export const makeTurnedJpeg = (orientation: number) =>
  openSample().withMetadata({ orientation }).jpeg({ quality: 95, chromaSubsampling: '4:4:4' }).toBuffer();

export interface Words {
  readonly width: number;
  readonly height: number;
  readonly channels: 1 | 3 | 4;
  readonly samples: Uint16Array;
}

const openWords = ({ width, height, channels, samples }: Words) =>
  sharp(samples, { raw: { width, height, channels } }).toColourspace(channels === 1 ? 'grey16' : 'rgb16');

export const makePng16 = (words: Words) => openWords(words).png().toBuffer();
/** Deflate: the library's own choice for TIFF is JPEG, which would cut 16 bits to 8. */
export const makeTiff16 = (words: Words) => openWords(words).tiff({ compression: 'deflate' }).toBuffer();

/** Sides and opacity of a flat picture with an alpha that rises from left to right. */
export async function makeAlphaPng(): Promise<Buffer> {
  const [width, height] = [64, 32];
  const data = Buffer.alloc(4 * width * height);
  for (let pixel = 0; pixel < width * height; pixel++) {
    data.set([200, 100, 50, Math.round(((pixel % width) / (width - 1)) * 255)], 4 * pixel);
  }
  return sharp(data, { raw: { width, height, channels: 4 } })
    .png()
    .toBuffer();
}

/** Code of the square in the middle of the cut-outs, and of the transparent white around it. */
export const CUT_OUT = { side: 40, from: 10, to: 30, code: 90, around: 255 } as const;

const isInside = (pixel: number) => {
  const { side, from, to } = CUT_OUT;
  const [x, y] = [pixel % side, Math.floor(pixel / side)];
  return x >= from && x < to && y >= from && y < to;
};

/** An opaque grey square on transparent white, `channels` samples a pixel. */
function openCutOut(channels: 2 | 4) {
  const { side, code, around } = CUT_OUT;
  const data = Buffer.alloc(side * side * channels);
  for (let pixel = 0; pixel < side * side; pixel++) {
    const inside = isInside(pixel);
    data.fill(inside ? code : around, pixel * channels, (pixel + 1) * channels - 1);
    data[(pixel + 1) * channels - 1] = inside ? 255 : 0;
  }
  return sharp(data, { raw: { width: side, height: side, channels } });
}

/**
 * PNG of one byte a pixel, opaque but for the code that its tRNS chunk names: grey (colour type 0) or a palette (3).
 */
function makeTransparentPng(colourType: 0 | 3): Buffer {
  const { side, code, around } = CUT_OUT;
  const header = Buffer.alloc(13);
  header.writeUInt32BE(side, 0);
  header.writeUInt32BE(side, 4);
  header.set([8, colourType], 8);
  const palette = colourType === 3;
  const rows = Buffer.alloc(side * (side + 1));
  for (let pixel = 0; pixel < side * side; pixel++) {
    const value = isInside(pixel) ? (palette ? 1 : code) : palette ? 0 : around;
    rows[Math.floor(pixel / side) * (side + 1) + 1 + (pixel % side)] = value;
  }
  return Buffer.concat([
    Buffer.from([0x89, 0x50, 0x4e, 0x47, 0x0d, 0x0a, 0x1a, 0x0a]),
    pngChunk('IHDR', header),
    ...(palette ? [pngChunk('PLTE', Buffer.from([around, around, around, code, code, code]))] : []),
    pngChunk('tRNS', palette ? Buffer.from([0, 255]) : Buffer.from([0, around])),
    pngChunk('IDAT', deflateSync(rows)),
    pngChunk('IEND', new Uint8Array(0)),
  ]);
}

/** The same cut-out in each way that a file has to say it. */
export const CUT_OUTS: readonly (readonly [what: string, make: () => Promise<Buffer> | Buffer])[] = [
  ['RGBA PNG', () => openCutOut(4).png().toBuffer()],
  ['RGBA TIFF', () => openCutOut(4).tiff({ compression: 'deflate' }).toBuffer()],
  ['RGBA WebP', () => openCutOut(4).webp({ lossless: true, exact: true }).toBuffer()],
  ['grey and alpha PNG', () => openCutOut(2).toColourspace('b-w').png().toBuffer()],
  ['grey and alpha TIFF', () => openCutOut(2).toColourspace('b-w').tiff({ compression: 'deflate' }).toBuffer()],
  ['16-bit grey and alpha PNG', () => openCutOut(2).toColourspace('grey16').png().toBuffer()],
  ['grey PNG with one transparent code', () => makeTransparentPng(0)],
  ['palette PNG with a transparent entry', () => makeTransparentPng(3)],
];

/**
 * A CMYK TIFF of 64 megapixels in a few megabytes: all its strips are the same noise. Its inks take seconds to turn
 * into colours.
 */
export function makeSlowTiff(): Buffer {
  const [side, rows] = [8000, 100];
  const noise = Buffer.alloc(4 * side * rows);
  for (let at = 0; at < noise.length; at++) noise[at] = Math.imul(at + 1, 0x9e3779b1) >>> 24;
  const strip = deflateSync(noise, { level: 1 });
  const strips = side / rows;
  const listsAt = 8 + strip.length + (strip.length & 1);
  const directoryAt = listsAt + 8 + 8 * strips;
  const entries: readonly [tag: number, type: number, count: number, value: number][] = [
    [256, 4, 1, side],
    [257, 4, 1, side],
    [258, 3, 4, listsAt],
    [259, 3, 1, 8],
    [262, 3, 1, 5],
    [273, 4, strips, listsAt + 8],
    [277, 3, 1, 4],
    [278, 4, 1, rows],
    [279, 4, strips, listsAt + 8 + 4 * strips],
    [284, 3, 1, 1],
  ];
  const bytes = Buffer.alloc(directoryAt + 2 + 12 * entries.length + 4);
  bytes.write('II*\0', 0, 'latin1');
  bytes.writeUInt32LE(directoryAt, 4);
  bytes.set(strip, 8);
  for (let ink = 0; ink < 4; ink++) bytes.writeUInt16LE(8, listsAt + 2 * ink);
  for (let at = 0; at < strips; at++) {
    bytes.writeUInt32LE(8, listsAt + 8 + 4 * at);
    bytes.writeUInt32LE(strip.length, listsAt + 8 + 4 * (strips + at));
  }
  let at = bytes.writeUInt16LE(entries.length, directoryAt);
  for (const [tag, type, count, value] of entries) {
    bytes.writeUInt16LE(tag, at);
    bytes.writeUInt16LE(type, at + 2);
    bytes.writeUInt32LE(count, at + 4);
    bytes.writeUInt32LE(value, at + 8);
    at += 12;
  }
  return bytes;
}

/** A drawing that also reads as the first bytes of an AVIF. */
export const DRESSED_SVG = Buffer.from(
  '<!--ftypavif    avif      --><svg xmlns="http://www.w3.org/2000/svg" width="640" height="480"><rect width="640" height="480"/></svg>',
);

/** A flat grey picture of any sides. */
export const makeFlatPng = (width: number, height: number) =>
  sharp({ create: { width, height, channels: 3, background: '#808080' } })
    .png()
    .toBuffer();

/**
 * A PNG whose header promises `width` × `height` pixels and whose data are a few bytes: 8-bit colour, or 16-bit RGBA.
 */
export function makeBombPng(width: number, height: number, kind: 'rgb8' | 'rgba16' = 'rgb8'): Buffer {
  const header = Buffer.alloc(13);
  header.writeUInt32BE(width, 0);
  header.writeUInt32BE(height, 4);
  header.set(kind === 'rgb8' ? [8, 2] : [16, 6], 8);
  return Buffer.concat([
    Buffer.from([0x89, 0x50, 0x4e, 0x47, 0x0d, 0x0a, 0x1a, 0x0a]),
    pngChunk('IHDR', header),
    pngChunk('IDAT', deflateSync(Buffer.alloc(1000))),
    pngChunk('IEND', new Uint8Array(0)),
  ]);
}

/** A JPEG whose header is made to promise 65500 × 65500 pixels. */
export async function makeBombJpeg(): Promise<Buffer> {
  const bytes = Buffer.from(await makeBaselineJpeg());
  const frame = bytes.indexOf(Buffer.from([0xff, 0xc0]));
  bytes.writeUInt16BE(65500, frame + 5);
  bytes.writeUInt16BE(65500, frame + 7);
  return bytes;
}

/** The first bytes of files that people take for photos. */
export const STRANGERS: readonly (readonly [what: string, bytes: Buffer, found: string])[] = [
  ['text', Buffer.from('not an image\n'), 'no known picture format'],
  ['a film', Buffer.from('\0\0\0\x18ftypisom\0\0\0\0isommp42', 'latin1'), 'a video or another ISO media file'],
  ['CR3', Buffer.from('\0\0\0\x18ftypcrx \0\0\0\x01crx isom', 'latin1'), "a camera's raw file"],
  ['CR2', Buffer.from('II*\0\x10\0\0\0CR\x02\0\0\0\0\0', 'latin1'), "a camera's raw file"],
  // One tag, 50706: DNGVersion.
  [
    'DNG',
    Buffer.from('II*\0\x08\0\0\0\x01\0\x12\xc6\x01\0\x04\0\0\0\x01\x04\0\0\0\0\0\0', 'latin1'),
    "a camera's raw file",
  ],
  ['PDF', Buffer.from('%PDF-1.7\n'), 'a PDF'],
  ['SVG', Buffer.from('<?xml version="1.0"?>\n<svg xmlns="http://www.w3.org/2000/svg"/>'), 'an SVG drawing'],
];

const s15 = (value: number) => {
  const bytes = Buffer.alloc(4);
  bytes.writeInt32BE(Math.round(value * 65536));
  return bytes;
};

/** Colorants of Adobe RGB (1998) adapted to D50, and its gamma of 563/256 (from memory). */
const ADOBE_RGB = {
  rXYZ: [0.60974, 0.31111, 0.01947],
  gXYZ: [0.20528, 0.62567, 0.06087],
  bXYZ: [0.14919, 0.06322, 0.74457],
} as const;

const XYZ_D50 = [0.9642, 1, 0.82491] as const;

const xyz = (values: readonly number[]) => Buffer.concat([Buffer.from('XYZ \0\0\0\0', 'latin1'), ...values.map(s15)]);

const curve = (gamma: number) => {
  const bytes = Buffer.from('curv\0\0\0\0\0\0\0\x01\0\0\0\0', 'latin1');
  bytes.writeUInt16BE(Math.round(gamma * 256), 12);
  return bytes;
};

export interface ProfileParts {
  /** Version 2 names its own white in 'wtpt', version 4 how it was adapted in 'chad'. */
  readonly version?: 2 | 4;
  /** XYZ in the tag 'wtpt'. */
  readonly white?: readonly number[];
}

/** A profile of a colour space with the given tags beside its name. */
function makeProfile(
  space: 'RGB ' | 'GRAY',
  title: string,
  own: readonly (readonly [string, Buffer])[],
  { version = 2, white = XYZ_D50 }: ProfileParts = {},
): Buffer {
  const name = Buffer.from(`${title}\0`, 'latin1');
  const length = Buffer.alloc(4);
  length.writeUInt32BE(name.length);
  const tags: readonly (readonly [string, Buffer])[] = [
    ['desc', Buffer.concat([Buffer.from('desc\0\0\0\0', 'latin1'), length, name, Buffer.alloc(79)])],
    ['cprt', Buffer.from('text\0\0\0\0none\0\0\0\0', 'latin1')],
    ['wtpt', xyz(white)],
    ...own,
  ];
  const table = Buffer.alloc(4 + 12 * tags.length);
  table.writeUInt32BE(tags.length);
  const parts: Buffer[] = [];
  let at = 128 + table.length;
  for (const [index, [tag, data]] of tags.entries()) {
    table.write(tag, 4 + 12 * index, 'latin1');
    table.writeUInt32BE(at, 8 + 12 * index);
    table.writeUInt32BE(data.length, 12 + 12 * index);
    const padded = Buffer.concat([data, Buffer.alloc((4 - (data.length % 4)) % 4)]);
    parts.push(padded);
    at += padded.length;
  }
  const header = Buffer.alloc(128);
  header.writeUInt32BE(at, 0);
  header.writeUInt32BE(version === 2 ? 0x02400000 : 0x04400000, 8);
  header.write(`mntr${space}XYZ `, 12, 'latin1');
  header.writeUInt16BE(2000, 24);
  header.writeUInt16BE(1, 26);
  header.writeUInt16BE(1, 28);
  header.write('acsp', 36, 'latin1');
  Buffer.concat(XYZ_D50.map(s15)).copy(header, 68);
  return Buffer.concat([header, table, ...parts]);
}

/** A matrix profile named "Wide test" with the colorants and gamma of Adobe RGB (1998). */
export function makeWideProfile(): Buffer {
  return makeProfile('RGB ', 'Wide test', [
    ...Object.entries(ADOBE_RGB).map(([tag, values]) => [tag, xyz(values)] as const),
    ...['rTRC', 'gTRC', 'bTRC'].map((tag) => [tag, curve(563 / 256)] as const),
  ]);
}

/**
 * A matrix profile of colorants (XYZ under D50, by primary), one curve and, in version 4, the adaptation (row by row).
 */
export function makeMatrixProfile(
  colorants: readonly (readonly number[])[],
  { tone, chad, ...parts }: ProfileParts & { readonly tone: Buffer; readonly chad?: readonly number[] },
): Buffer {
  const adaptation = chad && Buffer.concat([Buffer.from('sf32\0\0\0\0', 'latin1'), ...chad.map(s15)]);
  return makeProfile(
    'RGB ',
    'Matrix test',
    [
      ...colorants.map((values, at) => [['rXYZ', 'gXYZ', 'bXYZ'][at]!, xyz(values)] as const),
      ...['rTRC', 'gTRC', 'bTRC'].map((tag) => [tag, tone] as const),
      ...(adaptation ? [['chad', adaptation] as const] : []),
    ],
    parts,
  );
}

/** A tone curve as a table of 16-bit light at equal steps of the code. */
export function makeToneTable(length: number, lightOf: (code: number) => number): Buffer {
  const bytes = Buffer.alloc(12 + 2 * length);
  bytes.write('curv', 0, 'latin1');
  bytes.writeUInt32BE(length, 8);
  for (let at = 0; at < length; at++) bytes.writeUInt16BE(Math.round(65535 * lightOf(at / (length - 1))), 12 + 2 * at);
  return bytes;
}

/** A tone curve of one exponent. */
export const makeTonePower = (exponent: number) => curve(exponent);

/** Linear grey. */
export const makeLinearGreyProfile = () => makeProfile('GRAY', 'Linear grey', [['kTRC', curve(1)]]);

export const GREY_GAMMA = 1.5;

/** A grey profile whose samples are linear light to the power 1 / GREY_GAMMA. */
export function makeGreyProfile(): Buffer {
  return makeProfile('GRAY', 'Grey test', [['kTRC', curve(GREY_GAMMA)]]);
}

/** The same PNG with one more chunk after its header. */
export function attachChunk(png: Buffer, type: string, data: Uint8Array): Buffer {
  return Buffer.concat([png.subarray(0, 33), pngChunk(type, data), png.subarray(33)]);
}

/** The same PNG with a profile attached and not one sample changed. */
export function attachProfile(png: Buffer, profile: Buffer): Buffer {
  return attachChunk(png, 'iCCP', Buffer.concat([Buffer.from('icc\0\0', 'latin1'), deflateSync(profile)]));
}

/** A PNG of codes 0 … full, 8 × 8 pixels of each, side by side: grey, or colour by three codes. */
export async function makePatches(patches: readonly (readonly number[])[], bits: 8 | 16 = 8): Promise<Buffer> {
  const channels = patches[0]!.length as 1 | 3;
  const width = 8 * patches.length;
  const samples = Array.from({ length: width * 8 * channels }, (_, at) => {
    const pixel = Math.floor(at / channels);
    return patches[Math.floor((pixel % width) / 8)]![at % channels]!;
  });
  if (bits === 16) return makePng16({ width, height: 8, channels, samples: Uint16Array.from(samples) });
  return sharp(Uint8Array.from(samples), { raw: { width, height: 8, channels } })
    .toColourspace(channels === 1 ? 'b-w' : 'srgb')
    .png()
    .toBuffer();
}
