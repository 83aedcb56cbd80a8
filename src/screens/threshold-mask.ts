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
  // Each row of the mask is laid out over the plane's width once, so that the loops over dots count nothing but dots.
  const laidOut: Uint16Array[] = [];
  for (let y = 0; y < height; y++) {
    const row = y % mask.height;
    laidOut[row] ??= repeatRow(mask.thresholds.subarray(row * mask.width, (row + 1) * mask.width), width);
    const wanted = coverage.data.subarray(y * width, (y + 1) * width);
    const chosen = dots.data.subarray(y * width, (y + 1) * width);
    if (levels === 2) compareRow(wanted, laidOut[row], chosen);
    else spreadRow(wanted, laidOut[row], { chosen, top: levels - 1 });
  }
  return dots;
}

function repeatRow(period: Uint16Array, width: number): Uint16Array {
  const row = new Uint16Array(width);
  for (let x = 0; x < width; x += period.length) row.set(period.subarray(0, width - x), x);
  return row;
}

/**
 * The sign of a difference instead of a condition, since a halftone's bits defeat branch prediction; four dots a step,
 * a third faster than one (see benchmarks/screens.ts).
 */
function compareRow(wanted: Uint16Array, thresholds: Uint16Array, chosen: Uint8Array): void {
  const { length } = wanted;
  let x = 0;
  for (; x < length - 3; x += 4) {
    chosen[x] = (thresholds[x] - 1 - wanted[x]) >>> 31;
    chosen[x + 1] = (thresholds[x + 1] - 1 - wanted[x + 1]) >>> 31;
    chosen[x + 2] = (thresholds[x + 2] - 1 - wanted[x + 2]) >>> 31;
    chosen[x + 3] = (thresholds[x + 3] - 1 - wanted[x + 3]) >>> 31;
  }
  for (; x < length; x++) chosen[x] = (thresholds[x] - 1 - wanted[x]) >>> 31;
}

function spreadRow(
  wanted: Uint16Array,
  thresholds: Uint16Array,
  { chosen, top }: { chosen: Uint8Array; top: number },
): void {
  // Half a unit keeps the quotient away from whole numbers, where the inverse's rounding would tell.
  for (let x = 0; x < wanted.length; x++) {
    chosen[x] = ((wanted[x] * top + ONE - thresholds[x] + 0.5) * (1 / ONE)) | 0;
  }
}
