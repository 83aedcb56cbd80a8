import { roundNumbers } from '../numeric/index.ts';
import type { Profile } from './types.ts';

/**
 * Significant digits of a profile's numbers: 1e-5 L*, far below what any capture tells. Engines differ in the last
 * of the sixteen digits of a power, and a fit carries that on; profiles are told apart by a hash of all digits.
 * Assumed: seven keep what a reading knows and drop what engines differ in.
 */
const PROFILE_DIGITS = 7;

/**
 * A profile that is the same whatever engine computed it: its numbers rounded, without points that rounding made equal
 * to the one before.
 */
export function steadyProfile(profile: Profile): Profile {
  const rounded = roundNumbers(profile, PROFILE_DIGITS);
  const points = rounded.points.filter(
    ({ coverage, lightness }, at) =>
      at === 0 || (coverage !== rounded.points[at - 1]!.coverage && lightness !== rounded.points[at - 1]!.lightness),
  );
  return { ...rounded, points };
}
