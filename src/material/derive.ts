import { lightnessOfReflectance, reflectanceOfLightness } from '../colour/index.ts';
import { regressCentredIsotonic } from '../numeric/index.ts';
import { averageField, EVEN_FIELDS, type Plane } from '../plane/index.ts';
import { mixYuleNielsen } from './response.ts';
import { type DotField, predictMeanStrength } from './simulate.ts';
import type { Profile, Surface, TonePoint } from './types.ts';

/** A profile without its points. */
export type ProfileFacts = Omit<Profile, 'points' | 'direction'>;

export interface DeriveOptions {
  /** The screen to predict, from constant coverage to dots. */
  readonly halftone: (coverage: Plane<'coverage'>) => DotField;
}

/**
 * Coverages at which a derived curve has its points. Assumed: closer where curves bend, and not simple fractions: at
 * exactly 1/4, 1/3 or 1/2 error diffusion falls into regular textures whose tone is 1 L* or more off the curve on both
 * sides of it.
 */
export const DERIVED_COVERAGES = [
  0, 0.011, 0.024, 0.047, 0.08, 0.115, 0.155, 0.19, 0.23, 0.27, 0.31, 0.36, 0.41, 0.46, 0.53, 0.58, 0.64, 0.7, 0.77,
  0.84, 0.9, 0.95, 0.98, 1,
] as const;

/**
 * Tone curve of a screen on a surface, computed from the response model: constant planes are screened, their dots
 * deposited, and the mean strength mixed to lightness. Points that the screen's texture puts out of order are pooled.
 */
export function predictTonePoints(surface: Surface, { halftone }: DeriveOptions): TonePoint[] {
  const mix = {
    bare: reflectanceOfLightness(surface.bare[0]),
    full: reflectanceOfLightness(surface.full[0]),
    n: surface.response.yuleNielsenN,
  };
  const strengths = DERIVED_COVERAGES.map((coverage) => {
    if (coverage === 0 || coverage === 1) return coverage;
    return averageField(coverage, EVEN_FIELDS.derived, {
      halftone,
      meanOf: (dots, rect) =>
        predictMeanStrength(surface.response, dots, { samplesX: 6, samplesY: 6, edge: 'bare', rect }),
    });
  });
  const inner = regressCentredIsotonic(DERIVED_COVERAGES.slice(1, -1), strengths.slice(1, -1));
  const ends = [
    { coverage: 0, strength: 0 },
    { coverage: 1, strength: 1 },
  ];
  const middle = [...inner.x].map((coverage, i) => ({ coverage, strength: inner.y[i] }));
  return [ends[0], ...middle.filter(({ strength }) => strength > 0 && strength < 1), ends[1]].map(
    ({ coverage, strength }) => ({
      coverage,
      lightness: lightnessOfReflectance(mixYuleNielsen(strength, mix)),
      spread: 0,
    }),
  );
}

/** A profile whose curve is computed from its response model: no reading stands behind its points. */
export function deriveProfile(facts: ProfileFacts, options: DeriveOptions): Profile {
  return {
    ...facts,
    direction: facts.full[0] > facts.bare[0] ? 'lighter' : 'darker',
    points: predictTonePoints(facts, options),
  };
}
