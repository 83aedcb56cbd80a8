import { tabulate } from '../numeric/index.ts';
import {
  type DotGrid,
  giveBackKernels,
  type Kernels,
  loadKernels,
  type Plane,
  reserveBuffers,
} from '../plane/index.ts';
import type { Arithmetic } from './numbers.ts';

/**
 * Cells: what the eye takes in at once, a block of dots of about `CELL_MM`. Everything but the pointwise part of the
 * tone stage works on cells, which is what keeps it cheap, and comes back to the dots by linear interpolation between
 * cell centres. Millimetres. Assumed: one minute of arc at 275 mm, about the distance at which a card is held.
 */
const CELL_MM = 0.08;
/**
 * At most this many dots to a cell's side, at least two. Counts of dots. Assumed: bounds the sums of a cell at very
 * fine spacings.
 */
const MAX_DOTS_PER_CELL = 32;

export interface CellSize {
  /** Dots across and down. */
  readonly x: number;
  readonly y: number;
}

/** A plane of floats at cell (or coarser) resolution, row-major. */
export interface Cells {
  readonly width: number;
  readonly height: number;
  readonly data: Float32Array;
}

export function cellSize({ pitchMm, lineSpacingMm }: DotGrid): CellSize {
  const dots = (stepMm: number) => Math.min(Math.max(Math.round(CELL_MM / stepMm), 2), MAX_DOTS_PER_CELL);
  return { x: dots(pitchMm), y: dots(lineSpacingMm) };
}

/**
 * Mean of `table[value]` over each cell; cells at the right and lower edge may hold fewer dots. `scalar` forces the
 * readable version; `simd` takes the kernels when they can be had. Both give the same bits.
 */
export function averageCells(
  { width, height, data }: Plane<'luminance'>,
  { table, size, arithmetic = 'simd' }: { table: Float32Array; size: CellSize } & Arithmetic,
): Cells {
  const across = Math.ceil(width / size.x);
  const down = Math.ceil(height / size.y);
  const cells = new Float32Array(across * down);
  const kernels = arithmetic === 'simd' ? loadKernels() : undefined;
  const row = { table, width, dotsPerCell: size.x };
  const { addRow, endRow } = kernels ? startFastSums(kernels, row) : startPlainSums(row);
  for (let cy = 0; cy < down; cy++) {
    const end = Math.min(height, (cy + 1) * size.y);
    for (let y = cy * size.y; y < end; y++) addRow(data.subarray(y * width, (y + 1) * width));
    endRow(cells.subarray(cy * across, (cy + 1) * across), end - cy * size.y);
  }
  giveBackKernels(kernels);
  return { width: across, height: down, data: cells };
}

interface CellSums {
  /** Adds a row of dots to the sums of their cells. */
  readonly addRow: (samples: Uint16Array) => void;
  /** The means of the cells, of which so many rows were added, and sums of 0. */
  readonly endRow: (cells: Float32Array, rows: number) => void;
}

interface CellRow {
  readonly table: Float32Array;
  readonly width: number;
  readonly dotsPerCell: number;
}

function startPlainSums({ table, width, dotsPerCell }: CellRow): CellSums {
  const sums = new Float64Array(Math.ceil(width / dotsPerCell));
  return {
    addRow: (samples) => addPlainCells(sums, { samples, table, dotsPerCell }),
    endRow(cells, rows) {
      for (let cx = 0; cx < cells.length; cx++) {
        cells[cx] = sums[cx] / (rows * Math.min(dotsPerCell, width - cx * dotsPerCell));
      }
      sums.fill(0);
    },
  };
}

/** A function of its own, because an engine makes a function fast at its calls. */
function addPlainCells(
  sums: Float64Array,
  { samples, table, dotsPerCell }: { samples: Uint16Array; table: Float32Array; dotsPerCell: number },
): void {
  for (let cx = 0, at = 0; cx < sums.length; cx++) {
    let sum = 0;
    for (const stop = Math.min(samples.length, at + dotsPerCell); at < stop; at++) sum += table[samples[at]];
    sums[cx] += sum;
  }
}

/** The same by the kernels. */
function startFastSums(kernels: Kernels, { table, width, dotsPerCell }: CellRow): CellSums {
  const across = Math.ceil(width / dotsPerCell);
  const sizes = [2 * width, table.byteLength, 8 * across, 4 * across];
  const [samplesAt, tableAt, sumsAt, meansAt] = reserveBuffers(kernels, sizes);
  const { buffer } = kernels.memory;
  new Float32Array(buffer, tableAt, table.length).set(table);
  const row = new Uint16Array(buffer, samplesAt, width);
  const means = new Float32Array(buffer, meansAt, across);
  return {
    addRow(samples) {
      row.set(samples);
      kernels.addCells(samplesAt, tableAt, sumsAt, width, dotsPerCell);
    },
    endRow(cells, rows) {
      kernels.endCells(sumsAt, meansAt, width, dotsPerCell, rows);
      cells.set(means);
    },
  };
}

/** Mean over blocks of `by` × `by` cells. Both arithmetics give the same bits. */
export function coarsenCells(cells: Cells, by: number, { arithmetic = 'simd' }: Arithmetic = {}): Cells {
  const { width, height, data } = cells;
  const across = Math.ceil(width / by);
  const down = Math.ceil(height / by);
  const coarse = new Float32Array(across * down);
  const kernels = arithmetic === 'simd' ? loadKernels() : undefined;
  const coarsenRows = kernels ? startFastCoarse(kernels, { width, by }) : coarsenPlainRows;
  for (let cy = 0; cy < down; cy++) {
    const bottom = Math.min(height, (cy + 1) * by);
    const rows = data.subarray(cy * by * width, bottom * width);
    coarsenRows(coarse.subarray(cy * across, (cy + 1) * across), { rows, width, by });
  }
  giveBackKernels(kernels);
  return { width: across, height: down, data: coarse };
}

interface CoarseRows {
  /** At most `by` rows of `width` cells. */
  readonly rows: Float32Array;
  readonly width: number;
  readonly by: number;
}

function coarsenPlainRows(out: Float32Array, { rows, width, by }: CoarseRows): void {
  for (let cx = 0; cx < out.length; cx++) {
    const right = Math.min(width, (cx + 1) * by);
    let sum = 0;
    for (let from = 0; from < rows.length; from += width) {
      for (let x = cx * by; x < right; x++) sum += rows[from + x];
    }
    out[cx] = sum / ((rows.length / width) * (right - cx * by));
  }
}

function startFastCoarse(
  kernels: Kernels,
  { width, by }: Pick<CoarseRows, 'width' | 'by'>,
): (out: Float32Array, rows: CoarseRows) => void {
  const across = Math.ceil(width / by);
  const [rowsAt, outAt] = reserveBuffers(kernels, [4 * width * by, 4 * across]);
  const given = new Float32Array(kernels.memory.buffer, rowsAt, width * by);
  const made = new Float32Array(kernels.memory.buffer, outAt, across);
  return (out, { rows }) => {
    given.set(rows);
    kernels.coarsenRows(rowsAt, 4 * width, width, rows.length / width, by, outAt);
    out.set(made);
  };
}

export interface WindowOptions extends Arithmetic {
  /** Cells to each side. */
  readonly radius: number;
  /** Where to write, the cells themselves where nobody needs them any more; new memory when absent. */
  readonly into?: Cells;
}

/** Mean over a window, cut at the edges: running sums, so the cost does not grow with the radius. */
export function averageWindow(
  cells: Cells,
  { radius, into = emptyLike(cells), arithmetic = 'simd' }: WindowOptions,
): Cells {
  const kernels = arithmetic === 'simd' ? loadKernels() : undefined;
  if (kernels) {
    averageFastWindow(kernels, cells, { radius, into });
    giveBackKernels(kernels);
    return into;
  }
  const { width, height, data } = cells;
  const rows = new Float32Array(data.length);
  for (let y = 0; y < height; y++) {
    const at = y * width;
    let sum = 0;
    for (let x = 0; x < Math.min(radius, width); x++) sum += data[at + x];
    for (let x = 0; x < width; x++) {
      if (x + radius < width) sum += data[at + x + radius];
      if (x - radius > 0) sum -= data[at + x - radius - 1];
      rows[at + x] = sum / (Math.min(x + radius, width - 1) - Math.max(x - radius, 0) + 1);
    }
  }
  const out = into.data;
  const sums = new Float64Array(width);
  for (let y = 0; y < Math.min(radius, height); y++) {
    for (let x = 0; x < width; x++) sums[x] += rows[y * width + x];
  }
  for (let y = 0; y < height; y++) {
    if (y + radius < height) {
      const at = (y + radius) * width;
      for (let x = 0; x < width; x++) sums[x] += rows[at + x];
    }
    if (y - radius > 0) {
      const at = (y - radius - 1) * width;
      for (let x = 0; x < width; x++) sums[x] -= rows[at + x];
    }
    const rowsSeen = Math.min(y + radius, height - 1) - Math.max(y - radius, 0) + 1;
    for (let x = 0; x < width; x++) out[y * width + x] = sums[x] / rowsSeen;
  }
  return into;
}

/** The same by the kernels; of the rows averaged along only those that the window still needs are kept, in a ring. */
function averageFastWindow(
  kernels: Kernels,
  { width, height, data }: Cells,
  { radius, into }: { radius: number; into: Cells },
): void {
  const kept = Math.min(height, 2 * radius + 2);
  const even = width + (width & 1);
  const rowBytes = 4 * even;
  const [givenAt, ringAt, sumsAt, outAt] = reserveBuffers(kernels, [rowBytes, kept * rowBytes, 8 * even, rowBytes]);
  const { buffer } = kernels.memory;
  const given = new Float32Array(buffer, givenAt, width);
  const made = new Float32Array(buffer, outAt, width);
  const averageRow = (y: number): number => {
    const at = ringAt + (y % kept) * rowBytes;
    given.set(data.subarray(y * width, (y + 1) * width));
    kernels.windowAlong(givenAt, radius, at, width);
    return at;
  };
  for (let y = 0; y < Math.min(radius, height); y++) kernels.windowAcross(averageRow(y), 0, sumsAt, 1, 0, even);
  for (let y = 0; y < height; y++) {
    const below = y + radius < height ? averageRow(y + radius) : 0;
    const above = y - radius > 0 ? ringAt + ((y - radius - 1) % kept) * rowBytes : 0;
    const rowsSeen = Math.min(y + radius, height - 1) - Math.max(y - radius, 0) + 1;
    kernels.windowAcross(below, above, sumsAt, rowsSeen, outAt, even);
    into.data.set(made, y * width);
  }
}

export interface BlurOptions extends Arithmetic {
  /** Standard deviations, cells. */
  readonly sigmaX: number;
  readonly sigmaY: number;
  /** Where to write, the cells themselves where nobody needs them any more; new memory when absent. */
  readonly into?: Cells;
}

/** Gaussian blur with its own standard deviation along each axis; the nearest cell stands for what lies outside. */
export function blurCells(cells: Cells, options: BlurOptions): Cells {
  const { sigmaX, sigmaY, into = emptyLike(cells), arithmetic = 'simd' } = options;
  const { width, height, data } = cells;
  const kernelX = gaussianKernel(sigmaX);
  const kernelY = gaussianKernel(sigmaY);
  const kernels = arithmetic === 'simd' ? loadKernels() : undefined;
  if (kernels) {
    blurFastCells(kernels, cells, { kernelX, kernelY, into });
    giveBackKernels(kernels);
    return into;
  }
  const rows = new Float32Array(data.length);
  for (let y = 0; y < height; y++) {
    const at = y * width;
    for (let x = 0; x < width; x++) {
      let sum = kernelX[0] * data[at + x];
      for (let k = 1; k < kernelX.length; k++) {
        sum += kernelX[k] * (data[at + Math.max(0, x - k)] + data[at + Math.min(width - 1, x + k)]);
      }
      rows[at + x] = sum;
    }
  }
  const out = into.data;
  for (let y = 0; y < height; y++) {
    const at = y * width;
    for (let x = 0; x < width; x++) out[at + x] = kernelY[0] * rows[at + x];
    for (let k = 1; k < kernelY.length; k++) {
      const above = Math.max(0, y - k) * width;
      const below = Math.min(height - 1, y + k) * width;
      const weight = kernelY[k];
      for (let x = 0; x < width; x++) out[at + x] += weight * (rows[above + x] + rows[below + x]);
    }
  }
  return into;
}

/** The same by the kernels; the rows blurred along lie in a ring. */
function blurFastCells(
  kernels: Kernels,
  { width, height, data }: Cells,
  { kernelX, kernelY, into }: { kernelX: Float64Array; kernelY: Float64Array; into: Cells },
): void {
  const [radiusX, radiusY] = [kernelX.length - 1, kernelY.length - 1];
  const kept = 2 * radiusY + 1;
  const rowBytes = 4 * (width + (width & 1));
  const sizes = [
    rowBytes + 8 * radiusX + 8,
    kernelX.byteLength,
    kernelY.byteLength,
    4 * kept,
    kept * rowBytes,
    rowBytes,
  ];
  const [givenAt, kernelXAt, kernelYAt, addressesAt, ringAt, outAt] = reserveBuffers(kernels, sizes);
  const { buffer } = kernels.memory;
  new Float64Array(buffer, kernelXAt, kernelX.length).set(kernelX);
  new Float64Array(buffer, kernelYAt, kernelY.length).set(kernelY);
  const given = new Float32Array(buffer, givenAt, width + 2 * radiusX);
  const addresses = new Int32Array(buffer, addressesAt, kept);
  const made = new Float32Array(buffer, outAt, width);
  const addressOf = (y: number) => ringAt + (Math.min(Math.max(y, 0), height - 1) % kept) * rowBytes;
  let blurred = 0;
  for (let y = 0; y < height; y++) {
    for (; blurred < height && blurred <= y + radiusY; blurred++) {
      const row = data.subarray(blurred * width, (blurred + 1) * width);
      given.fill(row[0], 0, radiusX);
      given.set(row, radiusX);
      given.fill(row[width - 1], radiusX + width);
      kernels.blurAlong(givenAt + 4 * radiusX, kernelXAt, radiusX, addressOf(blurred), width);
    }
    addresses[0] = addressOf(y);
    for (let k = 1; k <= radiusY; k++) {
      addresses[2 * k - 1] = addressOf(y - k);
      addresses[2 * k] = addressOf(y + k);
    }
    kernels.blurPairs(addressesAt, kernelYAt, radiusY, outAt, width);
    into.data.set(made, y * width);
  }
}

function emptyLike({ width, height }: Cells): Cells {
  return { width, height, data: new Float32Array(width * height) };
}

/** Half of a symmetric kernel with sum 1: the middle first. */
function gaussianKernel(sigma: number): Float64Array {
  if (!(sigma > 0.1)) return Float64Array.of(1);
  const half = tabulate(new Float64Array(Math.ceil(3 * sigma) + 1), (k) => Math.exp((-k * k) / (2 * sigma * sigma)));
  const sum = half.reduce((total, weight, k) => total + (k === 0 ? weight : 2 * weight), 0);
  return half.map((weight) => weight / sum);
}

/**
 * Back from blocks of `by` × `by` cells to `width` × `height` cells, linear between the blocks' centres. Both
 * arithmetics give the same bits.
 */
export function refineCells(
  coarse: Cells,
  by: number,
  { width, height, arithmetic = 'simd' }: Pick<Cells, 'width' | 'height'> & Arithmetic,
): Cells {
  const data = new Float32Array(width * height);
  const lefts = new Int32Array(width);
  const ways = new Float64Array(width);
  for (let x = 0; x < width; x++) {
    const { above: left, way } = splitHeight((x + 0.5) / by - 0.5, coarse.width);
    lefts[x] = left;
    ways[x] = way;
  }
  const kernels = arithmetic === 'simd' ? loadKernels() : undefined;
  const places = { coarse, lefts, ways };
  const refineRow = kernels ? startFastRefining(kernels, places) : startPlainRefining(places);
  for (let y = 0; y < height; y++) refineRow((y + 0.5) / by - 0.5, data.subarray(y * width, (y + 1) * width));
  giveBackKernels(kernels);
  return { width, height, data };
}

interface Refining {
  readonly coarse: Cells;
  /** For each cell of a row the coarse one left of its middle, and the way from that to the next. */
  readonly lefts: Int32Array;
  readonly ways: Float64Array;
}

/** Writes a row of cells at a height of the coarse ones. */
type RefineRow = (at: number, out: Float32Array) => void;

function startPlainRefining({ coarse, lefts, ways }: Refining): RefineRow {
  const row = new Float32Array(coarse.width);
  const last = row.length - 1;
  return (at, out) => {
    blendRows(coarse, at, row);
    for (let x = 0; x < out.length; x++) {
      const left = lefts[x];
      out[x] = row[left] + ways[x] * (row[left < last ? left + 1 : last] - row[left]);
    }
  };
}

/** The same by the kernel. */
function startFastRefining(kernels: Kernels, { coarse, lefts, ways }: Refining): RefineRow {
  const { width, height, data } = coarse;
  const sizes = [4 * width, 4 * width, 4 * width + 4, lefts.byteLength, ways.byteLength, 4 * lefts.length];
  const [upperAt, lowerAt, rowAt, leftsAt, waysAt, outAt] = reserveBuffers(kernels, sizes);
  const { buffer } = kernels.memory;
  new Int32Array(buffer, leftsAt, lefts.length).set(lefts);
  new Float64Array(buffer, waysAt, ways.length).set(ways);
  const [upper, lower] = [upperAt, lowerAt].map((address) => new Float32Array(buffer, address, width));
  const made = new Float32Array(buffer, outAt, lefts.length);
  return (at, out) => {
    const { above, below, way } = splitHeight(at, height);
    upper.set(data.subarray(above * width, (above + 1) * width));
    lower.set(data.subarray(below * width, (below + 1) * width));
    kernels.refineRow(upperAt, lowerAt, way, rowAt, width, leftsAt, waysAt, outAt, lefts.length);
    out.set(made);
  };
}

/**
 * The rows to both sides of height `at` (0 is the centre of the first row; beyond the ends the end), and the way
 * between.
 */
export function splitHeight(at: number, height: number): { above: number; below: number; way: number } {
  const within = Math.min(Math.max(at, 0), height - 1);
  const above = Math.floor(within);
  return { above, below: Math.min(above + 1, height - 1), way: within - above };
}

/** The row at height `at`, linear between rows, into `row`. */
export function blendRows({ width, height, data }: Cells, at: number, row: Float32Array): void {
  const { above, below, way } = splitHeight(at, height);
  const upper = above * width;
  const lower = below * width;
  for (let x = 0; x < width; x++) row[x] = data[upper + x] + way * (data[lower + x] - data[upper + x]);
}
