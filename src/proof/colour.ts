import { encodeSrgb, linearRgbOfLab, REC709, reflectanceOfLightness } from '../colour/index.ts';
import type { SurfaceColours } from './types.ts';

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
 * Colours of a surface by its reflectance. A reflectance tells the strength of the mark (Yule and Nielsen's mixing
 * undone); each channel is mixed between bare and full in the same way; the result is scaled to the reflectance that
 * was asked for, so that the picture's lightness is the predicted one even where the three mixed channels would add up
 * to a slightly different one. Strengths outside 0 … 1 keep the hue of the nearer end.
 */
export function tabulateColours({ bare, full, yuleNielsenN: n }: SurfaceColours): ColourScale {
  const [bareRoots, fullRoots] = [bare, full].map((lab) =>
    linearRgbOfLab(lab).map((value) => Math.max(0, value) ** (1 / n)),
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
