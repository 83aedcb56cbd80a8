import type { Profile } from '../material/index.ts';
import { roundTo } from './html.ts';

/**
 * In words, how far the curve's end lies from the solid. A learned curve ends before it, to keep something in hand; where
 * more dots turn the lightness back, it ends beyond the solid, and nothing is in hand.
 */
export function sayReserve({ points, bare, full }: Pick<Profile, 'points' | 'bare' | 'full'>): string {
  const { coverage, lightness } = points.at(-1)!;
  const inHand = Math.sign(full[0] - bare[0]) * (full[0] - lightness);
  const place = `at ${roundTo(100 * coverage, 1)} % of the dots`;
  return inHand < 0
    ? `nothing: more dots turn the lightness back, so the curve ends ${place}, ${roundTo(-inHand, 2)} L* beyond the solid`
    : `${roundTo(inHand, 2)} L*: the curve ends so far below the strongest mark, ${place}`;
}
