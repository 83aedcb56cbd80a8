// HEIC as phones write it, decoded by a package that may be left out. How the files were made:
// tests/plane/heic/README.md.
import { readFileSync } from 'node:fs';
import { expect, test, vi } from 'vitest';
import { decodePhoto, readColour, readPhoto, sniffFormat } from '../../src/plane/index.ts';

const pathOf = (name: string) => `tests/plane/heic/${name}.heic`;

/** Colours in the middle of the four fields as sRGB, row by row. */
async function readFields(name: string) {
  const photo = await readPhoto(pathOf(name));
  const { width, height } = photo;
  const size = { width: 2, height: 2 };
  const at = (x: number, y: number) => {
    const crop = { x: width * x + 10, y: height * y + 10, width: width / 2 - 20, height: height / 2 - 20 };
    const { rgb } = readColour(photo, { crop, ...size });
    return [...rgb.subarray(0, 3)];
  };
  return { photo, fields: [at(0, 0), at(0.5, 0), at(0, 0.5), at(0.5, 0.5)] };
}

/** Compression, and chroma of half the resolution, leave about so much, sRGB codes. */
const near = (colour: readonly number[]) => colour.map((code) => expect.closeTo(code, -0.9));
const RED = near([200, 40, 40]);
const GREEN = near([40, 200, 40]);
const BLUE = near([40, 40, 200]);
const GREY = near([128, 128, 128]);

test.each([
  ['plain', 8],
  ['deep', 16],
  ['two', 8],
])('%s: the main picture in its colours', async (name, bits) => {
  const { photo, fields } = await readFields(name);
  expect(photo).toMatchObject({ width: 96, height: 64, bits, channels: 3, facts: { format: 'heic' } });
  expect(fields).toEqual([RED, GREEN, BLUE, GREY]);
});

test('a slow ramp of 10 bits keeps its steps', async () => {
  const photo = await readPhoto(pathOf('ramp'));
  const { width, rgb } = photo;
  const column = (x: number) => Array.from({ length: 32 }, (_, y) => rgb[3 * (y * width + x) + 1]! / 65535);
  const mean = (values: readonly number[]) => values.reduce((sum, value) => sum + value, 0) / values.length;
  // By how it was made: columns 4 apart differ by a code of 1023, which 8 bits cannot say.
  const steps = Array.from({ length: 62 }, (_, i) => 1023 * (mean(column(4 * i + 6)) - mean(column(4 * i + 2))));
  expect(1023 * mean(column(2))).toBeCloseTo(400, 0);
  for (const step of steps) expect(step).toBeCloseTo(1, 0);
  expect(new Set(rgb.filter((_, at) => at % 3 === 1)).size).toBeGreaterThan(60);
});

test.each(['p3', 'deep-p3'])('%s: colours of Display P3 come out as they look', async (name) => {
  const { photo, fields } = await readFields(name);
  expect(photo.facts.iccProfile).toBeDefined();
  expect(fields).toEqual([RED, GREEN, BLUE, GREY]);
});

test('a picture that its boxes say is turned stands upright', async () => {
  const { photo, fields } = await readFields('turned');
  expect([photo.width, photo.height]).toEqual([64, 96]);
  // A quarter clockwise: what was at the lower left is at the upper left.
  expect(fields).toEqual([BLUE, RED, GREY, GREEN]);
});

test('a HEIC that is cut off is told as damaged', async () => {
  const bytes = readFileSync(pathOf('plain'));
  expect(sniffFormat(bytes).format).toBe('heic');
  for (const length of [40, 400, bytes.length - 40]) {
    await expect(decodePhoto(bytes.subarray(0, length), 'cut.heic')).rejects.toThrow(
      expect.objectContaining({ code: 'image-broken' }),
    );
  }
});

test('where its decoder is not installed a HEIC is refused, with what would help', async () => {
  vi.resetModules();
  vi.doMock('../../src/plane/heic.ts', () => ({ hasHeicDecoder: () => false }));
  const without = await import('../../src/plane/decode.ts');
  await expect(without.decodePhoto(readFileSync(pathOf('plain')), 'IMG_1.HEIC')).rejects.toMatchObject({
    code: 'image-unknown',
    message: expect.stringMatching(/IMG_1\.HEIC: found a HEIC photo, .*libheif-js.* not installed; .* JPEG/),
  });
  vi.doUnmock('../../src/plane/heic.ts');
});
