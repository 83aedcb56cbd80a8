import { AppError } from '../errors.ts';
import { createRandom, type Random } from '../numeric/index.ts';
import type { PieceSize } from './assign.ts';
import { boundPlates, type Ways } from './bound.ts';
import type { RectangleMm } from './types.ts';

export interface PackOptions {
  /** Room on one plate, mm. */
  readonly widthMm: number;
  readonly heightMm: number;
  /** Least distance of two pieces, mm. */
  readonly gapMm: number;
}

export interface Packed extends RectangleMm {
  /** Index of the piece. */
  readonly piece: number;
  /** From 0. */
  readonly plate: number;
  readonly turned: boolean;
}

export interface Packing {
  /** By plate, and within a plate from the top, then from the left. */
  readonly placed: readonly Packed[];
  readonly plates: number;
  /** Plates below which no packing exists; equal to `plates` when the packing cannot be bettered. */
  readonly lowerBound: number;
}

interface Box {
  readonly x: number;
  readonly y: number;
  readonly width: number;
  readonly height: number;
}

interface Placed extends Box {
  readonly piece: number;
  readonly plate: number;
  readonly turned: boolean;
}

interface Job {
  readonly ways: readonly Ways[];
  /** Room and pieces are each larger by the gap, so that gaps need no more thought. */
  readonly width: number;
  readonly height: number;
}

/**
 * Reshuffled orders that are tried when the plain ones leave more plates than the bound, a count. Assumed: more cost
 * time and seldom save a plate.
 */
const SHUFFLES = 40;

/**
 * Pieces of any sizes onto the fewest plates that are found. Each piece in turn goes into the first plate with room,
 * into the free rectangle whose shorter rest is least or whose place is highest and leftmost (maximal rectangles,
 * source: 'jylanki2010'); five orders of the pieces and both rules are tried, then shuffles of the best order from a
 * fixed start, until the number of plates meets its lower bound. The least number of plates wins, then the fewest
 * turned pieces, then the emptiest last plate, then the order of trying: the same pieces give the same plates.
 * @throws AppError piece-fits-nowhere, with how much is missing
 */
export function packPlates(pieces: readonly PieceSize[], { widthMm, heightMm, gapMm }: PackOptions): Packing {
  if (pieces.length === 0) return { placed: [], plates: 0, lowerBound: 0 };
  const gap = upToUm(gapMm);
  const width = downToUm(widthMm) + gap;
  const height = downToUm(heightMm) + gap;
  const ways = pieces.map((piece) => waysOf(piece, gap).filter(([w, h]) => w <= width && h <= height));
  for (const [at, own] of ways.entries()) if (own.length === 0) throw fitsNowhere(pieces[at]!, { widthMm, heightMm });
  const lowerBound = boundPlates(ways, [width, height]);
  let best: Attempt | undefined;
  const consider = (job: Job, order: readonly number[]) => {
    for (const rule of RULES) {
      if (best && best.plates === lowerBound) return;
      const found = packInOrder(job, { order, rule });
      if (!best || isBetter(found, best)) best = found;
    }
  };
  // Turning is tried only where it may save a plate: a piece lies best as it was learned.
  const upright = ways.map((own) => own.slice(0, 1));
  for (const measure of MEASURES) consider({ ways: upright, width, height }, orderBy(ways, measure));
  if (ways.some((own) => own.length > 1)) {
    for (const measure of MEASURES) consider({ ways, width, height }, orderBy(ways, measure));
  }
  const random = createRandom(1);
  for (let shuffle = 0; shuffle < SHUFFLES && best!.plates > lowerBound; shuffle++) {
    consider({ ways, width, height }, shakeOrder(best!.order, random));
  }
  const placed = best!.placed.map(({ piece, plate, turned, x, y }) => ({
    piece,
    plate,
    turned,
    xMm: x / 1000,
    yMm: y / 1000,
    // The piece's own size, not the micrometre above it.
    widthMm: turned ? pieces[piece]!.heightMm : pieces[piece]!.widthMm,
    heightMm: turned ? pieces[piece]!.widthMm : pieces[piece]!.heightMm,
  }));
  placed.sort((a, b) => a.plate - b.plate || a.yMm - b.yMm || a.xMm - b.xMm);
  return { placed, plates: best!.plates, lowerBound };
}

/** Sizes up, room down: what fits in whole micrometres fits. */
const upToUm = (mm: number) => Math.ceil(mm * 1000 - 1e-6);
const downToUm = (mm: number) => Math.floor(mm * 1000 + 1e-6);

function waysOf({ widthMm, heightMm, mayTurn }: PieceSize, gap: number): Ways {
  const [width, height] = [upToUm(widthMm) + gap, upToUm(heightMm) + gap];
  const upright = [width, height, false] as const;
  return mayTurn && width !== height ? [upright, [height, width, true]] : [upright];
}

function fitsNowhere(piece: PieceSize, { widthMm, heightMm }: { readonly widthMm: number; readonly heightMm: number }) {
  const missing = [
    ...(piece.widthMm > widthMm ? [`${say(piece.widthMm - widthMm)} mm in width`] : []),
    ...(piece.heightMm > heightMm ? [`${say(piece.heightMm - heightMm)} mm in height`] : []),
  ];
  const fitsTurned = piece.heightMm <= widthMm && piece.widthMm <= heightMm;
  return new AppError(
    'piece-fits-nowhere',
    `${piece.name}: found a piece of ${piece.widthMm} × ${piece.heightMm} mm, but a plate has room for ${say(widthMm)} × ${say(heightMm)} mm; missing ${missing.join(' and ')}${fitsTurned ? '; turned by a quarter it would fit' : ''}`,
    { widthMm: piece.widthMm, heightMm: piece.heightMm, roomMm: [widthMm, heightMm], fitsTurned },
  );
}

/** What the pieces are ordered by, largest first; of their wider way. */
const MEASURES: readonly ((width: number, height: number) => number)[] = [
  (width, height) => width * height,
  (width, height) => Math.max(width, height),
  (_, height) => height,
  (width) => width,
  (width, height) => width + height,
];

function orderBy(ways: readonly Ways[], measure: (width: number, height: number) => number): number[] {
  const sizes = ways.map(([first]) => measure(first![0], first![1]));
  return sizes.map((_, at) => at).sort((a, b) => sizes[b]! - sizes[a]! || a - b);
}

/** The order with a few pairs exchanged. */
function shakeOrder(order: readonly number[], random: Random): number[] {
  const shaken = [...order];
  const swaps = 1 + random.nextBelow(Math.max(1, order.length >> 2));
  for (let swap = 0; swap < swaps; swap++) {
    const a = random.nextBelow(order.length);
    const b = random.nextBelow(order.length);
    [shaken[a], shaken[b]] = [shaken[b]!, shaken[a]!];
  }
  return shaken;
}

/** Lower is better, compared in order. */
type Score = readonly [number, number];
type Rule = (free: Box, width: number, height: number) => Score;

const RULES: readonly Rule[] = [
  (free, width, height) => {
    const [right, below] = [free.width - width, free.height - height];
    return [Math.min(right, below), Math.max(right, below)];
  },
  (free, _, height) => [free.y + height, free.x],
];

interface Attempt {
  readonly order: readonly number[];
  readonly placed: readonly Placed[];
  readonly plates: number;
  /** Pieces that lie turned. */
  readonly turns: number;
  /** Area taken on the last plate. */
  readonly rest: number;
}

function isBetter(a: Attempt, b: Attempt): boolean {
  if (a.plates !== b.plates) return a.plates < b.plates;
  return a.turns !== b.turns ? a.turns < b.turns : a.rest < b.rest;
}

function packInOrder(
  { ways, width, height }: Job,
  { order, rule }: { readonly order: readonly number[]; readonly rule: Rule },
): Attempt {
  const plates: Box[][] = [];
  const placed: Placed[] = [];
  for (const piece of order) {
    let plate = 0;
    let place: Place | undefined;
    for (; !place; plate++) {
      // Every piece has a way that fits into an empty plate, so the loop ends here at the latest.
      if (plate === plates.length) plates.push([{ x: 0, y: 0, width, height }]);
      place = findPlace(plates[plate]!, ways[piece]!, rule);
      if (place) plates[plate] = splitFree(plates[plate]!, place);
    }
    placed.push({ ...place, piece, plate: plate - 1 });
  }
  const last = placed.filter(({ plate }) => plate === plates.length - 1);
  return {
    order,
    placed,
    plates: plates.length,
    turns: placed.filter(({ turned }) => turned).length,
    rest: last.reduce((sum, box) => sum + box.width * box.height, 0),
  };
}

interface Place extends Box {
  readonly turned: boolean;
}

function findPlace(free: readonly Box[], ways: Ways, rule: Rule): Place | undefined {
  let best: Place | undefined;
  let least: Score | undefined;
  for (const [width, height, turned] of ways) {
    for (const box of free) {
      if (width > box.width || height > box.height) continue;
      const score = rule(box, width, height);
      if (least && (score[0] > least[0] || (score[0] === least[0] && score[1] >= least[1]))) continue;
      least = score;
      best = { x: box.x, y: box.y, width, height, turned };
    }
  }
  return best;
}

/** What stays free once a box is taken: every largest rectangle beside it, without those that lie inside another. */
function splitFree(free: readonly Box[], taken: Box): Box[] {
  const parts = free.flatMap((box) => cutAway(box, taken));
  return parts.filter(
    (box, at) => !parts.some((other, n) => n !== at && isInside(box, other) && !(n > at && isInside(other, box))),
  );
}

function cutAway(box: Box, taken: Box): Box[] {
  const right = box.x + box.width;
  const bottom = box.y + box.height;
  const takenRight = taken.x + taken.width;
  const takenBottom = taken.y + taken.height;
  if (taken.x >= right || takenRight <= box.x || taken.y >= bottom || takenBottom <= box.y) return [box];
  return [
    { ...box, width: taken.x - box.x },
    { ...box, x: takenRight, width: right - takenRight },
    { ...box, height: taken.y - box.y },
    { ...box, y: takenBottom, height: bottom - takenBottom },
  ].filter(({ width, height }) => width > 0 && height > 0);
}

function isInside(inner: Box, outer: Box): boolean {
  return (
    inner.x >= outer.x &&
    inner.y >= outer.y &&
    inner.x + inner.width <= outer.x + outer.width &&
    inner.y + inner.height <= outer.y + outer.height
  );
}

const say = (mm: number) => String(Math.round(mm * 1000) / 1000);
