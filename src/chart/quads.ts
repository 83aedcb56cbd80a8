import { signedArea } from './geometry.ts';
import { blurBox, type GreyPlane } from './grey.ts';
import type { Point } from './types.ts';

/** A dark or light spot whose outline is close to four straight sides. Corners run clockwise (y down). */
export interface Quad {
  readonly corners: readonly [Point, Point, Point, Point];
  /** 1: darker than what is around it, −1: lighter. */
  readonly polarity: 1 | -1;
}

export interface QuadOptions {
  /** Radius of the blur before thresholds, pixels. */
  readonly preRadius: number;
  /** Radius of the blur that stands for the light, pixels. */
  readonly lightRadius: number;
}

/**
 * Sides of tiles in which the local contrast is taken, pixels. Assumed: smaller than a cell of any tag that can be
 * read.
 */
const TILE = 4;
/**
 * Least local contrast as a share of the local light, and in units of the noise. Shares and a factor. Assumed: below it
 * grain of the stock makes spots without end.
 */
const CONTRAST_MIN = 0.02;
const CONTRAST_NOISE = 4;
/**
 * Least side of a tag's box, pixels, and largest as a share of the picture. Assumed: eight cells of 2.5 pixels; a tag
 * never fills a third of the picture.
 */
const BOX_MIN = 20;
const BOX_MAX_SHARE = 1 / 3;
/**
 * Shares and pixels² of a spot and its quadrilateral. Assumed: a tag's ink fills more whatever its code; scratches fill
 * less.
 */
const FILL_MIN = 0.15;
const QUAD_MIN_AREA = 300;
const QUAD_MIN_SHARE = 0.8;

/** Arrays that the passes over one picture share. */
export interface QuadScratch {
  readonly ratio: Float32Array;
  readonly rows: Float32Array;
  readonly labels: Uint8Array;
}

export function createQuadScratch({ width, height }: GreyPlane): QuadScratch {
  const size = width * height;
  return { ratio: new Float32Array(size), rows: new Float32Array(size), labels: new Uint8Array(size) };
}

/**
 * Quads in a grey plane: threshold of each tile halfway between the darkest and the lightest of its neighbourhood, on
 * the plane divided by its own light; connected spots of both labels; the quad in each spot's convex hull
 * (source: 'olson2011' and 'wangOlson2016', with own constants). Inverted marks cost nothing: they are the other label.
 */
export function findQuads(grey: GreyPlane, options: QuadOptions, scratch: QuadScratch): readonly Quad[] {
  const { width, height } = grey;
  divideLight(grey, options, scratch);
  labelTiles(scratch, width, height);
  const spots = connectRuns(scratch.labels, width, height);
  const quads: Quad[] = [];
  for (const spot of spots) {
    const corners = fitQuad(spot);
    if (corners) quads.push({ corners, polarity: spot.label === 1 ? 1 : -1 });
  }
  return quads;
}

function divideLight(grey: GreyPlane, { preRadius, lightRadius }: QuadOptions, scratch: QuadScratch): void {
  const { width, height, data } = grey;
  const { ratio, rows } = scratch;
  if (preRadius > 0) blurBox(grey, preRadius, { scratch: rows, out: ratio });
  else ratio.set(data);
  // The light is smooth: it is blurred on means of tiles, sixteen times fewer.
  const tilesX = Math.ceil(width / TILE);
  const tilesY = Math.ceil(height / TILE);
  const sums = new Float32Array(tilesX * tilesY);
  const counts = new Float32Array(tilesX * tilesY);
  for (let y = 0; y < height; y++) {
    const tileRow = (y >> 2) * tilesX;
    for (let x = 0; x < width; x++) sums[tileRow + (x >> 2)] += data[y * width + x];
  }
  for (let ty = 0; ty < tilesY; ty++) {
    const high = Math.min(TILE, height - ty * TILE);
    for (let tx = 0; tx < tilesX; tx++) counts[ty * tilesX + tx] = high * Math.min(TILE, width - tx * TILE);
  }
  for (let i = 0; i < sums.length; i++) sums[i] /= counts[i];
  const radius = Math.max(1, Math.round(lightRadius / TILE));
  const light = { width: tilesX, height: tilesY, data: sums };
  const scratchTiles = { scratch: new Float32Array(sums.length), out: new Float32Array(sums.length) };
  blurBox(light, radius, scratchTiles);
  blurBox({ ...light, data: scratchTiles.out }, radius, { scratch: scratchTiles.scratch, out: sums });
  for (let i = 0; i < sums.length; i++) sums[i] = 1 / Math.max(1, sums[i]);
  for (let y = 0; y < height; y++) {
    const tileRow = (y >> 2) * tilesX;
    for (let x = 0; x < width; x++) ratio[y * width + x] *= sums[tileRow + (x >> 2)];
  }
}

/** Labels 1 below and 2 above the local threshold, 0 where there is no contrast to speak of. */
function labelTiles({ ratio, labels }: QuadScratch, width: number, height: number): void {
  const tilesX = Math.floor(width / TILE);
  const tilesY = Math.floor(height / TILE);
  const low = new Float32Array(tilesX * tilesY);
  const high = new Float32Array(tilesX * tilesY);
  for (let ty = 0; ty < tilesY; ty++) {
    for (let tx = 0; tx < tilesX; tx++) {
      let least = Number.POSITIVE_INFINITY;
      let most = Number.NEGATIVE_INFINITY;
      for (let y = 0; y < TILE; y++) {
        const from = (ty * TILE + y) * width + tx * TILE;
        for (let x = 0; x < TILE; x++) {
          const value = ratio[from + x];
          if (value < least) least = value;
          if (value > most) most = value;
        }
      }
      low[ty * tilesX + tx] = least;
      high[ty * tilesX + tx] = most;
    }
  }
  const noise: number[] = [];
  for (let i = 1; i < ratio.length; i += 97) noise.push(Math.abs(ratio[i] - ratio[i - 1]));
  noise.sort((a, b) => a - b);
  const needed = Math.max(CONTRAST_MIN, CONTRAST_NOISE * (noise[noise.length >> 1] ?? 0));
  labels.fill(0);
  for (let ty = 0; ty < tilesY; ty++) {
    for (let tx = 0; tx < tilesX; tx++) {
      let least = Number.POSITIVE_INFINITY;
      let most = Number.NEGATIVE_INFINITY;
      for (let ny = Math.max(0, ty - 1); ny <= Math.min(tilesY - 1, ty + 1); ny++) {
        for (let nx = Math.max(0, tx - 1); nx <= Math.min(tilesX - 1, tx + 1); nx++) {
          const tile = ny * tilesX + nx;
          if (low[tile] < least) least = low[tile];
          if (high[tile] > most) most = high[tile];
        }
      }
      if (most - least < needed) continue;
      const threshold = (most + least) / 2;
      for (let y = 0; y < TILE; y++) {
        const from = (ty * TILE + y) * width + tx * TILE;
        for (let x = 0; x < TILE; x++) labels[from + x] = ratio[from + x] < threshold ? 1 : 2;
      }
    }
  }
}

interface Spot {
  readonly label: number;
  readonly top: number;
  /** Leftmost and rightmost pixel by row. */
  readonly left: Int32Array;
  readonly right: Int32Array;
}

/**
 * Connected spots of the size of a tag. Whole runs of a row are joined, not pixels: a tenth of the work, and the
 * pictures of a chart have long runs.
 */
function connectRuns(labels: Uint8Array, width: number, height: number): readonly Spot[] {
  let capacity = 1 << 16;
  let starts = new Int32Array(capacity);
  let ends = new Int32Array(capacity);
  let parents = new Int32Array(capacity);
  const rowStarts = new Int32Array(height + 1);
  let count = 0;
  const find = (run: number) => {
    let at = run;
    while (parents[at] !== at) {
      parents[at] = parents[parents[at]];
      at = parents[at];
    }
    return at;
  };
  for (let y = 0; y < height; y++) {
    rowStarts[y] = count;
    const row = y * width;
    let above = y > 0 ? rowStarts[y - 1] : 0;
    const aboveEnd = rowStarts[y];
    for (let x = 0; x < width; ) {
      const label = labels[row + x];
      const start = x;
      while (x < width && labels[row + x] === label) x++;
      if (label === 0) continue;
      if (count === capacity) {
        capacity *= 2;
        starts = grow(starts, capacity);
        ends = grow(ends, capacity);
        parents = grow(parents, capacity);
      }
      starts[count] = start;
      ends[count] = x;
      parents[count] = count;
      if (y > 0) {
        while (above < aboveEnd && ends[above] <= start) above++;
        for (let other = above; other < aboveEnd && starts[other] < x; other++) {
          if (labels[row - width + starts[other]] !== label) continue;
          const a = find(count);
          const b = find(other);
          if (a !== b) parents[Math.max(a, b)] = Math.min(a, b);
        }
      }
      count++;
    }
  }
  rowStarts[height] = count;

  const area = new Int32Array(count);
  const minX = new Int32Array(count).fill(width);
  const maxX = new Int32Array(count);
  const minY = new Int32Array(count).fill(height);
  const maxY = new Int32Array(count);
  for (let y = 0; y < height; y++) {
    for (let run = rowStarts[y]; run < rowStarts[y + 1]; run++) {
      const root = find(run);
      parents[run] = root;
      area[root] += ends[run] - starts[run];
      if (starts[run] < minX[root]) minX[root] = starts[run];
      if (ends[run] > maxX[root]) maxX[root] = ends[run];
      if (y < minY[root]) minY[root] = y;
      if (y > maxY[root]) maxY[root] = y;
    }
  }
  const spots = new Map<number, Spot>();
  const most = Math.max(width, height) * BOX_MAX_SHARE;
  for (let y = 0; y < height; y++) {
    for (let run = rowStarts[y]; run < rowStarts[y + 1]; run++) {
      const root = parents[run];
      if (root === run) {
        const boxWidth = maxX[root] - minX[root];
        const boxHeight = maxY[root] - minY[root] + 1;
        if (boxWidth < BOX_MIN || boxHeight < BOX_MIN || boxWidth > most || boxHeight > most) continue;
        if (area[root] < boxWidth * boxHeight * FILL_MIN) continue;
        spots.set(root, {
          label: labels[y * width + starts[run]],
          top: y,
          left: new Int32Array(boxHeight).fill(width),
          right: new Int32Array(boxHeight).fill(-1),
        });
      }
      const spot = spots.get(root);
      if (!spot) continue;
      const at = y - spot.top;
      if (starts[run] < spot.left[at]) spot.left[at] = starts[run];
      if (ends[run] > spot.right[at]) spot.right[at] = ends[run];
    }
  }
  return [...spots.values()];
}

function grow(array: Int32Array<ArrayBuffer>, capacity: number): Int32Array<ArrayBuffer> {
  const larger = new Int32Array(capacity);
  larger.set(array);
  return larger;
}

function cross(o: Point, a: Point, b: Point): number {
  return (a[0] - o[0]) * (b[1] - o[1]) - (a[1] - o[1]) * (b[0] - o[0]);
}

/** Convex hull by Andrew's monotone chain over the ends of the spot's rows. */
function hullOf(spot: Spot): Point[] {
  const points: Point[] = [];
  for (let row = 0; row < spot.left.length; row++) {
    if (spot.right[row] < 0) continue;
    const y = spot.top + row;
    points.push([spot.left[row], y], [spot.right[row], y], [spot.left[row], y + 1], [spot.right[row], y + 1]);
  }
  points.sort((a, b) => a[0] - b[0] || a[1] - b[1]);
  const hull: Point[] = [];
  const add = (point: Point, floor: number) => {
    while (hull.length > floor && cross(hull.at(-2)!, hull.at(-1)!, point) <= 0) hull.pop();
    hull.push(point);
  };
  for (const point of points) add(point, 1);
  const floor = hull.length;
  for (let i = points.length - 2; i >= 0; i--) add(points[i]!, floor);
  hull.pop();
  return hull;
}

/** The two hull points farthest apart and the farthest on each side of their line. */
function fitQuad(spot: Spot): Quad['corners'] | undefined {
  const hull = hullOf(spot);
  let best = -1;
  let from = 0;
  let to = 0;
  for (let i = 0; i < hull.length; i++) {
    for (let j = i + 1; j < hull.length; j++) {
      const distance = (hull[i]![0] - hull[j]![0]) ** 2 + (hull[i]![1] - hull[j]![1]) ** 2;
      if (distance > best) {
        best = distance;
        from = i;
        to = j;
      }
    }
  }
  const farthest = (start: number, end: number): number => {
    let most = -1;
    let found = -1;
    for (let k = (start + 1) % hull.length; k !== end; k = (k + 1) % hull.length) {
      const distance = Math.abs(cross(hull[start]!, hull[end]!, hull[k]!));
      if (distance > most) {
        most = distance;
        found = k;
      }
    }
    return found;
  };
  const first = farthest(from, to);
  const second = farthest(to, from);
  if (first < 0 || second < 0) return undefined;
  const corners = [hull[from]!, hull[first]!, hull[to]!, hull[second]!] as const;
  const area = Math.abs(signedArea(corners));
  if (area < QUAD_MIN_AREA || area < QUAD_MIN_SHARE * Math.abs(signedArea(hull))) return undefined;
  return signedArea(corners) > 0 ? corners : [corners[3], corners[2], corners[1], corners[0]];
}
