import { cube } from '../numeric/index.ts';
import type { SourceKey } from '../sources.ts';

/**
 * CIE 1976 lightness: the constants in their exact form. Published; reflectances and lightness over reflectance,
 * without unit.
 */
export const CIE_LIGHTNESS = {
  /** (6/29)³: below it the function is straight. */
  epsilon: 216 / 24389,
  /** (29/3)³: slope of the straight part. */
  kappa: 24389 / 27,
  source: 'cie15' satisfies SourceKey,
  locator: '8.2.1, equations 8.3 to 8.6',
};

/** CIE L* 0…100 of relative luminance Y/Yn 0…1. */
export function lightnessOfReflectance(reflectance: number): number {
  return reflectance > CIE_LIGHTNESS.epsilon ? 116 * Math.cbrt(reflectance) - 16 : CIE_LIGHTNESS.kappa * reflectance;
}

/** Relative luminance Y/Yn 0…1 of CIE L* 0…100. */
export function reflectanceOfLightness(lightness: number): number {
  return lightness > CIE_LIGHTNESS.kappa * CIE_LIGHTNESS.epsilon
    ? cube((lightness + 16) / 116)
    : lightness / CIE_LIGHTNESS.kappa;
}
