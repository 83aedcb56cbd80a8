import type { BurnSettings } from '../optics/index.ts';
import type { Reading } from './fit.ts';
import { coverageFactor, differentiateTime, quadraticForm } from './interval.ts';
import { tracePath } from './scan-path.ts';
import { computeSecondsOfPath } from './time.ts';
import type { FittedUncertainty, Motion, Range } from './types.ts';

export interface DesignOptions {
  /** As fitted. */
  readonly motion: Motion;
  readonly uncertainty: Omit<FittedUncertainty, 'date'>;
  /** Speeds that the machine can do, mm/s. */
  readonly speedMmPerS: Range;
}

/** A reading worth taking. */
export interface SuggestedReading {
  /** Which of the readings' bitmaps to burn. */
  readonly reading: number;
  readonly speedMmPerS: number;
  readonly scan: 'one-way' | 'two-way';
  readonly passes: number;
  /** How long it will take, s. */
  readonly seconds: number;
  /** Half-width of the 95 % interval over jobs like these once it is taken, as a share of their time. */
  readonly halfShare: number;
}

export interface Design {
  /**
   * The same as it is now, over the bitmaps of the readings in both directions, at half, once and twice their speed.
   */
  readonly halfShare: number;
  /** What would be left after ever so many readings: the machine's own departure from the formula. */
  readonly floorShare: number;
  /** In the order in which they help most; each counts on those before it. */
  readonly next: readonly SuggestedReading[];
}

/**
 * Counts, seconds and shares: no more readings than this are proposed, and none that takes longer or narrows the
 * interval by less. Assumed: what a person does in one sitting, and gains that are worth the work.
 */
const LIMITS = { readings: 3, longestS: 1200, leastGain: 0.05 } as const;
/**
 * A shorter job is run several times over, at most so many, a count. Assumed: a hand's quarter of a second is 0.5 % of
 * 45 s.
 */
const WORTH_S = 45;
const MOST_PASSES = 5;

interface Job {
  readonly reading: number;
  readonly settings: BurnSettings;
  readonly seconds: number;
  readonly gradient: readonly number[];
}

/**
 * Which readings would narrow the intervals most: for each job that could be burned, the covariance after it (the
 * normal equations gain one row), and the mean relative interval over the jobs that the shop has; greedily, one after
 * the other.
 * @throws RangeError without a reading.
 */
export function suggestReadings(readings: readonly Reading[], options: DesignOptions): Design {
  if (readings.length === 0) throw new RangeError('a design needs at least one reading');
  const { uncertainty, speedMmPerS } = options;
  const bitmaps = listBitmaps(readings);
  const jobs = bitmaps.flatMap((reading) => {
    const { settings } = readings[reading]!;
    const speeds = [settings.speedMmPerS / 2, settings.speedMmPerS, 2 * settings.speedMmPerS].filter(
      (speed) => speed >= speedMmPerS.min && speed <= speedMmPerS.max,
    );
    return (speeds.length > 0 ? speeds : [settings.speedMmPerS]).flatMap((speed) =>
      SCANS.map((scan) => ({ reading, settings: { ...settings, scan, speedMmPerS: speed } })),
    );
  });
  const targets = jobs.map(({ reading, settings }) =>
    describeJob(readings, reading, { ...settings, passes: 1 }, options),
  );
  const candidates = jobs.map(({ reading, settings }) => worthwhile(readings, reading, settings, options));
  const factor = coverageFactor(uncertainty.degreesOfFreedom);
  const halfShareWith = (covariance: readonly (readonly number[])[]) => {
    const squares = targets.map(
      ({ seconds, gradient }) => quadraticForm(covariance, gradient) / seconds ** 2 + uncertainty.misfitShare ** 2,
    );
    return factor * Math.sqrt(squares.reduce((sum, square) => sum + square, 0) / squares.length);
  };
  const affordable = candidates.filter(({ seconds }) => seconds <= LIMITS.longestS);
  let covariance = uncertainty.covariance;
  let halfShare = halfShareWith(covariance);
  const design = { halfShare, floorShare: factor * uncertainty.misfitShare };
  const next: SuggestedReading[] = [];
  while (next.length < LIMITS.readings) {
    const tried = affordable.map((job) => {
      const after = addReading(covariance, job, uncertainty);
      return { job, after, halfShare: halfShareWith(after) };
    });
    const best = tried.reduce<(typeof tried)[number] | undefined>(
      (one, other) => (one && one.halfShare <= other.halfShare ? one : other),
      undefined,
    );
    if (!best || best.halfShare > (1 - LIMITS.leastGain) * halfShare) break;
    ({ halfShare } = best);
    covariance = best.after;
    const { settings, seconds, reading } = best.job;
    next.push({
      reading,
      speedMmPerS: settings.speedMmPerS,
      scan: settings.scan,
      passes: settings.passes,
      seconds,
      halfShare,
    });
  }
  return { ...design, next };
}

const SCANS = ['one-way', 'two-way'] as const;

/** One reading for each different bitmap. */
function listBitmaps(readings: readonly Reading[]): number[] {
  return readings
    .map((_, i) => i)
    .filter((i) => readings.findIndex(({ extents }) => extents === readings[i]!.extents) === i);
}

function describeJob(
  readings: readonly Reading[],
  reading: number,
  settings: BurnSettings,
  { motion }: DesignOptions,
): Job {
  const { extents, grid } = readings[reading]!;
  const path = tracePath(extents, { scan: settings.scan, bare: motion.bare });
  const options = { motion, settings, grid };
  return {
    reading,
    settings,
    seconds: computeSecondsOfPath(path, options),
    gradient: differentiateTime(path, options),
  };
}

/** With as many passes as make the job long enough for a stopwatch. */
function worthwhile(
  readings: readonly Reading[],
  reading: number,
  settings: BurnSettings,
  options: DesignOptions,
): Job {
  const once = describeJob(readings, reading, { ...settings, passes: 1 }, options);
  const passes = Math.min(MOST_PASSES, Math.max(1, Math.ceil(WORTH_S / once.seconds)));
  return passes === 1 ? once : describeJob(readings, reading, { ...settings, passes }, options);
}

/** C − C g gᵀ C / (gᵀCg + variance of the reading): Sherman and Morrison's formula for one more row. */
function addReading(
  covariance: readonly (readonly number[])[],
  { gradient, seconds }: Job,
  { readingErrorS, misfitShare }: DesignOptions['uncertainty'],
): number[][] {
  const along = covariance.map((row) => row.reduce((sum, value, k) => sum + value * gradient[k]!, 0));
  const variance = readingErrorS ** 2 + (misfitShare * seconds) ** 2;
  const scale = gradient.reduce((sum, value, k) => sum + value * along[k]!, 0) + variance;
  return covariance.map((row, k) => row.map((value, l) => value - (along[k]! * along[l]!) / scale));
}
