import { type Dots, scanRows } from '../plane/index.ts';

/**
 * All that the clock needs to know of a bitmap: for every scan line that fires, its row and its first and last dot.
 * Kept apart from the motion, so that many motions can be tried on one bitmap.
 */
export interface ScanExtents {
  /** Dots a line, and lines, of the whole bitmap. */
  readonly width: number;
  readonly height: number;
  /** Rows that fire, from top to bottom; the next two arrays run along with it. */
  readonly rows: Int32Array;
  readonly first: Int32Array;
  readonly last: Int32Array;
  /** Dots that fire, at whatever level. */
  readonly firedDots: number;
  /** Runs of neighbouring dots that fire, all lines together. */
  readonly runs: number;
}

/** Find the extents of a bitmap; a dot fires when its value is above 0. */
export function findExtents(dots: Dots): ScanExtents {
  const { width, height } = dots;
  const { first, last, firing, runs } = scanRows(dots);
  const rows = Int32Array.from(firing.keys()).filter((row) => firing[row]! > 0);
  return {
    width,
    height,
    rows,
    first: rows.map((row) => first[row]!),
    last: rows.map((row) => last[row]!),
    firedDots: sumOf(firing),
    runs: sumOf(runs),
  };
}

const sumOf = (values: Int32Array): number => values.reduce((sum, value) => sum + value, 0);
