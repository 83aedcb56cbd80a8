import type { LightSource } from './luminance.ts';

/**
 * Fraction bits of a tap; the taps of one output sum to exactly 1 << TAP_BITS. Exact: taps to just below 2 then fit the
 * 16 bits of a lane.
 */
export const TAP_BITS = 14;

/**
 * Lobes of the Lanczos window. A count. Assumed: the usual compromise of Lanczos filters; two are softer, four ring
 * more.
 */
const LOBES = 3;

export interface TapOptions {
  /** Number of source samples along the axis. */
  readonly length: number;
  /** Where the part to take begins, in source samples; may be a fraction. */
  readonly from: number;
  /** How many source samples the part spans; may be a fraction. */
  readonly span: number;
  /** Number of output samples. */
  readonly count: number;
}

/** For each output: the first source sample, how many there are, and their taps at `stride` × output. */
export interface TapPlan {
  readonly starts: Int32Array;
  readonly lengths: Int32Array;
  readonly taps: Int16Array;
  readonly stride: number;
  /** When the result is larger: the source samples to the left and right of each output, between which it must stay. */
  readonly bounds: SampleBounds | undefined;
}

/** For each output two source samples, the same one twice at an edge of the source. */
export interface SampleBounds {
  readonly lefts: Int32Array;
  readonly rights: Int32Array;
}

/** Lanczos window of three lobes: sinc(x) sinc(x/3) within ±3 (C. E. Duchon's Lanczos filter; from memory). */
export function weighLanczos3(x: number): number {
  if (x === 0) return 1;
  if (Math.abs(x) >= LOBES) return 0;
  const angle = Math.PI * x;
  return (LOBES * Math.sin(angle) * Math.sin(angle / LOBES)) / (angle * angle);
}

/**
 * Taps that take `count` samples from `span` source samples. When the result is smaller the filter is widened by the
 * scale, so that nothing finer than an output sample can alias. Samples beyond the source's ends are left out and the
 * rest made to sum to 1, the common practice of image libraries. When the result is larger each output is bounded by
 * the two samples around it: in linear light the filter's ring beside a hard edge would turn a dark grey black.
 */
export function planTaps({ length, from, span, count }: TapOptions): TapPlan {
  const scale = span / count;
  const widen = Math.max(1, scale);
  const reach = LOBES * widen;
  const stride = Math.ceil(2 * reach) + 1;
  const starts = new Int32Array(count);
  const lengths = new Int32Array(count);
  const taps = new Int16Array(count * stride);
  const bounds = scale < 1 ? { lefts: new Int32Array(count), rights: new Int32Array(count) } : undefined;
  const weights = new Float64Array(stride);
  const wholes = new Int32Array(stride);
  for (let at = 0; at < count; at++) {
    const centre = from + (at + 0.5) * scale;
    const first = Math.max(0, Math.floor(centre - reach + 0.5));
    const last = Math.min(length - 1, Math.ceil(centre + reach - 0.5) - 1);
    const size = last - first + 1;
    fillWeights(weights, { size, first, centre, widen });
    roundToSum(weights.subarray(0, size), wholes.subarray(0, size), 1 << TAP_BITS);
    let skipped = 0;
    while (skipped < size - 1 && wholes[skipped] === 0) skipped++;
    let end = size;
    while (end > skipped + 1 && wholes[end - 1] === 0) end--;
    starts[at] = first + skipped;
    lengths[at] = end - skipped;
    taps.set(wholes.subarray(skipped, end), at * stride);
    if (!bounds) continue;
    // Within the taps: where an output lies on a sample, that one alone is read.
    const within = (sample: number) => Math.max(first + skipped, Math.min(first + end - 1, sample));
    const left = Math.floor(centre - 0.5);
    bounds.lefts[at] = within(left);
    bounds.rights[at] = within(left + 1);
  }
  return { starts, lengths, taps, stride, bounds };
}

function fillWeights(weights: Float64Array, of: { size: number; first: number; centre: number; widen: number }): void {
  const { size, first, centre, widen } = of;
  for (let k = 0; k < size; k++) weights[k] = weighLanczos3((first + k + 0.5 - centre) / widen);
}

/**
 * Whole numbers in proportion to `weights` that sum to `total`: each rounded, then the units that are left over go one
 * by one to where rounding was furthest off.
 */
function roundToSum(weights: Float64Array, wholes: Int32Array, total: number): void {
  let sum = 0;
  for (let k = 0; k < weights.length; k++) sum += weights[k];
  let left = total;
  for (let k = 0; k < weights.length; k++) {
    weights[k] *= total / sum;
    wholes[k] = Math.round(weights[k]);
    left -= wholes[k];
  }
  for (const unit = Math.sign(left); left !== 0; left -= unit) {
    let neediest = 0;
    for (let k = 1; k < weights.length; k++) {
      if (unit * (weights[k] - wholes[k]) > unit * (weights[neediest] - wholes[neediest])) neediest = k;
    }
    wholes[neediest] += unit;
  }
}

/**
 * The two passes over one source: rows in, filtered rows out. Rows are read once, from the top down, and stay valid
 * for `keep` rows.
 */
export interface Passes {
  readRow(y: number): void;
  /** One row of the result; valid until the next call. */
  filterRow(row: RowTaps): Uint16Array | Int16Array;
}

/** How one row of the result comes from rows of the source. */
export interface RowTaps {
  /** First source row. */
  readonly first: number;
  /** Taps over the source rows `first`, `first + 1`, … */
  readonly taps: Int16Array;
  /** The two source rows between whose samples the result must stay; undefined where it may overshoot. */
  readonly bounds: readonly [above: number, below: number] | undefined;
}

export interface PassesPlan {
  readonly source: LightSource;
  /** Taps of the columns, with starts counted from `firstColumn`. */
  readonly columns: TapPlan;
  readonly firstColumn: number;
  readonly columnCount: number;
  /** How many source rows one row of the result may need. */
  readonly keep: number;
  /** `cut`: rows of 0 … ONE. `kept`: rows of values minus CENTRE in which the filter's overshoot stays. */
  readonly overshoot: 'cut' | 'kept';
}
