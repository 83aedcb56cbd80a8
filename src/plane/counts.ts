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

/**
 * Dots that fire, at whatever level. Bytes above 0 are counted four at a time: adding 0x7f to a byte's low seven bits
 * carries into its top bit exactly when they are not all 0. On 11.5 million halftone dots 3.4 ms of CPU time, against
 * 13 ms byte by byte without a branch and 51 ms with one, which halftones make unpredictable (Node 20, median of nine).
 */
export function countFiring({ data }: Plane<'bit'>): number {
  const head = Math.min(data.length, (4 - (data.byteOffset % 4)) % 4);
  const wordCount = (data.length - head) >> 2;
  const words = wordCount > 0 ? new Uint32Array(data.buffer, data.byteOffset + head, wordCount) : new Uint32Array(0);
  let count = 0;
  // Each of the four lanes of `lanes` counts up to 255 before it is emptied.
  for (let at = 0; at < words.length; ) {
    const stop = Math.min(words.length, at + 255);
    let lanes = 0;
    for (; at < stop; at++) {
      lanes = (lanes + flagFiring(words[at]! | 0)) | 0;
    }
    count += sumLanes(lanes);
  }
  for (let at = 0; at < head; at++) if (data[at]! > 0) count++;
  for (let at = head + words.length * 4; at < data.length; at++) if (data[at]! > 0) count++;
  return count;
}

/**
 * Runs of neighbouring dots that fire, all rows together: a dot that fires after one that does not, or first in its
 * row. Told four dots at a time, as `countFiring` does, on computers that keep the lowest byte first; elsewhere one by
 * one.
 */
export function countRuns({ data, width, height }: Plane<'bit'>): number {
  let count = 0;
  // First as if all rows were one, then what the ends of rows part.
  const head = Math.min(data.length, (4 - (data.byteOffset % 4)) % 4);
  const wordCount = LOWEST_FIRST ? (data.length - head) >> 2 : 0;
  const words = wordCount > 0 ? new Uint32Array(data.buffer, data.byteOffset + head, wordCount) : new Uint32Array(0);
  for (let at = 0; at < head; at++) if (data[at]! > 0 && (at === 0 || data[at - 1] === 0)) count++;
  let before = head > 0 && data[head - 1]! > 0 ? 1 : 0;
  for (let at = 0; at < words.length; ) {
    const stop = Math.min(words.length, at + 255);
    let lanes = 0;
    for (; at < stop; at++) {
      const firing = flagFiring(words[at]! | 0);
      lanes = (lanes + (firing & ~((firing << 8) | before))) | 0;
      before = firing >>> 24;
    }
    count += sumLanes(lanes);
  }
  for (let at = head + words.length * 4; at < data.length; at++) {
    if (data[at]! > 0 && (at === 0 || data[at - 1] === 0)) count++;
  }
  for (let y = 1; y < height; y++) if (data[y * width]! > 0 && data[y * width - 1]! > 0) count++;
  return count;
}

const LOWEST_FIRST = new Uint8Array(Uint32Array.of(1).buffer)[0] === 1;

/** 1 in each byte of four that is above 0. */
function flagFiring(word: number): number {
  return ((((word & 0x7f7f7f7f) + 0x7f7f7f7f) | word) >>> 7) & 0x01010101;
}

function sumLanes(lanes: number): number {
  return (lanes & 0xff) + ((lanes >>> 8) & 0xff) + ((lanes >>> 16) & 0xff) + (lanes >>> 24);
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
