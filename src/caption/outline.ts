/** Curves filled on a grid of samples: exact at every row of samples, without grey. */

/** 1 where there is ink, row-major. */
export interface Samples {
  readonly width: number;
  readonly height: number;
  readonly data: Uint8Array;
}

export interface FillOptions {
  readonly width: number;
  readonly height: number;
  /** From the path's own lengths to samples: x·scaleX + left, y·scaleY + top. */
  readonly scaleX: number;
  readonly scaleY: number;
  readonly left: number;
  readonly top: number;
}

/** Chords of a curve may be this far from it, samples. Assumed: nobody sees a quarter of a part of a dot. */
const FLATNESS_SAMPLES = 0.25;
/** Most chords of one curve. A count. Assumed: a circle as large as a plate has no corners at that. */
const MOST_CHORDS = 64;

/**
 * Fill an absolute path of M, L, Q, C and Z by the non-zero rule: a sample is ink when its middle lies inside.
 */
export function fillPath(path: string, options: FillOptions): Samples {
  const { width, height } = options;
  const crossings: number[][] = Array.from({ length: height }, () => []);
  for (const contour of flattenPath(path, options)) addContour(contour, crossings);
  const data = new Uint8Array(width * height);
  crossings.forEach((list, y) => {
    // Place of the crossing, and its direction: two numbers each.
    const order = Array.from({ length: list.length / 2 }, (_, i) => 2 * i).sort((a, b) => list[a]! - list[b]!);
    let winding = 0;
    order.forEach((at, i) => {
      winding += list[at + 1]!;
      if (winding === 0) return;
      const from = Math.max(0, Math.ceil(list[at]! - 0.5));
      const to = Math.min(width, Math.ceil(list[order[i + 1] ?? at]! - 0.5));
      if (to > from) data.fill(1, y * width + from, y * width + to);
    });
  });
  return { width, height, data };
}

function addContour(points: readonly number[], crossings: number[][]): void {
  for (let at = 0; at < points.length; at += 2) {
    const [x0, y0] = [points[at]!, points[at + 1]!];
    const [x1, y1] = at + 2 < points.length ? [points[at + 2]!, points[at + 3]!] : [points[0]!, points[1]!];
    if (y0 === y1) continue;
    const sign = y1 > y0 ? 1 : -1;
    const first = Math.max(0, Math.ceil(Math.min(y0, y1) - 0.5));
    const last = Math.min(crossings.length, Math.ceil(Math.max(y0, y1) - 0.5));
    for (let y = first; y < last; y++) crossings[y]!.push(x0 + ((y + 0.5 - y0) / (y1 - y0)) * (x1 - x0), sign);
  }
}

/** Closed chains of points, samples: x, y, x, y … */
function flattenPath(path: string, { scaleX, scaleY, left, top }: FillOptions): readonly (readonly number[])[] {
  const contours: number[][] = [];
  let points: number[] = [];
  for (const [, letter, text] of path.matchAll(/([MLQCZ])([^MLQCZ]*)/g)) {
    const given = (text!.match(/-?[\d.]+(?:e[+-]?\d+)?/g) ?? []).map(Number);
    const at = given.map((value, i) => (i % 2 === 0 ? value * scaleX + left : value * scaleY + top));
    if (letter === 'M') {
      points = [...at];
      contours.push(points);
    } else if (letter === 'L') points.push(...at);
    else if (letter !== 'Z') addCurve(points, at);
  }
  return contours;
}

/** A Bézier curve of the second or third degree from the last point, as chords. */
function addCurve(points: number[], controls: readonly number[]): void {
  const all = [points.at(-2)!, points.at(-1)!, ...controls];
  const degree = controls.length / 2;
  // Second differences bound how far the curve leaves its chords: d·(d−1)/8 · |Δ²| / n².
  let bend = 0;
  for (let i = 0; i + 5 < all.length; i += 2) {
    bend = Math.max(
      bend,
      Math.hypot(all[i]! - 2 * all[i + 2]! + all[i + 4]!, all[i + 1]! - 2 * all[i + 3]! + all[i + 5]!),
    );
  }
  const wanted = Math.ceil(Math.sqrt((degree * (degree - 1) * bend) / 8 / FLATNESS_SAMPLES));
  const chords = Math.min(MOST_CHORDS, Math.max(1, wanted));
  for (let chord = 1; chord <= chords; chord++) {
    const t = chord / chords;
    const line = [...all];
    for (let left = degree; left > 0; left--) {
      for (let i = 0; i < 2 * left; i++) line[i] = line[i]! + t * (line[i + 2]! - line[i]!);
    }
    points.push(line[0]!, line[1]!);
  }
}
