import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { simulateJob, simulateMove } from '../../benchmarks/common/stepped-machine.ts';
import {
  computeTrapezoidSeconds,
  estimateTime,
  findExtents,
  type GalvoMotion,
  type GantryMotion,
  type Motion,
} from '../../src/machine/index.ts';
import { createDots, type Dots } from '../../src/plane/index.ts';

/** Dots drawn as text: `#` fires. */
function drawDots(...rows: string[]): Dots {
  const dots = createDots(rows[0]!.length, rows.length);
  rows.forEach((row, y) => {
    [...row].forEach((sign, x) => {
      if (sign === '#') dots.data[y * dots.width + x] = 1;
    });
  });
  return dots;
}

const GALVO: GalvoMotion = {
  kind: 'galvo',
  jumpSpeedMmPerS: 2000,
  accelerationMmPerS2: 1_000_000,
  jumpDelayUs: 300,
  lineDelayUs: 200,
  beamOnDelayUs: 50,
  beamOffDelayUs: 150,
  jobOverheadS: 1,
};
const GANTRY: GantryMotion = {
  kind: 'gantry',
  accelerationMmPerS2: 2000,
  travelSpeedMmPerS: 100,
  overtravelMm: 1,
  turnDelayMs: 5,
  jobOverheadS: 2,
};
const settingsOf = (speedMmPerS: number, scan: 'one-way' | 'two-way' = 'one-way', passes = 1) => ({
  powerW: 1,
  speedMmPerS,
  scan,
  passes,
});

describe('a move from rest to rest', () => {
  test.each([
    // source: firgelliTrapezoid for the formula; the four results are own calculations from it.
    [500, 200, 400, 3],
    [100, 500, 10_000, 0.25],
    [25, 500, 10_000, 0.1],
    [10, 500, 10_000, 0.0632456],
    [0, 500, 10_000, 0],
  ])('%f mm at up to %f mm/s and %f mm/s² takes %f s', (distanceMm, speedMmPerS, accelerationMmPerS2, seconds) => {
    expect(computeTrapezoidSeconds({ distanceMm, speedMmPerS, accelerationMmPerS2 })).toBeCloseTo(seconds, 7);
  });

  test('a stroke of 43.6 in within 2.15 s, 0.3 s up and 0.45 s down, cruises at 24.56 in/s', () => {
    // source: hydraulicMotionProfile. Its ramps differ; two halves of symmetric moves make the same stroke:
    // the first half of a move with ramps of 0.3 s and the second half of one with ramps of 0.45 s.
    const speed = 24.56;
    const half = (rampS: number, cruiseS: number) =>
      computeTrapezoidSeconds({
        distanceMm: 2 * (speed * rampS * 0.5 + speed * cruiseS),
        speedMmPerS: speed,
        accelerationMmPerS2: speed / rampS,
      }) / 2;
    const cruiseS = (43.6 - speed * 0.5 * (0.3 + 0.45)) / speed;
    expect(cruiseS).toBeCloseTo(1.4, 3);
    expect(half(0.3, cruiseS / 2) + half(0.45, cruiseS / 2)).toBeCloseTo(2.15, 3);
  });

  test('agrees with a simulated drive', () => {
    for (const distanceMm of [0.5, 10, 25, 26, 100]) {
      const move = { distanceMm, speedMmPerS: 500, accelerationMmPerS2: 10_000 };
      expect(simulateMove({ ...move, stepS: 1e-5 }) / computeTrapezoidSeconds(move)).toBeCloseTo(1, 3);
    }
  });

  test('never gets shorter with distance', () => {
    const positive = fc.double({ min: 0.1, max: 1e4, noNaN: true });
    fc.assert(
      fc.property(positive, positive, positive, positive, (a, b, speedMmPerS, accelerationMmPerS2) => {
        const rest = { speedMmPerS, accelerationMmPerS2 };
        const near = computeTrapezoidSeconds({ distanceMm: a, ...rest });
        expect(computeTrapezoidSeconds({ distanceMm: a + b, ...rest })).toBeGreaterThanOrEqual(near);
      }),
    );
  });

  test.each([
    [-1, 1, 1],
    [1, 0, 1],
    [1, 1, 0],
    [Number.NaN, 1, 1],
  ])('%f mm, %f mm/s, %f mm/s² is refused', (distanceMm, speedMmPerS, accelerationMmPerS2) => {
    expect(() => computeTrapezoidSeconds({ distanceMm, speedMmPerS, accelerationMmPerS2 })).toThrow(RangeError);
  });
});

describe('extents', () => {
  test('are the first and last dot of every row that fires', () => {
    const extents = findExtents(drawDots('....', '.##.', '....', '#..#', '...#'));
    expect([...extents.rows]).toEqual([1, 3, 4]);
    expect([...extents.first]).toEqual([1, 0, 3]);
    expect([...extents.last]).toEqual([2, 3, 3]);
    expect(extents.firedDots).toBe(5);
  });

  test('count dots of any level, at any length and place in memory', () => {
    fc.assert(
      fc.property(fc.uint8Array({ minLength: 1, maxLength: 2500 }), fc.integer({ min: 0, max: 5 }), (values, shift) => {
        const data = new Uint8Array(values.length + shift).subarray(shift);
        data.set(values);
        expect(findExtents(createDots(data.length, 1, 256, data)).firedDots).toBe(
          values.filter((value) => value > 0).length,
        );
      }),
    );
    for (const length of [1019, 1020, 1021, 5000]) {
      expect(findExtents(createDots(length, 1, 256, new Uint8Array(length).fill(255))).firedDots).toBe(length);
    }
  });
});

describe('a galvo', () => {
  // Three rows, the middle one empty: 10 mm pitch, 5 mm between lines.
  const dots = drawDots('.####.', '......', '..##..');
  const grid = { pitchMm: 10, lineSpacingMm: 5 };

  test('takes the time computed by hand, one way', () => {
    // v = 1000, a = 1e6: run-up v²/2a = 0.5 mm in v/a = 1 ms.
    // Lines: 40 mm → 40 ms, 20 mm → 20 ms. Turning: 2 lines · 2 ms = 4 ms.
    // Jumps at j = 2000 mm/s, j²/a = 4 mm, so t = 2j/a + (d − 4)/j = 4 ms + (d − 4)/2000:
    //   end of line 1 at 50.5 to start of line 2 at 20 − 0.5 = 19.5: (31, 10): d = √1061 = 32.572995 → 18.286498 ms
    //   end of line 2 at 40.5 to start of line 1 at 9.5: (31, 10) again: 18.286498 ms
    // Waiting: 2 · (300 + 200 + 50 + 150) µs = 1.4 ms. Overhead 1 s.
    const estimate = estimateTime(dots, { motion: GALVO, settings: settingsOf(1000), grid });
    expect(estimate.parts.markingS).toBeCloseTo(0.06, 12);
    expect(estimate.parts.turningS).toBeCloseTo(0.004, 12);
    expect(estimate.parts.movingS).toBeCloseTo(0.036572995, 8);
    expect(estimate.parts.waitingS).toBeCloseTo(0.0014, 12);
    expect(estimate.seconds).toBeCloseTo(1.101972995, 8);
    expect(estimate).toMatchObject({
      passes: 1,
      scanLines: 2,
      emptyLines: 1,
      markedLengthMm: 60,
      scannedLengthMm: 60,
      runUpMm: 0.5,
    });
  });

  test('takes the time computed by hand, there and back', () => {
    // Line 2 is entered from the right at 40.5: jump (−10, 10): d = √200 = 14.142136 → 4 + 5.071068 = 9.071068 ms;
    // it ends at 19.5, back to 9.5: (−10, −10), the same. Moving 18.142136 ms; the rest as one way.
    const { seconds, parts } = estimateTime(dots, { motion: GALVO, settings: settingsOf(1000, 'two-way'), grid });
    expect(parts.movingS).toBeCloseTo(0.018142136, 8);
    expect(seconds).toBeCloseTo(1 + 0.06 + 0.004 + 0.018142136 + 0.0014, 8);
  });
});

describe('a gantry', () => {
  const dots = drawDots('.####.', '......', '..##..');
  const grid = { pitchMm: 10, lineSpacingMm: 5 };

  test('takes the time computed by hand, there and back', () => {
    // v = 200, a = 2000: run-up v²/2a = 10 mm in 100 ms, and 1 mm more at v in 5 ms: 11 mm and 105 ms at each end.
    // Lines: 40 mm → 200 ms, 20 mm → 100 ms. Turning: 2 lines · 210 ms = 420 ms.
    // Travel at t = 100, t²/a = 5 mm: d ≥ 5 takes 2t/a + (d − 5)/t = 100 ms + (d − 5)/100.
    //   end of line 1 at 50 + 11 = 61 to the right end of line 2 at 40 + 11 = 51: x 10 mm → 150 ms; y 10 mm → 150 ms
    //   end of line 2 at 20 − 11 = 9 to the start at 10 − 11 = −1: x 10 mm, y 10 mm → 150 ms
    // Waiting 2 · 5 ms. Overhead 2 s.
    const estimate = estimateTime(dots, { motion: GANTRY, settings: settingsOf(200, 'two-way'), grid });
    expect(estimate.parts.markingS).toBeCloseTo(0.3, 12);
    expect(estimate.parts.turningS).toBeCloseTo(0.42, 12);
    expect(estimate.parts.movingS).toBeCloseTo(0.3, 12);
    expect(estimate.parts.waitingS).toBeCloseTo(0.01, 12);
    expect(estimate.seconds).toBeCloseTo(3.03, 12);
    expect(estimate.runUpMm).toBe(11);
  });

  test('waits for the slower axis, one way', () => {
    // End of line 1 at 61 to the start of line 2 at 20 − 11 = 9: x 52 mm → 570 ms, y 10 mm → 150 ms: 570 ms.
    // End of line 2 at 51 to the start at −1: x 52 mm → 570 ms.
    const { parts } = estimateTime(dots, { motion: GANTRY, settings: settingsOf(200), grid });
    expect(parts.movingS).toBeCloseTo(1.14, 12);
  });
});

const bitmaps = fc
  .record({ width: fc.integer({ min: 1, max: 12 }), height: fc.integer({ min: 1, max: 8 }) })
  .chain(({ width, height }) =>
    fc
      .uint8Array({ minLength: width * height, maxLength: width * height, max: 1 })
      .map((data) => createDots(width, height, 2, Uint8Array.from(data))),
  );
const motions: fc.Arbitrary<Motion> = fc.constantFrom<Motion>(GALVO, GANTRY);
const scans = fc.constantFrom('one-way' as const, 'two-way' as const);

describe('every motion', () => {
  const grid = { pitchMm: 0.5, lineSpacingMm: 0.7 };

  test('agrees with a machine stepped through time within 0.1 %', () => {
    fc.assert(
      fc.property(bitmaps, motions, scans, fc.integer({ min: 1, max: 3 }), (dots, motion, scan, passes) => {
        const bare = { ...motion, jobOverheadS: 0 };
        const speedMmPerS = motion.kind === 'galvo' ? 800 : 90;
        const stepS = motion.kind === 'galvo' ? 2e-7 : 1e-5;
        const { seconds } = estimateTime(dots, { motion: bare, settings: settingsOf(speedMmPerS, scan, passes), grid });
        const stepped = simulateJob(dots, { motion: bare, speedMmPerS, scan, passes, ...grid, stepS });
        if (seconds === 0) expect(stepped).toBe(0);
        else expect(Math.abs(stepped / seconds - 1)).toBeLessThan(0.001);
      }),
      { numRuns: 60, seed: 5 },
    );
  });

  test('takes no longer and no shorter for dots added between the ends of their lines', () => {
    fc.assert(
      fc.property(bitmaps, motions, scans, (dots, motion, scan) => {
        const options = { motion, settings: settingsOf(100, scan), grid };
        const { rows, first, last } = findExtents(dots);
        const filled = createDots(dots.width, dots.height);
        rows.forEach((y, at) => {
          filled.data.fill(1, y * dots.width + first[at]!, y * dots.width + last[at]! + 1);
        });
        const before = estimateTime(dots, options);
        const after = estimateTime(filled, options);
        expect(after.seconds).toBe(before.seconds);
        expect(after.markedLengthMm).toBeGreaterThanOrEqual(before.markedLengthMm);
      }),
    );
  });

  test('takes longer when a line grows to the right, at a scan speed no faster than its jumps', () => {
    fc.assert(
      fc.property(bitmaps, motions, (dots, motion) => {
        const wider = createDots(dots.width + 1, dots.height);
        for (let y = 0; y < dots.height; y++) {
          const row = dots.data.subarray(y * dots.width, (y + 1) * dots.width);
          wider.data.set(row, y * wider.width);
          if (row.includes(1)) wider.data[y * wider.width + dots.width] = 1;
        }
        const options = { motion, settings: settingsOf(100), grid };
        const { seconds } = estimateTime(dots, options);
        if (dots.data.includes(1)) expect(estimateTime(wider, options).seconds).toBeGreaterThan(seconds);
      }),
    );
  });

  test('takes as many times as long as there are passes, but for the overhead', () => {
    fc.assert(
      fc.property(bitmaps, motions, scans, fc.integer({ min: 2, max: 9 }), (dots, motion, scan, passes) => {
        const one = estimateTime(dots, { motion, settings: settingsOf(100, scan), grid });
        const many = estimateTime(dots, { motion, settings: settingsOf(100, scan, passes), grid });
        const { jobOverheadS } = motion;
        expect(many.seconds - jobOverheadS).toBeCloseTo(passes * (one.seconds - jobOverheadS), 9);
        expect([many.passes, many.scanLines]).toEqual([passes, one.scanLines]);
      }),
    );
  });

  test('has parts that add up to the whole', () => {
    fc.assert(
      fc.property(bitmaps, motions, scans, (dots, motion, scan) => {
        const { seconds, parts } = estimateTime(dots, { motion, settings: settingsOf(100, scan), grid });
        expect(Object.values(parts).reduce((sum, part) => sum + part, 0)).toBeCloseTo(seconds, 12);
        for (const part of Object.values(parts)) expect(part).toBeGreaterThanOrEqual(0);
      }),
    );
  });

  test.each([GALVO, GANTRY])('a bare bitmap takes the overhead alone ($kind)', (motion) => {
    const estimate = estimateTime(drawDots('...', '...'), { motion, settings: settingsOf(100), grid });
    expect(estimate.seconds).toBe(motion.jobOverheadS);
    expect([estimate.scanLines, estimate.emptyLines, estimate.markedLengthMm]).toEqual([0, 2, 0]);
  });

  test('one dot takes its own length, its turning, its delays and the way back', () => {
    // 0.5 mm at 1000 mm/s, 2 ms turning, 0.7 ms delays, back over 0.5 + 2·0.5 = 1.5 mm: 2√(1.5e-6) s.
    const { seconds } = estimateTime(drawDots('#'), { motion: GALVO, settings: settingsOf(1000), grid });
    expect(seconds).toBeCloseTo(1 + 0.0005 + 0.002 + 0.0007 + 2 * Math.sqrt(1.5e-6), 12);
  });

  test('depends on pitch and line spacing apart', () => {
    const dots = drawDots('##', '##');
    const time = (pitchMm: number, lineSpacingMm: number) =>
      estimateTime(dots, { motion: GALVO, settings: settingsOf(1000), grid: { pitchMm, lineSpacingMm } });
    expect(time(2, 1).parts.markingS).toBeCloseTo(2 * time(1, 1).parts.markingS, 12);
    expect(time(1, 2).parts.markingS).toBe(time(1, 1).parts.markingS);
    expect(time(1, 2).parts.movingS).toBeGreaterThan(time(1, 1).parts.movingS);
  });

  test('names its inputs and says how it was computed', () => {
    const { formula, inputs } = estimateTime(drawDots('#'), { motion: GANTRY, settings: settingsOf(100), grid });
    expect(formula).toMatch(/overhead \+ passes ×/);
    expect(inputs).toMatchObject({ speedMmPerS: 100, passes: 1, pitchMm: 0.5, lineSpacingMm: 0.7, overtravelMm: 1 });
  });

  test.each([
    { speedMmPerS: 0, passes: 1, pitchMm: 1 },
    { speedMmPerS: 100, passes: 0, pitchMm: 1 },
    { speedMmPerS: 100, passes: 1.5, pitchMm: 1 },
    { speedMmPerS: 100, passes: 1, pitchMm: 0 },
  ])('refuses %o', ({ speedMmPerS, passes, pitchMm }) => {
    const options = {
      motion: GALVO,
      settings: settingsOf(speedMmPerS, 'one-way', passes),
      grid: { pitchMm, lineSpacingMm: 1 },
    };
    expect(() => estimateTime(drawDots('#'), options)).toThrow(RangeError);
  });
});

describe('a galvo that burns dot by dot', () => {
  // Seven dots fire in two lines; three gaps of 1, 2 and 3 dots lie between them.
  const dots = drawDots('.##.#..#..', '..........', '..#...##..');
  const motion: GalvoMotion = { ...GALVO, bare: 'dot-by-dot', dotDelayUs: 20, gapDelayUs: 300, skipSpeedMmPerS: 500 };
  const settings = { powerW: 1, speedMmPerS: 100, passes: 2, scan: 'two-way' } as const;
  const grid = { pitchMm: 0.1, lineSpacingMm: 0.1 };
  const time = (of: Motion) => estimateTime(dots, { motion: of, settings, grid });

  test('takes the pitch at scan speed and a delay for each dot, and the skip speed and a delay for each gap', () => {
    const { parts, formula } = time(motion);
    expect(parts.markingS).toBeCloseTo(2 * (7 * (0.001 + 20e-6) + 3 * 300e-6 + (6 * 0.1) / 500), 12);
    expect([parts.turningS, parts.bareS]).toEqual([0, 0]);
    expect(formula).toMatch(/^Each dot is burned by itself/);
    expect(formula).not.toMatch(/Turning|undefined/);
  });

  test('skips at its jump speed and without delays where the file names none', () => {
    const { parts } = time({ ...GALVO, bare: 'dot-by-dot' });
    expect(parts.markingS).toBeCloseTo(2 * (7 * 0.001 + (6 * 0.1) / 2000), 12);
  });
});
