import {
  createDots,
  type Dots,
  giveBackKernels,
  type Kernels,
  loadKernels,
  ONE,
  type Plane,
  reserveBuffers,
} from '../plane/index.ts';

const HALF = (ONE + 1) / 2;
/** Largest sixteenfold sum at which the dot stays bare: rounding is part of the sum, so the test needs no shift. */
const BARE_LIMIT = 16 * HALF - 1;

export interface FloydSteinbergOptions {
  readonly scan: 'raster' | 'serpentine';
  /** `scalar` forces the readable version; `simd` takes the kernels when they can be had. Both give the same bits. */
  readonly arithmetic?: 'simd' | 'scalar';
  /** Rows to screen before the first one, see `listWarmUpRows`; even in number. */
  readonly start?: readonly Uint16Array[];
}

/**
 * Floyd and Steinberg's diffusion to two levels, the same bits as `diffuseFixed` in less than half its time, and by the
 * WebAssembly kernel in half of that.
 *
 * A row is one chain of dependent steps, so the chain is all that counts: everything known from the row above is summed
 * off it, and the comparison works on the sum before the division by 16. The choice is a mask and not a condition
 * because a halftone's bits are what a branch predictor cannot predict. The errors of one row are enough: the value
 * about to be overwritten is kept as `behind`. Two dots a step save the moves between these names, another sixth
 * (see benchmarks/screens.ts).
 */
export function diffuseFloydSteinberg(coverage: Plane<'coverage'>, options: FloydSteinbergOptions): Dots {
  const { width, height } = coverage;
  const { scan, arithmetic = 'simd', start = [] } = options;
  const dots = createDots(width, height);
  const kernels = arithmetic === 'simd' ? loadKernels() : undefined;
  const diffuseRows = kernels ? startFastRows(kernels, width, scan) : startPlainRows(width, scan);
  const scratch = new Uint8Array(width);
  for (let y = 0; y < start.length; y++) diffuseRows(start[y], scratch, y);
  diffuseRows(coverage.data, dots.data, 0);
  giveBackKernels(kernels);
  return dots;
}

/**
 * Screens whole rows, one after the other; the error passed to the next one is kept between calls. `first` counts the
 * first of them: with a serpentine, odd ones run back.
 */
type DiffuseRows = (asked: Uint16Array, fires: Uint8Array, first: number) => void;

function startPlainRows(width: number, scan: 'raster' | 'serpentine'): DiffuseRows {
  /** Errors of the row above, one bare dot before and after. */
  const errors = new Int32Array(width + 2);
  return (asked, fires, first) => {
    for (let at = 0, y = first; at < asked.length; at += width, y++) {
      const isBackward = scan === 'serpentine' && (y & 1) === 1;
      const row = { asked: asked.subarray(at, at + width), fires: fires.subarray(at, at + width) };
      diffuseRow({ ...row, errors, isBackward, scan });
    }
  };
}

/**
 * Rows that go to the kernel at a time: a copy a row costs more than what it copies. A count. Assumed: a block of a
 * card's rows stays in a processor's cache.
 */
const BLOCK_ROWS = 16;

function startFastRows(kernels: Kernels, width: number, scan: 'raster' | 'serpentine'): DiffuseRows {
  const block = BLOCK_ROWS * width;
  const [askedAt, firesAt, errorsAt] = reserveBuffers(kernels, [2 * block, block, 4 * (width + 2)]);
  const { buffer } = kernels.memory;
  const askedRows = new Uint16Array(buffer, askedAt, block);
  const firesRows = new Uint8Array(buffer, firesAt, block);
  const behindShare = scan === 'raster' ? 1 : 3;
  return (asked, fires, first) => {
    for (let at = 0, y = first; at < asked.length; at += block) {
      const count = Math.min(block, asked.length - at);
      askedRows.set(asked.subarray(at, at + count));
      for (let x = 0; x < count; x += width, y++) {
        const step = scan === 'serpentine' && (y & 1) === 1 ? -1 : 1;
        kernels.floydSteinbergRow(askedAt + 2 * x, firesAt + x, errorsAt, width, step, behindShare);
      }
      fires.set(firesRows.subarray(0, count), at);
    }
  };
}

interface Row {
  readonly asked: Uint16Array;
  readonly fires: Uint8Array;
  readonly errors: Int32Array;
  readonly isBackward: boolean;
  readonly scan: 'raster' | 'serpentine';
}

/** One row; a function of its own, because an engine makes a function fast at its calls. */
function diffuseRow({ asked, fires, errors, isBackward, scan }: Row): void {
  // The row above ran the same way (raster) or the other way (serpentine): its shares 3 and 1 change sides.
  const behindShare = scan === 'raster' ? 1 : 3;
  const aheadShare = 4 - behindShare;
  const step = isBackward ? -1 : 1;
  let left = asked.length;
  let x = isBackward ? left - 1 : 0;
  let behind = 0;
  let above = errors[x + 1];
  let carried = 0;
  for (; left > 1; left -= 2) {
    const next = x + step;
    const ahead = errors[next + 1];
    const beyond = errors[next + 1 + step];
    const fromAbove = Math.imul(behind, behindShare) + Math.imul(above, 5) + Math.imul(ahead, aheadShare) + 8;
    const firstSum = (asked[x] << 4) + fromAbove + carried;
    const firstMask = (BARE_LIMIT - firstSum) >> 31;
    const firstOwed = firstSum >> 4;
    fires[x] = firstMask & 1;
    errors[x + 1] = firstOwed - (firstMask & ONE);
    carried = (firstOwed << 3) - firstOwed - (firstMask & (7 * ONE));
    const fromAboveNext = Math.imul(above, behindShare) + Math.imul(ahead, 5) + Math.imul(beyond, aheadShare) + 8;
    const sum = (asked[next] << 4) + fromAboveNext + carried;
    const mask = (BARE_LIMIT - sum) >> 31;
    const input = sum >> 4;
    fires[next] = mask & 1;
    errors[next + 1] = input - (mask & ONE);
    carried = (input << 3) - input - (mask & (7 * ONE));
    behind = ahead;
    above = beyond;
    x = next + step;
  }
  if (left === 1) {
    // The last dot of an odd row: nothing lies ahead of it.
    const sum = (asked[x] << 4) + Math.imul(behind, behindShare) + Math.imul(above, 5) + 8 + carried;
    const mask = (BARE_LIMIT - sum) >> 31;
    fires[x] = mask & 1;
    errors[x + 1] = (sum >> 4) - (mask & ONE);
  }
}
