import { readFileSync } from 'node:fs';
import * as imageQ from 'image-q';
import { describe, expect, test } from 'vitest';
import { createPlane, ONE, type Plane } from '../../src/plane/index.ts';
import { diffuseFixed } from '../../src/screens/diffusion.ts';
import { diffuseFloydSteinberg } from '../../src/screens/floyd-steinberg.ts';
import * as namespace from '../../src/screens/kernels.ts';
import { diffuseVariable } from '../../src/screens/variable-diffusion.ts';
import { OSTROMOUKHOV, weightsAt, ZHOU_FANG } from '../../src/screens/variable-kernels.ts';
import { constantPlane, drawDots, mixedPlane } from './planes.ts';
import { diffuseFixedPlainly, diffuseVariablePlainly } from './reference.ts';

const kernels = { ...namespace };
const named = Object.entries(kernels);
const SCANS = ['raster', 'serpentine'] as const;
const SIZES = [
  [1, 1],
  [1, 7],
  [7, 1],
  [2, 3],
  [3, 2],
  [5, 5],
  [131, 67],
] as const;

describe.each(named)('%s', (_, kernel) => {
  test('the shares sum to what it declares to carry', () => {
    const sum = kernel.taps.reduce((total, [, , share]) => total + share, 0);
    expect(sum / kernel.divisor).toBe(kernel.weightSum);
  });

  test.each(SCANS)('%s: the fast version gives the bits of the plain one, on any size and any levels', (scan) => {
    for (const [width, height] of SIZES) {
      for (const levels of [2, 3, 4, 16, 256]) {
        const plane = mixedPlane(width, height, width + levels);
        const expected = diffuseFixedPlainly(plane, { kernel, scan, levels });
        expect(diffuseFixed(plane, { kernel, scan, levels })).toEqual(expected);
      }
    }
  });
});

// source: 'ditherPunk' (kernels as read there), X the current dot; the rows below are centred under it.
test.each([
  ['FLOYD_STEINBERG', '7/16', '3 5 1'],
  ['JARVIS_JUDICE_NINKE', '7 5/48', '3 5 7 5 3', '1 3 5 3 1'],
  ['STUCKI', '8 4/42', '2 4 8 4 2', '1 2 4 2 1'],
  ['BURKES', '8 4/32', '2 4 8 4 2'],
  ['SIERRA', '5 3/32', '2 4 5 4 2', '0 2 3 2 0'],
  ['SIERRA_TWO_ROW', '4 3/16', '1 2 3 2 1'],
  ['SIERRA_LITE', '2/4', '1 1 0'],
  ['ATKINSON', '1 1/8', '1 1 1', '0 0 1 0 0'],
] as const)('%s has the published shares', (name, first, ...below) => {
  const kernel = kernels[name];
  const shareAt = (dx: number, dy: number) => kernel.taps.find(([x, y]) => x === dx && y === dy)?.[2] ?? 0;
  const [ahead, divisor] = first.split('/') as [string, string];
  expect(kernel.divisor).toBe(Number(divisor));
  const expected = ahead.split(' ').map((share, i) => [i + 1, 0, Number(share)]);
  below.forEach((row, i) => {
    const shares = row.split(' ').map(Number);
    expected.push(...shares.map((share, j) => [j - (shares.length - 1) / 2, i + 1, share]));
  });
  for (const [dx, dy, share] of expected) expect(shareAt(dx!, dy!)).toBe(share);
  expect(kernel.taps.length).toBe(expected.filter(([, , share]) => share! > 0).length);
});

test.each(SCANS)(
  '%s: Floyd and Steinberg’s own fast version gives the bits of the general one, by kernel and plainly',
  (scan) => {
    for (const [width, height] of SIZES) {
      for (const seed of [1, 2, 3]) {
        const plane = mixedPlane(width, height, seed);
        const expected = diffuseFixedPlainly(plane, { kernel: kernels.FLOYD_STEINBERG, scan, levels: 2 });
        expect(diffuseFloydSteinberg(plane, { scan })).toEqual(expected);
        expect(diffuseFloydSteinberg(plane, { scan, arithmetic: 'scalar' })).toEqual(expected);
      }
    }
  },
);

/**
 * The independent oracle is image-q 4.0.0, ErrorDiffusionArray with its tone-keeping flag. Its arithmetic is ours at
 * another scale: each dot's sum is rounded to a whole number (0 … 255), half up, and clamped there, which ours is not.
 * So the plain version is run at full scale 255 with the clamp and must give image-q's bits; the fast versions equal
 * the plain one above. Only kernels whose divisor is a power of two: image-q's sums are exact in binary fractions for
 * these.
 */
const { image } = imageQ;
test.each([
  ['FLOYD_STEINBERG', image.ErrorDiffusionArrayKernel.FloydSteinberg],
  ['BURKES', image.ErrorDiffusionArrayKernel.Burkes],
  ['SIERRA', image.ErrorDiffusionArrayKernel.Sierra],
  ['SIERRA_TWO_ROW', image.ErrorDiffusionArrayKernel.TwoSierra],
  ['SIERRA_LITE', image.ErrorDiffusionArrayKernel.SierraLite],
  ['ATKINSON', image.ErrorDiffusionArrayKernel.Atkinson],
] as const)('%s gives the bits of image-q where the arithmetic is equal', (name, kernel) => {
  const [width, height] = [61, 47];
  const mixed = mixedPlane(width, height, 9);
  const plane = createPlane('coverage', width, height);
  for (let i = 0; i < plane.data.length; i++) plane.data[i] = Math.round((mixed.data[i] * 255) / ONE);
  for (const scan of SCANS) {
    // image-q starts its serpentine scan at the right: hand it the mirror image.
    const isMirrored = scan === 'serpentine';
    const asked = isMirrored ? mirror(plane) : plane;
    const found = quantizeWithImageQ(asked, kernel, scan === 'serpentine');
    const expected = diffuseFixedPlainly(plane, { kernel: kernels[name], scan, levels: 2, one: 255, clamp: true });
    expect(isMirrored ? mirror({ ...plane, data: found }).data : found).toEqual(Uint16Array.from(expected.data));
  }
});

function mirror(plane: Plane<'coverage'>): Plane<'coverage'> {
  const { width, height, data } = plane;
  const mirrored = createPlane('coverage', width, height);
  for (let i = 0; i < data.length; i++) mirrored.data[i] = data[i - (i % width) + width - 1 - (i % width)];
  return mirrored;
}

function quantizeWithImageQ(
  { width, height, data }: Plane<'coverage'>,
  kernel: imageQ.image.ErrorDiffusionArrayKernel,
  serpentine: boolean,
): Uint16Array<ArrayBuffer> {
  const points = new Uint8Array(data.length * 4).fill(255);
  data.forEach((value, i) => {
    points.fill(value, 4 * i, 4 * i + 3);
  });
  const palette = new imageQ.utils.Palette();
  palette.add(imageQ.utils.Point.createByRGBA(0, 0, 0, 255));
  palette.add(imageQ.utils.Point.createByRGBA(255, 255, 255, 255));
  const quantizer = new imageQ.image.ErrorDiffusionArray(new imageQ.distance.Euclidean(), kernel, serpentine, 0, true);
  const result = quantizer.quantizeSync(imageQ.utils.PointContainer.fromUint8Array(points, width, height), palette);
  return Uint16Array.from(
    result.toUint8Array().filter((_, i) => i % 4 === 0),
    (value) => value / 255,
  );
}

test('the first dot at a quarter of coverage fires where a sum on paper passes one half', () => {
  // First row: 0.25, then 0.25 + 7/16 of the last: 0.359, 0.407, 0.428, 0.437 … towards 0.444, all bare.
  // Second row: 0.25 + 5/16 · 0.25 + 3/16 · 0.359 = 0.395, bare; then 0.25 + 7/16 · 0.395 + 1/16 · 0.25 + 5/16 · 0.359
  // + 3/16 · 0.407 = 0.627: fires.
  const dots = diffuseFloydSteinberg(constantPlane(0.25, 12, 2), { scan: 'raster' });
  const [first, second] = drawDots(dots);
  expect(first).toBe('............');
  expect(second!.slice(0, 2)).toBe('.#');
});

test('a kernel that reaches too far is refused', () => {
  const kernel = { ...kernels.FLOYD_STEINBERG, taps: [[3, 0, 16]] as const };
  expect(() => diffuseFixed(constantPlane(0.5, 4), { kernel, scan: 'raster', levels: 2 })).toThrow(RangeError);
});

const tableOf = (file: string) =>
  readFileSync(new URL(file, import.meta.url), 'utf8')
    .trim()
    .split('\n')
    .slice(1)
    .map((line) => line.split(',').map(Number));

test('the knots give Ostromoukhov’s table: all 128 rows, exactly', () => {
  // source: 'ostromoukhov2001', table of the author's program "varcoeffED.c version 1, August 2001".
  const rows = tableOf('ostromoukhov-2001.csv');
  expect(rows).toHaveLength(128);
  for (const [level, right, downLeft, , sum] of rows) {
    for (const mirrored of [level!, 255 - level!]) {
      const weights = weightsAt(OSTROMOUKHOV, mirrored);
      expect(weights.ahead).toBeCloseTo(right! / sum!, 13);
      expect(weights.belowBehind).toBeCloseTo(downLeft! / sum!, 13);
      expect(weights.modulation).toBe(0);
    }
  }
});

test('the knots give Zhou and Fang’s table: weights to the table’s six decimals, modulation exactly', () => {
  // source: 'zhouFang2003', table of the authors' program, github.com/cczbf/TMED @d123078, tmed.cpp.
  const rows = tableOf('zhou-fang-2003.csv');
  expect(rows).toHaveLength(128);
  for (const [level, right, downLeft, , sum, percent] of rows) {
    const weights = weightsAt(ZHOU_FANG, level!);
    expect(Math.abs(weights.ahead - right! / sum!)).toBeLessThan(3.1e-6);
    expect(Math.abs(weights.belowBehind - downLeft! / sum!)).toBeLessThan(3.1e-6);
    expect(Math.floor(100 * weights.modulation + 1e-9)).toBe(percent);
  }
});

describe.each([
  ['ostromoukhov', OSTROMOUKHOV],
  ['zhou-fang', ZHOU_FANG],
] as const)('%s', (_, kernel) => {
  test.each(SCANS)('%s: the fast version gives the bits of the plain one, on any size and any levels', (scan) => {
    for (const [width, height] of SIZES) {
      for (const levels of [2, 4, 16, 256]) {
        const plane = mixedPlane(width, height, width + levels);
        const { dots } = diffuseVariablePlainly(plane, { kernel, scan, levels, seed: 3 });
        expect(diffuseVariable(plane, { kernel, scan, levels, seed: 3 })).toEqual(dots);
      }
    }
  });

  test('errors stay far inside the four times full scale that the whole-number weights allow', () => {
    for (const seed of [1, 2, 3, 4]) {
      // Bare, solid and any tone side by side: the worst mixture of weights.
      const plane = mixedPlane(300, 200, seed);
      const { largestError } = diffuseVariablePlainly(plane, { kernel, scan: 'serpentine', levels: 2, seed });
      expect(largestError).toBeLessThan(2 * ONE);
    }
  });
});
