/** A monotone piecewise cubic through given points, with its derivative and its inverse. */
export interface Pchip {
  readonly x: Float64Array;
  readonly y: Float64Array;
  /** Derivative at each point. */
  readonly slopes: Float64Array;
  /** Value at any x; outside the points the value of the nearer end. */
  readonly valueAt: (x: number) => number;
  /** Derivative at any x; 0 outside the points. */
  readonly slopeAt: (x: number) => number;
  /**
   * The x that has this value; outside the values the x of the nearer end.
   * @throws RangeError when the values are not strictly monotone.
   */
  readonly inverseAt: (value: number) => number;
}

/**
 * Piecewise cubic Hermite interpolation that never leaves the range of two neighbouring points, so data that rise give
 * a curve that rises. Derivatives by the three-point rule of Fritsch and Butland 1984 (source: 'fritschButland1984',
 * as in SLATEC's PCHIM), chosen over Fritsch and Carlson's two passes of 1980 because it needs one pass, is local and
 * does not depend on the direction in which the points are read.
 * @throws RangeError with fewer than two points, or x that do not strictly rise.
 */
export function createPchip(xs: ArrayLike<number>, ys: ArrayLike<number>): Pchip {
  const x = Float64Array.from(xs);
  const y = Float64Array.from(ys);
  const n = x.length;
  if (n < 2 || y.length !== n)
    throw new RangeError(`a curve needs two or more x with as many y, got ${n}, ${y.length}`);
  for (let i = 1; i < n; i++) {
    if (!(x[i] > x[i - 1])) throw new RangeError(`x must strictly rise, got ${x[i - 1]} before ${x[i]}`);
  }
  const slopes = slopesFritschButland1984(x, y);
  const falls = y[n - 1] < y[0];

  const intervalOf = (at: number): number => {
    let low = 0;
    let high = n - 1;
    while (high - low > 1) {
      const middle = (low + high) >> 1;
      if (x[middle] <= at) low = middle;
      else high = middle;
    }
    return low;
  };
  const valueAt = (at: number): number => {
    if (!(at > x[0])) return y[0];
    if (at >= x[n - 1]) return y[n - 1];
    const i = intervalOf(at);
    return cubicAt(x, y, slopes, i, (at - x[i]) / (x[i + 1] - x[i]));
  };
  const slopeAt = (at: number): number => {
    if (at < x[0] || at > x[n - 1]) return 0;
    const i = intervalOf(at);
    return cubicSlopeAt(x, y, slopes, i, (at - x[i]) / (x[i + 1] - x[i]));
  };
  const inverseAt = (value: number): number => {
    const sign = falls ? -1 : 1;
    const wanted = sign * value;
    if (!(wanted > sign * y[0])) return x[0];
    if (wanted >= sign * y[n - 1]) return x[n - 1];
    let i = 0;
    let high = n - 1;
    while (high - i > 1) {
      const middle = (i + high) >> 1;
      if (sign * y[middle] <= wanted) i = middle;
      else high = middle;
    }
    return x[i] + solveCubic(x, y, slopes, i, value) * (x[i + 1] - x[i]);
  };
  return { x, y, slopes, valueAt, slopeAt, inverseAt: isStrictlyMonotone(y) ? inverseAt : refuseInverse };
}

function refuseInverse(): never {
  throw new RangeError('only a strictly monotone curve has an inverse');
}

function isStrictlyMonotone(y: Float64Array): boolean {
  const sign = Math.sign(y[y.length - 1] - y[0]);
  for (let i = 1; i < y.length; i++) if (!((y[i] - y[i - 1]) * sign > 0)) return false;
  return true;
}

/** Derivatives of PCHIM: weighted harmonic mean of the two secants, 0 at turns; three-point rule at the ends. */
function slopesFritschButland1984(x: Float64Array, y: Float64Array): Float64Array {
  const n = x.length;
  const slopes = new Float64Array(n);
  const h = (i: number) => x[i + 1] - x[i];
  const secant = (i: number) => (y[i + 1] - y[i]) / h(i);
  if (n === 2) return slopes.fill(secant(0));
  for (let i = 1; i < n - 1; i++) {
    const before = secant(i - 1);
    const after = secant(i);
    if (before * after <= 0) continue;
    const w1 = 2 * h(i) + h(i - 1);
    const w2 = h(i) + 2 * h(i - 1);
    slopes[i] = (w1 + w2) / (w1 / before + w2 / after);
  }
  slopes[0] = endSlope(h(0), h(1), secant(0), secant(1));
  slopes[n - 1] = endSlope(h(n - 2), h(n - 3), secant(n - 2), secant(n - 3));
  return slopes;
}

function endSlope(h0: number, h1: number, secant0: number, secant1: number): number {
  const slope = ((2 * h0 + h1) * secant0 - h0 * secant1) / (h0 + h1);
  if (slope * secant0 <= 0) return 0;
  if (secant0 * secant1 < 0 && Math.abs(slope) > 3 * Math.abs(secant0)) return 3 * secant0;
  return slope;
}

function cubicAt(x: Float64Array, y: Float64Array, slopes: Float64Array, i: number, t: number): number {
  const h = x[i + 1] - x[i];
  const u = 1 - t;
  return u * u * ((1 + 2 * t) * y[i] + t * h * slopes[i]) + t * t * ((3 - 2 * t) * y[i + 1] - u * h * slopes[i + 1]);
}

function cubicSlopeAt(x: Float64Array, y: Float64Array, slopes: Float64Array, i: number, t: number): number {
  const secant = (y[i + 1] - y[i]) / (x[i + 1] - x[i]);
  return 6 * t * (1 - t) * secant + (1 - t) * (1 - 3 * t) * slopes[i] + t * (3 * t - 2) * slopes[i + 1];
}

/** t in 0 … 1 where interval i has this value: Newton's steps, held inside a bracket that bisection closes. */
function solveCubic(x: Float64Array, y: Float64Array, slopes: Float64Array, i: number, value: number): number {
  const h = x[i + 1] - x[i];
  const sign = y[i + 1] < y[i] ? -1 : 1;
  let low = 0;
  let high = 1;
  let t = (value - y[i]) / (y[i + 1] - y[i]);
  for (let step = 0; step < 60 && high - low > 1e-15; step++) {
    const error = cubicAt(x, y, slopes, i, t) - value;
    if (error === 0) break;
    if (error * sign > 0) high = t;
    else low = t;
    const slope = cubicSlopeAt(x, y, slopes, i, t) * h;
    const next = t - error / slope;
    const inside = next > low && next < high;
    const moved = Math.abs(next - t);
    t = inside ? next : (low + high) / 2;
    if (inside && moved < 1e-14) break;
  }
  return t;
}
