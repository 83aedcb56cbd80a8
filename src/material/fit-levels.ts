import { lightnessOfReflectance, reflectanceOfLightness } from '../colour/index.ts';
import { fitLeastSquares, NORMAL_95_ROUNDED, tabulate } from '../numeric/index.ts';
import type { FitPattern } from './fit-response.ts';
import { mixYuleNielsen } from './response.ts';
import { predictMeanStrength } from './simulate.ts';
import type { ResponseModel } from './types.ts';

/** A patch on which every dot has the same level. */
export interface EvenLevel {
  /** Share of the full level, 0 … 1. */
  readonly coverage: number;
  /** CIE L*, and its standard error. */
  readonly lightness: number;
  readonly error: number;
}

/** The response with L* of bare and full as the fit of the chart has them. */
export interface FittedSurface {
  readonly response: ResponseModel;
  readonly bareLightness: number;
  readonly fullLightness: number;
}

/** Dose of a level, both as shares of the full one, with the 95 % interval of the dose were the response model true. */
export interface FittedDose {
  readonly level: number;
  readonly dose: number;
  readonly low: number;
  readonly high: number;
}

/** Steps of dose at which an even field is computed, and samples along a dot; counts. Assumed: finer than a reading. */
const DOSE_STEPS = 400;
const SAMPLES = 8;
/** What the response model leaves over of an even field, ΔL*. Assumed: as of any other patch. */
const MODEL_ERROR = 0.4;
/**
 * By how much the slope of dose over level changes from one level to the next, a standard deviation without unit.
 * Assumed: a tube that starts at a third of the scale changes it by 1.5 in one step; where a mark tells nothing of the
 * dose (bare below a threshold, full above it) the neighbours go on straight.
 */
const BEND = 0.6;
/** Dose that a level may have beside its neighbours less than, a share. Assumed: no tube gives less for more. */
const FALL_MAX = 0.02;

/**
 * Dose by level from even fields: each level's dose is the one under which the response model gives the lightness that
 * was read, as far as the lightness tells it, and bends no more from level to level than tubes and drivers do. Ends are
 * [0, 0] and [1, 1] by definition; it rises.
 */
export function fitLevelDoses(patches: readonly EvenLevel[], surface: FittedSurface): readonly FittedDose[] {
  const even = patches.filter(({ coverage }) => coverage > 0 && coverage < 1);
  if (even.length === 0) return [end(0), end(1)];
  const { lightnessAt, doseAt } = tabulateEven(surface);
  const levels = [0, ...even.map(({ coverage }) => coverage), 1];
  const start = fillStart(even, doseAt);
  const fit = fitLeastSquares(
    (doses) => {
      const all = [0, ...doses, 1];
      const read = even.map(
        ({ lightness, error }, at) => (lightness - lightnessAt(doses[at])) / Math.hypot(error, MODEL_ERROR),
      );
      const slopes = levels.slice(1).map((level, at) => (all[at + 1] - all[at]) / (level - levels[at]));
      const bends = slopes.slice(1).map((slope, at) => (slope - slopes[at]) / BEND);
      const falls = slopes.map((_, at) => Math.max(0, all[at] - all[at + 1]) / FALL_MAX);
      return [...read, ...bends, ...falls];
    },
    {
      start,
      lower: start.map(() => 0),
      upper: start.map(() => 1),
      huber: 2.5,
      scales: start.map(() => 1),
      leastVariance: 1,
      maxIterations: 60,
      tolerance: 1e-5,
    },
  );
  let last = 0;
  const doses = even.map(({ coverage }, at): FittedDose => {
    last = Math.max(last, fit.parameters[at]);
    const reach = NORMAL_95_ROUNDED * Math.min(1, fit.standardErrors[at]);
    return { level: coverage, dose: last, low: Math.max(0, last - reach), high: Math.min(1, last + reach) };
  });
  return [end(0), ...doses, end(1)];
}

const end = (at: number): FittedDose => ({ level: at, dose: at, low: at, high: at });

/** L* of a pattern of levels by the response model, with what the dots that burned leave of the tone. */
export function lightnessOfPattern(
  response: ResponseModel,
  { dots, edge }: FitPattern,
  { bareLightness, fullLightness }: FittedSurface,
): number {
  const even = dots.width === 1 && dots.height === 1;
  const samples = even ? SAMPLES : 4;
  const strength = predictMeanStrength(response, dots, { samplesX: samples, samplesY: samples, edge });
  return mixedLightness(strength, { response, bareLightness, fullLightness });
}

function mixedLightness(strength: number, { response, bareLightness, fullLightness }: FittedSurface): number {
  const mix = {
    bare: reflectanceOfLightness(bareLightness),
    full: reflectanceOfLightness(fullLightness),
    n: response.yuleNielsenN,
  };
  return lightnessOfReflectance(mixYuleNielsen(strength, mix));
}

/** L* of an even field by its dots' share of the full dose, and the least share that gives an L*. */
function tabulateEven(surface: FittedSurface) {
  const steps = tabulate(new Float64Array(DOSE_STEPS + 1), (at) => {
    const response: ResponseModel = {
      ...surface.response,
      doseByLevel: [
        [0, 0],
        [1, at / DOSE_STEPS],
      ],
    };
    const dots = { width: 1, height: 1, levels: 2, data: Uint8Array.of(1) };
    return lightnessOfPattern(response, { dots, edge: 'repeat', featureDots: 1 }, surface);
  });
  const sign = Math.sign(surface.fullLightness - surface.bareLightness);
  const lightnessAt = (dose: number) => {
    const place = Math.min(1, Math.max(0, dose)) * DOSE_STEPS;
    const low = Math.min(DOSE_STEPS - 1, Math.floor(place));
    return steps[low] + (place - low) * (steps[low + 1] - steps[low]);
  };
  const doseAt = (lightness: number) => {
    const found = steps.findIndex((value) => sign * (value - lightness) >= 0);
    return found < 0 ? undefined : found / DOSE_STEPS;
  };
  return { lightnessAt, doseAt };
}

/** Where the search starts: at the dose that each lightness has by itself, never falling. */
function fillStart(even: readonly EvenLevel[], doseAt: (lightness: number) => number | undefined): number[] {
  let last = 0;
  return even.map(({ lightness, coverage }) => {
    last = Math.min(1, Math.max(last, doseAt(lightness) ?? Math.max(last, coverage)));
    return last;
  });
}
