import { lightnessOfReflectance } from '../colour/index.ts';
import { ONE, tabulateLightness } from '../plane/index.ts';
import type { ToneOptions } from './tone-options.ts';

/** The pointwise values of the tone stage. */
export type CurveOptions = Pick<ToneOptions, 'brightnessEv' | 'blackPointL' | 'whitePointL' | 'midtoneL' | 'contrast'>;

/** Without unit. Exact: x(1 − x)² is 1/8 at the middle, so that the middle itself moves by midtoneL. */
const CUBIC_AT_MIDDLE = 8;

/**
 * Wanted L* for every value of a luminance plane: never falling, 0 at the black point and 100 at the white point.
 *
 * In the order of the work: exposure on linear light; black and white point on L*; midtones x + c·x(1−x)² to lighten
 * and x − c·x²(1−x) to darken, c = 8·|midtoneL|/100, which leave the slope at the far end alone, so that lightening a
 * face keeps the steps of the sky; contrast as a blend of x with 3x²−2x³.
 */
export function toneCurve(options: CurveOptions): Float32Array {
  const gain = 2 ** options.brightnessEv;
  const { blackPointL, whitePointL } = options;
  const light = tabulateLightness();
  const curve = new Float32Array(ONE + 1);
  for (let value = 0; value <= ONE; value++) {
    const lightness = gain === 1 ? light[value] : lightnessOfReflectance(Math.min(1, (value / ONE) * gain));
    const x = Math.min(Math.max((lightness - blackPointL) / (whitePointL - blackPointL), 0), 1);
    curve[value] = 100 * bendContrast(bendMidtones(x, options.midtoneL), options.contrast);
  }
  return curve;
}

function bendMidtones(x: number, midtoneL: number): number {
  const c = (CUBIC_AT_MIDDLE * midtoneL) / 100;
  return c >= 0 ? x + c * x * (1 - x) * (1 - x) : x + c * x * x * (1 - x);
}

function bendContrast(x: number, contrast: number): number {
  return x + contrast * (x * x * (3 - 2 * x) - x);
}

/** The value, 0 … 1, that contrast takes to `wanted`: halved 30 times, the curve rises. */
export function fromContrast(wanted: number, contrast: number): number {
  let [low, high] = [0, 1];
  for (let step = 0; step < 30; step++) {
    const middle = (low + high) / 2;
    if (bendContrast(middle, contrast) < wanted) low = middle;
    else high = middle;
  }
  return (low + high) / 2;
}

/**
 * The value of `midtoneL` that takes lightness `fromL` (after black and white point) as near to `toL` as the range
 * ±`limitL` allows.
 */
export function midtoneToward(fromL: number, toL: number, limitL: number): number {
  const x = fromL / 100;
  const reach = toL >= fromL ? x * (1 - x) * (1 - x) : x * x * (1 - x);
  if (reach <= 0) return 0;
  const wanted = (toL - fromL) / (CUBIC_AT_MIDDLE * reach);
  return Math.min(Math.max(wanted, -limitL), limitL);
}
