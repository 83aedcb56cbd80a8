import { type DotNeighbourhood, listNeighbours } from '../plane/index.ts';
import { type EyeCells, FULL, type SearchPlan } from './search-plan.ts';

/** One way to change dots: which cells of a box around the first dot change which bit of their neighbourhood. */
export interface Move {
  /** Where the second dot lies from the first, cells of the band. */
  readonly partner: number;
  /** The box: its first cell from the first dot, its size, and the bits, row by row. */
  readonly dx: number;
  readonly dy: number;
  readonly columns: number;
  readonly rows: number;
  readonly bits: Int32Array;
  /** Linear estimate of the cost: half of the energy that the change has by itself. */
  readonly cost: number;
}

/**
 * Longest side of what a move changes: 6 × 6 dots, and its cells when they are single dots. A power of two above it is
 * the step from row to row in `places`, twice the side so that differences of places tell two directions apart. Dots
 * and bits. Exact: the next powers of two.
 */
export const TRIAL_SIDE = 8;
export const TRIAL_STRIDE_BITS = 4;
const TRIAL_STRIDE = 1 << TRIAL_STRIDE_BITS;
const PAIRS_MIDDLE = TRIAL_SIDE * TRIAL_STRIDE;

/**
 * A move tried at one dot, and all that it would change: the one thing that trying writes and making reads. It is used
 * again for every trial, since making one anew costs more than a trial itself.
 */
export interface Trial {
  /** The dot: its number in the band's arrays, its place, and what the far eye sees there. */
  at: number;
  x: number;
  row: number;
  tone: number;
  /** How many strengths change, by how much, and where in the move's box. */
  count: number;
  readonly deltas: Int32Array;
  readonly places: Int32Array;
  /** First of the cells that change, counted in the far field, how many, and by how much. */
  cellX: number;
  cellY: number;
  cellColumns: number;
  cellLines: number;
  readonly cellDeltas: Float64Array;
  /** Room for one line of the sums over cells. */
  readonly lineDeltas: Float64Array;
}

export function createTrial(): Trial {
  return {
    at: 0,
    x: 0,
    row: 0,
    tone: 0,
    count: 0,
    deltas: new Int32Array(TRIAL_SIDE * TRIAL_SIDE),
    places: new Int32Array(TRIAL_SIDE * TRIAL_SIDE),
    cellX: 0,
    cellY: 0,
    cellColumns: 0,
    cellLines: 0,
    cellDeltas: new Float64Array(TRIAL_SIDE * TRIAL_SIDE),
    lineDeltas: new Float64Array(TRIAL_SIDE),
  };
}

/** Products of near weights by the difference of two places in a box, from `PAIRS_MIDDLE`. */
export function listPairs({ nearX, nearY }: SearchPlan): Int32Array {
  const pairs = new Int32Array(2 * PAIRS_MIDDLE);
  for (let dy = -TRIAL_SIDE + 1; dy < TRIAL_SIDE; dy++) {
    for (let dx = -TRIAL_SIDE + 1; dx < TRIAL_SIDE; dx++) {
      if (Math.abs(dx) > nearX.reach || Math.abs(dy) > nearY.reach) continue;
      pairs[PAIRS_MIDDLE + dy * TRIAL_STRIDE + dx] = nearX.taps[nearX.reach + dx] * nearY.taps[nearY.reach + dy];
    }
  }
  return pairs;
}

/**
 * Assumed (least error for the time it costs, benchmarks/direct-search.ts): on a table a trial is computed when the
 * linear estimate of its energy falls below this share of the linear cost, since marks that overlap change less than a
 * full one.
 */
const TABLE_MARGIN = 0.5;

/** Where the second dot of each move lies, dots: none for a toggle, then the eight neighbours. Exact: all there are. */
export const MOVE_STEPS = [
  [0, 0],
  [-1, -1],
  [0, -1],
  [1, -1],
  [-1, 0],
  [1, 0],
  [-1, 1],
  [0, 1],
  [1, 1],
] as const;

/** The toggle, then the swaps with the eight neighbours. */
export function listMoves(plan: SearchPlan, stride: number): Move[] {
  const { table, nearX, nearY, cellsX, cellsY } = plan;
  const places = listNeighbours(table);
  const near = (dx: number, dy: number) => nearX.taps[nearX.reach + dx] * nearY.taps[nearY.reach + dy];
  const margin = places.length === 1 ? 1 : TABLE_MARGIN;
  return MOVE_STEPS.map(([px, py]) => {
    const box = moveBox(table, { px, py, stride });
    const { dx, dy, columns, bits } = box;
    // A cell sees a dot at minus its own place from the dot.
    const addDot = (atX: number, atY: number) =>
      places.forEach((place, i) => {
        bits[(atY - place.dy - dy) * columns + (atX - place.dx - dx)] ^= 1 << (places.length - 1 - i);
      });
    addDot(0, 0);
    const isSwap = px !== 0 || py !== 0;
    if (isSwap) addDot(px, py);
    const alone = near(0, 0) + squareShares(cellsX) * squareShares(cellsY);
    const reach = Math.abs(px) <= nearX.reach && Math.abs(py) <= nearY.reach ? near(px, py) : 0;
    const cost = margin * FULL * (isSwap ? near(0, 0) - reach : alone / 2);
    return { ...box, cost };
  });
}

/** Where the cells lie that a dot changes, or a dot and one beside it. */
export function moveBox(
  table: Pick<DotNeighbourhood, 'columns' | 'rows'>,
  { px, py, stride }: { readonly px: number; readonly py: number; readonly stride: number },
): Move {
  const columns = Math.abs(px) + table.columns;
  const rows = Math.abs(py) + table.rows;
  return {
    partner: py * stride + px,
    dx: Math.min(0, px) - (table.columns >> 1),
    dy: Math.min(0, py) - (table.rows >> 1),
    columns,
    rows,
    bits: new Int32Array(columns * rows),
    cost: 0,
  };
}

/** Far energy of one dot in the middle of a cell along one axis. */
export function squareShares({ far }: EyeCells): number {
  const shares = [1 / 8, 3 / 4, 1 / 8];
  let sum = 0;
  shares.forEach((a, i) => {
    shares.forEach((b, j) => {
      sum += a * b * far.taps[far.reach + i - j];
    });
  });
  return sum;
}

/** The energy that the trial's change of strengths has by itself, as the near eye sees it. */
export function squareNear({ count, deltas, places }: Trial, pairs: Int32Array): number {
  const alone = pairs[PAIRS_MIDDLE] | 0;
  let own = 0;
  for (let a = 0; a < count; a++) {
    const delta = deltas[a] | 0;
    const place = places[a] + PAIRS_MIDDLE;
    let others = 0;
    for (let b = 0; b < a; b++) others = (others + Math.imul(deltas[b], pairs[place - places[b]])) | 0;
    own += delta * (Math.imul(delta, alone) + 2 * others);
  }
  return own;
}
