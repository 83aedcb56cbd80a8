import { describe, expect, test } from 'vitest';
import {
  estimateInterval,
  estimateTimeOfPath,
  findExtents,
  type GantryMotion,
  type MotionUncertainty,
  tracePath,
} from '../../src/machine/index.ts';
import { createDots } from '../../src/plane/index.ts';

const GANTRY: GantryMotion = {
  kind: 'gantry',
  accelerationMmPerS2: 2000,
  travelSpeedMmPerS: 100,
  overtravelMm: 0,
  turnDelayMs: 5,
  jobOverheadS: 2,
};
const dots = createDots(100, 10);
dots.data.fill(1);
const path = tracePath(findExtents(dots), { scan: 'two-way' });
const options = {
  motion: GANTRY,
  settings: { powerW: 1, speedMmPerS: 200, passes: 1, scan: 'two-way' as const },
  grid: { pitchMm: 1, lineSpacingMm: 1 },
};
const { seconds } = estimateTimeOfPath(path, options);
const assume = (
  factors: Partial<Record<'speed' | 'acceleration' | 'delay' | 'overhead', number>>,
): MotionUncertainty => ({
  kind: 'assumed',
  factors: { speed: 1 + 1e-12, acceleration: 1 + 1e-12, delay: 1 + 1e-12, overhead: 1 + 1e-12, ...factors },
});

describe('the interval of an estimate', () => {
  test('of one assumed number ends where its range ends', () => {
    const { lowS, highS, basis } = estimateInterval(path, { ...options, uncertainty: assume({ overhead: 2 }) });
    expect([seconds - lowS, highS - seconds, basis]).toEqual([expect.closeTo(1, 6), expect.closeTo(2, 6), 'assumed']);
  });

  test('of several adds them in squares', () => {
    // Delays: 10 · 5 ms = 0.05 s, halved and doubled 0.025 and 0.05 s; overhead as above.
    const { lowS, highS } = estimateInterval(path, { ...options, uncertainty: assume({ overhead: 2, delay: 2 }) });
    expect(highS - seconds).toBeCloseTo(Math.hypot(2, 0.05), 6);
    expect(seconds - lowS).toBeCloseTo(Math.hypot(1, 0.025), 6);
  });

  test('of a fit is the covariance along the time’s derivatives, and the misfit', () => {
    const names = ['travelSPerMm', 'rampS2PerMm', 'riseS', 'waitS', 'overtravelMm', 'overheadS'];
    const covariance = names.map((_, i) =>
      names.map((_, j) => (i === j && i === 5 ? 0.04 : i === j && i === 3 ? 1e-6 : 0)),
    );
    const uncertainty: MotionUncertainty = {
      kind: 'fitted',
      date: '2026-01-01',
      readings: 9,
      leftOut: 0,
      parameters: names,
      covariance,
      misfitShare: 0.01,
      readingErrorS: 0.2,
      degreesOfFreedom: 1e9,
    };
    const { lowS, highS, basis } = estimateInterval(path, { ...options, uncertainty });
    // The overhead counts once, the wait ten times: 0.04 + 100 · 1e-6, and 1 % of the time.
    const half = 1.959964 * Math.sqrt(0.04 + 1e-4 + (0.01 * seconds) ** 2);
    expect([seconds - lowS, highS - seconds, basis]).toEqual([
      expect.closeTo(half, 4),
      expect.closeTo(half, 4),
      'fitted',
    ]);
    const wider = estimateInterval(path, { ...options, uncertainty: { ...uncertainty, degreesOfFreedom: 4 } });
    expect(wider.highS - wider.lowS).toBeGreaterThan(highS - lowS - 1e-9);
  });

  test('is assumed where a file says nothing', () => {
    const { lowS, highS, basis } = estimateInterval(path, options);
    expect(basis).toBe('assumed');
    expect(lowS).toBeLessThan(seconds);
    expect(highS).toBeGreaterThan(seconds);
  });

  test('never begins below 0', () => {
    const bare = tracePath(findExtents(createDots(4, 4)), { scan: 'one-way' });
    const { lowS } = estimateInterval(bare, options);
    expect(lowS).toBeGreaterThanOrEqual(0);
  });
});
