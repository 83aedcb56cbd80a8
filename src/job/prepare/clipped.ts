import type { CoverageTable } from '../../material/index.ts';
import { luminanceOfLightness, ONE, type Plane } from '../../plane/index.ts';

/** Assumed: a photo's black and white are 0 and 100 L* to this, so that rounding in its file does not count as lost. */
const SAME_L = 0.5;
const BLACK_AT_MOST = luminanceOfLightness(SAME_L);
const WHITE_AT_LEAST = luminanceOfLightness(100 - SAME_L);

/** What is cut off: the darkest and the lightest tones of the photo that the piece will not tell apart any more. */
export interface Clipping {
  /** The photo at the dots, before and after its tone was set. */
  readonly light: Plane<'luminance'>;
  readonly toned: Plane<'luminance'>;
  readonly table: Pick<CoverageTable, 'clipBelow' | 'clipAbove'>;
}

/**
 * Which end a tone is cut off at: the material's range ends before it, or it was set to black or white and was neither.
 * What is black or white in the photo already and can be burned so has lost nothing.
 */
function findEnd(
  value: number,
  before: number,
  { clipBelow, clipAbove }: Clipping['table'],
): 'dark' | 'light' | undefined {
  if (value < clipBelow || (value === 0 && before > BLACK_AT_MOST)) return 'dark';
  if (value > clipAbove || (value === ONE && before < WHITE_AT_LEAST)) return 'light';
  return undefined;
}

/** Which end a place of the picture is cut off at. */
export function findClippedEnd({ light, toned, table }: Clipping, at: number): 'dark' | 'light' | undefined {
  return findEnd(toned.data[at]!, light.data[at]!, table);
}

/** Shares of the picture that are cut off at its two ends, 0 … 1; what is not opaque does not count. */
export function countClipped(
  { light, toned, table }: Clipping,
  opaque: Plane<'mask'> | undefined,
): { readonly dark: number; readonly light: number } {
  const [before, values, shares] = [light.data, toned.data, opaque?.data];
  const counts = { dark: 0, light: 0 };
  let all = 0;
  for (let at = 0; at < values.length; at++) {
    if (shares && shares[at]! < 128) continue;
    all++;
    const end = findEnd(values[at]!, before[at]!, table);
    if (end) counts[end]++;
  }
  return { dark: counts.dark / Math.max(1, all), light: counts.light / Math.max(1, all) };
}
