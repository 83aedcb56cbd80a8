import { createDots, type Dots, type Kernels, loadKernels, ONE, type Plane, reserveBuffers } from '../plane/index.ts';

const HALF = (ONE + 1) / 2;
/** Largest sixteenfold sum at which the dot stays bare: rounding is part of the sum, so the test needs no shift. */
const BARE_LIMIT = 16 * HALF - 1;

export interface FloydSteinbergOptions {
  readonly scan: 'raster' | 'serpentine';
  /** `plain` forces the readable version; `fast` takes the kernels when they can be had. Both give the same bits. */
  readonly arithmetic?: 'fast' | 'plain';
  /** Rows to screen before the first one, see `listStartRows`; even in number. */
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
  const { scan, arithmetic = 'fast', start = [] } = options;
  const dots = createDots(width, height);
  const kernels = arithmetic === 'fast' ? loadKernels() : undefined;
  const diffuseRow = kernels ? startFastRows(kernels, width, scan) : startPlainRows(width, scan);
  const scratch = new Uint8Array(width);
  for (let y = -start.length; y < height; y++) {
    const asked = y < 0 ? start[y + start.length] : coverage.data.subarray(y * width, (y + 1) * width);
    const fires = y < 0 ? scratch : dots.data.subarray(y * width, (y + 1) * width);
    diffuseRow(asked, fires, scan === 'serpentine' && (y & 1) === 1);
  }
  return dots;
}

/** Screens one row after the other, from the first: what is owed to the next one is kept in between. */
type DiffuseRow = (asked: Uint16Array, fires: Uint8Array, isBackward: boolean) => void;

function startPlainRows(width: number, scan: 'raster' | 'serpentine'): DiffuseRow {
  /** Errors of the row above, one bare dot before and after. */
  const errors = new Int32Array(width + 2);
  return (asked, fires, isBackward) => diffuseRow({ asked, fires, errors, isBackward, scan });
}

function startFastRows(kernels: Kernels, width: number, scan: 'raster' | 'serpentine'): DiffuseRow {
  const [askedAt, firesAt, errorsAt] = reserveBuffers(kernels, [2 * width, width, 4 * (width + 2)]);
  const { buffer } = kernels.memory;
  const askedRow = new Uint16Array(buffer, askedAt, width);
  const firesRow = new Uint8Array(buffer, firesAt, width);
  const behindShare = scan === 'raster' ? 1 : 3;
  return (asked, fires, isBackward) => {
    askedRow.set(asked);
    kernels.floydSteinbergRow(askedAt, firesAt, errorsAt, width, isBackward ? -1 : 1, behindShare);
    fires.set(firesRow);
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
    const owed = sum >> 4;
    fires[next] = mask & 1;
    errors[next + 1] = owed - (mask & ONE);
    carried = (owed << 3) - owed - (mask & (7 * ONE));
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
