import { ONE } from '../plane/index.ts';

/** The join of L*'s cube root and its straight start, and the slope there: `cie15`, section 8.2.1 (locator from memory). */
const JOIN = 216 / 24389;
const SLOPE = 24389 / 27;

/** Codes of the table from lightness back to light: L* = code / CODES_PER_L. */
export const CODES_PER_L = 327.67;

/** CIE L* (0…100) of relative luminance 0…1. Source: `cie15`. */
export function lightnessOf(luminance: number): number {
  return luminance > JOIN ? 116 * Math.cbrt(luminance) - 16 : SLOPE * luminance;
}

/** Relative luminance 0…1 of CIE L* 0…100; the inverse of `lightnessOf`. */
export function luminanceOf(lightness: number): number {
  const root = (lightness + 16) / 116;
  return lightness > SLOPE * JOIN ? root * root * root : lightness / SLOPE;
}

let toLightness: Float32Array | undefined;
let toLuminance: Uint16Array | undefined;

/** L* of every value of a luminance plane; made once, on first use. */
export function lightnessTable(): Float32Array {
  toLightness ??= Float32Array.from({ length: ONE + 1 }, (_, value) => lightnessOf(value / ONE));
  return toLightness;
}

/** Value of a luminance plane for every lightness code 0…32767; made once, on first use. */
export function luminanceTable(): Uint16Array {
  toLuminance ??= Uint16Array.from({ length: ONE + 1 }, (_, code) => Math.round(luminanceOf(code / CODES_PER_L) * ONE));
  return toLuminance;
}
