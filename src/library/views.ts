import ndarray, { type NdArray } from 'ndarray';
import { createDots, createPlane, type Dots, ONE, type Plane, type Scale } from '../plane/index.ts';

/**
 * What the numbers of a view mean, as a mark that only the compiler sees: light that is taken for coverage does not
 * compile. A view that lost its mark (by `lo`, `hi`, `step`, `transpose`, or made elsewhere) is taken as it is meant.
 */
interface Marked<S extends string> {
  readonly '~scale'?: S;
}

/** Linear light, height × width, 0 black … 32767 white. */
export type Luminance = NdArray<Uint16Array> & Marked<'luminance'>;
/** Share of dots that fire, height × width, 0 bare … 32767 solid. */
export type Coverage = NdArray<Uint16Array> & Marked<'coverage'>;
/** Dots, height × width: 0 bare, 1 the beam fires; 0 … levels − 1 for modulated power. */
export type DotPlane = NdArray<Uint8Array> & Marked<'dots'>;
/** Share of each dot that may be marked, height × width, 0 none … 255 all of it. */
export type Mask = NdArray<Uint8Array> & Marked<'mask'>;
/** Relative luminance that a surface shows, height × width, 0 … 1. */
export type Reflectance = NdArray<Float32Array> & Marked<'reflectance'>;
/** CIE L*, height × width, 0 … 100. */
export type Lightness = NdArray<Float32Array> & Marked<'lightness'>;
/** An 8-bit sRGB picture, height × width × 3. */
export type Picture = NdArray<Uint8Array> & Marked<'picture'>;

type SamplesOf<S extends Scale> = Plane<S>['data'];

/** Full scale of light and coverage; what fills its array's range has none. Exact: by definition, in 1/32767. */
const FULL: Readonly<Partial<Record<Scale, number>>> = { luminance: ONE, coverage: ONE };
const KINDS = {
  luminance: Uint16Array,
  coverage: Uint16Array,
  bit: Uint8Array,
  mask: Uint8Array,
  lightness: Float32Array,
  reflectance: Float32Array,
  dose: Float32Array,
} as const;

/**
 * The samples of a view in their sequence, last index fastest: those of its own memory where they lie so, gathered
 * once where it is a crop, a turn or a mirror image.
 */
export function gatherSamples<T extends Uint8Array | Uint16Array | Float32Array>({
  data,
  shape,
  stride,
  offset,
}: NdArray<T>): T {
  const count = shape.reduce((product, side) => product * side, 1);
  let dense = 1;
  const isDense = shape.every((_, i) => {
    const axis = shape.length - 1 - i;
    const fits = shape[axis] === 1 || stride[axis] === dense;
    dense *= shape[axis]!;
    return fits;
  });
  if (isDense) return data.subarray(offset, offset + count) as T;
  const out = new (data.constructor as new (length: number) => T)(count);
  const [rows, columns, depth = 1] = shape as [number, number, number?];
  const [down, right, deep = 0] = stride as [number, number, number?];
  let to = 0;
  for (let y = 0; y < rows; y++) {
    for (let x = 0, from = offset + y * down; x < columns; x++, from += right) {
      for (let c = 0; c < depth; c++) out[to++] = data[from + c * deep]!;
    }
  }
  return out;
}

/**
 * A view as a plane of its scale.
 * @throws TypeError for another kind of array; RangeError for other than two dimensions, or a value beyond full scale
 */
export function planeOf<S extends Scale>(scale: S, view: NdArray<SamplesOf<S>>): Plane<S> {
  requireView(view, { kind: KINDS[scale], dimensions: 2, what: scale });
  const samples = gatherSamples(view);
  refuseAbove(samples, { most: FULL[scale], what: scale });
  return createPlane(scale, view.shape[1]!, view.shape[0]!, samples);
}

/** The same of dots. @throws TypeError, RangeError as `planeOf`, for a value that is no level */
export function dotsOf(view: DotPlane, levels: number): Dots {
  if (!(Number.isInteger(levels) && levels >= 2 && levels <= 256)) {
    throw new RangeError(`levels: found ${levels}, needed a whole number 2 … 256`);
  }
  const { width, height, data } = planeOf('bit', view);
  refuseAbove(data, { most: levels - 1, what: 'dots' });
  return createDots(width, height, levels, data);
}

interface Wanted {
  readonly kind: new (length: number) => Uint8Array | Uint16Array | Float32Array;
  readonly dimensions: number;
  readonly what: string;
}

/** @throws TypeError for another kind of array, RangeError for another number of dimensions or places without memory */
export function requireView(
  { data, shape, stride, offset }: NdArray<Uint8Array | Uint16Array | Float32Array>,
  { kind, dimensions, what }: Wanted,
): void {
  // Another realm's arrays, and Node's buffers of bytes, are told by what they hold.
  if (data?.BYTES_PER_ELEMENT !== new kind(0).BYTES_PER_ELEMENT || !ArrayBuffer.isView(data)) {
    throw new TypeError(`${what}: found no ${kind.name}, needed a view of one`);
  }
  if (shape.length !== dimensions || stride.length !== dimensions || shape.some((side) => side < 1)) {
    throw new RangeError(`${what}: found a view of ${shape.join(' × ')}, needed ${dimensions} sides of at least 1`);
  }
  const reach = (sign: 1 | -1) =>
    shape.reduce((at, side, axis) => at + (Math.sign(stride[axis]!) === sign ? stride[axis]! * (side - 1) : 0), offset);
  if (reach(-1) < 0 || reach(1) >= data.length) {
    throw new RangeError(
      `${what}: found a view that reaches from ${reach(-1)} to ${reach(1)}, needed 0 … ${data.length - 1}`,
    );
  }
}

function refuseAbove(
  samples: ArrayLike<number>,
  { most, what }: { readonly most: number | undefined; readonly what: string },
): void {
  if (most === undefined) return;
  for (let at = 0; at < samples.length; at++) {
    if (samples[at]! > most) throw new RangeError(`${what}: found ${samples[at]} at ${at}, needed 0 … ${most}`);
  }
}

/** A plane as a view of its memory. */
export function viewPlane<S extends Scale>({ width, height, data }: Plane<S>): NdArray<SamplesOf<S>> {
  return ndarray(data, [height, width]);
}

/** Samples of several channels as a view of their memory, height × width × channels. */
export function viewSamples<T extends Uint8Array | Uint16Array>(
  data: T,
  { width, height }: { readonly width: number; readonly height: number },
): NdArray<T> {
  return ndarray(data, [height, width, data.length / (width * height)]);
}
