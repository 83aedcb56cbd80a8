import { tabulate } from '../numeric/index.ts';
import {
  giveBackKernels,
  type Kernels,
  loadKernels,
  type Plane,
  reserveBuffers,
  tabulateLightness,
} from '../plane/index.ts';
import { type Cells, coarsenCells } from './cells.ts';
import type { Arithmetic } from './numbers.ts';

/**
 * Side of the blocks in which noise is looked for, pixels. Assumed: 256 pixels tell a deviation to 5 %, and a block
 * still fits between edges.
 */
const BLOCK = 16;
/** Blocks looked at, at most, a count. Assumed: more would cost time and not change the answer. */
const MAX_BLOCKS = 4096;
/**
 * The share of blocks that is taken to be without texture, within each class of lightness. Assumed, by eye: a larger
 * share takes texture for noise, a smaller one only the quietest chance.
 */
const SMOOTH_SHARE = 0.03;
/**
 * Width of these classes, L*, and the fewest blocks, a count, from which one is judged. Assumed: noise changes slowly
 * with lightness; the quietest of fewer than ten blocks is chance.
 */
const CLASS_L = 10;
const MIN_BLOCKS = 10;

/** The bin in which such a share of all that was counted is passed; undefined when nothing was. */
export function quantileBin(counts: Uint32Array, share: number): number | undefined {
  const total = counts.reduce((sum, count) => sum + count, 0);
  if (total === 0) return undefined;
  let seen = 0;
  return counts.findIndex((count) => {
    seen += count;
    return seen > share * total;
  });
}

/** How the photo's pixels lie under a picture. */
export interface PhotoPixels {
  /** How many of them the picture is wide and high, not rounded. */
  readonly width: number;
  readonly height: number;
  /** How much of the first column and of the first row lies outside, a share of a pixel. */
  readonly left: number;
  readonly top: number;
}

/**
 * The quietest blocks of even noise lie so far below it, a factor. Measured (tests/photo/noise.test.ts): 0.92 … 0.95.
 */
const QUIET = 0.93;
/** Side of the blocks of compression, pixels. Format: JPEG (ITU-T T.81), 8. */
const JPEG_BLOCK = 8;
/**
 * Steps at the edges of these blocks, L*: up to the first they are chance, from the second on they are certain.
 * Measured (tests/photo/noise.test.ts): 0.02 … 0.05 without compression, 0.5 … 1.3 with.
 */
const CHANCE_STEP_L = 0.1;
const CERTAIN_STEP_L = 0.4;
/** Larger steps are those of the picture, L*. Assumed: compression that coarse is seen by everyone. */
const MOST_STEP_L = 8;
/**
 * Noise of pixels over that of pairs of them from which the latter is noise, too; shares: none below, all above.
 * Assumed: even noise has one, fur and grass a third.
 */
const EVEN_NOISE = { from: 0.4, to: 0.6 } as const;

/**
 * Standard deviation of a photo's noise, L*, told at its own pixels, which the dots show enlarged. Compression takes
 * the finest of the noise away and smears the rest over pairs of pixels: where it has left its blocks, or where the
 * finest speaks for it, pairs count as well. Steps between these blocks are never detail.
 */
export function photoNoise(luminance: Plane<'luminance'>, pixels: PhotoPixels): number {
  const seen = readPixels(luminance, pixels);
  const fine = cellNoise(seen) / QUIET;
  // The mean of 2 × 2 has half of the deviation; of a quarter of the pixels there are few blocks unless they overlap.
  const pairs = (2 * cellNoise(coarsenCells(seen, 2), { step: BLOCK / 2 })) / QUIET;
  const step = blockStep(seen);
  const compressed = ramp(step, CHANCE_STEP_L, CERTAIN_STEP_L);
  const even = pairs > 0 ? ramp(fine / pairs, EVEN_NOISE.from, EVEN_NOISE.to) : 0;
  return Math.max(fine + Math.max(0, pairs - fine) * Math.max(compressed, even), compressed * step);
}

const ramp = (value: number, from: number, to: number): number =>
  Math.min(1, Math.max(0, (value - from) / (to - from)));

/** L* of the photo's pixels, each read at its middle: an enlarged picture goes through them. */
function readPixels({ width, height, data }: Plane<'luminance'>, pixels: PhotoPixels): Cells {
  const table = tabulateLightness();
  const place = (count: number, { of, before }: { readonly of: number; readonly before: number }) =>
    tabulate(new Int32Array(Math.max(1, Math.floor(of + before))), (at) =>
      Math.min(count - 1, Math.max(0, Math.floor(((at + 0.5 - before) * count) / of))),
    );
  const columns = place(width, { of: pixels.width, before: pixels.left });
  const rows = place(height, { of: pixels.height, before: pixels.top });
  const out = new Float32Array(columns.length * rows.length);
  for (let y = 0; y < rows.length; y++) {
    const from = rows[y] * width;
    const to = y * columns.length;
    for (let x = 0; x < columns.length; x++) out[to + x] = table[data[from + columns[x]]];
  }
  return { width: columns.length, height: rows.length, data: out };
}

/**
 * How much more neighbours differ where blocks of compression meet than beside, L*: the largest of the eight places
 * where they could meet along a row, less the mean of the others.
 */
function blockStep({ width, height, data }: Cells): number {
  const sums = new Float64Array(JPEG_BLOCK);
  const counts = new Uint32Array(JPEG_BLOCK);
  for (let y = 0; y < height; y++) {
    const row = y * width;
    for (let x = 2; x < width - 1; x++) {
      const here = Math.abs(data[row + x] - data[row + x - 1]);
      const beside =
        (Math.abs(data[row + x - 1] - data[row + x - 2]) + Math.abs(data[row + x + 1] - data[row + x])) / 2;
      if (here > MOST_STEP_L || beside > MOST_STEP_L) continue;
      sums[x % JPEG_BLOCK] += here - beside;
      counts[x % JPEG_BLOCK]++;
    }
  }
  if (counts.some((count) => count === 0)) return 0;
  const steps = sums.map((sum, at) => sum / counts[at]);
  const most = Math.max(...steps);
  return most - (steps.reduce((sum, step) => sum + step, 0) - most) / (JPEG_BLOCK - 1);
}

export interface NoiseOptions extends Arithmetic {
  /** Blocks begin so many cells apart; one beside the other when absent. */
  readonly step?: number;
}

/**
 * Standard deviation of the noise from cell to cell, L*.
 * `immerkaer1996`: noise from the mean magnitude of the response to [1 −2 1; −2 4 −2; 1 −2 1], which is blind to slopes
 * and straight edges; σ = √(π/2)/6 · mean. Changed: by blocks, of which the smoothest few in a hundred count, so that
 * fur and grass do not pass for noise; by classes of lightness, so that black, where noise is cut off, does not speak
 * for the rest; blocks without any difference (clipped, or painted) do not count. The mean over the classes, by their
 * number of blocks. Both arithmetics give the same bits.
 */
export function cellNoise(cells: Cells, { step = BLOCK, arithmetic = 'simd' }: NoiseOptions = {}): number {
  const count = (length: number) => (length < BLOCK + 2 ? 0 : Math.floor((length - 2 - BLOCK) / step) + 1);
  const [across, down] = [count(cells.width), count(cells.height)];
  if (across < 1 || down < 1) return 0;
  const stride = Math.max(1, Math.ceil((across * down) / MAX_BLOCKS));
  const kernels = arithmetic === 'simd' ? loadKernels() : undefined;
  const respond = kernels ? startFastBlocks(kernels, cells, across) : startPlainBlocks(cells);
  const found = Array.from({ length: 100 / CLASS_L }, () => [] as number[]);
  // Every `stride`-th block, counted on from row to row.
  for (let row = 0, first = 0; row < down; row++) {
    const blocks = Math.max(0, Math.ceil((across - first) / stride));
    const responses = respond({ left: first * step, top: row * step, gap: stride * step, blocks });
    for (let at = 0; at < 2 * blocks; at += 2) {
      const lightness = responses[at + 1]! / (BLOCK * BLOCK);
      const deviation = (Math.sqrt(Math.PI / 2) / 6) * (responses[at]! / (BLOCK * BLOCK));
      if (deviation > 0) found[Math.min(found.length - 1, Math.floor(lightness / CLASS_L))].push(deviation);
    }
    first += blocks * stride - across;
  }
  giveBackKernels(kernels);
  let weighted = 0;
  let blocks = 0;
  for (const deviations of found) {
    if (deviations.length < MIN_BLOCKS) continue;
    deviations.sort((a, b) => a - b);
    weighted += deviations[Math.floor(deviations.length * SMOOTH_SHARE)] * deviations.length;
    blocks += deviations.length;
  }
  return blocks > 0 ? weighted / blocks : 0;
}

/** Blocks beside each other: cells of the first one's corner, cells from one to the next, and how many. */
interface BlockRow {
  readonly left: number;
  readonly top: number;
  readonly gap: number;
  readonly blocks: number;
}

/** Of each block, which has a rim of one cell: the summed magnitude of the response, and of the cells themselves. */
type Respond = (row: BlockRow) => Float64Array;

function startPlainBlocks(cells: Cells): Respond {
  return ({ left, top, gap, blocks }) => {
    const responses = new Float64Array(2 * blocks);
    for (let block = 0; block < blocks; block++) {
      const { sum, level } = respond(cells, { left: left + block * gap, top });
      responses[2 * block] = sum;
      responses[2 * block + 1] = level;
    }
    return responses;
  };
}

function respond({ width, data }: Cells, { left, top }: { readonly left: number; readonly top: number }) {
  const bendAt = (at: number) => data[at - 1] - 2 * data[at] + data[at + 1];
  let sum = 0;
  let level = 0;
  for (let y = 1; y <= BLOCK; y++) {
    for (let x = 1; x <= BLOCK; x++) {
      const at = (top + y) * width + left + x;
      sum += Math.abs(bendAt(at - width) - 2 * bendAt(at) + bendAt(at + width));
      level += data[at];
    }
  }
  return { sum, level };
}

/** The same by the kernel, on the rows that the blocks and their rims lie on. */
function startFastBlocks(kernels: Kernels, { width, data }: Cells, mostBlocks: number): Respond {
  const rows = BLOCK + 2;
  const [rowsAt, responsesAt] = reserveBuffers(kernels, [4 * width * rows, 16 * mostBlocks]);
  const given = new Float32Array(kernels.memory.buffer, rowsAt, width * rows);
  const responses = new Float64Array(kernels.memory.buffer, responsesAt, 2 * mostBlocks);
  return ({ left, top, gap, blocks }) => {
    given.set(data.subarray(top * width, (top + rows) * width));
    kernels.respondBlocks(rowsAt + 4 * left, 4 * width, 4 * gap, blocks, responsesAt);
    return responses;
  };
}
