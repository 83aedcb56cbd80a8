import { lightnessOfReflectance, reflectanceOfLightness } from '../colour/index.ts';
import {
  judgeLeastSquares,
  type LeastSquaresFit,
  type LeastSquaresOptions,
  NORMAL_95_ROUNDED,
  power,
  searchLeastSquares,
  tabulate,
} from '../numeric/index.ts';
import type { DotGrid } from '../plane/index.ts';
import type { FitPattern, FitResponseOptions, FitTone, FittedNumber, FittedResponse } from './fit-response.ts';
import { mixYuleNielsen, toFitCoordinates } from './response.ts';

/** Indices of the fitted vector. By definition: the order of `LOWER` and `UPPER`. */
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
const SHOULDER = 12;
const SMEAR = 13;
/** Numbers that only turn strengths into L*. By definition: indices of the vector. */
const MIXING: readonly number[] = [SPREAD, BARE, FULL, REACH];

/**
 * What is taken for granted before the chart is read, [expected, standard deviation], shares and logarithms of ratios.
 * Assumed, and wide enough for a chart to overrule. Heat is the share by which a dot gains dose when all dots before it
 * on its line, or in the lines above, have fired. Flatness 0 is a Gaussian dose, 1 a flat top: exp(−u)·(1 +
 * flatness·u), u = 8r²/d², a Gaussian with so much of the ring mode of a beam of many modes. The smear is the share of
 * the pitch over which a dot is drawn out along the scan. The shoulder says how strength comes to its end: S = 1 − (1 +
 * (2ᵗ − 1)·Dᵐ)^(−1/t), D in half doses, which is Hill's law for t = 1, 1 − 2^(−Dᵐ) for t = 0, and for t = −1 a power
 * that stops short at full strength.
 */
const PRIORS: readonly (readonly [at: number, expected: number, deviation: number])[] = [
  [STEEPNESS, Math.log(5), 1.2],
  [DRIVE, Math.log(2), 0.6],
  [FADING, 0, 0.06],
  [SPREAD, 1.2, 0.5],
  [REACH, Math.log(0.2), 0.7],
  [HEAT_X, 0.03, 0.05],
  [HEAT_Y, 0.03, 0.05],
  [FLATNESS, 0.4, 0.35],
  [SHOULDER, 0.4, 0.7],
  [SMEAR, 0.45, 0.3],
];
/**
 * The same of the logarithms of a mark's size in dots, and of its width along the scan to that across. Logarithms of
 * ratios. Assumed: marks are about as wide as a dot is long, within a factor of 1.6.
 */
const SIZE_PRIOR = [Math.log(1.2), 0.5] as const;
const ROUND_PRIOR = [0, 0.35] as const;
/** Bounds of the fitted vector, in its units. Assumed: beyond them no mark is known, and the search would run away. */
const LOWER = [-1.6, -1.6, Math.log(0.7), Math.log(0.3), 0, 1, 0, 0, Math.log(0.01), 0, 0, 0, -1, 0];
const UPPER = [1.8, 1.8, Math.log(40), Math.log(30), 0.85, 3, 100, 100, Math.log(3), 0.3, 0.3, 1, 1.5, 1];
/**
 * Where the search starts beside what the response model says, [steepness, drive], exponents and factors. Assumed: a
 * gradual mark and a sharp one.
 */
const STARTS: readonly (readonly [steepness: number, drive: number])[] = [
  [1.5, 1.5],
  [6, 2],
];
/**
 * Dots over which heat fades to 1/e, and dots that are counted. Assumed: heat of a line lasts a few dots; after six
 * fadings 0.2 % is left.
 */
const HEAT_DOTS = 5;
const HEAT_REACH = 30;
/** What the model still leaves out, ΔL*. Assumed: less than the response model's, as it knows more of the mark. */
const MODEL_ERROR = 0.25;
/**
 * Residuals beyond this many standard deviations count linearly. Assumed: between the usual 1.345 and 2, so that spoilt
 * patches weigh little.
 */
const HUBER = 1.8;
/** Factor on the step of numerical derivatives. Assumed: thresholds on a sampled grid are slightly uneven. */
const DERIVATIVE_SCALE = 30;
/** Fewest exact patterns, a count. Assumed: fewer leave the shape of the mark to what is taken for granted. */
const PATTERNS_MIN = 8;
/**
 * Standard error of ln(width), a share, that even this model does not see. Assumed: benchmarks/intervals.ts tells how
 * often intervals hold.
 */
const SHAPE_ERROR = 0.03;
/**
 * Iterations that tell the starts apart, and of the search from the best. Counts. Assumed: starts differ after six; the
 * search seldom needs twenty.
 */
const TRY_ITERATIONS = 6;
const MAX_ITERATIONS = 25;
/**
 * Step of the derivative of ln(width), and steps in which a contour is looked for. In units of the vector, and a count.
 * Assumed: small beside every bound, large beside rounding.
 */
const WIDTH_STEP = 1e-4;
const CONTOUR_STEPS = 60;
/** Pieces of the smear, and steps of the table of strengths. Counts. Assumed: finer ones change no width. */
const SMEAR_PIECES = 5;
const STRENGTH_STEPS = 1500;
/** Share of a dot's dose, in the line through its middle, that is left out. Assumed: far below what a reading tells. */
const NOTHING = 1e-7;
/**
 * A width counts as known when its standard error is below this share. Assumed: worse helps no choice of line spacing.
 */
const DETERMINED = 0.1;

export interface FittedMarks {
  readonly markX: FittedNumber;
  readonly markY: FittedNumber;
}

/**
 * Mark diameters of a lone dot, apart from the response model: the exact patterns are fitted once more with what the
 * model has no numbers for: the heat that dots of a row or a column give each other, a spot with a flat top, its smear
 * along the scan, and how strength comes to its end. A column of dots is wider than a lone dot where each warms the
 * next; a model without heat takes that for a wider dot. Averages say little about the others, and a mark without an
 * edge is as wide as they have it: their wide priors reach the intervals. These numbers are not kept. Undefined when
 * the chart has fewer than eight exact patterns.
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
  const learned = toFitCoordinates(from.response);
  const starts = [
    learned,
    ...STARTS.map(([m, drive]) => learned.with(STEEPNESS, Math.log(m)).with(DRIVE, Math.log(drive))),
  ].map((known) => {
    const start = [...known, from.bareLightness, from.fullLightness, Math.log(0.2), 0.03, 0.03, 0.4, 0.3, 0.45];
    return start.map((value, at) => Math.min(upper[at], Math.max(lower[at], value)));
  });
  const patterns = exact.map(({ pattern }) => prepare(pattern));
  const dotMm = Math.sqrt(grid.pitchMm * grid.lineSpacingMm);
  let known: { readonly key: string; readonly strengths: readonly number[] } | undefined;
  /** Strengths of the patterns, over the solid's; kept while the numbers that they depend on stay. */
  const strengthsOf = (parameters: readonly number[]) => {
    const key = parameters.filter((_, at) => !MIXING.includes(at)).join();
    if (known?.key !== key) {
      const dose = describeDose(parameters, grid);
      const solid = meanStrength(dose, SOLID);
      known = { key, strengths: patterns.map((pattern) => meanStrength(dose, pattern) / solid) };
    }
    return known.strengths;
  };
  const residualsOf = (parameters: readonly number[]) => {
    const strengths = strengthsOf(parameters);
    const reachMm = Math.exp(parameters[REACH]);
    const bare = reflectanceOfLightness(parameters[BARE]);
    const full = reflectanceOfLightness(parameters[FULL]);
    const out = exact.map(({ lightness, error, pattern }, at) => {
      const falls = (1 + (dotMm / reachMm) ** 2) / (1 + ((pattern.featureDots * dotMm) / reachMm) ** 2);
      const n = 1 + (parameters[SPREAD] - 1) * falls;
      const predicted = lightnessOfReflectance(mixYuleNielsen(strengths[at], { bare, full, n }));
      return (lightness - predicted) / Math.hypot(error, MODEL_ERROR);
    });
    out.push(
      (parameters[BARE] - options.bareLightness) / options.bareError,
      (parameters[FULL] - options.fullLightness) / options.fullError,
    );
    for (const [at, expected, deviation] of PRIORS) out.push((parameters[at] - expected) / deviation);
    const [lnMarkX, lnMarkY] = parameters;
    out.push(
      ((lnMarkX + lnMarkY) / 2 - lnCell - SIZE_PRIOR[0]) / SIZE_PRIOR[1],
      (lnMarkX - lnMarkY - ROUND_PRIOR[0]) / ROUND_PRIOR[1],
    );
    return out;
  };
  const startingAt = (start: readonly number[], maxIterations: number): LeastSquaresOptions => ({
    start,
    lower,
    upper,
    huber: HUBER,
    scales: start.map(() => DERIVATIVE_SCALE),
    differences: 'one-sided',
    maxIterations,
    tolerance: 1e-4,
    leastVariance: 1,
  });
  const tried = starts.map((start) => searchLeastSquares(residualsOf, startingAt(start, TRY_ITERATIONS)));
  const best = tried.reduce((a, b) => (b.cost < a.cost ? b : a));
  const last = startingAt(best.parameters, MAX_ITERATIONS);
  const end = best.converged ? best : searchLeastSquares(residualsOf, last);
  return describeWidths(judgeLeastSquares(end, residualsOf, last), { grid, lower, upper });
}

interface WidthFacts {
  readonly grid: DotGrid;
  readonly lower: readonly number[];
  readonly upper: readonly number[];
}

/** Both widths with their intervals, from the covariance of everything that they follow from. */
function describeWidths(fit: LeastSquaresFit, { grid, lower, upper }: WidthFacts): FittedMarks {
  const { parameters, covariance, atBound } = fit;
  const widths = measureWidths(parameters, grid);
  const slopes = parameters.map((value, at) => {
    const above = parameters.with(at, Math.min(upper[at], value + WIDTH_STEP));
    const below = parameters.with(at, Math.max(lower[at], value - WIDTH_STEP));
    const [more, less] = [measureWidths(above, grid), measureWidths(below, grid)];
    return more.map((width, k) => Math.log(width / less[k]) / (above[at] - below[at]));
  });
  const numberOf = (k: number): FittedNumber => {
    let variance = SHAPE_ERROR ** 2;
    for (let i = 0; i < slopes.length; i++) {
      for (let j = 0; j < slopes.length; j++) {
        if (slopes[i][k] !== 0 && slopes[j][k] !== 0) variance += slopes[i][k] * slopes[j][k] * covariance[i][j];
      }
    }
    const error = Math.sqrt(variance);
    const factor = Math.exp(NORMAL_95_ROUNDED * error);
    const value = widths[k];
    return { value, low: value / factor, high: value * factor, determined: !atBound[k] && error < DETERMINED };
  };
  return { markX: numberOf(MARK_X), markY: numberOf(MARK_Y) };
}

/**
 * Widths of a lone dot, µm: the contour at half of its own greatest change of luminance. Where light spreads in the
 * material, luminance is not straight in strength, and a mark without an edge is wider or narrower to the eye than its
 * strength is.
 */
function measureWidths(parameters: readonly number[], grid: DotGrid): readonly [xUm: number, yUm: number] {
  const dose = describeDose(parameters, grid);
  const solid = meanStrength(dose, SOLID);
  const n = parameters[SPREAD];
  const bare = reflectanceOfLightness(parameters[BARE]);
  const full = reflectanceOfLightness(parameters[FULL]);
  const along = placePieces(dose.smearCells);
  const doseAt = (x: number, y: number) => {
    const uy = 8 * (y / dose.diameterYCells) ** 2;
    let sum = 0;
    for (const piece of along) {
      const u = uy + 8 * ((x - piece) / dose.diameterXCells) ** 2;
      sum += Math.exp(-u) * (1 + dose.flatness * u);
    }
    return (dose.drive * sum) / along.length;
  };
  const changeAt = (x: number, y: number) =>
    Math.abs(mixYuleNielsen(dose.strengthOf(doseAt(x, y)) / solid, { bare, full, n }) - bare);
  const widthOf = (change: (cells: number) => number, farCells: number) => {
    const places = Array.from({ length: CONTOUR_STEPS }, (_, i) => (i / CONTOUR_STEPS) * farCells);
    const half = places.reduce((most, place) => Math.max(most, change(place)), 0) / 2;
    let inside = places.findLast((place) => change(place) >= half) ?? 0;
    let outside = inside + farCells / CONTOUR_STEPS;
    for (let step = 0; step < 30; step++) {
      const middle = (inside + outside) / 2;
      if (change(middle) >= half) inside = middle;
      else outside = middle;
    }
    return 2 * inside;
  };
  return [
    1000 * grid.pitchMm * widthOf((x) => changeAt(x, 0), 1.5 * dose.diameterXCells + 1),
    1000 * grid.lineSpacingMm * widthOf((y) => changeAt(0, y), 1.5 * dose.diameterYCells),
  ];
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
  const fires = tabulate(new Float64Array(width * height), (i) => data[i] / (levels - 1));
  const keep = Math.exp(-1 / HEAT_DOTS);
  const wrap = (at: number, length: number) => ((at % length) + length) % length;
  const along = new Float64Array(width * height);
  const across = new Float64Array(width * height);
  for (let y = 0; y < height; y++) {
    for (let x = 0; x < width; x++) {
      const at = y * width + x;
      for (let k = 1; k <= HEAT_REACH; k++) {
        const share = (1 - keep) * power(keep, k - 1);
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
  readonly smearCells: number;
  readonly heatX: number;
  readonly heatY: number;
  readonly strengthOf: (ratio: number) => number;
  /** Kernels of periods that were asked for already, by axis, cells and samples. */
  readonly folded: Map<string, [gauss: Float64Array, ring: Float64Array]>;
}

function describeDose(parameters: readonly number[], grid: DotGrid): DoseShape {
  const drive = Math.exp(parameters[DRIVE]);
  const law = createLaw(Math.exp(parameters[STEEPNESS]), parameters[SHOULDER]);
  const flatness = parameters[FLATNESS];
  const fading = parameters[FADING];
  const markX = Math.exp(parameters[MARK_X]) / 1000 / grid.pitchMm;
  const markY = Math.exp(parameters[MARK_Y]) / 1000 / grid.lineSpacingMm;
  // Half of a lone dot's greatest strength, without fading and smear: u at the contour gives the dose diameter, u =
  // 2·(mark/d)².
  const half = law(drive) / 2;
  let [inside, outside] = [0, 60];
  for (let step = 0; step < 50; step++) {
    const u = (inside + outside) / 2;
    if (law(drive * Math.exp(-u) * (1 + flatness * u)) > half) inside = u;
    else outside = u;
  }
  const ratio = Math.sqrt(inside / 2);
  const diameterXCells = markX / ratio;
  const diameterYCells = markY / ratio;
  const [heatX, heatY] = [parameters[HEAT_X], parameters[HEAT_Y]];
  const solid = (drive * Math.PI * diameterXCells * diameterYCells * (1 + flatness)) / 8;
  const lnKeep = Math.log(1 - fading) / (solid * solid);
  const faded = (dose: number) => law(dose) * Math.exp(lnKeep * dose * dose);
  return {
    diameterXCells,
    diameterYCells,
    drive,
    flatness,
    smearCells: parameters[SMEAR],
    heatX,
    heatY,
    strengthOf: tabulateLaw(fading > 0 ? faded : law, Math.max(2 * drive, 1.6 * solid * (1 + heatX + heatY))),
    folded: new Map(),
  };
}

/** 1 − (1 + (2ᵗ − 1)·Dᵐ)^(−1/t): one half at D = 1 whatever m and t. */
function createLaw(steepness: number, shoulder: number): (dose: number) => number {
  if (Math.abs(shoulder) < 1e-3) return (dose) => (dose > 0 ? 1 - power(2, -power(dose, steepness)) : 0);
  const factor = power(2, shoulder) - 1;
  return (dose) => {
    if (!(dose > 0)) return 0;
    const base = 1 + factor * power(dose, steepness);
    return base > 0 ? 1 - power(base, -1 / shoulder) : 1;
  };
}

/**
 * The same by table, denser towards no dose, up to a dose beyond which few places lie: powers are what the fit's time
 * goes into.
 */
function tabulateLaw(law: (dose: number) => number, upTo: number): (dose: number) => number {
  const scale = STRENGTH_STEPS / Math.sqrt(upTo);
  const table = new Float64Array(STRENGTH_STEPS + 2);
  for (let i = 0; i < table.length; i++) table[i] = law((i / scale) * (i / scale));
  return (dose) => {
    const position = Math.sqrt(dose) * scale;
    if (position >= STRENGTH_STEPS) return law(dose);
    const i = position | 0;
    return table[i] + (position - i) * (table[i + 1] - table[i]);
  };
}

/** Mean raw strength of a periodic pattern. The dose is a sum of products of one factor a direction. */
function meanStrength(dose: DoseShape, pattern: Prepared): number {
  const { width, height, samplesX, samplesY, fires, along, across } = pattern;
  const { flatness, heatX, heatY, drive, strengthOf } = dose;
  const fold = (axis: 'x' | 'y', cells: number, samples: number) => {
    const key = `${axis} ${cells} ${samples}`;
    const [diameterCells, smearCells] =
      axis === 'x' ? [dose.diameterXCells, dose.smearCells] : [dose.diameterYCells, 0];
    const kernels = dose.folded.get(key) ?? foldKernel({ cells, samples }, diameterCells, smearCells);
    dose.folded.set(key, kernels);
    return kernels;
  };
  const [gx, vx] = fold('x', width, samplesX);
  const [gy, vy] = fold('y', height, samplesY);
  const fineX = width * samplesX;
  const fineY = height * samplesY;
  const plain = new Float64Array(height * fineX);
  const ringed = new Float64Array(height * fineX);
  for (let y = 0; y < height; y++) {
    for (let x = 0; x < width; x++) {
      const at = y * width + x;
      if (fires[at] === 0) continue;
      const energy = drive * fires[at] * (1 + heatX * along[at] + heatY * across[at]);
      const own = y * fineX;
      const shift = x * samplesX;
      for (let i = 0; i < fineX; i++) {
        const from = i < shift ? i - shift + fineX : i - shift;
        plain[own + i] += energy * gx[from];
        ringed[own + i] += energy * vx[from];
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
      if (weight < NOTHING) continue;
      const ring = flatness * gy[from];
      const at = y * fineX;
      for (let i = 0; i < fineX; i++) row[i] += weight * plain[at + i] + ring * ringed[at + i];
    }
    for (let i = 0; i < fineX; i++) sum += strengthOf(row[i]);
  }
  return sum / (fineX * fineY);
}

/** Middles of equal pieces of a smear, cells. */
function placePieces(smearCells: number): readonly number[] {
  return Array.from({ length: SMEAR_PIECES }, (_, i) => ((i + 0.5) / SMEAR_PIECES - 0.5) * smearCells);
}

/**
 * exp(−u) and u·exp(−u) of a dot in cell 0, smeared, folded into a period of cells, at the midpoints of the samples.
 */
function foldKernel(
  { cells, samples }: { readonly cells: number; readonly samples: number },
  diameterCells: number,
  smearCells: number,
): [Float64Array, Float64Array] {
  const fine = cells * samples;
  const gauss = new Float64Array(fine);
  const ring = new Float64Array(fine);
  const pieces = smearCells > 0 ? placePieces(smearCells) : [0];
  const reach = Math.ceil((1.6 * diameterCells + smearCells / 2) * samples);
  for (let i = -reach; i <= reach + samples; i++) {
    const at = ((i % fine) + fine) % fine;
    for (const piece of pieces) {
      const distance = (i + 0.5) / samples - 0.5 - piece;
      const u = (8 * distance * distance) / (diameterCells * diameterCells);
      const value = Math.exp(-u) / pieces.length;
      gauss[at] += value;
      ring[at] += u * value;
    }
  }
  return [gauss, ring];
}
