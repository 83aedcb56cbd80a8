import type { SourceKey } from '../sources.ts';
import { CIE_LIGHTNESS, lightnessOfReflectance, reflectanceOfLightness } from './lightness.ts';
import { REC709 } from './srgb.ts';

/** CIE L*, a*, b* under D65. */
export type Lab = readonly [lightness: number, a: number, b: number];

/** Linear sRGB, white at 1; 0 … 1 inside the gamut. */
export type LinearRgb = readonly [red: number, green: number, blue: number];

/** CIE XYZ, each over the white's: X/Xn, Y/Yn, Z/Zn. */
export type RelativeXyz = readonly [x: number, y: number, z: number];

/**
 * Linear sRGB to CIE XYZ: the rows X and Z in the standard's four digits, and the white that they add up to, so that a
 * neutral has a* = b* = 0 exactly. Published: weights.
 */
export const SRGB_TO_XYZ = {
  x: [0.4124, 0.3576, 0.1805],
  z: [0.0193, 0.1192, 0.9505],
  whiteX: 0.9505,
  whiteZ: 1.089,
  source: 'iec61966' satisfies SourceKey,
  locator: 'clause 5.2; Y is REC709',
} as const;

/** White point D65, X and Z for Y = 1, from x = 0.3127, y = 0.3290. source: 'iec61966'. Published: without unit. */
const D65_X = 0.3127 / 0.329;
const D65_Z = (1 - 0.3127 - 0.329) / 0.329;

/** CIE L*a*b*: equations 8.3 to 8.11 (source: 'cie15'). What lies below 0 goes on along the straight part. */
export function labOfXyz([x, y, z]: RelativeXyz): Lab {
  const f = (t: number) => (t > CIE_LIGHTNESS.epsilon ? Math.cbrt(t) : (CIE_LIGHTNESS.kappa * t + 16) / 116);
  return [lightnessOfReflectance(y), 500 * (f(x) - f(y)), 200 * (f(y) - f(z))];
}

/** The inverse of `labOfXyz` (source: 'cie15', annex D). */
export function xyzOfLab([lightness, a, b]: Lab): RelativeXyz {
  const fy = (lightness + 16) / 116;
  // L* of a relative value v is 116·f(v) − 16, so f's inverse is the inverse of L*.
  const unfold = (f: number) => reflectanceOfLightness(116 * f - 16);
  return [unfold(fy + a / 500), reflectanceOfLightness(lightness), unfold(fy - b / 200)];
}

/** CIE L*a*b* under D65 of linear sRGB. */
export function labOfLinearRgb([r, g, b]: LinearRgb): Lab {
  const { x, z, whiteX, whiteZ } = SRGB_TO_XYZ;
  const [wr, wg, wb] = REC709.weights;
  return labOfXyz([
    (x[0] * r + x[1] * g + x[2] * b) / whiteX,
    wr * r + wg * g + wb * b,
    (z[0] * r + z[1] * g + z[2] * b) / whiteZ,
  ]);
}

/**
 * Linear sRGB of a surface colour under D65; outside the gamut a channel falls below 0 or rises above 1. The matrix is
 * the inverse of the primaries' (source: 'iec61966'; digits recomputed from the chromaticities, as the standard gives
 * four).
 */
export function linearRgbOfLab(lab: Lab): LinearRgb {
  const [relativeX, y, relativeZ] = xyzOfLab(lab);
  const x = D65_X * relativeX;
  const z = D65_Z * relativeZ;
  return [
    3.2409699419 * x - 1.5373831776 * y - 0.4986107603 * z,
    -0.9692436363 * x + 1.8759675015 * y + 0.0415550574 * z,
    0.0556300797 * x - 0.2039769589 * y + 1.0569715142 * z,
  ];
}

/** CIE 1976 colour difference ΔE*ab (source: 'cie15', clause 8.2.1.3). */
export function differenceOf(a: Lab, b: Lab): number {
  return Math.hypot(a[0] - b[0], a[1] - b[1], a[2] - b[2]);
}
