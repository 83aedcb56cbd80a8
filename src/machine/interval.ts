import { NORMAL_95, student95 } from '../numeric/index.ts';
import { ASSUMED_MOTION_FACTORS, applyMotionParameters, listMotionParameters } from './parameters.ts';
import { withRotary } from './rotary.ts';
import type { ScanPath } from './scan-path.ts';
import { computeSecondsOfPath, type TimeOptions } from './time.ts';
import type { FittedUncertainty, MotionFactors, MotionUncertainty } from './types.ts';

/** Between which times a job ends in 95 of 100 cases, and what that rests on. */
export interface TimeInterval {
  readonly lowS: number;
  readonly highS: number;
  readonly level: 0.95;
  /** `assumed`: from factors that nobody measured. `fitted`: from stopwatch readings. */
  readonly basis: 'assumed' | 'fitted';
}

export interface IntervalOptions extends TimeOptions {
  /** Absent: assumed, with `ASSUMED_MOTION_FACTORS`. */
  readonly uncertainty?: MotionUncertainty | undefined;
}

/**
 * The interval of an estimate. Assumed factors: what each number changes at both ends of its range, added in squares.
 * Fitted: ± t·√((ν − 2)/ν · (gᵀCg + (lack of fit · time)²)), g the derivatives of the time by the fitted numbers.
 */
export function estimateInterval(path: ScanPath, given: IntervalOptions): TimeInterval {
  const options = given.turn ? { ...given, motion: withRotary(given.motion) } : given;
  const { uncertainty } = options;
  if (uncertainty?.kind === 'fitted') return intervalOfFit(path, options, uncertainty);
  return intervalOfFactors(path, options, uncertainty?.factors ?? ASSUMED_MOTION_FACTORS);
}

function intervalOfFactors(path: ScanPath, options: TimeOptions, factors: MotionFactors): TimeInterval {
  const { motion } = options;
  const parameters = listMotionParameters(motion);
  const values = parameters.map(({ value }) => value);
  const seconds = computeSecondsOfPath(path, options);
  let below = 0;
  let above = 0;
  parameters.forEach(({ factor, value }, k) => {
    for (const other of [value * factors[factor], value / factors[factor]]) {
      const changed = applyMotionParameters(motion, values.with(k, other));
      const change = computeSecondsOfPath(path, { ...options, motion: changed }) - seconds;
      if (change > 0) above += change ** 2;
      else below += change ** 2;
    }
  });
  return {
    lowS: seconds - Math.sqrt(below),
    highS: seconds + Math.sqrt(above),
    level: 0.95,
    basis: 'assumed',
  };
}

function intervalOfFit(path: ScanPath, options: TimeOptions, uncertainty: FittedUncertainty): TimeInterval {
  const seconds = computeSecondsOfPath(path, options);
  const { covariance, misfitShare, degreesOfFreedom } = uncertainty;
  const slopes = differentiateTime(path, options);
  const variance =
    quadraticForm(covariance, slopes) + rotaryVariance(slopes, { options, uncertainty }) + (misfitShare * seconds) ** 2;
  const half = coverageFactor(degreesOfFreedom) * Math.sqrt(variance);
  return { lowS: Math.max(0, seconds - half), highS: seconds + half, level: 0.95, basis: 'fitted' };
}

/** What a rotary adds that no reading told of, s²: it may be off by its assumed factor. */
function rotaryVariance(
  slopes: readonly number[],
  { options, uncertainty }: { readonly options: TimeOptions; readonly uncertainty: FittedUncertainty },
): number {
  if (options.turn === undefined || slopes.length === uncertainty.covariance.length) return 0;
  const { value, factor } = listMotionParameters(options.motion).at(-1)!;
  return ((slopes.at(-1)! * value * (ASSUMED_MOTION_FACTORS[factor] - 1)) / NORMAL_95) ** 2;
}

/** Half-width of the 95 % interval in standard deviations of Student's distribution with unit variance. */
export function coverageFactor(degreesOfFreedom: number): number {
  if (!Number.isFinite(degreesOfFreedom)) return NORMAL_95;
  return student95(degreesOfFreedom) * Math.sqrt((degreesOfFreedom - 2) / degreesOfFreedom);
}

/** Derivatives of the time by the motion's parameters, s by their units; central differences, one-sided at 0. */
export function differentiateTime(path: ScanPath, options: TimeOptions): number[] {
  const { motion } = options;
  const parameters = listMotionParameters(motion);
  const values = parameters.map(({ value }) => value);
  const secondsWith = (k: number, value: number) =>
    computeSecondsOfPath(path, { ...options, motion: applyMotionParameters(motion, values.with(k, value)) });
  return parameters.map(({ value, scale }, k) => {
    const step = 1e-4 * scale;
    const below = Math.max(0, value - step);
    return (secondsWith(k, value + step) - secondsWith(k, below)) / (value + step - below);
  });
}

/** gᵀCg. */
export function quadraticForm(matrix: readonly (readonly number[])[], vector: readonly number[]): number {
  let sum = 0;
  matrix.forEach((row, i) => {
    row.forEach((value, j) => {
      sum += vector[i]! * value * vector[j]!;
    });
  });
  return sum;
}
