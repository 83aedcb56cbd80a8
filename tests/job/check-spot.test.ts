import { describe, expect, test } from 'vitest';
import { layoutChart, type Reading } from '../../src/chart/index.ts';
import { readSpot } from '../../src/job/index.ts';

const OPTIONS = {
  machine: 'any',
  direction: 'darker',
  settings: { powerW: 5, speedMmPerS: 100, passes: 1, scan: 'one-way' },
  grid: { pitchMm: 0.04, lineSpacingMm: 0.05 },
} as const;
const LAYOUT = layoutChart('spot', OPTIONS);
const SOLID = 0.1;

/** Readings of lines of the given widths under Yule and Nielsen's mixing. */
function readLines({ x, y, n, noise = 0 }: { x: number; y: number; n: number; noise?: number }) {
  const { pitchMm, lineSpacingMm } = LAYOUT.grid;
  return LAYOUT.patches.map((patch, at): Reading => {
    const { pattern } = patch;
    const period = 'period' in pattern ? pattern.period * 1000 : 1;
    const share =
      pattern.kind === 'bare'
        ? 0
        : pattern.kind === 'lines-x'
          ? Math.min(1, y / (period * lineSpacingMm))
          : pattern.kind === 'lines-y'
            ? Math.min(1, x / (period * pitchMm))
            : pattern.kind === 'squares'
              ? Math.min(1, (Math.PI * x * y) / 4 / (period ** 2 * pitchMm * lineSpacingMm))
              : 1;
    const mean = (1 + share * (SOLID ** (1 / n) - 1)) ** n + noise * Math.sin(7.3 * at);
    return { ...patch, mean, colour: [0, 0, 0], spread: 0, pixels: 100, rejectedShare: 0 };
  });
}

describe('the width of a mark from ladders of lines', () => {
  // Without light scatter this is Murray and Davies' area (murray1936); with it, Yule and Nielsen's (yuleNielsen1951).
  test.each([
    [45, 60, 1],
    [30, 85, 1.4],
    [90, 52, 1.9],
  ])('lines of %f and %f µm under a light scatter of %f come back', (x, y, n) => {
    const spot = readSpot({ readings: readLines({ x, y, n }), solidRatio: SOLID }, LAYOUT);
    expect(spot.widthX.valueUm).toBeCloseTo(x, 2);
    expect(spot.widthY.valueUm).toBeCloseTo(y, 2);
    expect(spot.yuleNielsenN).toBeCloseTo(n, 3);
    expect(spot.dotUm! / Math.sqrt(x * y)).toBeCloseTo(1, 2);
    expect(spot.recommendedSpacingMm).toBeCloseTo(0.0008 * y, 3);
  });

  test('the interval holds the truth under noise, and is not empty', () => {
    const { widthX, widthY } = readSpot(
      { readings: readLines({ x: 45, y: 60, n: 1.2, noise: 0.004 }), solidRatio: SOLID },
      LAYOUT,
    );
    for (const [width, truth] of [
      [widthX, 45],
      [widthY, 60],
    ] as const) {
      expect(width.lowUm).toBeLessThan(truth);
      expect(width.highUm).toBeGreaterThan(truth);
      expect(width.highUm - width.lowUm).toBeGreaterThan(0.5);
    }
  });

  test('lines narrower than their spacing are told', () => {
    const { notes } = readSpot({ readings: readLines({ x: 45, y: 40, n: 1 }), solidRatio: SOLID }, LAYOUT);
    expect(notes.join()).toMatch(/stripes/);
  });

  test('lines that all touch say nothing, and that is said', () => {
    const readings = readLines({ x: 45, y: 900, n: 1 });
    expect(() => readSpot({ readings, solidRatio: SOLID }, LAYOUT)).toThrow(/ladders along x/);
  });

  test('another chart is refused', () => {
    const tone = layoutChart('tone', OPTIONS);
    expect(() => readSpot({ readings: [], solidRatio: SOLID }, tone)).toThrow(/needed a spot chart/);
  });
});
