import { type Move, TRIAL_SIDE, TRIAL_STRIDE_BITS, type Trial } from './search-moves.ts';
import type { BandShape } from './search-near.ts';
import type { Band, EyeCells, SearchPlan } from './search-plan.ts';

/** The error of the mark strength summed over cells, and as the far eye sees it. */
export interface FarField {
  readonly cellsX: EyeCells;
  readonly cellsY: EyeCells;
  /** First row of cells in `sums` and `far`, and how many rows of cells these have. */
  readonly cellTop: number;
  readonly cellRows: number;
  readonly sums: Float64Array;
  readonly far: Float64Array;
  /** Room for the rows of an update. */
  readonly cellSpread: Float64Array;
}

/** Copies the plan's cells within reach of the band and blurs them. */
export function openFarField(plan: SearchPlan, band: Band): FarField {
  const { height, table, cellsX, cellsY } = plan;
  const sideY = table.rows >> 1;
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
  const field: FarField = {
    cellsX,
    cellsY,
    cellTop,
    cellRows,
    sums,
    far: new Float64Array(cellRows * cellsX.count),
    cellSpread: new Float64Array(TRIAL_SIDE * (TRIAL_SIDE + 2 * cellsX.far.reach)),
  };
  fillFar(field);
  return field;
}

/** Sums of the cells as the far eye sees them. */
function fillFar({ far, sums, cellRows, cellsX, cellsY }: FarField): void {
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

/** What the far eye sees at the dots of one row of a block, and how steeply that changes. */
export interface FarLook {
  readonly tones: Float64Array;
  readonly toneColumns: Float64Array;
  /** Change of what is seen from one dot to the next, at most. */
  slope: number;
}

/** Looks at the dots `left` up to, but not, `right` of a row of the band. */
export function lookFar(
  { far, cellsX, cellsY, cellTop }: FarField,
  look: FarLook,
  {
    top,
    row,
    left,
    right,
  }: { readonly top: number; readonly row: number; readonly left: number; readonly right: number },
): void {
  const { tones, toneColumns } = look;
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
  look.slope = Math.abs(tones[right - left - 1] - tones[0]) / 8 + (row & 7 ? Math.abs(tones[0] - before) : 0);
}

/** Exact change of the far energy by the trial; what it adds to the cells is left in the trial. */
export function tryFar({ width, height, top }: BandShape, field: FarField, trial: Trial, move: Move): number {
  const { far, cellsX, cellsY, cellTop } = field;
  const { deltas, places, count, cellDeltas, lineDeltas, x, row } = trial;
  const { first, shares } = cellsX;
  const left = x + move.dx;
  const upper = row + move.dy + top;
  const firstX = first[Math.max(0, left)];
  const firstY = cellsY.first[Math.max(0, upper)];
  const cellColumns = first[Math.min(width, left + move.columns) - 1] - firstX + 3;
  const cellLines = cellsY.first[Math.min(height, upper + move.rows) - 1] - firstY + 3;
  trial.cellX = firstX;
  trial.cellY = firstY - cellTop;
  trial.cellColumns = cellColumns;
  trial.cellLines = cellLines;
  for (let j = 0; j < cellLines; j++) for (let i = 0; i < cellColumns; i++) cellDeltas[j * TRIAL_SIDE + i] = 0;
  // Along the rows of the box first, each then into its three rows of cells.
  for (let a = 0; a < count; ) {
    const line = places[a] >> TRIAL_STRIDE_BITS;
    for (let i = 0; i < cellColumns; i++) lineDeltas[i] = 0;
    for (; a < count && places[a] >> TRIAL_STRIDE_BITS === line; a++) {
      const delta = deltas[a];
      const place = left + (places[a] & ((1 << TRIAL_STRIDE_BITS) - 1));
      const cell = first[place] - firstX;
      lineDeltas[cell] += delta * shares[3 * place];
      lineDeltas[cell + 1] += delta * shares[3 * place + 1];
      lineDeltas[cell + 2] += delta * shares[3 * place + 2];
    }
    const y = upper + line;
    for (let v = 0, out = (cellsY.first[y] - firstY) * TRIAL_SIDE; v < 3; v++, out += TRIAL_SIDE) {
      const share = cellsY.shares[3 * y + v];
      for (let i = 0; i < cellColumns; i++) cellDeltas[out + i] += share * lineDeltas[i];
    }
  }
  let tone = 0;
  for (let j = 0; j < cellLines; j++) {
    const line = (firstY + j - cellTop) * cellsX.count + firstX;
    for (let i = 0; i < cellColumns; i++) tone += cellDeltas[j * TRIAL_SIDE + i] * far[line + i];
  }
  return 2 * tone + squareFar(field, trial);
}

/** The energy that the trial's change of cells has by itself. */
function squareFar({ cellsX, cellsY }: FarField, { cellDeltas, cellColumns, cellLines }: Trial): number {
  const columns = cellColumns;
  const rows = cellLines;
  const { reach: reachX, taps: tapsX } = cellsX.far;
  const { reach: reachY, taps: tapsY } = cellsY.far;
  let sum = 0;
  for (let y = 0; y < rows; y++) {
    for (let x = 0; x < columns; x++) {
      // Along the row first: what the cells of this row give at this column, then against every row.
      let along = 0;
      for (let u = 0; u < columns; u++) along += cellDeltas[y * TRIAL_SIDE + u] * tapsX[reachX + u - x];
      for (let v = 0; v < rows; v++) sum += along * cellDeltas[v * TRIAL_SIDE + x] * tapsY[reachY + v - y];
    }
  }
  return sum;
}

/** Adds the trial's change to the cells and to what the far eye sees of them. */
export function addFar({ cellsX, cellsY, cellRows, far, sums, cellSpread }: FarField, trial: Trial): void {
  const { cellX: firstX, cellY: firstY, cellColumns: columns, cellLines: rows, cellDeltas } = trial;
  const across = cellsX.count;
  const { reach: reachX, taps: tapsX } = cellsX.far;
  const { reach: reachY, taps: tapsY } = cellsY.far;
  const span = columns + 2 * reachX;
  for (let i = 0; i < rows * span; i++) cellSpread[i] = 0;
  for (let j = 0; j < rows; j++) {
    for (let i = 0; i < columns; i++) {
      const delta = cellDeltas[j * TRIAL_SIDE + i];
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

/** Puts the cells back into the plan: those of the band and those beside it that its marks reach into. */
export function closeFarField(plan: SearchPlan, { from, to }: Band, { sums, cellTop }: FarField): void {
  const { height, cellsX, cellsY } = plan;
  const sideY = plan.table.rows >> 1;
  const lowest = cellsY.first[Math.max(0, from - sideY)];
  const highest = cellsY.first[Math.min(height - 1, to - 1 + sideY)] + 2;
  for (let cell = lowest; cell <= highest; cell++) {
    const row = (cell - cellTop) * cellsX.count;
    plan.cellSums.set(sums.subarray(row, row + cellsX.count), cell * cellsX.count);
  }
}
