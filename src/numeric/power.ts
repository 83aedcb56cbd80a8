/**
 * base ^ exponent, the same to the last bit on every engine. Engines differ in the last bits of their own power (those
 * of Node 22 and 24 do), while exponentials, logarithms and roots were the same on all that were tried; what is fitted
 * and hashed must not depend on it. Relative error about |exponent · ln base| · 1.1e-16, and none for the exponents 1
 * and ½ beyond the engine's root.
 * @param base ≥ 0; the result is NaN below
 */
export function power(base: number, exponent: number): number {
  if (exponent === 1) return base;
  if (exponent === 0.5) return Math.sqrt(base);
  if (exponent === 0) return 1;
  return Math.exp(exponent * Math.log(base));
}

/** value³, by multiplication, which is the same on every engine. */
export function cube(value: number): number {
  return value * value * value;
}
