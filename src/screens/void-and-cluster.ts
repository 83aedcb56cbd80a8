import { createRandom } from '../numeric/index.ts';

export interface VoidAndClusterOptions {
  /** Side of the matrix, dots: a power of two 16 … 256. */
  readonly size: number;
  /** Standard deviation of the filter along and across the scan, dots. */
  readonly sigmaX: number;
  readonly sigmaY: number;
  /** Start of the chance behind the first pattern. */
  readonly seed: number;
}

/**
 * Filter value at its centre, in 1/16777216. Assumed: 24 bits tell every distance apart; the sum over the filter stays
 * below `SET`, or generation refuses.
 */
const CENTRE = 1 << 24;
/**
 * Added to the energy of set dots, in the filter's units, so that one field's least value is the largest void, its
 * greatest the tightest cluster. Exact: 2²⁹, twice of which fits 32 bits.
 */
const SET = 1 << 29;
/** Side of the segments whose extremes are kept, dots. Assumed: about where finding and updating cost alike. */
const SEGMENT = 16;
/**
 * Share of dots set in the first pattern: any minority serves (step 1 of the paper). Assumed: the paper's kind of
 * number; the result's tones do not rest on it.
 */
const FIRST_SHARE = 0.1;

/**
 * Ranks of a blue-noise matrix by void and cluster (source: 'ulichney1993'): a first random pattern is evened out by
 * moving its tightest cluster into its largest void until that changes nothing; ranks below it by taking out tightest
 * clusters, ranks above it by filling largest voids. The paper's third phase, once the set dots are in the majority,
 * fills the tightest cluster of bare dots instead: on a torus with a filter that wraps whole, that is the same dot.
 *
 * The Gaussian is rounded to whole numbers, so that energies are exact sums without drift and every engine finds the
 * same matrix; of equal dots the first in reading order is taken. The best dot is kept per segment of sixteen and per
 * row and looked for again only where the filter has been, which takes a 256² matrix from 24 s to half a second.
 * @returns size × size ranks 0 … size² − 1, row-major.
 * @throws RangeError when an option is outside its range.
 */
export function generateVoidAndCluster({ size, sigmaX, sigmaY, seed }: VoidAndClusterOptions): Uint16Array {
  if (!Number.isInteger(size) || size < SEGMENT || size > 256 || (size & (size - 1)) !== 0) {
    throw new RangeError(`the matrix needs a side that is a power of two ${SEGMENT} … 256, got ${size}`);
  }
  const field = createField(size, createFilter(size, sigmaX, sigmaY));
  const count = size * size;
  const setCount = Math.floor(count * FIRST_SHARE);
  const random = createRandom(seed);
  for (let set = 0; set < setCount; ) {
    const at = random.nextBelow(count);
    if (field.isSet(at)) continue;
    field.toggle(at);
    set++;
  }
  for (;;) {
    const cluster = field.tightestCluster();
    field.toggle(cluster);
    const hole = field.largestVoid();
    field.toggle(hole);
    if (hole === cluster) break;
  }
  const ranks = new Uint16Array(count);
  const first = Array.from({ length: count }, (_, at) => at).filter(field.isSet);
  for (let rank = setCount - 1; rank >= 0; rank--) {
    const cluster = field.tightestCluster();
    field.toggle(cluster);
    ranks[cluster] = rank;
  }
  for (const at of first) field.toggle(at);
  for (let rank = setCount; rank < count; rank++) {
    const hole = field.largestVoid();
    field.toggle(hole);
    ranks[hole] = rank;
  }
  return ranks;
}

/** The rounded Gaussian as (dx, dy, weight), as far as it does not round to 0 and fits the torus once. */
export interface Filter {
  readonly radiusX: number;
  readonly radiusY: number;
  /** (2 · radiusX + 1) × (2 · radiusY + 1) weights, row-major. */
  readonly weights: Int32Array;
}

/** @throws RangeError when a deviation is not above 0, or the filter's sum does not fit. */
export function createFilter(size: number, sigmaX: number, sigmaY: number): Filter {
  if (!(sigmaX > 0 && sigmaY > 0)) {
    throw new RangeError(`the filter needs deviations above 0, got ${sigmaX} and ${sigmaY}`);
  }
  const reach = Math.sqrt(2 * Math.log(2 * CENTRE));
  const radiusOf = (sigma: number) => Math.min(size / 2 - 1, Math.floor(sigma * reach));
  const radiusX = radiusOf(sigmaX);
  const radiusY = radiusOf(sigmaY);
  const weights = new Int32Array((2 * radiusX + 1) * (2 * radiusY + 1));
  for (let dy = -radiusY, at = 0; dy <= radiusY; dy++) {
    for (let dx = -radiusX; dx <= radiusX; dx++, at++) {
      weights[at] = Math.round(CENTRE * Math.exp(-((dx / sigmaX) ** 2 + (dy / sigmaY) ** 2) / 2));
    }
  }
  if (weights.reduce((sum, weight) => sum + weight, 0) >= SET) {
    throw new RangeError(`the filter is too wide: deviations ${sigmaX} and ${sigmaY} dots`);
  }
  return { radiusX, radiusY, weights };
}

function createField(size: number, { radiusX, radiusY, weights }: Filter) {
  const wrap = size - 1;
  const segments = size / SEGMENT;
  const energy = new Int32Array(size * size);
  const lowest = createCache(-1);
  const highest = createCache(1);

  /** Best dot per segment and per row for one sign, with marks where it must be looked for again. */
  function createCache(sign: 1 | -1) {
    return {
      sign,
      bestOfSegment: new Int32Array(size * segments),
      bestOfRow: new Int32Array(size),
      staleSegment: new Uint8Array(size * segments).fill(1),
      staleRow: new Uint8Array(size).fill(1),
    };
  }

  function find({ sign, bestOfSegment, bestOfRow, staleSegment, staleRow }: ReturnType<typeof createCache>): number {
    let best = -1;
    let bestValue = 0;
    for (let y = 0; y < size; y++) {
      if (staleRow[y] === 1) {
        staleRow[y] = 0;
        let rowBest = -1;
        let rowValue = 0;
        for (let segment = y * segments; segment < (y + 1) * segments; segment++) {
          if (staleSegment[segment] === 1) {
            staleSegment[segment] = 0;
            const from = segment * SEGMENT;
            let at = from;
            let value = sign * energy[from];
            for (let i = from + 1; i < from + SEGMENT; i++) {
              const other = sign * energy[i];
              if (other > value) {
                value = other;
                at = i;
              }
            }
            bestOfSegment[segment] = at;
          }
          const at = bestOfSegment[segment];
          const value = sign * energy[at];
          if (rowBest < 0 || value > rowValue) {
            rowBest = at;
            rowValue = value;
          }
        }
        bestOfRow[y] = rowBest;
      }
      const at = bestOfRow[y];
      const value = sign * energy[at];
      if (best < 0 || value > bestValue) {
        best = at;
        bestValue = value;
      }
    }
    return best;
  }

  const isSet = (at: number) => energy[at] >= SET;

  function toggle(at: number): void {
    const sign = isSet(at) ? -1 : 1;
    const x = at & wrap;
    const y = (at - x) / size;
    for (let dy = -radiusY, w = 0; dy <= radiusY; dy++) {
      const row = (y + dy) & wrap;
      lowest.staleRow[row] = 1;
      highest.staleRow[row] = 1;
      for (let dx = -radiusX; dx <= radiusX; dx++, w++) {
        energy[row * size + ((x + dx) & wrap)] += sign * weights[w];
      }
      for (let dx = -radiusX; dx < radiusX + SEGMENT; dx += SEGMENT) {
        const column = (x + Math.min(dx, radiusX)) & wrap;
        const segment = row * segments + ((column / SEGMENT) | 0);
        lowest.staleSegment[segment] = 1;
        highest.staleSegment[segment] = 1;
      }
    }
    energy[at] += sign * SET;
  }

  return { isSet, toggle, largestVoid: () => find(lowest), tightestCluster: () => find(highest) };
}
