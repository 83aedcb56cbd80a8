import { AppError } from '../errors.ts';
import {
  type Corner,
  type FieldMm,
  isLeft,
  isTop,
  JIG_DEFAULTS,
  type Jig,
  LEAST_WEB_MM,
  type Origin,
  orderJig,
  type Pocket,
  roundMm,
} from './types.ts';

/** How a board is made around pockets that lie already. */
export interface FrameOptions {
  readonly name: string;
  readonly title: string;
  readonly machine?: string;
  /** Board around the outermost pockets, mm. */
  readonly rimMm: number;
  /** Least distance of two pockets, mm: it decides how large reliefs and notches may be. */
  readonly gapMm: number;
  readonly marginMm: number;
  readonly clearanceMm: number;
  readonly kerfMm: number;
  readonly stop: Corner;
  readonly origin: Origin;
  /** Room inside the rim, in whose middle the pockets lie; absent: as small as the pockets allow. */
  readonly roomMm?: FieldMm;
}

/** Shallower notches lift nothing. Assumed: a finger's tip needs 3 mm to get hold of an edge. */
const LEAST_NOTCH_MM = 3;
/** Smaller reliefs are not worth a hole. Assumed: no wider than a cut and its rounding. */
const LEAST_RELIEF_MM = 0.5;

/**
 * A board around pockets: rim, corner reliefs and finger notches as large as the gap allows, and two registration holes
 * that lie so that a board the wrong way round is seen at once. The field lies centred over the board.
 * @param pockets anywhere; they are shifted together
 * @throws AppError option-invalid when gap or rim leave no web between the cuts
 */
export function frameJig(pockets: readonly Pocket[], options: FrameOptions): Jig {
  const { name, title, machine, rimMm, gapMm, marginMm, clearanceMm, kerfMm, stop, origin } = options;
  // A pocket alone has no neighbour, so that only the rim bounds its cuts.
  const room = (pockets.length > 1 ? Math.min(gapMm, rimMm) : rimMm) - clearanceMm - LEAST_WEB_MM;
  if (room < 0) {
    throw new AppError(
      'option-invalid',
      `jig: found a gap of ${gapMm} mm and a rim of ${rimMm} mm, needed at least ${roundMm(clearanceMm + LEAST_WEB_MM)} mm: the clearance of a pocket and a web of ${LEAST_WEB_MM} mm`,
      { gapMm, rimMm, clearanceMm },
    );
  }
  const leftmost = Math.min(...pockets.map(({ xMm }) => xMm));
  const topmost = Math.min(...pockets.map(({ yMm }) => yMm));
  const across = Math.max(...pockets.map((pocket) => pocket.xMm + pocket.widthMm)) - leftmost;
  const down = Math.max(...pockets.map((pocket) => pocket.yMm + pocket.heightMm)) - topmost;
  const [roomX, roomY] = options.roomMm ?? [across, down];
  const left = leftmost - rimMm - (roomX - across) / 2;
  const top = topmost - rimMm - (roomY - down) / 2;
  const widthMm = roundMm(roomX + 2 * rimMm);
  const heightMm = roundMm(roomY + 2 * rimMm);
  const relief = Math.min(JIG_DEFAULTS.reliefDiameterMm, floorHundredth(room));
  // A notch may face the relief at a neighbour's corner.
  const depth = Math.min(JIG_DEFAULTS.notchDepthMm, floorHundredth(room - relief / 2));
  const holeMm = Math.min(
    JIG_DEFAULTS.holeDiameterMm,
    floorHundredth(rimMm - 2 * LEAST_WEB_MM - relief - 2 * clearanceMm),
  );
  // One in the middle of the side of the stop, where no notch is; one in the far corner of the other side.
  const [beside, opposite] = isLeft(stop) ? [rimMm / 2, widthMm - rimMm / 2] : [widthMm - rimMm / 2, rimMm / 2];
  return orderJig({
    schema: 'tonewright-jig/1',
    name,
    title,
    ...(machine === undefined ? {} : { machine }),
    widthMm,
    heightMm,
    stop,
    origin,
    marginMm,
    clearanceMm,
    kerfMm,
    reliefDiameterMm: relief < LEAST_RELIEF_MM ? 0 : relief,
    notch:
      depth < LEAST_NOTCH_MM
        ? null
        : {
            widthMm: JIG_DEFAULTS.notchWidthMm,
            depthMm: depth,
            // Away from the stop, whose edges stay whole.
            sides: [isLeft(stop) ? 'right' : 'left'],
          },
    holes:
      holeMm < 1
        ? []
        : [
            {
              xMm: roundMm(opposite),
              yMm: roundMm(isTop(stop) ? rimMm / 2 : heightMm - rimMm / 2),
              diameterMm: holeMm,
            },
            { xMm: roundMm(beside), yMm: roundMm(heightMm / 2), diameterMm: holeMm },
          ],
    pockets: pockets.map((pocket) => ({
      ...pocket,
      xMm: roundMm(pocket.xMm - left),
      yMm: roundMm(pocket.yMm - top),
    })),
  });
}

/** `A1`, `A2` … `B1`: a letter for the row, a number for the column; from the 27th row on two letters. */
export function namePocket(row: number, column: number): string {
  const letter = String.fromCharCode(65 + (row % 26));
  return `${row < 26 ? '' : String.fromCharCode(64 + Math.floor(row / 26))}${letter}${column + 1}`;
}

const floorHundredth = (mm: number) => Math.floor(mm * 100 + 1e-6) / 100;
