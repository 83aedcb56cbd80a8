import { fitLeastSquares, NORMAL_95_ROUNDED } from '../numeric/index.ts';
import type { FitPattern, FitResponseOptions, FitTone } from './fit-response.ts';
import {
  createStrengths,
  DERIVATIVE_SCALE,
  HUBER,
  type MarkPrior,
  markPriors,
  markResiduals,
} from './mark-residuals.ts';
import { AT } from './mark-shape.ts';
import type { DotField } from './simulate.ts';
import type { HeatFit } from './types.ts';

/** Place of ln(dots over which heat fades) behind those of `AT`. By definition: the last one. */
const LENGTH = 14;
/**
 * What is taken for granted. Assumed: a chart has to tell itself whether there is any heat; it fades over some seven
 * dots, more or less by 1.6.
 */
const PRIORS: readonly MarkPrior[] = [...markPriors([0, 0.3]), [LENGTH, Math.log(7), 0.5]];
/**
 * Bounds of the fitted vector beside the widths', in its units. Assumed: heat may come out below none, or its interval
 * would end there; it fades over two dots to twenty.
 */
const LOWER = [Math.log(0.7), Math.log(0.3), 0, 1, 0, 0, Math.log(0.01), -0.3, -0.3, 0, -1, 0, Math.log(2)];
const UPPER = [Math.log(40), Math.log(30), 0.85, 3, 100, 100, Math.log(3), 1, 1, 1, 1.5, 1, Math.log(20)];
/** By which ln(width) may differ from that of the marks' own fit. Logarithm. Assumed: heat tells no other mark. */
const WIDTH_REACH = 0.7;
/** What the model still leaves out, ΔL*. Assumed: half of what the marks' fit takes, since steps count, too. */
const MODEL_ERROR = 0.12;
/**
 * Standard error of both gains together, a share, that the model of marks does not see. Measured (benchmarks/heat.ts):
 * so far off are engravers of other laws that leave no heat at all.
 */
const SHAPE_ERROR = 0.045;
/** Iterations of the search, a count. Assumed: it starts from the marks' fit and settles in eight. */
const MAX_ITERATIONS = 14;
/** Side of a screened patch's middle that is looked at, dots. Assumed: it shows the patch's tone to 0.1 L*. */
const CROP_DOTS = 32;
/** Most screened patches, and fewest. Counts. Assumed: nine show how tones bend; fewer than five cannot. */
const STEPS_MOST = 9;
const STEPS_MIN = 5;

/**
 * Heat that dots leave to later ones, from the patches of a tone chart. Lines, squares and screened steps of one share
 * of dots differ in how much of the heat their dots meet: a lone dot none, a step its coverage, a wide line nearly all.
 * What the marks' fit has for nuisance is asked for here, with the steps, and without expecting any.
 * Undefined with fewer than five screened steps.
 * @param from numbers of the marks' fit, which the search starts from
 */
export function fitHeat(
  tones: readonly FitTone[],
  options: FitResponseOptions,
  from: readonly number[],
): HeatFit | undefined {
  const exact = tones.filter(({ pattern }) => pattern.edge === 'repeat');
  const steps = thinOut(tones.filter(({ pattern }) => pattern.edge === 'bare'));
  if (steps.length < STEPS_MIN) return undefined;
  const used = [...exact, ...steps.map((tone) => ({ ...tone, pattern: cropMiddle(tone.pattern) }))];
  const { grid } = options;
  const strengthsOf = createStrengths(
    used.map(({ pattern }) => pattern),
    { grid, heatDotsOf: (parameters) => Math.exp(parameters[LENGTH]) },
  );
  const dotMm = Math.sqrt(grid.pitchMm * grid.lineSpacingMm);
  const residualsOf = (parameters: readonly number[]) =>
    markResiduals(parameters, {
      ...{ tones: used, strengths: strengthsOf(parameters), options },
      ...{ modelError: MODEL_ERROR, priors: PRIORS },
    });
  const { markX, markY } = AT;
  const lower = [from[markX] - WIDTH_REACH, from[markY] - WIDTH_REACH, ...LOWER];
  const upper = [from[markX] + WIDTH_REACH, from[markY] + WIDTH_REACH, ...UPPER];
  const { parameters, covariance } = fitLeastSquares(residualsOf, {
    start: [...from, Math.log(7)].map((value, at) => Math.min(upper[at], Math.max(lower[at], value))),
    lower,
    upper,
    huber: HUBER,
    scales: lower.map(() => DERIVATIVE_SCALE),
    differences: 'one-sided',
    maxIterations: MAX_ITERATIONS,
    tolerance: 1e-4,
    leastVariance: 1,
  });
  const { heatX, heatY } = AT;
  const [along, across] = [parameters[heatX], parameters[heatY]];
  const variance = covariance[heatX][heatX] + covariance[heatY][heatY] + 2 * covariance[heatX][heatY];
  const reach = NORMAL_95_ROUNDED * Math.hypot(Math.sqrt(variance), SHAPE_ERROR);
  const total = along + across;
  const round = (value: number) => Number(value.toFixed(4));
  return {
    along: round(Math.max(0, along)),
    across: round(Math.max(0, across)),
    lengthMm: round(Math.exp(parameters[LENGTH]) * dotMm),
    total: [round(total), round(total - reach), round(total + reach)],
  };
}

/** The most that are looked at, spread over all. */
function thinOut(tones: readonly FitTone[]): readonly FitTone[] {
  if (tones.length <= STEPS_MOST) return tones;
  return Array.from({ length: STEPS_MOST }, (_, at) => tones[Math.round((at * (tones.length - 1)) / (STEPS_MOST - 1))]);
}

/** The middle of a screened patch, as if it went on. */
function cropMiddle({ dots, featureDots }: FitPattern): FitPattern {
  const [width, height] = [Math.min(CROP_DOTS, dots.width), Math.min(CROP_DOTS, dots.height)];
  const [left, top] = [(dots.width - width) >> 1, (dots.height - height) >> 1];
  const data = new Uint8Array(width * height);
  for (let y = 0; y < height; y++) {
    const at = (top + y) * dots.width + left;
    data.set(dots.data.subarray(at, at + width), y * width);
  }
  const middle: DotField = { width, height, levels: dots.levels, data };
  return { dots: middle, edge: 'repeat', featureDots };
}
