import { mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import fc from 'fast-check';
import sharp from 'sharp';
import { afterAll, describe, expect, test } from 'vitest';
import { makeFlatPng, openSample } from '../../benchmarks/common/odd-images.ts';
import { findProgram, PYTHON, runProgram } from '../../benchmarks/common/outside-programs.ts';
import type { AppError } from '../../src/errors.ts';
import { readTiffTags } from '../../src/plane/container.ts';
import {
  createDots,
  type Dots,
  decodeDots,
  decodeDotsBytes,
  encodeColour,
  encodeDots,
  encodeJpeg,
  PICTURE_FORMAT_NAMES,
} from '../../src/plane/index.ts';
import { pngChunk } from '../../src/plane/png.ts';
import { toFraction } from '../../src/plane/tiff.ts';

const folder = mkdtempSync(join(tmpdir(), 'tonewright-encode-'));
afterAll(() => rmSync(folder, { recursive: true }));

const GRID = { pitchMm: 0.02, lineSpacingMm: 0.05 };

/** Seeded dots of any number of levels. */
function makeDots(width: number, height: number, levels = 2, seed = 1): Dots {
  const data = Uint8Array.from({ length: width * height }, (_, at) => {
    return Math.floor(((Math.imul(at * 2 + seed, 0x9e3779b1) >>> 8) / 0x1000000) * levels);
  });
  return createDots(width, height, levels, data);
}

const draw = (...rows: string[]) =>
  createDots(
    rows[0]!.length,
    rows.length,
    2,
    Uint8Array.from(rows.join(''), (mark) => (mark === '#' ? 1 : 0)),
  );

/** Grey samples that the dots should have in a file. */
const greysOf = ({ data, levels }: Dots) =>
  Uint8Array.from(data, (value) => 255 - Math.round((255 * value) / (levels - 1)));

const failure = (attempt: Promise<unknown>) =>
  attempt.then(
    () => {
      throw new Error('it was accepted');
    },
    (error: AppError) => error,
  );

describe('a picture small enough to read the bytes of', () => {
  const dots = draw('#.......#.', '.#......##', '..........');

  test('PNG: 1 bit, grey, black fires, pHYs in both axes', () => {
    const png = encodeDots(dots, GRID, { format: 'png' });
    const header = Buffer.from([0, 0, 0, 10, 0, 0, 0, 3, 1, 0, 0, 0, 0]);
    const phys = Buffer.from([0, 0, 0xc3, 0x50, 0, 0, 0x4e, 0x20, 1]);
    expect(png.subarray(8, 33)).toEqual(pngChunk('IHDR', header));
    expect(png.subarray(33, 54)).toEqual(pngChunk('pHYs', phys));
    expect(png.toString('latin1', 58, 62)).toBe('IDAT');
    // The check sum of an empty IEND is printed in ISO/IEC 15948.
    expect(png.subarray(-12).toString('hex')).toBe('0000000049454e44ae426082');
  });

  test('BMP: bottom row first, black is colour 0', () => {
    const bmp = encodeDots(dots, GRID, { format: 'bmp' });
    expect(bmp.length).toBe(14 + 40 + 8 + 3 * 4);
    expect(bmp.subarray(54, 62).toString('hex')).toBe('00000000ffffff00');
    expect(bmp.subarray(62).toString('hex')).toBe('ffff0000' + 'bf3f0000' + '7f7f0000');
    expect([bmp.readInt32LE(38), bmp.readInt32LE(42)]).toEqual([50000, 20000]);
  });

  test('TIFF: resolution as the exact fraction, per centimetre', () => {
    const tiff = encodeDots(dots, GRID, { format: 'tiff' });
    const tags = readTiffTags(tiff);
    expect([256, 257, 258, 259, 262, 282, 283, 296].map((tag) => tags.get(tag)?.[0])).toEqual([
      10, 3, 1, 8, 1, 500, 200, 3,
    ]);
  });
});

describe.each(PICTURE_FORMAT_NAMES)('%s', (format) => {
  test('brings back the dots and the grid, for any sides and levels', async () => {
    await fc.assert(
      fc.asyncProperty(
        fc.integer({ min: 1, max: 40 }),
        fc.integer({ min: 1, max: 20 }),
        fc.constantFrom(2, 3, 16, 256),
        fc.nat(99),
        async (width, height, levels, seed) => {
          const dots = makeDots(width, height, levels, seed);
          const back = await decodeDotsBytes(encodeDots(dots, GRID, { format }), 'file');
          const tones = new Set(dots.data).size;
          if (levels === 2 && tones === 2) expect(back.dots).toEqual(dots);
          if (levels > 2 && tones > 2) {
            expect(back.dots.levels).toBe(256);
            expect(back.dots.data).toEqual(greysOf(dots).map((grey) => 255 - grey));
          }
          expect(back.grid!.pitchMm).toBeCloseTo(0.02, 9);
          expect(back.grid!.lineSpacingMm).toBeCloseTo(0.05, 9);
        },
      ),
      { seed: 6, numRuns: 60 },
    );
  });

  test('one tone alone: all bare stays bare, all fired stays fired', async () => {
    for (const value of [0, 1]) {
      const dots = createDots(13, 5, 2, new Uint8Array(65).fill(value));
      expect((await decodeDotsBytes(encodeDots(dots, GRID, { format }), 'file')).dots).toEqual(dots);
    }
  });

  test('a pitch that is no round number comes back to a part in ten thousand', async () => {
    const bytes = encodeDots(makeDots(9, 9), { pitchMm: 25.4 / 1200, lineSpacingMm: 0.0317 }, { format });
    const { grid } = await decodeDotsBytes(bytes, 'file');
    expect(grid!.pitchMm / (25.4 / 1200)).toBeCloseTo(1, 4);
    expect(grid!.lineSpacingMm / 0.0317).toBeCloseTo(1, 4);
  });

  test('the same dots give the same bytes', () => {
    const dots = makeDots(100, 100);
    expect(encodeDots(dots, GRID, { format })).toEqual(encodeDots(makeDots(100, 100), GRID, { format }));
  });

  test('a grid without size is refused', () => {
    for (const pitchMm of [0, -1, Number.NaN]) {
      expect(() => encodeDots(makeDots(3, 3), { ...GRID, pitchMm }, { format })).toThrow(RangeError);
    }
  });

  if (format !== 'bmp') {
    test.each([2, 5])('sharp sees the same dots (%i levels)', async (levels) => {
      const dots = makeDots(203, 101, levels);
      const image = sharp(encodeDots(dots, GRID, { format }));
      expect(await image.metadata()).toMatchObject({ width: 203, height: 101, space: 'b-w', channels: 1 });
      expect(new Uint8Array(await image.toColourspace('b-w').raw().toBuffer())).toEqual(greysOf(dots));
    });
  }

  test.each([2, 5])('Pillow sees the same dots and resolution (%i levels)', (levels) => {
    if (!findProgram(PYTHON, ['-c', 'import PIL'])) return;
    const dots = makeDots(203, 101, levels);
    const script = [
      'import io, sys',
      'from PIL import Image',
      'im = Image.open(io.BytesIO(sys.stdin.buffer.read()))',
      "dpi = im.info['dpi']",
      "sys.stdout.buffer.write(b'%s %.0f %.0f\\n' % (im.mode.encode(), dpi[0], dpi[1]) + im.convert('L').tobytes())",
    ].join('\n');
    const said = runProgram(PYTHON, ['-c', script], encodeDots(dots, GRID, { format }));
    const end = said.indexOf('\n');
    const mode = levels === 2 ? '1' : format === 'bmp' ? '[LP]' : 'L';
    expect(said.toString('latin1', 0, end)).toMatch(new RegExp(`^${mode} 1270 508$`));
    expect(new Uint8Array(said.subarray(end + 1))).toEqual(greysOf(dots));
  });

  test.each([2, 5])('ImageMagick sees the same dots and resolution (%i levels)', (levels) => {
    if (!findProgram('convert', ['-version'])) return;
    const dots = makeDots(203, 101, levels);
    const file = encodeDots(dots, GRID, { format });
    const greys = runProgram('convert', [`${format}:-`, '-colorspace', 'Gray', '-depth', '8', 'gray:-'], file);
    expect(new Uint8Array(greys)).toEqual(greysOf(dots));
    const size = runProgram(
      'convert',
      [`${format}:-`, '-format', '%[fx:round(resolution.x)] %[fx:round(resolution.y)]', 'info:'],
      file,
    );
    expect(['500 200', '1270 508']).toContain(String(size));
  });

  test('netpbm sees the same dots', () => {
    const program = { png: 'pngtopnm', tiff: 'tifftopnm', bmp: 'bmptopnm' }[format];
    if (!findProgram(program, ['-version'])) return;
    const dots = makeDots(203, 101);
    const path = join(folder, `dots.${format}`);
    writeFileSync(path, encodeDots(dots, GRID, { format }));
    const plain = runProgram('pnmtoplainpnm', [], runProgram(program, [path]))
      .toString('latin1')
      .split('\n');
    expect(plain.slice(0, 2)).toEqual(['P1', '203 101']);
    // Plain PBM: 1 is black.
    expect(plain.slice(2).join('')).toBe(dots.data.join(''));
  });
});

describe('bitmaps of other programs', () => {
  const dots = makeDots(37, 11, 2, 5);
  const raw = { width: 37, height: 11, channels: 1 } as const;
  const read = async (bytes: Buffer) => (await decodeDotsBytes(bytes, 'file')).dots;

  test.each([
    ['1-bit palette PNG', () => sharp(greysOf(dots), { raw }).png({ palette: true, colours: 2, dither: 0 }).toBuffer()],
    ['8-bit grey PNG', () => sharp(greysOf(dots), { raw }).toColourspace('b-w').png().toBuffer()],
    ['RGB PNG', () => sharp(greysOf(dots), { raw }).toColourspace('srgb').png().toBuffer()],
    [
      'fax TIFF',
      () =>
        sharp(greysOf(dots), { raw }).toColourspace('b-w').tiff({ bitdepth: 1, compression: 'ccittfax4' }).toBuffer(),
    ],
    ['8-bit TIFF', () => sharp(greysOf(dots), { raw }).toColourspace('b-w').tiff({ compression: 'lzw' }).toBuffer()],
  ])('%s', async (_, make) => {
    expect(await read(await make())).toEqual(dots);
  });

  test('the darker of two colours fires, in whatever order a palette has them', async () => {
    const paint = (bare: number[], fired: number[]) =>
      sharp(Uint8Array.from([...dots.data].flatMap((value) => (value === 1 ? fired : bare))), {
        raw: { ...raw, channels: 3 },
      })
        .png({ palette: true, dither: 0 })
        .toBuffer();
    expect(await read(await paint([250, 220, 60], [90, 20, 30]))).toEqual(dots);
    expect(await read(await paint([200, 200, 40], [200, 0, 40]))).toEqual(dots);
    expect((await read(await paint([40, 40, 40], [230, 230, 230]))).data).toEqual(dots.data.map((value) => 1 - value));
  });

  test('a BMP with white as its first colour, and one stored top row first', async () => {
    const bmp = encodeDots(dots, GRID, { format: 'bmp' });
    const white = Buffer.from(bmp);
    white.fill(0xff, 54, 57);
    white.fill(0, 58, 61);
    for (let at = 62; at < white.length; at++) white[at] = ~white[at]!;
    expect(await read(white)).toEqual(dots);
    const top = Buffer.from(bmp);
    top.writeInt32LE(-11, 22);
    for (let y = 0; y < 11; y++) bmp.copy(top, 62 + 8 * y, 62 + 8 * (10 - y), 62 + 8 * (11 - y));
    expect(await read(top)).toEqual(dots);
  });

  test.each([
    ['24-bit', 'RGB'],
    ['8-bit', 'L'],
    ['1-bit', '1'],
    ['32-bit', 'RGBA'],
  ])('a %s BMP by Pillow', async (_, mode) => {
    if (!findProgram(PYTHON, ['-c', 'import PIL'])) return;
    const script = [
      'import sys',
      'from PIL import Image',
      `im = Image.frombytes('L', (37, 11), sys.stdin.buffer.read()).convert('${mode}')`,
      "im.save(sys.stdout.buffer, 'BMP', dpi=(1270, 508))",
    ].join('\n');
    const { dots: found, grid } = await decodeDotsBytes(runProgram(PYTHON, ['-c', script], greysOf(dots)), 'file');
    expect(found).toEqual(dots);
    expect([grid!.pitchMm, grid!.lineSpacingMm].map((mm) => mm.toFixed(4))).toEqual(['0.0200', '0.0500']);
  });

  test('a white-is-zero TIFF by ImageMagick', async () => {
    if (!findProgram('convert', ['-version'])) return;
    const set = ['-size', '37x11', '-depth', '8', 'gray:-', '-monochrome', '-define', 'quantum:polarity=min-is-white'];
    const tiff = runProgram(
      'convert',
      [...set, '-compress', 'Group4', '-density', '1270x508', '-units', 'PixelsPerInch', 'tiff:-'],
      greysOf(dots),
    );
    const { dots: found, grid } = await decodeDotsBytes(tiff, 'file');
    expect(readTiffTags(tiff).get(262)).toEqual([0]);
    expect(found).toEqual(dots);
    expect([grid!.pitchMm, grid!.lineSpacingMm].map((mm) => mm.toFixed(4))).toEqual(['0.0200', '0.0500']);
  });

  test('without a resolution there is no grid', async () => {
    const png = encodeDots(dots, GRID, { format: 'png' });
    const { grid } = await decodeDotsBytes(Buffer.concat([png.subarray(0, 33), png.subarray(54)]), 'file');
    expect(grid).toBeUndefined();
  });

  test('what is transparent is bare', async () => {
    const rgba = Uint8Array.from({ length: 4 * 64 }, (_, at) => (at % 4 === 3 ? (at < 128 ? 255 : 0) : 0));
    const png = await sharp(rgba, { raw: { width: 8, height: 8, channels: 4 } })
      .png()
      .toBuffer();
    expect([...(await read(png)).data]).toEqual(Array.from({ length: 64 }, (_, at) => (at < 32 ? 1 : 0)));
  });
});

describe('what is refused as a bitmap', () => {
  test('a colour photo, a lossy file, another kind of file, nothing', async () => {
    const codes = await Promise.all(
      [
        await openSample().png().toBuffer(),
        await openSample().jpeg().toBuffer(),
        Buffer.from('hello'),
        Buffer.alloc(0),
      ].map(async (bytes) => (await failure(decodeDotsBytes(bytes, 'file'))).code),
    );
    expect(codes).toEqual(['file-invalid', 'file-invalid', 'image-unknown', 'image-empty']);
  });
  test.each(PICTURE_FORMAT_NAMES)('a truncated %s', async (format) => {
    const bytes = encodeDots(makeDots(200, 200), GRID, { format });
    for (const share of [0.3, 0.6, 0.95]) {
      const cut = bytes.subarray(0, Math.floor(bytes.length * share));
      expect((await failure(decodeDotsBytes(cut, 'file'))).code).toBe('image-broken');
    }
  });
  test('a compressed BMP and one with impossible sides', async () => {
    const bmp = encodeDots(makeDots(9, 9), GRID, { format: 'bmp' });
    const packed = Buffer.from(bmp);
    packed.writeUInt32LE(1, 30);
    expect((await failure(decodeDotsBytes(packed, 'file'))).code).toBe('file-invalid');
    const wide = Buffer.from(bmp);
    wide.writeInt32LE(0x7fffffff, 18);
    expect((await failure(decodeDotsBytes(wide, 'file'))).code).toBe('image-broken');
  });
  test('no file', async () => {
    expect((await failure(decodeDots(join(folder, 'none.png')))).code).toBe('path-missing');
  });
});

describe('fractions for a TIFF', () => {
  test.each([
    [500, 500, 1],
    [472.5, 945, 2],
    [1 / 3, 1, 3],
    [10 / 0.0212, 25000, 53],
  ])('%d is %i/%i', (value, over, under) => {
    expect(toFraction(value)).toEqual([over, under]);
  });
  test('are within a part in 10⁹ of any pitch', () => {
    fc.assert(
      fc.property(fc.double({ min: 0.001, max: 1, noNaN: true }), (pitch) => {
        const [over, under] = toFraction(10 / pitch);
        expect(Math.abs((over / under) * pitch - 10)).toBeLessThan(1.1e-8);
      }),
      { seed: 8 },
    );
  });
  test('and refused for what is none', () => {
    for (const value of [0, -1, 1e12, Number.NaN]) expect(() => toFraction(value)).toThrow(RangeError);
  });
});

describe('colour pictures', () => {
  const image = { width: 8, height: 8, rgb: Uint8Array.from({ length: 192 }, (_, at) => at) };

  test('a PNG keeps every sample and carries both resolutions', async () => {
    const png = await encodeColour(image, { format: 'png', compression: 2, grid: GRID });
    expect(new Uint8Array(await sharp(png).raw().toBuffer())).toEqual(image.rgb);
    expect(png.subarray(33, 54)).toEqual(pngChunk('pHYs', Buffer.from([0, 0, 0xc3, 0x50, 0, 0, 0x4e, 0x20, 1])));
    expect(png.indexOf('pHYs', 54)).toBe(-1);
    const plain = await encodeColour(image, { format: 'png' });
    expect(new Uint8Array(await sharp(plain).raw().toBuffer())).toEqual(image.rgb);
  });

  test('a JPEG keeps the look, and quality decides its size', async () => {
    const [small, large] = await Promise.all([encodeJpeg(image, { quality: 30 }), encodeJpeg(image, { quality: 98 })]);
    const back = await sharp(large).raw().toBuffer();
    expect(Math.max(...image.rgb.map((sample, at) => Math.abs(sample - back[at]!)))).toBeLessThan(40);
    expect(small.length).toBeLessThan(large.length);
  });

  test('samples that do not fit the sides are refused', async () => {
    await expect(encodeJpeg({ ...image, width: 9 }, { quality: 80 })).rejects.toThrow(RangeError);
  });

  test('a grey picture of the library is one tone of dots', async () => {
    expect(new Set((await decodeDotsBytes(await makeFlatPng(9, 9), 'file')).dots.data)).toEqual(new Set([0]));
  });
});
