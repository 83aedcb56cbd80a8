import { tabulate } from '../numeric/index.ts';
/** Collects rows into averages of a smaller plane. */
export interface Averager {
  /** Takes the next row from a function that adds it to the target. */
  readonly add: (addRow: (target: Float32Array) => void) => void;
  /** Averages, row-major, once all rows were added. */
  readonly means: Float32Array;
}

export interface AverageSize {
  readonly from: { readonly width: number; readonly height: number };
  readonly to: { readonly width: number; readonly height: number };
}

/**
 * Averages without keeping the large plane: rows are summed column by column as they come, and a finished sum is cut
 * into cells once. A cell is whole dots: where the sizes do not divide, neighbours differ by one dot. Cutting dots
 * instead would cost twice the time and change nothing for two planes that are cut alike, which is what averages are
 * compared for.
 * @throws RangeError when the result has more rows or columns than the input.
 */
export function createAverager({ from, to }: AverageSize): Averager {
  if (to.width > from.width || to.height > from.height || to.width < 1 || to.height < 1) {
    throw new RangeError(`averages of ${from.width} × ${from.height} cannot have ${to.width} × ${to.height} cells`);
  }
  const means = new Float32Array(to.width * to.height);
  const sum = new Float32Array(from.width);
  const columns = planBorders(from.width, to.width);
  const rows = planBorders(from.height, to.height);
  let y = 0;
  let cellY = 0;
  const add = (addRow: (target: Float32Array) => void) => {
    addRow(sum);
    if (++y < rows[cellY + 1]) return;
    const row = means.subarray(cellY * to.width, (cellY + 1) * to.width);
    averageRow(row, { sum, columns, height: rows[cellY + 1] - rows[cellY] });
    sum.fill(0);
    cellY++;
  };
  return { add, means };
}

/** Where cells begin, in dots; one more for the end. */
function planBorders(dots: number, cells: number): Int32Array {
  return tabulate(new Int32Array(cells + 1), (cell) => Math.round((cell * dots) / cells));
}

function averageRow(
  row: Float32Array,
  { sum, columns, height }: { readonly sum: Float32Array; readonly columns: Int32Array; readonly height: number },
): void {
  for (let cell = 0, x = 0; cell < row.length; cell++) {
    const start = x;
    const end = columns[cell + 1];
    let total = 0;
    for (; x < end; x++) total += sum[x];
    row[cell] = total / ((end - start) * height);
  }
}
