import type { Dots } from '../plane/index.ts';
import type { DoseSampling, DotTable } from './types.ts';

/** Called once a row of dots, top to bottom, with the mean strength of each cell; the array is reused. */
export type StrengthRow = (strength: Float32Array, y: number) => void;

/**
 * Mean strength of every dot cell, row by row. Outside the dots nothing fires.
 * The neighbourhood's bits are kept as one number a column, shifted by a row at a time, and as one running index along
 * the row, so that a dot costs one new bit, two shifts and one load.
 */
export function walkStrength(dots: Dots, table: DotTable, visit: StrengthRow): void {
  if (dots.levels > 2) walkLevels(dots, table.dose, visit);
  else if (table.corners) walkFull(dots, table, visit);
  else walkWithoutCorners(dots, table, visit);
}

function walkFull({ width, height, data }: Dots, { columns, rows, strength }: DotTable, visit: StrengthRow): void {
  const ahead = columns >> 1;
  const below = rows >> 1;
  const columnMask = (1 << rows) - 1;
  const indexMask = (1 << (rows * columns)) - 1;
  const column = new Uint8Array(width + ahead);
  const row = new Float32Array(width);
  for (let y = -below; y < height; y++) {
    pushRow({ column, data, width, height }, y + below, columnMask);
    if (y < 0) continue;
    let index = 0;
    for (let x = 0; x < ahead; x++) index = (index << rows) | column[x];
    for (let x = 0; x < width; x++) {
      index = ((index << rows) | column[x + ahead]) & indexMask;
      row[x] = strength[index];
    }
    visit(row, y);
  }
}

function walkWithoutCorners({ width, height, data }: Dots, { strength }: DotTable, visit: StrengthRow): void {
  const column = new Uint8Array(width + 4);
  const row = new Float32Array(width);
  for (let y = -2; y < height; y++) {
    pushRow({ column, data, width, height }, y + 2, 31);
    if (y < 0) continue;
    // 25 bits, five a column; the corners are the first and the last bit of the outer columns and are squeezed out.
    let index = (column[0] << 5) | column[1];
    for (let x = 0; x < width; x++) {
      index = ((index << 5) | column[x + 2]) & 0x1ffffff;
      row[x] = strength[((index >> 3) & 0x1c0000) | ((index >> 2) & 0x3fff8) | ((index >> 1) & 7)];
    }
    visit(row, y);
  }
}

/** Shifts the row y of dots into the columns' bits; rows below the picture are bare. */
function pushRow(
  of: { column: Uint8Array; data: Uint8Array; width: number; height: number },
  y: number,
  mask: number,
): void {
  const { column, data, width, height } = of;
  if (y < height) {
    const from = y * width;
    for (let x = 0; x < width; x++) column[x] = ((column[x] << 1) | data[from + x]) & mask;
  } else for (let x = 0; x < width; x++) column[x] = (column[x] << 1) & mask;
}

/** Doses are added up at points of each cell: along the scan once a row of dots, then across the rows in reach. */
function walkLevels({ width, height, data, levels }: Dots, dose: DoseSampling, visit: StrengthRow): void {
  const { samplesX, samplesY, radiusX, radiusY, kernelX, kernelY, strengthOf, indexPerDose } = dose;
  const fine = width * samplesX;
  const span = 2 * radiusY + 1;
  const ring = Array.from({ length: span }, () => new Float32Array(fine));
  const line = new Float32Array(fine);
  const row = new Float32Array(width);
  const last = strengthOf.length - 1;
  const scale = indexPerDose / (levels - 1);
  const spread = (y: number) => {
    const out = ring[((y % span) + span) % span];
    out.fill(0);
    if (y < 0 || y >= height) return;
    for (let x = 0; x < width; x++) {
      const value = data[y * width + x] * scale;
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
  for (let y = 0; y < height; y++) {
    spread(y + radiusY);
    row.fill(0);
    for (let j = 0; j < samplesY; j++) {
      line.fill(0);
      for (let offset = -radiusY; offset <= radiusY; offset++) {
        const share = kernelY[(offset + radiusY) * samplesY + j];
        const from = ring[(((y + offset) % span) + span) % span];
        for (let i = 0; i < fine; i++) line[i] += share * from[i];
      }
      for (let x = 0, at = 0; x < width; x++) {
        for (let i = 0; i < samplesX; i++, at++) row[x] += strengthOf[Math.min(line[at] | 0, last)];
      }
    }
    const share = 1 / (samplesX * samplesY);
    for (let x = 0; x < width; x++) row[x] *= share;
    visit(row, y);
  }
}
