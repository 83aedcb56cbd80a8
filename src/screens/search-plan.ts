import { tabulate } from '../numeric/index.ts';
import {
  createIndexer,
  type DotGrid,
  type DotNeighbourhood,
  type Dots,
  listNeighbours,
  type Plane,
  type StrengthTable,
} from '../plane/index.ts';
import { eachStrengthRow, type LevelMarks } from './level-marks.ts';

/** Strength of a full mark in the search's whole numbers. Exact: 2¹³, so that sums stay whole in 32 bits. */
export const FULL = 8192;

/** Strongest mark that is told apart: a fading material may exceed a solid's. */
const MOST = 1.6 * FULL;

/**
 * Sum that the Gaussian's weights are rounded to: with one more, its fourth power times `MOST` still is below 2³¹.
 * Weights. Exact: by that bound.
 */
const TAP_SUM = 19;

/**
 * Blur of the near look, dots, where these lie farther apart. Measured (benchmarks/ramps.ts): with 2 the worst grain to
 * an eye of four dots, that of few dots far apart, is a quarter larger; a blur of 2.8 shows single dots from near by.
 */
const NEAR_SIGMA = 2.3;
/**
 * Blur of the far look in cells, and the most dots along a cell's side. Assumed: finer cells cost time, coarser ones
 * miss the eye's blur; 16 bounds the sums of a cell.
 */
const FAR_SIGMA = 0.93;
const MAX_CELL = 16;
/**
 * The far look's distance, a share of the viewing distance, its blur at least in dots, and the factor by which an
 * error counts more to it than to the near look. Measured (benchmarks/ramps.ts): with the whole distance and 60 an eye
 * of four dots sees an eighth more grain, since a piece is held closer, too; without the least blur half as much again
 * where the eye nearly tells dots apart.
 */
const FAR_SHARE = 0.6;
const FAR_DOTS = 4;
const FAR_WEIGHT = 45;

/** Fewest rows of a band. Assumed: setting it up is then a small part of the work. */
const BAND_ROWS = 96;
/**
 * Rows that the bands of the second phase reach into those of the first. Assumed: what a seam disturbs lies within the
 * near look's reach.
 */
const OVERLAP_ROWS = 8;
/**
 * Rows of cells that a band's dots change beyond those that they lie in, with those that marks reach into. Assumed:
 * marks reach into fewer.
 */
const CELLS_BESIDE = 4;

/** Weights of one axis by distance, −reach … reach. */
export interface EyeTaps<T = Int32Array> {
  readonly reach: number;
  readonly taps: T;
  /** Sum of the taps. */
  readonly sum: number;
}

/** Cells of one axis: windows of three cells' width in the shape of a quadratic B-spline, whose sum is 1 everywhere. */
export interface EyeCells {
  /** Dots a cell. */
  readonly side: number;
  readonly count: number;
  /** First of the three cells in which a dot counts, and its shares in them. */
  readonly first: Int32Array;
  readonly shares: Float64Array;
  /** Weights by distance in cells. */
  readonly far: EyeTaps<Float64Array>;
}

export interface Band {
  /** First row and the one after the last. */
  readonly from: number;
  readonly to: number;
}

/**
 * Everything that a search needs to know; the dots and the sums of the cells change, the rest does not.
 *
 * Energy = Σ e(m)·e(n)·near(m − n) + Σ c(k)·c(l)·far(k − l), where e = strength − wanted of a dot's cell, in 1/FULL,
 * and c is the sum of e under the window of a coarse cell. The near sum is in whole numbers and so exact; the far one
 * is in doubles, whose few operations are the same on every engine.
 *
 * Two looks at the work, because either alone fails. From the viewing distance single dots are far below what is seen,
 * and a filter as wide as that leaves the texture open and costs ten thousand weights a change. From so near that dots
 * are just not seen apart, the texture is decided, but an error of a hundredth of the tone costs less than any one dot
 * would change it by, so the tone drifts by that much.
 */
export interface SearchPlan {
  readonly width: number;
  readonly height: number;
  /** Wanted strength, 0 … ONE. */
  readonly wanted: Uint16Array;
  readonly dots: Uint8Array;
  /**
   * Strength of a dot's cell by its neighbourhood, in 1/FULL; the upper half stands for cells outside the plane, where
   * nothing is seen.
   */
  readonly strength: Int16Array;
  readonly table: DotNeighbourhood;
  /** What dots of levels of power leave; absent where a dot fires or not, and `strength` has it. */
  readonly marks?: LevelMarks;
  readonly nearX: EyeTaps;
  readonly nearY: EyeTaps;
  readonly cellsX: EyeCells;
  readonly cellsY: EyeCells;
  /** Sums of e under the windows, a row of cells after the other. */
  readonly cellSums: Float64Array;
  /** Bands of one phase do not touch each other's numbers; the phases run one after the other. */
  readonly phases: readonly (readonly Band[])[];
}

export interface SearchOptions {
  readonly grid: DotGrid;
  /** Standard deviation of the eye's blur on the work, mm. */
  readonly eyeBlurMm: number;
  /** What dots add up to; without it each dot marks its own cell and nothing else. */
  readonly table?: StrengthTable;
  /**
   * `table`: by each dot's neighbourhood. `linear`: every dot adds the same, as wide as a lone dot's mark in the table.
   */
  readonly response: 'table' | 'linear';
  /** What dots leave that have levels of power, in the place of `table` and `response`. */
  readonly marks?: LevelMarks;
  /** Whether other threads will read and write the plane. */
  readonly isShared?: boolean;
}

/**
 * Prepares a search for the dots that look most like what is wanted, from a first screening.
 * @param wanted mean strength (`table`) or coverage (`linear`) that is wanted, 0 bare … ONE solid.
 * @param start two levels; the plan works on a copy.
 * @throws RangeError when the sizes differ, or a table is asked for and not given.
 */
export function planSearch(wanted: Plane<'coverage'>, start: Dots, options: SearchOptions): SearchPlan {
  const { width, height } = wanted;
  const { grid, eyeBlurMm, table, response, marks: ofLevels, isShared = false } = options;
  if (start.width !== width || start.height !== height || start.levels !== (ofLevels?.levels ?? 2)) {
    throw new RangeError('a search starts from dots of its levels and of the size of what is wanted');
  }
  if (!ofLevels && response === 'table' && !table) throw new RangeError('a search on the table needs the table');
  const marks = ofLevels ? boxOf(ofLevels) : response === 'table' ? table! : ONE_DOT;
  const [markX, markY] = !ofLevels && response === 'linear' && table ? measureSpread(table) : [0, 0];
  const { pitchMm, lineSpacingMm } = grid;
  const nearMm = Math.min(NEAR_SIGMA * Math.max(pitchMm, lineSpacingMm), eyeBlurMm / 2);
  const nearX = createEyeTaps(Math.hypot(nearMm / pitchMm, markX));
  const nearY = createEyeTaps(Math.hypot(nearMm / lineSpacingMm, markY));
  const weight = FAR_WEIGHT * nearX.sum * nearY.sum;
  const farMm = Math.max(FAR_SHARE * eyeBlurMm, Math.min(eyeBlurMm, FAR_DOTS * Math.max(pitchMm, lineSpacingMm)));
  const cellsX = planCells(width, { sigma: farMm / pitchMm, weight });
  const cellsY = planCells(height, { sigma: farMm / lineSpacingMm, weight: 1 });
  const cells = new Float64Array(cellsX.count * cellsY.count);
  const plan: SearchPlan = {
    width,
    height,
    wanted: isShared ? shareNumbers(wanted.data) : wanted.data,
    dots: isShared ? shareNumbers(start.data) : start.data.slice(),
    strength: quantise(marks, isShared),
    table: { columns: marks.columns, rows: marks.rows, corners: marks.corners },
    ...(ofLevels ? { marks: ofLevels } : {}),
    nearX,
    nearY,
    cellsX,
    cellsY,
    cellSums: isShared ? shareNumbers(cells) : cells,
    phases: planPhases(height, cellsY),
  };
  sumCells(plan);
  return plan;
}

/**
 * Each dot marks its own cell: then strength is coverage, and what is searched is a plain halftone. Exact: sides are
 * counts of dots.
 */
const ONE_DOT: StrengthTable = { columns: 1, rows: 1, corners: true, strength: [0, 1] };

/** The cells that a dot of levels reaches, which no table tells. */
const boxOf = ({ reachX, reachY }: LevelMarks): StrengthTable => ({
  columns: 2 * reachX + 1,
  rows: 2 * reachY + 1,
  corners: true,
  strength: [0, 1],
});

/**
 * Standard deviation of a lone dot's mark, dots, along and across: centres of cells, and the width of a cell is the
 * grid's.
 */
function measureSpread(table: StrengthTable): [x: number, y: number] {
  const { strength } = table;
  const places = listNeighbours(table);
  let sum = 0;
  let x = 0;
  let y = 0;
  places.forEach(({ dx, dy }, i) => {
    const share = strength[1 << (places.length - 1 - i)];
    sum += share;
    x += share * dx * dx;
    y += share * dy * dy;
  });
  return sum > 0 ? [Math.sqrt(x / sum), Math.sqrt(y / sum)] : [0, 0];
}

/** Cells as large as the eye's blur allows, and the blur that is left when their windows have averaged. */
function planCells(length: number, { sigma, weight }: { readonly sigma: number; readonly weight: number }): EyeCells {
  const side = Math.max(1, Math.min(MAX_CELL, Math.round(sigma / FAR_SIGMA)));
  const seen = Math.min(sigma / side, 2 * FAR_SIGMA);
  // Variances add: the energy's weights have twice that of the eye, and a quadratic B-spline of this width has 1/4.
  const deviation = Math.sqrt(Math.max(0.25, 2 * seen * seen - 0.5));
  const reach = Math.ceil(3.5 * deviation);
  const taps = tabulate(new Float64Array(2 * reach + 1), (i) => gaussian(i - reach, deviation));
  const scale = weight / side / taps.reduce((a, b) => a + b, 0);
  const first = new Int32Array(length);
  const shares = new Float64Array(3 * length);
  for (let i = 0; i < length; i++) {
    const t = ((i % side) + 0.5) / side;
    first[i] = Math.floor(i / side);
    shares.set([((1 - t) * (1 - t)) / 2, 0.75 - (t - 0.5) * (t - 0.5), (t * t) / 2], 3 * i);
  }
  return {
    side,
    count: Math.ceil(length / side) + 2,
    first,
    shares,
    far: { reach, taps: taps.map((tap) => tap * scale), sum: weight / side },
  };
}

/**
 * Weights of the error's energy along one axis, the autocorrelation of the eye's (Analoui and Allebach's c_pp, source:
 * 'analouiAllebach1992'): as an autocorrelation of whole numbers it is exact and can never reward an error.
 */
export function createEyeTaps(sigma: number): EyeTaps {
  const deviation = Math.max(sigma, 0.3);
  const even = TAP_SUM / Array.from({ length: 200 }, (_, i) => gaussian(i - 100, deviation)).reduce((a, b) => a + b, 0);
  // Rounding may add up to more than the bound: then the peak is lowered until it does not.
  let half = roundGaussian(even, deviation);
  for (let peak = even; sumHalf(half) > TAP_SUM + 1; peak *= 0.99) half = roundGaussian(peak, deviation);
  half = nudgeTap(half, deviation);
  const weights = [...half.slice(1).reverse(), ...half];
  const reach = weights.length - 1;
  const taps = new Int32Array(2 * reach + 1);
  for (let i = 0; i < weights.length; i++) {
    for (let j = 0; j < weights.length; j++) taps[reach + i - j] += weights[i] * weights[j];
  }
  return { reach, taps, sum: taps.reduce((a, b) => a + b, 0) };
}

/** Weights from the middle outwards, in whole numbers. */
function roundGaussian(peak: number, sigma: number): number[] {
  const half: number[] = [];
  for (let i = 0; Math.round(peak * gaussian(i, sigma)) > 0; i++) half.push(Math.round(peak * gaussian(i, sigma)));
  return half;
}

const sumHalf = (half: readonly number[]) => 2 * half.reduce((a, b) => a + b, 0) - half[0];

const deviationOf = (half: readonly number[]) =>
  Math.sqrt((2 * half.reduce((sum, weight, i) => sum + weight * i * i, 0)) / sumHalf(half));

/** One weight more or less by one, where that brings the deviation nearer: few whole numbers make a coarse Gaussian. */
function nudgeTap(half: readonly number[], sigma: number): number[] {
  let best = [...half];
  for (let i = 1; i <= half.length; i++) {
    for (const step of [-1, 1]) {
      const tried = [...half];
      tried[i] = (tried[i] ?? 0) + step;
      if (tried[i] < (tried[i + 1] ?? 0) || tried[i] > tried[i - 1]) continue;
      if (tried.at(-1) === 0) tried.pop();
      if (sumHalf(tried) > TAP_SUM + 1) continue;
      if (Math.abs(deviationOf(tried) - sigma) < Math.abs(deviationOf(best) - sigma)) best = tried;
    }
  }
  return best;
}

const gaussian = (x: number, sigma: number) => Math.exp(-(x * x) / (2 * sigma * sigma));

function quantise({ strength }: StrengthTable, isShared: boolean): Int16Array {
  const rounded = new Int16Array(2 * strength.length);
  const scale = FULL / strength[strength.length - 1];
  for (let i = 0; i < strength.length; i++) rounded[i] = Math.min(MOST, Math.round(strength[i] * scale));
  return isShared ? shareNumbers(rounded) : rounded;
}

function shareNumbers<T extends Uint16Array | Uint8Array | Int16Array | Float64Array>(numbers: T): T {
  const Numbers = numbers.constructor as new (buffer: SharedArrayBuffer) => T;
  const shared = new Numbers(new SharedArrayBuffer(numbers.byteLength));
  shared.set(numbers as never);
  return shared;
}

/**
 * Every second band first, then those between, which reach some rows into their neighbours so that both sides of a seam
 * are searched together. A band is so high that bands of one phase are out of each other's reach.
 */
function planPhases(height: number, { side, far }: EyeCells): Band[][] {
  const rows = Math.max(BAND_ROWS, 2 * OVERLAP_ROWS + side * (far.reach + CELLS_BESIDE));
  const phases: [Band[], Band[]] = [[], []];
  for (let from = 0, i = 0; from < height; from += rows, i++) {
    // A rest too low for a band of its own goes to the last one.
    const to = height - (from + rows) < rows / 2 ? height : from + rows;
    if (i % 2 === 0) phases[0].push({ from, to });
    else phases[1].push({ from: from - OVERLAP_ROWS, to: to === height ? to : to + OVERLAP_ROWS });
    if (to === height) break;
  }
  return phases.filter((bands) => bands.length > 0);
}

/**
 * From wanted strength, 0 … ONE, to the search's units: (wanted + WANTED_HALF) >> WANTED_SHIFT. Bits and the half that
 * rounds. Exact: from 15 bits to the 13 of `FULL`.
 */
export const WANTED_SHIFT = 2;
export const WANTED_HALF = 2;

function sumCells(plan: SearchPlan): void {
  const { width, height, wanted, dots, strength, cellSums, cellsX, cellsY } = plan;
  const row = new Float64Array(cellsX.count);
  const addRow = (y: number, strengthAt: (x: number) => number) => {
    row.fill(0);
    const from = y * width;
    for (let x = 0; x < width; x++) {
      const error = strengthAt(x) - ((wanted[from + x] + WANTED_HALF) >> WANTED_SHIFT);
      const cell = cellsX.first[x];
      row[cell] += error * cellsX.shares[3 * x];
      row[cell + 1] += error * cellsX.shares[3 * x + 1];
      row[cell + 2] += error * cellsX.shares[3 * x + 2];
    }
    for (let k = 0; k < 3; k++) {
      const share = cellsY.shares[3 * y + k];
      const out = (cellsY.first[y] + k) * cellsX.count;
      for (let cell = 0; cell < row.length; cell++) cellSums[out + cell] += share * row[cell];
    }
  };
  if (plan.marks) {
    eachStrengthRow({ width, height, data: dots }, plan.marks, (strengths, y) =>
      addRow(y, (x) => (strengths[x] + WANTED_HALF) >> WANTED_SHIFT),
    );
    return;
  }
  const indexer = createIndexer(plan.table);
  const index = new Int32Array(width);
  const reachY = plan.table.rows >> 1;
  const rowAt = (y: number) => (y >= 0 && y < height ? dots.subarray(y * width, (y + 1) * width) : undefined);
  const columns = new Uint8Array(width + plan.table.columns);
  for (let y = -reachY; y < reachY; y++) indexer.pushRow(columns, rowAt(y));
  for (let y = 0; y < height; y++) {
    indexer.pushRow(columns, rowAt(y + reachY));
    indexer.fillRow(columns, index);
    addRow(y, (x) => strength[index[x]]);
  }
}
