import { tabulate } from '../numeric/index.ts';
import type { Photo } from './decode.ts';
import { startFastPasses } from './fast-passes.ts';
import { giveBackKernels, loadKernels } from './kernels.ts';
import { alphaOf, CENTRE, type LightSource, lightOf, readLightRow } from './luminance.ts';
import type { ChannelWeights } from './photo-colour.ts';
import { createPlane, ONE, type Plane } from './plane.ts';
import { type Passes, type PassesPlan, planTaps } from './taps.ts';

/** A rectangle in source pixels, corner and sides; fractions are allowed. */
export interface Crop {
  readonly x: number;
  readonly y: number;
  readonly width: number;
  readonly height: number;
}

export interface ResampleOptions {
  /** The part of the photo to take; it must lie within the photo. */
  readonly crop: Crop;
  /** Width of the result, dots. */
  readonly width: number;
  /** Height of the result, dots. */
  readonly height: number;
  /** Monochrome conversion; Rec. 709 luminance unless told otherwise. */
  readonly weights?: ChannelWeights;
  /** `scalar` forces the readable version; `simd` takes the kernels when they can be had. Both give the same bits. */
  readonly arithmetic?: 'simd' | 'scalar';
}

/**
 * The photo's luminance at dot resolution: sRGB to linear light (IEC 61966-2-1), weighted to luminance (ITU-R BT.709),
 * then resized in linear light with an antialiased Lanczos-3 filter, each axis at its own scale; along an axis that
 * grows each value stays between its two neighbours of the photo, so that hard edges get no rings. Whole numbers all
 * the way, so the bits are the same on every machine; a constant photo keeps its value exactly. Where the photo is
 * partly transparent the luminance is that of the opaque part, so edges do not fringe; where nothing is left it is ONE.
 * Pair it with {@link resampleAlpha}.
 * @throws RangeError for a crop outside the photo or weights that do not sum to 1
 */
export function resampleLuminance(photo: Photo, options: ResampleOptions): Plane<'luminance'> {
  const { width, height } = options;
  const out = createPlane('luminance', width, height);
  if (photo.alpha === undefined) {
    resampleLight(lightOf(photo, options.weights), { ...options, overshoot: 'cut' }, out.data);
    return out;
  }
  // The quotient of two filtered planes: both keep their overshoot, or edges would ring.
  const light = new Int16Array(width * height);
  const share = new Int16Array(width * height);
  resampleLight(lightOf(photo, options.weights), { ...options, overshoot: 'kept' }, light);
  resampleLight(alphaOf(photo, photo.alpha), { ...options, overshoot: 'kept' }, share);
  for (let at = 0; at < light.length; at++) {
    const opaque = share[at] + CENTRE;
    const level = Math.round(((light[at] + CENTRE) * ONE) / opaque);
    out.data[at] = toMask(opaque) <= 0 ? ONE : Math.max(0, Math.min(ONE, level));
  }
  return out;
}

/** The photo's alpha at dot resolution, 255 opaque; undefined when the photo has none. */
export function resampleAlpha(photo: Photo, options: ResampleOptions): Plane<'mask'> | undefined {
  if (photo.alpha === undefined) return undefined;
  const { width, height } = options;
  const share = new Uint16Array(width * height);
  resampleLight(alphaOf(photo, photo.alpha), { ...options, overshoot: 'cut' }, share);
  return createPlane(
    'mask',
    width,
    height,
    tabulate(new Uint8Array(share.length), (at) => toMask(share[at]!)),
  );
}

const toMask = (share: number) => Math.round((share * 255) / ONE);

interface LightOptions extends ResampleOptions {
  readonly overshoot: PassesPlan['overshoot'];
}

function resampleLight(source: LightSource, options: LightOptions, out: Uint16Array | Int16Array): void {
  const { crop, width, height, overshoot, arithmetic = 'simd' } = options;
  checkCrop(crop, source);
  const rows = planTaps({ length: source.height, from: crop.y, span: crop.height, count: height });
  const wide = planTaps({ length: source.width, from: crop.x, span: crop.width, count: width });
  const firstColumn = wide.starts.reduce((least, start) => Math.min(least, start), source.width);
  const endColumn = wide.starts.reduce((most, start, at) => Math.max(most, start + wide.lengths[at]), 0);
  const fromFirst = (columns: Int32Array) => columns.map((column) => column - firstColumn);
  const sides = wide.bounds && { lefts: fromFirst(wide.bounds.lefts), rights: fromFirst(wide.bounds.rights) };
  const plan: PassesPlan = {
    source,
    columns: { ...wide, starts: fromFirst(wide.starts), bounds: sides },
    firstColumn,
    columnCount: endColumn - firstColumn,
    keep: rows.stride,
    overshoot,
  };
  const kernels = arithmetic === 'simd' ? loadKernels() : undefined;
  const passes = kernels ? startFastPasses(kernels, plan) : startPlainPasses(plan);
  let next = rows.starts.reduce((least, start) => Math.min(least, start), source.height);
  for (let y = 0; y < height; y++) {
    const first = rows.starts[y];
    const length = rows.lengths[y];
    for (; next < first + length; next++) passes.readRow(next);
    const taps = rows.taps.subarray(y * rows.stride, y * rows.stride + length);
    const bounds = rows.bounds && ([rows.bounds.lefts[y], rows.bounds.rights[y]] as const);
    out.set(passes.filterRow({ first, taps, bounds }), y * width);
  }
  giveBackKernels(kernels);
}

function checkCrop({ x, y, width, height }: Crop, source: LightSource): void {
  const slack = 1e-6;
  const inside = x >= -slack && y >= -slack && x + width <= source.width + slack && y + height <= source.height + slack;
  if (!(width > 0 && height > 0 && inside)) {
    throw new RangeError(
      `crop ${x}, ${y}, ${width} × ${height} does not lie within ${source.width} × ${source.height} pixels`,
    );
  }
}

/** The readable version: a ring of converted rows, a sum down each column, a sum along the row. */
function startPlainPasses({ source, columns, firstColumn, columnCount, keep, overshoot }: PassesPlan): Passes {
  const ring = Array.from({ length: keep }, () => new Int16Array(columnCount));
  const sums = new Int32Array(columnCount);
  const between = new Int16Array(columnCount);
  const [lowest, highest, centre] = overshoot === 'cut' ? [0, ONE, CENTRE] : [-32768, 32767, 0];
  const out = new (overshoot === 'cut' ? Uint16Array : Int16Array)(columns.starts.length);
  return {
    readRow(y) {
      readLightRow(source, y, firstColumn, ring[y % keep]);
    },
    filterRow({ first, taps, bounds }) {
      sums.fill(8192);
      for (let k = 0; k < taps.length; k++) {
        const row = ring[(first + k) % keep];
        const tap = taps[k];
        for (let x = 0; x < columnCount; x++) sums[x] += tap * row[x];
      }
      for (let x = 0; x < columnCount; x++) between[x] = Math.max(-32768, Math.min(32767, sums[x] >> 14));
      if (bounds) boundBetween(between, ring[bounds[0] % keep], ring[bounds[1] % keep]);
      for (let x = 0; x < out.length; x++) {
        const from = columns.starts[x];
        const tapsFrom = x * columns.stride;
        let sum = 8192;
        for (let k = 0; k < columns.lengths[x]; k++) sum += columns.taps[tapsFrom + k] * between[from + k];
        out[x] = Math.max(lowest, Math.min(highest, (sum >> 14) + centre));
        if (!columns.bounds) continue;
        const left = between[columns.bounds.lefts[x]] + centre;
        const right = between[columns.bounds.rights[x]] + centre;
        const bounded = Math.max(Math.min(left, right), Math.min(out[x], Math.max(left, right)));
        out[x] = Math.max(lowest, Math.min(highest, bounded));
      }
      return out;
    },
  };
}

/** Keeps each value between the two of the other rows in its column. */
function boundBetween(row: Int16Array, above: Int16Array, below: Int16Array): void {
  for (let x = 0; x < row.length; x++) {
    const [low, high] = above[x] < below[x] ? [above[x], below[x]] : [below[x], above[x]];
    row[x] = Math.max(low, Math.min(high, row[x]));
  }
}
