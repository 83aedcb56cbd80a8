import type { DotGrid } from './plane.ts';

/** Which dots around a cell a table knows. */
export interface DotNeighbourhood {
  /** Dots along and across the scan: 1, 3 or 5. */
  readonly columns: number;
  readonly rows: number;
  /** Whether the four corners count; a 5 × 5 neighbourhood leaves them out and has 21 dots. */
  readonly corners: boolean;
}

/**
 * Mean strength of one dot cell by the dots around it. Index of `strength`, which has 2^dots entries: columns from left
 * to right, in each the dots from top to bottom, the first dot is the highest bit.
 *
 * ```
 * bit of a 3 × 3 neighbourhood        of a 5 × 5 one without corners
 *   8 5 2                               .  17 12  7  .
 *   7 4 1                               20 16 11  6  2
 *   6 3 0                               19 15 10  5  1
 *                                       18 14  9  4  0
 *                                       .  13  8  3  .
 * ```
 */
export interface StrengthTable extends DotNeighbourhood {
  /** 0 bare … 1 solid; above 1 where fading makes the solid weaker than its best. */
  readonly strength: ArrayLike<number>;
}

/** A strength table of a surface on a grid, and the light of its bare and its solid: what a proof needs to know. */
export interface DotTable extends StrengthTable {
  readonly grid: DotGrid;
  readonly strength: Float32Array;
  /** For dots of more than two levels: doses are added up instead of being looked up. */
  readonly dose: DoseSampling;
  /** Relative luminance Y of bare and solid, 0 … 1, and Yule-Nielsen n of the mixing between. */
  readonly bareLuminance: number;
  readonly fullLuminance: number;
  readonly yuleNielsenN: number;
}

/** Doses at samplesX × samplesY points of a cell, and the strength that each dose makes. */
export interface DoseSampling {
  readonly samplesX: number;
  readonly samplesY: number;
  readonly radiusX: number;
  readonly radiusY: number;
  /** Dose of a full dot dx cells away at sample i is kernelX[(dx + radiusX)·samplesX + i] · kernelY[…]. */
  readonly kernelX: Float32Array;
  readonly kernelY: Float32Array;
  /**
   * Share of a full dot's dose that arrives from a dot of a share of the full level, at even steps of the level from 0
   * to 1; in proportion when absent.
   */
  readonly doseOfLevel?: Float32Array;
  /** Strength of dose d is strengthOf[floor(d · indexPerDose)]. */
  readonly strengthOf: Float32Array;
  readonly indexPerDose: number;
}

/** A dot as seen from the middle of its neighbourhood, dots. */
export interface DotPlace {
  readonly dx: number;
  readonly dy: number;
}

/** The dots of a neighbourhood in the order of the index' bits, highest first. */
export function listNeighbours({ columns, rows, corners }: DotNeighbourhood): DotPlace[] {
  const [halfX, halfY] = [columns >> 1, rows >> 1];
  const places: DotPlace[] = [];
  for (let dx = -halfX; dx <= halfX; dx++) {
    for (let dy = -halfY; dy <= halfY; dy++) {
      if (corners || Math.abs(dx) < halfX || Math.abs(dy) < halfY) places.push({ dx, dy });
    }
  }
  return places;
}

/**
 * From the 25 bits of a whole 5 × 5 neighbourhood to the index of one without corners: they are the first and the last
 * bit of the outer columns, and are squeezed out.
 */
export function squeezeCorners(bits: number): number {
  return ((bits >> 3) & 0x1c0000) | ((bits >> 2) & 0x3fff8) | ((bits >> 1) & 7);
}

/** How many dots of a pattern fire. */
export function countBits(pattern: number): number {
  let count = 0;
  for (let rest = pattern; rest !== 0; rest &= rest - 1) count++;
  return count;
}

/** From rows of dots to the entries of a table. */
export interface DotIndexer {
  /**
   * Shifts one more row of dots (none: bare) into the columns, which have `columns` numbers more than the row has dots.
   */
  readonly pushRow: (columns: Uint8Array, row: Uint8Array | undefined) => void;
  /** Indexes of the cells of the row in the middle of those pushed last. Outside of the row nothing fires. */
  readonly fillRow: (columns: Uint8Array, index: Int32Array) => void;
}

/** Indexes a row at a time: a number for each column is shifted by a row, a running index by a column. */
export function createIndexer({ columns, rows, corners }: DotNeighbourhood): DotIndexer {
  const side = columns >> 1;
  const columnMask = (1 << rows) - 1;
  const indexMask = (1 << (rows * columns)) - 1;
  return {
    pushRow(bits, row) {
      for (let x = 0; x < side; x++) bits[x] = (bits[x] << 1) & columnMask;
      const count = row === undefined ? 0 : row.length;
      for (let x = 0; x < count; x++) bits[x + side] = ((bits[x + side] << 1) | (row![x] & 1)) & columnMask;
      for (let x = side + count; x < bits.length; x++) bits[x] = (bits[x] << 1) & columnMask;
    },
    fillRow(bits, index) {
      let running = 0;
      for (let x = 0; x < 2 * side; x++) running = (running << rows) | bits[x];
      for (let x = 0; x < index.length; x++) {
        running = ((running << rows) | bits[x + 2 * side]) & indexMask;
        index[x] = corners ? running : squeezeCorners(running);
      }
    },
  };
}
