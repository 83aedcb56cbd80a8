import { type Kernels, reserveBuffers } from '../plane/index.ts';
import { closeFarField, openFarField } from './search-far.ts';
import { listMoves, type Move, TRIAL_SIDE } from './search-moves.ts';
import { type BandShape, closeNearField, copyDots, errorsOfDots, layOutBand } from './search-near.ts';
import type { Band, EyeTaps, SearchPlan } from './search-plan.ts';

/** What was done in a band so far. */
export interface BandCounts {
  toggles: number;
  swaps: number;
  /** By how much the energy fell. */
  gained: number;
}

/** A band that is being searched. */
export interface BandWork {
  readonly counts: Readonly<BandCounts>;
  /** Tries every dot once that something has changed beside. */
  readonly sweep: () => void;
  /** Puts dots and cells back into the plan. */
  readonly close: () => void;
}

/** Bytes of a move in the memory of the kernels: six whole numbers and the cost. Exact: 6 × 4 + 8. */
const MOVE_BYTES = 32;

/**
 * A band searched by the kernels, in whose memory it lies: the same dots as the plain version, in less than half of its
 * time (benchmarks/direct-search.ts). One instance serves one band.
 */
export function openFastBand(
  kernels: Kernels,
  plan: SearchPlan,
  { band, block }: { readonly band: Band; readonly block: number },
): BandWork {
  const shape = layOutBand(plan, band);
  const { width, height, first, last, top, stride, pad, rows } = shape;
  const { nearX, nearY, cellsX, cellsY } = plan;
  const farField = openFarField(plan, band);
  const moves = listMoves(plan, stride);
  const [across, down] = [Math.ceil(width / block), Math.ceil((last - first) / block)];
  const blocks = (across + 2) * (down + 2);
  // Rows of a change have room for the zeros after the weights, and are a whole number of four.
  const changeStride = (TRIAL_SIDE + 2 * nearX.reach + 7) & ~3;
  const given = {
    dots: copyDots(plan, shape),
    strength: plan.strength,
    tapsX: nearX.taps,
    tapsY: nearY.taps,
    boxX: tapsInBox(nearX),
    boxY: tapsInBox(nearY),
    firstX: cellsX.first,
    sharesX: cellsX.shares,
    firstY: cellsY.first,
    sharesY: cellsY.shares,
    farTapsX: cellsX.far.taps,
    farTapsY: cellsY.far.taps,
    sums: farField.sums,
    far: farField.far,
    due: new Uint8Array(blocks).fill(1),
  };
  const at = layOut(kernels, given, {
    index: 4 * stride * rows,
    near: 4 * stride * rows,
    errors: 4 * stride,
    blurred: 4 * stride * rows,
    list: 4 * nearY.taps.length,
    change: 4 * changeStride * TRIAL_SIDE,
    cellSpread: farField.cellSpread.byteLength,
    moves: MOVE_BYTES * moves.length,
    bits: moves.reduce((sum, { bits }) => sum + bits.byteLength, 0),
    dueNext: blocks,
    counts: 16,
  });
  const { buffer } = kernels.memory;
  const dots = new Uint8Array(buffer, at.dots, stride * rows);
  const index = new Int32Array(buffer, at.index, stride * rows).fill(plan.strength.length >> 1);
  fillNear(kernels, plan, { ...shape, ...at, dots, index });
  writeMoves(buffer, moves, at);
  kernels.openBand(width, height, first, last, top, stride, pad, at.dots, at.index, at.near, at.strength);
  kernels.openNearEye(at.tapsX, nearX.reach, at.tapsY, nearY.reach, at.boxX, at.boxY, at.change, 4 * changeStride);
  kernels.openFarEye(
    cellsX.count,
    farField.cellTop,
    farField.cellRows,
    at.firstX,
    at.sharesX,
    at.firstY,
    at.sharesY,
    at.farTapsX,
    cellsX.far.reach,
    at.farTapsY,
    cellsY.far.reach,
    at.sums,
    at.far,
    at.cellSpread,
  );
  kernels.openMoves(at.moves, across, at.due, at.dueNext, at.counts);
  const due = new Uint8Array(buffer, at.due, blocks);
  const dueNext = new Uint8Array(buffer, at.dueNext, blocks);
  const [done, gained] = [new Int32Array(buffer, at.counts, 2), new Float64Array(buffer, at.counts + 8, 1)];
  return {
    counts: {
      get toggles() {
        return done[0]!;
      },
      get swaps() {
        return done[1]!;
      },
      get gained() {
        return gained[0]!;
      },
    },
    sweep() {
      for (let blockY = 0; blockY < down; blockY++) kernels.searchBlocks(blockY);
      due.set(dueNext);
      dueNext.fill(0);
    },
    close() {
      closeNearField(plan, band, { ...shape, dots, kernels });
      closeFarField(plan, band, { ...farField, sums: new Float64Array(buffer, at.sums, farField.sums.length) });
    },
  };
}

/** Bytes after each buffer: a kernel reads and writes up to a whole number of 16. Exact: the length of a vector. */
const SPARE = 16;

type Numbers = Uint8Array | Int16Array | Int32Array | Float64Array;

/** Copies what is given into the memory of the kernels, with room of so many bytes beside it: addresses, by name. */
function layOut<Given extends string, Room extends string>(
  kernels: Kernels,
  given: Readonly<Record<Given, Numbers>>,
  room: Readonly<Record<Room, number>>,
): Readonly<Record<Given | Room, number>> {
  const numbers = Object.values<Numbers>(given);
  const sizes = [...numbers.map(({ byteLength }) => byteLength), ...Object.values<number>(room)];
  const addresses = reserveBuffers(
    kernels,
    sizes.map((bytes) => bytes + SPARE),
  );
  numbers.forEach(({ buffer, byteOffset, byteLength }, i) => {
    new Uint8Array(kernels.memory.buffer, addresses[i], byteLength).set(new Uint8Array(buffer, byteOffset, byteLength));
  });
  const names = [...Object.keys(given), ...Object.keys(room)];
  return Object.fromEntries(names.map((name, i) => [name, addresses[i]])) as Record<Given | Room, number>;
}

/** Weights by the distance of two places in a move's box, −7 … 7, as far as they reach, and a zero. */
function tapsInBox({ reach, taps }: EyeTaps): Int32Array {
  return Int32Array.from({ length: 2 * TRIAL_SIDE }, (_, i) => taps[reach + i - TRIAL_SIDE + 1] ?? 0);
}

function writeMoves(buffer: ArrayBuffer, moves: readonly Move[], at: { moves: number; bits: number }): void {
  let bitsAt = at.bits;
  moves.forEach(({ partner, dx, dy, columns, rows, bits, cost }, i) => {
    const from = at.moves + MOVE_BYTES * i;
    new Int32Array(buffer, from, 6).set([partner, dx, dy, columns, rows, bitsAt]);
    new Float64Array(buffer, from + 24, 1)[0] = cost;
    new Int32Array(buffer, bitsAt, bits.length).set(bits);
    bitsAt += bits.byteLength;
  });
}

interface FastField extends BandShape {
  readonly dots: Uint8Array;
  readonly index: Int32Array;
  /** Addresses: of what is seen near, of the weights, of a row of errors, of all rows blurred along, of a list. */
  readonly near: number;
  readonly tapsX: number;
  readonly tapsY: number;
  readonly errors: number;
  readonly blurred: number;
  readonly list: number;
}

/** Errors of the dots as the near eye sees them: along the rows first, then across. */
function fillNear(kernels: Kernels, plan: SearchPlan, field: FastField): void {
  const { width, first, last, stride, pad, rows } = field;
  const { reach: reachX } = plan.nearX;
  const { reach: reachY } = plan.nearY;
  const sideY = plan.table.rows >> 1;
  const { buffer } = kernels.memory;
  const errors = new Int32Array(buffer, field.errors, stride);
  const list = new Int32Array(buffer, field.list, 2 * reachY + 1);
  const middleX = field.tapsX + 4 * reachX;
  const middleY = field.tapsY + 4 * reachY;
  const rowAt = (from: number, row: number) => from + 4 * (row * stride + pad);
  const errorsOf = errorsOfDots(plan, field);
  for (let row = sideY; row < rows - sideY; row++) {
    if (!errorsOf(row, errors)) continue;
    kernels.blurWholes(field.errors + 4 * pad, middleX, reachX, rowAt(field.blurred, row), width);
  }
  for (let row = first - sideY; row < last + sideY; row++) {
    list[0] = rowAt(field.blurred, row);
    for (let k = 1; k <= reachY; k++) {
      list[2 * k - 1] = rowAt(field.blurred, row - k);
      list[2 * k] = rowAt(field.blurred, row + k);
    }
    kernels.blurWholeRows(field.list, middleY, reachY, rowAt(field.near, row), width);
  }
}
