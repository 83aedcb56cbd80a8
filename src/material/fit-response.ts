import { lightnessOfReflectance, reflectanceOfLightness } from '../colour/index.ts';
import {
  fitLeastSquares,
  keepLatest,
  type LeastSquaresFit,
  type LeastSquaresSearch,
  NORMAL_95_ROUNDED,
  searchLeastSquares,
} from '../numeric/index.ts';
import type { DotGrid } from '../plane/index.ts';
import { chooseNeighbourhood, type MarkStrengths, tabulateStrengths } from './dot-table.ts';
import { computeMarkDiametersUm, fromFitCoordinates, mixYuleNielsen } from './response.ts';
import { type DotField, predictMeanStrength, tabulateLaw } from './simulate.ts';
import type { ResponseModel } from './types.ts';

/** The dots of a patch as the fit needs them. */
export interface FitPattern {
  /** One period of an exact pattern, or the whole patch of a screened one. */
  readonly dots: DotField;
  /** `repeat`: the dots are one period. `bare`: they are the whole patch. */
  readonly edge: 'repeat' | 'bare';
  /**
   * Width of the pattern's smallest marks and gaps, dots: 1 for screened steps, the side of a cluster, half a line
   * period.
   */
  readonly featureDots: number;
}

/** One tone of the chart: replicates already brought together. */
export interface FitTone {
  readonly group: string;
  /** CIE L* of the mean luminance. */
  readonly lightness: number;
  /** Standard error of that, ΔL*. */
  readonly error: number;
  readonly pattern: FitPattern;
}

/** A fitted number with its standard error and whether the chart tells it at all. */
export interface FittedNumber {
  readonly value: number;
  /** 95 % interval. */
  readonly low: number;
  readonly high: number;
  readonly determined: boolean;
}

export interface FittedResponse {
  readonly response: ResponseModel;
  /** L* of bare and solid as the joint fit has them. */
  readonly bareLightness: number;
  readonly fullLightness: number;
  /** Mark diameters of an isolated dot, µm. */
  readonly markX: FittedNumber;
  readonly markY: FittedNumber;
  readonly steepness: FittedNumber;
  readonly drive: FittedNumber;
  readonly fading: FittedNumber;
  readonly yuleNielsenN: FittedNumber;
  /** Measured minus predicted L*, by group. */
  readonly residuals: ReadonlyMap<string, number>;
  readonly predicted: ReadonlyMap<string, number>;
  /** Root mean square of the residuals, ΔL*. */
  readonly rms: number;
  readonly converged: boolean;
}

export interface FitResponseOptions {
  readonly grid: DotGrid;
  readonly bareLightness: number;
  readonly fullLightness: number;
  /** Standard errors of the two, ΔL*. */
  readonly bareError: number;
  readonly fullError: number;
}

/**
 * Indices of the fitted vector: the six of `toFitCoordinates`, then bare, full, ln of the light's reach in mm. By
 * definition: the order of the vector.
 */
const BARE = 6;
const FULL = 7;
const REACH = 8;

/**
 * What is taken for granted before the chart is read: [expected, standard deviation], without unit or logarithms.
 * Assumed, and wide: a chart of clusters overrules each; without clusters they keep the fit from running away, and the
 * intervals say so.
 */
const PRIORS = {
  lnSteepness: [Math.log(5), 1.2],
  lnDrive: [Math.log(2), 0.6],
  fading: [0, 0.25],
  yuleNielsenN: [1.2, 0.5],
  lnReachMm: [Math.log(0.2), 0.7],
} as const;

/** Bounds of the fitted vector, in its units. Assumed: beyond them no mark is known, and the search would run away. */
const LOWER = [-1.6, -1.6, Math.log(0.7), Math.log(0.3), 0, 1];
const UPPER = [1.8, 1.8, Math.log(40), Math.log(30), 0.85, 3];

/** What the model leaves out makes tones differ by about this much, ΔL*. Assumed: heat, jitter and an uneven beam. */
const MODEL_ERROR = 0.4;
/**
 * Residuals beyond this many standard deviations count linearly. Assumed: between the usual 1.345 and 2, so that spoilt
 * patches weigh little.
 */
const HUBER = 1.8;
/**
 * Factor on the step of numerical derivatives of smooth functions. Assumed: thresholds on a sampled grid are slightly
 * uneven.
 */
const DERIVATIVE_SCALE = 300;
/**
 * Middle part of a screened patch of wide marks that is simulated, dots. Assumed: 1024 dots give a screen's mean; more
 * cost time in every step.
 */
const CROP_DOTS = 32;

/**
 * Joint least squares of the response model and of bare and full L* on patch averages, each predicted from the dots
 * that burned. Mixing takes a Yule-Nielsen n that falls towards 1 as marks grow wide beside the light's reach ρ: n(f) =
 * 1 + (n₁ − 1)·(1 + (g/ρ)²)/(1 + (f/ρ)²), f the width of the pattern's features, g that of one dot, so that clusters of
 * all sizes can take part; the profile keeps n₁. The reach is fitted, too, and not kept. Robust (Huber), from several
 * starts; the covariance, which carries wide assumed priors, gives the intervals.
 */
export function fitResponse(tones: readonly FitTone[], options: FitResponseOptions): FittedResponse {
  const { grid } = options;
  const cellUm = 1000 * Math.sqrt(grid.pitchMm * grid.lineSpacingMm);
  const lnCell = Math.log(cellUm);
  const predict = createPredictor(tones, grid);
  const residualsOf = (use: readonly number[]) => (parameters: readonly number[]) => {
    const predicted = predict(parameters, use);
    const out = use.map((at, i) => (tones[at].lightness - predicted[i]) / Math.hypot(tones[at].error, MODEL_ERROR));
    const [, , lnSteepness, lnDrive, fading, n] = parameters;
    const off = (value: number, [expected, deviation]: readonly [number, number]) => (value - expected) / deviation;
    out.push(
      (parameters[BARE] - options.bareLightness) / options.bareError,
      (parameters[FULL] - options.fullLightness) / options.fullError,
      off(lnSteepness, PRIORS.lnSteepness),
      off(lnDrive, PRIORS.lnDrive),
      off(fading, PRIORS.fading),
      off(n, PRIORS.yuleNielsenN),
      off(parameters[REACH], PRIORS.lnReachMm),
    );
    return out;
  };
  const [low, high] = [
    [...LOWER.map((bound, at) => (at < 2 ? bound + lnCell : bound)), 0, 0, Math.log(0.01)],
    [...UPPER.map((bound, at) => (at < 2 ? bound + lnCell : bound)), 100, 100, Math.log(3)],
  ];
  const from = (start: readonly number[]) =>
    ({
      start,
      lower: low,
      upper: high,
      huber: HUBER,
      scales: start.map(() => DERIVATIVE_SCALE),
      differences: 'one-sided',
      leastVariance: 1,
    }) as const;

  // Exact patterns cost little and tell the starts apart; a chart without them needs some of its steps for that.
  const everything = tones.map((_, at) => at);
  const exact = everything.filter((at) => tones[at].pattern.edge === 'repeat');
  const some = exact.length >= 8 ? exact : everything.filter((at) => exact.includes(at) || at % 3 === 0);
  let best: LeastSquaresSearch | undefined;
  for (const [steepness, growth] of [
    [2, 1.2],
    [8, 0.9],
    [12, 1.6],
  ] as const) {
    const lnMark = lnCell + Math.log(growth);
    const start = [lnMark, lnMark, Math.log(steepness), Math.log(2), 0.01, 1.2];
    const first = from([...start, options.bareLightness, options.fullLightness, Math.log(0.2)]);
    const found = searchLeastSquares(residualsOf(some), { ...first, maxIterations: 8, tolerance: 1e-3 });
    if (!best || found.cost < best.cost) best = found;
  }
  const last = { ...from(best!.parameters), maxIterations: 6, tolerance: 1e-4 };
  const fit = fitLeastSquares(residualsOf(everything), last);
  return describeFit(fit, { tones, grid, predicted: predict(fit.parameters, everything) });
}

/**
 * Standard error of n that the search does not see: one exponent stands for light that spreads over a distance.
 * Assumed, after 31 simulations on materials whose physics is unlike the model's, of which intervals without it held 81
 * %. Without unit.
 */
const SPREAD_FLOOR = 0.08;

interface FitFacts {
  readonly tones: readonly FitTone[];
  readonly grid: DotGrid;
  readonly predicted: readonly number[];
}

function describeFit(fit: LeastSquaresFit, { tones, grid, predicted }: FitFacts): FittedResponse {
  const { parameters, standardErrors, atBound } = fit;
  const response = fromFitCoordinates(parameters, grid);
  const { xUm, yUm } = computeMarkDiametersUm(response, grid);
  const logNumber = (at: number, value: number, limit: number): FittedNumber => {
    const factor = Math.exp(NORMAL_95_ROUNDED * standardErrors[at]);
    const determined = !atBound[at] && standardErrors[at] < limit;
    return { value, low: value / factor, high: value * factor, determined };
  };
  const plainNumber = (at: number, [min, max]: readonly [number, number], limit: number, floor = 0): FittedNumber => {
    const value = parameters[at];
    const error = Math.hypot(standardErrors[at], floor);
    const reach = NORMAL_95_ROUNDED * error;
    const determined = error < limit;
    return { value, low: Math.max(min, value - reach), high: Math.min(max, value + reach), determined };
  };
  const residuals = new Map(tones.map(({ group, lightness }, at) => [group, lightness - predicted[at]]));
  const squares = [...residuals.values()].reduce((sum, residual) => sum + residual * residual, 0);
  return {
    response,
    bareLightness: parameters[BARE],
    fullLightness: parameters[FULL],
    markX: logNumber(0, xUm, 0.1),
    markY: logNumber(1, yUm, 0.1),
    steepness: logNumber(2, response.steepness, 0.6),
    drive: logNumber(3, Math.exp(parameters[3]), 0.4),
    fading: plainNumber(4, [0, 0.9], 0.15),
    yuleNielsenN: plainNumber(5, [1, 3], 0.3, SPREAD_FLOOR),
    residuals,
    predicted: new Map(tones.map(({ group }, at) => [group, predicted[at]])),
    rms: Math.sqrt(squares / Math.max(1, tones.length)),
    converged: fit.converged,
  };
}

/** For how many models strengths are kept, a count. Assumed: a step of the fit goes back and forth between two. */
const STRENGTHS_KEPT = 4;

/** Strengths of tones for one model. */
interface Strengths {
  readonly model: ResponseModel;
  readonly marks: PatchMarks;
  readonly known: Map<number, number>;
}

/** L* of some tones for a fitted vector. Strengths depend on five of its numbers and are kept while these stay. */
function createPredictor(
  tones: readonly FitTone[],
  grid: DotGrid,
): (parameters: readonly number[], use: readonly number[]) => number[] {
  const patches = tones.filter(({ pattern }) => pattern.edge === 'bare').map(({ pattern }) => pattern.dots);
  const keepStrengths = keepLatest<Strengths>(STRENGTHS_KEPT);
  const strengthOf = (parameters: readonly number[], at: number): number => {
    const strengths = keepStrengths(parameters.slice(0, 5).join(), () => {
      const model = fromFitCoordinates(parameters, grid);
      const marks = patches.length > 0 ? tabulateMarks(model, patches) : { table: undefined };
      return { model, marks: { ...marks, law: tabulateLaw(model) }, known: new Map() };
    });
    let strength = strengths.known.get(at);
    if (strength === undefined) {
      strength = predictPatternStrength(strengths.model, tones[at].pattern, strengths.marks);
      strengths.known.set(at, strength);
    }
    return strength;
  };
  const dotMm = Math.sqrt(grid.pitchMm * grid.lineSpacingMm);
  return (parameters, use) => {
    const reachMm = Math.exp(parameters[REACH]);
    const bare = reflectanceOfLightness(parameters[BARE]);
    const full = reflectanceOfLightness(parameters[FULL]);
    return use.map((at) => {
      const { pattern } = tones[at];
      const falls = (1 + (dotMm / reachMm) ** 2) / (1 + ((pattern.featureDots * dotMm) / reachMm) ** 2);
      const n = 1 + (parameters[5] - 1) * falls;
      return lightnessOfReflectance(mixYuleNielsen(strengthOf(parameters, at), { bare, full, n }));
    });
  };
}

/**
 * Mean strength of a pattern. Of a screened patch it is the dot table's, which proofs are made by: what the fit saw
 * otherwise than they do would come back as an error of tone in every job. What the looked-at part's share of dots
 * differs from the whole patch's by is put right in proportion, of the marked part below one half and of the bare part
 * above.
 */
export function predictPatternStrength(
  model: ResponseModel,
  pattern: FitPattern,
  marks: PatchMarks = tabulateMarks(model),
): number {
  const { dots, edge } = pattern;
  if (edge === 'repeat') {
    return predictMeanStrength(model, dots, {
      samplesX: chooseSamples(dots.width),
      samplesY: chooseSamples(dots.height),
      edge,
      ...(marks.law ? { law: marks.law } : {}),
    });
  }
  const { strength, inside } = marks.table ? averageNeighbourhoods(dots, marks.table) : simulateMiddle(model, dots);
  const whole = recallShare(dots);
  if (whole <= 0) return 0;
  if (whole >= 1 || inside <= 0 || inside >= 1) return whole >= 1 ? strength : whole;
  return whole < 0.5 ? (strength * whole) / inside : 1 - ((1 - strength) * (1 - whole)) / (1 - inside);
}

/**
 * The dot table of a model where it serves screened patches; wide marks have one of two million entries and do without.
 */
export interface PatchMarks {
  readonly table: MarkStrengths | undefined;
  /** The law by table, where many exact patterns are simulated; else each takes its own. */
  readonly law?: (dose: number) => number;
}

/** @param only patches that the table has to serve; every patch when absent. */
export function tabulateMarks(model: ResponseModel, only?: readonly DotField[]): PatchMarks {
  const { columns, rows } = chooseNeighbourhood(model);
  if (columns * rows === 25) return { table: undefined };
  const wanted = only && { wanted: findNeighbourhoods(only, { columns, rows }) };
  return { table: tabulateStrengths(model, model.reference, wanted) };
}

/** Middle part of a patch of wide marks, whose doses are smooth over a dot. */
function simulateMiddle(model: ResponseModel, dots: DotField) {
  const rect = {
    x: Math.max(0, (dots.width - CROP_DOTS) >> 1),
    y: Math.max(0, (dots.height - CROP_DOTS) >> 1),
    width: Math.min(dots.width, CROP_DOTS),
    height: Math.min(dots.height, CROP_DOTS),
  };
  const strength = predictMeanStrength(model, dots, { samplesX: 4, samplesY: 4, edge: 'repeat', rect });
  return { strength, inside: shareFiring(dots, rect) };
}

/** Neighbourhoods of a patch's dots, counted once for each shape: a fit asks for them hundreds of times. */
const countedOf = new WeakMap<DotField, Map<string, Uint32Array>>();
const shareOf = new WeakMap<DotField, number>();
const foundOf = new WeakMap<readonly DotField[], Map<string, Uint8Array>>();

function averageNeighbourhoods(dots: DotField, { columns, rows, strength }: MarkStrengths) {
  const counts = recallNeighbourhoods(dots, { columns, rows });
  const middle = 1 << ((columns * rows) >> 1);
  let sum = 0;
  let firing = 0;
  let all = 0;
  for (let pattern = 0; pattern < counts.length; pattern++) {
    const count = counts[pattern];
    if (count === 0) continue;
    all += count;
    sum += count * strength[pattern];
    if (pattern & middle) firing += count;
  }
  return { strength: sum / Math.max(1, all), inside: firing / Math.max(1, all) };
}

interface Shape {
  readonly columns: number;
  readonly rows: number;
}

function recallNeighbourhoods(dots: DotField, shape: Shape): Uint32Array {
  const key = `${shape.columns} ${shape.rows}`;
  const known = countedOf.get(dots) ?? new Map<string, Uint32Array>();
  countedOf.set(dots, known);
  const counts = known.get(key) ?? countNeighbourhoods(dots, shape);
  known.set(key, counts);
  return counts;
}

/** Which neighbourhoods occur in any of some patches, found once for each list: 1 where one does. */
function findNeighbourhoods(patches: readonly DotField[], shape: Shape): Uint8Array {
  const key = `${shape.columns} ${shape.rows}`;
  const known = foundOf.get(patches) ?? new Map<string, Uint8Array>();
  foundOf.set(patches, known);
  let found = known.get(key);
  if (!found) {
    found = new Uint8Array(1 << (shape.columns * shape.rows));
    for (const dots of patches) {
      const counts = recallNeighbourhoods(dots, shape);
      for (let pattern = 0; pattern < counts.length; pattern++) if (counts[pattern] > 0) found[pattern] = 1;
    }
    known.set(key, found);
  }
  return found;
}

/** How often each neighbourhood occurs whose dots all lie in the patch; index as in `DotTable`. */
function countNeighbourhoods({ width, height, data }: DotField, { columns, rows }: Shape): Uint32Array {
  const counts = new Uint32Array(1 << (columns * rows));
  const [left, top] = [columns >> 1, rows >> 1];
  for (let y = top; y < height - top; y++) {
    for (let x = left; x < width - left; x++) {
      let pattern = 0;
      for (let dx = -left; dx <= left; dx++) {
        for (let dy = -top; dy <= top; dy++) pattern = (pattern << 1) | (data[(y + dy) * width + x + dx] > 0 ? 1 : 0);
      }
      counts[pattern]++;
    }
  }
  return counts;
}

/** Samples a dot: few along a long period, enough along a short one to follow the edge of a mark. */
function chooseSamples(periodDots: number): number {
  return Math.max(4, Math.min(12, Math.round(48 / periodDots)));
}

/** Share of a whole patch's dots that fire, found once for each patch: a fit asks for it hundreds of times. */
function recallShare(dots: DotField): number {
  const known = shareOf.get(dots) ?? shareFiring(dots, { x: 0, y: 0, width: dots.width, height: dots.height });
  shareOf.set(dots, known);
  return known;
}

function shareFiring(
  { data, width, levels }: DotField,
  rect: { readonly x: number; readonly y: number; readonly width: number; readonly height: number },
): number {
  let sum = 0;
  for (let y = rect.y; y < rect.y + rect.height; y++) {
    for (let x = rect.x; x < rect.x + rect.width; x++) sum += data[y * width + x];
  }
  return sum / (rect.width * rect.height * (levels - 1));
}
