import { createIndexer, giveBackKernels, type Kernels, loadKernels, reserveBuffers } from '../plane/index.ts';
import { TRIAL_SIDE } from './search-moves.ts';
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
  /** Room for rows of a change, already blurred along, of `changeStride` numbers each and zeros at their ends. */
  readonly change: Int32Array;
  readonly changeStride: number;
  /** Blurs so many rows of `change` across and adds them to `near`, from its number `corner` on. */
  readonly addChange: (corner: number, rows: number) => void;
  /** Makes `near` from the errors of the rows that are asked for, in turn. */
  readonly fillNear: (errorsOf: ErrorsOf) => void;
  /** What lends its memory to `near`; undefined for the plain version. */
  readonly kernels: Kernels | undefined;
}

/** Writes the errors of a row of the band from `pad` on; false where the row lies outside the plane. */
export type ErrorsOf = (row: number, errors: Int32Array) => boolean;

/** The band, and its errors as the near eye sees them. */
export function openNearField(plan: SearchPlan, band: Band): NearField {
  const { nearX, nearY } = plan;
  const shape = layOutBand(plan, band);
  const size = shape.stride * shape.rows;
  const field: NearField = {
    ...shape,
    dots: copyDots(plan, shape),
    index: new Int32Array(size).fill(plan.strength.length >> 1),
    strength: plan.strength,
    nearX,
    nearY,
    ...startBlur(plan, shape, 'scalar'),
  };
  field.fillNear(errorsOfDots(plan, field));
  return field;
}

/** Where a band lies, with room for what its eye and its marks reach. */
export function layOutBand({ width, height, table, nearX, nearY }: SearchPlan, band: Band): BandShape {
  const sideX = table.columns >> 1;
  const sideY = table.rows >> 1;
  const halo = nearY.reach + 2 * sideY + 1;
  const pad = nearX.reach + 2 * sideX + 2;
  const stride = width + 2 * pad;
  const rows = band.to - band.from + 2 * halo;
  return {
    width,
    height,
    top: band.from - halo,
    rows,
    first: halo,
    last: halo + band.to - band.from,
    stride,
    pad,
  };
}

/**
 * What blurs a band's errors, and those of its changes. `scalar` forces the readable version; `simd` takes the kernels
 * when they can be had. Both give the same whole numbers.
 */
export function startBlur(
  { table, nearX, nearY }: Pick<SearchPlan, 'table' | 'nearX' | 'nearY'>,
  shape: BandShape,
  arithmetic: 'simd' | 'scalar' = 'simd',
): Blurring & Pick<NearField, 'kernels'> {
  const blur = { shape, nearX, nearY, reachedRows: table.rows >> 1 };
  const kernels = arithmetic === 'simd' ? loadKernels() : undefined;
  return { kernels, ...(kernels ? startFastBlur(kernels, blur) : startPlainBlur(blur)) };
}

/** The plan's dots within the band; what is not searched, and what is asked to be bare or solid, is held. */
export function copyDots(
  plan: SearchPlan,
  { width, height, top, rows, first, last, stride, pad }: BandShape,
): Uint8Array {
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

/** Errors of the dots, to be asked for from the top down, row by row; fills their neighbourhoods, too. */
export function errorsOfDots(plan: SearchPlan, band: BandShape & Pick<NearField, 'dots' | 'index'>): ErrorsOf {
  const { width, height, wanted, table, strength } = plan;
  const { top, stride, pad, dots, index } = band;
  const sideY = table.rows >> 1;
  const indexer = createIndexer(table);
  const columns = new Uint8Array(width + table.columns);
  const rowAt = (row: number) => dots.subarray(row * stride + pad, row * stride + pad + width);
  for (let row = 0; row < 2 * sideY; row++) indexer.pushRow(columns, rowAt(row));
  return (row, errors) => {
    indexer.pushRow(columns, rowAt(row + sideY));
    const y = top + row;
    if (y < 0 || y >= height) return false;
    const around = index.subarray(row * stride + pad, row * stride + pad + width);
    indexer.fillRow(columns, around);
    takeErrors(errors.subarray(pad, pad + width), { strength, around, wanted: wanted.subarray(y * width) });
    return true;
  };
}

interface RowOfErrors {
  readonly strength: Int16Array;
  readonly around: Int32Array;
  readonly wanted: Uint16Array;
}

function takeErrors(errors: Int32Array, { strength, around, wanted }: RowOfErrors): void {
  for (let x = 0; x < errors.length; x++) {
    errors[x] = strength[around[x]] - ((wanted[x] + WANTED_HALF) >> WANTED_SHIFT);
  }
}

interface NearBlur {
  readonly shape: BandShape;
  readonly nearX: EyeTaps;
  readonly nearY: EyeTaps;
  /** Rows beyond those searched that marks reach into, to each side. */
  readonly reachedRows: number;
}

type Blurring = Pick<NearField, 'near' | 'change' | 'changeStride' | 'addChange' | 'fillNear'>;

/** Numbers of a row of a change: a whole number of four, as the kernel takes them. */
const changeStrideOf = ({ reach }: EyeTaps): number => (TRIAL_SIDE + 2 * reach + 3) & ~3;

function startPlainBlur({ shape, nearX, nearY, reachedRows }: NearBlur): Blurring {
  const { width, rows, first, last, stride, pad } = shape;
  const near = new Int32Array(stride * rows);
  const changeStride = changeStrideOf(nearX);
  const change = new Int32Array(TRIAL_SIDE * changeStride);
  const { reach, taps } = nearY;
  return {
    near,
    change,
    changeStride,
    addChange(corner, rowCount) {
      for (let j = 0; j < rowCount; j++) {
        for (let t = 0; t <= 2 * reach; t++) {
          const out = corner + (j + t) * stride;
          for (let i = 0; i < changeStride; i++) near[out + i] += Math.imul(taps[t], change[j * changeStride + i]);
        }
      }
    },
    fillNear(errorsOf) {
      const blurred = new Int32Array(stride * rows);
      const errors = new Int32Array(stride);
      for (let row = reachedRows; row < rows - reachedRows; row++) {
        if (errorsOf(row, errors)) blurRow(errors, { taps: nearX, out: blurred, at: row * stride + pad, width, pad });
      }
      for (let row = first - reachedRows; row < last + reachedRows; row++) {
        for (let k = -reach; k <= reach; k++) {
          const from = (row + k) * stride;
          for (let i = 0; i < stride; i++) near[row * stride + i] += Math.imul(taps[reach + k], blurred[from + i]);
        }
      }
    },
  };
}

function blurRow(
  errors: Int32Array,
  { taps, out, at, width, pad }: { taps: EyeTaps; out: Int32Array; at: number; width: number; pad: number },
): void {
  const { reach, taps: weights } = taps;
  for (let x = 0; x < width; x++) {
    for (let k = -reach; k <= reach; k++) out[at + x] += Math.imul(weights[reach + k], errors[pad + x + k]);
  }
}

/** The same by the kernels, in whose memory the field lies; the rows blurred along lie in a ring. */
function startFastBlur(kernels: Kernels, { shape, nearX, nearY, reachedRows }: NearBlur): Blurring {
  const { width, rows, first, last, stride, pad } = shape;
  const { reach } = nearY;
  const changeStride = changeStrideOf(nearX);
  const kept = 2 * reach + 1;
  const rowBytes = 4 * ((width + 3) & ~3);
  const [nearAt, changeAt, alongAt, acrossAt, allAcrossAt, errorsAt, ringAt, addressesAt] = reserveBuffers(kernels, [
    4 * stride * rows + 16,
    4 * TRIAL_SIDE * changeStride,
    4 * (nearX.reach + 1),
    4 * (reach + 1),
    4 * kept,
    4 * stride + 16,
    kept * rowBytes,
    4 * kept,
  ]);
  const { buffer } = kernels.memory;
  const near = new Int32Array(buffer, nearAt, stride * rows);
  const errors = new Int32Array(buffer, errorsAt, stride);
  new Int32Array(buffer, alongAt, nearX.reach + 1).set(nearX.taps.subarray(nearX.reach));
  new Int32Array(buffer, acrossAt, reach + 1).set(nearY.taps.subarray(reach));
  new Int32Array(buffer, allAcrossAt, kept).set(nearY.taps);
  const addresses = new Int32Array(buffer, addressesAt, kept);
  const addressOf = (row: number) => ringAt + (row % kept) * rowBytes;
  const blurAlong = (errorsOf: ErrorsOf, row: number) => {
    if (errorsOf(row, errors)) {
      kernels.blurWholes(errorsAt + 4 * pad, alongAt, nearX.reach, addressOf(row), width);
    } else new Int32Array(buffer, addressOf(row), rowBytes / 4).fill(0);
  };
  return {
    near,
    change: new Int32Array(buffer, changeAt, TRIAL_SIDE * changeStride),
    changeStride,
    addChange(corner, rowCount) {
      const bytes = 4 * changeStride;
      kernels.addChange(nearAt + 4 * corner, 4 * stride, changeAt, bytes, bytes, rowCount, allAcrossAt, reach);
    },
    fillNear(errorsOf) {
      let next = reachedRows;
      for (let row = first - reachedRows; row < last + reachedRows; row++) {
        for (; next <= row + reach; next++) blurAlong(errorsOf, next);
        addresses[0] = addressOf(row);
        for (let k = 1; k <= reach; k++) {
          addresses[2 * k - 1] = addressOf(row - k);
          addresses[2 * k] = addressOf(row + k);
        }
        kernels.blurWholeRows(addressesAt, acrossAt, reach, nearAt + 4 * (row * stride + pad), width);
      }
      for (; next < rows - reachedRows; next++) errorsOf(next, errors);
    },
  };
}

/** Puts the searched rows back into the plan. */
export function closeNearField(
  plan: SearchPlan,
  { from, to }: Band,
  field: BandShape & Pick<NearField, 'dots' | 'kernels'>,
): void {
  const { width } = plan;
  const { first, stride, pad, dots, kernels } = field;
  for (let y = from; y < to; y++) {
    const at = (first + y - from) * stride + pad;
    for (let x = 0; x < width; x++) plan.dots[y * width + x] = dots[at + x] & FIRES;
  }
  giveBackKernels(kernels);
}
