import { AppError } from '../errors.ts';
import { tabulate } from '../numeric/index.ts';
import type { DotGrid } from '../plane/index.ts';
import type { ScreenOptions } from './types.ts';

/** Ranks of one tile of a periodic screen, row-major, 0 … width · height − 1. */
export interface PeriodicTile {
  readonly width: number;
  readonly height: number;
  readonly ranks: Uint32Array;
}

/** Sides of a tile, dots. Assumed: long enough to hold many periods, short enough to be ranked in a moment. */
const TILE_MIN = 64;
const TILE_MAX = 256;
/**
 * Periods that can be drawn, in dots of the coarser of pitch and line spacing, and of the finer one. Assumed: below two
 * dots nothing alternates, above 256 no tile holds a period.
 */
const PERIOD_MIN = 2;
const PERIOD_MAX = 256;
/** Period of an automatic ruling, dots. Assumed: 64 tones a cell, fine enough for photos; larger cells show more. */
const AUTO_PERIOD = 8;

/**
 * Period of the screen, mm; of `auto` before it is moved to whole dots. @throws AppError option-invalid when the ruling
 * is too fine or too coarse for the dots.
 */
export function periodOf({ linesPerCm }: Pick<ScreenOptions, 'linesPerCm'>, grid: DotGrid): number {
  const coarse = Math.max(grid.pitchMm, grid.lineSpacingMm);
  const fine = Math.min(grid.pitchMm, grid.lineSpacingMm);
  if (linesPerCm === 'auto') return AUTO_PERIOD * coarse;
  const most = 10 / (PERIOD_MIN * coarse);
  const least = 10 / (PERIOD_MAX * fine);
  // A ruling that was computed from the same pitch may differ in the last digit.
  if (linesPerCm > most * (1 + 1e-9) || linesPerCm < least * (1 - 1e-9)) {
    throw new AppError(
      'option-invalid',
      `screen ruling: found ${linesPerCm} lines per cm, needed ${format(least)} … ${format(most)} ` +
        `for dots of ${grid.pitchMm} × ${grid.lineSpacingMm} mm`,
      { option: 'linesPerCm', found: linesPerCm, least, most },
    );
  }
  return 10 / linesPerCm;
}

const format = (value: number) => String(Number(value.toPrecision(3)));

/**
 * Tile of a clustered-dot screen: dots that grow around the points of a square lattice on the work, whatever the pitch
 * and line spacing (source: 'ulichney1987', ch. 5, from memory, for ordered clustered dots).
 *
 * The wanted lattice repeats over no whole number of dots, so its two frequencies are moved to the nearest whole
 * numbers of periods in a tile; the tile's sides are chosen to move them least, some 0.1 %. The dots of the whole tile
 * are then ranked by the spot function. Ranks, unlike a formula for the area under the spot, are even by construction,
 * so the tone holds for any angle and ruling, and a tile of many periods has many more tones than one period has dots.
 *
 * Spot functions of a = |u|, b = |v|, 0 at the lattice point … 1 halfway to the next (commonPractice):
 * round a² + b², ellipse 16a² + 9b², square max(a, b), diamond a + b. Everything after the choice of the tile is whole
 * numbers, so every engine ranks alike.
 */
export function generateClusteredDot(
  options: Pick<ScreenOptions, 'linesPerCm' | 'angleDeg' | 'shape'>,
  grid: DotGrid,
): PeriodicTile {
  const { u: first, v: second } = frequenciesOf(options, grid);
  const along = chooseSide([first[0], second[0]]);
  const across = chooseSide([first[1], second[1]]);
  const spot = SPOTS[options.shape];
  const keyOf = (u: Place, v: Place) => spot(u.distance, v.distance);
  // Of equal dots, one of each period before a second one of any, and the periods in an order that spreads.
  const orderOf = (u: Place, v: Place) => 4 * (2 * (u.half ^ v.half) + u.half) + spread(u.period, v.period);
  return rankTile({ along, across, keyOf, orderOf });
}

/**
 * Tile of a line screen: lines at an angle to the scan line that thicken with the coverage. See `generateClusteredDot`.
 */
export function generateLines(options: Pick<ScreenOptions, 'linesPerCm' | 'angleDeg'>, grid: DotGrid): PeriodicTile {
  const { v: acrossLines } = frequenciesOf(options, grid);
  const along = chooseSide([acrossLines[0]]);
  const across = chooseSide([acrossLines[1]]);
  const keyOf = (u: Place) => u.distance;
  // A line that follows the dots has whole rows of equal ones: fill one flank of it before the other, evenly spread.
  const orderOf = (u: Place, _v: Place, at: { x: number; y: number }) => 4 * u.half + spread(at.x, at.y);
  return rankTile({ along, across, keyOf, orderOf });
}

/** Squared or summed distances in half units of the tile's common divisor: whole numbers below 2⁵³. */
const SPOTS: Readonly<Record<ScreenOptions['shape'], (a: number, b: number) => number>> = {
  round: (a, b) => a * a + b * b,
  ellipse: (a, b) => 16 * a * a + 9 * b * b,
  square: (a, b) => Math.max(a, b),
  diamond: (a, b) => a + b,
};

/** Periods per dot along x and y. */
type Frequency = readonly [x: number, y: number];

/**
 * Frequencies of the lattice's two directions: `u` along the angle, `v` square to it on the work.
 * A ruling that was asked for is kept; `auto` moves the lattice to whole dots, so that all its periods are alike and
 * even the lightest tone has the same dot in each of them.
 */
function frequenciesOf(
  options: Pick<ScreenOptions, 'linesPerCm' | 'angleDeg'>,
  grid: DotGrid,
): { readonly u: Frequency; readonly v: Frequency } {
  const period = periodOf(options, grid);
  const [cos, sin] = directionOf(options.angleDeg);
  const columns = period / grid.pitchMm;
  const rows = period / grid.lineSpacingMm;
  const settle = options.linesPerCm === 'auto' ? Math.round : (dots: number) => dots;
  // The lattice's vectors in dots; the frequencies are the rows of their inverse.
  const [ux, uy, vx, vy] = [cos * columns, sin * rows, -sin * columns, cos * rows].map(settle) as [
    number,
    number,
    number,
    number,
  ];
  const area = ux * vy - uy * vx;
  return { u: [vy / area, -vx / area], v: [-uy / area, ux / area] };
}

/** Exact for the right angles, where a stray 1e-17 would matter to nobody but look odd. */
function directionOf(angleDeg: number): readonly [cos: number, sin: number] {
  const radians = (angleDeg * Math.PI) / 180;
  const clean = (value: number) => (Math.abs(value) < 1e-12 ? 0 : value);
  return [clean(Math.cos(radians)), clean(Math.sin(radians))];
}

/** A side of the tile and the whole numbers of periods along it that come nearest to the wanted frequencies. */
interface Side {
  readonly length: number;
  readonly periods: readonly number[];
}

/** @param frequencies periods per dot. */
function chooseSide(frequencies: readonly number[]): Side {
  const longest = Math.max(...frequencies.map((frequency) => (frequency === 0 ? 0 : 1 / Math.abs(frequency))));
  // A period longer than the tile must still fit twice, unless the direction is so near an axis that it is one.
  const max = Math.max(TILE_MAX, Math.min(2 * TILE_MAX, 2 * Math.ceil(longest)));
  let best = TILE_MIN;
  let least = Number.POSITIVE_INFINITY;
  for (let length = TILE_MIN; length <= max; length++) {
    const off = Math.max(...frequencies.map((f) => Math.abs(f * length - Math.round(f * length)))) / length;
    if (off < least - 1e-12) {
      least = off;
      best = length;
    }
  }
  return { length: best, periods: frequencies.map((frequency) => Math.round(frequency * best)) };
}

/** Where a dot lies in one of the lattice's two directions. */
interface Place {
  /** From the lattice point, 0 … common divisor. */
  readonly distance: number;
  /** Side of the lattice point. */
  readonly half: 0 | 1;
  readonly period: number;
}

interface TilePlan {
  readonly along: Side;
  readonly across: Side;
  readonly keyOf: (u: Place, v: Place) => number;
  /** Order among equal keys. */
  readonly orderOf: (u: Place, v: Place, at: { x: number; y: number }) => number;
}

function rankTile({ along, across, keyOf, orderOf }: TilePlan): PeriodicTile {
  const width = along.length;
  const height = across.length;
  const whole = 2 * width * height;
  // Phase at the dot's centre, x + ½ and y + ½, over the common divisor 2 · width · height.
  const placeOf = (direction: number, x: number, y: number): Place => {
    const phase =
      (along.periods[direction] ?? 0) * (2 * x + 1) * height + (across.periods[direction] ?? 0) * (2 * y + 1) * width;
    const period = Math.floor(phase / whole);
    const inside = 2 * (phase - period * whole) - whole;
    return { distance: Math.abs(inside), half: inside < 0 ? 0 : 1, period };
  };
  const count = width * height;
  const keys = new Float64Array(count);
  const orders = new Float64Array(count);
  for (let y = 0, at = 0; y < height; y++) {
    for (let x = 0; x < width; x++, at++) {
      const u = placeOf(0, x, y);
      const v = placeOf(1, x, y);
      keys[at] = keyOf(u, v);
      orders[at] = orderOf(u, v, { x, y });
    }
  }
  const sorted = tabulate(new Uint32Array(count), (at) => at).sort(
    (a, b) => keys[a] - keys[b] || orders[a] - orders[b] || a - b,
  );
  const ranks = new Uint32Array(count);
  for (let rank = 0; rank < count; rank++) ranks[sorted[rank]] = rank;
  return { width, height, ranks };
}

/**
 * 0 … 1, a number per lattice point such that any run of them is spread evenly: the plane's R2 sequence (from memory).
 */
function spread(i: number, j: number): number {
  const value = i * 0.7548776662466927 + j * 0.5698402909980532;
  return value - Math.floor(value);
}
