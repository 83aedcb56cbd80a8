import type { DotGrid } from '../plane/index.ts';
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
import type { ResponseModel } from './types.ts';

/** Dots as this folder needs them: values 0 … levels−1, row-major. */
export interface DotField {
  readonly width: number;
  readonly height: number;
  readonly levels: number;
  readonly data: Uint8Array;
}

export interface SimulationOptions {
  /** Grid of the dots; the model's reference grid when absent. */
  readonly grid?: DotGrid;
  /** Side of the sub-grid of one dot cell. */
  readonly samplesX: number;
  readonly samplesY: number;
  /** What lies outside: nothing, or the same dots again (a periodic tile). */
  readonly edge: 'bare' | 'repeat';
  /** The part to look at, in dots; everything when absent. Dots around it count. */
  readonly rect?: { readonly x: number; readonly y: number; readonly width: number; readonly height: number };
  /** Raw strength by dose, where one table serves many fields of dots (`tabulateLaw`). */
  readonly law?: (dose: number) => number;
}

/**
 * Strength of the mark on a fine grid, samplesX × samplesY values a dot: the deposit of doses itself, from which the
 * dot table is an excerpt. Row-major, width·samplesX values a row; 0 bare, 1 the solid's mean.
 */
export function simulateStrength(
  model: ResponseModel,
  dots: DotField,
  options: SimulationOptions,
): { readonly width: number; readonly height: number; readonly data: Float32Array } {
  const { samplesX, samplesY, rect = { x: 0, y: 0, width: dots.width, height: dots.height } } = options;
  const solid = computeSolidStrength(model, samplesX, samplesY);
  const dose = depositDose(model, dots, options);
  const strengthOf = tabulateStrength(model, dose);
  const data = new Float32Array(dose.length);
  for (let i = 0; i < data.length; i++) data[i] = strengthOf(dose[i]) / solid;
  return { width: rect.width * samplesX, height: rect.height * samplesY, data };
}

/** Mean strength over the simulated part: what a patch of these dots shows, 0 bare … 1 solid. */
export function predictMeanStrength(model: ResponseModel, dots: DotField, options: SimulationOptions): number {
  const solid = computeSolidStrength(model, options.samplesX, options.samplesY);
  const dose = depositDose(model, dots, options);
  const strengthOf = options.law ?? tabulateStrength(model, dose);
  let sum = 0;
  for (let i = 0; i < dose.length; i++) sum += strengthOf(dose[i]);
  return sum / dose.length / solid;
}

/** Doses of the last field of dots, kept as room for the next: a fit asks for thousands, one after the other. */
let room = new Float64Array(0);

/**
 * Doses on the fine grid, valid until the next call. The Gaussian is separable: along each row of dots first, then
 * across the rows.
 */
function depositDose(model: ResponseModel, dots: DotField, options: SimulationOptions): Float64Array {
  const { grid = model.reference, samplesX, samplesY, edge } = options;
  const { rect = { x: 0, y: 0, width: dots.width, height: dots.height } } = options;
  const dose = computeDotDose(model, grid);
  const { reach } = dose;
  const axisX: DoseAxis = { diameterMm: dose.diameterXMm, stepMm: grid.pitchMm, samples: samplesX, reach };
  const axisY: DoseAxis = { diameterMm: dose.diameterYMm, stepMm: grid.lineSpacingMm, samples: samplesY, reach };
  const kernelX = listKernels(axisX);
  const kernelY = listKernels(axisY);
  const fineWidth = rect.width * samplesX;
  const length = fineWidth * rect.height * samplesY;
  if (room.length < length) room = new Float64Array(length);
  const out = room.subarray(0, length).fill(0);
  const row = new Float64Array(fineWidth);
  const doses = tabulateLevelDoses(model, dots.levels).map((share) => share * dose.peak);
  const wrap = (at: number, length: number) => ((at % length) + length) % length;

  for (let dy = -kernelY.radius; dy < rect.height + kernelY.radius; dy++) {
    let y = rect.y + dy;
    if (edge === 'repeat') y = wrap(y, dots.height);
    else if (y < 0 || y >= dots.height) continue;
    row.fill(0);
    let any = false;
    for (let dx = -kernelX.radius; dx < rect.width + kernelX.radius; dx++) {
      let x = rect.x + dx;
      if (edge === 'repeat') x = wrap(x, dots.width);
      else if (x < 0 || x >= dots.width) continue;
      const value = doses[dots.data[y * dots.width + x]];
      if (value === 0) continue;
      any = true;
      const first = Math.max(0, dx - kernelX.radius);
      const last = Math.min(rect.width - 1, dx + kernelX.radius);
      for (let cell = first; cell <= last; cell++) {
        addScaled(row, kernelX.at(dx - cell), { by: value, to: cell * samplesX });
      }
    }
    if (!any) continue;
    const first = Math.max(0, dy - kernelY.radius);
    const last = Math.min(rect.height - 1, dy + kernelY.radius);
    for (let cell = first; cell <= last; cell++) {
      const kernel = kernelY.at(dy - cell);
      for (let j = 0; j < samplesY; j++) {
        addScaled(out, row, { by: kernel[j], to: (cell * samplesY + j) * fineWidth });
      }
    }
  }
  return out;
}

/** A loop of its own, because an engine makes a function fast at its calls. */
function addScaled(target: Float64Array, values: Float64Array, { by, to }: { by: number; to: number }): void {
  for (let i = 0; i < values.length; i++) target[to + i] += by * values[i];
}

function listKernels(axis: DoseAxis) {
  const radius = computeReachCells(axis);
  const kernels = Array.from({ length: 2 * radius + 1 }, (_, k) => sampleDose(axis, k - radius));
  return { radius, at: (offset: number) => kernels[offset + radius] };
}

/** Points of a table from dose to strength, a count. Assumed: straight between them to below a float's use. */
const LAW_POINTS = 4096;

/** The law of strength by dose for some doses: few take the formula itself. */
function tabulateStrength(model: ResponseModel, dose: Float64Array): (dose: number) => number {
  if (dose.length < 2 * LAW_POINTS) return (value) => computeRawStrength(model, value);
  let largest = 0;
  for (let i = 0; i < dose.length; i++) if (dose[i] > largest) largest = dose[i];
  // Where no dose at all arrives there is no table to make.
  return largest > 0 ? tabulateLaw(model, largest) : () => 0;
}

/**
 * Raw strength as a function of dose, linear between 4096 points up to a largest dose: a tenth of the time of the
 * formula, and as smooth in the model's numbers as the formula is. Larger doses, and the limit of a hard disc whose
 * half dose lies below the first point, take the formula itself.
 * @param largest dose in units of the solid's mean, > 0; that of an endless solid's strongest place when absent.
 */
export function tabulateLaw(model: ResponseModel, largest = findSolidPeak(model)): (dose: number) => number {
  const formula = (value: number) => computeRawStrength(model, value);
  if (model.halfDose * LAW_POINTS < largest * model.steepness * 8) return formula;
  const table = new Float64Array(LAW_POINTS + 2);
  for (let i = 0; i < table.length; i++) table[i] = computeRawStrength(model, (i * largest) / LAW_POINTS);
  const scale = LAW_POINTS / largest;
  return (value) => {
    const position = value * scale;
    if (position > LAW_POINTS) return formula(value);
    const i = position | 0;
    return table[i] + (position - i) * (table[i + 1] - table[i]);
  };
}

/** Dose at the centre of a dot of an endless solid on the reference grid, where it is greatest. */
function findSolidPeak(model: ResponseModel): number {
  const { peak, diameterXMm, diameterYMm, reach } = computeDotDose(model, model.reference);
  const at = (diameterMm: number, stepMm: number) => sumLattice({ diameterMm, stepMm, samples: 1, reach })[0];
  return peak * at(diameterXMm, model.reference.pitchMm) * at(diameterYMm, model.reference.lineSpacingMm);
}
