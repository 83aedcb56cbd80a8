import fc from 'fast-check';
import * as imageQ from 'image-q';
import { describe, expect, test } from 'vitest';
import { decodeSrgb, encodeSrgb } from '../../src/colour/index.ts';
import { createRandom } from '../../src/numeric/index.ts';
import { createPlane, type Plane } from '../../src/plane/index.ts';
import { type LinearColour, mixNearest, separateMarks } from '../../src/screens/index.ts';

/** Linear RGB of a bare steel, straw, blue and dark. */
const COLOURS: readonly LinearColour[] = [
  [0.42, 0.41, 0.38],
  [0.4, 0.29, 0.1],
  [0.08, 0.14, 0.32],
  [0.04, 0.04, 0.04],
];

const mixOf = (shares: readonly number[]): LinearColour =>
  [0, 1, 2].map((i) => shares.reduce((sum, share, k) => sum + share * COLOURS[k]![i]!, 0)) as unknown as LinearColour;

/** Mean of the colours shown, without the first rows, where little is owed yet. */
function meanOf({ data, width, height }: Pick<Plane<'bit'>, 'data' | 'width' | 'height'>, from: number) {
  const sum = [0, 0, 0];
  for (let i = from * width; i < data.length; i++) for (let c = 0; c < 3; c++) sum[c]! += COLOURS[data[i]!]![c]!;
  return sum.map((value) => value / (width * (height - from)));
}

const distance = (a: readonly number[], b: readonly number[]) => Math.hypot(...a.map((value, i) => value - b[i]!));

const even = (colour: LinearColour, width: number, height = width) =>
  separateMarks({
    width,
    height,
    colours: COLOURS,
    wantedOf: (_, row) => {
      for (let x = 0; x < width; x++) row.set(colour, 3 * x);
    },
  });

/**
 * The same by image-q's error diffusion with the one flag that keeps what it received, on sRGB codes as it takes them.
 */
function separateByImageQ(colour: LinearColour, side: number): Uint8Array {
  const code = (value: number) => Math.round(255 * encodeSrgb(value));
  const palette = new imageQ.utils.Palette();
  for (const [r, g, b] of COLOURS) palette.add(imageQ.utils.Point.createByRGBA(code(r), code(g), code(b), 255));
  const pixels = new Uint8Array(4 * side * side);
  for (let i = 0; i < side * side; i++) pixels.set([...colour.map(code), 255], 4 * i);
  const points = imageQ.utils.PointContainer.fromUint8Array(pixels, side, side);
  const ditherer = new imageQ.image.ErrorDiffusionArray(
    new imageQ.distance.Euclidean(),
    imageQ.image.ErrorDiffusionArrayKernel.FloydSteinberg,
    true,
    0,
    true,
  );
  const shown = [...ditherer.quantize(points, palette)].at(-1)!.pointContainer!.toUint8Array();
  return Uint8Array.from({ length: side * side }, (_, i) => {
    const rgb = [0, 1, 2].map((c) => decodeSrgb(shown[4 * i + c]! / 255));
    return COLOURS.map((known) => distance(known, rgb)).reduce((best, d, k, all) => (d < all[best]! ? k : best), 0);
  });
}

describe('separation into marks', () => {
  const mixtures = [
    [0.25, 0.25, 0.25, 0.25],
    [0.6, 0.3, 0.1, 0],
    [0.05, 0.15, 0.6, 0.2],
    [0.9, 0, 0, 0.1],
  ];

  test.each(mixtures)('keeps the mean colour of a mixture of %d, %d, %d and %d', (...shares) => {
    const wanted = mixOf(shares);
    const shown = meanOf(even(wanted, 48, 600), 8);
    expect(distance(shown, wanted)).toBeLessThan(0.003);
  });

  test('keeps it better than general error diffusion on coded values', () => {
    for (const shares of mixtures) {
      const wanted = mixOf(shares);
      const own = distance(meanOf(even(wanted, 96), 8), wanted);
      const data = separateByImageQ(wanted, 96);
      const other = distance(meanOf({ data, width: 96, height: 96 }, 8), wanted);
      expect(own).toBeLessThan(0.5 * other);
    }
  });

  test('a colour of the palette is shown by its own mark alone', () => {
    COLOURS.forEach((colour, k) => {
      expect(new Set(even(colour, 16).data)).toEqual(new Set([k]));
    });
  });

  test('any colours in any size give one mark a dot, bounded errors, and bare dots where the mask is closed', () => {
    fc.assert(
      fc.property(
        fc.integer({ min: 1, max: 20 }),
        fc.integer({ min: 1, max: 20 }),
        fc.nat(1e6),
        (width, height, seed) => {
          const random = createRandom(seed);
          const mask = createPlane('mask', width, height);
          mask.data.forEach((_, i) => {
            mask.data[i] = random.nextUint32() & 1 ? 255 : 0;
          });
          const wantedOf = (_: number, row: Float64Array) => {
            for (let i = 0; i < row.length; i++) row[i] = 3 * random.nextUnit() - 1;
          };
          const { data } = separateMarks({ width, height, colours: COLOURS, wantedOf, mask });
          expect(data.length).toBe(width * height);
          data.forEach((index, i) => {
            expect(index).toBeLessThan(COLOURS.length);
            if (mask.data[i] === 0) expect(index).toBe(0);
          });
        },
      ),
      { numRuns: 40, seed: 1 },
    );
  });
});

describe('the nearest mixture', () => {
  const toEven = (colour: LinearColour): LinearColour =>
    colour.map((value) => Math.cbrt(value)) as unknown as LinearColour;

  test('of a colour that the marks can mix is that colour', () => {
    const random = createRandom(5);
    for (let run = 0; run < 30; run++) {
      const raw = COLOURS.map(() => -Math.log(random.nextUnit() + 1e-9));
      const total = raw.reduce((a, b) => a + b, 0);
      const wanted = mixOf(raw.map((share) => share / total));
      const found = mixNearest(wanted, { colours: COLOURS, toEven });
      expect(distance(toEven(found), toEven(wanted))).toBeLessThan(0.02);
    }
  });

  test.each([[[1, 1, 1]], [[0.9, 0.1, 0.1]], [[0, 0.6, 0]], [[0, 0, 0]]] as const)(
    'of %j is as near as the best of all mixtures in steps of a twentieth',
    (wanted) => {
      const steps = 20;
      let best = Number.POSITIVE_INFINITY;
      for (let a = 0; a <= steps; a++) {
        for (let b = 0; a + b <= steps; b++) {
          for (let c = 0; a + b + c <= steps; c++) {
            const mixed = mixOf([a, b, c, steps - a - b - c].map((part) => part / steps));
            best = Math.min(best, distance(toEven(mixed), toEven(wanted)));
          }
        }
      }
      const found = mixNearest(wanted, { colours: COLOURS, toEven });
      expect(distance(toEven(found), toEven(wanted))).toBeLessThan(best + 0.003);
    },
  );

  test('of a single colour is that colour', () => {
    expect(mixNearest([1, 0, 0], { colours: [COLOURS[0]!], toEven })).toEqual(COLOURS[0]);
  });
});
