import { describe, expect, test } from 'vitest';
import {
  askForRamp,
  drawRamp,
  lookAtRamp,
  medianDeviation,
  RAMP_L,
  type Ramp,
  scoreTones,
  tabulateDiscs,
  worstOf,
} from '../../benchmarks/common/ramp.ts';
import { applyScreen, chooseScreen } from '../../src/screens/index.ts';

const SQUARE = { pitchMm: 0.02, lineSpacingMm: 0.02 };
const DENSE = { pitchMm: 0.02, lineSpacingMm: 0.016 };
const STEADY = { levels: 2, knowsMarks: true, loneStrength: 1, repeatability: 0, shortestRun: 1 };

function score(ramp: Ramp, options: Omit<Parameters<typeof applyScreen>[1], 'grid'>) {
  const table = tabulateDiscs(ramp.grid);
  const lightness = drawRamp(ramp);
  const dots = applyScreen(askForRamp(lightness, ramp), { ...options, grid: ramp.grid, marks: table });
  return scoreTones(lookAtRamp(dots, lightness, { ramp, table }), ramp);
}

/** The whole range, and a slow piece of it at a quarter of the dots, where Floyd and Steinberg's lie in stripes. */
const RAMPS = [
  { title: 'along the lines', directionDeg: 0, ...RAMP_L, grid: SQUARE },
  { title: 'aslant, on dense lines', directionDeg: 30, ...RAMP_L, grid: DENSE },
  { title: 'slowly past a quarter', directionDeg: 45, from: 39.5, to: 44.5, grid: SQUARE },
] as const;
const field = { width: 500, height: 500 };

describe.each(RAMPS)('what the eye sees of a curved ramp $title', (ramp) => {
  test('is even with the automatic screen', () => {
    const { name, options } = chooseScreen({ ...STEADY, grid: ramp.grid });
    const scores = score({ ...ramp, ...field }, { ...options, name });
    if (ramp.from === RAMP_L.from) expect(medianDeviation(scores)).toBeLessThanOrEqual(0.09);
    expect(worstOf(scores, 'deviation').deviation).toBeLessThanOrEqual(0.13);
    expect(worstOf(scores, 'streaks').streaks).toBeLessThanOrEqual(0.07);
  });

  test('is more even with direct search', () => {
    const scores = score({ ...ramp, ...field }, { name: 'direct-search', response: 'table' });
    if (ramp.from === RAMP_L.from) expect(medianDeviation(scores)).toBeLessThanOrEqual(0.07);
    expect(worstOf(scores, 'deviation').deviation).toBeLessThanOrEqual(0.1);
    expect(worstOf(scores, 'streaks').streaks).toBeLessThanOrEqual(0.06);
  });
});

test('a screen with stripes at a quarter is found out', () => {
  const scores = score({ ...RAMPS[2], ...field }, { name: 'floyd-steinberg', errorOf: 'marks' });
  expect(worstOf(scores, 'deviation').deviation).toBeGreaterThan(0.25);
  expect(worstOf(scores, 'streaks').streaks).toBeGreaterThan(0.12);
  expect([75, 90, 105]).toContain(worstOf(scores, 'streaks').streakDeg);
});
