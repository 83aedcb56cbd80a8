import { CIE_LIGHTNESS, lightnessOfReflectance, REC709 } from '../plane/index.ts';
import type { Lab } from './types.ts';

/**
 * Linear sRGB to CIE XYZ: rows X and Z, and the white that both are divided by (source: 'iec61966', clause 5.2).
 * Published: weights.
 */
const ROW_X = [0.4124, 0.3576, 0.1805] as const;
const ROW_Z = [0.0193, 0.1192, 0.9505] as const;
const WHITE_X = 0.9505;
const WHITE_Z = 1.089;

/** CIE L*a*b* under D65 of linear sRGB, white at 1 (source: 'cie15', equations 8.3 to 8.11). */
export function labOf([r, g, b]: readonly [number, number, number]): Lab {
  const [wr, wg, wb] = REC709.weights;
  const x = (ROW_X[0] * r + ROW_X[1] * g + ROW_X[2] * b) / WHITE_X;
  const y = wr * r + wg * g + wb * b;
  const z = (ROW_Z[0] * r + ROW_Z[1] * g + ROW_Z[2] * b) / WHITE_Z;
  const f = (t: number) => (t > CIE_LIGHTNESS.epsilon ? Math.cbrt(t) : (CIE_LIGHTNESS.kappa * t + 16) / 116);
  return [lightnessOfReflectance(y), 500 * (f(x) - f(y)), 200 * (f(y) - f(z))];
}
