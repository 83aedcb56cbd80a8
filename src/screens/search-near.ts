import { createIndexer } from '../plane/index.ts';
import { type Band, type EyeTaps, FULL, type SearchPlan, WANTED_HALF, WANTED_SHIFT } from './search-plan.ts';

/** What lies in the state of a dot, bits: whether it fires, and whether it may not change. Exact: one bit each. */
export const FIRES = 1;
export const HELD = 2;

/** Where the band lies in the plane, and how its rows lie in the arrays below. */
export interface BandShape {
  /** Size of the whole plane, dots. */
  readonly width: number;
  readonly height: number;
  /** First row of the plane that the band holds, and how many: those it searches and those it looks at. */
  readonly top: number;
  readonly rows: number;
  /** Rows that it searches, counted in the band: from `first` up to, but not, `last`. */
  readonly first: number;
  readonly last: number;
  /** Numbers a row, and those before the first dot. */
  readonly stride: number;
  readonly pad: number;
}

/** The dots of a band, the neighbourhood of each, and the error of the mark strength as the near eye sees it. */
export interface NearField extends BandShape {
  /** State of each dot: `FIRES`, `HELD`. */
  readonly dots: Uint8Array;
  /** Neighbourhood of each dot, an index of `strength`. */
  readonly index: Int32Array;
  readonly strength: Int16Array;
  /** Blurred error at each dot, in `FULL` × the square of the taps' sum. */
  readonly near: Int32Array;
  readonly nearX: EyeTaps;
  readonly nearY: EyeTaps;
}

/** Lays out the band with room for what its eye and its marks reach, and blurs its errors. */
export function openNearField(plan: SearchPlan, band: Band): NearField {
  const { width, height, table, nearX, nearY } = plan;
  const sideX = table.columns >> 1;
  const sideY = table.rows >> 1;
  const halo = nearY.reach + 2 * sideY + 1;
  const pad = nearX.reach + 2 * sideX + 2;
  const stride = width + 2 * pad;
  const rows = band.to - band.from + 2 * halo;
  const shape: BandShape = {
    width,
    height,
    top: band.from - halo,
    rows,
    first: halo,
    last: halo + band.to - band.from,
    stride,
    pad,
  };
  const field: NearField = {
    ...shape,
    dots: copyDots(plan, shape),
    index: new Int32Array(stride * rows).fill(plan.strength.length >> 1),
    strength: plan.strength,
    near: new Int32Array(stride * rows),
    nearX,
    nearY,
  };
  fillNear(plan, field);
  return field;
}

/** The plan's dots within the band; what is not searched, and what is asked to be bare or solid, is held. */
function copyDots(plan: SearchPlan, { width, height, top, rows, first, last, stride, pad }: BandShape): Uint8Array {
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
  return dots;
}

/** Errors of the dots as the near eye sees them: along the rows first, then across. */
function fillNear(plan: SearchPlan, field: NearField): void {
  const { width, height, wanted, table, strength } = plan;
  const { top, rows, first, last, stride, pad, dots, index, near, nearX, nearY } = field;
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

/** Puts the searched rows back into the plan. */
export function closeNearField(plan: SearchPlan, { from, to }: Band, { first, stride, pad, dots }: NearField): void {
  const { width } = plan;
  for (let y = from; y < to; y++) {
    const at = (first + y - from) * stride + pad;
    for (let x = 0; x < width; x++) plan.dots[y * width + x] = dots[at + x] & FIRES;
  }
}
