import type { SourceKey } from '../sources.ts';

/** Linear light in the primaries of sRGB, relative to a perfect white under D65. */
export type LinearRgb = readonly [red: number, green: number, blue: number];
/** CIE L*, a*, b* under D65. */
export type LabColour = readonly [lightness: number, a: number, b: number];

/**
 * D65 white and the matrix from XYZ to linear sRGB, IEC 61966-2-1 annex and clause 5 (four decimals as printed).
 * Published; tristimulus values and weights.
 */
const SRGB: {
  readonly source: SourceKey;
  readonly white: LinearRgb;
  readonly fromXyz: readonly LinearRgb[];
  readonly luminance: LinearRgb;
} = {
  source: 'iec61966',
  white: [0.9505, 1, 1.089],
  fromXyz: [
    [3.2406, -1.5372, -0.4986],
    [-0.9689, 1.8758, 0.0415],
    [0.0557, -0.204, 1.057],
  ],
  luminance: [0.2126, 0.7152, 0.0722],
};

/** CIE 15:2004 eq. 8.3–8.8, inverted: above 6/29 the cube, below it the tangent. */
const inverseF = (t: number) => (t > 6 / 29 ? t * t * t : (3 * 36 * (t - 4 / 29)) / 841);

/** Linear sRGB of a CIE Lab colour; channels outside 0 … 1 are cut, as a surface cannot reflect less than nothing. */
export function labToLinear([lightness, a, b]: LabColour): LinearRgb {
  const fy = (lightness + 16) / 116;
  const xyz = [fy + a / 500, fy, fy - b / 200].map((f, i) => SRGB.white[i]! * inverseF(f));
  const [red, green, blue] = SRGB.fromXyz.map((row) =>
    Math.min(1, Math.max(0, row[0] * xyz[0]! + row[1] * xyz[1]! + row[2] * xyz[2]!)),
  );
  return [red!, green!, blue!];
}

/** Relative luminance Y of linear sRGB, 0 … 1. */
export function luminanceOf([red, green, blue]: LinearRgb): number {
  const [r, g, b] = SRGB.luminance;
  return r * red + g * green + b * blue;
}

/** CIE L* of a relative luminance, CIE 15:2004 eq. 8.3 with the exact constants 24389/27 and 216/24389. */
export function lightnessOf(luminance: number): number {
  return luminance > 216 / 24389 ? 116 * Math.cbrt(luminance) - 16 : (24389 / 27) * luminance;
}

/** Linear light to the sRGB code value 0 … 1, IEC 61966-2-1. */
export function encodeSrgb(linear: number): number {
  return linear <= 0.0031308 ? 12.92 * linear : 1.055 * linear ** (1 / 2.4) - 0.055;
}
