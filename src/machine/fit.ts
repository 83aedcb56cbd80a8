import { fitLeastSquares, invertPositiveDefinite, NORMAL_95_ROUNDED } from '../numeric/index.ts';
import type { BurnSettings } from '../optics/index.ts';
import type { DotGrid } from '../plane/index.ts';
import type { ScanExtents } from './extents.ts';
import { coverageFactor, quadraticForm } from './interval.ts';
import { motionRecord } from './motions/register.ts';
import { ASSUMED_MOTION_FACTORS, applyMotionParameters, listMotionParameters, withBareHandling } from './parameters.ts';
import { withRotary } from './rotary.ts';
import { type ScanPath, tracePath } from './scan-path.ts';
import { computeSecondsOfPath, type TurnedLines } from './time.ts';
import type { BareHandling, FittedUncertainty, Motion, MotionFactors } from './types.ts';

/** One job that was timed. */
export interface Reading {
  readonly extents: ScanExtents;
  readonly grid: DotGrid;
  readonly settings: BurnSettings;
  /** What the stopwatch showed, s, > 0. */
  readonly seconds: number;
  /** Of a piece that a rotary turned; flat when absent. */
  readonly turn?: TurnedLines;
  /** Step of the display or of the note, s: 1 when only whole seconds were written down. */
  readonly stepS: number;
}

export interface FitMotionOptions {
  /** What the machine's file says so far: start of the search, and the value of what the readings do not tell. */
  readonly motion: Motion;
  /** How far that may be off; absent: `ASSUMED_MOTION_FACTORS`. The fit allows for their third power. */
  readonly factors?: MotionFactors | undefined;
}

export interface FittedParameter {
  readonly name: string;
  readonly label: string;
  readonly unit: string;
  readonly before: number;
  readonly value: number;
  /** 95 % interval, in the same unit; Infinity where a speed or acceleration has no upper end. */
  readonly low: number;
  readonly high: number;
  /** `well`: known within a quarter. `roughly`: within its own size. `no`: the readings do not tell it. */
  readonly determined: 'well' | 'roughly' | 'no';
}

export interface JudgedReading {
  readonly seconds: number;
  readonly fittedS: number;
  /** Reading less fit, s. */
  readonly residualS: number;
  /** Distance of the reading from what all other readings predict, in standard deviations of that. */
  readonly score: number;
  /** It looks wrong and was not used. */
  readonly leftOut: boolean;
  /** What would explain a wrong reading, in words. */
  readonly hint?: string;
}

export interface MotionFit {
  readonly motion: Motion;
  readonly uncertainty: Omit<FittedUncertainty, 'date'>;
  readonly parameters: readonly FittedParameter[];
  /** In the order of the readings. */
  readonly readings: readonly JudgedReading[];
  /**
   * What the machine does with bare places: decided by the readings, or as the file has it because they do not tell.
   */
  readonly bare: { readonly handling: BareHandling; readonly decided: boolean };
  readonly converged: boolean;
  /**
   * Scatter of the readings that were used about the fit, in units of what a large scatter of hand and machine is
   * (`LARGE_SCATTER`), freed of what the fit took up: above 1 the motion does not explain its readings.
   */
  readonly excess: number;
}

/**
 * Exponent on the assumed factors. Assumed: a file may be further off than it says, and readings must be able to say
 * so.
 */
const PRIOR_POWER = 3;
/**
 * A reading further than this from what the others predict looks wrong, standard deviations. Assumed: honest hands
 * pass five once in millions.
 */
const WRONG_SCORE = 5;
/**
 * Log odds: another way with bare places must be twenty times as likely before it replaces the file's. Assumed: the 95
 * % at which statements are usually made.
 */
const DECIDED_LOG_ODDS = Math.log(20);
/**
 * A speed or acceleration is at most so many times the file's. Assumed: keeps the fit finite where readings say nothing
 * of it.
 */
const FASTEST = 100;
/**
 * What is known of errors before any reading, in s and shares; deviations are standard ones of the logarithm.
 * Assumed: a hand on a stopwatch scatters by about a quarter of a second, whole jobs about a good motion by about 2 ‰,
 * both within a factor of two or so. Steps of the grid are about 1.8 times, finer than either is ever known.
 */
const HAND = {
  medianS: 0.25,
  logDeviation: 0.6,
  grid: [0.008, 0.015, 0.03, 0.055, 0.1, 0.18, 0.32, 0.58, 1.05],
} as const;
const LACK_OF_FIT = {
  median: 0.002,
  logDeviation: 0.7,
  grid: [0.0004, 0.0007, 0.0013, 0.0023, 0.0042, 0.0075, 0.0135, 0.025],
} as const;

/**
 * What the scatter of a hand, and of a motion that fits, seldom pass: two deviations beyond the medians above
 * (assumed).
 */
const LARGE_SCATTER = {
  handS: HAND.medianS * Math.exp(2 * HAND.logDeviation),
  misfitShare: LACK_OF_FIT.median * Math.exp(2 * LACK_OF_FIT.logDeviation),
} as const;

/**
 * Fit the unknown times of a motion to stopwatch readings. The readings' errors have two parts, the hand's and the
 * machine's own departure from its formula; both are estimated along with the motion by summing over a grid of them
 * (linearised about the fit, Laplace's method), so that the intervals say what is not known about them, too.
 * Readings that the others contradict are left out, worst first, never more than a third.
 * What the readings do not determine stays near the machine's file, and its interval says so.
 * @throws RangeError without a reading.
 */
export function fitMotion(readings: readonly Reading[], given: FitMotionOptions): MotionFit {
  if (readings.length === 0) throw new RangeError('a fit needs at least one reading');
  const options = readings.some(({ turn }) => turn) ? { ...given, motion: withRotary(given.motion) } : given;
  const own = options.motion.bare ?? 'skipped';
  const ways = listWays(readings, options.motion);
  const tried = ways.map((bare) =>
    fitWithBare(readings, { ...options, motion: withBareHandling(options.motion, bare) }),
  );
  const evidenceOf = (bare: BareHandling) => tried[ways.indexOf(bare)]!.evidence;
  const best = ways.reduce((a, b) => (evidenceOf(b) > evidenceOf(a) + 1e-9 ? b : a));
  const chosen = evidenceOf(best) - evidenceOf(own) > DECIDED_LOG_ODDS ? best : own;
  const decided =
    ways.length > 1 &&
    ways.every((bare) => bare === chosen || evidenceOf(chosen) - evidenceOf(bare) > DECIDED_LOG_ODDS);
  return report(readings, { fit: tried[ways.indexOf(chosen)]!, bare: chosen, decided, before: options.motion });
}

/** The ways with bare places that can be told apart by these readings, the file's among them. */
function listWays(readings: readonly Reading[], motion: Motion): readonly BareHandling[] {
  const own = motion.bare ?? 'skipped';
  const paths = readings.map(({ extents, settings }) =>
    tracePath(extents, { scan: settings.scan, bare: 'all-scanned' }),
  );
  // Where no picture has bare places around its dots, or between them, those ways are one.
  const around = paths.some(({ bareDots }) => bareDots > 0);
  const between =
    motionRecord(motion).dotByDot !== undefined && paths.some(({ firedDots, spanDots }) => firedDots < spanDots);
  const lines: BareHandling[] = around
    ? ['skipped', 'line-ends-scanned', 'all-scanned']
    : [own === 'dot-by-dot' ? 'skipped' : own];
  return between || own === 'dot-by-dot' ? [...lines, 'dot-by-dot'] : lines;
}

interface TimedPath {
  readonly path: ScanPath;
  readonly reading: Reading;
}

/** All about one set of readings and one way with bare places. Parameters are in units of their scales ("u"). */
interface Posterior {
  readonly jobs: readonly TimedPath[];
  readonly motion: Motion;
  readonly scales: readonly number[];
  /** Lowest value that a search may take, in units of the scales. */
  readonly least: readonly number[];
  readonly prior: { readonly mean: readonly number[]; readonly precision: readonly number[] };
  readonly kept: readonly boolean[];
  readonly u: readonly number[];
  readonly fitted: readonly number[];
  readonly jacobian: readonly (readonly number[])[];
  readonly scores: readonly number[];
  readonly noise: NoisePosterior;
  readonly evidence: number;
  readonly converged: boolean;
}

function fitWithBare(
  readings: readonly Reading[],
  { motion, factors = ASSUMED_MOTION_FACTORS }: FitMotionOptions,
): Posterior {
  const parameters = listMotionParameters(motion);
  const scales = parameters.map(({ scale }) => scale);
  const prior = {
    mean: parameters.map(({ value, scale }) => value / scale),
    precision: parameters.map(({ factor }) => (NORMAL_95_ROUNDED / (factors[factor] ** PRIOR_POWER - 1)) ** 2),
  };
  const jobs = readings.map((reading) => ({
    reading,
    path: tracePath(reading.extents, { scan: reading.settings.scan, bare: motion.bare }),
  }));
  const least = parameters.map(({ inverse }) => (inverse ? 1 / FASTEST : 0));
  const basis = { jobs, motion, scales, least, prior };
  let kept = readings.map(() => true);
  let state = improve({ ...basis, kept });
  let lost = 0;
  for (let removed = 0; removed < Math.floor(readings.length / 3); removed++) {
    const worst = state.scores.reduce(
      (at, score, i) => (kept[i] && Math.abs(score) > Math.abs(state.scores[at]!) ? i : at),
      kept.indexOf(true),
    );
    if (Math.abs(state.scores[worst]!) < WRONG_SCORE) break;
    kept = kept.with(worst, false);
    state = improve({ ...basis, kept });
    // A reading that is left out costs what one at the limit would have cost.
    lost += 0.5 * WRONG_SCORE ** 2 + Math.log(state.noise.sdOf(worst));
  }
  return { ...state, evidence: state.noise.evidence - lost };
}

type Basis = Pick<Posterior, 'jobs' | 'motion' | 'scales' | 'least' | 'prior' | 'kept'>;

/** Fit, look at the errors, fit again with them: twice is enough, as the time is nearly straight in its parameters. */
function improve(basis: Basis): Posterior {
  const { jobs } = basis;
  let sd = jobs.map(({ reading }) => Math.hypot(HAND.medianS, 0.005 * reading.seconds, reading.stepS / Math.sqrt(12)));
  let state: Posterior | undefined;
  for (let round = 0; round < 3; round++) {
    // Huber's weights in the first round only: a wrong reading must not bend the fit that it is judged by.
    const fit = search(basis, { sd, start: state?.u ?? basis.prior.mean, ...(round === 0 ? { huber: 1.345 } : {}) });
    const seconds = (u: readonly number[]) => predict(basis, u);
    const fitted = seconds(fit.u);
    const jacobian = differentiate(seconds, { u: fit.u, least: basis.least });
    const linear = { ...basis, u: fit.u, fitted, jacobian };
    const noise = weighNoise(linear, basis.kept);
    sd = jobs.map((_, i) => noise.sdOf(i));
    state = { ...linear, noise, evidence: noise.evidence, converged: fit.converged, scores: [] };
  }
  const last = state!;
  return { ...last, scores: jobs.map((_, i) => scoreOf(i, last)) };
}

function predict({ jobs, motion, scales }: Basis, u: readonly number[]): number[] {
  const changed = applyMotionParameters(
    motion,
    u.map((value, k) => value * scales[k]!),
  );
  return jobs.map(({ path, reading: { settings, grid, turn } }) =>
    computeSecondsOfPath(path, { motion: changed, settings, grid, turn }),
  );
}

function search(
  basis: Basis,
  { sd, start, huber }: { readonly sd: readonly number[]; readonly start: readonly number[]; readonly huber?: number },
) {
  const { jobs, prior, kept, least: lower } = basis;
  const upper = prior.mean.map(() => 1e4);
  const { parameters, converged } = fitLeastSquares(
    (u) => {
      const seconds = predict(basis, u);
      return [
        ...jobs.map(({ reading }, i) => (kept[i] ? (reading.seconds - seconds[i]!) / sd[i]! : 0)),
        ...u.map((value, k) => (value - prior.mean[k]!) * Math.sqrt(prior.precision[k]!)),
      ];
    },
    {
      start: start.map((value, k) => Math.min(upper[k]!, Math.max(lower[k]!, value))),
      lower,
      upper,
      scales: prior.mean.map(() => 1),
      ...(huber ? { huber } : {}),
    },
  );
  return { u: parameters, converged };
}

/** Rows: readings; columns: parameters. */
function differentiate(
  seconds: (u: readonly number[]) => number[],
  { u, least }: { readonly u: readonly number[]; readonly least: readonly number[] },
): number[][] {
  const columns = u.map((value, k) => {
    const step = 1e-4 * Math.max(1, value);
    const below = Math.max(least[k]! / 2, value - step);
    const [high, low] = [seconds(u.with(k, value + step)), seconds(u.with(k, below))];
    return high.map((t, i) => (t - low[i]!) / (value + step - below));
  });
  return columns[0]!.map((_, i) => columns.map((column) => column[i]!));
}

interface NoisePosterior {
  /** Log of how likely the readings are, all errors and motions summed over. */
  readonly evidence: number;
  readonly handS: number;
  readonly lackOfFit: number;
  readonly degreesOfFreedom: number;
  /** Of u about the mean below. */
  readonly covariance: readonly (readonly number[])[];
  /** Mean of u less the point of linearisation. */
  readonly shift: readonly number[];
  /** Standard deviation of reading i about the true motion. */
  readonly sdOf: (i: number) => number;
}

type Linear = Pick<Posterior, 'jobs' | 'u' | 'fitted' | 'jacobian' | 'prior'>;

/** Sum over the grid of errors, the motion being a straight line in its parameters about the fit. */
function weighNoise(linear: Linear, kept: readonly boolean[]): NoisePosterior {
  const { jobs, fitted } = linear;
  const variance = (i: number, hand: number, lackOfFit: number) =>
    hand ** 2 + jobs[i]!.reading.stepS ** 2 / 12 + (lackOfFit * fitted[i]!) ** 2;
  const cells = HAND.grid.flatMap((hand) =>
    LACK_OF_FIT.grid.map((lackOfFit) => {
      const solved = solveLinear(linear, { kept, variance: (i) => variance(i, hand, lackOfFit) });
      const prior =
        -0.5 * (Math.log(hand / HAND.medianS) / HAND.logDeviation) ** 2 -
        0.5 * (Math.log(lackOfFit / LACK_OF_FIT.median) / LACK_OF_FIT.logDeviation) ** 2;
      return { hand, lackOfFit, ...solved, log: solved.log + prior };
    }),
  );
  const top = Math.max(...cells.map(({ log }) => log));
  const weights = cells.map(({ log }) => Math.exp(log - top));
  const total = weights.reduce((a, b) => a + b, 0);
  const average = (of: (cell: (typeof cells)[number]) => number) =>
    cells.reduce((sum, cell, at) => sum + (weights[at]! / total) * of(cell), 0);
  const n = linear.u.length;
  const shift = Array.from({ length: n }, (_, k) => average(({ delta }) => delta[k]!));
  const covariance = Array.from({ length: n }, (_, k) =>
    Array.from({ length: n }, (_, l) =>
      average(({ inverse, delta }) => inverse[k]![l]! + (delta[k]! - shift[k]!) * (delta[l]! - shift[l]!)),
    ),
  );
  const handS = Math.sqrt(average(({ hand }) => hand ** 2));
  const lackOfFit = Math.sqrt(average((cell) => cell.lackOfFit ** 2));
  // The variance of a reading is itself uncertain: Student's distribution with the same variance of it.
  const typical = (cell: { hand: number; lackOfFit: number }) =>
    jobs.reduce((sum, _, i) => sum + variance(i, cell.hand, cell.lackOfFit) / variance(i, handS, lackOfFit), 0) /
    jobs.length;
  const mean = average(typical);
  const relativeVariance = average((cell) => (typical(cell) / mean - 1) ** 2);
  return {
    evidence: top + Math.log(total),
    handS,
    lackOfFit,
    degreesOfFreedom: 4 + 2 / Math.max(relativeVariance, 1e-3),
    covariance,
    shift,
    sdOf: (i) => Math.sqrt(variance(i, handS, lackOfFit)),
  };
}

/** Weighted least squares with the prior; log of the likelihood with the motion summed over. */
function solveLinear(
  { jobs, u, fitted, jacobian, prior }: Linear,
  { kept, variance }: { readonly kept: readonly boolean[]; readonly variance: (i: number) => number },
) {
  const n = u.length;
  const normal = Array.from({ length: n }, (_, k) =>
    Array.from({ length: n }, (_, l) => (k === l ? prior.precision[k]! : 0)),
  );
  const right = Array.from({ length: n }, (_, k) => prior.precision[k]! * (prior.mean[k]! - u[k]!));
  const residuals = jobs.map(({ reading }, i) => reading.seconds - fitted[i]!);
  let log = 0;
  residuals.forEach((residual, i) => {
    if (!kept[i]) return;
    const weight = 1 / variance(i);
    log += 0.5 * Math.log(weight);
    const row = jacobian[i]!;
    for (let k = 0; k < n; k++) {
      right[k]! += weight * row[k]! * residual;
      for (let l = 0; l < n; l++) normal[k]![l]! += weight * row[k]! * row[l]!;
    }
  });
  const solved = invertPositiveDefinite(normal);
  if (!solved) throw new RangeError('the readings and the prior do not make a positive definite system');
  const { inverse, logDeterminant } = solved;
  const delta = inverse.map((row) => row.reduce((sum, value, l) => sum + value * right[l]!, 0));
  let squares = 0;
  residuals.forEach((residual, i) => {
    if (!kept[i]) return;
    const left = residual - jacobian[i]!.reduce((sum, value, k) => sum + value * delta[k]!, 0);
    squares += left ** 2 / variance(i);
  });
  delta.forEach((value, k) => {
    squares += prior.precision[k]! * (prior.mean[k]! - u[k]! - value) ** 2;
  });
  log -= 0.5 * (squares + logDeterminant - prior.precision.reduce((sum, value) => sum + Math.log(value), 0));
  return { inverse, delta, log };
}

/** How far a reading is from what all the other kept ones predict, in standard deviations. */
function scoreOf(i: number, state: Pick<Posterior, 'jobs' | 'u' | 'fitted' | 'jacobian' | 'prior' | 'kept'>): number {
  const others = state.kept.with(i, false);
  if (!others.includes(true)) return 0;
  const noise = weighNoise(state, others);
  const row = state.jacobian[i]!;
  const predicted = state.fitted[i]! + row.reduce((sum, value, k) => sum + value * noise.shift[k]!, 0);
  const sd = Math.sqrt(quadraticForm(noise.covariance, row) + noise.sdOf(i) ** 2);
  return (state.jobs[i]!.reading.seconds - predicted) / sd;
}

interface Chosen {
  readonly fit: Posterior;
  readonly bare: BareHandling;
  readonly decided: boolean;
  /** As the file has it. */
  readonly before: Motion;
}

function report(readings: readonly Reading[], { fit, bare, decided, before }: Chosen): MotionFit {
  const { scales, noise, kept, u } = fit;
  const values = u.map((value, k) => value * scales[k]!);
  const motion = applyMotionParameters(fit.motion, values);
  const covariance = noise.covariance.map((row, k) => row.map((value, l) => value * scales[k]! * scales[l]!));
  const fileHas = listMotionParameters(fit.motion);
  const factor = coverageFactor(noise.degreesOfFreedom);
  const parameters = listMotionParameters(motion).map(({ name, label, unit, show, value }, k): FittedParameter => {
    const half = factor * Math.sqrt(covariance[k]![k]!);
    const ends = [Math.max(0, value - half), value + half].map(show);
    return {
      name,
      label,
      unit,
      before: show(fileHas[k]!.value),
      value: show(value),
      low: Math.min(...ends),
      high: Math.max(...ends),
      determined: half <= value / 4 ? 'well' : half <= value ? 'roughly' : 'no',
    };
  });
  return {
    // Where the readings say nothing new, the file goes on saying nothing.
    motion: before.bare === undefined && bare === 'skipped' && !decided ? withoutBare(motion) : motion,
    uncertainty: {
      readings: kept.filter(Boolean).length,
      leftOut: kept.filter((one) => !one).length,
      parameters: parameters.map(({ name }) => name),
      covariance,
      misfitShare: noise.lackOfFit,
      readingErrorS: noise.handS,
      degreesOfFreedom: noise.degreesOfFreedom,
    },
    parameters,
    readings: readings.map((reading, i): JudgedReading => {
      const leftOut = !kept[i];
      const hint = leftOut ? explain(reading, { motion, toleranceS: 2.5 * noise.sdOf(i) }) : undefined;
      return {
        seconds: reading.seconds,
        fittedS: fit.fitted[i]!,
        residualS: reading.seconds - fit.fitted[i]!,
        score: fit.scores[i]!,
        leftOut,
        ...(hint === undefined ? {} : { hint }),
      };
    }),
    bare: { handling: bare, decided },
    converged: fit.converged,
    excess: computeExcess(fit),
  };
}

/**
 * Above this `excess`, in standard deviations, a motion does not explain its readings. Assumed: what honest hands reach
 * in one fit of a hundred or fewer.
 */
const MOST_EXCESS = 1.5;
/** Fewer readings, a count, make no measurement of a machine. Assumed: two say nothing of their own scatter. */
export const FEWEST_READINGS = 3;

/** Why a fit must not be taken for a measured machine. */
export interface Unfit {
  /**
   * `few`: fewer than `FEWEST_READINGS` were used. `scatter`: what is left over is more than a hand's scatter.
   * `unexplained`: a reading does not agree with the others, and no slip of a person explains it.
   */
  readonly reason: 'few' | 'scatter' | 'unexplained';
  /** Readings that say so, the worst first. */
  readonly readings: readonly number[];
}

/** Whether a fit explains its readings well enough to stand for a machine; undefined when it does. */
export function findUnfit({ readings, excess }: MotionFit): Unfit | undefined {
  const offOf = (i: number) => Math.abs(readings[i]!.residualS);
  const worstFirst = (which: (reading: JudgedReading) => boolean) =>
    readings.flatMap((reading, i) => (which(reading) ? [i] : [])).sort((a, b) => offOf(b) - offOf(a));
  if (excess > MOST_EXCESS) {
    const large = worstFirst(
      ({ residualS, fittedS }) =>
        Math.abs(residualS) > Math.hypot(LARGE_SCATTER.handS, LARGE_SCATTER.misfitShare * fittedS),
    );
    return { reason: 'scatter', readings: large.length > 0 ? large : worstFirst(() => true).slice(0, 1) };
  }
  const unexplained = worstFirst(({ leftOut, hint }) => leftOut && hint === undefined);
  if (unexplained.length > 0) return { reason: 'unexplained', readings: unexplained };
  const used = worstFirst(({ leftOut }) => !leftOut);
  return used.length < FEWEST_READINGS ? { reason: 'few', readings: used } : undefined;
}

/** √(χ² / degrees of freedom) of the kept readings about the fit with errors of `LARGE_SCATTER`. */
function computeExcess(fit: Posterior): number {
  const { jobs, fitted, jacobian, kept } = fit;
  const variance = (i: number) =>
    LARGE_SCATTER.handS ** 2 + jobs[i]!.reading.stepS ** 2 / 12 + (LARGE_SCATTER.misfitShare * fitted[i]!) ** 2;
  const { inverse } = solveLinear(fit, { kept, variance });
  let squares = 0;
  let degreesOfFreedom = 0;
  jobs.forEach(({ reading }, i) => {
    if (!kept[i]) return;
    const row = jacobian[i]!;
    squares += (reading.seconds - fitted[i]!) ** 2 / variance(i);
    degreesOfFreedom += 1 - quadraticForm(inverse, row) / variance(i);
  });
  return Math.sqrt(squares / Math.max(1, degreesOfFreedom));
}

function withoutBare({ bare: _, ...motion }: Motion): Motion {
  return motion;
}

/**
 * The slip that would explain a wrong reading: a minute misread, the other direction, another number of passes or
 * speed.
 */
function explain(
  { extents, grid, settings, seconds, turn }: Reading,
  { motion, toleranceS }: { readonly motion: Motion; readonly toleranceS: number },
): string | undefined {
  const secondsWith = (change: Partial<BurnSettings>) => {
    const changed = { ...settings, ...change };
    return computeSecondsOfPath(tracePath(extents, { scan: changed.scan, bare: motion.bare }), {
      motion,
      settings: changed,
      grid,
      turn,
    });
  };
  const fitted = secondsWith({});
  const other = settings.scan === 'one-way' ? 'two-way' : 'one-way';
  const { passes, speedMmPerS } = settings;
  const minutes = Math.round((seconds - fitted) / 60);
  const slips: [words: string, seconds: number][] = [
    [`${Math.abs(minutes)} min misread`, minutes === 0 ? Number.NaN : fitted + 60 * minutes],
    [`burned ${other}`, secondsWith({ scan: other })],
    ...[passes - 1, passes + 1, 2 * passes]
      .filter((n) => n >= 1)
      .map((n): [string, number] => [`${n} ${n === 1 ? 'pass' : 'passes'}`, secondsWith({ passes: n })]),
    ...[0.5, 2, 0.1, 10].map((times): [string, number] => [
      `speed ${speedMmPerS * times} mm/s`,
      secondsWith({ speedMmPerS: speedMmPerS * times }),
    ]),
  ];
  return slips.find(([, expected]) => Math.abs(seconds - expected) <= toleranceS)?.[0];
}
