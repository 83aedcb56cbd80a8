import { giveBackKernels, type Kernels, loadKernels, reserveBuffers } from './kernels.ts';
import { ONE, type Plane } from './plane.ts';

export interface CountOptions {
  /** Dots whose mask is below one half do not count. */
  readonly mask?: Plane<'mask'>;
  /** `scalar` forces the readable version; `simd` takes the kernels when they can be had. */
  readonly arithmetic?: 'simd' | 'scalar';
}

/**
 * How often each of the values 0 … ONE occurs: one fast pass, from which means, shares and bins follow exactly.
 * @throws RangeError when the mask has another size
 */
export function countValues(plane: Plane<'luminance' | 'coverage'>, options: CountOptions = {}): Uint32Array {
  const { mask, arithmetic = 'simd' } = options;
  const { data } = plane;
  const kernels = mask === undefined && arithmetic === 'simd' ? loadKernels() : undefined;
  if (kernels) return countFast(kernels, data);
  const counts = new Uint32Array(ONE + 1);
  if (mask) {
    if (mask.data.length !== data.length) throw new RangeError('a mask needs the size of what it masks');
    for (let i = 0; i < data.length; i++) if (mask.data[i] >= 128) counts[data[i]]++;
    return counts;
  }
  for (let i = 0; i < data.length; i++) counts[data[i]]++;
  return counts;
}

/** Samples that go to the kernel at a time, an even number. Assumed: few enough to stay in a processor's cache. */
const BLOCK = 1 << 15;

function countFast(kernels: Kernels, data: Uint16Array): Uint32Array {
  const size = ONE + 1;
  const [samplesAt, countsAt] = reserveBuffers(kernels, [2 * BLOCK, 8 * size]);
  const { buffer } = kernels.memory;
  const samples = new Uint16Array(buffer, samplesAt, BLOCK);
  for (let at = 0; at < data.length; at += BLOCK) {
    const part = data.subarray(at, at + BLOCK);
    samples.set(part);
    kernels.countSamples(samplesAt, countsAt, part.length & ~1);
  }
  const counts = new Uint32Array(buffer, countsAt, size).slice();
  const others = new Uint32Array(buffer, countsAt + 4 * size, size);
  for (let value = 0; value < size; value++) counts[value] += others[value];
  if (data.length % 2 === 1) counts[data[data.length - 1]]++;
  giveBackKernels(kernels);
  return counts;
}

/** What fires in each row of dots, at whatever level; arrays of one entry a row. */
export interface RowFacts {
  /** First and last dot that fires, −1 where none does. */
  readonly first: Int32Array;
  readonly last: Int32Array;
  /** Dots that fire. */
  readonly firing: Int32Array;
  /** Runs of neighbouring dots that fire. */
  readonly runs: Int32Array;
}

/** One pass over the dots. `scalar` forces the readable version; both give the same. */
export function scanRows({ data, width, height }: Plane<'bit'>, { arithmetic = 'simd' }: ScanOptions = {}): RowFacts {
  const kernels = arithmetic === 'simd' ? loadKernels() : undefined;
  const scanRow = kernels ? startFastScan(kernels, width) : scanPlainRow;
  const [first, last, firing, runs] = [0, 1, 2, 3].map(() => new Int32Array(height)) as Quadruple;
  for (let y = 0; y < height; y++) {
    const found = scanRow(data.subarray(y * width, (y + 1) * width));
    first[y] = found[0]!;
    last[y] = found[1]!;
    firing[y] = found[2]!;
    runs[y] = found[3]!;
  }
  giveBackKernels(kernels);
  return { first, last, firing, runs };
}

type ScanOptions = Pick<CountOptions, 'arithmetic'>;
type Quadruple = [Int32Array, Int32Array, Int32Array, Int32Array];

/** First, last, firing, runs. */
function scanPlainRow(row: Uint8Array): Int32Array {
  const found = Int32Array.of(-1, -1, 0, 0);
  for (let x = 0; x < row.length; x++) {
    if (row[x] === 0) continue;
    if (found[0] === -1) found[0] = x;
    if (x === 0 || row[x - 1] === 0) found[3]!++;
    found[1] = x;
    found[2]!++;
  }
  return found;
}

/** The same by the kernel, which takes 16 dots a step; what it found stays in its memory until the next row. */
function startFastScan(kernels: Kernels, width: number): (row: Uint8Array) => Int32Array {
  const [rowAt, foundAt] = reserveBuffers(kernels, [width + 16, 16]);
  const dots = new Uint8Array(kernels.memory.buffer, rowAt, width);
  const found = new Int32Array(kernels.memory.buffer, foundAt, 4);
  return (row) => {
    dots.set(row);
    kernels.scanDots(rowAt, foundAt, width);
    return found;
  };
}

/** Dots that fire, at whatever level. */
export function countFiring(dots: Plane<'bit'>): number {
  return scanRows(dots).firing.reduce((sum, firing) => sum + firing, 0);
}

/** Whether every value of a mask, or of a row of one, is 255; told four at a time. */
export function isWhole(share: Uint8Array): boolean {
  const { buffer, byteOffset, length } = share;
  const head = Math.min(length, (4 - (byteOffset & 3)) & 3);
  const tail = head + ((length - head) & ~3);
  for (let at = 0; at < head; at++) if (share[at] !== 255) return false;
  for (let at = tail; at < length; at++) if (share[at] !== 255) return false;
  if (head === tail) return true;
  const words = new Int32Array(buffer, byteOffset + head, (tail - head) >> 2);
  for (let at = 0; at < words.length; at++) if (words[at] !== -1) return false;
  return true;
}
