import { createDots, type Dots, ONE, type Plane } from '../plane/index.ts';

/** A matrix of thresholds that repeats over the plane, row-major. */
export interface ThresholdMask {
  readonly width: number;
  readonly height: number;
  /** Least coverage that fires, 1 … ONE: bare never fires and solid always does. */
  readonly thresholds: Uint16Array;
}

/**
 * Thresholds from ranks: rank r of n fires above a coverage of (r + ½)/n, so every rank is worth the same and the mean
 * of a constant plane is off by half a rank at most.
 */
export function createMask(width: number, height: number, ranks: ArrayLike<number>): ThresholdMask {
  const count = width * height;
  const thresholds = new Uint16Array(count);
  for (let i = 0; i < count; i++) thresholds[i] = Math.floor(((2 * ranks[i] + 1) * ONE) / (2 * count)) + 1;
  return { width, height, thresholds };
}

export interface MaskOptions {
  readonly mask: ThresholdMask;
  /** 2 … 256. */
  readonly levels: number;
}

/**
 * Screen by comparing with a mask. With several levels the mask decides between the two nearest:
 * level = ⌊(coverage · (levels − 1) + ONE − threshold) / ONE⌋.
 */
export function applyMask(coverage: Plane<'coverage'>, { mask, levels }: MaskOptions): Dots {
  const { width, height } = coverage;
  const dots = createDots(width, height, levels);
  for (let y = 0; y < height; y++) {
    const firstOfRow = (y % mask.height) * mask.width;
    const thresholds = mask.thresholds.subarray(firstOfRow, firstOfRow + mask.width);
    const wanted = coverage.data.subarray(y * width, (y + 1) * width);
    const chosen = dots.data.subarray(y * width, (y + 1) * width);
    if (levels === 2) compareRow(wanted, thresholds, chosen);
    else spreadRow(wanted, thresholds, { chosen, top: levels - 1 });
  }
  return dots;
}

/** The sign of a difference instead of a condition: a halftone's bits defeat branch prediction. */
function compareRow(wanted: Uint16Array, thresholds: Uint16Array, chosen: Uint8Array): void {
  const period = thresholds.length;
  const { length } = wanted;
  for (let start = 0; start < length; start += period) {
    const end = Math.min(period, length - start);
    for (let i = 0; i < end; i++) chosen[start + i] = (thresholds[i] - 1 - wanted[start + i]) >>> 31;
  }
}

function spreadRow(
  wanted: Uint16Array,
  thresholds: Uint16Array,
  { chosen, top }: { chosen: Uint8Array; top: number },
): void {
  const period = thresholds.length;
  for (let x = 0, i = 0; x < wanted.length; x++, i = i + 1 === period ? 0 : i + 1) {
    // Half a unit keeps the quotient away from whole numbers, where the inverse's rounding would tell.
    chosen[x] = ((wanted[x] * top + ONE - thresholds[i] + 0.5) * (1 / ONE)) | 0;
  }
}
