import { reflectanceOfLightness } from '../colour/index.ts';
import {
  judgeLeastSquares,
  type LeastSquaresFit,
  type LeastSquaresOptions,
  NORMAL_95_ROUNDED,
  searchLeastSquares,
} from '../numeric/index.ts';
import type { DotGrid } from '../plane/index.ts';
import type { FitResponseOptions, FitTone, FittedNumber, FittedResponse } from './fit-response.ts';
import { createStrengths, DERIVATIVE_SCALE, HUBER, markPriors, markResiduals } from './mark-residuals.ts';
import { AT, describeDose, meanStrength, placePieces, SOLID } from './mark-shape.ts';
import { mixYuleNielsen, toFitCoordinates } from './response.ts';

/**
 * What is taken for granted before the chart is read. Assumed: heat is a few hundredths; what tells it is asked for
 * elsewhere (`fit-heat.ts`).
 */
const PRIORS = markPriors([0.03, 0.05]);
/**
 * [Expected, standard deviation] of the logarithms of a mark's size in dots, and of its width along the scan to that
 * across. Logarithms of ratios. Assumed: marks are about as wide as a dot is long, within a factor of 1.6.
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
/** Dots over which heat fades to 1/e. Assumed: heat of a line lasts a few dots. */
const HEAT_DOTS = 5;
/** What the model still leaves out, ΔL*. Assumed: less than the response model's, as it knows more of the mark. */
const MODEL_ERROR = 0.25;
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
/**
 * A width counts as known when its standard error is below this share. Assumed: worse helps no choice of line spacing.
 */
const DETERMINED = 0.1;

export interface FittedMarks {
  /** All numbers of the fit, by `AT`. */
  readonly parameters: readonly number[];
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
  const bound = (list: readonly number[]) => list.map((value, at) => (at <= AT.markY ? value + lnCell : value));
  const [lower, upper] = [bound(LOWER), bound(UPPER)];
  const learned = toFitCoordinates(from.response);
  const starts = [
    learned,
    ...STARTS.map(([m, drive]) => learned.with(AT.steepness, Math.log(m)).with(AT.drive, Math.log(drive))),
  ].map((known) => {
    const start = [...known, from.bareLightness, from.fullLightness, Math.log(0.2), 0.03, 0.03, 0.4, 0.3, 0.45];
    return start.map((value, at) => Math.min(upper[at], Math.max(lower[at], value)));
  });
  const strengthsOf = createStrengths(
    exact.map(({ pattern }) => pattern),
    { grid, heatDotsOf: () => HEAT_DOTS },
  );
  const residualsOf = (parameters: readonly number[]) => {
    const out = markResiduals(parameters, {
      ...{ tones: exact, strengths: strengthsOf(parameters), options },
      ...{ modelError: MODEL_ERROR, priors: PRIORS },
    });
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
  return { parameters, markX: numberOf(AT.markX), markY: numberOf(AT.markY) };
}

/**
 * Widths of a lone dot, µm: the contour at half of its own greatest change of luminance. Where light spreads in the
 * material, luminance is not straight in strength, and a mark without an edge is wider or narrower to the eye than its
 * strength is.
 */
function measureWidths(parameters: readonly number[], grid: DotGrid): readonly [xUm: number, yUm: number] {
  const dose = describeDose(parameters, grid);
  const solid = meanStrength(dose, SOLID);
  const n = parameters[AT.spread];
  const bare = reflectanceOfLightness(parameters[AT.bare]);
  const full = reflectanceOfLightness(parameters[AT.full]);
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
