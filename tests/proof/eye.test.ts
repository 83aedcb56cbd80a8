import { describe, expect, test } from 'vitest';
import { reflectanceOfLightness } from '../../src/colour/index.ts';
import { assumeResponse, fillDotTable } from '../../src/material/index.ts';
import { computeEyeBlurMm, NASANEN_1984 } from '../../src/optics/index.ts';
import { createDots, createPlane, ONE } from '../../src/plane/index.ts';
import {
  assessTone,
  averageWanted,
  filterByEye,
  planEyeCells,
  predictError,
  predictLightness,
  predictReflectance,
} from '../../src/proof/index.ts';

describe("the eye's blur", () => {
  /** source: 'nasanen1984': rate of the exponential in degrees, computed for L = 11 and 100 cd/m². */
  test.each([
    { luminanceCdPerM2: 11, rateDeg: 0.193465 },
    { luminanceCdPerM2: 100, rateDeg: 0.158035 },
  ])('at $luminanceCdPerM2 cd/m² halves contrast where the exponential does', ({ luminanceCdPerM2, rateDeg }) => {
    expect(1 / (NASANEN_1984.c * Math.log(luminanceCdPerM2) + NASANEN_1984.d)).toBeCloseTo(rateDeg, 6);
    const sigmaDeg = (Math.atan(computeEyeBlurMm({ luminanceCdPerM2 }) / 300) * 180) / Math.PI;
    const half = Math.LN2 / rateDeg;
    expect(Math.exp(-2 * (Math.PI * sigmaDeg * half) ** 2)).toBeCloseTo(0.5, 6);
  });

  test('keeps a constant plane, up to its border', () => {
    const plane = createPlane('reflectance', 9, 5, new Float32Array(45).fill(0.3));
    const seen = filterByEye(plane, { cellXMm: 0.1, cellYMm: 0.1 });
    expect(seen.data.every((value) => Math.abs(value - 0.3) < 1e-6)).toBe(true);
  });

  test('spreads a point as a Gaussian that is round on the work, also where cells are not square', () => {
    const plane = createPlane('reflectance', 81, 41);
    plane.data[20 * 81 + 40] = 1;
    const { data } = filterByEye(plane, { cellXMm: 0.05, cellYMm: 0.1 });
    const variance = (read: (i: number) => number, step: number, half: number) => {
      let sum = 0;
      let square = 0;
      for (let i = -half; i <= half; i++) {
        sum += read(i);
        square += read(i) * (i * step) ** 2;
      }
      return square / sum;
    };
    const sigma = computeEyeBlurMm();
    expect(variance((i) => data[20 * 81 + 40 + i], 0.05, 40) / sigma ** 2).toBeCloseTo(1, 1);
    expect(variance((i) => data[(20 + i) * 81 + 40], 0.1, 20) / sigma ** 2).toBeCloseTo(1, 1);
    expect(data.reduce((total, value) => total + value, 0)).toBeCloseTo(1, 3);
  });

  test.each([
    [1, 1],
    [7, 3],
    [12, 40],
    [13, 2],
    [90, 31],
  ])('of %d × %d cells is the same by the kernels and by the plain loops', (width, height) => {
    const data = Float32Array.from({ length: width * height }, (_, i) => ((i * 7919) % 101) / 101);
    const plane = createPlane('reflectance', width, height, data);
    const [fast, plain] = (['simd', 'scalar'] as const).map(
      (arithmetic) => filterByEye(plane, { cellXMm: 0.11, cellYMm: 0.07, arithmetic }).data,
    );
    expect(fast).toEqual(plain);
  });

  test.each([0.02, 0.025, 0.056, 0.08, 0.1, 1])(
    'plans cells of whole dots, about half its width, of %d mm',
    (pitchMm) => {
      const grid = { pitchMm, lineSpacingMm: pitchMm };
      const { width, height, cellXMm, cellYMm } = planEyeCells({ width: 4281, height: 1 }, { grid });
      expect([height, cellYMm]).toEqual([1, pitchMm]);
      const dotsPerCell = 4281 / width;
      // As many of one more dot as the side asks for, and no other.
      expect(Math.abs(dotsPerCell - Math.round(dotsPerCell))).toBeLessThan(0.01);
      expect(cellXMm).toBeCloseTo(dotsPerCell * pitchMm, 9);
      const wanted = Math.max(pitchMm, computeEyeBlurMm() / 2);
      expect(cellXMm / wanted).toBeGreaterThan(0.65);
      expect(cellXMm / wanted).toBeLessThan(1.35);
    },
  );
});

test('a mask that leaves all is as none, row by row, and what it cuts is wanted bare', () => {
  const luminance = createPlane(
    'luminance',
    6,
    2,
    Uint16Array.from({ length: 12 }, (_, i) => (ONE * i) / 12),
  );
  const reflectance = Float32Array.from({ length: ONE + 1 }, (_, value) => value / ONE);
  const size = { reflectance, bareLuminance: 1, width: 2, height: 2 };
  const mask = createPlane('mask', 6, 2, Uint8Array.from([255, 255, 255, 255, 255, 255, 0, 0, 0, 0, 0, 51]));
  const free = averageWanted(luminance, size).data;
  for (const arithmetic of ['simd', 'scalar'] as const) {
    const cut = averageWanted(luminance, { ...size, mask, arithmetic }).data;
    expect(cut.slice(0, 2)).toEqual(free.slice(0, 2));
    expect(cut[2]).toBe(1);
    expect(cut[3]).toBeCloseTo((2 + 0.8 + 0.2 * (11 / 12)) / 3, 4);
  }
});

describe('the error of tone', () => {
  const plane = (values: number[]) => createPlane('lightness', values.length, 1, Float32Array.from(values));

  test('is the mean, the 95th of 100 and the worst difference', () => {
    const wanted = plane(new Array(100).fill(50));
    const predicted = plane(Array.from({ length: 100 }, (_, i) => 50 + (i % 2 ? i : -i) / 10));
    const { mean, p95, worst } = predictError(wanted, { predicted });
    expect(mean).toBeCloseTo(4.95, 5);
    expect(p95).toBeCloseTo(9.4, 1);
    expect(worst).toBeCloseTo(9.9, 5);
  });

  test('leaves out what is masked', () => {
    const options = { predicted: plane([50, 60, 90]), weights: [1, 1, 0] };
    const { mean, worst } = predictError(plane([50, 50, 50]), options);
    expect([mean, worst]).toEqual([5, 10]);
    expect(predictError(plane([50]), { predicted: plane([90]), weights: [0] })).toEqual({ mean: 0, p95: 0, worst: 0 });
  });

  test('refuses planes of different size', () => {
    expect(() => predictError(plane([1]), { predicted: plane([1, 2]) })).toThrow(RangeError);
  });

  test('wanted light is averaged in light, and masked dots are wanted bare', () => {
    const reflectance = Float32Array.from({ length: ONE + 1 }, (_, value) => value / ONE);
    const luminance = createPlane('luminance', 4, 1, Uint16Array.from([0, ONE, ONE, ONE]));
    const mask = createPlane('mask', 4, 1, Uint8Array.from([255, 255, 255, 0]));
    const wanted = averageWanted(luminance, { reflectance, bareLuminance: 0.2, mask, width: 2, height: 1 });
    expect(wanted.data[0]).toBeCloseTo(0.5, 6);
    expect(wanted.data[1]).toBeCloseTo(0.6, 6);
  });

  test('wanted light is the same by kernel and plainly', () => {
    const reflectance = Float32Array.from({ length: ONE + 1 }, (_, value) => Math.sqrt(value / ONE));
    const light = Uint16Array.from({ length: 37 * 23 }, (_, at) => (at * 7919) % (ONE + 1));
    const options = { reflectance, bareLuminance: 0.2, width: 5, height: 4 };
    const luminance = createPlane('luminance', 37, 23, light);
    const plain = averageWanted(luminance, { ...options, arithmetic: 'scalar' });
    expect(averageWanted(luminance, options)).toEqual(plain);
  });

  test.each([1, 1.2, 1.3])(
    'fine dots of the right tone have next to none at n = %d, whether predicted anew or from the proof',
    (n) => {
      const grid = { pitchMm: 0.02, lineSpacingMm: 0.02 };
      const response = assumeResponse(
        { markDiameterXUm: 20, markDiameterYUm: 20, steepness: 6, drive: 2, yuleNielsenN: n },
        grid,
      );
      const table = fillDotTable({ response, bare: [17, 0, 0], full: [80, 0, 0] });
      // A checkerboard is far finer than the eye; what it shows is its mean.
      const dots = createDots(
        200,
        200,
        2,
        Uint8Array.from({ length: 40000 }, (_, i) => ((i % 200) + Math.floor(i / 200)) % 2),
      );
      const rect = { x: 20, y: 20, width: 160, height: 160 };
      const tone = reflectanceOfLightness(predictLightness(dots, { table, rect }));
      const reflectance = new Float32Array(ONE + 1).fill(tone);
      const options = { table, grid, luminance: createPlane('luminance', 200, 200), reflectance };
      const alone = assessTone(dots, options);
      const shown = assessTone(dots, {
        ...options,
        shown: predictReflectance(dots, { table, width: 150, height: 150 }),
      });
      expect(alone.mean).toBeLessThan(0.2);
      expect(Math.abs(alone.mean - shown.mean)).toBeLessThan(0.1);
    },
  );
});
