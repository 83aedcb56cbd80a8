import { createRandom, tabulate } from '../numeric/index.ts';
import {
  createDots,
  type Dots,
  giveBackKernels,
  loadKernels,
  ONE,
  type Plane,
  type StrengthTable,
} from '../plane/index.ts';
import { keepWithin, MAX_SIDES, mapRow, pushRow } from './mark-diffusion.ts';
import { coverageOfStrengths, type MarkSteps } from './mark-steps.ts';
import { eachRow, tabulateWeights, type VariableDiffusionOptions, WEIGHT_ONE } from './variable-diffusion.ts';
import { startFastVariableRows } from './variable-rows.ts';

export interface VariableMarkOptions extends Omit<VariableDiffusionOptions, 'levels'> {
  readonly table: StrengthTable;
  readonly steps: MarkSteps;
  /** What to ask for where a strength is wanted, see `levelStrengths`. */
  readonly levels?: Uint16Array;
}

/**
 * `diffuseVariable` to two levels with the error of the marks instead of the dots: see `diffuseMarks`. The weights
 * follow the share of dots that the wanted strength takes, since it is the dots' pattern that they were made for. The
 * modulated threshold scales with the step. At bare and solid dots up to two dots are passed on, as the error may be
 * larger here.
 */
export function diffuseVariableMarks(wanted: Plane<'coverage'>, options: VariableMarkOptions): Dots {
  const { width, height, data } = wanted;
  const { kernel, scan, seed, start = [], table, steps, levels, arithmetic = 'simd' } = options;
  const { rowsAbove, sides, behind } = steps;
  const dots = createDots(width, height);
  const { ahead, belowBehind, strength } = tabulateWeights(kernel);
  const isModulated = strength.some((value) => value > 0);
  const random = createRandom(seed);
  const rowOf = tableRows(table);
  const columns = new Uint8Array(width + 2 * MAX_SIDES);
  const scratch = new Uint8Array(width);
  const levelled = new Uint16Array(levels ? width : 0);
  const aboveMask = (1 << (rowsAbove * (2 * sides + 1))) - 1;
  const behindMask = (1 << behind) - 1;
  // A modulated threshold lets half a step more be input, and what others passed on comes on top.
  const most = 2 * steps.largest;
  const kernels = !isModulated && arithmetic === 'simd' ? loadKernels() : undefined;
  if (kernels) {
    const known = { width, steps, rowOf, ahead, belowBehind, most, mostHeld: 2 * ONE, levels };
    const chooseRow = startFastVariableRows(kernels, known);
    eachRow({ plane: wanted, dots, start, scan }, chooseRow);
    giveBackKernels(kernels);
    return dots;
  }
  let incoming = new Int32Array(width + 2);
  let outgoing = new Int32Array(width + 2);
  for (let y = -start.length; y < height; y++) {
    const given = y < 0 ? start[y + start.length] : data.subarray(y * width, (y + 1) * width);
    const asked = levels ? mapRow(levels, given, levelled) : given;
    const chosen = y < 0 ? scratch : dots.data.subarray(y * width, (y + 1) * width);
    const step = scan === 'serpentine' && (y & 1) === 1 ? -1 : 1;
    const gains = step > 0 ? steps.rightward : steps.leftward;
    let x = step > 0 ? 0 : width - 1;
    let above = 0;
    for (let i = -sides; i < sides; i++) above = (above << rowsAbove) | (columns[x + i * step + MAX_SIDES] ?? 0);
    let current = 0;
    let carried = 0;
    let pending = 0;
    for (let left = width; left > 0; left--) {
      above = ((above << rowsAbove) | columns[x + sides * step + MAX_SIDES]) & aboveMask;
      const gain = gains[(above << behind) | current];
      const value = asked[x];
      const row = rowOf[value];
      const input = value + incoming[x + 1] + carried;
      const modulation = isModulated ? Math.imul(random.nextUint32() >>> 18, strength[row]) >> 14 : 0;
      const bound = modulation === 0 ? gain : gain + (2 * modulation * gain) / ONE;
      let bit = 2 * input >= bound ? 1 : 0;
      let limit = most;
      if (value === 0 || value === ONE) {
        bit = value & 1;
        limit = 2 * ONE;
      }
      chosen[x] = bit;
      current = ((current << 1) | bit) & behindMask;
      const rest = input - (bit === 1 ? gain : 0);
      const error = keepWithin(rest, limit);
      // Products beyond 32 bits, as an error here may be that of several dots.
      carried = Math.floor(error * ahead[row] * (1 / WEIGHT_ONE) + 0.5);
      const below = Math.floor(error * belowBehind[row] * (1 / WEIGHT_ONE) + 0.5);
      outgoing[x + 1 - step] = pending + below;
      pending = error - carried - below;
      x += step;
    }
    outgoing[x + 1 - step] = pending;
    [incoming, outgoing] = [outgoing, incoming];
    pushRow(columns, chosen, rowsAbove);
  }
  return dots;
}

/** Rows of the tables that were asked for already: a screen is measured on dozens of small fields. */
const rowsOf = new WeakMap<StrengthTable, Uint8Array>();

/** Row of the table of weights, 0 … 255, for each wanted strength 0 … ONE. */
function tableRows(table: StrengthTable): Uint8Array {
  const known = rowsOf.get(table);
  if (known) return known;
  const shares = coverageOfStrengths(
    table,
    Array.from({ length: 256 }, (_, i) => i / 255),
  );
  const places = shares.map((share) => Math.round(255 * share));
  const rows = tabulate(new Uint8Array(ONE + 1), (value) => places[Math.round((value * 255) / ONE)]!);
  rowsOf.set(table, rows);
  return rows;
}
