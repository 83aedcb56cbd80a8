import { lightnessOfReflectance, reflectanceOfLightness } from '../../src/colour/index.ts';
import { createPchip } from '../../src/numeric/index.ts';
import {
  createIndexer,
  createPlane,
  type DotGrid,
  type Dots,
  ONE,
  type Plane,
  type StrengthTable,
} from '../../src/plane/index.ts';
import { blurCells } from '../../src/proof/blur.ts';

/**
 * A slow ramp over a field of dots: circles of equal lightness about a far point, which lies in the ramp's direction.
 */
export interface Ramp {
  readonly grid: DotGrid;
  readonly width: number;
  readonly height: number;
  readonly directionDeg: number;
  /** L* at its ends. */
  readonly from: number;
  readonly to: number;
}

/**
 * Lightness of bare and solid, L*: black anodised. A photo's L* 20 and 80 come out at the ramp's ends there, since its
 * 0 … 100 is laid over that range.
 */
export const BARE_L = 17;
export const SOLID_L = 80;
export const RAMP_L = { from: 29.6, to: 67.4 } as const;
/** Marks are discs, mm: 1.095 dots of 20 µm. */
const MARK_MM = 0.0219;
/** The eye's blur on the work, mm: four dots of 20 µm, a piece held close. */
const EYE_MM = 0.08;
/** Radius of the circle of middle lightness, of the field's width: as slow a bend as a sky's. */
const BEND = 2;
/** Points along each side of a cell at which a disc is sampled. */
const SAMPLES = 48;

/** What discs leave on the cells of a grid: the share of a cell that is covered. */
export function tabulateDiscs({ pitchMm, lineSpacingMm }: DotGrid): StrengthTable {
  const covers = new Int32Array(SAMPLES * SAMPLES);
  const radius = MARK_MM / 2;
  for (let i = 0; i < covers.length; i++) {
    const x = ((i % SAMPLES) + 0.5) / SAMPLES - 0.5;
    const y = (Math.floor(i / SAMPLES) + 0.5) / SAMPLES - 0.5;
    for (let dx = -1; dx <= 1; dx++) {
      for (let dy = -1; dy <= 1; dy++) {
        const isInside = Math.hypot((x - dx) * pitchMm, (y - dy) * lineSpacingMm) < radius;
        covers[i] = (covers[i]! << 1) | (isInside ? 1 : 0);
      }
    }
  }
  const strength = Float64Array.from(
    { length: 512 },
    (_, pattern) => covers.reduce((sum, cover) => sum + ((cover & pattern) === 0 ? 0 : 1), 0) / covers.length,
  );
  return { columns: 3, rows: 3, corners: true, strength };
}

/** L* wanted at each dot. */
export function drawRamp({ grid, width, height, directionDeg, from, to }: Ramp): Float32Array {
  const [cos, sin] = [Math.cos((directionDeg * Math.PI) / 180), Math.sin((directionDeg * Math.PI) / 180)];
  const { pitchMm, lineSpacingMm } = grid;
  const [halfX, halfY] = [(width * pitchMm) / 2, (height * lineSpacingMm) / 2];
  const far = 2 * BEND * halfX;
  const distance = (x: number, y: number) => Math.hypot(x + far * cos, y + far * sin) - far;
  const reach = halfX * Math.abs(cos) + halfY * Math.abs(sin);
  return Float32Array.from({ length: width * height }, (_, i) => {
    const x = ((i % width) + 0.5) * pitchMm - halfX;
    const y = (Math.floor(i / width) + 0.5) * lineSpacingMm - halfY;
    const share = (distance(x, y) / reach + 1) / 2;
    return Math.min(to, Math.max(from, from + (to - from) * share));
  });
}

const [BARE_Y, SOLID_Y] = [reflectanceOfLightness(BARE_L), reflectanceOfLightness(SOLID_L)];

/** The plane that asks for the ramp: the strength of the mark, of a solid's. */
export function askForRamp(lightness: Float32Array, { width, height }: Ramp): Plane<'coverage'> {
  const plane = createPlane('coverage', width, height);
  for (let i = 0; i < lightness.length; i++) {
    plane.data[i] = Math.round((ONE * (reflectanceOfLightness(lightness[i]!) - BARE_Y)) / (SOLID_Y - BARE_Y));
  }
  return plane;
}

/** Coverages whose tone a screen's curve is taken from. */
const CURVE = [0, 0.02, 0.05, 0.1, 0.15, 0.2, 0.27, 0.35, 0.43, 0.52, 0.6, 0.68, 0.76, 0.83, 0.9, 0.95, 0.98, 1];
const FIELD = { side: 160, border: 32 } as const;

/** Coverage to ask a screen for, for each strength 0 … ONE, so that its marks come out right. */
export function levelCoverage(table: StrengthTable, halftone: (plane: Plane<'coverage'>) => Dots): Uint16Array {
  const { side, border } = FIELD;
  const tones = CURVE.map((share) => {
    const plane = createPlane('coverage', side, side);
    plane.data.fill(Math.round(share * ONE));
    const strength = readStrength(halftone(plane), table);
    let sum = 0;
    for (let y = border; y < side - border; y++) {
      for (let x = border; x < side - border; x++) sum += strength[y * side + x]!;
    }
    return sum / (side - 2 * border) ** 2;
  });
  const curve = createPchip([0, ...tones.slice(1, -1), 1], CURVE);
  return Uint16Array.from({ length: ONE + 1 }, (_, value) => Math.round(ONE * curve.valueAt(value / ONE)));
}

/** Strength of each cell, of a solid's. */
function readStrength({ width, height, data }: Dots, table: StrengthTable): Float32Array {
  const seen = new Float32Array(width * height);
  const solid = table.strength[table.strength.length - 1]!;
  const indexer = createIndexer(table);
  const columns = new Uint8Array(width + table.columns);
  const index = new Int32Array(width);
  const reach = table.rows >> 1;
  for (let y = -reach; y < height; y++) {
    indexer.pushRow(
      columns,
      y + reach < height ? data.subarray((y + reach) * width, (y + reach + 1) * width) : undefined,
    );
    if (y < 0) continue;
    indexer.fillRow(columns, index);
    for (let x = 0; x < width; x++) seen[y * width + x] = table.strength[index[x]!]! / solid;
  }
  return seen;
}

export interface Seen {
  /** Seen minus wanted, ΔL*, both after the eye, and L* wanted; NaN at the border. */
  readonly error: Float32Array;
  readonly wanted: Float32Array;
}

/** What the eye sees of dots on the ramp. */
export function lookAtRamp(
  dots: Dots,
  lightness: Float32Array,
  { ramp, table }: { readonly ramp: Ramp; readonly table: StrengthTable },
): Seen {
  const { grid, width, height } = ramp;
  const sigma = { sigmaX: EYE_MM / grid.pitchMm, sigmaY: EYE_MM / grid.lineSpacingMm };
  const strength = readStrength(dots, table);
  const light = blurCells({ width, height, data: strength.map((s) => BARE_Y + s * (SOLID_Y - BARE_Y)) }, sigma);
  const asked = blurCells({ width, height, data: lightness.map(reflectanceOfLightness) }, sigma);
  const [left, top] = [Math.ceil(4 * sigma.sigmaX), Math.ceil(4 * sigma.sigmaY)];
  const error = new Float32Array(light.length).fill(Number.NaN);
  const wanted = new Float32Array(light.length).fill(Number.NaN);
  for (let y = top; y < height - top; y++) {
    for (let x = left; x < width - left; x++) {
      const i = y * width + x;
      wanted[i] = lightnessOfReflectance(asked[i]!);
      error[i] = lightnessOfReflectance(light[i]!) - wanted[i]!;
    }
  }
  return { error, wanted };
}

export interface ToneScore {
  /** L*, the middle of the tone's step. */
  readonly lightness: number;
  /** Standard deviation of what is seen, ΔL*. */
  readonly deviation: number;
  /** Mean error, ΔL*. */
  readonly mean: number;
  /** Deviation of the error's means along lines, in the direction in which it is greatest, ΔL*. */
  readonly streaks: number;
  /** That direction, degrees from the scan line towards the next one, 0 … 180. */
  readonly streakDeg: number;
}

/** Half the length of the lines along which streaks are sought, mm: eight times the eye's blur. */
const HALF_LINE_MM = 0.64;
/** Steps along each half of such a line, and directions. */
const LINE_STEPS = 16;
const DIRECTIONS = 12;
/** Fewest dots of a tone that tell its deviation. */
const ENOUGH_DOTS = 4000;

/** Scores by tone, a step of 1 L* each. */
export function scoreTones({ error, wanted }: Seen, ramp: Ramp): ToneScore[] {
  const { from, to } = ramp;
  const steps = Math.floor(to - from);
  const stepOf = (i: number) => Math.floor(wanted[i]! - from);
  const all = createSums(steps);
  for (let i = 0; i < error.length; i++) all.add(stepOf(i), error[i]!);
  const rest = error.map((value, i) => value - (all.mean(stepOf(i)) || 0));
  const lines = listLines(ramp).map((offsets) => sumLines(rest, { ramp, offsets, stepOf, steps }));
  return Array.from({ length: steps }, (_, step) => {
    const along = lines.map((sums) => sums.deviation(step));
    const streaks = Math.max(...along);
    return {
      lightness: from + step + 0.5,
      deviation: all.deviation(step),
      mean: all.mean(step),
      streaks,
      streakDeg: (180 * along.indexOf(streaks)) / DIRECTIONS,
      dots: all.count(step),
    };
  }).filter(({ dots }) => dots >= ENOUGH_DOTS);
}

/** Means and deviations of numbers in some groups; what is in no group or is no number is left out. */
function createSums(groups: number) {
  const counts = new Float64Array(groups);
  const sums = new Float64Array(groups);
  const squares = new Float64Array(groups);
  const mean = (group: number) => sums[group]! / counts[group]!;
  return {
    add(group: number, value: number) {
      if (!(group >= 0 && group < groups) || Number.isNaN(value)) return;
      counts[group]!++;
      sums[group]! += value;
      squares[group]! += value * value;
    },
    mean,
    count: (group: number) => counts[group]!,
    deviation: (group: number) =>
      counts[group] === 0 ? 0 : Math.sqrt(Math.max(0, squares[group]! / counts[group]! - mean(group) ** 2)),
  };
}

/** The dots along a line through a dot, as offsets, for each direction. */
function listLines({ grid }: Ramp): (readonly [dx: number, dy: number])[][] {
  return Array.from({ length: DIRECTIONS }, (_, k) => {
    const angle = (Math.PI * k) / DIRECTIONS;
    return Array.from({ length: 2 * LINE_STEPS + 1 }, (__, i) => {
      const along = ((i - LINE_STEPS) * HALF_LINE_MM) / LINE_STEPS;
      return [
        Math.round((along * Math.cos(angle)) / grid.pitchMm),
        Math.round((along * Math.sin(angle)) / grid.lineSpacingMm),
      ] as const;
    });
  });
}

interface Lines {
  readonly ramp: Ramp;
  readonly offsets: readonly (readonly [dx: number, dy: number])[];
  readonly stepOf: (i: number) => number;
  readonly steps: number;
}

/** Means along the lines through every second dot of every second row. */
function sumLines(error: Float32Array, { ramp: { width, height }, offsets, stepOf, steps }: Lines) {
  const sums = createSums(steps);
  const [reachX, reachY] = [0, 1].map((k) => Math.max(...offsets.map((offset) => Math.abs(offset[k]!)))) as [
    number,
    number,
  ];
  const places = offsets.map(([dx, dy]) => dy * width + dx);
  for (let y = reachY; y < height - reachY; y += 2) {
    for (let x = reachX; x < width - reachX; x += 2) {
      const i = y * width + x;
      let sum = 0;
      for (const place of places) sum += error[i + place]!;
      sums.add(stepOf(i), sum / places.length);
    }
  }
  return sums;
}

/** The middle one of some numbers, and the score with the most of a number. */
export const medianDeviation = (scores: readonly ToneScore[]) =>
  scores.map(({ deviation }) => deviation).sort((a, b) => a - b)[scores.length >> 1]!;
export const worstOf = (scores: readonly ToneScore[], key: 'deviation' | 'streaks') =>
  scores.reduce((worst, score) => (score[key] > worst[key] ? score : worst));
