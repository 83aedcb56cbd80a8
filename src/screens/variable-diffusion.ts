import { createRandom, tabulate } from '../numeric/index.ts';
import { createDots, type Dots, giveBackKernels, loadKernels, ONE, type Plane } from '../plane/index.ts';
import { coverageOfLevels } from './levels.ts';
import type { MarkSteps } from './mark-steps.ts';
import { type VariableKernel, weightsAt } from './variable-kernels.ts';
import { startFastVariableRows } from './variable-rows.ts';

export interface VariableDiffusionOptions {
  readonly kernel: VariableKernel;
  readonly scan: 'raster' | 'serpentine';
  /** 2 … 256. */
  readonly levels: number;
  /** Start of the chance behind a modulated threshold. */
  readonly seed: number;
  /** Rows to screen before the first one, see `listWarmUpRows`; even in number. */
  readonly start?: readonly Uint16Array[];
  /** `scalar` forces the readable version; `simd` takes the kernels when they can be had. Both give the same bits. */
  readonly arithmetic?: 'simd' | 'scalar';
}

/** Fraction bits of a weight. Exact: an error of up to four times the range times a weight then fits 32 bits. */
const WEIGHT_BITS = 14;
export const WEIGHT_ONE = 1 << WEIGHT_BITS;
const WEIGHT_HALF = WEIGHT_ONE >> 1;
const HALF = (ONE + 1) / 2;

/**
 * Screen by error diffusion with weights that depend on the tone asked for (not on what is input), as in the authors'
 * programs: white there is firing here, which the symmetric tables allow. With several levels the tone is the place
 * between the two nearest levels.
 *
 * Two shares of an error are rounded, the third is the remainder, so that nothing is lost or made. A modulated
 * threshold lies up to half the range above the middle; one number is drawn for every dot, needed or not, so that a
 * change in one place of the picture leaves the chance everywhere else alone.
 *
 * Bare (0) and solid (ONE) stay exactly so, as in Ostromoukhov's program, here at both ends: without the rule the
 * differing weights and the threshold would throw specks across the edge of a mask. The error left there is kept and
 * passed on, which keeps the tone of what follows.
 */
export function diffuseVariable(coverage: Plane<'coverage'>, options: VariableDiffusionOptions): Dots {
  const { width, height, data } = coverage;
  const { kernel, levels, scan, start = [], arithmetic = 'simd' } = options;
  const top = levels - 1;
  const dots = createDots(width, height, levels);
  const scratch = new Uint8Array(width);
  const values = coverageOfLevels(levels);
  const rowOf = tableRows(levels);
  const { ahead, belowBehind, strength } = tabulateWeights(kernel);
  const isModulated = strength.some((value) => value > 0);
  const kernels = !isModulated && levels === 2 && arithmetic === 'simd' ? loadKernels() : undefined;
  if (kernels) {
    const known = { width, steps: DOT_STEPS, rowOf, ahead, belowBehind, most: FREE, mostHeld: FREE };
    eachRow({ plane: coverage, dots, start, scan }, startFastVariableRows(kernels, known));
    giveBackKernels(kernels);
    return dots;
  }
  const random = createRandom(options.seed);
  let incoming = new Int32Array(width + 2);
  let outgoing = new Int32Array(width + 2);
  for (let y = -start.length; y < height; y++) {
    const asked = y < 0 ? start[y + start.length] : data.subarray(y * width, (y + 1) * width);
    const chosen = y < 0 ? scratch : dots.data.subarray(y * width, (y + 1) * width);
    const step = scan === 'serpentine' && (y & 1) === 1 ? -1 : 1;
    let x = step > 0 ? 0 : width - 1;
    let carried = 0;
    let pending = 0;
    for (let left = width; left > 0; left--) {
      const wanted = asked[x];
      const row = rowOf[wanted];
      const input = wanted + incoming[x + 1] + carried;
      const modulation = isModulated ? Math.imul(random.nextUint32() >>> 18, strength[row]) >> 14 : 0;
      let level = (Math.imul(input, top) + HALF - modulation) >> 15;
      if (level < 0 || wanted === 0) level = 0;
      else if (level > top || wanted === ONE) level = top;
      chosen[x] = level;
      const error = input - values[level];
      carried = (Math.imul(error, ahead[row]) + WEIGHT_HALF) >> WEIGHT_BITS;
      const behind = (Math.imul(error, belowBehind[row]) + WEIGHT_HALF) >> WEIGHT_BITS;
      outgoing[x + 1 - step] = pending + behind;
      pending = error - carried - behind;
      x += step;
    }
    outgoing[x + 1 - step] = pending;
    [incoming, outgoing] = [outgoing, incoming];
  }
  return dots;
}

/**
 * What each dot adds where it marks its own cell alone: all of it, after any dots. Rows, columns and dots of the
 * shortest index, and coverages. Exact: no neighbour counts.
 */
const DOT_STEPS: MarkSteps = {
  rowsAbove: 1,
  sides: 0,
  behind: 1,
  rightward: new Int32Array(4).fill(ONE),
  leftward: new Int32Array(4).fill(ONE),
  largest: ONE,
  solid: 1,
};
/** No bound on the error, units of coverage. Exact: the most that 32 bits hold next to a plane's own value. */
const FREE = 2 ** 29;

/** Screens rows in the order of the scan: those before the first one, thrown away, then those of the plane. */
export function eachRow(
  of: {
    readonly plane: Plane<'coverage'>;
    readonly dots: Dots;
    readonly start: readonly Uint16Array[];
    readonly scan: 'raster' | 'serpentine';
  },
  chooseRow: (row: Uint16Array, chosen: Uint8Array, step: number) => void,
): void {
  const { plane, dots, start, scan } = of;
  const { width, height, data } = plane;
  const scratch = new Uint8Array(width);
  for (let y = -start.length; y < height; y++) {
    const asked = y < 0 ? start[y + start.length] : data.subarray(y * width, (y + 1) * width);
    const chosen = y < 0 ? scratch : dots.data.subarray(y * width, (y + 1) * width);
    chooseRow(asked, chosen, scan === 'serpentine' && (y & 1) === 1 ? -1 : 1);
  }
}

/** The kernel's two weights in 16384ths, and the strength of its chance in units of coverage, for rows 0 … 255. */
interface WeightTables {
  readonly ahead: Int32Array;
  readonly belowBehind: Int32Array;
  readonly strength: Int32Array;
}

/** Tables that were asked for already: a screen is measured on dozens of small fields. */
const weightsOf = new WeakMap<VariableKernel, WeightTables>();

export function tabulateWeights(kernel: VariableKernel): WeightTables {
  const known = weightsOf.get(kernel);
  if (known) return known;
  const ahead = new Int32Array(256);
  const belowBehind = new Int32Array(256);
  const strength = new Int32Array(256);
  for (let level = 0; level < 256; level++) {
    const weights = weightsAt(kernel, level);
    ahead[level] = Math.round(weights.ahead * WEIGHT_ONE);
    belowBehind[level] = Math.round(weights.belowBehind * WEIGHT_ONE);
    strength[level] = Math.round(weights.modulation * HALF);
  }
  const tables = { ahead, belowBehind, strength };
  weightsOf.set(kernel, tables);
  return tables;
}

const rowsOf = new Map<number, Uint8Array>();

/** Row of the table, 0 … 255, for each coverage 0 … ONE. */
function tableRows(levels: number): Uint8Array {
  const place = (wanted: number) => (wanted * (levels - 1)) % ONE;
  const rows =
    rowsOf.get(levels) ?? tabulate(new Uint8Array(ONE + 1), (wanted) => Math.round((place(wanted) * 255) / ONE));
  rowsOf.set(levels, rows);
  return rows;
}
