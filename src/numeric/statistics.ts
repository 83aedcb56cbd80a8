import { tabulate } from './tabulate.ts';

/**
 * Quantile by linear interpolation between order statistics, at position q·(n−1) from 0
 * (definition 7 of source: 'hyndmanFan1996').
 * @param q 0 … 1
 * @throws RangeError when there is no value or q is outside its range.
 */
export function quantile(values: ArrayLike<number>, q: number): number {
  if (values.length === 0) throw new RangeError('a quantile needs at least one value');
  if (!(q >= 0 && q <= 1)) throw new RangeError(`q must be 0 … 1, got ${q}`);
  const sorted = new Float64Array(values).sort();
  const position = q * (sorted.length - 1);
  const below = Math.floor(position);
  const above = Math.min(below + 1, sorted.length - 1);
  return sorted[below] + (position - below) * (sorted[above] - sorted[below]);
}

/** Middle value. @throws RangeError when there is no value. */
export function median(values: ArrayLike<number>): number {
  return quantile(values, 0.5);
}

/**
 * Standard deviation of normal data over the median of its absolute values, 1/Φ⁻¹(¾). Without unit. Exact: to four
 * decimals, as it is printed; fits and readings use these digits, so that what they say stays the same bits.
 */
const NORMAL_PER_MEDIAN = 1.4826;

/**
 * Median absolute deviation times 1.4826, which estimates the standard deviation of normal data and shrugs off
 * outliers. The factor is 1/Φ⁻¹(¾).
 * @throws RangeError when there is no value.
 */
export function medianAbsoluteDeviation(values: ArrayLike<number>): number {
  const centre = median(values);
  return 1.482602218505602 * median(tabulate(new Float64Array(values.length), (at) => Math.abs(values[at]! - centre)));
}

/** Arithmetic mean. @throws RangeError when there is no value. */
export function mean(values: ArrayLike<number>): number {
  if (values.length === 0) throw new RangeError('a mean needs at least one value');
  let sum = 0;
  for (let i = 0; i < values.length; i++) sum += values[i];
  return sum / values.length;
}

/** Standard deviation of a sample (divisor n − 1); 0 for a single value. @throws RangeError when there is no value. */
export function standardDeviation(values: ArrayLike<number>): number {
  const centre = mean(values);
  let sum = 0;
  for (let i = 0; i < values.length; i++) sum += (values[i] - centre) ** 2;
  return values.length === 1 ? 0 : Math.sqrt(sum / (values.length - 1));
}

/**
 * Robust standard deviation of deviations from a centre that is known: 1.4826 times the median of their sizes.
 * Residuals of a fit and deviations from a group's median are of this kind.
 * @throws RangeError when there is no value.
 */
export function robustDeviation(deviations: ArrayLike<number>): number {
  return NORMAL_PER_MEDIAN * median(tabulate(new Float64Array(deviations.length), (at) => Math.abs(deviations[at]!)));
}

/**
 * Standard deviation of values around the mean of their own group, over all groups: the root of the squares' sum by its
 * degrees of freedom. Undefined where no group has two values, which tells nothing.
 * @param groups none of them empty.
 */
export function pooledStandardDeviation(groups: readonly ArrayLike<number>[]): number | undefined {
  let squares = 0;
  let degreesOfFreedom = 0;
  for (const group of groups) {
    const centre = mean(group);
    for (let i = 0; i < group.length; i++) squares += (group[i] - centre) ** 2;
    degreesOfFreedom += group.length - 1;
  }
  return degreesOfFreedom > 0 ? Math.sqrt(squares / degreesOfFreedom) : undefined;
}

/** From what size on a value is an outlier: so many robust standard deviations, and no less than `least`. */
export interface OutlierRule {
  readonly deviations: number;
  readonly least: number;
}

/** Size beyond which one of these deviations is an outlier; `least` where there is none to tell. */
export function findOutlierLimit(deviations: ArrayLike<number>, rule: OutlierRule): number {
  return deviations.length === 0 ? rule.least : Math.max(rule.least, rule.deviations * robustDeviation(deviations));
}
