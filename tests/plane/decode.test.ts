import { chmodSync, mkdtempSync, rmSync, symlinkSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { converter } from 'culori';
import sharp from 'sharp';
import { afterAll, describe, expect, test } from 'vitest';
import * as odd from '../../benchmarks/common/odd-images.ts';
import { encodeSrgb } from '../../src/colour/index.ts';
import type { AppError } from '../../src/errors.ts';
import {
  checkLibraryFormat,
  convertToSrgb,
  decodePhoto,
  type Photo,
  readPhoto,
  sha256,
} from '../../src/plane/index.ts';

const folder = mkdtempSync(join(tmpdir(), 'tonewright-decode-'));
afterAll(() => rmSync(folder, { recursive: true }));

const failure = (attempt: Promise<unknown>) =>
  attempt.then(
    () => {
      throw new Error('it was accepted');
    },
    (error: AppError) => error,
  );

const reference = await odd.openSample().removeAlpha().raw().toBuffer();

/** Mean difference from the sample, in 8-bit codes. */
function meanDifference(photo: Photo): number {
  const { rgb, bits } = convertToSrgb(photo);
  let sum = 0;
  for (let at = 0; at < reference.length; at++) sum += Math.abs(rgb[at]! / (bits === 16 ? 257 : 1) - reference[at]!);
  return sum / reference.length;
}

const withoutColour = ({ colour: _, ...photo }: Photo): Photo => photo;

describe('the same photo in each kind of file', () => {
  test.each([
    ['baseline JPEG', odd.makeBaselineJpeg, 'jpeg', 2],
    ['progressive JPEG', odd.makeProgressiveJpeg, 'jpeg', 2],
    ['PNG', odd.makePng, 'png', 0],
    ['TIFF', odd.makeTiff, 'tiff', 0],
    ['WebP', odd.makeWebp, 'webp', 0],
    ['AVIF', odd.makeAvif, 'avif', 1],
    ['JPEG with the P3 profile', odd.makeP3Jpeg, 'jpeg', 1.5],
    ['CMYK JPEG', odd.makeCmykJpeg, 'jpeg', 12],
  ] as const)('%s gives the same pixels', async (_, make, format, tolerance) => {
    const photo = await decodePhoto(await make(), 'photo');
    expect([photo.width, photo.height, photo.bits, photo.channels, photo.alpha]).toEqual([160, 120, 8, 3, undefined]);
    expect(photo.facts.format).toBe(format);
    expect(meanDifference(photo)).toBeLessThanOrEqual(tolerance);
  });

  test('the P3 numbers would be wrong if their profile were not honoured', async () => {
    const bytes = await odd.makeP3Jpeg();
    const ignored = await sharp(bytes, { ignoreIcc: true }).raw().toBuffer();
    const photo = await decodePhoto(bytes, 'photo');
    expect(photo.facts.iccProfile).toMatch(/p3/i);
    expect(meanDifference({ ...withoutColour(photo), rgb: ignored })).toBeGreaterThan(3 * meanDifference(photo));
  });

  test('a grey JPEG and a grey PNG stay at one channel', async () => {
    const photo = await decodePhoto(await odd.makeGreyJpeg(), 'photo');
    expect([photo.channels, photo.rgb.length, photo.facts.space]).toEqual([1, 160 * 120, 'b-w']);
    const camera = await readPhoto('images/photos/photographer.png');
    expect([camera.channels, camera.width, camera.height]).toEqual([1, 512, 512]);
  });

  test('facts name the space, the scan order and the file', async () => {
    const bytes = await odd.makeProgressiveJpeg();
    const { facts } = await decodePhoto(bytes, 'photo');
    expect(facts).toMatchObject({
      progressive: true,
      space: 'srgb',
      orientation: 1,
      hasAlpha: false,
      iccProfile: undefined,
      bytes: bytes.length,
      sha256: sha256(bytes),
    });
    expect((await decodePhoto(await odd.makeCmykJpeg(), 'photo')).facts.space).toBe('cmyk');
  });
});

describe('16 bits', () => {
  const samples = Uint16Array.from({ length: 16 * 16 * 3 }, (_, at) => (at * 9973) % 65536);
  const words = { width: 16, height: 16, channels: 3, samples } as const;

  test.each([
    ['PNG', odd.makePng16],
    ['TIFF', odd.makeTiff16],
  ] as const)('%s keeps every sample', async (_, make) => {
    const photo = await decodePhoto(await make(words), 'photo');
    expect(photo.bits).toBe(16);
    expect(photo.rgb).toEqual(samples);
  });

  test('grey keeps every sample at one channel', async () => {
    const grey = samples.subarray(0, 256);
    const photo = await decodePhoto(await odd.makePng16({ ...words, channels: 1, samples: grey }), 'photo');
    expect([photo.bits, photo.channels]).toEqual([16, 1]);
    expect(photo.rgb).toEqual(grey);
  });

  test('alpha is taken out and cut to 8 bits', async () => {
    const four = Uint16Array.from({ length: 16 * 16 * 4 }, (_, at) => (at * 9973) % 65536);
    const photo = await decodePhoto(await odd.makePng16({ ...words, channels: 4, samples: four }), 'photo');
    expect(photo.rgb.subarray(0, 6)).toEqual(
      Uint16Array.of(four[0]!, four[1]!, four[2]!, four[4]!, four[5]!, four[6]!),
    );
    expect(photo.alpha).toEqual(Uint8Array.from({ length: 256 }, (_, at) => Math.round(four[4 * at + 3]! / 257)));
  });
});

describe('a wide-gamut profile', () => {
  // Colours that lie within sRGB, as Adobe RGB (1998) numbers; culori converts them on its own.
  const toAdobe = converter('a98');
  const colours = [
    [0.9, 0.8, 0.7],
    [0.5, 0.5, 0.5],
    [0.2, 0.5, 0.3],
    [0.6, 0.3, 0.25],
    [0.1, 0.12, 0.3],
    [0.95, 0.9, 0.4],
  ] as const;
  const wide = colours.flatMap(([r, g, b]) => {
    const colour = toAdobe({ mode: 'rgb', r, g, b });
    return [colour.r, colour.g, colour.b];
  });
  const tile = (full: number) =>
    Array.from({ length: 8 * 12 * 3 }, (_, at) => Math.round(wide[at % wide.length]! * full));
  const wanted = Array.from({ length: 8 * 12 * 3 }, (_, at) => colours.flat()[at % wide.length]!);

  test('is honoured at 16 bits, and its name is known', async () => {
    const png = await odd.makePng16({ width: 12, height: 8, channels: 3, samples: Uint16Array.from(tile(65535)) });
    const photo = await decodePhoto(odd.attachProfile(png, odd.makeWideProfile()), 'photo');
    expect([photo.bits, photo.channels, photo.facts.iccProfile]).toEqual([16, 3, 'Wide test']);
    const { rgb } = convertToSrgb(photo);
    const worst = Math.max(...wanted.map((value, at) => Math.abs(rgb[at]! / 65535 - value)));
    expect(worst).toBeLessThan(0.001);
  });

  test('is honoured at 8 bits', async () => {
    const raw = { width: 12, height: 8, channels: 3 } as const;
    const png = await sharp(Uint8Array.from(tile(255)), { raw })
      .png()
      .toBuffer();
    const photo = await decodePhoto(odd.attachProfile(png, odd.makeWideProfile()), 'photo');
    const { rgb } = convertToSrgb(photo);
    const worst = Math.max(...wanted.map((value, at) => Math.abs(rgb[at]! / 255 - value)));
    expect([photo.bits, worst < 0.012]).toEqual([8, true]);
  });
});

describe.each([8, 16] as const)('a grey profile at %i bits', (bits) => {
  test('is honoured from black to white', async () => {
    const full = 2 ** bits - 1;
    const codes = Array.from({ length: 64 }, (_, at) => Math.round((full * at) / 63));
    const raw = { width: 8, height: 8, channels: 1 } as const;
    const png =
      bits === 16
        ? await odd.makePng16({ ...raw, samples: Uint16Array.from(codes) })
        : await sharp(Uint8Array.from(codes), { raw }).toColourspace('b-w').png().toBuffer();
    const photo = await decodePhoto(odd.attachProfile(png, odd.makeGreyProfile()), 'photo');
    expect([photo.bits, photo.channels]).toEqual([bits, 1]);
    const { rgb } = convertToSrgb(photo);
    for (const [at, code] of codes.entries()) {
      const linear = (code / full) ** odd.GREY_GAMMA;
      expect(Math.abs(rgb[at]! / full - encodeSrgb(linear))).toBeLessThan(bits === 16 ? 0.0002 : 0.002);
    }
  });
});

test('alpha comes as a plane of its own and leaves the colours as they were', async () => {
  const photo = await decodePhoto(await odd.makeAlphaPng(), 'photo');
  expect([photo.width, photo.height, photo.channels, photo.rgb.length]).toEqual([64, 32, 3, 64 * 32 * 3]);
  expect([...photo.rgb.subarray(3 * 40, 3 * 40 + 3)]).toEqual([200, 100, 50]);
  expect([photo.alpha![0], photo.alpha![63], photo.alpha![64]]).toEqual([0, 255, 0]);
  expect(photo.facts.hasAlpha).toBe(true);
});

describe('a cut-out hides the same pixels in each kind of file', () => {
  test.each(odd.CUT_OUTS)('%s', async (_, make) => {
    const photo = await decodePhoto(await make(), 'photo');
    const { side, from, to, code } = odd.CUT_OUT;
    expect([photo.width, photo.height, photo.facts.hasAlpha]).toEqual([side, side, true]);
    expect([photo.rgb.length, photo.alpha?.length]).toEqual([side * side * photo.channels, side * side]);
    for (let y = 0; y < side; y++) {
      for (let x = 0; x < side; x++) {
        const pixel = y * side + x;
        const inside = x >= from && x < to && y >= from && y < to;
        expect(photo.alpha![pixel]).toBe(inside ? 255 : 0);
        if (inside) expect(photo.rgb[pixel * photo.channels]).toBe(photo.bits === 16 ? code * 257 : code);
      }
    }
  });

  test('grey stays at one channel', async () => {
    const [, make] = odd.CUT_OUTS.find(([what]) => what === 'grey and alpha PNG')!;
    expect((await decodePhoto(await make(), 'photo')).channels).toBe(1);
  });
});

test.each([1, 2, 3, 4, 5, 6, 7, 8])('EXIF orientation %i comes upright', async (orientation) => {
  const photo = await decodePhoto(await odd.makeTurnedJpeg(orientation), 'photo');
  const turned = orientation >= 5;
  expect([photo.width, photo.height]).toEqual(turned ? [120, 160] : [160, 120]);
  expect(photo.facts.orientation).toBe(orientation);
  // Where EXIF 2.32 (table 6, tag 274) says that stored pixel (x, y) of a 160 × 120 picture belongs.
  const places: Record<number, (x: number, y: number) => [number, number]> = {
    1: (x, y) => [x, y],
    2: (x, y) => [159 - x, y],
    3: (x, y) => [159 - x, 119 - y],
    4: (x, y) => [x, 119 - y],
    5: (x, y) => [y, x],
    6: (x, y) => [119 - y, x],
    7: (x, y) => [119 - y, 159 - x],
    8: (x, y) => [y, 159 - x],
  };
  const upright = await decodePhoto(await odd.makeBaselineJpeg(), 'photo');
  for (const [x, y] of [
    [10, 20],
    [150, 5],
    [80, 100],
  ] as const) {
    const [tx, ty] = places[orientation]!(x, y);
    expect(photo.rgb[3 * (ty * photo.width + tx)]).toBe(upright.rgb[3 * (y * 160 + x)]);
  }
});

describe('what is refused', () => {
  test('nothing there', async () => {
    expect(await failure(readPhoto(join(folder, 'none.jpg')))).toMatchObject({ code: 'path-missing', exit: 1 });
    writeFileSync(join(folder, 'plain'), 'x');
    expect((await failure(readPhoto(join(folder, 'plain', 'none.jpg')))).code).toBe('path-missing');
  });
  test('a folder', async () => {
    expect((await failure(readPhoto(folder))).code).toBe('path-is-folder');
  });
  test('a file without the right to read it', async () => {
    const path = join(folder, 'locked.jpg');
    writeFileSync(path, 'x');
    chmodSync(path, 0);
    // The superuser may read all the same, and then sees that it is no photo.
    const code = process.getuid?.() === 0 ? 'image-unknown' : 'path-unreadable';
    expect((await failure(readPhoto(path))).code).toBe(code);
  });
  test('a link to itself: the system has its own word for it', async () => {
    const path = join(folder, 'circle.jpg');
    symlinkSync(path, path);
    expect(await failure(readPhoto(path))).toMatchObject({ code: 'path-unreadable', details: { code: 'ELOOP' } });
  });
  test('zero bytes', async () => {
    const path = join(folder, 'empty.jpg');
    writeFileSync(path, '');
    expect(await failure(readPhoto(path))).toMatchObject({
      code: 'image-empty',
      message: `${path}: found 0 bytes, needed a photo`,
    });
  });
  test.each(odd.STRANGERS)('%s', async (_, bytes, found) => {
    const error = await failure(decodePhoto(bytes, 'photo.jpg'));
    expect(error.code).toBe('image-unknown');
    expect(error.message).toContain(`found ${found}`);
  });
  test('a drawing dressed as AVIF, by every reader of pictures', async () => {
    expect(await failure(decodePhoto(odd.DRESSED_SVG, 'photo.avif'))).toMatchObject({ code: 'image-broken' });
    // The image library itself no longer opens what is none of the five formats.
    await expect(sharp(odd.DRESSED_SVG).metadata()).rejects.toThrow('unsupported image format');
    await expect(sharp(await odd.makeGif()).metadata()).rejects.toThrow('unsupported image format');
  });
  test('a file that the library takes for another kind than its first bytes say', async () => {
    const found = await sharp(await odd.makePng()).metadata();
    expect(() => checkLibraryFormat(found, 'photo', 'png')).not.toThrow();
    expect(() => checkLibraryFormat(found, 'photo', 'avif')).toThrow(
      'photo: found png dressed as avif, needed a file that is one thing',
    );
    const hevc = { ...(await sharp(await odd.makeAvif()).metadata()), compression: 'hevc' as const };
    expect(() => checkLibraryFormat(hevc, 'photo', 'avif')).toThrow('heif, hevc dressed as avif');
  });
  test('what takes too long to decode', async () => {
    const error = await failure(decodePhoto(odd.makeSlowTiff(), 'photo', { seconds: 1 }));
    expect(error).toMatchObject({
      code: 'image-too-slow',
      message: 'photo: found pixels that were not decoded after 1 s, needed a file that opens sooner',
    });
  }, 60_000);
  test('pixels of many bytes count for more', async () => {
    const error = await failure(decodePhoto(odd.makeBombPng(16000, 16000, 'rgba16'), 'photo'));
    expect(error).toMatchObject({ code: 'image-too-large', details: { bytesAPixel: 8 } });
    expect(error.message).toBe(
      'photo: found 16000 × 16000 pixels of 8 bytes (256 megapixels), needed at most 100 megapixels of that kind',
    );
    // As many pixels of 8-bit colour are within the limit: this one fails for its missing data alone.
    expect((await failure(decodePhoto(odd.makeBombPng(16000, 16000), 'photo'))).code).toBe('image-broken');
  });
  test('a GIF', async () => {
    expect(await failure(decodePhoto(await odd.makeGif(), 'photo'))).toMatchObject({ code: 'image-unknown' });
  });
  test.each([
    ['JPEG', odd.makeBaselineJpeg],
    ['progressive JPEG', odd.makeProgressiveJpeg],
    ['PNG', odd.makePng],
    ['TIFF', odd.makeTiff],
    ['WebP', odd.makeWebp],
    ['AVIF', odd.makeAvif],
  ] as const)('a truncated %s, wherever it is cut', async (_, make) => {
    const bytes = await make();
    for (const share of [0.05, 0.3, 0.6, 0.95]) {
      const error = await failure(decodePhoto(bytes.subarray(0, Math.floor(bytes.length * share)), 'photo'));
      expect(error.code, `cut at ${share}`).toBe('image-broken');
    }
  });
  test.each([
    [1, 1],
    [7, 100],
    [100, 7],
  ])('%i × %i pixels: too small', async (width, height) => {
    const error = await failure(decodePhoto(await odd.makeFlatPng(width, height), 'photo'));
    expect(error).toMatchObject({ code: 'image-too-small', details: { width, height, minSide: 8 } });
    expect(error.message).toBe(`photo: found ${width} × ${height} pixels, needed at least 8 on each side`);
  });
  test('8 × 8 pixels are taken', async () => {
    expect((await decodePhoto(await odd.makeFlatPng(8, 8), 'photo')).width).toBe(8);
  });
  test.each([
    [60000, 10],
    [10, 300],
  ])('%i × %i pixels: too long', async (width, height) => {
    const error = await failure(decodePhoto(await odd.makeFlatPng(width, height), 'photo'));
    expect(error).toMatchObject({ code: 'image-too-long', details: { width, height, maxAspect: 20 } });
  });
  test('decompression bombs, by their header', async () => {
    for (const bytes of [
      odd.makeBombPng(30000, 30000),
      odd.makeBombPng(2147483647, 2147483647),
      await odd.makeBombJpeg(),
    ]) {
      const before = process.memoryUsage.rss();
      const error = await failure(decodePhoto(bytes, 'photo'));
      expect(['image-too-large', 'image-broken']).toContain(error.code);
      expect(process.memoryUsage.rss() - before).toBeLessThan(200e6);
    }
    const error = await failure(decodePhoto(odd.makeBombPng(30000, 30000), 'photo'));
    expect(error.message).toBe('photo: found 30000 × 30000 pixels (900 megapixels), needed at most 268 megapixels');
    expect((await failure(decodePhoto(await odd.makeBombJpeg(), 'photo'))).code).toBe('image-too-large');
  });
});
