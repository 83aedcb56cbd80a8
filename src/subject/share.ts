import { tabulate } from '../numeric/index.ts';
import type { Box } from './place.ts';

/** What share of each pixel of a small picture is of the subject, 0 … 1, row-major. */
export interface Share {
  readonly width: number;
  readonly height: number;
  readonly data: Float32Array;
}

/** From here on a pixel counts as the subject's. A share. Exact: one half. */
const HALF = 0.5;

export interface ShareFacts {
  /** Share of the picture that is the subject's. */
  readonly area: number;
  /** Share of what is the subject's at all that is surely so: low where the model wavers. */
  readonly sure: number;
  /** Of the part of the subject's pixels between the two ends of each axis; undefined for none. */
  readonly box: Box | undefined;
  /** Middle of the subject's pixels, shares. */
  readonly middle: { readonly x: number; readonly y: number };
  /** Share of each edge of the picture that is the subject's. */
  readonly edges: { readonly left: number; readonly right: number; readonly top: number; readonly bottom: number };
}

/**
 * Share of the subject's pixels beyond each side of its box. Assumed: specks and a lone strand of hair make no box
 * larger.
 */
const BEYOND = 0.01;

export function describeShare({ width, height, data }: Share): ShareFacts {
  const columns = new Float64Array(width);
  const rows = new Float64Array(height);
  let sum = 0;
  let weak = 0;
  let x1 = 0;
  let y1 = 0;
  for (let y = 0; y < height; y++) {
    for (let x = 0; x < width; x++) {
      const value = data[y * width + x]!;
      if (value > 0.1 && value < 0.9) weak++;
      if (value < HALF) continue;
      sum++;
      columns[x]!++;
      rows[y]!++;
      x1 += x + 0.5;
      y1 += y + 0.5;
    }
  }
  const edge = (length: number, at: (i: number) => number) => {
    let count = 0;
    for (let i = 0; i < length; i++) if (data[at(i)]! >= HALF) count++;
    return count / length;
  };
  const [left, right] = spanOf(columns, sum * BEYOND);
  const [top, bottom] = spanOf(rows, sum * BEYOND);
  return {
    area: sum / (width * height),
    sure: sum === 0 ? 0 : 1 - Math.min(1, weak / sum),
    box:
      sum === 0
        ? undefined
        : { x: left / width, y: top / height, width: (right - left) / width, height: (bottom - top) / height },
    middle: sum === 0 ? { x: 0.5, y: 0.5 } : { x: x1 / sum / width, y: y1 / sum / height },
    edges: {
      left: edge(height, (y) => y * width),
      right: edge(height, (y) => (y + 1) * width - 1),
      top: edge(width, (x) => x),
      bottom: edge(width, (x) => (height - 1) * width + x),
    },
  };
}

/** From the first to behind the last cell, but for so much at either end. */
function spanOf(counts: Float64Array, beyond: number): readonly [number, number] {
  let from = 0;
  let to = counts.length;
  for (let seen = counts[0]!; seen <= beyond && from < counts.length - 1; seen += counts[++from]!);
  for (let seen = counts[to - 1]!; seen <= beyond && to > from + 1; seen += counts[--to - 1]!);
  return [from, to];
}

/** Share of what either calls the subject's that both do: 1 for the same. */
export function agreeOf(a: Share, b: Share): number {
  const columns = tabulate(new Float64Array(a.width), (x) => (x + 0.5) / a.width);
  const rows = tabulate(new Float64Array(a.height), (y) => (y + 0.5) / a.height);
  const { data } = sampleShare(b, { columns, rows });
  let both = 0;
  let either = 0;
  for (let at = 0; at < data.length; at++) {
    const first = a.data[at]! >= HALF;
    const second = data[at]! >= HALF;
    if (first && second) both++;
    if (first || second) either++;
  }
  return either === 0 ? 0 : both / either;
}

/** The share at all places of a grid, straight between pixel centres; 0 beyond its edges. */
export function sampleShare(
  { width, height, data }: Share,
  { columns, rows }: { readonly columns: Float64Array; readonly rows: Float64Array },
): Share {
  const lefts = new Int32Array(columns.length);
  const shares = new Float64Array(columns.length);
  for (let x = 0; x < columns.length; x++) {
    const px = Math.min(Math.max(0, columns[x]! * width - 0.5), width - 1);
    lefts[x] = columns[x]! < 0 || columns[x]! > 1 ? -1 : Math.floor(px);
    shares[x] = px - Math.floor(px);
  }
  const out = new Float32Array(columns.length * rows.length);
  for (let y = 0; y < rows.length; y++) {
    if (rows[y]! < 0 || rows[y]! > 1) continue;
    const py = Math.min(Math.max(0, rows[y]! * height - 0.5), height - 1);
    const top = Math.floor(py);
    mixLine(top * width, Math.min(top + 1, height - 1) * width, { down: py - top, to: y * columns.length });
  }
  return { width: columns.length, height: rows.length, data: out };

  function mixLine(upper: number, lower: number, { down, to }: { readonly down: number; readonly to: number }): void {
    for (let x = 0; x < lefts.length; x++) {
      const left = lefts[x]!;
      if (left < 0) continue;
      const right = left < width - 1 ? left + 1 : left;
      const share = shares[x]!;
      const above = data[upper + left]! * (1 - share) + data[upper + right]! * share;
      const below = data[lower + left]! * (1 - share) + data[lower + right]! * share;
      out[to + x] = above * (1 - down) + below * down;
    }
  }
}

/** The share at a place of the picture, straight between pixel centres. */
export function readShare(
  { width, height, data }: Share,
  { x, y }: { readonly x: number; readonly y: number },
): number {
  const px = Math.min(Math.max(0, x * width - 0.5), width - 1);
  const py = Math.min(Math.max(0, y * height - 0.5), height - 1);
  const left = Math.floor(px);
  const top = Math.floor(py);
  const right = Math.min(left + 1, width - 1);
  const bottom = Math.min(top + 1, height - 1);
  const fx = px - left;
  const fy = py - top;
  const upper = data[top * width + left]! * (1 - fx) + data[top * width + right]! * fx;
  const lower = data[bottom * width + left]! * (1 - fx) + data[bottom * width + right]! * fx;
  return upper * (1 - fy) + lower * fy;
}
