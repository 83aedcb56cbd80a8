/**
 * Quantile by linear interpolation between order statistics, at position q·(n−1) from 0
 * (definition 7 of source: 'hyndmanFan1996').
 * @param q 0 … 1
 * @throws RangeError when there is no value or q is outside its range.
 */
export function quantile(values: ArrayLike<number>, q: number): number {
  if (values.length === 0) throw new RangeError('a quantile needs at least one value');
  if (!(q >= 0 && q <= 1)) throw new RangeError(`q must be 0 … 1, got ${q}`);
  const sorted = Float64Array.from(values).sort();
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
 * Median absolute deviation times 1.4826, which estimates the standard deviation of normal data and shrugs off
 * outliers. The factor is 1/Φ⁻¹(¾).
 * @throws RangeError when there is no value.
 */
export function medianAbsoluteDeviation(values: ArrayLike<number>): number {
  const centre = median(values);
  return 1.482602218505602 * median(Float64Array.from(values, (value) => Math.abs(value - centre)));
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
