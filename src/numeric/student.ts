/**
 * Φ⁻¹ of 0.975: half-width of the two-sided 95 % interval of the normal distribution. Standard deviations. Exact: the
 * definition's quantile, rounded to a double (tests/numeric/student.test.ts).
 */
export const NORMAL_95 = 1.959963984540054;
/**
 * The same as it is printed, standard deviations. Exact: `NORMAL_95` to two decimals. Fits, profiles and readings use
 * these digits, so that what they say stays the same bits.
 */
export const NORMAL_95_ROUNDED = 1.96;

/**
 * Half-width, in standard units, of the two-sided 95 % interval of Student's distribution, by the expansion in 1/ν
 * about the normal one (source: 'abramowitzStegun1964', 26.7.5, to ν⁻⁴). Within 0.4 % from 3 degrees of freedom on.
 * @throws RangeError below 3 degrees of freedom.
 */
export function student95(degreesOfFreedom: number): number {
  if (!(degreesOfFreedom >= 3))
    throw new RangeError(`the expansion needs 3 degrees of freedom, got ${degreesOfFreedom}`);
  const x = NORMAL_95;
  const n = degreesOfFreedom;
  const square = x * x;
  const [x3, x5] = [x * square, x * square * square];
  const [x7, x9] = [x5 * square, x5 * square * square];
  const g1 = (x3 + x) / 4;
  const g2 = (5 * x5 + 16 * x3 + 3 * x) / 96;
  const g3 = (3 * x7 + 19 * x5 + 17 * x3 - 15 * x) / 384;
  const g4 = (79 * x9 + 776 * x7 + 1482 * x5 - 1920 * x3 - 945 * x) / 92160;
  return x + (g1 + (g2 + (g3 + g4 / n) / n) / n) / n;
}
