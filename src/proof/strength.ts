import { tabulate } from '../numeric/index.ts';
import {
  type DoseSampling,
  type Dots,
  type DotTable,
  giveBackKernels,
  type Kernels,
  loadKernels,
  reserveBuffers,
  squeezeCorners,
} from '../plane/index.ts';

/** Adds the mean strength of each cell of the next row of dots, top to bottom, to the target. */
export type AddStrengthRow = (target: Float32Array) => void;

export interface StrengthRows {
  readonly addRow: AddStrengthRow;
  /** When no more rows are wanted: whoever needs the arithmetic next need not build it anew. */
  readonly close: () => void;
}

/**
 * Mean strength of every dot cell, row by row from the top. Outside the dots nothing fires.
 * The neighbourhood's bits are kept as one number a column, shifted by a row at a time, and as one running index along
 * the row, so that a dot costs one new bit, two shifts and one load. Rows are added and not handed out, because most of
 * them only go into an average: a row that is stored first costs a third more. `scalar` forces the readable version;
 * `simd` takes the kernels when they can be had, with the same bits.
 */
export function openStrength(dots: Dots, table: DotTable, arithmetic: 'simd' | 'scalar' = 'simd'): StrengthRows {
  const isByKernel = dots.levels === 2 && table.corners && arithmetic === 'simd';
  const kernels = isByKernel ? loadKernels() : undefined;
  const addRow = kernels ? openByKernel(kernels, dots, table) : openPlain(dots, table);
  return { addRow, close: () => giveBackKernels(kernels) };
}

function openPlain(dots: Dots, table: DotTable): AddStrengthRow {
  if (dots.levels > 2) return openLevels(dots, table.dose);
  return table.corners ? openFull(dots, table) : openWithoutCorners(dots, table);
}

const openByKernel = (kernels: Kernels, dots: Dots, table: DotTable): AddStrengthRow =>
  table.columns === 3 && table.rows === 3 ? openFastNine(kernels, dots, table) : openFast(kernels, dots, table);

/** By vectors: the commonest neighbourhood, a dot and those that touch it. */
function openFastNine(kernels: Kernels, dots: Dots, { rows, strength }: DotTable): AddStrengthRow {
  const { width } = dots;
  const padded = width + SPARE;
  const sizes = [padded, padded + 16, strength.byteLength, 4 * padded];
  const [nextAt, bareAt, strengthAt, targetAt] = reserveBuffers(kernels, sizes);
  const columnAt = bareAt + 16;
  const { buffer } = kernels.memory;
  const nextBits = new Uint8Array(buffer, nextAt, width);
  const sum = new Float32Array(buffer, targetAt, width);
  new Float32Array(buffer, strengthAt, strength.length).set(strength);
  const column = new Uint8Array(buffer, columnAt, width);
  const { nextRow } = openColumns(dots, { ahead: 0, below: 1, columnMask: (1 << rows) - 1, column });
  return (target) => {
    nextBits.set(nextRow());
    sum.set(target);
    kernels.addStrength9(nextAt, columnAt, strengthAt, targetAt, width);
    target.set(sum);
  };
}

/** Bytes beyond a row that vectors may touch. Assumed: twice the 16 bytes of a vector. */
const SPARE = 32;

function openFast(kernels: Kernels, dots: Dots, { columns, rows, strength }: DotTable): AddStrengthRow {
  const { width } = dots;
  const ahead = columns >> 1;
  const [nextAt, columnAt, strengthAt, targetAt] = reserveBuffers(kernels, [
    width,
    width + ahead,
    strength.byteLength,
    4 * width,
  ]);
  const { buffer } = kernels.memory;
  const nextBits = new Uint8Array(buffer, nextAt, width);
  const sum = new Float32Array(buffer, targetAt, width);
  new Float32Array(buffer, strengthAt, strength.length).set(strength);
  const column = new Uint8Array(buffer, columnAt, width + ahead);
  const { nextRow } = openColumns(dots, { ahead, below: rows >> 1, columnMask: (1 << rows) - 1, column });
  return (target) => {
    nextBits.set(nextRow());
    sum.set(target);
    kernels.addStrength(nextAt, columnAt, strengthAt, targetAt, width, columns, rows);
    target.set(sum);
  };
}

function openFull(dots: Dots, { columns, rows, strength }: DotTable): AddStrengthRow {
  const ahead = columns >> 1;
  const indexMask = (1 << (rows * columns)) - 1;
  const columnMask = (1 << rows) - 1;
  const column = new Uint8Array(dots.width + ahead);
  const { nextRow } = openColumns(dots, { ahead, below: rows >> 1, columnMask, column });
  return (target) => addFullRow(target, { next: nextRow(), column, strength, rows, ahead, columnMask, indexMask });
}

interface FullRow {
  readonly next: Uint8Array;
  readonly column: Uint8Array;
  readonly strength: Float32Array;
  readonly rows: number;
  readonly ahead: number;
  readonly columnMask: number;
  readonly indexMask: number;
}

/** A function of its own, and not the closure above: captured variables cost a third of the loop's time. */
function addFullRow(target: Float32Array, of: FullRow): void {
  const { next, column, strength, rows, ahead, columnMask, indexMask } = of;
  const width = target.length;
  let index = 0;
  for (let x = 0; x < ahead; x++) index = (index << rows) | column[x];
  const inner = width - ahead;
  for (let x = 0; x < inner; x++) {
    const bits = ((column[x + ahead] << 1) | next[x + ahead]) & columnMask;
    column[x + ahead] = bits;
    index = ((index << rows) | bits) & indexMask;
    target[x] += strength[index];
  }
  for (let x = Math.max(0, inner); x < width; x++) {
    index = (index << rows) & indexMask;
    target[x] += strength[index];
  }
}

function openWithoutCorners(dots: Dots, { strength }: DotTable): AddStrengthRow {
  const { width } = dots;
  const column = new Uint8Array(width + 2);
  const { nextRow } = openColumns(dots, { ahead: 2, below: 2, columnMask: 31, column });
  return (target) => {
    const next = nextRow();
    let index = (column[0] << 5) | column[1];
    for (let x = 0; x < width; x++) {
      const bits = x + 2 < width ? ((column[x + 2] << 1) | next[x + 2]) & 31 : 0;
      column[x + 2] = bits;
      index = ((index << 5) | bits) & 0x1ffffff;
      target[x] += strength[squeezeCorners(index)];
    }
  };
}

/**
 * Fills `column`, a byte a column and `ahead` more, with the bits of each. `nextRow` gives the dots that come into
 * reach and has shifted the first `ahead` columns; the caller shifts the others on its way along the row.
 */
function openColumns(
  { width, height, data }: Dots,
  { ahead, below, columnMask, column }: { ahead: number; below: number; columnMask: number; column: Uint8Array },
): { nextRow: () => Uint8Array } {
  const bare = new Uint8Array(width);
  const rowAt = (y: number) => (y < height ? data.subarray(y * width, (y + 1) * width) : bare);
  const shift = (row: Uint8Array, end: number) => {
    for (let x = 0; x < end; x++) column[x] = ((column[x] << 1) | row[x]) & columnMask;
  };
  let y = below;
  for (let above = 0; above < below; above++) shift(rowAt(above), width);
  const nextRow = () => {
    const row = rowAt(y++);
    shift(row, Math.min(ahead, width));
    return row;
  };
  return { nextRow };
}

/** Doses are added up at points of each cell, and the strengths that they make are averaged. */
function openLevels(dots: Dots, dose: DoseSampling): AddStrengthRow {
  const { samplesX, samplesY, strengthOf } = dose;
  const { width } = dots;
  const last = strengthOf.length - 1;
  const share = 1 / (samplesX * samplesY);
  const nextRow = openDoses(dots, dose);
  return (target) =>
    nextRow((line) => {
      for (let x = 0, at = 0; x < width; x++) {
        let sum = 0;
        for (let i = 0; i < samplesX; i++, at++) sum += strengthOf[Math.min(line[at] | 0, last)];
        target[x] += share * sum;
      }
    });
}

/**
 * Strength at each point of each cell, 0 bare … 1 solid: the marks themselves, with their round edges, where a table of
 * dots has one value a cell. As many cells as `dose` has points, row-major. Outside the dots nothing fires.
 */
export function drawMarks(
  dots: Dots,
  dose: DoseSampling,
): { readonly width: number; readonly height: number; readonly data: Float32Array } {
  const { samplesX, samplesY, strengthOf } = dose;
  const width = dots.width * samplesX;
  const height = dots.height * samplesY;
  const data = new Float32Array(width * height);
  const last = strengthOf.length - 1;
  const nextRow = openDoses(dots, dose);
  let at = 0;
  for (let y = 0; y < dots.height; y++) {
    nextRow((line) => {
      for (let x = 0; x < width; x++, at++) data[at] = strengthOf[Math.min(line[x] | 0, last)];
    });
  }
  return { width, height, data };
}

/** Share of a full dot's dose of a share of the full level, straight between the steps of the table. */
function doseOf(level: number, { doseOfLevel }: DoseSampling): number {
  if (!doseOfLevel) return level;
  const at = level * (doseOfLevel.length - 1);
  const low = Math.min(doseOfLevel.length - 2, Math.floor(at));
  return doseOfLevel[low] + (at - low) * (doseOfLevel[low + 1] - doseOfLevel[low]);
}

/**
 * Doses at points of each cell, in steps of the table of strengths: along the scan once a row of dots, then across the
 * rows in reach. Each call hands out the lines of the next row of dots, one after the other, in the same memory.
 */
function openDoses(
  { width, height, data, levels }: Dots,
  dose: DoseSampling,
): (take: (line: Float32Array) => void) => void {
  const { samplesX, samplesY, radiusX, radiusY, kernelX, kernelY, indexPerDose } = dose;
  const fine = width * samplesX;
  const span = 2 * radiusY + 1;
  const ring = Array.from({ length: span }, () => new Float32Array(fine));
  const line = new Float32Array(fine);
  const doses = tabulate(new Float64Array(levels), (level) => indexPerDose * doseOf(level / (levels - 1), dose));
  const ringAt = (y: number) => ring[((y % span) + span) % span];
  const spread = (y: number) => {
    const out = ringAt(y);
    out.fill(0);
    if (y < 0 || y >= height) return;
    for (let x = 0; x < width; x++) {
      const value = doses[data[y * width + x]];
      if (value === 0) continue;
      const first = Math.max(-radiusX, -x);
      const end = Math.min(radiusX, width - 1 - x);
      for (let offset = first; offset <= end; offset++) {
        // The cell at x + offset sees this dot −offset cells away.
        const kernel = (radiusX - offset) * samplesX;
        const at = (x + offset) * samplesX;
        for (let i = 0; i < samplesX; i++) out[at + i] += value * kernelX[kernel + i];
      }
    }
  };
  for (let y = -radiusY; y < radiusY; y++) spread(y);
  let y = 0;
  return (take) => {
    spread(y + radiusY);
    for (let j = 0; j < samplesY; j++) {
      line.fill(0);
      for (let offset = -radiusY; offset <= radiusY; offset++) {
        const weight = kernelY[(offset + radiusY) * samplesY + j];
        const from = ringAt(y + offset);
        for (let i = 0; i < fine; i++) line[i] += weight * from[i];
      }
      take(line);
    }
    y++;
  };
}
