import type { Metadata } from 'sharp';
import { encodeSrgb } from '../colour/index.ts';
import { AppError } from '../errors.ts';
import { tabulate } from '../numeric/index.ts';
import { type PhotoFormat, readIccName, sniffFormat } from './container.ts';
import { decodePixelsApart, findDecoder } from './decode-apart.ts';
import { type ExifFacts, readExifFacts } from './exif.ts';
import { type FileColour, readFileColour } from './file-colour.ts';
import { sha256 } from './files.ts';
import { hasHeicDecoder } from './heic.ts';
import { readIcc } from './icc.ts';
import { loadSharp } from './kernels.ts';
import { dropBytes } from './memory.ts';
import { type PhotoColour, SRGB_CURVE, tabulateCurve } from './photo-colour.ts';
import { decodePixels, type PixelsRequest } from './pixels.ts';
import { readInput } from './read-input.ts';

/** What is taken as a photograph. The pixel limit is checked from the header, before anything is decoded. */
export const PHOTO_LIMITS = {
  /** Shortest side, pixels. Assumed: below it nothing can be recognised. */
  minSide: 8,
  /** Longest side over shortest side, a ratio. Assumed: panoramas reach 10; beyond 20 it is a mistake. */
  maxAspect: 20,
  /** Pixels, width × height: 2^14 − 1 squared, 268 megapixels. Assumed: above every camera, below what memory holds. */
  maxPixels: 268_402_689,
  /**
   * Decoded bytes a pixel at that size. Exact: 8-bit colour. More channels or bits a channel leave room for fewer
   * pixels.
   */
  bytesAPixel: 3,
  /** Longest that decoding may take, seconds; assumed, fifty times what 100 megapixels of JPEG take. */
  seconds: 120,
} as const;

export interface PhotoFacts {
  readonly format: PhotoFormat;
  /** Colour space of the file before conversion: `srgb`, `cmyk`, `b-w`, `rgb16`, `grey16`, … */
  readonly space: string;
  /** Name of the embedded ICC profile; undefined when there is none. */
  readonly iccProfile: string | undefined;
  /** EXIF orientation 1…8 as found; the pixels are already turned. */
  readonly orientation: number;
  readonly hasAlpha: boolean;
  readonly progressive: boolean;
  /** Size of the file, bytes. */
  readonly bytes: number;
  /** SHA-256 of the file, hexadecimal. */
  readonly sha256: string;
  /** What the camera says about the taking; undefined when it says nothing. */
  readonly exif?: ExifFacts;
}

export interface DecodeLimits {
  /** Most pixels, where memory is shared with others. */
  readonly maxPixels?: number;
  /** Longest that decoding may take, whole seconds. */
  readonly seconds?: number;
}

/**
 * A decoded photograph: samples row-major, channels interleaved, turned upright; sRGB-coded unless `colour` says other.
 */
export interface Photo {
  readonly width: number;
  readonly height: number;
  readonly bits: 8 | 16;
  /** 3: red, green, blue; 1: grey. */
  readonly channels: 1 | 3;
  /** Uint8Array when bits is 8, Uint16Array when 16; width × height × channels samples. */
  readonly rgb: Uint8Array | Uint16Array;
  /** What the samples are where they are not sRGB. Of 16 bits all channels have one curve. */
  readonly colour?: PhotoColour;
  /** 0 transparent (bare material) … 255 opaque; undefined when the file has no alpha. */
  readonly alpha?: Uint8Array;
  readonly facts: PhotoFacts;
}

/**
 * Read a photograph: JPEG, PNG, TIFF, WebP, AVIF or HEIC, 8 or 16 bit, colour, grey or CMYK, any embedded ICC profile.
 * @throws AppError those of {@link readPhotoFile} and {@link decodePhoto}
 */
export async function readPhoto(path: string): Promise<Photo> {
  const bytes = await readPhotoFile(path);
  const photo = await decodePhoto(bytes, path);
  dropBytes(bytes);
  return photo;
}

/**
 * Bytes of a photo's file, refused by its first bytes where they are of no photo; `name` is what messages call it.
 * @throws AppError path-*, file-too-large, image-empty, image-unknown
 */
export function readPhotoFile(path: string, name: string = path): Promise<Buffer> {
  return readInput(path, {
    kind: 'picture',
    label: name,
    needed: 'a photo',
    checkHead: (head) => checkFormat(head, name),
  });
}

/**
 * Decode a photograph from the bytes of its file; `name` is what messages call it.
 * The limits are those of {@link PHOTO_LIMITS} unless others are given.
 * Profiles of primaries and curves stay as they are and are named by `colour`; profiles of tables, and inks, are
 * converted to sRGB, at 16 bit when the file has 16.
 * @throws AppError image-empty, image-unknown, image-broken, image-too-small, image-too-long, image-too-large,
 * image-too-slow, image-profile-broken
 */
export async function decodePhoto(
  bytes: Buffer,
  name: string,
  { maxPixels = PHOTO_LIMITS.maxPixels, seconds = PHOTO_LIMITS.seconds }: DecodeLimits = {},
): Promise<Photo> {
  const format = checkFormat(bytes, name);
  const found = await readHeader(bytes, { name, format });
  checkSides(found.autoOrient, name);
  checkPixelCount(found.autoOrient, name, maxPixels);
  checkDecodedBytes(found, name, maxPixels);

  const deep = found.depth === 'ushort';
  // What decodes HEIC gives three channels, whatever lies in the file.
  const grey = (found.space === 'b-w' || found.space === 'grey16') && format !== 'heic';
  const fileColour = checkColour(bytes, { found, format, grey, name });
  // Colours that are known exactly are taken as they are: the library would cut off what sRGB has not.
  const colour = fileColour.kind === 'own' ? fileColour.colour : undefined;
  const ignoreIcc = fileColour.kind === 'own' || fileColour.kind === 'srgb';
  // The library converts profiled 16-bit samples to the P3 primaries on reading; a second step brings them to sRGB.
  // Without a profile that step must not run: it would take plain samples for P3.
  const isConverted = deep && fileColour.kind === 'library';
  // Of 8-bit grey with alpha the library would give the grey alone; three equal channels keep the alpha beside them.
  const spread = grey && !deep && found.hasAlpha;
  const space = deep ? (grey ? 'grey16' : 'rgb16') : grey && !spread ? 'b-w' : 'srgb';
  // A HEIC says in its boxes how it is turned, which its decoder has done; what a camera says beside is not to be done
  // again.
  const isTurned = format !== 'heic' && (found.orientation ?? 1) !== 1;
  if (format === 'heic') {
    requireHeicDecoder(name);
    if (fileColour.kind === 'library' && found.icc && readIcc(found.icc).kind === 'tables') {
      throw new AppError(
        'image-unknown',
        `${name}: found a HEIC with a colour profile of tables, needed one of primaries and curves, or the photo as JPEG`,
        { name },
      );
    }
  }
  const isHeic = format === 'heic' ? { isHeic: true as const, hasAlpha: found.hasAlpha } : {};
  const request: PixelsRequest = { deep, space, isTurned, ignoreIcc, isConverted, seconds, ...isHeic };
  const program = AT_ONCE.has(format) ? findDecoder() : undefined;
  const decoding = program ? decodePixelsApart(bytes, { request, seconds, program }) : decodePixels(bytes, request);
  const { data, complaint, ...info } = await decoding.catch((error: Error) => {
    throw explainDecodeError(error, { name, bytes: bytes.length, seconds });
  });
  if (complaint !== undefined && fileColour.kind === 'library') {
    throw damagedProfile({ name, found: `a colour profile that cannot be used (${complaint})` });
  }
  if (found.hasAlpha && info.channels !== 2 && info.channels !== 4) {
    throw new AppError(
      'image-unknown',
      `${name}: found transparency in the header and ${info.channels} channels without it in the pixels (${found.space}), needed both or neither`,
      { name, space: found.space, channels: info.channels },
    );
  }
  const samples = deep ? viewWords(data) : new Uint8Array(data.buffer, data.byteOffset, data.length);
  const exif = found.exif && readExifFacts(found.exif);
  const facts: PhotoFacts = {
    format,
    space: found.space,
    iccProfile: found.icc ? (readIccName(found.icc) ?? 'unnamed') : undefined,
    orientation: found.orientation ?? 1,
    hasAlpha: found.hasAlpha,
    progressive: found.isProgressive,
    bytes: bytes.length,
    sha256: sha256(bytes),
    ...(exif ? { exif } : {}),
  };
  return {
    width: info.width,
    height: info.height,
    bits: deep ? 16 : 8,
    ...unifyCurves(splitAlpha(samples, { found: info.channels, grey }), colour),
    facts,
  };
}

/**
 * HEIC is decoded by a library of its own that may be left out of an installation.
 * @throws AppError image-unknown
 */
function requireHeicDecoder(name: string): void {
  if (hasHeicDecoder()) return;
  throw new AppError(
    'image-unknown',
    `${name}: found a HEIC photo, and what decodes it (libheif-js, an optional package) is not installed; needed that, or the photo as JPEG: ${FROM_A_PHONE}`,
    { name },
  );
}

/** How a phone gives out a photo that every program reads. */
const FROM_A_PHONE =
  'phones have a setting for "most compatible" pictures, and send JPEG when a photo is shared by mail';

/**
 * Formats whose decoders make the whole picture in one call, so that no time limit reaches them: decoded in a process
 * that can be ended. Costs the start of a process for each such photo, and nothing for the others
 * (tests/plane/decode-apart.test.ts).
 */
const AT_ONCE: ReadonlySet<PhotoFormat> = new Set(['avif', 'webp', 'heic']);

/** What the file says of its colours; what cannot be trusted is refused, since any guess would burn other tones. */
function checkColour(
  bytes: Buffer,
  { found, format, grey, name }: { found: Metadata; format: PhotoFormat; grey: boolean; name: string },
): FileColour {
  const samples = grey ? 'grey' : found.space === 'cmyk' ? 'inks' : 'colour';
  const colour = readFileColour(bytes, { format, icc: found.icc, exif: found.exif, samples });
  if (colour.kind === 'damaged') throw damagedProfile({ name, found: colour.found });
  if (colour.kind === 'unreadable') {
    throw new AppError('image-unknown', `${name}: found ${colour.found}, needed a photo in sRGB or with a profile`, {
      name,
    });
  }
  return colour;
}

function damagedProfile({ name, found }: { readonly name: string; readonly found: string }): AppError {
  return new AppError(
    'image-profile-broken',
    `${name}: found ${found}, needed a whole one: without it tones are a guess`,
    {
      name,
    },
  );
}

/** The kernels have one curve for 16-bit samples: where the channels differ, all are written anew in sRGB's. */
function unifyCurves<T extends Pick<Photo, 'rgb'>>(
  made: T,
  colour: PhotoColour | undefined,
): T & Pick<Photo, 'colour'> {
  const { rgb } = made;
  if (colour === undefined) return made;
  if (colour.curves.length === 1 || !(rgb instanceof Uint16Array)) return { ...made, colour };
  const tables = colour.curves.map((curve) => {
    const light = tabulateCurve(curve, 65536);
    return tabulate(new Uint16Array(light.length), (code) => Math.round(65535 * encodeSrgb(light[code]!)));
  });
  for (let at = 0; at < rgb.length; at++) rgb[at] = tables[at % 3]![rgb[at]!]!;
  return { ...made, colour: { ...colour, curves: [SRGB_CURVE] } };
}

function checkFormat(bytes: Uint8Array, name: string): PhotoFormat {
  if (bytes.length === 0) {
    throw new AppError('image-empty', `${name}: found 0 bytes, needed a photo`, { name, bytes: 0 });
  }
  const { format, found } = sniffFormat(bytes);
  if (format === undefined || format === 'bmp') {
    throw new AppError('image-unknown', `${name}: found ${found}, needed a JPEG, PNG, TIFF, WebP, AVIF or HEIC photo`, {
      name,
      found,
    });
  }
  return format;
}

/** What the image library calls each format. */
const LIBRARY_NAMES: Readonly<Record<PhotoFormat, string>> = {
  jpeg: 'jpeg',
  png: 'png',
  tiff: 'tiff',
  webp: 'webp',
  avif: 'heif',
  heic: 'heif',
};
/** How the pictures in a HEIF file are coded. */
const CODED: Readonly<Partial<Record<PhotoFormat, string>>> = { avif: 'av1', heic: 'hevc' };

/**
 * The library's word on what a file is, against what its first bytes say: a file that is two things at once is taken as
 * neither.
 * @throws AppError image-unknown
 */
export function checkLibraryFormat(found: Metadata, name: string, format: PhotoFormat): void {
  const isSame = found.format === LIBRARY_NAMES[format] && (!CODED[format] || found.compression === CODED[format]);
  if (isSame) return;
  const inside = [found.format, found.compression].filter(Boolean).join(', ');
  throw new AppError(
    'image-unknown',
    `${name}: found ${inside} dressed as ${format}, needed a file that is one thing`,
    {
      name,
      format,
      found: found.format,
    },
  );
}

async function readHeader(
  bytes: Buffer,
  { name, format }: { readonly name: string; readonly format: PhotoFormat },
): Promise<Metadata> {
  const found = await loadSharp()(bytes, { limitInputPixels: false })
    .metadata()
    .catch((error: Error) => {
      throw new AppError('image-broken', `${name}: found a damaged header (${tidy(error)}), needed a whole file`, {
        name,
        bytes: bytes.length,
      });
    });
  checkLibraryFormat(found, name, format);
  if (found.depth !== 'uchar' && found.depth !== 'ushort') {
    throw new AppError('image-unknown', `${name}: found ${found.depth} samples, needed 8 or 16 bits a channel`, {
      name,
      depth: found.depth,
    });
  }
  return found;
}

function checkSides({ width, height }: { width: number; height: number }, name: string): void {
  const { minSide, maxAspect } = PHOTO_LIMITS;
  const found = `${name}: found ${width} × ${height} pixels`;
  if (Math.min(width, height) < minSide) {
    throw new AppError('image-too-small', `${found}, needed at least ${minSide} on each side`, {
      width,
      height,
      minSide,
    });
  }
  const aspect = Math.max(width, height) / Math.min(width, height);
  if (aspect > maxAspect) {
    const ratio = Math.round(aspect * 10) / 10;
    throw new AppError('image-too-long', `${found} (sides ${ratio} : 1), needed at most ${maxAspect} : 1`, {
      width,
      height,
      aspect,
      maxAspect,
    });
  }
}

/**
 * Refuse what would fill the memory, by the header alone.
 * @throws AppError image-too-large
 */
export function checkPixelCount(
  { width, height }: { width: number; height: number },
  name: string,
  maxPixels: number = PHOTO_LIMITS.maxPixels,
): void {
  if (width * height <= maxPixels) return;
  const [has, may] = [width * height, maxPixels].map((pixels) => Math.round(pixels / 1e6));
  throw new AppError(
    'image-too-large',
    `${name}: found ${width} × ${height} pixels (${has} megapixels), needed at most ${may} megapixels`,
    { width, height, maxPixels },
  );
}

/**
 * Refuse what would fill the memory by the width of its pixels: 16 bits, alpha, four inks.
 * @throws AppError image-too-large
 */
export function checkDecodedBytes(
  { width, height, channels, depth, space }: Metadata,
  name: string,
  maxPixels: number = PHOTO_LIMITS.maxPixels,
): void {
  // Inks become colours and palettes their colours; at least the bytes of what comes out count.
  const bytesAPixel = Math.max(channels, space === 'cmyk' ? 4 : 1) * (depth === 'ushort' ? 2 : 1);
  const most = maxPixels * PHOTO_LIMITS.bytesAPixel;
  if (width * height * bytesAPixel <= most) return;
  const [has, may] = [width * height, most / bytesAPixel].map((pixels) => Math.floor(pixels / 1e6));
  throw new AppError(
    'image-too-large',
    `${name}: found ${width} × ${height} pixels of ${bytesAPixel} bytes (${has} megapixels), needed at most ${may} megapixels of that kind`,
    { width, height, bytesAPixel, maxBytes: most },
  );
}

interface DecodeContext {
  readonly name: string;
  /** Size of the file. */
  readonly bytes: number;
  /** The time limit, seconds. */
  readonly seconds: number;
}

/** What stopped the library's decoding, in words for a person. */
export function explainDecodeError(error: Error, { name, bytes, seconds }: DecodeContext): AppError {
  if (/^timeout\b/m.test(error.message)) {
    return new AppError(
      'image-too-slow',
      `${name}: found pixels that were not decoded after ${seconds} s, needed a file that opens sooner`,
      { name, bytes, seconds },
    );
  }
  return new AppError('image-broken', `${name}: found damage while decoding (${tidy(error)}), needed a whole file`, {
    name,
    bytes,
  });
}

/** First line of the library's message; the rest repeats it. */
function tidy(error: Error): string {
  return error.message.split('\n')[0]!.trim();
}

/** 16-bit view of the library's bytes; a copy only if they should lie at an odd address. */
function viewWords(data: Uint8Array): Uint16Array {
  const whole = data.byteOffset % 2 === 0 ? data : new Uint8Array(data);
  return new Uint16Array(whole.buffer, whole.byteOffset, data.length >> 1);
}

/**
 * Take the last channel out as 8-bit alpha and close the gaps in place: no second copy of a large photo. Of grey that
 * came as three equal channels one stays.
 */
function splitAlpha(
  samples: Uint8Array | Uint16Array,
  { found, grey }: { readonly found: number; readonly grey: boolean },
): Pick<Photo, 'rgb' | 'channels' | 'alpha'> {
  if (found === 1 || found === 3) return { rgb: samples, channels: found };
  const channels = found === 2 || grey ? 1 : 3;
  const skipped = found - 1 - channels;
  const pixels = samples.length / found;
  const alpha = new Uint8Array(pixels);
  const full = samples instanceof Uint16Array ? 65535 : 255;
  for (let pixel = 0, from = 0, to = 0; pixel < pixels; pixel++) {
    for (let channel = 0; channel < channels; channel++) samples[to++] = samples[from++];
    from += skipped;
    alpha[pixel] = full === 255 ? samples[from++] : Math.round((samples[from++] * 255) / full);
  }
  return { rgb: samples.subarray(0, pixels * channels), channels, alpha };
}
