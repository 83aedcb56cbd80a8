import { placeOrigin } from './field.ts';
import {
  type FieldMm,
  isLeft,
  isTop,
  type Jig,
  type Pocket,
  type PointMm,
  PUSHED,
  type RectangleMm,
  roundMm,
} from './types.ts';

/**
 * What the alignment marks told, burned without any correction: how far the first mark came out from where it should
 * be, mm right and down, and how far the whole came out turned, degrees clockwise as seen from above.
 */
export interface Correction {
  readonly offsetXMm: number;
  readonly offsetYMm: number;
  readonly turnDeg: number;
}

/** Millimetres and degrees. Exact: by definition, a plate that lies where it should. */
export const NO_CORRECTION: Correction = { offsetXMm: 0, offsetYMm: 0, turnDeg: 0 };

/** From points of the board to what is typed into the control software. */
export interface Aim {
  /** The point that the software calls 0, 0, in jig coordinates. */
  readonly origin: PointMm;
  readonly yAxis: 'down' | 'up';
  readonly correction: Correction;
  /** Place of the first alignment mark in jig coordinates: the offset was measured there. */
  readonly pivot: PointMm;
}

export function aimAt(
  jig: Jig,
  {
    fieldMm,
    correction,
    pivot,
  }: { readonly fieldMm: FieldMm; readonly correction: Correction; readonly pivot: PointMm },
): Aim {
  return { origin: placeOrigin(jig, fieldMm), yAxis: jig.origin.yAxis, correction, pivot };
}

/**
 * Where to send the beam, in jig coordinates as the software believes them, so that it lands on `point`. The machine
 * burns p at m + R(t)(p − m) + o, with the first mark m, the measured turn t and offset o; so it is sent to
 * p = m + R(−t)(point − o − m), which is exact for any offset and turn.
 */
export function correctPoint(point: PointMm, { correction, pivot }: Pick<Aim, 'correction' | 'pivot'>): PointMm {
  const { offsetXMm, offsetYMm, turnDeg } = correction;
  const angle = (-turnDeg * Math.PI) / 180;
  const [cos, sin] = turnDeg === 0 ? [1, 0] : [Math.cos(angle), Math.sin(angle)];
  const dx = point.xMm - offsetXMm - pivot.xMm;
  const dy = point.yMm - offsetYMm - pivot.yMm;
  return { xMm: pivot.xMm + dx * cos - dy * sin, yMm: pivot.yMm + dx * sin + dy * cos };
}

/** A point of the board as it is typed into the control software, corrected, to a millionth of a millimetre. */
export function toControl(point: PointMm, aim: Aim): PointMm {
  const sent = correctPoint(point, aim);
  const down = sent.yMm - aim.origin.yMm;
  return { xMm: roundMm(sent.xMm - aim.origin.xMm), yMm: roundMm(aim.yAxis === 'down' ? down : -down) };
}

/** Where a piece lies in its pocket: pushed into the stop; a round one until it touches the circle half-way there. */
export function placeInPocket(
  pocket: Pocket,
  { widthMm, heightMm }: Pick<RectangleMm, 'widthMm' | 'heightMm'>,
): RectangleMm {
  if (pocket.round) {
    const wayMm = ((pocket.widthMm - widthMm) / 2) * PUSHED;
    const [right, low] = [isLeft(pocket.stop) ? -wayMm : wayMm, isTop(pocket.stop) ? -wayMm : wayMm];
    return {
      xMm: roundMm(pocket.xMm + (pocket.widthMm - widthMm) / 2 + right),
      yMm: roundMm(pocket.yMm + (pocket.heightMm - heightMm) / 2 + low),
      widthMm,
      heightMm,
    };
  }
  return {
    xMm: roundMm(isLeft(pocket.stop) ? pocket.xMm : pocket.xMm + pocket.widthMm - widthMm),
    yMm: roundMm(isTop(pocket.stop) ? pocket.yMm : pocket.yMm + pocket.heightMm - heightMm),
    widthMm,
    heightMm,
  };
}

/** The corner that a piece is pushed into; of a round pocket the point of its edge where the piece then touches. */
export function stopOfPocket(pocket: Pocket): PointMm {
  return placeInPocket(pocket, { widthMm: 0, heightMm: 0 });
}

/** How a rectangle of the board is typed into the control software. */
export interface ControlPlace {
  /** Its corner that is upper left on the board. */
  readonly corner: PointMm;
  readonly centre: PointMm;
  /** Turn of the bitmap, degrees clockwise as seen from above; 0 unless the marks came out turned. */
  readonly angleDeg: number;
  /** How far the corners stay off when the bitmap is set at its centre but not turned, mm. */
  readonly offIfNotTurnedMm: number;
}

/** Corner, centre and turn of a rectangle of the board, for software that sets bitmaps by the one or by the other. */
export function toControlPlace({ xMm, yMm, widthMm, heightMm }: RectangleMm, aim: Aim): ControlPlace {
  const { turnDeg } = aim.correction;
  return {
    corner: toControl({ xMm, yMm }, aim),
    centre: toControl({ xMm: xMm + widthMm / 2, yMm: yMm + heightMm / 2 }, aim),
    angleDeg: roundMm(-turnDeg),
    // A chord of the circle through the corners: 2 · (half the diagonal) · sin(t/2).
    offIfNotTurnedMm: roundMm(Math.hypot(widthMm, heightMm) * Math.abs(Math.sin((turnDeg * Math.PI) / 360))),
  };
}

/**
 * Distance of the alignment marks from the two edges of the piece at whose corner they lie; less on small pieces.
 * Assumed: far enough in to lie on every piece, far enough out to measure a turn.
 */
const MARK_INSET_MM = 5;

export interface AlignmentMark extends PointMm {
  /** 1 upper left, 2 upper right, 3 lower right, 4 lower left. */
  readonly number: 1 | 2 | 3 | 4;
  /** Pocket in whose corner it lies. */
  readonly pocket: string;
  readonly insetMm: number;
}

/**
 * Four alignment marks, each inside the outermost corner of the pocket that reaches furthest into that corner of the
 * jig: pieces of scrap in these pockets carry them, and their distance from the scrap's edges is measured.
 */
export function placeMarks(jig: Jig): readonly AlignmentMark[] {
  const corners = [
    { number: 1, right: false, low: false },
    { number: 2, right: true, low: false },
    { number: 3, right: true, low: true },
    { number: 4, right: false, low: true },
  ] as const;
  const pockets = jig.pockets.filter(({ use }) => use === 'piece');
  const outermost = corners.map(({ right, low }) => {
    const reach = ({ xMm, yMm, widthMm, heightMm }: Pocket) =>
      (right ? xMm + widthMm : -xMm) + (low ? yMm + heightMm : -yMm);
    return pockets.reduce((best, one) => (reach(one) > reach(best) + 1e-9 ? one : best));
  });
  // One inset for all: the turn is the difference of two of their distances.
  const insetMm = roundMm(
    Math.min(MARK_INSET_MM, ...outermost.flatMap(({ widthMm, heightMm }) => [widthMm / 4, heightMm / 4])),
  );
  return corners.map(({ number, right, low }, at) => {
    const { name, xMm, yMm, widthMm, heightMm } = outermost[at]!;
    return {
      number,
      pocket: name,
      insetMm,
      xMm: roundMm(right ? xMm + widthMm - insetMm : xMm + insetMm),
      yMm: roundMm(low ? yMm + heightMm - insetMm : yMm + insetMm),
    };
  });
}
