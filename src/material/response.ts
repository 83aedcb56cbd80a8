import { power } from '../numeric/index.ts';
import type { DotGrid } from '../plane/index.ts';
import type { Profile, ResponseModel } from './types.ts';

/** The Gaussian dose of one dot on a grid, in units of the solid's mean dose on the model's reference grid. */
export interface DotDose {
  /** Dose at the dot's centre. */
  readonly peak: number;
  /** 1/e² diameters, mm. */
  readonly diameterXMm: number;
  readonly diameterYMm: number;
  /** Distance beyond which a dot's dose changes nothing that counts, in diameters. */
  readonly reach: number;
}

/**
 * Dose of one dot on a grid that may differ from the model's reference, with power and speed kept.
 * The energy of a dot follows the time for which the beam is on, so it grows with the pitch; and so does the smear
 * along the scan: a box of one pitch has the variance pitch²/12, and a Gaussian of that variance the squared 1/e²
 * diameter 16·pitch²/12. Machines that fire one short pulse a dot have no smear; for them a profile of another pitch
 * comes out slightly too wide.
 */
export function computeDotDose(model: ResponseModel, grid: DotGrid): DotDose {
  const { reference } = model;
  const smear = (4 / 3) * (grid.pitchMm ** 2 - reference.pitchMm ** 2);
  const ownX = (model.doseDiameterXUm / 1000) ** 2;
  // A smear that would leave less than a quarter of the diameter contradicts the model; the quarter keeps it a dot.
  const diameterXMm = Math.sqrt(Math.max(ownX + smear, ownX / 16));
  const diameterYMm = model.doseDiameterYUm / 1000;
  const volume = grid.pitchMm * reference.lineSpacingMm;
  const peak = (8 * volume) / (Math.PI * diameterXMm * diameterYMm);
  // 1e-8 of the peak, or a hundredth of the half dose where a low threshold makes the mark wider than that.
  const reach = Math.sqrt(-Math.min(Math.log(1e-8), Math.log(model.halfDose / peak) - Math.log(100)) / 8);
  return { peak, diameterXMm, diameterYMm, reach };
}

/**
 * Strength before division by the solid's: Hill's law with fading, 0 … 1. dose ≥ 0 in units of the solid's mean.
 * Written as a logistic function of log dose, so that half doses of 1e-80, the limit of a hard disc, do not underflow.
 */
export function computeRawStrength(model: ResponseModel, dose: number): number {
  if (!(dose > 0)) return 0;
  const hill = 1 / (1 + Math.exp(-model.steepness * Math.log(dose / model.halfDose)));
  return model.fading > 0 ? hill * power(1 - model.fading, dose * dose) : hill;
}

/**
 * Mean raw strength of an endless solid fill on the reference grid, the unit in which strengths are given.
 * @param samples side of the sub-grid of one cell; use the one that the strengths are computed with.
 */
export function computeSolidStrength(model: ResponseModel, samplesX: number, samplesY: number): number {
  const dose = computeDotDose(model, model.reference);
  const x = sumLattice({
    diameterMm: dose.diameterXMm,
    stepMm: model.reference.pitchMm,
    samples: samplesX,
    reach: dose.reach,
  });
  const y = sumLattice({
    diameterMm: dose.diameterYMm,
    stepMm: model.reference.lineSpacingMm,
    samples: samplesY,
    reach: dose.reach,
  });
  let sum = 0;
  for (const dy of y) for (const dx of x) sum += computeRawStrength(model, dose.peak * dx * dy);
  return sum / (x.length * y.length);
}

/** One axis of a dot's dose on a grid of cells, each cut into `samples` equal parts. */
export interface DoseAxis {
  readonly diameterMm: number;
  readonly stepMm: number;
  readonly samples: number;
  readonly reach: number;
}

/** exp(−8r²/d²) of a dot `offset` cells away, at the midpoints of the parts of a cell. */
export function sampleDose({ diameterMm, stepMm, samples }: DoseAxis, offset: number): Float64Array {
  const dose = new Float64Array(samples);
  for (let i = 0; i < samples; i++) {
    const distance = ((i + 0.5) / samples - 0.5 - offset) * stepMm;
    dose[i] = Math.exp((-8 * distance * distance) / (diameterMm * diameterMm));
  }
  return dose;
}

/** How many cells away a dot still counts. */
export function computeReachCells({ diameterMm, stepMm, reach }: DoseAxis): number {
  return Math.ceil((reach * diameterMm) / stepMm + 0.5);
}

/**
 * Dose of an endless row of dots at the parts of one cell, in units of one dot's peak; `without` leaves out the dots up
 * to that many cells away on both sides, the cell's own included.
 */
export function sumLattice(axis: DoseAxis, without = -1): Float64Array {
  const radius = computeReachCells(axis);
  const sum = new Float64Array(axis.samples);
  for (let offset = -radius; offset <= radius; offset++) {
    if (Math.abs(offset) <= without) continue;
    const kernel = sampleDose(axis, offset);
    for (let i = 0; i < axis.samples; i++) sum[i] += kernel[i];
  }
  return sum;
}

/**
 * Mark diameters of an isolated dot, µm, along and across the scan: the width of the contour at half of the mark's own
 * greatest strength. For a threshold-like material that is the edge that a microscope shows; for a gradual one it is
 * the full width at half maximum, so that a dot too weak to reach half of the full strength has a diameter, too.
 */
export function computeMarkDiametersUm(
  model: ResponseModel,
  grid: DotGrid,
): { readonly xUm: number; readonly yUm: number } {
  const dose = computeDotDose(model, grid);
  // Coming in from outside the dose rises from 0 to the peak; strength may turn back only where fading has set in.
  const steps = 400;
  let strongest = 0;
  const doseAt = (i: number) => dose.peak * Math.exp(-9 * (1 - i / steps) ** 2 * 4);
  for (let i = 0; i <= steps; i++) strongest = Math.max(strongest, computeRawStrength(model, doseAt(i)));
  const half = strongest / 2;
  let inside = 0;
  while (computeRawStrength(model, doseAt(inside)) < half) inside++;
  let low = Math.log(doseAt(Math.max(0, inside - 1)));
  let high = Math.log(doseAt(inside));
  while (computeRawStrength(model, Math.exp(low)) >= half) low -= 10;
  for (let step = 0; step < 80; step++) {
    const middle = (low + high) / 2;
    if (computeRawStrength(model, Math.exp(middle)) < half) low = middle;
    else high = middle;
  }
  // exp(−8(m/2)²/d²) = dose at the contour / peak.
  const relative = Math.sqrt(Math.max(0, Math.log(dose.peak) - high) / 2);
  return { xUm: 1000 * dose.diameterXMm * relative, yUm: 1000 * dose.diameterYMm * relative };
}

/**
 * Mark diameters of an isolated dot as a profile tells them, µm: where they were measured, the middle of their
 * intervals, which are even in the logarithm; the response model's otherwise, whose own width also carries what it
 * lacks. On another grid than the profile's they change as the model's do.
 */
export function tellMarkDiametersUm(
  { response, fit, grid: own }: Pick<Profile, 'response' | 'fit' | 'grid'>,
  grid: DotGrid = own,
): { readonly xUm: number; readonly yUm: number } {
  const modelled = computeMarkDiametersUm(response, grid);
  if (!fit) return modelled;
  const there = computeMarkDiametersUm(response, own);
  const middle = ([low, high]: readonly [low: number, high: number]) => Math.sqrt(low * high);
  return {
    xUm: (middle(fit.markDiameterXUm) * modelled.xUm) / there.xUm,
    yUm: (middle(fit.markDiameterYUm) * modelled.yUm) / there.yUm,
  };
}

/**
 * The model as a vector to fit: [ln mark diameter x, ln mark diameter y, ln steepness, ln(peak dose / half dose),
 * fading, Yule-Nielsen n]. Every vector with a finite entry in each place and fading below 1 is a valid model.
 *
 * Mark diameters come first because patch averages pin them; the fourth number, how far a dot is driven past half
 * strength, carries what is badly known for a threshold-like material (the dose diameter at a given mark diameter) and
 * can be given a prior from the spot diameter. Mark diameters here are those without fading: setting S = ½·S(peak) in
 * Hill's law gives m² = d²·ln(2 + u)/(2·steepness), u = (peak/half dose)^steepness, which has a closed inverse.
 */
export type FitCoordinates = readonly [
  lnMarkX: number,
  lnMarkY: number,
  lnSteepness: number,
  lnDrive: number,
  fading: number,
  yuleNielsenN: number,
];

export function toFitCoordinates(model: ResponseModel): FitCoordinates {
  const { peak } = computeDotDose(model, model.reference);
  const lnDrive = Math.log(peak / model.halfDose);
  const ratio = Math.sqrt(computeLnTwoPlusExp(model.steepness * lnDrive) / (2 * model.steepness));
  return [
    Math.log(model.doseDiameterXUm * ratio),
    Math.log(model.doseDiameterYUm * ratio),
    Math.log(model.steepness),
    lnDrive,
    model.fading,
    model.yuleNielsenN,
  ];
}

export function fromFitCoordinates(coordinates: readonly number[], reference: DotGrid): ResponseModel {
  const [lnMarkX, lnMarkY, lnSteepness, lnDrive, fading, yuleNielsenN] = coordinates;
  const steepness = Math.exp(lnSteepness);
  const ratio = Math.sqrt(computeLnTwoPlusExp(steepness * lnDrive) / (2 * steepness));
  const doseDiameterXUm = Math.exp(lnMarkX) / ratio;
  const doseDiameterYUm = Math.exp(lnMarkY) / ratio;
  const cellUm2 = 1e6 * reference.pitchMm * reference.lineSpacingMm;
  const peak = (8 * cellUm2) / (Math.PI * doseDiameterXUm * doseDiameterYUm);
  const halfDose = peak * Math.exp(-lnDrive);
  return { doseDiameterXUm, doseDiameterYUm, halfDose, steepness, fading, yuleNielsenN, reference };
}

/** ln(2 + eˣ) without overflow. */
function computeLnTwoPlusExp(x: number): number {
  return x > 0 ? x + Math.log1p(2 * Math.exp(-x)) : Math.log(2 + Math.exp(x));
}

export interface AssumedMark {
  readonly markDiameterXUm: number;
  readonly markDiameterYUm: number;
  /** Hill exponent. */
  readonly steepness: number;
  /** Peak dose of an isolated dot over the half dose; about 2 for a spot that is driven well past its threshold. */
  readonly drive: number;
  readonly yuleNielsenN: number;
  readonly fading?: number;
}

/** A response from what is usually known or assumed about a mark, on its reference grid. */
export function assumeResponse(mark: AssumedMark, reference: DotGrid): ResponseModel {
  return fromFitCoordinates(
    [
      Math.log(mark.markDiameterXUm),
      Math.log(mark.markDiameterYUm),
      Math.log(mark.steepness),
      Math.log(mark.drive),
      mark.fading ?? 0,
      mark.yuleNielsenN,
    ],
    reference,
  );
}

/**
 * Reflectance of an area of mean strength a between bare and full, by Yule and Nielsen:
 * R^(1/n) = a·Rfull^(1/n) + (1 − a)·Rbare^(1/n) (source: 'yuleNielsen1951'; n = 1 is source: 'murray1936').
 */
export function mixYuleNielsen(strength: number, { bare, full, n }: { bare: number; full: number; n: number }): number {
  if (n === 1) return Math.max(0, strength * full + (1 - strength) * bare);
  return power(Math.max(0, strength * power(full, 1 / n) + (1 - strength) * power(bare, 1 / n)), n);
}
