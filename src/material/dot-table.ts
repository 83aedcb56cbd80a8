import { reflectanceOfLightness } from '../colour/index.ts';
import { keepLatest, tabulate } from '../numeric/index.ts';
import { countBits, type DoseSampling, type DotGrid, type DotTable, listNeighbours } from '../plane/index.ts';
import { tabulateLevelDoses } from './level-road.ts';
import {
  computeDotDose,
  computeRawStrength,
  computeReachCells,
  computeSolidStrength,
  type DoseAxis,
  sampleDose,
  sumLattice,
} from './response.ts';
import type { ResponseModel, Surface } from './types.ts';

/**
 * Dose that may reach the edge of the middle cell from an axis' dots outside the neighbourhood, share of a solid row.
 * Assumed: less changes no tone by what is seen, and 5 × 5 dots cost much more than 3 × 3.
 */
const STRAY_LIMIT = 0.025;
/** Even steps of the level at which its dose is kept. Exact: the levels of 8 bits, those of 4, 6, 16, 18, 52 and 86. */
const LEVEL_STEPS = 256;
/** Steps of the table from dose to strength, a count. Assumed: straight between them to below a float's use. */
const DOSE_STEPS = 16384;

/**
 * The dot table of a surface on a grid (its response's reference grid when absent): the tabular printer model of Pappas
 * and Neuhoff (source: 'pappasNeuhoff1995'), filled from the deposit of doses instead of from hard discs.
 *
 * The neighbourhood is the smallest of 3 × 3, 5 × 3, 3 × 5 and 5 × 5 without corners outside of which an axis' dots add
 * less than 2.5 % to a solid row's dose at the edge of the cell; that is so for dose diameters up to 2.3 and 4.3 steps.
 * What lies further out is taken as covered like the neighbourhood itself (a mean field), so that bare and solid are
 * exact and only the texture of distant dots is lost. Dose diameters above about 5 steps lose accuracy that way; a line
 * spacing so far below the spot gains nothing on the work either.
 */
export function fillDotTable(surface: Surface, grid: DotGrid = surface.response.reference): DotTable {
  const { response, bare, full } = surface;
  const { pitchMm, lineSpacingMm } = grid;
  const key = JSON.stringify([response, bare[0], full[0], pitchMm, lineSpacingMm]);
  return keepTable(key, () => computeTable(surface, { pitchMm, lineSpacingMm }));
}

/** Tables kept, a count of at most 8 MiB each. Assumed: a job asks for that of its grid and of its profile's. */
const TABLES_KEPT = 2;
/** A job asks for the same table for its curve, its screen and its proof, and a page for each look. */
const keepTable = keepLatest<DotTable>(TABLES_KEPT);

function computeTable(surface: Surface, grid: DotGrid): DotTable {
  const model = surface.response;
  const { law, ...marks } = tabulateStrengths(model, grid);
  return {
    grid,
    ...marks,
    dose: sampleForLevels(model, grid, { ...law, samples: LEVEL_SAMPLES }),
    bareLuminance: reflectanceOfLightness(surface.bare[0]),
    fullLuminance: reflectanceOfLightness(surface.full[0]),
    yuleNielsenN: model.yuleNielsenN,
  };
}

/** The mean strengths of a dot table, without what else a proof needs. */
export interface MarkStrengths extends Pick<DotTable, 'columns' | 'rows' | 'corners' | 'strength'> {
  /** Strength by dose, in the solid's. */
  readonly law: { readonly strengthOf: Float32Array; readonly indexPerDose: number; readonly solid: number };
}

/** Sides of the neighbourhood that a model's dots need on a grid. */
export function chooseNeighbourhood(
  model: ResponseModel,
  grid: DotGrid = model.reference,
): { readonly columns: 3 | 5; readonly rows: 3 | 5 } {
  const dose = computeDotDose(model, grid);
  return {
    columns: chooseSide({ diameterMm: dose.diameterXMm, stepMm: grid.pitchMm }),
    rows: chooseSide({ diameterMm: dose.diameterYMm, stepMm: grid.lineSpacingMm }),
  };
}

/**
 * Mean strength of one dot cell by the dots around it, for a model on a grid.
 * @param options wanted: 1 for each pattern that the table has to serve, where others may stay 0; all when absent.
 */
export function tabulateStrengths(
  model: ResponseModel,
  grid: DotGrid = model.reference,
  options: { readonly wanted?: Uint8Array } = {},
): MarkStrengths {
  const dose = computeDotDose(model, grid);
  const { columns, rows } = chooseNeighbourhood(model, grid);
  const corners = columns * rows < 25;
  // A wide dose is smooth over a cell and has the longer table; a narrow one has edges inside the cell and the short
  // one.
  const coarse = model.steepness < 8 ? 3 : 4;
  // Nearly hard discs, whose law a lookup would not resolve, need the most; there are at most 512 entries of them.
  const hard = columns * rows === 9 && model.halfDose * DOSE_STEPS < 8 * model.steepness * Math.max(1, dose.peak);
  const narrow = hard ? 40 : 16;
  const samplesX = columns === 5 ? (rows === 5 ? coarse : 6) : rows === 5 ? 12 : narrow;
  const samplesY = rows === 5 ? (columns === 5 ? coarse : 6) : columns === 5 ? 12 : narrow;
  const axisX: DoseAxis = { diameterMm: dose.diameterXMm, stepMm: grid.pitchMm, samples: samplesX, reach: dose.reach };
  const axisY: DoseAxis = {
    diameterMm: dose.diameterYMm,
    stepMm: grid.lineSpacingMm,
    samples: samplesY,
    reach: dose.reach,
  };
  const solid = computeSolidStrength(model, samplesX, samplesY);

  const cells = listNeighbours({ columns, rows, corners });
  const samples = samplesX * samplesY;
  const contributions = cells.map(({ dx, dy }) => {
    const x = sampleDose(axisX, dx);
    const y = sampleDose(axisY, dy);
    return multiplyAxes(x, y, dose.peak);
  });
  const latticeX = sumLattice(axisX);
  const latticeY = sumLattice(axisY);
  const everything = multiplyAxes(latticeX, latticeY, dose.peak);
  const outside = sumOutside({ axisX, axisY, columns, rows, corners }).map((value) => value * dose.peak);

  const largest = Math.max(...everything);
  const indexPerDose = (DOSE_STEPS - 1) / largest;
  const strengthOf = new Float32Array(DOSE_STEPS);
  for (let i = 1; i < DOSE_STEPS; i++) strengthOf[i] = computeRawStrength(model, (i + 0.5) / indexPerDose) / solid;
  const strength = hard
    ? fillByFormula({ contributions, outside, samples }, (value) => computeRawStrength(model, value) / solid)
    : fillByLookup({ contributions, outside, samples }, { strengthOf, indexPerDose, columns, rows, ...options });
  strength[0] = 0;
  // Rounding of the lookup aside, this is what the sums give; on the reference grid it is 1 by definition.
  strength[strength.length - 1] =
    everything.reduce((sum, value) => sum + computeRawStrength(model, value), 0) / samples / solid;

  return { columns, rows, corners, strength, law: { strengthOf, indexPerDose, solid } };
}

/** Dose of a dot at the samples of a cell, row by row: the product of its shares along and across the scan. */
function multiplyAxes(x: Float64Array, y: Float64Array, peak: number): Float64Array {
  const dose = new Float64Array(x.length * y.length);
  for (let j = 0; j < y.length; j++) for (let i = 0; i < x.length; i++) dose[j * x.length + i] = peak * x[i] * y[j];
  return dose;
}

function chooseSide({ diameterMm, stepMm }: { diameterMm: number; stepMm: number }): 3 | 5 {
  // Dose at the cell's edge of the nearest line of dots outside a side of 3, of a row's mean dose.
  const nearest = ((Math.sqrt(8 / Math.PI) * stepMm) / diameterMm) * Math.exp(-8 * (1.5 * (stepMm / diameterMm)) ** 2);
  return nearest < STRAY_LIMIT ? 3 : 5;
}

/**
 * Dose of all dots outside the neighbourhood, in units of a dot's peak. Summed directly: as a difference of all and
 * inside, rounding alone would pass the low thresholds of nearly hard discs.
 */
function sumOutside(of: { axisX: DoseAxis; axisY: DoseAxis; columns: number; rows: number; corners: boolean }) {
  const { axisX, axisY, columns, rows, corners } = of;
  const farX = sumLattice(axisX, columns >> 1);
  const farY = sumLattice(axisY, rows >> 1);
  const allX = sumLattice(axisX);
  const allY = sumLattice(axisY);
  const cornerX = corners ? [] : [-(columns >> 1), columns >> 1].map((offset) => sampleDose(axisX, offset));
  const cornerY = corners ? [] : [-(rows >> 1), rows >> 1].map((offset) => sampleDose(axisY, offset));
  return tabulate(new Float64Array(axisX.samples * axisY.samples), (s) => {
    const i = s % axisX.samples;
    const j = Math.floor(s / axisX.samples);
    let dose = farX[i] * allY[j] + Math.max(0, allX[i] - farX[i]) * farY[j];
    for (const x of cornerX) for (const y of cornerY) dose += x[i] * y[j];
    return dose;
  });
}

interface Neighbourhood {
  readonly contributions: readonly Float64Array[];
  readonly outside: Float64Array;
  readonly samples: number;
}

/** Doses of every pattern of some cells: 2^cells rows of samples. The first cell is the highest bit. */
function sumPatterns(contributions: readonly Float64Array[], samples: number): Float64Array {
  const count = contributions.length;
  const sums = new Float64Array(samples << count);
  for (let pattern = 1; pattern < 1 << count; pattern++) {
    const bit = 31 - Math.clz32(pattern & -pattern);
    const rest = pattern & (pattern - 1);
    const added = contributions[count - 1 - bit];
    for (let s = 0; s < samples; s++) sums[pattern * samples + s] = sums[rest * samples + s] + added[s];
  }
  return sums;
}

/** With the law itself: for thresholds so low or so steep that a lookup would not resolve them. */
function fillByFormula({ contributions, outside, samples }: Neighbourhood, strengthOf: (dose: number) => number) {
  const strength = new Float32Array(1 << contributions.length);
  const sums = sumPatterns(contributions, samples);
  for (let pattern = 0; pattern < strength.length; pattern++) {
    const field = countBits(pattern) / contributions.length;
    let sum = 0;
    for (let s = 0; s < samples; s++) sum += strengthOf(sums[pattern * samples + s] + field * outside[s]);
    strength[pattern] = sum / samples;
  }
  return strength;
}

interface Lookup {
  readonly strengthOf: Float32Array;
  readonly indexPerDose: number;
  readonly columns: number;
  readonly rows: number;
  readonly wanted?: Uint8Array;
}

/**
 * The same by lookup: the pattern is cut between two columns into halves whose doses are summed once, and strength
 * is looked up, so that an entry costs two additions and one load a sample. A pattern and its mirror image across the
 * scan have the same mean; only one of them is computed.
 */
function fillByLookup({ contributions, outside, samples }: Neighbourhood, lookup: Lookup): Float32Array {
  const { strengthOf, indexPerDose, columns, rows, wanted } = lookup;
  const count = contributions.length;
  const heights = Array.from({ length: columns }, (_, x) =>
    count === 21 && (x === 0 || x === columns - 1) ? 3 : rows,
  );
  const lowHeights = heights.slice((columns + 1) >> 1);
  const lowBits = lowHeights.reduce((sum, height) => sum + height, 0);
  const scaled = contributions.map((contribution) => contribution.map((value) => value * indexPerDose));
  const high = sumPatterns(scaled.slice(0, count - lowBits), samples);
  const low = new Float32Array(sumPatterns(scaled.slice(count - lowBits), samples));
  const lowCounts = new Uint8Array(1 << lowBits);
  const lowMirror = new Uint32Array(1 << lowBits);
  for (let pattern = 0; pattern < lowCounts.length; pattern++) {
    lowCounts[pattern] = countBits(pattern);
    lowMirror[pattern] = mirrorColumns(pattern, lowHeights);
  }
  const highHeights = heights.slice(0, (columns + 1) >> 1);
  const strength = new Float32Array(1 << count);
  const base = new Float32Array((lowBits + 1) * samples);
  const halves = { base, low, lowCounts, lowMirror, strengthOf, samples, wanted };
  for (let top = 0; top < 1 << (count - lowBits); top++) {
    const topMirror = mirrorColumns(top, highHeights);
    if (topMirror < top) continue;
    const topCount = countBits(top);
    for (let more = 0; more <= lowBits; more++) {
      const field = ((topCount + more) / count) * indexPerDose;
      for (let s = 0; s < samples; s++) base[more * samples + s] = high[top * samples + s] + field * outside[s];
    }
    fillHalf(strength, { ...halves, top: top << lowBits, topMirror: topMirror << lowBits });
  }
  return strength;
}

interface Half {
  /** Doses of the high bits and from outside, in entries of the law, by how many low bits fire. */
  readonly base: Float32Array;
  /** Doses of the low bits' patterns, how many of each fire, and its mirror image. */
  readonly low: Float32Array;
  readonly lowCounts: Uint8Array;
  readonly lowMirror: Uint32Array;
  readonly strengthOf: Float32Array;
  readonly samples: number;
  readonly wanted: Uint8Array | undefined;
  /** The high bits in their place, and their mirror image. */
  readonly top: number;
  readonly topMirror: number;
}

// The hot loop alone: the engine optimises it in a tenth of the time that it takes with everything around it.
function fillHalf(strength: Float32Array, half: Half): void {
  const { base, low, lowCounts, lowMirror, strengthOf, samples, wanted, top, topMirror } = half;
  const last = strengthOf.length - 1;
  for (let bottom = 0; bottom < lowCounts.length; bottom++) {
    const pattern = top | bottom;
    const mirrored = topMirror | lowMirror[bottom];
    if (wanted && !wanted[pattern] && !wanted[mirrored]) continue;
    const from = lowCounts[bottom] * samples;
    const at = bottom * samples;
    let sum = 0;
    for (let s = 0; s < samples; s++) {
      const index = (base[from + s] + low[at + s]) | 0;
      // biome-ignore lint/complexity/useMathMinMax: a compare is cheaper than the call here.
      sum += strengthOf[index < last ? index : last];
    }
    strength[pattern] = sum / samples;
    strength[mirrored] = sum / samples;
  }
}

/** The pattern upside down: the bits of each column in reverse. */
function mirrorColumns(pattern: number, heights: readonly number[]): number {
  let mirrored = 0;
  let shift = heights.reduce((sum, height) => sum + height, 0);
  for (const height of heights) {
    shift -= height;
    for (let bit = 0; bit < height; bit++) {
      if ((pattern >> (shift + bit)) & 1) mirrored |= 1 << (shift + height - 1 - bit);
    }
  }
  return mirrored;
}

/** Points along each side of a cell at which doses of modulated dots are added up. A count. Assumed: as an eye sees. */
const LEVEL_SAMPLES = 4;

/**
 * The doses of a table at so many points along each side of a cell: for drawing single marks, where the eye is near
 * enough to see their shape. The mean over a cell stays that of the table.
 */
export function sampleMarks(
  { dose, grid }: Pick<DotTable, 'dose' | 'grid'>,
  model: ResponseModel,
  samples: number,
): DoseSampling {
  const solid = computeSolidStrength(model, LEVEL_SAMPLES, LEVEL_SAMPLES);
  return sampleForLevels(model, grid, { ...dose, solid, samples });
}

/** Sampling for modulated dots, whose doses differ from dot to dot so that no table can hold them. */
function sampleForLevels(
  model: ResponseModel,
  grid: DotGrid,
  law: { strengthOf: Float32Array; indexPerDose: number; solid: number; samples: number },
): DoseSampling {
  const { samples } = law;
  const dose = computeDotDose(model, grid);
  const unit = law.solid / computeSolidStrength(model, samples, samples);
  const build = (diameterMm: number, stepMm: number, peak: number) => {
    const axis: DoseAxis = { diameterMm, stepMm, samples, reach: 0.9 };
    const radius = Math.max(1, computeReachCells(axis) - 1);
    const full = sumLattice({ ...axis, reach: dose.reach });
    const kernel = new Float32Array((2 * radius + 1) * samples);
    const kept = new Float64Array(samples);
    for (let offset = -radius; offset <= radius; offset++) {
      const part = sampleDose(axis, offset);
      for (let i = 0; i < samples; i++) {
        kernel[(offset + radius) * samples + i] = part[i] * peak;
        kept[i] += part[i];
      }
    }
    // What the cut tails carried is given to the rest, so that a solid field has its full dose.
    for (let k = 0; k < kernel.length; k++) kernel[k] *= full[k % samples] / kept[k % samples];
    return { radius, kernel };
  };
  const x = build(dose.diameterXMm, grid.pitchMm, dose.peak);
  const y = build(dose.diameterYMm, grid.lineSpacingMm, 1);
  return {
    samplesX: samples,
    samplesY: samples,
    radiusX: x.radius,
    radiusY: y.radius,
    kernelX: x.kernel,
    kernelY: y.kernel,
    ...(model.doseByLevel ? { doseOfLevel: Float32Array.from(tabulateLevelDoses(model, LEVEL_STEPS)) } : {}),
    strengthOf: law.strengthOf.map((value) => value * unit),
    indexPerDose: law.indexPerDose,
  };
}
