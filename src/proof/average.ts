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

/**
 * Averages over areas that may cut cells: for a size that is somebody else's, such as a screen's. Row-major.
 * @throws RangeError when the result has more rows or columns than the input.
 */
export function averageAreas(
  { width, height, data }: { readonly width: number; readonly height: number; readonly data: Float32Array },
  to: { readonly width: number; readonly height: number },
): Float32Array {
  if (to.width > width || to.height > height || to.width < 1 || to.height < 1) {
    throw new RangeError(`averages of ${width} × ${height} cannot have ${to.width} × ${to.height} areas`);
  }
  const narrow = new Float32Array(to.width * height);
  const across = planShares(width, to.width);
  for (let y = 0; y < height; y++) {
    for (let x = 0, at = y * to.width; x < to.width; x++, at++) {
      const first = across.first[x];
      let sum = 0;
      for (let i = 0; i < across.most; i++) sum += across.shares[x * across.most + i] * data[y * width + first + i];
      narrow[at] = sum;
    }
  }
  const out = new Float32Array(to.width * to.height);
  const down = planShares(height, to.height);
  for (let y = 0; y < to.height; y++) {
    const row = out.subarray(y * to.width, (y + 1) * to.width);
    for (let i = 0; i < down.most; i++) {
      const share = down.shares[y * down.most + i];
      const from = (down.first[y] + i) * to.width;
      if (share > 0) for (let x = 0; x < to.width; x++) row[x] += share * narrow[from + x];
    }
  }
  return out;
}

/** Which cells lie under each area, from the first on, and by what share of it; shares of an area sum to 1. */
function planShares(cells: number, areas: number) {
  const size = cells / areas;
  const most = Math.min(cells, Math.ceil(size) + 1);
  const shares = new Float32Array(areas * most);
  const first = tabulate(new Int32Array(areas), (area) => Math.min(cells - most, Math.floor(area * size)));
  for (let area = 0; area < areas; area++) {
    for (let i = 0; i < most; i++) {
      const cell = first[area] + i;
      const part = Math.min(cell + 1, (area + 1) * size) - Math.max(cell, area * size);
      shares[area * most + i] = Math.max(0, part) / size;
    }
  }
  return { first, shares, most };
}
