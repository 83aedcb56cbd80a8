import { describe, expect, test } from 'vitest';
import type { ColourImage } from '../../src/plane/index.ts';
import { openPicture } from '../../src/subject/picture.ts';
import { openWorkspace } from '../../src/subject/products.ts';
import { turnImage } from '../../src/subject/turn.ts';
import { openRandom } from './noise.ts';

const next = openRandom(3);
const image: ColourImage = { width: 37, height: 23, rgb: Uint8Array.from({ length: 3 * 37 * 23 }, () => 256 * next()) };
const CODES = { scale: 1, offset: 0 };

/** Squares inside, across the edges and beyond; smaller, as large and larger than what is made of them. */
const SQUARES = [
  { x: 3, y: 2, side: 18 },
  { x: -9.3, y: 4.2, side: 40.7 },
  { x: 1.4, y: -3.1, side: 5.9 },
  { x: 30, y: 18, side: 8 },
  { x: 100, y: 100, side: 12 },
];

describe.each([0, 90, 180, 270] as const)('turned by %i°', (turn) => {
  test.each(SQUARES)(
    'square $x, $y of $side is the same as of the turned picture, with and without kernels',
    (square) => {
      const cut = (arithmetic: 'simd' | 'scalar', from = openPicture(image, { arithmetic }).turn(turn)) =>
        from.cutSquare({ square, side: 8, ...CODES }).slice();
      expect(cut('scalar')).toEqual(cut('simd'));
      expect(cut('simd', openPicture(turnImage(image, turn)))).toEqual(cut('simd'));
    },
  );
});

test('a square of half the size is made of means of 2 × 2 pixels', () => {
  const cut = openPicture(image).cutSquare({ square: { x: 4, y: 6, side: 16 }, side: 8, ...CODES });
  const code = (x: number, y: number, c: number) => image.rgb[3 * (37 * y + x) + c]!;
  const mean = (x: number, y: number, c: number) =>
    (code(x, y, c) + code(x + 1, y, c) + code(x, y + 1, c) + code(x + 1, y + 1, c)) / 4;
  expect(cut[0]).toBe(mean(4, 6, 0));
  expect(cut[3 * (8 * 5 + 3) + 2]).toBe(mean(4 + 2 * 3, 6 + 2 * 5, 2));
});

test('beyond the picture lies black', () => {
  const square = { x: -20, y: -20, side: 8 };
  const cut = openPicture(image).cutSquare({ square, side: 4, scale: 2, offset: -1 });
  expect([...cut]).toEqual(Array.from({ length: 48 }, () => -1));
});

test('numbers of 16 bits are widened exactly, the smallest and the endless too', () => {
  // IEEE 754-2019, binary16: 1, −2, the smallest normal number, the smallest of all, the greatest, −0, infinity.
  const halves = new Uint16Array([0x3c00, 0xc000, 0x0400, 0x0001, 0x7bff, 0x8000, 0x7c00]);
  const wide = [1, -2, 2 ** -14, 2 ** -24, 65504, -0, Number.POSITIVE_INFINITY];
  for (const way of ['simd', 'scalar'] as const) {
    const { arithmetic, blocks } = openWorkspace([halves.length], way);
    arithmetic.widen(new Uint8Array(halves.buffer), blocks[0]!);
    expect([...blocks[0]!], way).toEqual(wide);
  }
});
