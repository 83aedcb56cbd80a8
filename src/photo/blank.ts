import { lightnessOfLuminance, type Plane } from '../plane/index.ts';

/** What a picture is that shows nothing. */
export type Blank =
  | { readonly kind: 'transparent' }
  /** `lightness`: the one tone, L*. */
  | { readonly kind: 'one-tone'; readonly lightness: number };

/** Tones that lie closer than this are one tone, L*; assumed: half of what the eye tells apart side by side. */
const ONE_TONE_L = 0.5;

/**
 * Whether a picture shows nothing: nothing of it is opaque, or all of it is and has one tone. A shape of one tone on
 * transparent ground shows that shape.
 * @param opaque share of each dot that is opaque, of the same size; absent when all are.
 */
export function findBlank(light: Plane<'luminance'>, opaque?: Plane<'mask'>): Blank | undefined {
  if (opaque?.data.every((share) => share === 0)) return { kind: 'transparent' };
  if (opaque?.data.some((share) => share < 128)) return undefined;
  const { data } = light;
  let lowest = data[0];
  let highest = data[0];
  for (let at = 1; at < data.length; at++) {
    if (data[at] >= lowest && data[at] <= highest) continue;
    lowest = Math.min(lowest, data[at]);
    highest = Math.max(highest, data[at]);
    if (lightnessOfLuminance(highest) - lightnessOfLuminance(lowest) >= ONE_TONE_L) return undefined;
  }
  return { kind: 'one-tone', lightness: lightnessOfLuminance(lowest) };
}
