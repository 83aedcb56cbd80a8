import type { SourceKey } from '../sources.ts';
import { type Lab, type LinearRgb, labOfXyz, type RelativeXyz, SRGB_TO_XYZ, xyzOfLab } from './lab.ts';
import { lightnessOfReflectance } from './lightness.ts';
import { REC709 } from './srgb.ts';

/**
 * CIE L*a*b* made linear: Yy = 116·Y/Yn, Cx = 500·(X/Xn − Y/Yn), Cz = 200·(Y/Yn − Z/Zn). Light adds in it as in XYZ,
 * and its distances have the weights of L*a*b*. source: 'flohr1993' (from memory).
 */
const OPPONENT = { y: 116, x: 500, z: 200, source: 'flohr1993' satisfies SourceKey } as const;

/** A colour as Yy, Cx, Cz. */
export type OpponentColour = readonly [yy: number, cx: number, cz: number];

/** Rows X and Z over the white's. source: 'iec61966', clause 5.2. Published: weights. */
const ROW_X = SRGB_TO_XYZ.x.map((weight) => weight / SRGB_TO_XYZ.whiteX);
const ROW_Z = SRGB_TO_XYZ.z.map((weight) => weight / SRGB_TO_XYZ.whiteZ);

function opponentOfXyz([x, y, z]: RelativeXyz): OpponentColour {
  return [OPPONENT.y * y, OPPONENT.x * (x - y), OPPONENT.z * (y - z)];
}

function xyzOfOpponent([yy, cx, cz]: OpponentColour): RelativeXyz {
  const y = yy / OPPONENT.y;
  return [y + cx / OPPONENT.x, y, y - cz / OPPONENT.z];
}

/** From CIE L*a*b* under D65. */
export function opponentOfLab(lab: Lab): OpponentColour {
  return opponentOfXyz(xyzOfLab(lab));
}

/** CIE L*a*b* of an opponent colour; no lightness is below 0. */
export function labOfOpponent(colour: OpponentColour): Lab {
  const xyz = xyzOfOpponent(colour);
  const [, a, b] = labOfXyz(xyz);
  return [lightnessOfReflectance(Math.max(0, xyz[1])), a, b];
}

/** From linear sRGB. */
export function opponentOfRgb([red, green, blue]: LinearRgb): OpponentColour {
  const [wr, wg, wb] = REC709.weights;
  return opponentOfXyz([
    ROW_X[0]! * red + ROW_X[1]! * green + ROW_X[2]! * blue,
    wr * red + wg * green + wb * blue,
    ROW_Z[0]! * red + ROW_Z[1]! * green + ROW_Z[2]! * blue,
  ]);
}
