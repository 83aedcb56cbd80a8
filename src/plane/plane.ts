/**
 * A plane: one number per dot or pixel, row-major, x right, y down, pixel centres at +0.5.
 * What the numbers mean is in the type, so that burning a luminance plane as if it were coverage does not compile.
 *
 * | scale       | stored as      | meaning                                                        |
 * |-------------|----------------|----------------------------------------------------------------|
 * | luminance   | Uint16 0…ONE   | linear light, 0 black … ONE (32767) white                      |
 * | coverage    | Uint16 0…ONE   | share of dots that fire, 0 bare … ONE solid                    |
 * | bit         | Uint8          | 0 bare, 1 the beam fires (0 … levels−1 for modulated power)    |
 * | mask        | Uint8 0…255    | share of the dot that may be marked, 255 all of it             |
 * | lightness   | Float32 0…100  | CIE L*                                                         |
 * | reflectance | Float32 0…1    | relative to a perfect white                                    |
 * | dose        | Float32        | areal energy relative to the nominal setting                   |
 *
 * Light and coverage are 15-bit integers, not floats: half the memory of a 24-megapixel job, sums that are exact and
 * the same on every engine, and taps that fit the 16-bit lanes of the resampling kernel. The step, 3e-5, is a tenth of
 * sRGB's smallest step in the shadows.
 */
export type Scale = 'luminance' | 'coverage' | 'bit' | 'mask' | 'lightness' | 'reflectance' | 'dose';

/** Full scale of luminance and coverage planes. Exact: 2¹⁵ − 1, the most of 15 bits. */
export const ONE = 32767;

interface DataOf {
  luminance: Uint16Array;
  coverage: Uint16Array;
  bit: Uint8Array;
  mask: Uint8Array;
  lightness: Float32Array;
  reflectance: Float32Array;
  dose: Float32Array;
}

export interface Plane<S extends Scale> {
  readonly scale: S;
  readonly width: number;
  readonly height: number;
  readonly data: DataOf[S];
}

/** Dots to burn: values 0 … levels−1, where levels−1 is the full dose. Two levels: 1 means the beam fires. */
export interface Dots extends Plane<'bit'> {
  readonly levels: number;
}

/** Where the dots lie on the work, mm. */
export interface DotGrid {
  /** Distance between dots along a scan line (x), mm. */
  readonly pitchMm: number;
  /** Distance between scan lines (y), mm. */
  readonly lineSpacingMm: number;
}

const ALLOCATE: { [S in Scale]: (length: number) => DataOf[S] } = {
  luminance: (length) => new Uint16Array(length),
  coverage: (length) => new Uint16Array(length),
  bit: (length) => new Uint8Array(length),
  mask: (length) => new Uint8Array(length),
  lightness: (length) => new Float32Array(length),
  reflectance: (length) => new Float32Array(length),
  dose: (length) => new Float32Array(length),
};

/** @throws RangeError when a side is not a whole number of at least 1, or the data has another length. */
export function createPlane<S extends Scale>(scale: S, width: number, height: number, data?: DataOf[S]): Plane<S> {
  if (!Number.isInteger(width) || !Number.isInteger(height) || width < 1 || height < 1) {
    throw new RangeError(`a plane needs whole sides of at least 1, got ${width} × ${height}`);
  }
  const filled = data ?? ALLOCATE[scale](width * height);
  if (filled.length !== width * height) {
    throw new RangeError(`a ${width} × ${height} plane needs ${width * height} values, got ${filled.length}`);
  }
  return { scale, width, height, data: filled };
}

export function createDots(width: number, height: number, levels = 2, data?: Uint8Array): Dots {
  return { ...createPlane('bit', width, height, data), levels };
}
