import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { computeMoveSeconds, computeRamp, computeTrapezoidSeconds } from '../../src/machine/index.ts';

/**
 * A drive of bounded jerk, stepped: acceleration rises by a/r a second, holds, and falls back before the speed is
 * reached.
 */
function stepRamp(speed: number, acceleration: number, riseS: number) {
  const jerk = acceleration / riseS;
  const step = riseS / 100_000;
  let [s, mm, v, a] = [0, 0, 0, 0];
  while (v < speed) {
    a = v + a ** 2 / (2 * jerk) >= speed ? a - jerk * step : Math.min(acceleration, a + jerk * step);
    if (a <= 0) break;
    mm += v * step;
    v += a * step;
    s += step;
  }
  return { s, mm };
}

describe('a ramp with an acceleration that rises', () => {
  test('takes the time computed by hand', () => {
    // a = 1000, r = 0.1: full from 100 mm/s on. 200 mm/s: 0.2 + 0.1 s over 30 mm; 100 mm/s: 0.2 s over 10 mm;
    // 25 mm/s: 2√(25·0.1/1000) = 0.1 s over 1.25 mm.
    const drive = { accelerationMmPerS2: 1000, riseS: 0.1 };
    const ramps = [200, 100, 25].map((speedMmPerS) => computeRamp({ ...drive, speedMmPerS }));
    expect(ramps.map(({ seconds }) => seconds)).toEqual([0.30000000000000004, 0.2, expect.closeTo(0.1, 12)]);
    expect(ramps.map(({ distanceMm }) => distanceMm)).toEqual([expect.closeTo(30, 12), 10, expect.closeTo(1.25, 12)]);
  });

  test.each([
    [200, 1000, 0.1],
    [25, 1000, 0.1],
    [99, 1000, 0.1],
    [500, 8000, 0.03],
  ])('to %f mm/s at %f mm/s² within %f s agrees with a stepped drive', (speedMmPerS, accelerationMmPerS2, riseS) => {
    const ramp = computeRamp({ speedMmPerS, accelerationMmPerS2, riseS });
    const stepped = stepRamp(speedMmPerS, accelerationMmPerS2, riseS);
    expect(stepped.s / ramp.seconds).toBeCloseTo(1, 2);
    expect(stepped.mm / ramp.distanceMm).toBeCloseTo(1, 2);
  });
});

const positive = fc.double({ min: 0.1, max: 1e4, noNaN: true });
const rise = fc.double({ min: 1e-4, max: 0.5, noNaN: true });

describe('a move with an acceleration that rises', () => {
  test('is two ramps and the way between them at full speed', () => {
    const drive = { speedMmPerS: 200, accelerationMmPerS2: 1000, riseS: 0.1 };
    expect(computeMoveSeconds(160, drive)).toBeCloseTo(0.6 + 0.5, 12);
    // Not reaching the speed: V²/a + V·r = d. With V = 100, d = 20: r + √(r² + 4d/a) = 0.1 + √0.09 = 0.4 s.
    expect(computeMoveSeconds(20, drive)).toBeCloseTo(0.4, 12);
    // Below 2ar² = 20 mm: 4·∛(2.5·0.1/2000) = 0.2 s.
    expect(computeMoveSeconds(2.5, drive)).toBeCloseTo(0.2, 12);
  });

  test('is the trapezoid where acceleration is there at once, and nears it where it almost is', () => {
    fc.assert(
      fc.property(positive, positive, positive, (distanceMm, speedMmPerS, accelerationMmPerS2) => {
        const plain = computeTrapezoidSeconds({ distanceMm, speedMmPerS, accelerationMmPerS2 });
        const drive = { speedMmPerS, accelerationMmPerS2 };
        expect(computeMoveSeconds(distanceMm, { ...drive, riseS: 0 })).toBe(plain);
        expect(computeMoveSeconds(distanceMm, { ...drive, riseS: 1e-9 }) / plain).toBeCloseTo(1, 4);
      }),
    );
  });

  test('never gets shorter with distance nor with the rise, and has no steps between its three cases', () => {
    fc.assert(
      fc.property(positive, positive, positive, rise, (distanceMm, speedMmPerS, accelerationMmPerS2, riseS) => {
        const drive = { speedMmPerS, accelerationMmPerS2, riseS };
        const seconds = computeMoveSeconds(distanceMm, drive);
        expect(computeMoveSeconds(1.01 * distanceMm, drive)).toBeGreaterThan(seconds);
        expect(computeMoveSeconds(distanceMm, { ...drive, riseS: 1.1 * riseS })).toBeGreaterThanOrEqual(
          seconds * (1 - 1e-12),
        );
        for (const edge of [2 * accelerationMmPerS2 * riseS ** 2, 2 * computeRamp(drive).distanceMm]) {
          const [below, above] = [0.999999, 1.000001].map((times) => computeMoveSeconds(times * edge, drive));
          expect(above! / below!).toBeCloseTo(1, 4);
        }
      }),
    );
  });
});
