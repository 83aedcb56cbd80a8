import { createIndexer } from './mark-index.ts';
import {
  type Band,
  type EyeCells,
  type EyeTaps,
  FULL,
  type SearchPlan,
  WANTED_HALF,
  WANTED_SHIFT,
} from './search-plan.ts';

/** Blocks of this side are looked at again only when something in or beside them has changed. */
const BLOCK_BITS = 3;
const BLOCK = 1 << BLOCK_BITS;
/** Dots around a change that may change in turn: within the strong part of the near weights. */
const REVISIT = 3;
/** A band is done when a sweep changes fewer than one dot in so many, or after so many sweeps. */
const STOP_ONE_IN = 1000;
const MOST_SWEEPS = 12;
/** What lies in the state of a dot: whether it fires, and whether it may change. */
const FIRES = 1;
const HELD = 2;
/**
 * On a table a trial is computed when the linear estimate of its energy falls below so much of the linear cost: marks that
 * overlap change less than a full one.
 */
const TABLE_MARGIN = 0.5;

export interface BandResult {
  /** Dots that were toggled, and pairs that were swapped. */
  readonly toggles: number;
  readonly swaps: number;
  /** By how much the energy fell, in the plan's units. */
  readonly gained: number;
  readonly sweeps: number;
}

/**
 * Searches one band of the plan in place: sweeps over its dots, each of which is toggled, or swapped with one of its eight
 * neighbours, whichever lowers the energy more (source: 'analouiAllebach1992'; incremental energies by
 * source: 'liebermanAllebach2000'), until a sweep changes fewer than one dot in a thousand, or for twelve sweeps.
 *
 * What is asked to be exactly bare or solid stays so. A swap is tried from the firing dot only, which sees each pair once.
 */
export function searchBand(plan: SearchPlan, band: Band): BandResult {
  const state = openBand(plan, band);
  const dots = (band.to - band.from) * plan.width;
  const counts = { toggles: 0, swaps: 0, gained: 0, sweeps: 0 };
  let changed = dots;
  while (counts.sweeps < MOST_SWEEPS && changed * STOP_ONE_IN >= dots && changed > 0) {
    const before = counts.toggles + counts.swaps;
    sweep(state, counts);
    changed = counts.toggles + counts.swaps - before;
    counts.sweeps++;
  }
  closeBand(plan, band, state);
  return counts;
}

/** One way to change dots: which cells of a box around the first dot change which bit of their neighbourhood. */
interface Move {
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

interface BandState {
  readonly width: number;
  readonly height: number;
  /** Rows of the plane that the band holds, first and count, and those that it searches, counted in the band. */
  readonly top: number;
  readonly rows: number;
  readonly first: number;
  readonly last: number;
  /** Numbers a row, and those before the first dot. */
  readonly stride: number;
  readonly pad: number;
  readonly dots: Uint8Array;
  readonly index: Int32Array;
  readonly near: Int32Array;
  readonly strength: Int16Array;
  readonly nearX: EyeTaps;
  readonly nearY: EyeTaps;
  readonly cellsX: EyeCells;
  readonly cellsY: EyeCells;
  /** First row of cells in `sums` and `far`, and how many rows of cells these have. */
  readonly cellTop: number;
  readonly cellRows: number;
  readonly far: Float64Array;
  readonly sums: Float64Array;
  readonly moves: readonly Move[];
  /** Near weights by the difference of two places in a box. */
  readonly pairs: Int32Array;
  /** What the far eye sees at the dots of the row of a block. */
  readonly tones: Float64Array;
  readonly toneColumns: Float64Array;
  /** The dot that is tried: its number, its place, and the far look at it. */
  at: number;
  x: number;
  row: number;
  tone: number;
  /** What the trial changes: how many strengths, by how much, and where in its box. */
  count: number;
  slope: number;
  readonly deltas: Int32Array;
  readonly places: Int32Array;
  /** Their sums over cells, and rows of the update. */
  cellBox: { readonly firstX: number; readonly firstY: number; readonly columns: number; readonly rows: number };
  readonly cellDeltas: Float64Array;
  readonly lineDeltas: Float64Array;
  readonly cellSpread: Float64Array;
  readonly spread: Int32Array;
  /** Blocks to look at in this sweep and in the next. */
  readonly blocksAcross: number;
  readonly blocksDown: number;
  readonly due: Uint8Array;
  readonly dueNext: Uint8Array;
}

/** Largest box of a move: 6 × 6 dots, and its cells when they are single dots. */
const BOX = 8;
/** Numbers from row to row of a box in `places`, twice its width so that differences of places tell two directions apart. */
const BOX_BITS = 4;
const BOX_STRIDE = 1 << BOX_BITS;
const PAIRS_MIDDLE = BOX * BOX_STRIDE;

function openBand(plan: SearchPlan, band: Band): BandState {
  const { width, height, table, nearX, nearY, cellsX, cellsY } = plan;
  const sideX = table.columns >> 1;
  const sideY = table.rows >> 1;
  const halo = nearY.reach + 2 * sideY + 1;
  const pad = nearX.reach + 2 * sideX + 2;
  const stride = width + 2 * pad;
  const top = band.from - halo;
  const rows = band.to - band.from + 2 * halo;
  const first = halo;
  const last = halo + band.to - band.from;
  const dots = new Uint8Array(stride * rows).fill(HELD);
  for (let row = 0; row < rows; row++) {
    const y = top + row;
    if (y < 0 || y >= height) continue;
    const from = y * width;
    const at = row * stride + pad;
    const isSearched = row >= first && row < last;
    for (let x = 0; x < width; x++) {
      const units = (plan.wanted[from + x] + WANTED_HALF) >> WANTED_SHIFT;
      const isHeld = !isSearched || units === 0 || units === FULL;
      dots[at + x] = (plan.dots[from + x] & FIRES) | (isHeld ? HELD : 0);
    }
  }
  const lowest = Math.max(0, band.from - sideY);
  const highest = Math.min(height - 1, band.to - 1 + sideY);
  const cellTop = cellsY.first[lowest] - cellsY.far.reach;
  const cellRows = cellsY.first[highest] + 3 + cellsY.far.reach - cellTop;
  const sums = new Float64Array(cellRows * cellsX.count);
  for (let row = 0; row < cellRows; row++) {
    const y = cellTop + row;
    if (y < 0 || y >= cellsY.count) continue;
    sums.set(plan.cellSums.subarray(y * cellsX.count, (y + 1) * cellsX.count), row * cellsX.count);
  }
  const blocksAcross = Math.ceil(width / BLOCK);
  const blocksDown = Math.ceil((last - first) / BLOCK);
  const state: BandState = {
    width,
    height,
    top,
    rows,
    first,
    last,
    stride,
    pad,
    dots,
    index: new Int32Array(stride * rows).fill(plan.strength.length >> 1),
    near: new Int32Array(stride * rows),
    strength: plan.strength,
    nearX,
    nearY,
    cellsX,
    cellsY,
    cellTop,
    cellRows,
    far: new Float64Array(cellRows * cellsX.count),
    sums,
    moves: listMoves(plan, stride),
    pairs: listPairs(plan),
    tones: new Float64Array(BLOCK),
    toneColumns: new Float64Array(BLOCK + 2),
    at: 0,
    x: 0,
    row: 0,
    tone: 0,
    slope: 0,
    count: 0,
    deltas: new Int32Array(BOX * BOX),
    places: new Int32Array(BOX * BOX),
    cellBox: { firstX: 0, firstY: 0, columns: 0, rows: 0 },
    cellDeltas: new Float64Array(BOX * BOX),
    lineDeltas: new Float64Array(BOX),
    cellSpread: new Float64Array(BOX * (BOX + 2 * cellsX.far.reach)),
    spread: new Int32Array(BOX * (BOX + 2 * nearX.reach)),
    blocksAcross,
    blocksDown,
    due: new Uint8Array((blocksAcross + 2) * (blocksDown + 2)).fill(1),
    dueNext: new Uint8Array((blocksAcross + 2) * (blocksDown + 2)),
  };
  fillNear(plan, state);
  fillFar(state);
  return state;
}

function listPairs({ nearX, nearY }: SearchPlan): Int32Array {
  const pairs = new Int32Array(2 * PAIRS_MIDDLE);
  for (let dy = -BOX + 1; dy < BOX; dy++) {
    for (let dx = -BOX + 1; dx < BOX; dx++) {
      if (Math.abs(dx) > nearX.reach || Math.abs(dy) > nearY.reach) continue;
      pairs[PAIRS_MIDDLE + dy * BOX_STRIDE + dx] = nearX.taps[nearX.reach + dx] * nearY.taps[nearY.reach + dy];
    }
  }
  return pairs;
}

function listMoves(plan: SearchPlan, stride: number): Move[] {
  const { table, nearX, nearY, cellsX, cellsY } = plan;
  const { places } = createIndexer(table);
  const sideX = table.columns >> 1;
  const sideY = table.rows >> 1;
  const near = (dx: number, dy: number) => nearX.taps[nearX.reach + dx] * nearY.taps[nearY.reach + dy];
  const margin = places.length === 1 ? 1 : TABLE_MARGIN;
  const steps = [
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
  return steps.map(([px, py]) => {
    const dx = Math.min(0, px) - sideX;
    const dy = Math.min(0, py) - sideY;
    const columns = Math.abs(px) + table.columns;
    const rows = Math.abs(py) + table.rows;
    const bits = new Int32Array(columns * rows);
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
    return { partner: py * stride + px, dx, dy, columns, rows, bits, cost };
  });
}

/** Errors of the dots as the near eye sees them: along the rows first, then across. */
function fillNear(plan: SearchPlan, state: BandState): void {
  const { width, height, wanted, table, strength } = plan;
  const { top, rows, first, last, stride, pad, dots, index, near, nearX, nearY } = state;
  const sideY = table.rows >> 1;
  const indexer = createIndexer(table);
  const columns = new Uint8Array(width + table.columns);
  const rowAt = (row: number) => dots.subarray(row * stride + pad, row * stride + pad + width);
  const blurred = new Int32Array(stride * rows);
  const errors = new Int32Array(stride);
  for (let row = 0; row < 2 * sideY; row++) indexer.pushRow(columns, rowAt(row));
  for (let row = sideY; row < rows - sideY; row++) {
    indexer.pushRow(columns, rowAt(row + sideY));
    const y = top + row;
    if (y < 0 || y >= height) continue;
    const at = row * stride + pad;
    indexer.fillRow(columns, index.subarray(at, at + width));
    const from = y * width;
    for (let x = 0; x < width; x++) {
      errors[pad + x] = strength[index[at + x]] - ((wanted[from + x] + WANTED_HALF) >> WANTED_SHIFT);
    }
    blurRow(errors, { taps: nearX, out: blurred, at, width, pad });
  }
  for (let row = first - sideY; row < last + sideY; row++) {
    const out = near.subarray(row * stride, (row + 1) * stride);
    const { reach, taps } = nearY;
    const rowOf = (k: number) => blurred.subarray((row + k) * stride, (row + k + 1) * stride);
    addRow(out, rowOf(0), taps[reach]);
    for (let k = 1; k <= reach; k++) addRows(out, { above: rowOf(-k), below: rowOf(k), weight: taps[reach + k] });
  }
}

function addRow(out: Int32Array, row: Int32Array, weight: number): void {
  const w = weight | 0;
  for (let i = 0; i < out.length; i++) out[i] += Math.imul(w, row[i]);
}

function addRows(out: Int32Array, { above, below, weight }: { above: Int32Array; below: Int32Array; weight: number }) {
  const w = weight | 0;
  for (let i = 0; i < out.length; i++) out[i] += Math.imul(w, above[i] + below[i]);
}

function blurRow(
  errors: Int32Array,
  { taps, out, at, width, pad }: { taps: EyeTaps; out: Int32Array; at: number; width: number; pad: number },
): void {
  const { reach, taps: weights } = taps;
  const middle = weights[reach] | 0;
  for (let x = 0; x < width; x++) out[at + x] = Math.imul(middle, errors[pad + x]);
  for (let k = 1; k <= reach; k++) {
    const weight = weights[reach + k] | 0;
    for (let x = 0; x < width; x++) {
      out[at + x] += Math.imul(weight, errors[pad + x - k] + errors[pad + x + k]);
    }
  }
}

/** Far energy of one dot in the middle of a cell along one axis. */
function squareShares({ far }: EyeCells): number {
  const shares = [1 / 8, 3 / 4, 1 / 8];
  let sum = 0;
  shares.forEach((a, i) => {
    shares.forEach((b, j) => {
      sum += a * b * far.taps[far.reach + i - j];
    });
  });
  return sum;
}

/** Sums of the cells as the far eye sees them. */
function fillFar({ far, sums, cellRows, cellsX, cellsY }: BandState): void {
  const rows = new Float64Array(sums.length);
  const across = cellsX.count;
  const { reach: reachX, taps: tapsX } = cellsX.far;
  const { reach: reachY, taps: tapsY } = cellsY.far;
  for (let row = 0; row < cellRows; row++) {
    for (let x = 0; x < across; x++) {
      let sum = 0;
      for (let k = Math.max(-reachX, -x); k <= Math.min(reachX, across - 1 - x); k++) {
        sum += tapsX[reachX + k] * sums[row * across + x + k];
      }
      rows[row * across + x] = sum;
    }
  }
  for (let row = 0; row < cellRows; row++) {
    for (let k = Math.max(-reachY, -row); k <= Math.min(reachY, cellRows - 1 - row); k++) {
      const tap = tapsY[reachY + k];
      for (let x = 0; x < across; x++) far[row * across + x] += tap * rows[(row + k) * across + x];
    }
  }
}

interface Counts {
  toggles: number;
  swaps: number;
  gained: number;
}

function sweep(state: BandState, counts: Counts): void {
  const { blocksAcross, blocksDown, due, dueNext } = state;
  const across = blocksAcross + 2;
  for (let blockY = 0; blockY < blocksDown; blockY++) {
    for (let blockX = 0; blockX < blocksAcross; blockX++) {
      const block = (blockY + 1) * across + blockX + 1;
      if (due[block] === 0 && dueNext[block] === 0) continue;
      searchBlock(state, { blockX, blockY, counts });
    }
  }
  due.set(dueNext);
  dueNext.fill(0);
}

interface Block {
  readonly blockX: number;
  readonly blockY: number;
  readonly counts: Counts;
}

/** Tries every dot of a block once. */
function searchBlock(state: BandState, { blockX, blockY, counts }: Block): void {
  const { width, first, last, stride, pad, dots, near, moves, tones } = state;
  const left = blockX << BLOCK_BITS;
  const right = Math.min(width, left + BLOCK);
  const upper = first + (blockY << BLOCK_BITS);
  const lower = Math.min(last, upper + BLOCK);
  const toggleCost = moves[0].cost;
  for (let row = upper; row < lower; row++) {
    lookFar(state, { row, left, right });
    for (let x = left, at = row * stride + pad + x; x < right; x++, at++) {
      const dot = dots[at];
      if (dot >= HELD) continue;
      const tone = tones[x - left];
      state.at = at;
      state.x = x;
      state.row = row;
      state.tone = tone;
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
      markDue(state, x, row - first);
    }
  }
}

/** What a change at a dot may make worth while is near it. */
function markDue({ dueNext, blocksAcross }: BandState, x: number, row: number): void {
  const across = blocksAcross + 2;
  const left = (x + BLOCK - REVISIT) >> BLOCK_BITS;
  const right = (x + BLOCK + REVISIT) >> BLOCK_BITS;
  const lower = (row + BLOCK + REVISIT) >> BLOCK_BITS;
  for (let y = (row + BLOCK - REVISIT) >> BLOCK_BITS; y <= lower; y++) {
    for (let block = y * across + left; block <= y * across + right; block++) dueNext[block] = 1;
  }
}

/** What the far eye sees at the dots of one row of a block. */
function lookFar(state: BandState, { row, left, right }: { row: number; left: number; right: number }): void {
  const { top, far, cellsX, cellsY, cellTop, tones, toneColumns } = state;
  const { first, shares } = cellsX;
  const y = row + top;
  const lines = (cellsY.first[y] - cellTop) * cellsX.count;
  const share0 = cellsY.shares[3 * y];
  const share1 = cellsY.shares[3 * y + 1];
  const share2 = cellsY.shares[3 * y + 2];
  const before = tones[0];
  const begin = lines + first[left];
  const columns = first[right - 1] - first[left] + 3;
  for (let i = 0; i < columns; i++) {
    const at = begin + i;
    toneColumns[i] = share0 * far[at] + share1 * far[at + cellsX.count] + share2 * far[at + 2 * cellsX.count];
  }
  for (let x = left; x < right; x++) {
    const i = lines + first[x] - begin;
    tones[x - left] =
      shares[3 * x] * toneColumns[i] + shares[3 * x + 1] * toneColumns[i + 1] + shares[3 * x + 2] * toneColumns[i + 2];
  }
  state.slope = Math.abs(tones[right - left - 1] - tones[0]) / 8 + (row & 7 ? Math.abs(tones[0] - before) : 0);
}

/** What a move must promise by the near look and the estimated far one before the far look is worked out. */
const NO_GAIN = 1;

/**
 * Exact change of the energy when that is below 0, else some number above; what changes is left in `deltas` and
 * `cellDeltas`. The far look is only worked out for moves that its estimate, `tone`, does not rule out.
 */
function tryMove(state: BandState, move: Move): number {
  const { stride, index, near, strength, deltas, places, pairs, at, tone } = state;
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
      places[count] = j * BOX_STRIDE + i;
      count++;
    }
  }
  state.count = count;
  // The change's own energy is never below 0, so what fails without it fails with it.
  const bound = 2 * FULL * state.slope;
  const promised = 2 * (linear + total * tone);
  if (promised >= bound) return NO_GAIN;
  let own = 0;
  const alone = pairs[PAIRS_MIDDLE] | 0;
  for (let a = 0; a < count; a++) {
    const delta = deltas[a] | 0;
    const place = places[a] + PAIRS_MIDDLE;
    let others = 0;
    for (let b = 0; b < a; b++) others = (others + Math.imul(deltas[b], pairs[place - places[b]])) | 0;
    own += delta * (Math.imul(delta, alone) + 2 * others);
  }
  if (promised + own >= bound) return NO_GAIN;
  return 2 * linear + own + tryFar(state, move);
}

function tryFar(state: BandState, move: Move): number {
  const { width, height, top, far, deltas, places, count, cellDeltas, lineDeltas, cellsX, cellsY, cellTop, x, row } =
    state;
  const { first, shares } = cellsX;
  const left = x + move.dx;
  const upper = row + move.dy + top;
  const firstX = first[Math.max(0, left)];
  const firstY = cellsY.first[Math.max(0, upper)];
  const cellColumns = first[Math.min(width, left + move.columns) - 1] - firstX + 3;
  const cellLines = cellsY.first[Math.min(height, upper + move.rows) - 1] - firstY + 3;
  state.cellBox = { firstX, firstY: firstY - cellTop, columns: cellColumns, rows: cellLines };
  for (let j = 0; j < cellLines; j++) for (let i = 0; i < cellColumns; i++) cellDeltas[j * BOX + i] = 0;
  // Along the rows of the box first, each then into its three rows of cells.
  for (let a = 0; a < count; ) {
    const line = places[a] >> BOX_BITS;
    for (let i = 0; i < cellColumns; i++) lineDeltas[i] = 0;
    for (; a < count && places[a] >> BOX_BITS === line; a++) {
      const delta = deltas[a];
      const place = left + (places[a] & (BOX_STRIDE - 1));
      const cell = first[place] - firstX;
      lineDeltas[cell] += delta * shares[3 * place];
      lineDeltas[cell + 1] += delta * shares[3 * place + 1];
      lineDeltas[cell + 2] += delta * shares[3 * place + 2];
    }
    const y = upper + line;
    for (let v = 0, out = (cellsY.first[y] - firstY) * BOX; v < 3; v++, out += BOX) {
      const share = cellsY.shares[3 * y + v];
      for (let i = 0; i < cellColumns; i++) cellDeltas[out + i] += share * lineDeltas[i];
    }
  }
  let tone = 0;
  for (let j = 0; j < cellLines; j++) {
    const line = (firstY + j - cellTop) * cellsX.count + firstX;
    for (let i = 0; i < cellColumns; i++) tone += cellDeltas[j * BOX + i] * far[line + i];
  }
  return 2 * tone + squareFar(state, cellColumns, cellLines);
}

function squareFar({ cellDeltas, cellsX, cellsY }: BandState, columns: number, rows: number): number {
  const { reach: reachX, taps: tapsX } = cellsX.far;
  const { reach: reachY, taps: tapsY } = cellsY.far;
  let sum = 0;
  for (let y = 0; y < rows; y++) {
    for (let x = 0; x < columns; x++) {
      // Along the row first: what the cells of this row give at this column, then against every row.
      let along = 0;
      for (let u = 0; u < columns; u++) along += cellDeltas[y * BOX + u] * tapsX[reachX + u - x];
      for (let v = 0; v < rows; v++) sum += along * cellDeltas[v * BOX + x] * tapsY[reachY + v - y];
    }
  }
  return sum;
}

/** Makes the move that was tried last. */
function makeMove(state: BandState, move: Move): void {
  const { stride, dots, index, near, deltas, places, count, spread, nearX, nearY, at } = state;
  const { dx, dy, columns, rows, bits, partner } = move;
  dots[at] ^= FIRES;
  if (partner !== 0) dots[at + partner] ^= FIRES;
  const { reach: reachX, taps: tapsX } = nearX;
  const { reach: reachY, taps: tapsY } = nearY;
  const span = columns + 2 * reachX;
  const box = at + dy * stride + dx;
  for (let j = 0, k = 0; j < rows; j++) for (let i = 0; i < columns; i++, k++) index[box + j * stride + i] ^= bits[k];
  for (let i = 0; i < rows * span; i++) spread[i] = 0;
  for (let a = 0; a < count; a++) {
    const delta = deltas[a];
    const line = (places[a] >> BOX_BITS) * span + (places[a] & (BOX_STRIDE - 1));
    for (let t = 0; t <= 2 * reachX; t++) spread[line + t] += Math.imul(delta, tapsX[t]);
  }
  const corner = box - reachY * stride - reachX;
  for (let j = 0; j < rows; j++) {
    const line = j * span;
    for (let t = 0; t <= 2 * reachY; t++) {
      const tap = tapsY[t];
      const out = corner + (j + t) * stride;
      for (let i = 0; i < span; i++) near[out + i] += Math.imul(tap, spread[line + i]);
    }
  }
  addFar(state);
}

function addFar(state: BandState): void {
  const { cellBox, cellDeltas, cellsX, cellsY, cellRows, far, sums, cellSpread } = state;
  const { firstX, firstY, columns, rows } = cellBox;
  const across = cellsX.count;
  const { reach: reachX, taps: tapsX } = cellsX.far;
  const { reach: reachY, taps: tapsY } = cellsY.far;
  const span = columns + 2 * reachX;
  for (let i = 0; i < rows * span; i++) cellSpread[i] = 0;
  for (let j = 0; j < rows; j++) {
    for (let i = 0; i < columns; i++) {
      const delta = cellDeltas[j * BOX + i];
      sums[(firstY + j) * across + firstX + i] += delta;
      for (let t = 0; t <= 2 * reachX; t++) cellSpread[j * span + i + t] += delta * tapsX[t];
    }
  }
  const low = Math.max(0, reachX - firstX);
  const high = Math.min(span - 1, across - 1 - firstX + reachX);
  for (let y = Math.max(0, firstY - reachY); y <= Math.min(cellRows - 1, firstY + rows - 1 + reachY); y++) {
    const out = y * across + firstX - reachX;
    const from = Math.max(0, y - firstY - reachY);
    const to = Math.min(rows - 1, y - firstY + reachY);
    for (let u = low; u <= high; u++) {
      let sum = 0;
      for (let j = from; j <= to; j++) sum += tapsY[reachY + y - firstY - j] * cellSpread[j * span + u];
      far[out + u] += sum;
    }
  }
}

function closeBand(plan: SearchPlan, { from, to }: Band, state: BandState): void {
  const { width, height, cellsX, cellsY } = plan;
  const { first, stride, pad, dots, sums, cellTop } = state;
  for (let y = from; y < to; y++) {
    const at = (first + y - from) * stride + pad;
    for (let x = 0; x < width; x++) plan.dots[y * width + x] = dots[at + x] & FIRES;
  }
  // Marks reach into the rows beside the band.
  const sideY = plan.table.rows >> 1;
  const lowest = cellsY.first[Math.max(0, from - sideY)];
  const highest = cellsY.first[Math.min(height - 1, to - 1 + sideY)] + 2;
  for (let cell = lowest; cell <= highest; cell++) {
    const row = (cell - cellTop) * cellsX.count;
    plan.cellSums.set(sums.subarray(row, row + cellsX.count), cell * cellsX.count);
  }
}
