import {
  type Hole,
  isLeft,
  isTop,
  type Jig,
  LEAST_WEB_MM,
  type Notch,
  type Pocket,
  PUSHED,
  type RectangleMm,
  roundMm,
  type Side,
} from './types.ts';

/** What rounding may take from a web. Assumed: places are rounded to millionths, and a few of them add up. */
const ROUNDING_MM = 1e-5;

/** A part that is cut out: an upright rectangle, or the circle in it. */
interface CutOut extends RectangleMm {
  readonly round?: true;
}

/**
 * The hole that is cut for a pocket: larger by the clearance, away from the stop, whose two edges stay where they are;
 * a round one stays where its piece touches it, half-way between both.
 */
export function holeOfPocket(pocket: Pocket, { clearanceMm }: Pick<Jig, 'clearanceMm'>): CutOut {
  if (pocket.round) {
    const wayMm = (clearanceMm / 2) * PUSHED;
    const [right, low] = [isLeft(pocket.stop) ? wayMm : -wayMm, isTop(pocket.stop) ? wayMm : -wayMm];
    return {
      xMm: roundMm(pocket.xMm - clearanceMm / 2 + right),
      yMm: roundMm(pocket.yMm - clearanceMm / 2 + low),
      widthMm: roundMm(pocket.widthMm + clearanceMm),
      heightMm: roundMm(pocket.heightMm + clearanceMm),
      round: true,
    };
  }
  return {
    xMm: roundMm(isLeft(pocket.stop) ? pocket.xMm : pocket.xMm - clearanceMm),
    yMm: roundMm(isTop(pocket.stop) ? pocket.yMm : pocket.yMm - clearanceMm),
    widthMm: roundMm(pocket.widthMm + clearanceMm),
    heightMm: roundMm(pocket.heightMm + clearanceMm),
  };
}

/**
 * Widest notch of a round hole, share of its diameter. Assumed: a wider one leaves a piece too little edge to lie
 * against between the notches.
 */
const WIDEST_NOTCH = 0.5;

/** The notch of one side as a rectangle outside the hole; undefined where the side is too short for it. */
export function notchOfSide(
  hole: CutOut,
  { notch, reliefDiameterMm, side }: { readonly notch: Notch; readonly reliefDiameterMm: number; readonly side: Side },
): RectangleMm | undefined {
  const { xMm, yMm, widthMm, heightMm } = hole;
  const along = side === 'top' || side === 'bottom' ? widthMm : heightMm;
  if (hole.round && notch.widthMm > WIDEST_NOTCH * along) return undefined;
  if (along < notch.widthMm + reliefDiameterMm + 2 * LEAST_WEB_MM) return undefined;
  const at = (along - notch.widthMm) / 2;
  const { depthMm } = notch;
  switch (side) {
    case 'top':
      return { xMm: xMm + at, yMm: yMm - depthMm, widthMm: notch.widthMm, heightMm: depthMm };
    case 'bottom':
      return { xMm: xMm + at, yMm: yMm + heightMm, widthMm: notch.widthMm, heightMm: depthMm };
    case 'left':
      return { xMm: xMm - depthMm, yMm: yMm + at, widthMm: depthMm, heightMm: notch.widthMm };
    case 'right':
      return { xMm: xMm + widthMm, yMm: yMm + at, widthMm: depthMm, heightMm: notch.widthMm };
  }
}

/**
 * Everything that is cut out for a pocket, as rectangles around its parts: the hole, its corner reliefs, its notches.
 */
function listCutOuts(pocket: Pocket, jig: Jig): readonly CutOut[] {
  const { reliefDiameterMm, notch } = jig;
  const hole = holeOfPocket(pocket, jig);
  const half = reliefDiameterMm / 2;
  const reliefs =
    half === 0 || hole.round
      ? []
      : [0, hole.widthMm].flatMap((dx) =>
          [0, hole.heightMm].map((dy) => ({
            xMm: hole.xMm + dx - half,
            yMm: hole.yMm + dy - half,
            widthMm: reliefDiameterMm,
            heightMm: reliefDiameterMm,
          })),
        );
  const notches = (notch?.sides ?? []).flatMap((side) => {
    const found = notchOfSide(hole, { notch: notch!, reliefDiameterMm, side });
    return found ? [found] : [];
  });
  return [hole, ...reliefs, ...notches];
}

/** What of a jig cannot be cut, in plain words; empty when all is well. */
export function findCutFaults(jig: Jig): readonly string[] {
  const faults: string[] = [];
  const cuts = jig.pockets.map((pocket) => ({ name: pocket.name, parts: listCutOuts(pocket, jig) }));
  const holes = jig.holes.map((hole, at) => ({ name: `hole ${at + 1}`, parts: [boundHole(hole)] }));
  const all = [...cuts, ...holes];
  for (const [at, { name, parts }] of all.entries()) {
    const short = Math.max(...parts.map((part) => measureOverhang(part, jig)));
    if (short > ROUNDING_MM) faults.push(`${name} comes ${say(short)} mm too near to the edge of the board`);
    for (const other of all.slice(at + 1)) {
      const web = Math.min(...parts.flatMap((part) => other.parts.map((second) => distanceBetween(part, second))));
      if (web < LEAST_WEB_MM - ROUNDING_MM)
        faults.push(
          `${name} and ${other.name} ${web < 0 ? `overlap by ${say(-web)} mm` : `leave a web of ${say(web)} mm`}`,
        );
    }
  }
  return faults;
}

function boundHole({ xMm, yMm, diameterMm }: Hole): CutOut {
  const corner = { xMm: xMm - diameterMm / 2, yMm: yMm - diameterMm / 2 };
  return { ...corner, widthMm: diameterMm, heightMm: diameterMm, round: true };
}

/** How far a part reaches into the last millimetre of the board, or beyond. */
function measureOverhang(part: RectangleMm, { widthMm, heightMm }: Jig): number {
  return Math.max(
    LEAST_WEB_MM - part.xMm,
    LEAST_WEB_MM - part.yMm,
    part.xMm + part.widthMm + LEAST_WEB_MM - widthMm,
    part.yMm + part.heightMm + LEAST_WEB_MM - heightMm,
  );
}

const middleX = ({ xMm, widthMm }: RectangleMm) => xMm + widthMm / 2;
const middleY = ({ yMm, heightMm }: RectangleMm) => yMm + heightMm / 2;

/** Distance of two upright rectangles, or circles; below 0: how far they reach into each other. */
export function distanceBetween(a: CutOut, b: CutOut): number {
  if (a.round && b.round) {
    const apart = Math.hypot(middleX(a) - middleX(b), middleY(a) - middleY(b));
    return apart - (a.widthMm + b.widthMm) / 2;
  }
  if (b.round) return distanceBetween(b, a);
  if (a.round) {
    const middle = { xMm: middleX(a), yMm: middleY(a), widthMm: 0, heightMm: 0 };
    return distanceBetween(middle, b) - a.widthMm / 2;
  }
  const dx = Math.max(b.xMm - (a.xMm + a.widthMm), a.xMm - (b.xMm + b.widthMm));
  const dy = Math.max(b.yMm - (a.yMm + a.heightMm), a.yMm - (b.yMm + b.heightMm));
  return dx > 0 && dy > 0 ? Math.hypot(dx, dy) : Math.max(dx, dy);
}

const say = (mm: number) => String(Math.round(mm * 1000) / 1000);
