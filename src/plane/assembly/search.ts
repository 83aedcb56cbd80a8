// Direct search over a band of dots for WebAssembly: what src/screens/search-band.ts, search-near.ts, search-far.ts
// and search-moves.ts do plainly, step by step with the same numbers, so that the same dots come out. What the eye sees
// near is in whole numbers, whose order of adding does not matter; what it sees far is added in the same order as
// there.
//
// The band lies in this memory: the open… functions below are told where, and searchBlocks searches a row of blocks.

/** Bits of a dot's state: whether it fires; whether it may not change. Exact: as `FIRES` and `HELD` there. */
const FIRES: u8 = 1;
const HELD: u8 = 2;
/** Strength of a full mark. Exact: as `FULL` there. */
const FULL: f64 = 8192;
/** Side of a block, bits, and how far a change is seen, dots. Exact: as `BLOCK_BITS` and `REVISIT` there. */
const BLOCK_BITS = 3;
const REVISIT = 3;
/** Longest side of what a move changes: rows of 8 numbers. Bits, and places. Exact: as `TRIAL_SIDE` there. */
const SIDE_BITS = 3;
const MIDDLE = 7;
/** A move: partner, dx, dy, columns, rows, address of its bits; cost. Exact: 6 × 4 + 8 bytes, a toggle and 8 swaps. */
const MOVE_BYTES: usize = 32;
const MOVES: usize = 9;

// The band: sizes in dots; addresses of states, neighbourhoods, what is seen near, strengths by neighbourhood.
let width: i32 = 0;
let height: i32 = 0;
let first: i32 = 0;
let last: i32 = 0;
let top: i32 = 0;
let stride: i32 = 0;
let pad: i32 = 0;
let dots: usize = 0;
let index: usize = 0;
let near: usize = 0;
let strength: usize = 0;

export function openBand(
  width_: i32,
  height_: i32,
  first_: i32,
  last_: i32,
  top_: i32,
  stride_: i32,
  pad_: i32,
  dots_: usize,
  index_: usize,
  near_: usize,
  strength_: usize,
): void {
  width = width_;
  height = height_;
  first = first_;
  last = last_;
  top = top_;
  stride = stride_;
  pad = pad_;
  dots = dots_;
  index = index_;
  near = near_;
  strength = strength_;
  memory.fill(tones, 0, 64);
}

// The near eye: weights −reach … reach, each list with three zeros after them; the same by the distance of two places
// in a move's box, −7 … 7, as far as they reach; room for the rows of a change.
let tapsX: usize = 0;
let reachX: i32 = 0;
let tapsY: usize = 0;
let reachY: i32 = 0;
let boxX: usize = 0;
let boxY: usize = 0;
let change: usize = 0;
let changeBytes: usize = 0;

export function openNearEye(
  tapsX_: usize,
  reachX_: i32,
  tapsY_: usize,
  reachY_: i32,
  boxX_: usize,
  boxY_: usize,
  change_: usize,
  changeBytes_: usize,
): void {
  tapsX = tapsX_;
  reachX = reachX_;
  tapsY = tapsY_;
  reachY = reachY_;
  boxX = boxX_;
  boxY = boxY_;
  change = change_;
  changeBytes = changeBytes_;
}

// The far eye: for each column and row of the plane the first of its three cells and its shares in them; weights by
// distance in cells; sums of the cells and what is seen of them.
let cellsAcross: i32 = 0;
let cellTop: i32 = 0;
let cellRows: i32 = 0;
let firstX: usize = 0;
let sharesX: usize = 0;
let firstY: usize = 0;
let sharesY: usize = 0;
let farTapsX: usize = 0;
let farReachX: i32 = 0;
let farTapsY: usize = 0;
let farReachY: i32 = 0;
let sums: usize = 0;
let far: usize = 0;
let cellSpread: usize = 0;

export function openFarEye(
  cellsAcross_: i32,
  cellTop_: i32,
  cellRows_: i32,
  firstX_: usize,
  sharesX_: usize,
  firstY_: usize,
  sharesY_: usize,
  farTapsX_: usize,
  farReachX_: i32,
  farTapsY_: usize,
  farReachY_: i32,
  sums_: usize,
  far_: usize,
  cellSpread_: usize,
): void {
  cellsAcross = cellsAcross_;
  cellTop = cellTop_;
  cellRows = cellRows_;
  firstX = firstX_;
  sharesX = sharesX_;
  firstY = firstY_;
  sharesY = sharesY_;
  farTapsX = farTapsX_;
  farReachX = farReachX_;
  farTapsY = farTapsY_;
  farReachY = farReachY_;
  sums = sums_;
  far = far_;
  cellSpread = cellSpread_;
}

// The moves, the blocks still to look at with a border of one, and what was done: toggles, swaps, energy gained.
let moves: usize = 0;
let blocksAcross: i32 = 0;
let due: usize = 0;
let dueNext: usize = 0;
let counts: usize = 0;

export function openMoves(moves_: usize, blocksAcross_: i32, due_: usize, dueNext_: usize, counts_: usize): void {
  moves = moves_;
  blocksAcross = blocksAcross_;
  due = due_;
  dueNext = dueNext_;
  counts = counts_;
}

// The move on trial: its dot, how its strengths change, rows of eight, and how the cells do.
let trialAt: i32 = 0;
let trialX: i32 = 0;
let trialRow: i32 = 0;
let trialTone: f64 = 0;
let slope: f64 = 0;
let cellX: i32 = 0;
let cellY: i32 = 0;
let cellColumns: i32 = 0;
let cellLines: i32 = 0;
const tones = memory.data(64, 16);
const toneColumns = memory.data(80, 16);
const deltas = memory.data(256, 16);
/** What each row of the change gives along itself, and then each row of all. */
const along = memory.data(256, 16);
const cellDeltas = memory.data(512, 16);
const lineDeltas = memory.data(64, 16);

// @ts-ignore: decorator
@inline
function whole(from: usize, at: i32): i32 {
  return load<i32>(from + ((<usize>at) << 2));
}

// @ts-ignore: decorator
@inline
function real(from: usize, at: i32): f64 {
  return load<f64>(from + ((<usize>at) << 3));
}

// @ts-ignore: decorator
@inline
function addReal(to: usize, at: i32, value: f64): void {
  const place = to + ((<usize>at) << 3);
  store<f64>(place, load<f64>(place) + value);
}

/** Tries every dot of those blocks of a row that are due, from left to right. */
export function searchBlocks(blockY: i32): void {
  for (let blockX = 0; blockX < blocksAcross; blockX++) {
    const block = <usize>((blockY + 1) * (blocksAcross + 2) + blockX + 1);
    if (load<u8>(due + block) == 0 && load<u8>(dueNext + block) == 0) continue;
    searchBlock(blockX, blockY);
  }
}

function searchBlock(blockX: i32, blockY: i32): void {
  const left = blockX << BLOCK_BITS;
  const right = min(width, left + (1 << BLOCK_BITS));
  const upper = first + (blockY << BLOCK_BITS);
  const lower = min(last, upper + (1 << BLOCK_BITS));
  const toggleCost = load<f64>(moves, 24);
  for (let row = upper; row < lower; row++) {
    lookFar(row, left, right);
    let at = row * stride + pad + left;
    for (let x = left; x < right; x++, at++) {
      const dot = load<u8>(dots + <usize>at);
      if (dot >= HELD) continue;
      const tone = real(tones, x - left);
      trialAt = at;
      trialX = x;
      trialRow = row;
      trialTone = tone;
      const seen = <f64>whole(near, at) + tone;
      let energy: f64 = 0;
      let chosen: usize = 0;
      if ((dot == 0 ? seen : -seen) + toggleCost < 0) {
        energy = tryMove(moves);
        if (energy < 0) chosen = moves;
        else energy = 0;
      }
      if (dot == FIRES) {
        let least: f64 = 0;
        let swap: usize = 0;
        const end = moves + MOVES * MOVE_BYTES;
        for (let move = moves + MOVE_BYTES; move < end; move += MOVE_BYTES) {
          const other = at + load<i32>(move);
          if (load<u8>(dots + <usize>other) != 0) continue;
          const estimate = <f64>whole(near, other) - <f64>whole(near, at) + load<f64>(move, 24);
          if (estimate < least) {
            least = estimate;
            swap = move;
          }
        }
        if (swap) {
          const found = tryMove(swap);
          if (found < energy) {
            energy = found;
            chosen = swap;
          } else if (chosen) tryMove(moves);
        }
      }
      if (!chosen) continue;
      makeMove(chosen);
      const count = counts + (chosen == moves ? 0 : 4);
      store<i32>(count, load<i32>(count) + 1);
      store<f64>(counts, load<f64>(counts, 8) - energy, 8);
      markDue(x, row - first);
    }
  }
}

function markDue(x: i32, row: i32): void {
  const long = blocksAcross + 2;
  const left = (x + 8 - REVISIT) >> BLOCK_BITS;
  const right = (x + 8 + REVISIT) >> BLOCK_BITS;
  const lower = (row + 8 + REVISIT) >> BLOCK_BITS;
  for (let y = (row + 8 - REVISIT) >> BLOCK_BITS; y <= lower; y++) {
    for (let x = left; x <= right; x++) store<u8>(dueNext + <usize>(y * long + x), 1);
  }
}

function lookFar(row: i32, left: i32, right: i32): void {
  const y = row + top;
  const line = (whole(firstY, y) - cellTop) * cellsAcross;
  const share0 = real(sharesY, 3 * y);
  const share1 = real(sharesY, 3 * y + 1);
  const share2 = real(sharesY, 3 * y + 2);
  const before = load<f64>(tones);
  const begin = whole(firstX, left);
  const columns = whole(firstX, right - 1) - begin + 3;
  for (let i = 0; i < columns; i++) {
    const at = line + begin + i;
    store<f64>(
      toneColumns + ((<usize>i) << 3),
      share0 * real(far, at) + share1 * real(far, at + cellsAcross) + share2 * real(far, at + 2 * cellsAcross),
    );
  }
  for (let x = left; x < right; x++) {
    const i = whole(firstX, x) - begin;
    store<f64>(
      tones + ((<usize>(x - left)) << 3),
      real(sharesX, 3 * x) * real(toneColumns, i) +
        real(sharesX, 3 * x + 1) * real(toneColumns, i + 1) +
        real(sharesX, 3 * x + 2) * real(toneColumns, i + 2),
    );
  }
  slope = abs(real(tones, right - left - 1) - load<f64>(tones)) / 8 + (row & 7 ? abs(load<f64>(tones) - before) : 0);
}

/** Exact change of the energy when that is below 0, else some number above; what changes is left in the trial. */
function tryMove(move: usize): f64 {
  const columns = load<i32>(move, 12);
  const rows = load<i32>(move, 16);
  let bit = load<usize>(move, 20);
  let linear: i64 = 0;
  let total: i64 = 0;
  let from = trialAt + load<i32>(move, 8) * stride + load<i32>(move, 4);
  for (let j = 0; j < rows; j++, from += stride) {
    const line = deltas + ((<usize>j) << (SIDE_BITS + 2));
    v128.store(line, i32x4.splat(0));
    v128.store(line, i32x4.splat(0), 16);
    for (let i = 0; i < columns; i++, bit += 4) {
      const pattern = whole(index, from + i);
      const delta =
        <i32>load<i16>(strength + ((<usize>(pattern ^ load<i32>(bit))) << 1)) -
        <i32>load<i16>(strength + ((<usize>pattern) << 1));
      store<i32>(line + ((<usize>i) << 2), delta);
      linear += (<i64>delta) * <i64>whole(near, from + i);
      total += <i64>delta;
    }
  }
  const bound = 2 * FULL * slope;
  const promised = 2 * (<f64>linear + <f64>total * trialTone);
  if (promised >= bound) return 1;
  const own = squareNear(columns, rows);
  if (promised + <f64>own >= bound) return 1;
  return <f64>(linear + linear + own) + tryFar(move);
}

/** The energy that the change of strengths has by itself, as the near eye sees it: along the rows, then across. */
function squareNear(columns: i32, rows: i32): i64 {
  for (let j = 0; j < rows; j++) {
    const line = (<usize>j) << (SIDE_BITS + 2);
    let low = i32x4.splat(0);
    let high = low;
    for (let i = 0; i < columns; i++) {
      const delta = v128.load_splat<i32>(deltas + line + ((<usize>i) << 2));
      const taps = boxX + ((<usize>(MIDDLE - i)) << 2);
      low = i32x4.add(low, i32x4.mul(delta, v128.load(taps)));
      high = i32x4.add(high, i32x4.mul(delta, v128.load(taps, 16)));
    }
    v128.store(along + line, low);
    v128.store(along + line, high, 16);
  }
  let own: i64 = 0;
  for (let y = 0; y < rows; y++) {
    let low = i32x4.splat(0);
    let high = low;
    for (let j = 0; j < rows; j++) {
      const tap = v128.load_splat<i32>(boxY + ((<usize>(MIDDLE + j - y)) << 2));
      const line = along + ((<usize>j) << (SIDE_BITS + 2));
      low = i32x4.add(low, i32x4.mul(tap, v128.load(line)));
      high = i32x4.add(high, i32x4.mul(tap, v128.load(line, 16)));
    }
    const line = deltas + ((<usize>y) << (SIDE_BITS + 2));
    const a = v128.load(line);
    const b = v128.load(line, 16);
    let products = i64x2.add(i64x2.extmul_low_i32x4_s(a, low), i64x2.extmul_high_i32x4_s(a, low));
    products = i64x2.add(products, i64x2.extmul_low_i32x4_s(b, high));
    products = i64x2.add(products, i64x2.extmul_high_i32x4_s(b, high));
    own += i64x2.extract_lane(products, 0) + i64x2.extract_lane(products, 1);
  }
  return own;
}

/** Exact change of the far energy by the trial; what it adds to the cells is left in the trial. */
function tryFar(move: usize): f64 {
  const left = trialX + load<i32>(move, 4);
  const upper = trialRow + load<i32>(move, 8) + top;
  const columns = load<i32>(move, 12);
  const rows = load<i32>(move, 16);
  const beginX = whole(firstX, max(0, left));
  const beginY = whole(firstY, max(0, upper));
  cellColumns = whole(firstX, min(width, left + columns) - 1) - beginX + 3;
  cellLines = whole(firstY, min(height, upper + rows) - 1) - beginY + 3;
  cellX = beginX;
  cellY = beginY - cellTop;
  memory.fill(cellDeltas, 0, (<usize>cellLines) << (SIDE_BITS + 3));
  for (let j = 0; j < rows; j++) {
    const line = deltas + ((<usize>j) << (SIDE_BITS + 2));
    const isBare = !v128.any_true(v128.or(v128.load(line), v128.load(line, 16)));
    if (isBare) continue;
    memory.fill(lineDeltas, 0, (<usize>cellColumns) << 3);
    for (let i = 0; i < columns; i++) {
      const delta = <f64>whole(line, i);
      if (delta == 0) continue;
      const place = left + i;
      const cell = whole(firstX, place) - beginX;
      addReal(lineDeltas, cell, delta * real(sharesX, 3 * place));
      addReal(lineDeltas, cell + 1, delta * real(sharesX, 3 * place + 1));
      addReal(lineDeltas, cell + 2, delta * real(sharesX, 3 * place + 2));
    }
    const y = upper + j;
    let out = (whole(firstY, y) - beginY) << SIDE_BITS;
    for (let v = 0; v < 3; v++, out += 1 << SIDE_BITS) {
      const share = real(sharesY, 3 * y + v);
      for (let i = 0; i < cellColumns; i++) addReal(cellDeltas, out + i, share * real(lineDeltas, i));
    }
  }
  let tone: f64 = 0;
  for (let j = 0; j < cellLines; j++) {
    const line = (cellY + j) * cellsAcross + beginX;
    for (let i = 0; i < cellColumns; i++) tone += real(cellDeltas, (j << SIDE_BITS) + i) * real(far, line + i);
  }
  return 2 * tone + squareFar();
}

/** The energy that the trial's change of cells has by itself. */
function squareFar(): f64 {
  let sum: f64 = 0;
  for (let y = 0; y < cellLines; y++) {
    for (let x = 0; x < cellColumns; x++) {
      let line: f64 = 0;
      for (let u = 0; u < cellColumns; u++) {
        line += real(cellDeltas, (y << SIDE_BITS) + u) * real(farTapsX, farReachX + u - x);
      }
      for (let v = 0; v < cellLines; v++) {
        sum += line * real(cellDeltas, (v << SIDE_BITS) + x) * real(farTapsY, farReachY + v - y);
      }
    }
  }
  return sum;
}

/** Makes the move that was tried last. */
function makeMove(move: usize): void {
  const columns = load<i32>(move, 12);
  const rows = load<i32>(move, 16);
  const partner = load<i32>(move);
  const own = dots + <usize>trialAt;
  store<u8>(own, load<u8>(own) ^ FIRES);
  if (partner) store<u8>(own + <usize>partner, load<u8>(own + <usize>partner) ^ FIRES);
  const box = trialAt + load<i32>(move, 8) * stride + load<i32>(move, 4);
  let bit = load<usize>(move, 20);
  for (let j = 0; j < rows; j++) {
    let at = index + ((<usize>(box + j * stride)) << 2);
    for (let i = 0; i < columns; i++, at += 4, bit += 4) store<i32>(at, load<i32>(at) ^ load<i32>(bit));
  }
  memory.fill(change, 0, changeBytes * <usize>rows);
  const tapBytes = (<usize>(2 * reachX + 1)) << 2;
  for (let j = 0; j < rows; j++) {
    for (let i = 0; i < columns; i++) {
      const delta = whole(deltas, (j << SIDE_BITS) + i);
      if (delta == 0) continue;
      const by = i32x4.splat(delta);
      const out = change + changeBytes * <usize>j + ((<usize>i) << 2);
      for (let t: usize = 0; t < tapBytes; t += 16) {
        v128.store(out + t, i32x4.add(v128.load(out + t), i32x4.mul(by, v128.load(tapsX + t))));
      }
    }
  }
  const corner = near + ((<usize>(box - reachY * stride - reachX)) << 2);
  const bytes = (<usize>(columns + 2 * reachX)) << 2;
  addChange(corner, (<usize>stride) << 2, change, changeBytes, bytes, rows, tapsY, reachY);
  addFar();
}

/**
 * Adds rows of a change, blurred across, to what is seen, both 32-bit whole numbers: `taps` holds 2 · `radius` + 1
 * weights. Of a row of the change, `changeStride` bytes from the next, `bytes` count, with zeros to a whole number of
 * 16.
 */
export function addChange(
  seen: usize,
  seenStride: usize,
  change: usize,
  changeStride: usize,
  bytes: usize,
  rows: i32,
  taps: usize,
  radius: i32,
): void {
  const lines = rows + 2 * radius;
  for (let y = 0; y < lines; y++) {
    const from = max(0, y - 2 * radius);
    const to = min(rows - 1, y);
    for (let x: usize = 0; x < bytes; x += 16) {
      let sum = v128.load(seen + x);
      for (let j = from; j <= to; j++) {
        const tap = v128.load_splat<i32>(taps + ((<usize>(y - j)) << 2));
        sum = i32x4.add(sum, i32x4.mul(tap, v128.load(change + changeStride * <usize>j + x)));
      }
      v128.store(seen + x, sum);
    }
    seen += seenStride;
  }
}

/** Adds the trial's change to the cells and to what the far eye sees of them. */
function addFar(): void {
  const span = cellColumns + 2 * farReachX;
  memory.fill(cellSpread, 0, (<usize>(cellLines * span)) << 3);
  for (let j = 0; j < cellLines; j++) {
    for (let i = 0; i < cellColumns; i++) {
      const delta = real(cellDeltas, (j << SIDE_BITS) + i);
      addReal(sums, (cellY + j) * cellsAcross + cellX + i, delta);
      for (let t = 0; t <= 2 * farReachX; t++) addReal(cellSpread, j * span + i + t, delta * real(farTapsX, t));
    }
  }
  const low = max(0, farReachX - cellX);
  const high = min(span - 1, cellsAcross - 1 - cellX + farReachX);
  const bottom = min(cellRows - 1, cellY + cellLines - 1 + farReachY);
  for (let y = max(0, cellY - farReachY); y <= bottom; y++) {
    const out = y * cellsAcross + cellX - farReachX;
    const from = max(0, y - cellY - farReachY);
    const to = min(cellLines - 1, y - cellY + farReachY);
    for (let u = low; u <= high; u++) {
      let sum: f64 = 0;
      for (let j = from; j <= to; j++) sum += real(farTapsY, farReachY + y - cellY - j) * real(cellSpread, j * span + u);
      addReal(far, out + u, sum);
    }
  }
}
