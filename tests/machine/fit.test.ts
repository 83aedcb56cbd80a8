import { describe, expect, test } from 'vitest';
import { drawEngraver, type Engraver, normal } from '../../benchmarks/common/engraver.ts';
import {
  drawPicture,
  planReadings,
  predictTime,
  startingMachine,
  takeReading,
  tryFit,
} from '../../benchmarks/common/stopwatch.ts';
import {
  estimateTimeOfExtents,
  findExtents,
  fitMotion,
  type GantryMotion,
  type Reading,
  suggestReadings,
} from '../../src/machine/index.ts';
import { createRandom } from '../../src/numeric/index.ts';
import { createDots } from '../../src/plane/index.ts';

const chanceFrom = (seed: number) => {
  const random = createRandom(seed);
  return () => random.nextUnit();
};

describe('readings of engravers that move by rules of their own', () => {
  const trials = (['galvo', 'gantry'] as const).flatMap((kind) =>
    Array.from({ length: 8 }, (_, seed) => {
      const chance = chanceFrom(300 + seed);
      const engraver = drawEngraver(kind, chance);
      return { kind, engraver, ...tryFit(engraver, { chance, handS: 0.25, jobs: 8 }) };
    }),
  );

  test.each(['galvo', 'gantry'] as const)('predict unseen jobs of a %s within 2 percent', (kind) => {
    for (const { unseen, kind: own } of trials) {
      if (own !== kind) continue;
      // Shorter jobs are known to no better than the hand that held the stopwatch.
      for (const { seconds, truthS } of unseen) {
        if (truthS >= 20) expect(Math.abs(seconds / truthS - 1)).toBeLessThan(0.02);
      }
    }
  });

  test('predict them many times better than the machine’s file does', () => {
    const rms = (of: (job: (typeof trials)[number]['unseen'][number]) => number) => {
      const jobs = trials.flatMap(({ unseen }) => unseen.map(of));
      return Math.sqrt(jobs.reduce((sum, value) => sum + value ** 2, 0) / jobs.length);
    };
    const fitted = rms(({ seconds, truthS }) => seconds / truthS - 1);
    expect(fitted).toBeLessThan(0.01);
    expect(rms(({ assumedS, truthS }) => assumedS / truthS - 1)).toBeGreaterThan(10 * fitted);
  });

  test('have 95 % intervals that hold between 90 and 99 % of the jobs', () => {
    const jobs = trials.flatMap(({ unseen }) => unseen);
    const inside = jobs.filter(({ interval, truthS }) => truthS >= interval.lowS && truthS <= interval.highS).length;
    expect(inside / jobs.length).toBeGreaterThanOrEqual(0.9);
    expect(inside / jobs.length).toBeLessThanOrEqual(0.99);
  });

  test('tell what the engraver does with bare places', () => {
    for (const { fit, engraver } of trials) {
      expect(fit.bare).toEqual({ handling: engraver.bare, decided: true });
      expect(fit.motion.bare).toBe(engraver.bare);
    }
  });

  test('are all believed when none is wrong', () => {
    expect(trials.reduce((sum, { fit }) => sum + fit.uncertainty.leftOut, 0)).toBe(0);
  });
});

const GANTRY: GantryMotion = {
  kind: 'gantry',
  bare: 'skipped',
  accelerationMmPerS2: 2500,
  travelSpeedMmPerS: 180,
  overtravelMm: 2,
  turnDelayMs: 30,
  jobOverheadS: 4,
};

/** Readings of a machine that moves exactly by the formula. */
function readExactly(motion: GantryMotion, handS: number, seed: number): Reading[] {
  const chance = chanceFrom(seed);
  return planReadings('gantry', chance).map(({ dots, job }) => {
    const extents = findExtents(dots);
    const settings = { powerW: 1, ...job };
    const { seconds } = estimateTimeOfExtents(extents, { motion, settings, grid: job });
    return { extents, grid: job, settings, seconds: seconds + handS * normal(chance), stepS: 0.01 };
  });
}

describe('a fit', () => {
  const { motion: before } = startingMachine('gantry');

  test('finds the numbers of a machine that keeps to the formula, from a file that is far off', () => {
    const { motion, parameters, converged } = fitMotion(readExactly(GANTRY, 0, 1), { motion: before });
    expect(converged).toBe(true);
    const found = motion as GantryMotion;
    expect(found.accelerationMmPerS2 / GANTRY.accelerationMmPerS2).toBeCloseTo(1, 2);
    expect(found.travelSpeedMmPerS / GANTRY.travelSpeedMmPerS).toBeCloseTo(1, 2);
    expect(found.jobOverheadS).toBeCloseTo(4, 1);
    expect(parameters.find(({ name }) => name === 'travelSPerMm')).toMatchObject({ determined: 'well', before: 500 });
  });

  test('has intervals of its numbers that hold the truth about as often as they say', () => {
    const truth: Record<string, number> = {
      travelSPerMm: 180,
      rampS2PerMm: 2500,
      waitS: 30,
      overtravelMm: 2,
      overheadS: 4,
    };
    let inside = 0;
    let all = 0;
    for (let seed = 1; seed <= 8; seed++) {
      const { parameters } = fitMotion(readExactly(GANTRY, 0.25, seed), { motion: before });
      for (const { name, low, high } of parameters) {
        const value = truth[name];
        if (value === undefined) continue;
        all++;
        if (value >= low && value <= high) inside++;
      }
    }
    expect(inside / all).toBeGreaterThan(0.88);
  });

  test.each([
    ['a minute misread', 60, /1 min misread/],
    ['another direction', 'scan', /burned one-way/],
    ['a pass too many', 'passes', /2 passes/],
    ['a phone call', 31, undefined],
  ] as const)('leaves out a reading with %s, and says what would explain it', (_what, slip, hint) => {
    const readings = readExactly(GANTRY, 0.25, 3);
    const at = 4;
    const wrong = readings[at]!;
    const change = slip === 'scan' ? { scan: 'one-way' as const } : slip === 'passes' ? { passes: 2 } : {};
    const { seconds } = estimateTimeOfExtents(wrong.extents, {
      motion: GANTRY,
      settings: { ...wrong.settings, ...change },
      grid: wrong.grid,
    });
    const slipped = { ...wrong, seconds: seconds + (typeof slip === 'number' ? slip : 0) };
    const fit = fitMotion(readings.with(at, slipped), { motion: before });
    expect(fit.readings.map(({ leftOut }) => leftOut)).toEqual(readings.map((_, i) => i === at));
    if (hint) expect(fit.readings[at]!.hint).toMatch(hint);
    else expect(fit.readings[at]!.hint).toBeUndefined();
    expect(fit.uncertainty).toMatchObject({ readings: 8, leftOut: 1 });
    const clean = fitMotion(readings.toSpliced(at, 1), { motion: before });
    expect(fit.motion.jobOverheadS).toBeCloseTo(clean.motion.jobOverheadS, 2);
  });

  test('of one reading keeps to the file and says that nothing is determined', () => {
    const [reading] = readExactly(GANTRY, 0, 1);
    const fit = fitMotion([reading!], { motion: before });
    expect(fit.parameters.filter(({ determined }) => determined === 'well')).toEqual([]);
    expect(fit.bare.decided).toBe(false);
    const { seconds } = predictTime(fit, {
      dots: drawPicture('full', { widthMm: 60, heightMm: 40, pitchMm: 0.1, lineSpacingMm: 0.1 }, () => 0.5),
      job: { ...reading!.grid, speedMmPerS: 200, passes: 1, scan: 'one-way' },
    });
    expect(Number.isFinite(seconds)).toBe(true);
  });

  test('keeps what the file says of bare places when no picture has any', () => {
    const chance = chanceFrom(4);
    const grid = { pitchMm: 0.1, lineSpacingMm: 0.1 };
    const dots = drawPicture('full', { widthMm: 80, heightMm: 40, ...grid }, () => 0);
    const engraver: Engraver = { ...drawEngraver('gantry', chance), bare: 'all-scanned' };
    const readings = (['one-way', 'two-way'] as const).flatMap((scan) =>
      [100, 200, 400].map((speedMmPerS) =>
        takeReading(engraver, { dots, job: { ...grid, speedMmPerS, scan, passes: 1 } }, { chance, handS: 0.2 }),
      ),
    );
    expect(fitMotion(readings, { motion: before })).toMatchObject({ bare: { handling: 'skipped', decided: false } });
  });

  test('says what a machine does with bare places even where two ways are as likely', () => {
    // Every line has dots: scanning empty lines, too, makes no difference, scanning the ends of lines does.
    const scanning = { ...GANTRY, bare: 'line-ends-scanned' as const };
    const grid = { pitchMm: 0.1, lineSpacingMm: 0.1 };
    const full = drawPicture('full', { widthMm: 60, heightMm: 30, ...grid }, () => 0);
    const third = createDots(full.width, full.height);
    for (let y = 0; y < third.height; y++) third.data.fill(1, y * third.width, y * third.width + 200 + (y % 7));
    const readings = [full, third].flatMap((dots) => {
      const extents = findExtents(dots);
      return (['one-way', 'two-way'] as const).flatMap((scan) =>
        [100, 400].map((speedMmPerS): Reading => {
          const settings = { powerW: 1, speedMmPerS, scan, passes: 1 };
          const { seconds } = estimateTimeOfExtents(extents, { motion: scanning, settings, grid });
          return { extents, grid, settings, seconds, stepS: 0.1 };
        }),
      );
    });
    const { bare: _, ...silent } = before;
    const fit = fitMotion(readings, { motion: silent });
    expect(fit.bare.decided).toBe(false);
    expect(['line-ends-scanned', 'all-scanned']).toContain(fit.bare.handling);
    expect(fit.motion.bare).toBe(fit.bare.handling);
  });

  test('without a reading is refused', () => {
    expect(() => fitMotion([], { motion: before })).toThrow(RangeError);
  });
});

describe('the readings that are proposed', () => {
  const { motion: before, speedMmPerS } = startingMachine('gantry');
  const all = readExactly(GANTRY, 0.25, 7);

  test('narrow the interval about as much as foretold when they are taken', () => {
    // Both directions, one speed: what one more speed would tell is open.
    const few = all.filter(({ settings }) => settings.speedMmPerS === 200);
    const fit = fitMotion(few, { motion: before });
    const design = suggestReadings(few, { ...fit, speedMmPerS });
    expect(design.next.length).toBeGreaterThan(0);
    const [first] = design.next;
    expect(first!.speedMmPerS).not.toBe(200);
    expect(first!.halfShare).toBeLessThan(design.halfShare);
    const settings = { ...few[0]!.settings, ...first! };
    const source = few[first!.reading]!;
    const { seconds } = estimateTimeOfExtents(source.extents, { motion: GANTRY, settings, grid: source.grid });
    const more = [...few, { ...source, settings, seconds }];
    const after = suggestReadings(more, { ...fitMotion(more, { motion: before }), speedMmPerS });
    expect(after.halfShare).toBeLessThan(design.halfShare);
    expect(after.halfShare / first!.halfShare).toBeGreaterThan(0.4);
    expect(after.halfShare / first!.halfShare).toBeLessThan(2.5);
  });

  test('are none when there is little left to gain, and stay within the machine’s speeds', () => {
    const many = [1, 2, 3, 4].flatMap((seed) => readExactly(GANTRY, 0.05, seed));
    const fit = fitMotion(many, { motion: before });
    const design = suggestReadings(many, { ...fit, speedMmPerS });
    expect(design.next.length).toBeLessThanOrEqual(1);
    expect(design.floorShare).toBeLessThanOrEqual(design.halfShare);
    const narrow = { min: 200, max: 200 };
    for (const next of suggestReadings(all.slice(0, 2), { ...fit, speedMmPerS: narrow }).next) {
      expect(next.speedMmPerS).toBe(200);
    }
  });
});
