/** Lengths are mm in jig coordinates: from the jig's upper left corner as seen from above, x right, y down. */
export type Corner = 'top-left' | 'top-right' | 'bottom-left' | 'bottom-right';
export type Side = 'top' | 'right' | 'bottom' | 'left';

export interface PointMm {
  readonly xMm: number;
  readonly yMm: number;
}

export interface RectangleMm extends PointMm {
  readonly widthMm: number;
  readonly heightMm: number;
}

/** Where one piece lies: the largest piece that it takes. The hole that is cut is larger by the clearance. */
export interface Pocket extends RectangleMm {
  /** Round: the circle in its square, for round pieces alone; absent: as its sides say. */
  readonly round?: true;
  /** Unique within the jig. */
  readonly name: string;
  /** Corner of the pocket that a piece is pushed into; smaller pieces lie there, too. */
  readonly stop: Corner;
  /** `strip`: for the scrap that carries the control strip. */
  readonly use: 'piece' | 'strip';
}

/** Half-round ended notch through which a finger lifts the piece, in the middle of each of the sides. */
export interface Notch {
  readonly widthMm: number;
  /** From the pocket's edge, at most half of the width. */
  readonly depthMm: number;
  readonly sides: readonly Side[];
}

export interface Hole extends PointMm {
  readonly diameterMm: number;
}

/** Point that the control software calls 0, 0, and the way its y counts. */
export interface Origin {
  /** `field-corner`: the upper left corner of the field, the lower left one where y counts up. */
  readonly at: 'stop' | 'field-corner' | 'field-centre';
  readonly yAxis: 'down' | 'up';
}

/** A jig: a board with pockets that is pushed against the stop of the machine. Plain data. */
export interface Jig {
  readonly schema: 'tonewright-jig/1';
  readonly name: string;
  readonly title: string;
  /** Name of the machine under which it lies; absent: any, the field comes with the job. */
  readonly machine?: string;
  /** Outline of the board. */
  readonly widthMm: number;
  readonly heightMm: number;
  /** Corner of the board that is pushed into the machine's stop. */
  readonly stop: Corner;
  /** Upper left corner of the machine's field; absent: the field lies centred over the board. */
  readonly fieldAtMm?: readonly [xMm: number, yMm: number];
  readonly origin: Origin;
  /** Nothing is burned nearer than this to the edge of the field. */
  readonly marginMm: number;
  /** What the hole of a pocket is larger than the pocket, away from its stop. */
  readonly clearanceMm: number;
  /** Width of the cut that the cutting tool removes; the drawn line runs half of it inside the waste. */
  readonly kerfMm: number;
  /** Round hole at each corner of a pocket, so that the piece's corner touches nothing; 0: none. */
  readonly reliefDiameterMm: number;
  readonly notch: Notch | null;
  readonly holes: readonly Hole[];
  readonly pockets: readonly Pocket[];
}

/**
 * Share of a way that counts along each axis where a round piece is pushed into a stop: it goes by 45 degrees until it
 * touches. Exact: 1/√2, by geometry.
 */
export const PUSHED = Math.SQRT1_2;

/** Width and height that the machine can burn. */
export type FieldMm = readonly [widthMm: number, heightMm: number];

/**
 * Thinnest web between two cut-outs, and between a cut-out and the edge of the board. Assumed: thinner ones of board or
 * acrylic break or burn through.
 */
export const LEAST_WEB_MM = 1;

/**
 * Assumed: usual sizes of a home-made jig, with 0.2 mm for a piece to slide in, reliefs that clear a square corner,
 * notches for a thumb, and no kerf until it is measured.
 */
export const JIG_DEFAULTS = {
  stop: 'top-left',
  origin: { at: 'stop', yAxis: 'down' },
  gapMm: 10,
  marginMm: 2,
  rimMm: 12,
  clearanceMm: 0.2,
  kerfMm: 0,
  reliefDiameterMm: 3,
  notchWidthMm: 18,
  notchDepthMm: 6,
  holeDiameterMm: 4,
} as const;

/** Lengths of the jig are kept to a millionth of a millimetre, so that sums of decimal numbers stay decimal numbers. */
export const roundMm = (value: number) => Math.round(value * 1e6) / 1e6 + 0;

export const isLeft = (corner: Corner) => corner.endsWith('left');
export const isTop = (corner: Corner) => corner.startsWith('top');

/**
 * A jig with its fields in one sequence, so that the same jig has the same bytes and the same hash wherever it comes
 * from.
 */
export function orderJig(jig: Jig): Jig {
  const { machine, fieldAtMm, origin, notch } = jig;
  return {
    schema: jig.schema,
    name: jig.name,
    title: jig.title,
    ...(machine === undefined ? {} : { machine }),
    widthMm: jig.widthMm,
    heightMm: jig.heightMm,
    stop: jig.stop,
    ...(fieldAtMm === undefined ? {} : { fieldAtMm }),
    origin: { at: origin.at, yAxis: origin.yAxis },
    marginMm: jig.marginMm,
    clearanceMm: jig.clearanceMm,
    kerfMm: jig.kerfMm,
    reliefDiameterMm: jig.reliefDiameterMm,
    notch: notch && { widthMm: notch.widthMm, depthMm: notch.depthMm, sides: notch.sides },
    holes: jig.holes.map(({ xMm, yMm, diameterMm }) => ({ xMm, yMm, diameterMm })),
    pockets: jig.pockets.map(({ name, xMm, yMm, widthMm, heightMm, stop, use, round }) => ({
      ...{ name, xMm, yMm, widthMm, heightMm, stop, use },
      // Last, and only where it is: jigs without one keep their bytes.
      ...(round ? { round } : {}),
    })),
  };
}
