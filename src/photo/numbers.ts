import { giveBackKernels, type Kernels, loadKernels, reserveBuffers } from '../plane/index.ts';

/** How the arithmetic is done: `scalar` forces the readable version, `simd` takes the kernels when they can be had. */
export interface Arithmetic {
  readonly arithmetic?: 'simd' | 'scalar';
}

/** A line at each place: gain · value + offset. */
export interface Lines {
  readonly gain: Float32Array;
  readonly offset: Float32Array;
}

/** What each value is on its line, into the first. Both arithmetics give the same bits, here and below. */
export function alongLines(values: Float32Array, lines: Lines, { arithmetic = 'simd' }: Arithmetic = {}): void {
  const { gain, offset } = lines;
  const kernels = arithmetic === 'simd' ? loadKernels() : undefined;
  if (kernels) {
    runBlocks(kernels, { written: [values], read: [gain, offset] }, ([valuesAt, gainAt, offsetAt], count) =>
      kernels.alongLines(valuesAt, gainAt, offsetAt, count),
    );
    return;
  }
  for (let i = 0; i < values.length; i++) values[i] = gain[i] * values[i] + offset[i];
}

/** One after the other as one: second(first(value)), into the second. */
export function chainLines(first: Lines, second: Lines, { arithmetic = 'simd' }: Arithmetic = {}): void {
  const { gain, offset } = second;
  const kernels = arithmetic === 'simd' ? loadKernels() : undefined;
  if (kernels) {
    runBlocks(
      kernels,
      { written: [offset, gain], read: [first.offset, first.gain] },
      ([offsetAt, gainAt, firstOffsetAt, firstGainAt], count) =>
        kernels.chainLines(offsetAt, gainAt, firstOffsetAt, firstGainAt, count),
    );
    return;
  }
  for (let i = 0; i < gain.length; i++) {
    offset[i] += gain[i] * first.offset[i];
    gain[i] *= first.gain[i];
  }
}

/** The product of two, number by number. */
export function multiply(a: Float32Array, b: Float32Array, { arithmetic = 'simd' }: Arithmetic = {}): Float32Array {
  const product = a.slice();
  const kernels = arithmetic === 'simd' ? loadKernels() : undefined;
  if (kernels) {
    runBlocks(kernels, { written: [product], read: [b] }, ([productAt, bAt], count) =>
      kernels.multiplyNumbers(productAt, bAt, count),
    );
    return product;
  }
  for (let i = 0; i < product.length; i++) product[i] *= b[i];
  return product;
}

export interface NoiseRule {
  /** Variance of the noise where a window's mean is at each whole L*, 0 … 100; L*². */
  readonly varianceAt: Float64Array;
  /** Share of the noise that is taken away at most. */
  readonly mostShare: number;
}

/**
 * From means and mean squares of windows the line toward the mean of each, the more so the less their variance exceeds
 * the noise's: the gain into `squares`, the offset into `means`.
 */
export function calmWindows(
  { squares, means }: { readonly squares: Float32Array; readonly means: Float32Array },
  { varianceAt, mostShare }: NoiseRule,
  { arithmetic = 'simd' }: Arithmetic = {},
): void {
  const kernels = arithmetic === 'simd' ? loadKernels() : undefined;
  if (kernels) {
    runBlocks(kernels, { written: [squares, means], table: varianceAt }, ([squaresAt, meansAt, tableAt], count) =>
      kernels.calmWindows(squaresAt, meansAt, tableAt, mostShare, count),
    );
    return;
  }
  for (let i = 0; i < means.length; i++) {
    const mean = means[i];
    const variance = Math.max(0, squares[i] - mean * mean);
    const share = variance > 0 ? Math.min(mostShare, varianceAt[(mean + 0.5) | 0] / variance) : mostShare;
    squares[i] = 1 - share;
    means[i] = mean - squares[i] * mean;
  }
}

/** How many numbers 0 … `most` lie nearest to each whole multiple of 1 / `steps`. */
export function countNumbers(
  numbers: Float32Array,
  { steps, most }: { readonly steps: number; readonly most: number },
  { arithmetic = 'simd' }: Arithmetic = {},
): Uint32Array {
  const counts = new Uint32Array(most * steps + 1);
  const kernels = arithmetic === 'simd' ? loadKernels() : undefined;
  if (!kernels) {
    for (const number of numbers) counts[(number * steps + 0.5) | 0]++;
    return counts;
  }
  const [numbersAt, countsAt] = reserveBuffers(kernels, [4 * BLOCK, counts.byteLength]);
  const block = new Float32Array(kernels.memory.buffer, numbersAt, BLOCK);
  for (let from = 0; from < numbers.length; from += BLOCK) {
    const part = numbers.subarray(from, from + BLOCK);
    block.set(part);
    kernels.countNumbers(numbersAt, countsAt, part.length, steps);
  }
  counts.set(new Uint32Array(kernels.memory.buffer, countsAt, counts.length));
  giveBackKernels(kernels);
  return counts;
}

/** Numbers of each array that go through a kernel at a time. Assumed: few enough to stay in a processor's cache. */
const BLOCK = 1 << 13;

interface Blocks {
  /** What the kernel changes, and what it looks at beside; all of one length. */
  readonly written: readonly Float32Array[];
  readonly read?: readonly Float32Array[];
  /** What it looks at for every block. */
  readonly table?: Float64Array;
}

/** Runs a kernel block by block; `run` gets the addresses of what is written, of what is read, and of the table. */
function runBlocks(
  kernels: Kernels,
  { written, read = [], table = new Float64Array(0) }: Blocks,
  run: (addresses: readonly number[], count: number) => void,
): void {
  const arrays = [...written, ...read];
  const addresses = reserveBuffers(kernels, [...arrays.map(() => 4 * BLOCK), table.byteLength]);
  const { buffer } = kernels.memory;
  new Float64Array(buffer, addresses.at(-1)!, table.length).set(table);
  const blocks = arrays.map((_, at) => new Float32Array(buffer, addresses[at], BLOCK));
  const { length } = written[0];
  for (let from = 0; from < length; from += BLOCK) {
    const count = Math.min(BLOCK, length - from);
    for (let at = 0; at < arrays.length; at++) blocks[at].set(arrays[at].subarray(from, from + count));
    run(addresses, count);
    for (let at = 0; at < written.length; at++) {
      written[at].set(count === BLOCK ? blocks[at] : blocks[at].subarray(0, count), from);
    }
  }
  giveBackKernels(kernels);
}
