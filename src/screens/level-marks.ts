import { tabulate } from '../numeric/index.ts';
import { createPlane, type DoseSampling, type Dots, ONE, type Plane } from '../plane/index.ts';

/**
 * What dots of several levels leave, in whole numbers: doses add at a few points of each cell, and each point's
 * strength follows from its dose. No table of neighbours could hold them: three by three dots of 16 levels have 7e10
 * patterns. Whole numbers, so that a dot that is taken back leaves no trace.
 */
export interface LevelDoses {
  readonly levels: number;
  /** Points of a cell at which doses are kept, a count. */
  readonly points: number;
  /** Cells that a dot reaches to either side, along and across the scan, 0 … `LEVEL_REACH`. */
  readonly reachX: number;
  readonly reachY: number;
  /**
   * Dose of a dot in units of 1/`DOSE_UNIT` entries of `strength`: `points` numbers a cell, cells from left to right
   * and from top to bottom of the box that it reaches, one box a level.
   */
  readonly doses: Int32Array;
  /** Numbers a level in `doses`. */
  readonly boxSize: number;
  /** Share of its cell's strength that a point has by its dose, ONE for a solid's whole cell over all its points. */
  readonly strength: Uint16Array;
  /** Strength of an even field by its level, ONE the solid's. */
  readonly even: Float64Array;
}

export interface LevelMarks extends LevelDoses {
  /** The same of so many levels that each tone has its own: what is expected of dots that are not chosen yet. */
  readonly expected: LevelDoses;
}

/** Fewest points along a cell's side at which doses are kept. A count. Assumed: half of those that proofs have. */
const FEW_POINTS = 2;
/**
 * By how much strengths of even fields may differ from those at all points where few are kept, a share of the solid's.
 * Assumed: a tenth of L*.
 */
const FEW_DIFFER = 0.002;
/** Farthest cell that a dot reaches. A count. Exact: a swap of neighbours then changes 8 × 8 cells. */
export const LEVEL_REACH = 3;
/** Dose that may be left out at the reach's end, of the dot's greatest. Assumed: what is cut is given to the rest. */
const LEFT_OUT = 0.02;
/** Parts of a step of the law's table in which doses add. Bits. Exact: a card's largest sum stays below 2²⁴. */
export const DOSE_BITS = 4;
const DOSE_UNIT = 1 << DOSE_BITS;
/** Levels by which tones are expected. A count. Exact: as many as 8 bits tell. */
const FINE_LEVELS = 256;
/** Strongest mark that is told apart, of a solid's: a fading one may exceed it. Exact: the bound of search-plan.ts. */
const MOST = 1.6;

const known = new WeakMap<DoseSampling, Map<number, LevelMarks>>();

/** What dots of so many levels leave by a dot table's doses; a batch asks for the same ones with every photo. */
export function tabulateLevelMarks(dose: DoseSampling, levels: number): LevelMarks {
  const found = known.get(dose) ?? new Map<number, LevelMarks>();
  known.set(dose, found);
  const marks = found.get(levels) ?? computeLevelMarks(dose, levels);
  found.set(levels, marks);
  return marks;
}

/** At few points of a cell where spots are so wide that these tell the same; narrow spots have edges within a cell. */
function computeLevelMarks(dose: DoseSampling, levels: number): LevelMarks {
  const many = { x: dose.samplesX, y: dose.samplesY };
  const few = { x: FEW_POINTS, y: FEW_POINTS };
  const exact = sampleDoses(dose, FINE_LEVELS, many);
  const quick = sampleDoses(dose, FINE_LEVELS, few);
  const differ = exact.even.reduce((most, strength, at) => Math.max(most, Math.abs(quick.even[at] - strength)), 0);
  const [expected, sides] = differ <= FEW_DIFFER * ONE ? [quick, few] : [exact, many];
  return { ...(levels === FINE_LEVELS ? expected : sampleDoses(dose, levels, sides)), expected };
}

function sampleDoses(
  dose: DoseSampling,
  levels: number,
  sides: { readonly x: number; readonly y: number },
): LevelDoses {
  const x = thinKernel(dose.kernelX, { samples: dose.samplesX, side: sides.x, radius: dose.radiusX });
  const y = thinKernel(dose.kernelY, { samples: dose.samplesY, side: sides.y, radius: dose.radiusY });
  const points = sides.x * sides.y;
  const [columns, rows] = [2 * x.reach + 1, 2 * y.reach + 1];
  const boxSize = points * columns * rows;
  const doses = new Int32Array(levels * boxSize);
  for (let level = 1; level < levels; level++) {
    const unit = DOSE_UNIT * dose.indexPerDose * doseOf(level / (levels - 1), dose);
    for (let row = 0, at = level * boxSize; row < rows; row++) {
      for (let column = 0; column < columns; column++) {
        for (let j = 0; j < sides.y; j++) {
          // The cell at +column sees this dot −column cells away.
          const across = y.kernel[(rows - 1 - row) * sides.y + j];
          for (let i = 0; i < sides.x; i++) {
            doses[at++] = Math.round(unit * across * x.kernel[(columns - 1 - column) * sides.x + i]);
          }
        }
      }
    }
  }
  const strength = tabulate(new Uint16Array(dose.strengthOf.length), (i) =>
    Math.round((ONE / points) * Math.min(MOST, Math.max(0, dose.strengthOf[i]))),
  );
  const even = tabulate(new Float64Array(levels), (level) => {
    let sum = 0;
    for (let point = 0; point < points; point++) {
      let total = 0;
      for (let at = level * boxSize + point; at < (level + 1) * boxSize; at += points) total += doses[at];
      sum += strength[Math.min(strength.length - 1, total >> DOSE_BITS)];
    }
    return sum;
  });
  return { levels, points, reachX: x.reach, reachY: y.reach, doses, boxSize, strength, even };
}

/** A kernel at fewer points of each cell, as far as it counts; what is left out is given to the rest. */
function thinKernel(
  kernel: Float32Array,
  { samples, side, radius }: { readonly samples: number; readonly side: number; readonly radius: number },
) {
  const part = samples / side;
  const thin = tabulate(new Float64Array((2 * radius + 1) * side), (at) => {
    let sum = 0;
    for (let i = 0; i < part; i++) sum += kernel[Math.floor(at / side) * samples + (at % side) * part + i];
    return sum / part;
  });
  const greatest = thin.reduce((a, b) => Math.max(a, b), 0);
  const strongestAt = (cells: number) =>
    thin.slice((radius - cells) * side, (radius - cells + 1) * side).reduce((a, b) => Math.max(a, b), 0);
  let reach = Math.min(radius, LEVEL_REACH);
  while (reach > 0 && strongestAt(reach) < LEFT_OUT * greatest) reach--;
  const kept = thin.slice((radius - reach) * side, (radius + reach + 1) * side);
  for (let point = 0; point < side; point++) {
    let all = 0;
    let rest = 0;
    for (let at = point; at < thin.length; at += side) all += thin[at];
    for (let at = point; at < kept.length; at += side) rest += kept[at];
    for (let at = point; at < kept.length; at += side) kept[at] *= all / rest;
  }
  return { reach, kernel: kept };
}

/** Share of a full dot's dose of a share of the full level, straight between the steps of the table. */
function doseOf(level: number, { doseOfLevel }: DoseSampling): number {
  if (!doseOfLevel) return level;
  const at = level * (doseOfLevel.length - 1);
  const low = Math.min(doseOfLevel.length - 2, Math.floor(at));
  return doseOfLevel[low] + (at - low) * (doseOfLevel[low + 1] - doseOfLevel[low]);
}

/** Mean level, as a coverage, that leaves each strength on an even field: where weights or first dots follow levels. */
export function coverageOfEven({ even, levels }: LevelDoses): Uint16Array {
  const table = new Uint16Array(ONE + 1);
  let level = 1;
  for (let strength = 1; strength < ONE; strength++) {
    while (level < levels - 1 && even[level] < strength) level++;
    const step = even[level] - even[level - 1];
    const share = step > 0 ? (strength - even[level - 1]) / step : 1;
    const coverage = (ONE * (level - 1 + Math.min(1, Math.max(0, share)))) / (levels - 1);
    table[strength] = Math.min(ONE - 1, Math.max(1, Math.round(coverage)));
  }
  table[ONE] = ONE;
  return table;
}

/** A plane through a table of 0 … ONE. */
export function mapPlane({ width, height, data }: Plane<'coverage'>, table: Uint16Array): Plane<'coverage'> {
  return createPlane(
    'coverage',
    width,
    height,
    tabulate(new Uint16Array(data.length), (i) => table[data[i]]),
  );
}

/** Adds the doses of a dot, or takes them back, to those of the cells that it reaches; `at` is its own cell. */
export function addDose(
  cells: Int32Array,
  { doses, boxSize, points, reachX, reachY }: LevelDoses,
  {
    at,
    stride,
    from,
    to,
  }: { readonly at: number; readonly stride: number; readonly from: number; readonly to: number },
): void {
  const columns = points * (2 * reachX + 1);
  let old = from * boxSize;
  let next = to * boxSize;
  for (let row = -reachY; row <= reachY; row++) {
    const begin = points * (at + row * stride - reachX);
    for (let i = begin; i < begin + columns; i++, old++, next++) cells[i] += doses[next] - doses[old];
  }
}

/** Strength of each cell of some dots, ONE the solid's, row by row; outside the dots nothing fires. */
export function eachStrengthRow(
  { width, height, data }: Pick<Dots, 'width' | 'height' | 'data'>,
  marks: LevelMarks,
  take: (row: Int32Array, y: number) => void,
): void {
  const { points, reachX, reachY, strength } = marks;
  const stride = width + 2 * reachX;
  const rows = 2 * reachY + 1;
  // As many rows as a dot reaches, those of the ring one after the other; a row's doses are whole when the last dots
  // that reach it are in.
  const cells = new Int32Array(points * stride * rows);
  const line = new Int32Array(width);
  const last = strength.length - 1;
  for (let y = 0; y < height + reachY; y++) {
    if (y < height) {
      for (let x = 0; x < width; x++) {
        const level = data[y * width + x];
        if (level > 0) addDose(cells, marks, { at: reachY * stride + x + reachX, stride, from: 0, to: level });
      }
    }
    if (y >= reachY) {
      for (let x = 0, at = points * reachX; x < width; x++) {
        let sum = 0;
        for (let point = 0; point < points; point++, at++) sum += strength[Math.min(last, cells[at] >> DOSE_BITS)];
        line[x] = sum;
      }
      take(line, y - reachY);
    }
    cells.copyWithin(0, points * stride);
    cells.fill(0, points * stride * (rows - 1));
  }
}
