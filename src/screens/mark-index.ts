import type { MarkTable } from './mark-steps.ts';

export interface MarkPlace {
  readonly dx: number;
  readonly dy: number;
}

/** From rows of dots to the entries of a dot table. */
export interface MarkIndexer {
  /** The dots of a neighbourhood as seen from its middle, in the order of the index' bits, highest first. */
  readonly places: readonly MarkPlace[];
  /**
   * Shifts one more row of dots (none: bare) into the columns, which have `columns` numbers more than the row has dots.
   */
  readonly pushRow: (columns: Uint8Array, row: Uint8Array | undefined) => void;
  /** Indexes of the cells of the row in the middle of those pushed last. Outside of the row nothing fires. */
  readonly fillRow: (columns: Uint8Array, index: Int32Array) => void;
}

/** The neighbourhoods of a table: columns from left to right, in each the dots from top to bottom. */
export function createIndexer({
  columns,
  rows,
  corners,
}: Pick<MarkTable, 'columns' | 'rows' | 'corners'>): MarkIndexer {
  const places: MarkPlace[] = [];
  for (let dx = -(columns >> 1); dx <= columns >> 1; dx++) {
    for (let dy = -(rows >> 1); dy <= rows >> 1; dy++) {
      if (corners || Math.abs(dx) + Math.abs(dy) < 4) places.push({ dx, dy });
    }
  }
  const side = columns >> 1;
  const columnMask = (1 << rows) - 1;
  const indexMask = (1 << (rows * columns)) - 1;
  return {
    places,
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
        // 25 bits, five a column: the corners are the ends of the outer columns and are squeezed out.
        index[x] = corners ? running : ((running >> 3) & 0x1c0000) | ((running >> 2) & 0x3fff8) | ((running >> 1) & 7);
      }
    },
  };
}
