import { encodeSrgb, REC709, reflectanceOfLightness } from '../plane/index.ts';
import type { Lab, SurfaceColours } from './types.ts';

/** Linear sRGB, 0 … 1 inside the gamut. */
export type LinearRgb = readonly [red: number, green: number, blue: number];

/** White point D65, X and Z for Y = 1. source: 'iec61966', from x = 0.3127, y = 0.3290. Published: without unit. */
const D65_X = 0.3127 / 0.329;
const D65_Z = (1 - 0.3127 - 0.329) / 0.329;

/**
 * Linear sRGB of a surface colour under D65; outside the gamut a channel falls below 0 or rises above 1.
 * The matrix is the inverse of the sRGB primaries' (source: 'iec61966'; digits recomputed from the chromaticities).
 */
export function convertLabToLinearRgb([lightness, a, b]: Lab): LinearRgb {
  const fy = (lightness + 16) / 116;
  // L* of a relative value v is 116·f(v) − 16, so f's inverse is the inverse of L*.
  const unfold = (f: number) => reflectanceOfLightness(116 * f - 16);
  const x = D65_X * unfold(fy + a / 500);
  const y = reflectanceOfLightness(lightness);
  const z = D65_Z * unfold(fy - b / 200);
  return [
    3.2409699419 * x - 1.5373831776 * y - 0.4986107603 * z,
    -0.9692436363 * x + 1.8759675015 * y + 0.0415550574 * z,
    0.0556300797 * x - 0.2039769589 * y + 1.0569715142 * z,
  ];
}

/** sRGB codes for reflectances: three bytes for each of `size` equal steps from 0 to the largest that can occur. */
export interface ColourScale {
  readonly rgb: Uint8Array;
  readonly stepsPerUnit: number;
}

/**
 * A step is less than one code everywhere: sRGB's steepest is 12.92 · 255 codes per unit. A count. Exact: the least
 * power of two above 12.92 · 255.
 */
const STEPS = 4096;

/**
 * Colours of a surface by its reflectance. A reflectance tells the strength of the mark (Yule and Nielsen's mixing undone);
 * each channel is mixed between bare and full in the same way; the result is scaled to the reflectance that was asked
 * for, so that the picture's lightness is the predicted one even where the three mixed channels would add up to a
 * slightly different one. Strengths outside 0 … 1 keep the hue of the nearer end.
 */
export function tabulateColours({ bare, full, yuleNielsenN: n }: SurfaceColours): ColourScale {
  const [bareRoots, fullRoots] = [bare, full].map((lab) =>
    convertLabToLinearRgb(lab).map((value) => Math.max(0, value) ** (1 / n)),
  );
  const [weightRed, weightGreen, weightBlue] = REC709.weights;
  const rootBare = reflectanceOfLightness(bare[0]) ** (1 / n);
  const rootFull = reflectanceOfLightness(full[0]) ** (1 / n);
  const stepsPerUnit = STEPS - 1;
  const rgb = new Uint8Array(3 * STEPS);
  for (let step = 0; step < STEPS; step++) {
    const reflectance = step / stepsPerUnit;
    const strength = rootFull === rootBare ? 0 : (reflectance ** (1 / n) - rootBare) / (rootFull - rootBare);
    const share = Math.min(1, Math.max(0, strength));
    const red = (share * fullRoots[0] + (1 - share) * bareRoots[0]) ** n;
    const green = (share * fullRoots[1] + (1 - share) * bareRoots[1]) ** n;
    const blue = (share * fullRoots[2] + (1 - share) * bareRoots[2]) ** n;
    const luminance = weightRed * red + weightGreen * green + weightBlue * blue;
    const scale = luminance > 0 ? reflectance / luminance : 0;
    rgb[3 * step] = codeOf(luminance > 0 ? red * scale : reflectance);
    rgb[3 * step + 1] = codeOf(luminance > 0 ? green * scale : reflectance);
    rgb[3 * step + 2] = codeOf(luminance > 0 ? blue * scale : reflectance);
  }
  return { rgb, stepsPerUnit };
}

const codeOf = (light: number) => Math.round(255 * encodeSrgb(Math.min(1, light)));

/** 8-bit sRGB code of a neutral of this CIE L*. */
export function codeOfLightness(lightness: number): number {
  return codeOf(reflectanceOfLightness(lightness));
}
