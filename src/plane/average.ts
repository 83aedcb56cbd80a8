import { tabulate } from '../numeric/index.ts';
import type { Photo } from './decode.ts';
import type { ColourImage } from './encode.ts';
import { giveBackKernels, type Kernels, loadKernels, reserveBuffers } from './kernels.ts';
import { type Dots, ONE, type Plane, type Scale } from './plane.ts';
import type { Crop } from './resample.ts';
import { convertSamples } from './to-srgb.ts';

/** Averages over rectangles: shares 0…1 of a plane's full scale, row-major. */
export interface Means {
  readonly width: number;
  readonly height: number;
  readonly data: Float32Array;
}

export interface MeanOptions {
  /** Width of the result; at most that of the plane. */
  readonly width: number;
  /** Height of the result; at most that of the plane. */
  readonly height: number;
}

/**
 * Area average to any smaller size, exact: a dot that a border cuts counts by its parts. Luminance, coverage, masks and
 * dots come as shares of their full scale, 0…1; lightness, reflectance and dose in their own unit.
 * @throws RangeError when the result is larger than the plane
 */
export function meanOver(plane: Plane<Scale> | Dots, { width, height }: MeanOptions): Means {
  const { data } = plane;
  const full = fullScale(plane);
  const columns = planSpans(plane.width, width);
  const rows = planSpans(plane.height, height);
  const out = new Float32Array(width * height);
  const sums = new Float64Array(plane.width);
  const area = rows.span * columns.span * full;
  for (let y = 0; y < height; y++) {
    sums.fill(0);
    for (let row = rows.first[y]; row <= rows.last[y]; row++) {
      addRow(sums, data, row * plane.width, shareOf(rows, y, row));
    }
    for (let x = 0; x < width; x++) {
      const first = columns.first[x];
      const last = columns.last[x];
      let sum = columns.firstShare[x] * sums[first];
      for (let column = first + 1; column < last; column++) sum += sums[column];
      if (last > first) sum += columns.lastShare[x] * sums[last];
      out[y * width + x] = sum / area;
    }
  }
  return { width, height, data: out };
}

/** A loop of its own, so that the engine compiles it for each kind of plane that comes. */
function addRow(sums: Float64Array, data: Plane<Scale>['data'], from: number, share: number): void {
  for (let column = 0; column < sums.length; column++) sums[column] += share * data[from + column];
}

function fullScale(plane: Plane<Scale> | Dots): number {
  if (plane.scale === 'luminance' || plane.scale === 'coverage') return ONE;
  if (plane.scale === 'mask') return 255;
  if (plane.scale === 'bit') return 'levels' in plane ? plane.levels - 1 : 1;
  return 1;
}

/** For each output the samples it covers, and how much of the first and last one. */
interface Spans {
  readonly span: number;
  readonly first: Int32Array;
  readonly last: Int32Array;
  readonly firstShare: Float64Array;
  readonly lastShare: Float64Array;
}

function planSpans(length: number, count: number): Spans {
  if (!(Number.isInteger(count) && count >= 1 && count <= length)) {
    throw new RangeError(`an average over ${length} samples needs 1 … ${length} results, got ${count}`);
  }
  const first = new Int32Array(count);
  const last = new Int32Array(count);
  const firstShare = new Float64Array(count);
  const lastShare = new Float64Array(count);
  for (let at = 0; at < count; at++) {
    // Whole numbers until the division, so that borders which meet a sample's edge do so exactly.
    first[at] = Math.floor((at * length) / count);
    last[at] = Math.ceil(((at + 1) * length) / count) - 1;
    const begin = at * length - first[at] * count;
    const end = (at + 1) * length - last[at] * count;
    firstShare[at] = first[at] === last[at] ? length / count : 1 - begin / count;
    lastShare[at] = end / count;
  }
  return { span: length / count, first, last, firstShare, lastShare };
}

function shareOf({ first, last, firstShare, lastShare }: Spans, at: number, sample: number): number {
  if (sample === first[at]) return firstShare[at];
  return sample === last[at] ? lastShare[at] : 1;
}

export interface ReadColourOptions {
  /** The part of the photo to show. */
  readonly crop: Crop;
  /** Size of the picture, pixels. */
  readonly width: number;
  readonly height: number;
  /** `scalar` forces the readable version; `simd` takes the kernels when they can be had. Both give the same. */
  readonly arithmetic?: 'simd' | 'scalar';
}

/**
 * Points that are averaged for one pixel of a small picture, in each direction. A count. Assumed: nine points keep a
 * small picture from sparkling; more cost time and do not show.
 */
const POINTS = 3;

/**
 * A small colour picture of a part of a photo, for people to recognise it by: each pixel is the average of 3 × 3
 * points, transparent parts on white. Quick rather than exact.
 */
export function readColour(photo: Photo, { crop, width, height, arithmetic = 'simd' }: ReadColourOptions): ColourImage {
  const columns = planPoints(photo.width, crop.x, crop.width, width);
  const rows = planPoints(photo.height, crop.y, crop.height, height);
  const rgb = new Uint8Array(3 * width * height);
  const { colour, channels, bits, alpha } = photo;
  const isUsual = channels === 3 && bits === 8 && alpha === undefined;
  const kernels = isUsual && arithmetic === 'simd' ? loadKernels() : undefined;
  const readRow = kernels ? startFastPoints(kernels, photo, columns) : startPlainPoints(photo, columns);
  for (let y = 0; y < height; y++) {
    const means = readRow(rows.subarray(y * POINTS, (y + 1) * POINTS));
    for (let i = 0; i < means.length; i++) rgb[y * means.length + i] = Math.round(means[i]);
  }
  giveBackKernels(kernels);
  if (colour) convertSamples(rgb, { colour, channels: 3, full: 255 });
  return { width, height, rgb };
}

/** Means of the points of each pixel of a row, colour by colour, from POINTS rows of the photo. */
type ReadPoints = (rows: Int32Array) => Float32Array | Float64Array;

function startPlainPoints(photo: Photo, columns: Int32Array): ReadPoints {
  const sums = new Float64Array(columns.length);
  return (rows) => {
    sums.fill(0);
    for (const row of rows) addPoints(sums, photo, { row, columns });
    for (let i = 0; i < sums.length; i++) sums[i] /= POINTS ** 2;
    return sums;
  };
}

/** The same by the kernel, for three colours of 8 bits that hide nothing; a ninth of a sum is never near a half. */
function startFastPoints(kernels: Kernels, { width, rgb }: Photo, columns: Int32Array): ReadPoints {
  const lineBytes = 3 * width;
  const sizes = [POINTS * lineBytes, 4 * POINTS, columns.byteLength, 4 * columns.length];
  const [linesAt, rowsAt, columnsAt, meansAt] = reserveBuffers(kernels, sizes);
  const { buffer } = kernels.memory;
  const lines = new Uint8Array(buffer, linesAt, POINTS * lineBytes);
  new Int32Array(buffer, rowsAt, POINTS).set(Int32Array.from({ length: POINTS }, (_, line) => line * lineBytes));
  new Int32Array(buffer, columnsAt, columns.length).set(columns.map((column) => 3 * column));
  const means = new Float32Array(buffer, meansAt, columns.length);
  const pixels = columns.length / POINTS;
  return (rows) => {
    rows.forEach((row, line) => {
      lines.set(rgb.subarray(row * lineBytes, (row + 1) * lineBytes), line * lineBytes);
    });
    kernels.cutRow(linesAt, rowsAt, columnsAt, meansAt, pixels, POINTS, 1 / POINTS ** 2, 0);
    return means;
  };
}

/**
 * Adds the points of one row of a photo, POINTS of them a pixel; a loop of its own, so that the engine compiles it
 * early.
 */
function addPoints(
  sums: Float64Array,
  { width, channels, bits, rgb: samples, alpha }: Photo,
  { row, columns }: { readonly row: number; readonly columns: Int32Array },
): void {
  const shift = bits - 8;
  const [green, blue] = channels === 3 ? [1, 2] : [0, 0];
  for (let at = 0, to = 0, left = POINTS; at < columns.length; at++) {
    const pixel = row * width + columns[at];
    const from = pixel * channels;
    const opaque = alpha === undefined ? 1 : alpha[pixel] / 255;
    sums[to] += 255 + ((samples[from] >> shift) - 255) * opaque;
    sums[to + 1] += 255 + ((samples[from + green] >> shift) - 255) * opaque;
    sums[to + 2] += 255 + ((samples[from + blue] >> shift) - 255) * opaque;
    left--;
    if (left > 0) continue;
    left = POINTS;
    to += 3;
  }
}

function planPoints(length: number, from: number, span: number, count: number): Int32Array {
  return tabulate(new Int32Array(count * POINTS), (at) =>
    Math.max(0, Math.min(length - 1, Math.floor(from + ((at + 0.5) * span) / (count * POINTS)))),
  );
}
