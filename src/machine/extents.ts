import { countFiring, countRuns, type Dots } from '../plane/index.ts';

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
  const { data, width, height } = dots;
  const rows = new Int32Array(height);
  const first = new Int32Array(height);
  const last = new Int32Array(height);
  let lines = 0;
  for (let y = 0; y < height; y++) {
    const start = y * width;
    const end = start + width;
    let from = start;
    while (from < end && data[from] === 0) from++;
    if (from === end) continue;
    let to = end - 1;
    while (data[to] === 0) to--;
    rows[lines] = y;
    first[lines] = from - start;
    last[lines] = to - start;
    lines++;
  }
  return {
    width,
    height,
    rows: rows.slice(0, lines),
    first: first.slice(0, lines),
    last: last.slice(0, lines),
    firedDots: countFiring(dots),
    runs: countRuns(dots),
  };
}
