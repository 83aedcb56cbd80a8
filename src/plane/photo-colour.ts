import { decodeSrgb, REC709, SRGB } from '../colour/index.ts';
import {
  applyMatrix3,
  invertMatrix3,
  type Matrix3,
  multiplyMatrix3,
  power,
  tabulate,
  type Vector3,
} from '../numeric/index.ts';
import type { SourceKey } from '../sources.ts';

/**
 * Linear light 0 … 1 of a code 0 … 1: `(a·x + b)^g + e` from `d` on and `c·x + f` below, or straight lines between
 * samples at equal steps.
 */
export type CodeCurve =
  | ({ readonly kind: 'formula'; readonly g: number; readonly a: number; readonly b: number; readonly c: number } & {
      readonly d: number;
      readonly e: number;
      readonly f: number;
    })
  | { readonly kind: 'table'; readonly samples: Float32Array };

/**
 * What the samples of a photo mean where they are not sRGB. Plain data, so that it travels between threads with the
 * photo.
 */
export interface PhotoColour {
  /** One for all channels, or one each for red, green and blue. */
  readonly curves: readonly [CodeCurve] | readonly [CodeCurve, CodeCurve, CodeCurve];
  /** Luminance of full red, green and blue under the space's own white; sum 1. */
  readonly luminance: ChannelWeights;
  /** Linear red, green and blue to those of sRGB, white to white; outside sRGB below 0 or above 1. */
  readonly toSrgb: Matrix3;
}

/** CIE xy of the primaries and of white. */
export interface Chromaticities {
  readonly red: readonly [number, number];
  readonly green: readonly [number, number];
  readonly blue: readonly [number, number];
  readonly white: readonly [number, number];
}

/**
 * Red, green, blue and D65 of ITU-R BT.709, which sRGB shares (source: 'itu709', item 1.3). Published: x and y, without
 * unit.
 */
export const SRGB_CHROMATICITIES: Chromaticities = {
  red: [0.64, 0.33],
  green: [0.3, 0.6],
  blue: [0.15, 0.06],
  white: [0.3127, 0.329],
};

/**
 * sRGB's curve from code to light in the letters of a parametric curve. Published (source: 'iec61966'); without unit.
 */
export const SRGB_CURVE: CodeCurve = {
  kind: 'formula',
  g: SRGB.exponent,
  a: 1 / (1 + SRGB.offset),
  b: SRGB.offset / (1 + SRGB.offset),
  c: 1 / SRGB.slope,
  d: SRGB.codeBreak,
  e: 0,
  f: 0,
};

export const powerCurve = (exponent: number): CodeCurve => ({
  kind: 'formula',
  g: exponent,
  a: 1,
  b: 0,
  c: 0,
  d: 0,
  e: 0,
  f: 0,
});

/** Linear light of a code 0 … 1, kept within 0 … 1. */
export function decodeCode(curve: CodeCurve, code: number): number {
  let light: number;
  if (curve.kind === 'formula') {
    const { g, a, b, c, d, e, f } = curve;
    light = code >= d ? power(Math.max(0, a * code + b), g) + e : c * code + f;
  } else {
    const place = code * (curve.samples.length - 1);
    const left = Math.min(curve.samples.length - 2, Math.floor(place));
    const [low, high] = [curve.samples[left], curve.samples[left + 1]];
    light = low + (high - low) * (place - left);
  }
  return Math.max(0, Math.min(1, light));
}

/** Linear light of each code 0 … `codes` − 1. */
export function tabulateCurve(curve: CodeCurve, codes: number): Float64Array {
  return tabulate(new Float64Array(codes), (code) => decodeCode(curve, code / (codes - 1)));
}

/** Cone responses of Bradford's adaptation, row by row. Published; weights. */
const BRADFORD = {
  matrix: [0.8951, 0.2664, -0.1614, -0.7502, 1.7135, 0.0367, 0.0389, -0.0685, 1.0296] satisfies Matrix3 as Matrix3,
  source: 'icc1' satisfies SourceKey,
  locator: 'annex E.3',
};

/** Takes XYZ seen under one white to what looks alike under another one, by Bradford's adaptation. */
function adaptWhite(from: Vector3, to: Vector3): Matrix3 {
  const [f, t] = [applyMatrix3(BRADFORD.matrix, from), applyMatrix3(BRADFORD.matrix, to)];
  const scale: Matrix3 = [t[0] / f[0], 0, 0, 0, t[1] / f[1], 0, 0, 0, t[2] / f[2]];
  return multiplyMatrix3(invertMatrix3(BRADFORD.matrix)!, multiplyMatrix3(scale, BRADFORD.matrix));
}

/** XYZ of a chromaticity at Y = 1. */
const xyzOf = ([x, y]: readonly [number, number]): Vector3 => [x / y, 1, (1 - x - y) / y];

/** Linear RGB to XYZ: columns are the primaries, white has Y = 1. Undefined for primaries that span nothing. */
export function matrixOfPrimaries({ red, green, blue, white }: Chromaticities): Matrix3 | undefined {
  const [r, g, b] = [red, green, blue].map(xyzOf) as [Vector3, Vector3, Vector3];
  const plain: Matrix3 = [r[0], g[0], b[0], r[1], g[1], b[1], r[2], g[2], b[2]];
  const inverse = invertMatrix3(plain);
  if (!inverse) return undefined;
  const [x, y, z] = applyMatrix3(inverse, xyzOf(white));
  return multiplyMatrix3(plain, [x, 0, 0, 0, y, 0, 0, 0, z]);
}

const SRGB_TO_XYZ = matrixOfPrimaries(SRGB_CHROMATICITIES)!;

/** White of linear RGB: what all three give together. */
export const whiteOf = (m: Matrix3): Vector3 => applyMatrix3(m, [1, 1, 1]);

/**
 * The colour of linear RGB whose XYZ are known under any white. `ownWhite` is the white that the space was made for: an
 * ICC profile adapts everything to D50, and luminance is that of the space itself, so the adaptation is taken back.
 */
export function colourOfMatrix(
  curves: PhotoColour['curves'],
  toXyz: Matrix3,
  ownWhite: Vector3 = whiteOf(toXyz),
): PhotoColour {
  const white = whiteOf(toXyz);
  const own = multiplyMatrix3(adaptWhite(white, ownWhite), toXyz);
  const sum = own[3] + own[4] + own[5];
  const toSrgb = multiplyMatrix3(
    invertMatrix3(SRGB_TO_XYZ)!,
    multiplyMatrix3(adaptWhite(white, whiteOf(SRGB_TO_XYZ)), toXyz),
  );
  return { curves, luminance: [own[3] / sum, own[4] / sum, own[5] / sum], toSrgb };
}

/** The colour of a grey: one curve, white to white. */
export const colourOfGrey = (curve: CodeCurve): PhotoColour => ({
  curves: [curve],
  luminance: REC709.weights,
  toSrgb: [1, 0, 0, 0, 1, 0, 0, 0, 1],
});

/**
 * Furthest that a profile of sRGB may be from sRGB; assumed: one 8-bit code of the curve, which coarse tables of small
 * profiles need, and 0.01 of a primary in linear light, where the nearest other space in use is 0.2 away. Shares of the
 * full range.
 */
const SRGB_CODES = 1 / 255;
const SRGB_LIGHT = 0.01;

/** Whether a colour is sRGB but for rounding: such photos go the way of those without a profile. */
export function isSrgb({ curves, toSrgb }: Pick<PhotoColour, 'curves' | 'toSrgb'>): boolean {
  const sameCurve = curves.every((curve) =>
    Array.from({ length: 64 }, (_, at) => (at + 1) / 64).every((code) => {
      // Judged along the codes, since the shadows are where curves differ most for the eye.
      const light = decodeCode(curve, code);
      return decodeSrgb(code - SRGB_CODES) <= light && light <= decodeSrgb(code + SRGB_CODES);
    }),
  );
  return sameCurve && toSrgb.every((value, at) => Math.abs(value - (at % 4 === 0 ? 1 : 0)) <= SRGB_LIGHT);
}

/** Share of linear red, green and blue in the luminance; each 0…1, sum 1. */
export type ChannelWeights = readonly [red: number, green: number, blue: number];
