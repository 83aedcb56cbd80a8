import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import sharp from 'sharp';
import { afterAll, describe, expect, test } from 'vitest';
import * as odd from '../../benchmarks/common/odd-images.ts';
import { findProgram, PYTHON, runProgram } from '../../benchmarks/common/outside-programs.ts';
import { lightnessOfReflectance } from '../../src/colour/index.ts';
import type { AppError } from '../../src/errors.ts';
import { decodePhoto, ONE, type Photo, readColour, resampleLuminance } from '../../src/plane/index.ts';

const folder = mkdtempSync(join(tmpdir(), 'tonewright-colour-'));
afterAll(() => rmSync(folder, { recursive: true }));

/** L* of each patch of 8 × 8 pixels. */
function lightnessOf(photo: Photo): number[] {
  const { width, height } = photo;
  const { data } = resampleLuminance(photo, { crop: { x: 0, y: 0, width, height }, width, height });
  return Array.from({ length: width / 8 }, (_, at) => lightnessOfReflectance(data[8 * at + 4]! / ONE));
}

const failure = (attempt: Promise<unknown>) =>
  attempt.then(
    () => {
      throw new Error('it was accepted');
    },
    (error: AppError) => error,
  );

type Pair = readonly [number, number];
interface Space {
  readonly red: Pair;
  readonly green: Pair;
  readonly blue: Pair;
  readonly white: Pair;
  readonly lightOf: (code: number) => number;
}

const D65: Pair = [0.3127, 0.329];
const D50: Pair = [0.3457, 0.3585];
const srgbLight = (code: number) => (code <= 0.04045 ? code / 12.92 : ((code + 0.055) / 1.055) ** 2.4);

/**
 * Published primaries and curves: Adobe RGB (1998) 4.3.1 and 4.3.4; Display P3, SMPTE EG 432-1 with D65 and sRGB's
 * curve; ROMM RGB, ISO 22028-2, 4; eciRGB v2, ISO 22028-4 (L* as curve).
 */
const SPACES: Readonly<Record<string, Space>> = {
  'Adobe RGB': {
    red: [0.64, 0.33],
    green: [0.21, 0.71],
    blue: [0.15, 0.06],
    white: D65,
    lightOf: (v) => v ** (563 / 256),
  },
  'Display P3': { red: [0.68, 0.32], green: [0.265, 0.69], blue: [0.15, 0.06], white: D65, lightOf: srgbLight },
  'ProPhoto RGB': {
    red: [0.7347, 0.2653],
    green: [0.1596, 0.8404],
    blue: [0.0366, 0.0001],
    white: D50,
    lightOf: (v) => (v < 16 / 512 ? v / 16 : v ** 1.8),
  },
  'eciRGB v2': {
    red: [0.67, 0.33],
    green: [0.21, 0.71],
    blue: [0.14, 0.08],
    white: D50,
    lightOf: (v) => (v <= 0.08 ? (100 * v) / 903.3 : ((100 * v + 16) / 116) ** 3),
  },
};

/** Solves a · x = b for three unknowns by Cramer's rule; `a` by columns. */
function solve([p, q, r]: readonly number[][], b: readonly number[]): number[] {
  const det = (u: readonly number[], v: readonly number[], w: readonly number[]) =>
    u[0]! * (v[1]! * w[2]! - v[2]! * w[1]!) -
    v[0]! * (u[1]! * w[2]! - u[2]! * w[1]!) +
    w[0]! * (u[1]! * v[2]! - u[2]! * v[1]!);
  const whole = det(p!, q!, r!);
  return [det(b, q!, r!) / whole, det(p!, b, r!) / whole, det(p!, q!, b) / whole];
}

const xyz = ([x, y]: Pair) => [x / y, 1, (1 - x - y) / y];

/** XYZ of full red, green and blue under the space's own white. */
function primariesOf({ red, green, blue, white }: Space): number[][] {
  const columns = [red, green, blue].map(xyz);
  const scale = solve(columns, xyz(white));
  return columns.map((column, at) => column.map((value) => value * scale[at]!));
}

/** Bradford's cone responses, by columns (ICC.1, annex E.3). */
const CONES = [
  [0.8951, -0.7502, 0.0389],
  [0.2664, 1.7135, -0.0685],
  [-0.1614, 0.0367, 1.0296],
];
const cones = (v: readonly number[]) =>
  [0, 1, 2].map((row) => CONES.reduce((sum, column, at) => sum + column[row]! * v[at]!, 0));

/** What a profile holds of XYZ under another white: adapted to D50. */
function adapt(v: readonly number[], white: Pair): number[] {
  const [from, to] = [cones(xyz(white)), cones([0.9642, 1, 0.82491])];
  return solve(
    CONES,
    cones(v).map((value, at) => (value * to[at]!) / from[at]!),
  );
}

function profileOf(space: Space, version: 2 | 4): Buffer {
  const colorants = primariesOf(space).map((v) => adapt(v, space.white));
  const tone = odd.makeToneTable(4096, space.lightOf);
  if (version === 2) return odd.makeMatrixProfile(colorants, { tone, white: xyz(space.white) });
  const columns = [0, 1, 2].map((at) =>
    adapt(
      [0, 1, 2].map((i) => (i === at ? 1 : 0)),
      space.white,
    ),
  );
  const chad = [0, 1, 2].flatMap((row) => columns.map((column) => column[row]!));
  return odd.makeMatrixProfile(colorants, { tone, version: 4, chad });
}

const PATCHES = [
  [255, 0, 0],
  [0, 255, 0],
  [0, 0, 255],
  [255, 255, 0],
  [0, 255, 255],
  [200, 120, 90],
  [10, 10, 10],
  [128, 128, 128],
  [255, 255, 255],
];

describe.each(Object.entries(SPACES))('luminance of %s is that of its own primaries, nothing cut off', (_, space) => {
  const wanted = PATCHES.map((codes) =>
    lightnessOfReflectance(primariesOf(space).reduce((sum, v, at) => sum + v[1]! * space.lightOf(codes[at]! / 255), 0)),
  );
  test.each([
    [8, 2],
    [8, 4],
    [16, 2],
    [16, 4],
  ] as const)('%i bits, profile version %i', async (bits, version) => {
    const codes = PATCHES.map((patch) => patch.map((code) => code * (bits === 16 ? 257 : 1)));
    const png = odd.attachProfile(await odd.makePatches(codes, bits), profileOf(space, version));
    const photo = await decodePhoto(png, 'photo');
    expect(photo.bits).toBe(bits);
    const found = lightnessOf(photo);
    for (const [at, value] of wanted.entries())
      expect(Math.abs(found[at]! - value), `${PATCHES[at]}`).toBeLessThan(0.15);
  });

  test('and people see its colours, as far as sRGB goes', async () => {
    const photo = await decodePhoto(odd.attachProfile(await odd.makePatches(PATCHES), profileOf(space, 4)), 'photo');
    const { width, height } = photo;
    const { rgb } = readColour(photo, { crop: { x: 0, y: 0, width, height }, width: PATCHES.length, height: 1 });
    const pixel = (at: number) => [...rgb.subarray(3 * at, 3 * at + 3)];
    expect(pixel(0)).toEqual([255, 0, 0]);
    expect(pixel(8)).toEqual([255, 255, 255]);
    const grey = pixel(7);
    expect(Math.max(...grey) - Math.min(...grey)).toBeLessThanOrEqual(1);
  });
});

test.each(['ProPhoto RGB', 'eciRGB v2'])(
  'LittleCMS, a library of its own, finds the same lightness in %s',
  async (name) => {
    if (!findProgram(PYTHON, ['-c', 'from PIL import ImageCms'])) return;
    const png = odd.attachProfile(await odd.makePatches(PATCHES), profileOf(SPACES[name]!, 2));
    const path = join(folder, 'patches.png');
    writeFileSync(path, png);
    const script = [
      'import sys, io',
      'from PIL import Image, ImageCms',
      'im = Image.open(sys.argv[1])',
      "profile = ImageCms.ImageCmsProfile(io.BytesIO(im.info['icc_profile']))",
      "lab = ImageCms.profileToProfile(im, profile, ImageCms.createProfile('LAB'), outputMode='LAB', renderingIntent=1)",
      "print(' '.join(str(lab.getpixel((8 * at + 4, 4))[0] / 2.55) for at in range(im.width // 8)))",
    ].join('\n');
    const theirs = runProgram(PYTHON, ['-c', script, path]).toString().trim().split(' ').map(Number);
    const ours = lightnessOf(await decodePhoto(png, 'photo'));
    expect(theirs.length).toBe(PATCHES.length);
    // Pillow gives whole steps of 0.39 L*.
    for (const [at, value] of theirs.entries()) expect(Math.abs(ours[at]! - value), `${PATCHES[at]}`).toBeLessThan(0.5);
  },
);

test('16-bit grey with a linear profile keeps its shadows', async () => {
  const codes = [0, 66, 300, 1000, 5000, 20000, 65535];
  const png = odd.attachProfile(
    await odd.makePatches(
      codes.map((code) => [code]),
      16,
    ),
    odd.makeLinearGreyProfile(),
  );
  const found = lightnessOf(await decodePhoto(png, 'photo'));
  for (const [at, code] of codes.entries()) {
    expect(Math.abs(found[at]! - lightnessOfReflectance(code / 65535)), `code ${code}`).toBeLessThan(0.02);
  }
});

test('16-bit colour whose channels have curves of their own', async () => {
  const space = SPACES['Adobe RGB']!;
  const profile = profileOf(space, 4);
  // The blue channel alone becomes linear: a curve of one exponent, 1, has the bytes "curv" … 00 01 01 00.
  const entry = profile.indexOf('bTRC', 128, 'latin1');
  const from = profile.readUInt32BE(entry + 4);
  odd.makeTonePower(1).copy(profile, from);
  const codes = [40000, 30000, 20000];
  const photo = await decodePhoto(odd.attachProfile(await odd.makePatches([codes], 16), profile), 'photo');
  const [red, green, blue] = primariesOf(space).map((v) => v[1]!);
  const light = red! * space.lightOf(40000 / 65535) + green! * space.lightOf(30000 / 65535) + (blue! * 20000) / 65535;
  expect(Math.abs(lightnessOf(photo)[0]! - lightnessOfReflectance(light))).toBeLessThan(0.05);
});

test('a photo with a profile of sRGB gives the same light as one without', async () => {
  const plain = await odd.makePatches(PATCHES);
  const tagged = await sharp(plain).withIccProfile('srgb').png().toBuffer();
  const [a, b] = [await decodePhoto(plain, 'plain'), await decodePhoto(tagged, 'tagged')];
  expect([b.facts.iccProfile !== undefined, b.colour]).toEqual([true, undefined]);
  expect(b.rgb).toEqual(a.rgb);
});

const u32 = (...values: number[]) => {
  const bytes = Buffer.alloc(4 * values.length);
  for (const [at, value] of values.entries()) bytes.writeUInt32BE(value, 4 * at);
  return bytes;
};
/** What PNG 3, 11.3.2.5 names beside sRGB for old programs. */
const SRGB_PLACES = u32(31270, 32900, 64000, 33000, 30000, 60000, 15000, 6000);

describe('a PNG that says its gamma and primaries', () => {
  const greys = [10, 60, 128, 200, 255].map((code) => [code]);
  test.each([
    ['linear', 100_000, 1],
    ['1 / 1.8', 55_556, 1.8],
    ['1 / 2.2', 45_455, 2.2],
  ])('%s is honoured in grey and in colour', async (_, value, exponent) => {
    for (const patches of [greys, greys.map(([code]) => [code!, code!, code!])]) {
      const photo = await decodePhoto(odd.attachChunk(await odd.makePatches(patches), 'gAMA', u32(value)), 'photo');
      const found = lightnessOf(photo);
      for (const [at, [code]] of greys.entries()) {
        expect(Math.abs(found[at]! - lightnessOfReflectance((code! / 255) ** exponent))).toBeLessThan(0.02);
      }
    }
  });

  test('primaries without a profile are honoured', async () => {
    const { red, green, blue, white } = SPACES['Adobe RGB']!;
    const places = u32(...[white, red, green, blue].flat().map((value) => Math.round(value * 1e5)));
    const png = odd.attachChunk(await odd.makePatches([[255, 0, 0]]), 'cHRM', places);
    const photo = await decodePhoto(odd.attachChunk(png, 'gAMA', u32(45_455)), 'photo');
    expect(lightnessOf(photo)[0]!).toBeCloseTo(lightnessOfReflectance(0.2973), 1);
  });

  test('sRGB goes before them, and so do the numbers that stand for sRGB', async () => {
    const plain = await odd.makePatches(PATCHES);
    const usual = odd.attachChunk(odd.attachChunk(plain, 'cHRM', SRGB_PLACES), 'gAMA', u32(45_455));
    const told = odd.attachChunk(odd.attachChunk(plain, 'sRGB', Uint8Array.of(0)), 'gAMA', u32(100_000));
    for (const png of [usual, told]) expect((await decodePhoto(png, 'photo')).colour).toBeUndefined();
  });

  test('code points go before everything: P3 is honoured, high dynamic range is refused', async () => {
    const png = await odd.makePatches([[255, 0, 0]]);
    const wide = odd.attachChunk(png, 'cICP', Uint8Array.of(12, 13, 0, 1));
    const [, luminance] = primariesOf(SPACES['Display P3']!)[0]!;
    expect(lightnessOf(await decodePhoto(wide, 'photo'))[0]!).toBeCloseTo(lightnessOfReflectance(luminance!), 1);
    const error = await failure(decodePhoto(odd.attachChunk(png, 'cICP', Uint8Array.of(9, 16, 0, 1)), 'photo'));
    expect(error).toMatchObject({ code: 'image-unknown' });
    expect(error.message).toContain('high dynamic range (PQ)');
  });
});

test("a camera's word for Adobe RGB is taken where no profile says other", async () => {
  // An Exif block of three directories: the picture, the camera's, and one that says R03 (Exif 2.32, 4.6.7).
  const tiff = Buffer.alloc(74);
  tiff.write('MM\0*', 0, 'latin1');
  tiff.writeUInt32BE(8, 4);
  const directory = (at: number, [tag, type, count, value]: readonly number[]) => {
    tiff.writeUInt16BE(1, at);
    tiff.writeUInt16BE(tag!, at + 2);
    tiff.writeUInt16BE(type!, at + 4);
    tiff.writeUInt32BE(count!, at + 6);
    tiff.writeUInt32BE(value!, at + 10);
  };
  directory(8, [0x8769, 4, 1, 26]);
  directory(26, [0xa005, 4, 1, 44]);
  directory(44, [1, 2, 4, Buffer.from('R03\0', 'latin1').readUInt32BE()]);
  const block = Buffer.concat([Buffer.from('Exif\0\0', 'latin1'), tiff]);
  const head = Buffer.alloc(4);
  head.writeUInt16BE(0xffe1, 0);
  head.writeUInt16BE(block.length + 2, 2);
  const plain = await sharp(await odd.makePatches([[0, 255, 0]]))
    .jpeg({ quality: 100, chromaSubsampling: '4:4:4' })
    .toBuffer();
  const camera = Buffer.concat([plain.subarray(0, 2), head, block, plain.subarray(2)]);
  const [, luminance] = primariesOf(SPACES['Adobe RGB']!)[1]!;
  expect(
    Math.abs(lightnessOf(await decodePhoto(camera, 'photo'))[0]! - lightnessOfReflectance(luminance!)),
  ).toBeLessThan(0.5);
});

describe('a damaged colour profile is refused', () => {
  const profile = profileOf(SPACES['Adobe RGB']!, 2);
  const spoil = (change: (bytes: Buffer) => Buffer | undefined) => {
    const copy = Buffer.from(profile);
    return change(copy) ?? copy;
  };
  const zero = (tag: string, offset: number) => (bytes: Buffer) => {
    const from = bytes.readUInt32BE(bytes.indexOf(tag, 128, 'latin1') + 4);
    bytes.fill(0, from + offset, from + offset + 4);
    return undefined;
  };
  test.each([
    ['cut off', spoil((bytes) => bytes.subarray(0, 400)), /of \d+ bytes/],
    ['without its mark', spoil((bytes) => void bytes.fill(0, 36, 40)), /no mark of a profile/],
    ['with a tag outside', spoil((bytes) => void bytes.writeUInt32BE(0x7fffffff, 132 + 16)), /outside the profile/],
    ['with a primary that is none', spoil(zero('gXYZ', 12)), /do not add up to white/],
    ['with a curve that is none', spoil(zero('rTRC', 0)), /tone curve rTRC cut off/],
    ['of grey in a picture in colour', odd.makeGreyProfile(), /profile for GRAY in a picture of colour/],
    ['with a check sum that does not fit', spoil((bytes) => void bytes.fill(7, 84, 100)), /check sum/],
  ] as const)('%s', async (_, bytes, fault) => {
    const png = odd.attachProfile(await odd.makePatches(PATCHES), bytes);
    const jpeg = await attachToJpeg(await odd.makePatches(PATCHES), bytes);
    for (const file of [png, jpeg]) {
      const error = await failure(decodePhoto(file, 'photo'));
      expect(error.code).toBe('image-profile-broken');
      expect(error.message).toMatch(fault);
    }
  });

  test('any flipped bit of a PNG’s profile is seen, or changes nothing', async () => {
    const png = odd.attachProfile(await odd.makePatches(PATCHES), profile);
    const whole = lightnessOf(await decodePhoto(png, 'photo'));
    const [from, length] = [png.indexOf('iCCP') + 4, png.readUInt32BE(png.indexOf('iCCP') - 4)];
    for (let step = 0; step < 60; step++) {
      const spoiled = Buffer.from(png);
      spoiled[from + Math.floor((step / 60) * length)]! ^= 1 << (step % 8);
      const found = await decodePhoto(spoiled, 'photo').then(lightnessOf, (error: AppError) => error.code);
      if (typeof found === 'string') expect(['image-profile-broken', 'image-broken']).toContain(found);
      else expect(found).toEqual(whole);
    }
  }, 60_000);
});

/** A JPEG of a picture with a profile in one segment (ICC.1, annex B.4). */
async function attachToJpeg(png: Buffer, profile: Buffer): Promise<Buffer> {
  const jpeg = await sharp(png).jpeg({ quality: 100 }).toBuffer();
  const data = Buffer.concat([Buffer.from('ICC_PROFILE\0\x01\x01', 'latin1'), profile]);
  const head = Buffer.alloc(4);
  head.writeUInt16BE(0xffe2, 0);
  head.writeUInt16BE(data.length + 2, 2);
  return Buffer.concat([jpeg.subarray(0, 2), head, data, jpeg.subarray(2)]);
}
