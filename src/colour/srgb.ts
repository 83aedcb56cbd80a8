import { power } from '../numeric/index.ts';
import type { SourceKey } from '../sources.ts';

/** Luminance weights of linear red, green and blue. Published. */
export const REC709 = {
  weights: [0.2126, 0.7152, 0.0722] as const,
  source: 'itu709' satisfies SourceKey,
  locator: 'item 3.2, derivation of the luminance signal',
};

/** sRGB's transfer function: IEC 61966-2-1, 5.2 (colour component transfer function). Published; without unit. */
export const SRGB = {
  slope: 12.92,
  offset: 0.055,
  exponent: 2.4,
  /** Where the straight part ends: in linear light, and as a code. */
  linearBreak: 0.0031308,
  codeBreak: 0.04045,
  source: 'iec61966' satisfies SourceKey,
};

/** Linear light 0…1 of an sRGB code 0…1. */
export function decodeSrgb(code: number): number {
  return code <= SRGB.codeBreak ? code / SRGB.slope : power((code + SRGB.offset) / (1 + SRGB.offset), SRGB.exponent);
}

/** sRGB code 0…1 of linear light 0…1. */
export function encodeSrgb(linear: number): number {
  return linear <= SRGB.linearBreak
    ? linear * SRGB.slope
    : (1 + SRGB.offset) * power(linear, 1 / SRGB.exponent) - SRGB.offset;
}
