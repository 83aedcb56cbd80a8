import type { Lab } from '../../material/index.ts';
import { CIE_LIGHTNESS, lightnessOfReflectance, REC709, reflectanceOfLightness } from '../../plane/index.ts';
import type { LinearColour } from '../../screens/index.ts';
import type { SourceKey } from '../../sources.ts';

/**
 * CIE L*a*b* made linear: Yy = 116·Y/Yn, Cx = 500·(X/Xn − Y/Yn), Cz = 200·(Y/Yn − Z/Zn). Light adds in it as in XYZ, and
 * its distances have the weights of L*a*b*. source: 'flohr1993' (from memory).
 */
export const OPPONENT = { y: 116, x: 500, z: 200, source: 'flohr1993' satisfies SourceKey } as const;

/** Rows X and Z of linear sRGB to CIE XYZ, white D65 at 1; Y is Rec. 709's luminance. source: 'iec61966', clause 5.2. */
const ROW_X = [0.4124 / 0.9505, 0.3576 / 0.9505, 0.1805 / 0.9505] as const;
const ROW_Z = [0.0193 / 1.089, 0.1192 / 1.089, 0.9505 / 1.089] as const;

type Three = readonly [number, number, number];

function opponentOfXyz(x: number, y: number, z: number): LinearColour {
  return [OPPONENT.y * y, OPPONENT.x * (x - y), OPPONENT.z * (y - z)];
}

function xyzOfOpponent([yy, cx, cz]: LinearColour): Three {
  const y = yy / OPPONENT.y;
  return [y + cx / OPPONENT.x, y, y - cz / OPPONENT.z];
}

/** From CIE L*a*b* under D65. */
export function opponentOfLab([lightness, a, b]: Lab): LinearColour {
  const fy = (lightness + 16) / 116;
  // L* of a relative value v is 116·f(v) − 16, so f's inverse is the inverse of L*.
  const unfold = (f: number) => reflectanceOfLightness(116 * f - 16);
  return opponentOfXyz(unfold(fy + a / 500), reflectanceOfLightness(lightness), unfold(fy - b / 200));
}

/** CIE L*a*b* of an opponent colour; a tristimulus value below 0 counts on along the straight part of f. */
export function labOfOpponent(colour: LinearColour): Lab {
  const [x, y, z] = xyzOfOpponent(colour);
  const f = (t: number) => (t > CIE_LIGHTNESS.epsilon ? Math.cbrt(t) : (CIE_LIGHTNESS.kappa * t + 16) / 116);
  return [lightnessOfReflectance(Math.max(0, y)), 500 * (f(x) - f(y)), 200 * (f(y) - f(z))];
}

/** From linear sRGB, white at 1. */
export function opponentOfRgb([red, green, blue]: Three): LinearColour {
  const [wr, wg, wb] = REC709.weights;
  return opponentOfXyz(
    ROW_X[0] * red + ROW_X[1] * green + ROW_X[2] * blue,
    wr * red + wg * green + wb * blue,
    ROW_Z[0] * red + ROW_Z[1] * green + ROW_Z[2] * blue,
  );
}
