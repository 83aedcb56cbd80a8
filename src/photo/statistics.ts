import { ONE, type Plane, tabulateLightness } from '../plane/index.ts';
import type { Cells } from './cells.ts';

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

export interface ToneStatistics {
  /** Share of the dots by L*: 100 bins of one unit. */
  readonly histogram: readonly number[];
  /** Share of the dots at exactly 0, and at exactly full light. */
  readonly clippedBlackShare: number;
  readonly clippedWhiteShare: number;
  readonly medianL: number;
  readonly meanL: number;
  /** Standard deviation of the noise from dot to dot, L*, as estimated from the smoothest places. */
  readonly noiseL: number;
}

/** Facts about a luminance plane, in L*; dots whose mask is below one half do not count. All 0 when none counts. */
export function toneStatistics(luminance: Plane<'luminance'>, mask?: Plane<'mask'>): ToneStatistics {
  const counts = new Float64Array(ONE + 1);
  const { data } = luminance;
  let total = 0;
  for (let i = 0; i < data.length; i++) {
    if (mask && mask.data[i] < 128) continue;
    counts[data[i]]++;
    total++;
  }
  const light = tabulateLightness();
  const histogram = new Array<number>(100).fill(0);
  let sum = 0;
  let seen = 0;
  let medianL = 0;
  for (let value = 0; value <= ONE; value++) {
    const count = counts[value];
    if (count === 0) continue;
    histogram[Math.min(99, Math.floor(light[value]))] += count / total;
    sum += light[value] * count;
    if (seen < total / 2) medianL = light[value];
    seen += count;
  }
  const share = (count: number) => (total > 0 ? count / total : 0);
  return {
    histogram,
    clippedBlackShare: share(counts[0]),
    clippedWhiteShare: share(counts[ONE]),
    medianL,
    meanL: share(sum),
    noiseL: estimateNoise(luminance.width, luminance.height, (at) => light[data[at]]),
  };
}

/** Standard deviation of the noise from cell to cell, L*. */
export function cellNoise(cells: Cells): number {
  return estimateNoise(cells.width, cells.height, (at) => cells.data[at]);
}

/**
 * `immerkaer1996`: noise from the mean magnitude of the response to [1 −2 1; −2 4 −2; 1 −2 1], which is blind to slopes
 * and straight edges; σ = √(π/2)/6 · mean. Changed: by blocks, of which the smoothest few in a hundred count, so that
 * fur and grass do not pass for noise; by classes of lightness, so that black, where noise is cut off, does not speak
 * for the rest; blocks without any difference (clipped, or painted) do not count. The mean over the classes, by their
 * number of blocks.
 */
function estimateNoise(width: number, height: number, lightnessAt: (index: number) => number): number {
  const across = Math.floor((width - 2) / BLOCK);
  const down = Math.floor((height - 2) / BLOCK);
  if (across < 1 || down < 1) return 0;
  const stride = Math.max(1, Math.ceil((across * down) / MAX_BLOCKS));
  const side = BLOCK + 2;
  const window = new Float32Array(side * side);
  const found = Array.from({ length: 100 / CLASS_L }, () => [] as number[]);
  for (let block = 0; block < across * down; block += stride) {
    const left = (block % across) * BLOCK;
    const top = Math.floor(block / across) * BLOCK;
    for (let y = 0; y < side; y++) {
      for (let x = 0; x < side; x++) window[y * side + x] = lightnessAt((top + y) * width + left + x);
    }
    let sum = 0;
    let level = 0;
    for (let y = 1; y <= BLOCK; y++) {
      for (let x = 1; x <= BLOCK; x++) {
        const at = y * side + x;
        const up = window[at - side - 1] - 2 * window[at - side] + window[at - side + 1];
        const here = window[at - 1] - 2 * window[at] + window[at + 1];
        const below = window[at + side - 1] - 2 * window[at + side] + window[at + side + 1];
        sum += Math.abs(up - 2 * here + below);
        level += window[at];
      }
    }
    const lightness = level / (BLOCK * BLOCK);
    const deviation = (Math.sqrt(Math.PI / 2) / 6) * (sum / (BLOCK * BLOCK));
    if (sum > 0) found[Math.min(found.length - 1, Math.floor(lightness / CLASS_L))].push(deviation);
  }
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
