import type { Profile } from './types.ts';

/** A profile without its points. */
export type ProfileFacts = Omit<Profile, 'points' | 'direction'>;

/**
 * Coverages at which a derived curve has its points. Assumed: closer where curves bend, and not simple fractions: at
 * exactly 1/4, 1/3 or 1/2 error diffusion falls into regular textures whose tone is 1 L* or more off the curve on both
 * sides of it.
 */
export const DERIVED_COVERAGES = [
  0, 0.011, 0.024, 0.047, 0.08, 0.115, 0.155, 0.19, 0.23, 0.27, 0.31, 0.36, 0.41, 0.46, 0.53, 0.58, 0.64, 0.7, 0.77,
  0.84, 0.9, 0.95, 0.98, 1,
] as const;
