import {
  createDots,
  type Dots,
  giveBackKernels,
  type Kernels,
  loadKernels,
  ONE,
  type Plane,
  reserveBuffers,
} from '../plane/index.ts';
import { addErrors, divisionBy, REACH, sharesOf, sumCoverage } from './diffusion.ts';
import { type DiffusionKernel, FLOYD_STEINBERG } from './kernels.ts';
import type { MarkSteps } from './mark-steps.ts';
import { MAX_RUN } from './options.ts';

export interface MarkDiffusionOptions {
  readonly kernel: DiffusionKernel;
  readonly scan: 'raster' | 'serpentine';
  readonly steps: MarkSteps;
  /** Rows to screen before the first one, see `listWarmUpRows`; even in number. */
  readonly start?: readonly Uint16Array[];
  /**
   * Gives the row's threshold modulation: it counts in the choice alone, not in the error; in units of coverage; see
   * `createEdgeEnhancement`.
   */
  readonly modulationOf?: (y: number) => Int32Array;
  /** Fewest dots along a scan line for which the beam stays on, and stays off, 1 … 32. */
  readonly run?: number;
  /** What to ask for where a strength is wanted, see `levelStrengths`. */
  readonly levels?: Uint16Array;
  /** `scalar` forces the readable version; `simd` takes the kernels when they can be had. Both give the same bits. */
  readonly arithmetic?: 'simd' | 'scalar';
}

const HALF = (ONE + 1) / 2;

/**
 * Screen by error diffusion on the marks and not on the dots: the error passed on is that of the strength that the dot
 * table predicts (source: 'pappasNeuhoff1995', from memory, "modified error diffusion"; the printer model is the
 * table).
 *
 * input = wanted + ⌊(Σ share · error + divisor/2) / divisor⌋
 * fires when input + modulation ≥ step/2, which leaves the smaller error; error = input − step if it fires, else input
 *
 * where step is what the dot adds to the strength of everything, given the dots chosen before (`tabulateMarkSteps`). So
 * dots that overlap their neighbours are counted for as little as they change, and the tone holds without a curve. Here
 * the plane is the wanted mean strength, 0 bare … ONE solid. With a table of one dot this is plain error diffusion, bit
 * for bit.
 *
 * A mark reaches over the border of what is exactly bare or solid, which nothing there can make good: at such dots no
 * more than half a dot is passed on, or a shadow would trail behind every edge.
 */
export function diffuseMarks(wanted: Plane<'coverage'>, options: MarkDiffusionOptions): Dots {
  const { kernel, scan, steps, start = [], modulationOf, run = 1, levels, arithmetic = 'simd' } = options;
  const { width, height, data } = wanted;
  const shares = sharesOf(kernel);
  const dots = createDots(width, height);
  const padded = width + 2 * REACH;
  let twoUp = new Int32Array(padded);
  let oneUp = new Int32Array(padded);
  let here = new Int32Array(padded);
  const sums = new Int32Array(width);
  const columns = new Uint8Array(width + 2 * MAX_SIDES);
  const scratch = new Uint8Array(width);
  const levelled = new Uint16Array(levels ? width : 0);
  const isDeep = shares.rows[1].some((share) => share > 0);
  const isFour = kernel === FLOYD_STEINBERG && modulationOf === undefined && run === 1;
  const kernels = isFour && arithmetic === 'simd' ? loadKernels() : undefined;
  const chooseFast = kernels ? startFastRows(kernels, { width, steps, scan, levels }) : undefined;
  for (let y = -start.length; y < height; y++) {
    const step = scan === 'serpentine' && (y & 1) === 1 ? -1 : 1;
    const stepAbove = scan === 'serpentine' ? -step : step;
    const given = y < 0 ? start[y + start.length] : data.subarray(y * width, (y + 1) * width);
    const chosen = y < 0 ? scratch : dots.data.subarray(y * width, (y + 1) * width);
    if (chooseFast) {
      chooseFast(given, chosen, step);
      continue;
    }
    const row = levels ? mapRow(levels, given, levelled) : given;
    if (isFour) chooseByFourShares({ row, errors: oneUp, step, stepAbove, chosen, columns, steps });
    else {
      sumCoverage(row, { errors: oneUp, shares: shares.rows[0], step: stepAbove, divisor: kernel.divisor, sums });
      if (isDeep) addErrors(sums, twoUp, shares.rows[1], step);
      const modulation = modulationOf?.(Math.max(0, y));
      const chain = { row, sums, errors: here, step, shares: shares.ahead, divisor: kernel.divisor };
      if (run > 1) chooseRuns({ ...chain, chosen, columns, steps, modulation }, run);
      else chooseMarks({ ...chain, chosen, columns, steps, modulation });
    }
    pushRow(columns, chosen, steps.rowsAbove);
    if (isFour) continue;
    [twoUp, oneUp, here] = [oneUp, here, twoUp];
  }
  giveBackKernels(kernels);
  return dots;
}

/** Values through a table, into a row that is used again. */
export function mapRow(table: Uint16Array, from: Uint16Array, to: Uint16Array): Uint16Array {
  for (let x = 0; x < from.length; x++) to[x] = table[from[x]];
  return to;
}

/** The value, or the limit where it lies beyond on either side. */
export function keepWithin(value: number, limit: number): number {
  if (value > limit) return limit;
  return Math.max(value, -limit);
}

/** Bare columns before and after those of the plane. Exact: the most `sides` of mark-steps.ts. */
export const MAX_SIDES = 3;

interface MarkRow {
  readonly row: Uint16Array;
  readonly sums: Int32Array;
  readonly errors: Int32Array;
  readonly step: number;
  readonly shares: readonly number[];
  readonly divisor: number;
  readonly chosen: Uint8Array;
  /** The dots of the rows above, a number a column. */
  readonly columns: Uint8Array;
  readonly steps: MarkSteps;
  readonly modulation: Int32Array | undefined;
}

/** Takes a finished row into the columns; the nearest row is the highest bit. */
export function pushRow(columns: Uint8Array, chosen: Uint8Array, rowsAbove: number): void {
  const top = rowsAbove - 1;
  for (let x = 0; x < chosen.length; x++) {
    columns[x + MAX_SIDES] = (columns[x + MAX_SIDES] >> 1) | (chosen[x] << top);
  }
}

function chooseMarks(of: MarkRow): void {
  const { row, sums, errors, step, divisor, chosen, columns, steps, modulation } = of;
  const { rowsAbove, sides, behind } = steps;
  const table = step > 0 ? steps.rightward : steps.leftward;
  const [near, far] = of.shares;
  const { shift, inverse, offset: raise, lifted } = divisionBy(divisor, 16);
  const aboveMask = (1 << (rowsAbove * (2 * sides + 1))) - 1;
  const behindMask = (1 << behind) - 1;
  const most = steps.largest;
  let x = step > 0 ? 0 : row.length - 1;
  let above = 0;
  for (let i = -sides; i < sides; i++) above = (above << rowsAbove) | (columns[x + i * step + MAX_SIDES] ?? 0);
  let current = 0;
  let one = 0;
  let two = 0;
  for (let left = row.length; left > 0; left--, x += step) {
    above = ((above << rowsAbove) | columns[x + sides * step + MAX_SIDES]) & aboveMask;
    const sum = sums[x] + Math.imul(one, near) + Math.imul(two, far);
    const input = shift > 0 ? sum >> shift : (((sum + raise) * inverse) | 0) - lifted;
    const gain = table[(above << behind) | current];
    const asked = row[x];
    two = one;
    if (asked === 0 || asked === ONE) {
      const bit = asked & 1;
      chosen[x] = bit;
      current = ((current << 1) | bit) & behindMask;
      const rest = input - (bit === 1 ? gain : 0);
      one = keepWithin(rest, HALF);
    } else {
      const pull = modulation === undefined ? 0 : modulation[x];
      const mask = (gain - 1 - 2 * (input + pull)) >> 31;
      chosen[x] = mask & 1;
      current = ((current << 1) | (mask & 1)) & behindMask;
      const rest = input - (mask & gain);
      // Only a tone that cannot be reached, or a modulation, owes more than one step.
      one = keepWithin(rest, most);
    }
    errors[x + REACH] = one;
  }
}

/**
 * The same in runs: after a change the beam stays as it is for `run` dots, whatever the input; the error of that is
 * passed on like any other. Exactly bare and solid dots stay so, and no run begins that they would cut short.
 */
function chooseRuns(of: MarkRow, run: number): void {
  const { row, sums, errors, step, divisor, chosen, columns, steps, modulation } = of;
  const { rowsAbove, sides, behind } = steps;
  const table = step > 0 ? steps.rightward : steps.leftward;
  const [near, far] = of.shares;
  const { inverse, offset: raise, lifted } = divisionBy(divisor, 4 * MAX_RUN);
  const aboveMask = (1 << (rowsAbove * (2 * sides + 1))) - 1;
  const behindMask = (1 << behind) - 1;
  const most = steps.largest * run;
  const width = row.length;
  const first = step > 0 ? 0 : width - 1;
  // How many dots ahead, this one included, are free of exactly bare and of exactly solid ones; beyond the row all is
  // bare.
  const freeOfBare = new Int32Array(width);
  const freeOfSolid = new Int32Array(width);
  for (let i = 0, x = width - 1 - first, bare = 0, solid = run; i < width; i++, x -= step) {
    freeOfBare[x] = bare = row[x] === 0 ? 0 : bare + 1;
    freeOfSolid[x] = solid = row[x] === ONE ? 0 : solid + 1;
  }
  let x = first;
  let above = 0;
  for (let i = -sides; i < sides; i++) above = (above << rowsAbove) | (columns[x + i * step + MAX_SIDES] ?? 0);
  let current = 0;
  let one = 0;
  let two = 0;
  let state = 0;
  let held = run;
  for (let left = width; left > 0; left--, x += step) {
    above = ((above << rowsAbove) | columns[x + sides * step + MAX_SIDES]) & aboveMask;
    const sum = sums[x] + Math.imul(one, near) + Math.imul(two, far);
    const input = (((sum + raise) * inverse) | 0) - lifted;
    const gain = table[(above << behind) | current];
    const asked = row[x];
    let bit = state;
    if (asked === 0 || asked === ONE) bit = asked & 1;
    else if (held >= run) {
      const wants = 2 * (input + (modulation === undefined ? 0 : modulation[x])) >= gain ? 1 : 0;
      const room = wants === 1 ? freeOfBare[x] : freeOfSolid[x];
      if (wants === state || room >= run) bit = wants;
    }
    held = bit === state ? held + 1 : 1;
    state = bit;
    chosen[x] = bit;
    current = ((current << 1) | bit) & behindMask;
    two = one;
    const rest = input - (bit === 1 ? gain : 0);
    one = keepWithin(rest, asked === 0 || asked === ONE ? HALF : most);
    errors[x + REACH] = one;
  }
}

/** The rows of `chooseByFourShares` by the WebAssembly kernel: the same bits in half of its time. */
function startFastRows(
  kernels: Kernels,
  of: { width: number; steps: MarkSteps; scan: 'raster' | 'serpentine'; levels: Uint16Array | undefined },
): (row: Uint16Array, chosen: Uint8Array, step: number) => void {
  const { width, steps, scan, levels = new Uint16Array() } = of;
  const { rowsAbove, sides, behind, largest, rightward, leftward } = steps;
  const padded = width + 2 * MAX_SIDES;
  const sizes = [2 * width, width, 4 * padded, padded, 4 * rightward.length, 4 * leftward.length, 2 * levels.length];
  const [askedAt, firesAt, errorsAt, columnsAt, rightAt, leftAt, levelsAt] = reserveBuffers(kernels, sizes);
  const { buffer } = kernels.memory;
  new Int32Array(buffer, rightAt, rightward.length).set(rightward);
  new Int32Array(buffer, leftAt, leftward.length).set(leftward);
  new Uint16Array(buffer, levelsAt, levels.length).set(levels);
  const asked = new Uint16Array(buffer, askedAt, width);
  const fires = new Uint8Array(buffer, firesAt, width);
  const errors = errorsAt + 4 * MAX_SIDES;
  const columns = columnsAt + MAX_SIDES;
  const share = scan === 'serpentine' ? 3 : 1;
  const map = levels.length > 0 ? levelsAt : 0;
  return (row, chosen, step) => {
    asked.set(row);
    const table = step > 0 ? rightAt : leftAt;
    kernels.markRow(
      askedAt,
      firesAt,
      errors,
      columns,
      table,
      width,
      step,
      share,
      rowsAbove,
      sides,
      behind,
      largest,
      map,
    );
    chosen.set(fires);
  };
}

interface FourShares {
  readonly row: Uint16Array;
  /** Of the row above when it comes, of this row when it goes. */
  readonly errors: Int32Array;
  readonly step: number;
  readonly stepAbove: number;
  readonly chosen: Uint8Array;
  readonly columns: Uint8Array;
  readonly steps: MarkSteps;
}

/**
 * The same for Floyd and Steinberg's four shares, in half the time: one pass instead of two, and no branch but the
 * rare one of exactly bare and solid dots (see benchmarks/screens.ts).
 */
function chooseByFourShares({ row, errors, step, stepAbove, chosen, columns, steps }: FourShares): void {
  const { rowsAbove, sides, behind: behindBits, largest } = steps;
  const table = step > 0 ? steps.rightward : steps.leftward;
  const aboveMask = (1 << (rowsAbove * (2 * sides + 1))) - 1;
  const earlierMask = (1 << (behindBits - 1)) - 1;
  const behindShare = step === stepAbove ? 1 : 3;
  const aheadShare = 4 - behindShare;
  const most = largest | 0;
  let x = step > 0 ? 0 : row.length - 1;
  let pattern = 0;
  for (let i = -sides; i < sides; i++) pattern = (pattern << rowsAbove) | (columns[x + i * step + MAX_SIDES] ?? 0);
  // Dots behind but for the last one, whose bit is the mask: both steps are read before it is known.
  let earlier = 0;
  let mask = 0;
  let behind = 0;
  let above = errors[x + REACH];
  let carried = 0;
  for (let left = row.length; left > 0; left--) {
    pattern = ((pattern << rowsAbove) | columns[x + sides * step + MAX_SIDES]) & aboveMask;
    const ahead = errors[x + step + REACH];
    const asked = row[x];
    const fromAbove =
      (asked << 4) + Math.imul(behind, behindShare) + Math.imul(above, 5) + Math.imul(ahead, aheadShare) + 8;
    const at = (pattern << behindBits) | (earlier << 1);
    const afterBare = table[at];
    const gain = afterBare + (mask & (table[at | 1] - afterBare));
    earlier = ((earlier << 1) | (mask & 1)) & earlierMask;
    const sum = fromAbove + carried;
    const input = sum >> 4;
    mask = ((((gain + 1) >> 1) << 4) - 1 - sum) >> 31;
    let rest = input - (mask & gain);
    if (asked === 0 || asked === ONE) {
      mask = -(asked & 1);
      rest = input - (mask & gain);
      rest = keepWithin(rest, HALF);
    } else rest = keepWithin(rest, most);
    carried = (rest << 3) - rest;
    chosen[x] = mask & 1;
    errors[x + REACH] = rest;
    behind = above;
    above = ahead;
    x += step;
  }
}
