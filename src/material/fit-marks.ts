import { fitLeastSquares } from '../numeric/index.ts';
import { type DotGrid, lightnessOfReflectance, reflectanceOfLightness } from '../plane/index.ts';
import type { FitPattern, FitResponseOptions, FitTone, FittedNumber, FittedResponse } from './fit-response.ts';
import { mixYuleNielsen, toFitCoordinates } from './response.ts';

/** Indices of the fitted vector. */
const MARK_X = 0;
const MARK_Y = 1;
const STEEPNESS = 2;
const DRIVE = 3;
const FADING = 4;
const SPREAD = 5;
const BARE = 6;
const FULL = 7;
const REACH = 8;
const HEAT_X = 9;
const HEAT_Y = 10;
const FLATNESS = 11;

/**
 * What is taken for granted before the chart is read, [expected, standard deviation]; assumed. Heat is the share by which a
 * dot gains dose when all dots before it on its line, or in the lines above, have fired. Flatness 0 is a Gaussian dose, 1 a
 * flat top: exp(−u)·(1 + flatness·u), u = 8r²/d², a Gaussian with so much of the ring mode of a beam of many modes.
 */
const PRIORS: readonly (readonly [at: number, expected: number, deviation: number])[] = [
  [STEEPNESS, Math.log(5), 1.2],
  [DRIVE, Math.log(2), 0.6],
  [FADING, 0, 0.2],
  [SPREAD, 1.2, 0.5],
  [REACH, Math.log(0.2), 0.7],
  [HEAT_X, 0.03, 0.05],
  [HEAT_Y, 0.03, 0.05],
  [FLATNESS, 0.1, 0.25],
];
const LOWER = [-1.6, -1.6, Math.log(0.7), Math.log(0.3), 0, 1, 0, 0, Math.log(0.01), 0, 0, 0];
const UPPER = [1.8, 1.8, Math.log(40), Math.log(30), 0.85, 3, 100, 100, Math.log(3), 0.3, 0.3, 1];
/** Dots over which heat fades to 1/e; assumed. */
const HEAT_DOTS = 5;
const HEAT_REACH = 30;
/** What the model still leaves out, ΔL*; assumed. */
const MODEL_ERROR = 0.25;
const HUBER = 1.8;
const DERIVATIVE_SCALE = 30;
const PATTERNS_MIN = 8;
const Z95 = 1.96;
/**
 * Standard errors of ln(width) that the search does not see: of any material, and of one with steepness 1, falling with the
 * steepness, because a gradual mark has no edge and its width follows from the assumed shape of the beam. Assumed, after about
 * twenty rehearsals on materials whose physics is unlike the model's; benchmarks/intervals.ts tells how often they hold.
 */
const SHAPE_ERROR = 0.02;
const GRADUAL_ERROR = 0.08;
/** A width counts as known when its standard error is below this share. */
const DETERMINED = 0.1;

export interface FittedMarks {
  readonly markX: FittedNumber;
  readonly markY: FittedNumber;
}

/**
 * Mark diameters of a lone dot, apart from the response model: the exact patterns are fitted once more with what the model
 * has no numbers for, namely the heat that dots of a row or a column give each other, and a spot with a flat top. A
 * column of dots is wider than a lone dot where each warms the next; a model without heat takes that for a wider dot.
 * These numbers are not kept: they make the widths right and their intervals as wide as they have to be.
 * Undefined when the chart has fewer than eight exact patterns.
 */
export function fitMarks(
  tones: readonly FitTone[],
  options: FitResponseOptions,
  from: FittedResponse,
): FittedMarks | undefined {
  const exact = tones.filter(({ pattern }) => pattern.edge === 'repeat');
  if (exact.length < PATTERNS_MIN) return undefined;
  const { grid } = options;
  const lnCell = Math.log(1000 * Math.sqrt(grid.pitchMm * grid.lineSpacingMm));
  const bound = (list: readonly number[]) => list.map((value, at) => (at <= MARK_Y ? value + lnCell : value));
  const [lower, upper] = [bound(LOWER), bound(UPPER)];
  const start = [
    ...toFitCoordinates(from.response),
    from.bareLightness,
    from.fullLightness,
    Math.log(0.2),
    0.03,
    0.03,
    0.1,
  ];
  const patterns = exact.map(({ pattern }) => prepare(pattern));
  const dotMm = Math.sqrt(grid.pitchMm * grid.lineSpacingMm);
  const residualsOf = (parameters: readonly number[]) => {
    const dose = describeDose(parameters, grid);
    const solid = meanStrength(dose, SOLID);
    const reachMm = Math.exp(parameters[REACH]);
    const bare = reflectanceOfLightness(parameters[BARE]);
    const full = reflectanceOfLightness(parameters[FULL]);
    const out = exact.map(({ lightness, error, pattern }, at) => {
      const falls = (1 + (dotMm / reachMm) ** 2) / (1 + ((pattern.featureDots * dotMm) / reachMm) ** 2);
      const n = 1 + (parameters[SPREAD] - 1) * falls;
      const strength = meanStrength(dose, patterns[at]) / solid;
      const predicted = lightnessOfReflectance(mixYuleNielsen(strength, { bare, full, n }));
      return (lightness - predicted) / Math.hypot(error, MODEL_ERROR);
    });
    out.push(
      (parameters[BARE] - options.bareLightness) / options.bareError,
      (parameters[FULL] - options.fullLightness) / options.fullError,
    );
    for (const [at, expected, deviation] of PRIORS) out.push((parameters[at] - expected) / deviation);
    return out;
  };
  const fit = fitLeastSquares(residualsOf, {
    start: start.map((value, at) => Math.min(upper[at], Math.max(lower[at], value))),
    lower,
    upper,
    huber: HUBER,
    scales: start.map(() => DERIVATIVE_SCALE),
    maxIterations: 15,
    tolerance: 1e-4,
  });
  const numberOf = (at: number): FittedNumber => {
    const value = Math.exp(fit.parameters[at]);
    const steepness = Math.exp(fit.parameters[STEEPNESS]);
    const error = Math.hypot(fit.standardErrors[at], SHAPE_ERROR, GRADUAL_ERROR / steepness);
    const factor = Math.exp(Z95 * error);
    return { value, low: value / factor, high: value * factor, determined: !fit.atBound[at] && error < DETERMINED };
  };
  return { markX: numberOf(MARK_X), markY: numberOf(MARK_Y) };
}

/** A pattern's dots with the heat that reaches each. */
interface Prepared {
  readonly width: number;
  readonly height: number;
  readonly samplesX: number;
  readonly samplesY: number;
  readonly fires: Float64Array;
  readonly along: Float64Array;
  readonly across: Float64Array;
}

const SOLID: Prepared = /* @__PURE__ */ prepare({
  dots: { width: 1, height: 1, levels: 2, data: Uint8Array.of(1) },
  edge: 'repeat',
  featureDots: 1,
});

function prepare({ dots: { width, height, levels, data } }: FitPattern): Prepared {
  const fires = Float64Array.from({ length: width * height }, (_, i) => data[i] / (levels - 1));
  const keep = Math.exp(-1 / HEAT_DOTS);
  const wrap = (at: number, length: number) => ((at % length) + length) % length;
  const along = new Float64Array(width * height);
  const across = new Float64Array(width * height);
  for (let y = 0; y < height; y++) {
    for (let x = 0; x < width; x++) {
      const at = y * width + x;
      for (let k = 1; k <= HEAT_REACH; k++) {
        const share = (1 - keep) * keep ** (k - 1);
        // Lines run either way; the mean of both is what an area shows.
        along[at] += (share * (fires[y * width + wrap(x - k, width)] + fires[y * width + wrap(x + k, width)])) / 2;
        across[at] += share * fires[wrap(y - k, height) * width + x];
      }
    }
  }
  const samples = (period: number) => Math.max(4, Math.min(12, Math.round(48 / period)));
  return { width, height, samplesX: samples(width), samplesY: samples(height), fires, along, across };
}

/** Dose of a dot over the half dose, and how strength follows from it. */
interface DoseShape {
  readonly diameterXCells: number;
  readonly diameterYCells: number;
  readonly drive: number;
  readonly flatness: number;
  readonly heatX: number;
  readonly heatY: number;
  readonly strengthOf: (ratio: number) => number;
}

function describeDose(parameters: readonly number[], grid: DotGrid): DoseShape {
  const drive = Math.exp(parameters[DRIVE]);
  const steepness = Math.exp(parameters[STEEPNESS]);
  const flatness = parameters[FLATNESS];
  const fading = parameters[FADING];
  const markX = Math.exp(parameters[MARK_X]) / 1000 / grid.pitchMm;
  const markY = Math.exp(parameters[MARK_Y]) / 1000 / grid.lineSpacingMm;
  const hill = (ratio: number) => (ratio > 0 ? 1 / (1 + ratio ** -steepness) : 0);
  // Half of a lone dot's greatest strength, without fading: u at the contour gives the dose diameter, u = 2·(mark/d)².
  const half = hill(drive) / 2;
  let [inside, outside] = [0, 60];
  for (let step = 0; step < 50; step++) {
    const u = (inside + outside) / 2;
    if (hill(drive * Math.exp(-u) * (1 + flatness * u)) > half) inside = u;
    else outside = u;
  }
  const ratio = Math.sqrt(inside / 2);
  const diameterXCells = markX / ratio;
  const diameterYCells = markY / ratio;
  const solid = (drive * Math.PI * diameterXCells * diameterYCells * (1 + flatness)) / 8;
  const lnKeep = Math.log(1 - fading) / (solid * solid);
  return {
    diameterXCells,
    diameterYCells,
    drive,
    flatness,
    heatX: parameters[HEAT_X],
    heatY: parameters[HEAT_Y],
    strengthOf: fading > 0 ? (dose) => hill(dose) * Math.exp(lnKeep * dose * dose) : hill,
  };
}

/** Mean raw strength of a periodic pattern. The dose is a sum of products of one factor a direction. */
function meanStrength(dose: DoseShape, pattern: Prepared): number {
  const { width, height, samplesX, samplesY, fires, along, across } = pattern;
  const { flatness, heatX, heatY, drive } = dose;
  const [gx, vx] = foldKernel(width, samplesX, dose.diameterXCells);
  const [gy, vy] = foldKernel(height, samplesY, dose.diameterYCells);
  const fineX = width * samplesX;
  const fineY = height * samplesY;
  const plain = new Float64Array(height * fineX);
  const ringed = new Float64Array(height * fineX);
  for (let y = 0; y < height; y++) {
    for (let x = 0; x < width; x++) {
      const at = y * width + x;
      if (fires[at] === 0) continue;
      const energy = drive * fires[at] * (1 + heatX * along[at] + heatY * across[at]);
      const shift = fineX - x * samplesX;
      for (let i = 0; i < fineX; i++) {
        const from = (i + shift) % fineX;
        plain[y * fineX + i] += energy * gx[from];
        ringed[y * fineX + i] += energy * vx[from];
      }
    }
  }
  const row = new Float64Array(fineX);
  let sum = 0;
  for (let j = 0; j < fineY; j++) {
    row.fill(0);
    for (let y = 0; y < height; y++) {
      const from = (j + fineY - y * samplesY) % fineY;
      const weight = gy[from] + flatness * vy[from];
      const ring = flatness * gy[from];
      const at = y * fineX;
      for (let i = 0; i < fineX; i++) row[i] += weight * plain[at + i] + ring * ringed[at + i];
    }
    for (let i = 0; i < fineX; i++) sum += dose.strengthOf(row[i]);
  }
  return sum / (fineX * fineY);
}

/** exp(−u) and u·exp(−u) of a dot in cell 0, folded into a period of cells, at the midpoints of the samples. */
function foldKernel(cells: number, samples: number, diameterCells: number): [Float64Array, Float64Array] {
  const fine = cells * samples;
  const gauss = new Float64Array(fine);
  const ring = new Float64Array(fine);
  const reach = Math.ceil(1.6 * diameterCells * samples);
  for (let i = -reach; i <= reach + samples; i++) {
    const distance = (i + 0.5) / samples - 0.5;
    const u = (8 * distance * distance) / (diameterCells * diameterCells);
    const at = ((i % fine) + fine) % fine;
    const value = Math.exp(-u);
    gauss[at] += value;
    ring[at] += u * value;
  }
  return [gauss, ring];
}
