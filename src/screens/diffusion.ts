import { createDots, type Dots, ONE, type Plane } from '../plane/index.ts';
import type { DiffusionKernel } from './kernels.ts';
import { coverageOfLevels } from './levels.ts';

export interface DiffusionOptions {
  readonly kernel: DiffusionKernel;
  readonly scan: 'raster' | 'serpentine';
  /** 2 … 256. */
  readonly levels: number;
  /** Rows to screen before the first one, see `listWarmUpRows`; even in number. */
  readonly start?: readonly Uint16Array[];
}

/**
 * Reach of a kernel in each direction, dots; also the bare border of the error rows. Exact: the widest kernel of
 * kernels.ts.
 */
export const REACH = 2;
const HALF = (ONE + 1) / 2;

/**
 * Screen by error diffusion with a fixed kernel: each dot takes the level nearest to what is input, the rest is passed
 * on.
 *
 * input = coverage + ⌊(Σ share · error + divisor/2) / divisor⌋ over the dots whose kernel reaches this one
 * level = ⌊(input · (levels − 1) + 2¹⁴) / 2¹⁵⌋, error = input − coverage of the level
 *
 * All in whole numbers, so the bits are the same on every engine. The error is never clamped, and the one rounding is
 * off by 1/(2 · divisor) of the coverage's step at most, 1e-6 of the tone. What falls off the sides is lost. Without
 * `start` no error comes before the first row, as published: very light tones begin some rows late (2 % by about
 * twenty), and very dark ones with as many rows solid.
 *
 * Bare (0) and solid (ONE) stay exactly so, outside a rounded corner and in a clipped highlight alike: a mean of errors
 * that each stopped short of firing never fires, so no speck can appear, and the error left there travels on
 * instead of being dropped. With several levels the steps differ by one unit, so there the rule is enforced.
 *
 * @throws RangeError when the kernel reaches further than two dots or two rows.
 */
export function diffuseFixed(coverage: Plane<'coverage'>, options: DiffusionOptions): Dots {
  const { kernel, scan, levels, start = [] } = options;
  const { width, height } = coverage;
  const shares = sharesOf(kernel);
  const dots = createDots(width, height, levels);
  const values = coverageOfLevels(levels);
  const padded = width + 2 * REACH;
  let twoUp = new Int32Array(padded);
  let oneUp = new Int32Array(padded);
  let here = new Int32Array(padded);
  const sums = new Int32Array(width);
  const scratch = new Uint8Array(width);
  const isDeep = shares.rows[1].some((share) => share > 0);
  for (let y = -start.length; y < height; y++) {
    const step = scan === 'serpentine' && (y & 1) === 1 ? -1 : 1;
    const stepAbove = scan === 'serpentine' ? -step : step;
    const row = y < 0 ? start[y + start.length] : coverage.data.subarray(y * width, (y + 1) * width);
    sumCoverage(row, { errors: oneUp, shares: shares.rows[0], step: stepAbove, divisor: kernel.divisor, sums });
    if (isDeep) addErrors(sums, twoUp, shares.rows[1], step);
    const chosen = y < 0 ? scratch : dots.data.subarray(y * width, (y + 1) * width);
    const chain = { sums, errors: here, step, shares: shares.ahead, divisor: kernel.divisor, chosen };
    if (levels === 2) chooseBits(chain);
    else chooseLevels(chain, { row, values });
    [twoUp, oneUp, here] = [oneUp, here, twoUp];
  }
  return dots;
}

export interface Shares {
  /** One and two dots ahead. */
  readonly ahead: readonly number[];
  /** One and two rows below: two dots behind … two dots ahead. */
  readonly rows: readonly [readonly number[], readonly number[]];
}

export function sharesOf({ taps }: DiffusionKernel): Shares {
  const ahead = new Array<number>(REACH).fill(0);
  const rows = [new Array<number>(2 * REACH + 1).fill(0), new Array<number>(2 * REACH + 1).fill(0)] as const;
  for (const [dx, dy, share] of taps) {
    const isInReach = dy === 0 ? dx >= 1 && dx <= REACH : dy >= 1 && dy <= 2 && Math.abs(dx) <= REACH;
    if (!isInReach) throw new RangeError(`a tap at ${dx}, ${dy} is out of reach`);
    if (dy === 0) ahead[dx - 1] = share;
    else rows[dy - 1]![dx + REACH] = share;
  }
  return { ahead, rows };
}

/** Sums that do not depend on this row's own choices, so that the loop over those has a short chain of its own. */
export function sumCoverage(
  row: Uint16Array,
  from: { errors: Int32Array; shares: readonly number[]; step: number; divisor: number; sums: Int32Array },
): void {
  const { errors, sums } = from;
  const divisor = from.divisor | 0;
  const half = divisor >> 1;
  // What a dot receives from k dots to its right was sent k dots to the left.
  const [w0, w1, w2, w3, w4] = from.step > 0 ? [...from.shares].reverse() : from.shares;
  let [e0, e1, e2, e3] = errors;
  for (let x = 0; x < row.length; x++) {
    const e4 = errors[x + 2 * REACH];
    sums[x] =
      Math.imul(row[x], divisor) +
      half +
      Math.imul(e0, w0) +
      Math.imul(e1, w1) +
      Math.imul(e2, w2) +
      Math.imul(e3, w3) +
      Math.imul(e4, w4);
    e0 = e1;
    e1 = e2;
    e2 = e3;
    e3 = e4;
  }
}

export function addErrors(sums: Int32Array, errors: Int32Array, shares: readonly number[], step: number): void {
  const [w0, w1, w2, w3, w4] = step > 0 ? [...shares].reverse() : shares;
  let [e0, e1, e2, e3] = errors;
  for (let x = 0; x < sums.length; x++) {
    const e4 = errors[x + 2 * REACH];
    sums[x] += Math.imul(e0, w0) + Math.imul(e1, w1) + Math.imul(e2, w2) + Math.imul(e3, w3) + Math.imul(e4, w4);
    e0 = e1;
    e1 = e2;
    e2 = e3;
    e3 = e4;
  }
}

interface Chain {
  readonly sums: Int32Array;
  readonly errors: Int32Array;
  readonly step: number;
  readonly shares: readonly number[];
  readonly divisor: number;
  readonly chosen: Uint8Array;
}

function chooseBits({ sums, errors, step, shares, divisor, chosen }: Chain): void {
  const [near, far] = shares;
  const { shift, inverse, offset, lifted } = divisionBy(divisor);
  let one = 0;
  let two = 0;
  for (let left = sums.length, x = step > 0 ? 0 : left - 1; left > 0; left--, x += step) {
    const sum = sums[x] + Math.imul(one, near) + Math.imul(two, far);
    const input = shift > 0 ? sum >> shift : (((sum + offset) * inverse) | 0) - lifted;
    const mask = (HALF - 1 - input) >> 31;
    chosen[x] = mask & 1;
    two = one;
    one = input - (mask & ONE);
    errors[x + REACH] = one;
  }
}

function chooseLevels(chain: Chain, { row, values }: { row: Uint16Array; values: Int32Array }): void {
  const { sums, errors, step, shares, divisor, chosen } = chain;
  const [near, far] = shares;
  const { shift, inverse, offset, lifted } = divisionBy(divisor);
  const top = values.length - 1;
  let one = 0;
  let two = 0;
  for (let left = sums.length, x = step > 0 ? 0 : left - 1; left > 0; left--, x += step) {
    const sum = sums[x] + Math.imul(one, near) + Math.imul(two, far);
    const input = shift > 0 ? sum >> shift : (((sum + offset) * inverse) | 0) - lifted;
    let level = (Math.imul(input, top) + HALF) >> 15;
    if (level < 0 || row[x] === 0) level = 0;
    else if (level > top || row[x] === ONE) level = top;
    chosen[x] = level;
    two = one;
    one = input - values[level];
    errors[x + REACH] = one;
  }
}

/**
 * Rounding division towards −∞ without a divide: a shift for powers of two, else a product with the inverse. `offset`
 * makes the dividend positive and keeps it half a unit away from whole quotients, where the inverse's own rounding
 * would tell.
 * @param range of what is divided, either way, in full scales.
 */
export function divisionBy(divisor: number, range = 4) {
  const isPower = (divisor & (divisor - 1)) === 0;
  const lifted = range * ONE;
  return {
    shift: isPower ? 31 - Math.clz32(divisor) : 0,
    inverse: 1 / divisor,
    offset: lifted * divisor + 0.5,
    lifted,
  };
}
