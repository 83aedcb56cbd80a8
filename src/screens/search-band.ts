import { loadKernels } from '../plane/index.ts';
import type { LevelMarks } from './level-marks.ts';
import { addFar, closeFarField, type FarField, type FarLook, lookFar, openFarField, tryFar } from './search-far.ts';
import { type BandCounts, type BandWork, openFastBand } from './search-fast.ts';
import { closeLevelBand, openLevelBand, searchLevelRow } from './search-levels.ts';
import {
  createTrial,
  listMoves,
  listPairs,
  type Move,
  squareNear,
  TRIAL_STRIDE_BITS,
  type Trial,
} from './search-moves.ts';
import { closeNearField, FIRES, HELD, type NearField, openNearField } from './search-near.ts';
import { type Band, FULL, type SearchPlan } from './search-plan.ts';

/**
 * Blocks of 1 << BLOCK_BITS dots a side are looked at again only when something in or beside them has changed. Bits.
 * Assumed: larger blocks look in vain, smaller ones cost more to keep.
 */
const BLOCK_BITS = 3;
const BLOCK = 1 << BLOCK_BITS;
/**
 * Dots around a change that may change in turn: within the strong part of the near weights. Assumed: wider changes the
 * result little and costs looks.
 */
const REVISIT = 3;
/**
 * A band is done when a sweep changes fewer than one dot in so many, or after so many sweeps; counts. Assumed: what
 * later sweeps change is not seen.
 */
const STOP_ONE_IN = 400;
const MOST_SWEEPS = 12;
export interface BandResult {
  /** Dots that were toggled, and pairs that were swapped. */
  readonly toggles: number;
  readonly swaps: number;
  /** By how much the energy fell, in the plan's units. */
  readonly gained: number;
  readonly sweeps: number;
}

/**
 * Searches one band of the plan in place: sweeps over its dots, each of which is toggled, or swapped with one of its
 * eight neighbours, whichever lowers the energy more (source: 'analouiAllebach1992'; incremental energies by
 * source: 'liebermanAllebach2000'), until a sweep changes fewer than one dot in 400, or for twelve sweeps.
 *
 * What is asked to be exactly bare or solid stays so. A swap is tried from the firing dot only, which sees each pair
 * once. `scalar` forces the readable version; `simd` takes the kernels when they can be had. Both give the same dots.
 */
export function searchBand(plan: SearchPlan, band: Band, arithmetic: 'simd' | 'scalar' = 'simd'): BandResult {
  const work = openWork(plan, band, arithmetic);
  const { counts } = work;
  const dots = (band.to - band.from) * plan.width;
  let sweeps = 0;
  let changed = dots;
  while (sweeps < MOST_SWEEPS && changed * STOP_ONE_IN >= dots && changed > 0) {
    const before = counts.toggles + counts.swaps;
    work.sweep();
    changed = counts.toggles + counts.swaps - before;
    sweeps++;
  }
  work.close();
  const { toggles, swaps, gained } = counts;
  return { toggles, swaps, gained, sweeps };
}

function openWork(plan: SearchPlan, band: Band, arithmetic: 'simd' | 'scalar'): BandWork {
  const { marks } = plan;
  if (marks) return openLevels(plan, band, { marks, arithmetic });
  const kernels = arithmetic === 'simd' ? loadKernels() : undefined;
  return kernels ? openFastBand(kernels, plan, { band, block: BLOCK }) : openPlainBand(plan, band);
}

function openPlainBand(plan: SearchPlan, band: Band): BandWork {
  const state = openBand(plan, band);
  const counts = { toggles: 0, swaps: 0, gained: 0 };
  return {
    counts,
    sweep: () => sweepBlocks(state.blocks, ({ blockX, blockY }) => searchBlock(state, { blockX, blockY, counts })),
    close() {
      closeNearField(plan, band, state.nearField);
      closeFarField(plan, band, state.farField);
    },
  };
}

/** The same over dots that have levels of power. */
function openLevels(
  plan: SearchPlan,
  band: Band,
  { marks, arithmetic }: { readonly marks: LevelMarks; readonly arithmetic: 'simd' | 'scalar' },
): BandWork {
  const state = openLevelBand(plan, band, { marks, arithmetic });
  const { width, first, last } = state.shape;
  const blocks = layOutBlocks(plan, band);
  const counts = { toggles: 0, swaps: 0, gained: 0 };
  const searchAt = ({ blockX, blockY }: { readonly blockX: number; readonly blockY: number }) => {
    const left = blockX << BLOCK_BITS;
    const upper = first + (blockY << BLOCK_BITS);
    for (let row = upper; row < Math.min(last, upper + BLOCK); row++) {
      searchLevelRow(state, { row, left, right: Math.min(width, left + BLOCK) }, (x, change, gained) => {
        counts.gained += gained;
        if (change === 'toggle') counts.toggles++;
        else counts.swaps++;
        markDue(blocks, x, row - first);
      });
    }
  };
  return {
    counts,
    sweep: () => sweepBlocks(blocks, searchAt),
    close: () => closeLevelBand(plan, band, state),
  };
}

/** A band at work: what both eyes see, the moves there are, the one on trial, and the blocks still to look at. */
interface BandState {
  readonly nearField: NearField;
  readonly farField: FarField;
  readonly moves: readonly Move[];
  readonly pairs: Int32Array;
  readonly look: FarLook;
  readonly trial: Trial;
  readonly blocks: Blocks;
}

/** Blocks to look at in this sweep and in the next, with a border of one block. */
interface Blocks {
  readonly across: number;
  readonly down: number;
  readonly due: Uint8Array;
  readonly dueNext: Uint8Array;
}

function openBand(plan: SearchPlan, band: Band): BandState {
  const nearField = openNearField(plan, band);
  return {
    nearField,
    farField: openFarField(plan, band),
    moves: listMoves(plan, nearField.stride),
    pairs: listPairs(plan),
    look: { tones: new Float64Array(BLOCK), toneColumns: new Float64Array(BLOCK + 2), slope: 0 },
    trial: createTrial(),
    blocks: layOutBlocks(plan, band),
  };
}

function layOutBlocks({ width }: SearchPlan, band: Band): Blocks {
  const across = Math.ceil(width / BLOCK);
  const down = Math.ceil((band.to - band.from) / BLOCK);
  return {
    across,
    down,
    due: new Uint8Array((across + 2) * (down + 2)).fill(1),
    dueNext: new Uint8Array((across + 2) * (down + 2)),
  };
}

/** Looks at every block that is due, and takes those to be looked at next for due. */
function sweepBlocks(
  { across, down, due, dueNext }: Blocks,
  searchAt: (block: { readonly blockX: number; readonly blockY: number }) => void,
): void {
  const stride = across + 2;
  for (let blockY = 0; blockY < down; blockY++) {
    for (let blockX = 0; blockX < across; blockX++) {
      const block = (blockY + 1) * stride + blockX + 1;
      if (due[block] === 0 && dueNext[block] === 0) continue;
      searchAt({ blockX, blockY });
    }
  }
  due.set(dueNext);
  dueNext.fill(0);
}

interface Block {
  readonly blockX: number;
  readonly blockY: number;
  readonly counts: BandCounts;
}

/** Tries every dot of a block once. */
function searchBlock(state: BandState, { blockX, blockY, counts }: Block): void {
  const { nearField, farField, moves, look, trial } = state;
  const { width, first, last, top, stride, pad, dots, near } = nearField;
  const { tones } = look;
  const left = blockX << BLOCK_BITS;
  const right = Math.min(width, left + BLOCK);
  const upper = first + (blockY << BLOCK_BITS);
  const lower = Math.min(last, upper + BLOCK);
  const toggleCost = moves[0].cost;
  for (let row = upper; row < lower; row++) {
    lookFar(farField, look, { top, row, left, right });
    for (let x = left, at = row * stride + pad + x; x < right; x++, at++) {
      const dot = dots[at];
      if (dot >= HELD) continue;
      const tone = tones[x - left];
      trial.at = at;
      trial.x = x;
      trial.row = row;
      trial.tone = tone;
      const seen = near[at] + tone;
      let energy = 0;
      let chosen = -1;
      // Half a move's energy is about FULL times the step in what is seen plus the move's cost.
      if ((dot === 0 ? seen : -seen) + toggleCost < 0) {
        energy = tryMove(state, moves[0]);
        if (energy < 0) chosen = 0;
        else energy = 0;
      }
      if (dot === FIRES) {
        let least = 0;
        let swap = -1;
        for (let k = 1; k < 9; k++) {
          const other = at + moves[k].partner;
          if (dots[other] !== 0) continue;
          const estimate = near[other] - near[at] + moves[k].cost;
          if (estimate < least) {
            least = estimate;
            swap = k;
          }
        }
        if (swap > 0) {
          const found = tryMove(state, moves[swap]);
          if (found < energy) {
            energy = found;
            chosen = swap;
          } else if (chosen === 0) tryMove(state, moves[0]);
        }
      }
      if (chosen < 0) continue;
      makeMove(state, moves[chosen]);
      counts.gained -= energy;
      if (chosen === 0) counts.toggles++;
      else counts.swaps++;
      markDue(state.blocks, x, row - first);
    }
  }
}

/** What a change at a dot may make worth while is near it. */
function markDue({ dueNext, across }: Blocks, x: number, row: number): void {
  const stride = across + 2;
  const left = (x + BLOCK - REVISIT) >> BLOCK_BITS;
  const right = (x + BLOCK + REVISIT) >> BLOCK_BITS;
  const lower = (row + BLOCK + REVISIT) >> BLOCK_BITS;
  for (let y = (row + BLOCK - REVISIT) >> BLOCK_BITS; y <= lower; y++) {
    for (let block = y * stride + left; block <= y * stride + right; block++) dueNext[block] = 1;
  }
}

/** What a refused move returns: any energy above 0, without unit. Exact: only its sign is read. */
const NO_GAIN = 1;

/**
 * Exact change of the energy when that is below 0, else some number above; what changes is left in the trial. The far
 * look is only worked out for moves that its estimate, the trial's `tone`, does not rule out.
 */
function tryMove(state: BandState, move: Move): number {
  const { nearField, farField, trial, pairs, look } = state;
  const { stride, index, near, strength } = nearField;
  const { deltas, places, at, tone } = trial;
  const { dx, dy, columns, rows, bits } = move;
  let count = 0;
  let linear = 0;
  let total = 0;
  for (let j = 0, k = 0, from = at + dy * stride + dx; j < rows; j++, from += stride) {
    for (let i = 0; i < columns; i++, k++) {
      const mask = bits[k];
      const pattern = index[from + i];
      const delta = strength[pattern ^ mask] - strength[pattern];
      if (delta === 0) continue;
      linear += delta * near[from + i];
      total += delta;
      deltas[count] = delta;
      places[count] = (j << TRIAL_STRIDE_BITS) + i;
      count++;
    }
  }
  trial.count = count;
  // The change's own energy is never below 0, so what fails without it fails with it.
  const bound = 2 * FULL * look.slope;
  const promised = 2 * (linear + total * tone);
  if (promised >= bound) return NO_GAIN;
  const own = squareNear(trial, pairs);
  if (promised + own >= bound) return NO_GAIN;
  return 2 * linear + own + tryFar(nearField, farField, trial, move);
}

/** Makes the move that was tried last. */
function makeMove(state: BandState, move: Move): void {
  const { nearField, farField, trial } = state;
  const { stride, dots, index, nearX, nearY, change, changeStride } = nearField;
  const { deltas, places, count, at } = trial;
  const { dx, dy, columns, rows, bits, partner } = move;
  dots[at] ^= FIRES;
  if (partner !== 0) dots[at + partner] ^= FIRES;
  const { reach: reachX, taps: tapsX } = nearX;
  const box = at + dy * stride + dx;
  for (let j = 0, k = 0; j < rows; j++) for (let i = 0; i < columns; i++, k++) index[box + j * stride + i] ^= bits[k];
  change.fill(0, 0, rows * changeStride);
  for (let a = 0; a < count; a++) {
    const delta = deltas[a];
    const line = (places[a] >> TRIAL_STRIDE_BITS) * changeStride + (places[a] & ((1 << TRIAL_STRIDE_BITS) - 1));
    for (let t = 0; t <= 2 * reachX; t++) change[line + t] += Math.imul(delta, tapsX[t]);
  }
  nearField.addChange(box - nearY.reach * stride - reachX, rows);
  addFar(farField, trial);
}
