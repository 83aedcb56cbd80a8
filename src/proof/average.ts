/** Collects rows into area averages of a smaller plane; a row or column on a border gives each side its share. */
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
 * Area averages without keeping the large plane: rows are summed column by column as they come, and a finished sum is cut
 * into cells once. Averages over equal areas, so the mean of the plane is kept.
 * @throws RangeError when the result has more rows or columns than the input.
 */
export function createAverager({ from, to }: AverageSize): Averager {
  if (to.width > from.width || to.height > from.height || to.width < 1 || to.height < 1) {
    throw new RangeError(`averages of ${from.width} × ${from.height} cannot have ${to.width} × ${to.height} cells`);
  }
  const means = new Float32Array(to.width * to.height);
  const sum = new Float32Array(from.width);
  const step = from.width / to.width;
  const area = step * (from.height / to.height);
  let y = 0;
  let cellY = 0;

  const flush = () => {
    let x = 0;
    let rest = 0;
    for (let cell = 0; cell < to.width; cell++) {
      const end = cell + 1 === to.width ? from.width : (cell + 1) * step;
      const whole = Math.floor(end + 1e-9);
      let total = rest;
      for (; x < whole; x++) total += sum[x];
      const part = x < from.width ? Math.max(0, end - whole) : 0;
      if (part > 1e-9) {
        total += part * sum[x];
        rest = (1 - part) * sum[x];
        x++;
      } else rest = 0;
      means[cellY * to.width + cell] = total / area;
    }
  };

  const scratch = new Float32Array(from.width);
  const add = (addRow: (target: Float32Array) => void) => {
    // Whole numbers, so that no rounding decides on which side of a border a row lies.
    y++;
    const over = y * to.height - (cellY + 1) * from.height;
    if (over <= 0) addRow(sum);
    if (over < 0) return;
    if (over === 0) {
      flush();
      sum.fill(0);
    } else {
      scratch.fill(0);
      addRow(scratch);
      const after = over / to.height;
      for (let x = 0; x < from.width; x++) sum[x] += (1 - after) * scratch[x];
      flush();
      for (let x = 0; x < from.width; x++) sum[x] = after * scratch[x];
    }
    cellY++;
  };
  return { add, means };
}
