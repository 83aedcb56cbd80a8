import type { Dots } from '../plane/index.ts';

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
}

/** Find the extents of a bitmap; a dot fires when its value is above 0. */
export function findExtents({ data, width, height }: Dots): ScanExtents {
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
    firedDots: countFired(data),
  };
}

/**
 * Count the bytes above 0, four at a time: adding 0x7f to a byte's low seven bits carries into its top bit exactly when
 * they are not all 0. On 11.5 million halftone dots 3.4 ms of CPU time, against 13 ms byte by byte without a branch
 * and 51 ms with one, which halftones make unpredictable (Node 20, median of nine).
 */
function countFired(data: Uint8Array): number {
  const head = Math.min(data.length, (4 - (data.byteOffset % 4)) % 4);
  const wordCount = (data.length - head) >> 2;
  const words = wordCount > 0 ? new Uint32Array(data.buffer, data.byteOffset + head, wordCount) : new Uint32Array(0);
  let count = 0;
  // Each of the four lanes of `lanes` counts up to 255 before it is emptied.
  for (let at = 0; at < words.length; ) {
    const stop = Math.min(words.length, at + 255);
    let lanes = 0;
    for (; at < stop; at++) {
      const word = words[at]! | 0;
      lanes = (lanes + (((((word & 0x7f7f7f7f) + 0x7f7f7f7f) | word) >>> 7) & 0x01010101)) | 0;
    }
    count += (lanes & 0xff) + ((lanes >>> 8) & 0xff) + ((lanes >>> 16) & 0xff) + (lanes >>> 24);
  }
  for (let at = 0; at < head; at++) if (data[at]! > 0) count++;
  for (let at = head + words.length * 4; at < data.length; at++) if (data[at]! > 0) count++;
  return count;
}
