import { giveBackKernels } from '../plane/index.ts';
import { addDose, DOSE_BITS, type LevelMarks } from './level-marks.ts';
import { addFar, closeFarField, type FarField, type FarLook, lookFar, openFarField, tryFar } from './search-far.ts';
import {
  createTrial,
  listPairs,
  MOVE_STEPS,
  type Move,
  moveBox,
  squareNear,
  squareShares,
  TRIAL_SIDE,
  TRIAL_STRIDE_BITS,
} from './search-moves.ts';
import { type BandShape, layOutBand, startBlur } from './search-near.ts';
import { type Band, type SearchPlan, WANTED_HALF, WANTED_SHIFT } from './search-plan.ts';

/**
 * The band of a search over dots that have levels of power: see `searchBand`, whose energy it lowers. A dot is raised
 * or lowered to the level that what is seen asks for, or swapped with a neighbour; what that changes is worked out from
 * the doses at the points of all cells that it reaches.
 */
export interface LevelBand {
  readonly marks: LevelMarks;
  readonly shape: BandShape;
  /** Level of each dot, and whether it may change. */
  readonly dots: Uint8Array;
  readonly held: Uint8Array;
  /** Doses at the points of each cell, its strength in `FULL`, and the blurred error of that. */
  readonly cells: Int32Array;
  readonly strengths: Int32Array;
  readonly near: Int32Array;
  readonly blur: ReturnType<typeof startBlur>;
  readonly farField: FarField;
  readonly look: FarLook;
  readonly trial: ReturnType<typeof createTrial>;
  readonly pairs: Int32Array;
  readonly moves: readonly LevelMove[];
  /** Strength that even fields of each level have, in `FULL`. */
  readonly even: Float64Array;
  /** Energy of a change by itself, for each square of its strength. */
  readonly alone: number;
  /** Doses that the trial changes. */
  readonly change: Int32Array;
  readonly taps: Pick<SearchPlan, 'nearX' | 'nearY'>;
}

interface LevelMove extends Move {
  readonly px: number;
  readonly py: number;
}

/**
 * Share of the linear estimate's cost from which a move is worked out. Assumed: as for a table of dots, see
 * search-moves.ts.
 */
const MARGIN = 0.5;

const toFull = (sum: number) => (sum + WANTED_HALF) >> WANTED_SHIFT;

export function openLevelBand(
  plan: SearchPlan,
  band: Band,
  { marks, arithmetic }: { readonly marks: LevelMarks; readonly arithmetic: 'simd' | 'scalar' | undefined },
): LevelBand {
  const { width, height, nearX, nearY, wanted } = plan;
  const shape = layOutBand(plan, band);
  const { top, rows, first, last, stride, pad } = shape;
  const dots = new Uint8Array(stride * rows);
  const held = new Uint8Array(stride * rows).fill(1);
  // Dots at the band's upper and lower end reach rows beyond it.
  const beyond = marks.reachY * stride;
  const { points } = marks;
  const whole = new Int32Array(points * (stride * rows + 2 * beyond));
  const cells = whole.subarray(points * beyond);
  const strengths = new Int32Array(stride * rows);
  const blur = startBlur(plan, shape, arithmetic);
  for (let row = 0; row < rows; row++) {
    const y = top + row;
    if (y < 0 || y >= height) continue;
    for (let x = 0; x < width; x++) {
      const at = row * stride + pad + x;
      const level = plan.dots[y * width + x]!;
      const units = toFull(wanted[y * width + x]!);
      dots[at] = level;
      held[at] = row < first || row >= last || units === 0 || units === toFull(2 ** 15 - 1) ? 1 : 0;
      if (level > 0) addDose(whole, marks, { at: at + beyond, stride, from: 0, to: level });
    }
  }
  blur.fillNear((row, errors) => {
    const y = top + row;
    if (y < 0 || y >= height) return false;
    for (let x = 0; x < width; x++) {
      const at = row * stride + pad + x;
      strengths[at] = strengthAt(cells, points * at, marks);
      errors[pad + x] = strengths[at] - toFull(wanted[y * width + x]!);
    }
    return true;
  });
  const moves = MOVE_STEPS.map(([px, py]): LevelMove => ({ ...moveBox(plan.table, { px, py, stride }), px, py }));
  const { own, beside } = squareFootprint(plan, marks);
  return {
    ...{ marks, shape, dots, held, cells, strengths, blur },
    near: blur.near,
    farField: openFarField(plan, band),
    look: { tones: new Float64Array(8), toneColumns: new Float64Array(10), slope: 0 },
    trial: createTrial(),
    pairs: listPairs(plan),
    moves: moves.map((move, at) => ({ ...move, cost: MARGIN * (own.near - (beside[at] ?? 0)) })),
    even: marks.even.map((strength) => strength / 2 ** WANTED_SHIFT),
    alone: own.near + own.far,
    change: new Int32Array(points * TRIAL_SIDE * TRIAL_SIDE),
    taps: { nearX, nearY },
  };
}

export function closeLevelBand(plan: SearchPlan, band: Band, { shape, dots, farField, blur }: LevelBand): void {
  const { width } = plan;
  for (let y = band.from; y < band.to; y++) {
    const at = (shape.first + y - band.from) * shape.stride + shape.pad;
    plan.dots.set(dots.subarray(at, at + width), y * width);
  }
  closeFarField(plan, band, farField);
  giveBackKernels(blur.kernels);
}

function strengthAt(cells: Int32Array, from: number, { points, strength }: LevelMarks): number {
  const last = strength.length - 1;
  let sum = 0;
  for (let at = from; at < from + points; at++) {
    const entry = cells[at] >> DOSE_BITS;
    sum += strength[Math.min(entry, last)];
  }
  return toFull(sum);
}

/** Energy of one unit of strength, spread as a dot's dose is: by itself, and with one that lies a step beside it. */
function squareFootprint(plan: SearchPlan, { doses, points, boxSize, levels, reachX }: LevelMarks) {
  const { nearX, nearY, cellsX, cellsY } = plan;
  const columns = 2 * reachX + 1;
  const shares = Array.from({ length: boxSize / points }, (_, cell) => {
    let sum = 0;
    for (let point = 0; point < points; point++) sum += doses[(levels - 1) * boxSize + points * cell + point]!;
    return { x: cell % columns, y: Math.floor(cell / columns), sum };
  });
  const total = shares.reduce((sum, share) => sum + share.sum, 0);
  const tap = ({ reach, taps }: typeof nearX, d: number) => (Math.abs(d) <= reach ? taps[reach + d]! : 0);
  const nearOf = ([px, py]: readonly [number, number]) => {
    let sum = 0;
    for (const a of shares) {
      for (const b of shares) sum += a.sum * b.sum * tap(nearX, a.x - b.x - px) * tap(nearY, a.y - b.y - py);
    }
    return total > 0 ? sum / total ** 2 : 0;
  };
  const beside = MOVE_STEPS.map((step, at) => (at === 0 ? 0 : nearOf(step)));
  return { own: { near: nearOf([0, 0]), far: squareShares(cellsX) * squareShares(cellsY) }, beside };
}

/** What was done at a dot: nothing, its level changed, or it was swapped. */
export type LevelChange = 'none' | 'toggle' | 'swap';

/** Where the dots of a row of a block lie: looks at each, and changes it where that lowers the energy. */
export function searchLevelRow(
  state: LevelBand,
  { row, left, right }: { readonly row: number; readonly left: number; readonly right: number },
  took: (x: number, change: LevelChange, gained: number) => void,
): void {
  const { shape, farField, look, trial, held } = state;
  lookFar(farField, look, { top: shape.top, row, left, right });
  for (let x = left, at = row * shape.stride + shape.pad + x; x < right; x++, at++) {
    if (held[at] === 1) continue;
    trial.at = at;
    trial.x = x;
    trial.row = row;
    trial.tone = look.tones[x - left]!;
    const done = searchDot(state);
    if (done.energy < 0) took(x, done.change, -done.energy);
  }
}

function searchDot(state: LevelBand): { readonly energy: number; readonly change: LevelChange } {
  const { trial, dots, held, near, moves, even, alone } = state;
  const { at } = trial;
  const level = dots[at]!;
  const seen = near[at]! + trial.tone;
  let energy = 0;
  let aim = nearestLevel(even, level, even[level]! - seen / alone);
  if (aim !== level) {
    energy = tryChange(state, moves[0]!, { from: level, to: aim });
    if (energy >= 0 && Math.abs(aim - level) > 1) {
      aim = level + Math.sign(aim - level);
      energy = tryChange(state, moves[0]!, { from: level, to: aim });
    }
    if (energy >= 0) {
      energy = 0;
      aim = level;
    }
  }
  let least = 0;
  let swap: LevelMove | undefined;
  if (level > 0) {
    for (let k = 1; k < moves.length; k++) {
      const move = moves[k]!;
      const other = at + move.partner;
      if (dots[other]! >= level || held[other] === 1) continue;
      const step = even[level]! - even[dots[other]!]!;
      const estimate = step * (near[other]! - near[at]! + step * move.cost);
      if (estimate < least) {
        least = estimate;
        swap = move;
      }
    }
  }
  if (swap) {
    const other = dots[at + swap.partner]!;
    const found = tryChange(state, swap, { from: level, to: other });
    if (found < energy) {
      makeChange(state, swap, { from: level, to: other });
      return { energy: found, change: 'swap' };
    }
    if (aim !== level) tryChange(state, moves[0]!, { from: level, to: aim });
  }
  if (aim === level) return { energy: 0, change: 'none' };
  makeChange(state, moves[0]!, { from: level, to: aim });
  return { energy, change: 'toggle' };
}

/** The level whose even field is nearest to a strength, from a level on. */
function nearestLevel(even: Float64Array, from: number, strength: number): number {
  const top = even.length - 1;
  let level = from;
  if (strength > even[level]!) {
    while (level < top && 2 * strength > even[level]! + even[level + 1]!) level++;
  } else {
    while (level > 0 && 2 * strength < even[level]! + even[level - 1]!) level--;
  }
  return level;
}

interface Change {
  /** Level of the trial's dot, and what it becomes; a partner takes what it leaves. */
  readonly from: number;
  readonly to: number;
}

/** Any energy above 0, without unit. Exact: only its sign is read. */
const NO_GAIN = 1;

/** Exact change of the energy where it is below 0, else some number above; what changes is left in the trial. */
function tryChange(state: LevelBand, move: LevelMove, { from, to }: Change): number {
  const { shape, marks, trial, pairs, farField, cells, strengths, near, change } = state;
  const { points, strength } = marks;
  const { width, height, top, stride } = shape;
  const { dx, dy, columns, rows, px, py } = move;
  const { deltas, places, at, x, row, tone } = trial;
  change.fill(0, 0, points * columns * rows);
  addBox(change, marks, { columns, left: Math.max(0, -px), upper: Math.max(0, -py), from, to });
  if (px !== 0 || py !== 0) {
    addBox(change, marks, { columns, left: Math.max(0, px), upper: Math.max(0, py), from: to, to: from });
  }
  const last = strength.length - 1;
  const firstColumn = Math.max(0, -(x + dx));
  const endColumn = Math.min(columns, width - x - dx);
  const firstRow = Math.max(0, -(row + dy + top));
  const endRow = Math.min(rows, height - row - dy - top);
  let count = 0;
  let linear = 0;
  for (let j = firstRow; j < endRow; j++) {
    for (let i = firstColumn; i < endColumn; i++) {
      const cell = at + (dy + j) * stride + dx + i;
      let sum = 0;
      for (let point = 0, k = points * (j * columns + i), c = points * cell; point < points; point++, k++, c++) {
        const entry = (cells[c] + change[k]) >> DOSE_BITS;
        sum += strength[Math.min(entry, last)];
      }
      const delta = toFull(sum) - strengths[cell];
      if (delta === 0) continue;
      linear += delta * near[cell];
      deltas[count] = delta;
      places[count] = (j << TRIAL_STRIDE_BITS) + i;
      count++;
    }
  }
  trial.count = count;
  if (count === 0) return NO_GAIN;
  // What is seen from afar changes little over the box, so that far from a gain the rest need not be worked out.
  let total = 0;
  for (let a = 0; a < count; a++) total += deltas[a];
  const bound = 2 * Math.abs(total) * state.look.slope * TRIAL_SIDE;
  if (2 * (linear + total * tone) >= bound) return NO_GAIN;
  const own = squareNear(trial, pairs);
  if (2 * (linear + total * tone) + own >= bound) return NO_GAIN;
  return 2 * linear + own + tryFar(shape, farField, trial, move);
}

interface Box extends Change {
  /** Columns of the move's box, and where the dot's own box lies in it. */
  readonly columns: number;
  readonly left: number;
  readonly upper: number;
}

function addBox(change: Int32Array, { doses, points, boxSize, reachX, reachY }: LevelMarks, box: Box): void {
  const { columns, left, upper, from, to } = box;
  const side = points * (2 * reachX + 1);
  let old = from * boxSize;
  let next = to * boxSize;
  for (let j = 0; j <= 2 * reachY; j++) {
    const begin = points * ((upper + j) * columns + left);
    for (let i = begin; i < begin + side; i++, old++, next++) change[i] += doses[next] - doses[old];
  }
}

/** Makes the change that was tried last. */
function makeChange(state: LevelBand, move: LevelMove, { from, to }: Change): void {
  const { shape, marks, dots, cells, strengths, trial, farField, taps } = state;
  const { change, changeStride, addChange } = state.blur;
  const { stride } = shape;
  const { dx, dy, rows, partner } = move;
  const { deltas, places, count, at } = trial;
  dots[at] = to;
  addDose(cells, marks, { at, stride, from, to });
  if (partner !== 0) {
    dots[at + partner] = from;
    addDose(cells, marks, { at: at + partner, stride, from: to, to: from });
  }
  const { reach, taps: tapsX } = taps.nearX;
  const box = at + dy * stride + dx;
  change.fill(0, 0, rows * changeStride);
  for (let a = 0; a < count; a++) {
    const delta = deltas[a];
    const j = places[a] >> TRIAL_STRIDE_BITS;
    const i = places[a] & ((1 << TRIAL_STRIDE_BITS) - 1);
    strengths[box + j * stride + i] += delta;
    for (let t = 0; t <= 2 * reach; t++) change[j * changeStride + i + t] += Math.imul(delta, tapsX[t]);
  }
  addChange(box - taps.nearY.reach * stride - reach, rows);
  addFar(farField, trial);
}
