import { lightnessOfReflectance, reflectanceOfLightness } from '../colour/index.ts';
import { tabulate } from '../numeric/index.ts';
import { ONE } from './plane.ts';

let table: Float32Array | undefined;

/** CIE L* for each of the ONE + 1 levels of a luminance plane. */
export function tabulateLightness(): Float32Array {
  table ??= tabulate(new Float32Array(ONE + 1), (level) => lightnessOfReflectance(level / ONE));
  return table;
}

/**
 * CIE L* of each reflectance, by the table and straight between its levels: within 0.00002 L* of the formula from 0 to
 * 1, in a fifth of its time. Outside, by the formula.
 */
export function interpolateLightness(reflectances: Float32Array): Float32Array {
  const levels = tabulateLightness();
  const lightness = new Float32Array(reflectances.length);
  for (let i = 0; i < lightness.length; i++) {
    const at = reflectances[i] * ONE;
    const low = at | 0;
    lightness[i] =
      at >= 0 && at < ONE
        ? levels[low] + (at - low) * (levels[low + 1] - levels[low])
        : lightnessOfReflectance(reflectances[i]);
  }
  return lightness;
}

/** CIE L* 0…100 of a luminance level 0…ONE. */
export function lightnessOfLuminance(luminance: number): number {
  return lightnessOfReflectance(luminance / ONE);
}

/** Luminance level 0…ONE, a whole number, of CIE L*; L* outside 0…100 is clamped. */
export function luminanceOfLightness(lightness: number): number {
  return Math.round(ONE * reflectanceOfLightness(Math.min(100, Math.max(0, lightness))));
}
