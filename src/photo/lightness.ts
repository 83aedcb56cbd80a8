import { tabulate } from '../numeric/index.ts';
import { luminanceOfLightness, ONE } from '../plane/index.ts';

/** Codes of the table from lightness back to light: L* = code / CODES_PER_L. */
export const CODES_PER_L = ONE / 100;

let toLuminance: Uint16Array | undefined;

/** Value of a luminance plane for every lightness code 0…ONE; made once, on first use. */
export function luminanceTable(): Uint16Array {
  toLuminance ??= tabulate(new Uint16Array(ONE + 1), (code) => luminanceOfLightness(code / CODES_PER_L));
  return toLuminance;
}
