import { createRandom, tabulate } from '../numeric/index.ts';
import { createDots, createPlane, type Dots, ONE, type Plane } from '../plane/index.ts';
import type { DiffusionKernel } from './kernels.ts';
import {
  addDose,
  coverageOfEven,
  DOSE_BITS,
  eachStrengthRow,
  type LevelDoses,
  type LevelMarks,
} from './level-marks.ts';
import { keepWithin } from './mark-diffusion.ts';
import { tabulateWeights, WEIGHT_ONE } from './variable-diffusion.ts';
import type { VariableKernel } from './variable-kernels.ts';

export interface LevelDiffusionOptions {
  readonly marks: LevelMarks;
  /** Shares that are the same at every tone, or that follow it. */
  readonly kernel: DiffusionKernel | VariableKernel;
  readonly scan: 'raster' | 'serpentine';
  /** Start of the chance behind a modulated threshold. */
  readonly seed: number;
  /** Rows to screen before the first one, see `listWarmUpRows`; even in number. */
  readonly start?: readonly Uint16Array[];
  /** Whether dots that are not chosen yet are expected; found out on even fields when absent. */
  readonly foresees?: boolean;
}

const HALF = (ONE + 1) / 2;
/** Dots to either side that a kernel passes errors to. Exact: the widest of kernels.ts. */
const SIDES = 2;

/**
 * Screen by error diffusion on the marks of dots that have levels of power: the error passed on is that of the strength
 * that the doses of all dots predict (source: 'pappasNeuhoff1995', from memory; the printer model are doses that add).
 *
 * input = wanted − expected + what was passed on; level = the one whose step is nearest to that; error = input − its
 * step
 *
 * Before a dot is chosen its level is taken to be that of an even field of its tone: `expected` is the strength of its
 * cell were all dots so, and the step is what the choice changes in the strength of everything. The sum of all is the
 * strength of the finished work exactly, so the tone holds without a curve, and what wide spots take off edges is owed
 * like any other error. Without what is expected dots are chosen as if nothing came after them, and edges come half a
 * mark late (a face of benchmarks/levels-seen.ts: 0.6 ΔL* seen instead of 0.2). Only where few levels lie on both sides
 * of a steep law an even field is too unlike the dots that make its tone.
 *
 * The plane is the wanted mean strength, 0 bare … ONE solid; exactly bare and solid dots stay so, and pass on no more
 * than half a dot.
 */
export function diffuseLevelMarks(wanted: Plane<'coverage'>, options: LevelDiffusionOptions): Dots {
  const { marks, kernel, scan, seed, start = [] } = options;
  const { width, height, data } = wanted;
  const dots = createDots(width, height, marks.levels);
  const errors = 'taps' in kernel ? passFixed(kernel, width) : passVariable(kernel, { width, marks, seed });
  const rowAt = (y: number) => (y < 0 ? start[y + start.length]! : data.subarray(y * width, (y + 1) * width));
  const work = openWork(marks, { width, foresees: options.foresees ?? foreseesBetter(options) });
  const scratch = new Uint8Array(width);
  let expected = -start.length;
  for (let y = -start.length; y < height; y++) {
    for (; expected < height && expected <= y + 2 * marks.reachY; expected++) {
      expectRow(work, { asked: rowAt(expected), row: expected - y, marks });
    }
    const chosen = y < 0 ? scratch : dots.data.subarray(y * width, (y + 1) * width);
    chooseRow({ asked: rowAt(y), chosen, step: scan === 'serpentine' && (y & 1) === 1 ? -1 : 1, marks, work, errors });
    nextRow(work);
    errors.nextRow();
  }
  return dots;
}

/** Tones of the even fields, and their side in dots. Assumed: enough to tell two ways apart by a factor. */
const TRIED = [0.1, 0.25, 0.4, 0.5, 0.6, 0.75, 0.9] as const;
const TRIED_SIDE = 40;

const found = new WeakMap<LevelMarks, Map<DiffusionKernel | VariableKernel, boolean>>();

/** Which of the two ways leaves less to be seen on even fields; found once for a material, its levels and a kernel. */
function foreseesBetter(options: LevelDiffusionOptions): boolean {
  const { marks, kernel } = options;
  const known = found.get(marks) ?? new Map<DiffusionKernel | VariableKernel, boolean>();
  found.set(marks, known);
  const better = known.get(kernel) ?? seenOf(options, true) <= seenOf(options, false);
  known.set(kernel, better);
  return better;
}

/** Sum of squares of what means over 5 × 5 dots are off the tone. */
function seenOf({ start: _, ...options }: LevelDiffusionOptions, foresees: boolean): number {
  const reach = 2;
  let sum = 0;
  for (const tone of TRIED) {
    const plane = createPlane('coverage', TRIED_SIDE, TRIED_SIDE);
    plane.data.fill(Math.round(tone * ONE));
    const dots = diffuseLevelMarks(plane, { ...options, foresees });
    const errors: Float64Array[] = [];
    eachStrengthRow(dots, options.marks, (row) => {
      errors.push(Float64Array.from(row, (strength) => strength / ONE - tone));
    });
    for (let y = 3 * reach; y < TRIED_SIDE - 2 * reach; y += 2 * reach + 1) {
      for (let x = 3 * reach; x < TRIED_SIDE - 2 * reach; x += 2 * reach + 1) {
        let mean = 0;
        for (let j = -reach; j <= reach; j++) for (let i = -reach; i <= reach; i++) mean += errors[y + j]![x + i]!;
        sum += (mean / (2 * reach + 1) ** 2) ** 2;
      }
    }
  }
  return sum;
}

/** How errors travel; what is passed is in units of coverage. */
interface Errors {
  readonly inputAt: (x: number) => number;
  /** By how much more than half a step the next level has to be owed, in half steps: 0 … 1. */
  readonly liftAt: (asked: number) => number;
  readonly pass: (x: number, passed: { readonly error: number; readonly step: number; readonly asked: number }) => void;
  readonly nextRow: () => void;
}

function passFixed({ taps, divisor }: DiffusionKernel, width: number): Errors {
  const rows = [0, 1, 2].map(() => new Float64Array(width + 2 * SIDES));
  const shares = taps.map(([dx, dy, share]) => ({ dx, dy, share: share / divisor }));
  return {
    inputAt: (x) => rows[0]![x + SIDES]!,
    liftAt: () => 0,
    pass(x, { error, step }) {
      for (const { dx, dy, share } of shares) rows[dy]![x + SIDES + dx * step]! += share * error;
    },
    nextRow() {
      const done = rows.shift()!;
      rows.push(done.fill(0));
    },
  };
}

/** Weights follow the place between the two nearest levels of the even field that shows the tone. */
function passVariable(
  kernel: VariableKernel,
  { width, marks, seed }: { readonly width: number; readonly marks: LevelMarks; readonly seed: number },
): Errors {
  const { ahead, belowBehind, strength } = tabulateWeights(kernel);
  const coverage = coverageOfEven(marks);
  const top = marks.levels - 1;
  const rowOf = (asked: number) => Math.round((((coverage[asked]! * top) % ONE) * 255) / ONE);
  const random = createRandom(seed);
  let here = new Float64Array(width + 2);
  let below = new Float64Array(width + 2);
  return {
    inputAt: (x) => here[x + 1]!,
    liftAt(asked) {
      const most = strength[rowOf(asked)]!;
      return (random.nextUint32() / 2 ** 32) * (most / HALF);
    },
    pass(x, { error, step, asked }) {
      const row = rowOf(asked);
      const onward = (error * ahead[row]!) / WEIGHT_ONE;
      const behind = (error * belowBehind[row]!) / WEIGHT_ONE;
      here[x + 1 + step]! += onward;
      below[x + 1 - step]! += behind;
      below[x + 1]! += error - onward - behind;
    },
    nextRow() {
      [here, below] = [below, here];
      below.fill(0);
    },
  };
}

/**
 * Doses at the points of the rows that a dot of the current row reaches, and of those that dots expected there reach;
 * the current row is the one after `reachY`. Strengths are those of the doses, of the current row and before.
 */
interface Work {
  readonly stride: number;
  readonly rows: number;
  readonly cells: Int32Array;
  readonly strengths: Int32Array;
  /** Strengths before any dot in reach was chosen. */
  readonly foreseen: Int32Array;
  /** Rows of the cells whose strengths are known. */
  known: number;
  /** Level of an even field of each tone, and what dots of such levels leave. */
  readonly levelOf: Uint8Array;
  readonly expected: LevelDoses;
}

function openWork(
  marks: LevelMarks,
  { width, foresees }: { readonly width: number; readonly foresees: boolean },
): Work {
  const { points, reachX, reachY, expected } = marks;
  const stride = width + 2 * reachX;
  const rows = 4 * reachY + 1;
  const coverage = coverageOfEven(expected);
  return {
    ...{ stride, rows, expected },
    cells: new Int32Array(points * stride * rows),
    strengths: new Int32Array(stride * rows),
    foreseen: new Int32Array(stride * rows),
    known: 0,
    levelOf: foresees
      ? tabulate(new Uint8Array(ONE + 1), (asked) => Math.round((coverage[asked]! * (expected.levels - 1)) / ONE))
      : new Uint8Array(ONE + 1),
  };
}

/** Adds the doses of a row as expected; `row` is counted from the current one. */
function expectRow(
  { stride, cells, levelOf, expected }: Work,
  { asked, row, marks }: { readonly asked: Uint16Array; readonly row: number; readonly marks: LevelMarks },
): void {
  const { reachX, reachY } = marks;
  for (let x = 0; x < asked.length; x++) {
    const to = levelOf[asked[x]!]!;
    if (to > 0) addDose(cells, expected, { at: (row + reachY) * stride + x + reachX, stride, from: 0, to });
  }
}

/** Strengths of the rows that the current row's dots reach. */
function knowRows(work: Work, { points, reachY, strength }: LevelMarks): void {
  const { stride, cells, strengths, foreseen } = work;
  const last = strength.length - 1;
  for (let cell = work.known * stride, at = points * cell; cell < (2 * reachY + 1) * stride; cell++) {
    let sum = 0;
    for (let point = 0; point < points; point++, at++) sum += strength[Math.min(last, cells[at] >> DOSE_BITS)];
    strengths[cell] = sum;
    foreseen[cell] = sum;
  }
  work.known = 2 * reachY + 1;
}

function nextRow(work: Work): void {
  const { points } = work.expected;
  const { stride, cells, strengths, foreseen } = work;
  cells.copyWithin(0, points * stride).fill(0, cells.length - points * stride);
  strengths.copyWithin(0, stride);
  foreseen.copyWithin(0, stride);
  work.known--;
}

interface LevelRow {
  readonly asked: Uint16Array;
  readonly chosen: Uint8Array;
  readonly step: number;
  readonly marks: LevelMarks;
  readonly work: Work;
  readonly errors: Errors;
}

function chooseRow({ asked, chosen, step, marks, work, errors }: LevelRow): void {
  const { length: width } = asked;
  const { reachX, reachY, levels } = marks;
  knowRows(work, marks);
  const middle = reachY * work.stride + reachX;
  let level = 0;
  for (let left = width, x = step > 0 ? 0 : width - 1; left > 0; left--, x += step) {
    const value = asked[x]!;
    const dot = { x, expects: work.levelOf[value]!, marks, work };
    const lift = errors.liftAt(value);
    const input = value - work.foreseen[middle + x]! + errors.inputAt(x);
    const isHeld = value === 0 || value === ONE;
    if (isHeld) level = value === 0 ? 0 : levels - 1;
    else level = findLevel({ input, lift, near: level, ...dot });
    chosen[x] = level;
    const gain = gainOf(level, dot);
    addDot(level, dot);
    errors.pass(x, { error: keepWithin(input - gain, isHeld ? HALF : ONE), step, asked: value });
  }
}

interface Dot {
  readonly x: number;
  /** Level that is expected of it. */
  readonly expects: number;
  readonly marks: LevelMarks;
  readonly work: Work;
}

/**
 * The level whose step is nearest to the input, by steps of doubled length from the last dot's, then by halves: tones
 * change little from dot to dot. Steps are taken to rise with the level; where a material fades the error tells.
 */
function findLevel({ input, lift, near, ...dot }: Dot & { input: number; lift: number; near: number }): number {
  const top = dot.marks.levels - 1;
  let low = near;
  let high = near;
  let lowGain = gainOf(low, dot);
  let highGain = lowGain;
  for (let stride = 1; highGain < input && high < top; stride *= 2) {
    [low, lowGain] = [high, highGain];
    high = Math.min(top, high + stride);
    highGain = gainOf(high, dot);
  }
  for (let stride = 1; lowGain > input && low > 0; stride *= 2) {
    [high, highGain] = [low, lowGain];
    low = Math.max(0, low - stride);
    lowGain = gainOf(low, dot);
  }
  while (high - low > 1) {
    const middle = (low + high) >> 1;
    const gain = gainOf(middle, dot);
    if (gain < input) [low, lowGain] = [middle, gain];
    else [high, highGain] = [middle, gain];
  }
  if (high === low) return low;
  return 2 * (input - lowGain) >= (highGain - lowGain) * (1 + lift) ? high : low;
}

/** What a level of a dot changes in the strength of all cells that it reaches, against what is expected of it. */
function gainOf(level: number, { x, expects, marks, work }: Dot): number {
  const { doses, points, boxSize, reachX, reachY, strength } = marks;
  const { stride, cells, strengths, expected } = work;
  const columns = 2 * reachX + 1;
  const last = strength.length - 1;
  const ahead = expects * boxSize - level * boxSize;
  let gain = 0;
  for (let row = 0, dose = level * boxSize; row <= 2 * reachY; row++) {
    let cell = row * stride + x;
    for (const end = cell + columns; cell < end; cell++) {
      let sum = 0;
      for (let at = points * cell, to = at + points; at < to; at++, dose++) {
        const entry = (cells[at] + doses[dose] - expected.doses[dose + ahead]) >> DOSE_BITS;
        sum += strength[Math.min(entry, last)];
      }
      gain += sum - strengths[cell];
    }
  }
  return gain;
}

function addDot(level: number, { x, expects, marks, work }: Dot): void {
  const { doses, points, boxSize, reachX, reachY, strength } = marks;
  const { stride, cells, strengths, expected } = work;
  const columns = 2 * reachX + 1;
  const last = strength.length - 1;
  const ahead = expects * boxSize - level * boxSize;
  for (let row = 0, dose = level * boxSize; row <= 2 * reachY; row++) {
    let cell = row * stride + x;
    for (const end = cell + columns; cell < end; cell++) {
      let sum = 0;
      for (let at = points * cell, to = at + points; at < to; at++, dose++) {
        cells[at] += doses[dose] - expected.doses[dose + ahead];
        const entry = cells[at] >> DOSE_BITS;
        sum += strength[Math.min(entry, last)];
      }
      strengths[cell] = sum;
    }
  }
}
