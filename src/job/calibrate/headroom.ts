import type { Profile } from '../../material/index.ts';
import { roundTo } from '../page/html.ts';

/**
 * In words, how far the curve's end lies from the solid. A learned curve ends before it, to keep headroom; where
 * more dots turn the lightness back, it ends beyond the solid, and there is none.
 */
export function sayHeadroom({ points, bare, full }: Pick<Profile, 'points' | 'bare' | 'full'>): string {
  const { coverage, lightness } = points.at(-1)!;
  const headroomL = Math.sign(full[0] - bare[0]) * (full[0] - lightness);
  const place = `at ${roundTo(100 * coverage, 1)} % of the dots`;
  return headroomL < 0
    ? `nothing: more dots turn the lightness back, so the curve ends ${place}, ${roundTo(-headroomL, 2)} L* beyond the solid`
    : `${roundTo(headroomL, 2)} L*: the curve ends so far below the strongest mark, ${place}`;
}
