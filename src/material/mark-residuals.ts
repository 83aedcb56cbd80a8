import { lightnessOfReflectance, reflectanceOfLightness } from '../colour/index.ts';
import type { DotGrid } from '../plane/index.ts';
import type { FitPattern, FitResponseOptions, FitTone } from './fit-response.ts';
import { AT, describeDose, MIXING, meanStrength, preparePattern, SOLID, warmPattern } from './mark-shape.ts';
import { mixYuleNielsen } from './response.ts';

/** What is taken for granted of one number of a vector, in its unit. */
export type MarkPrior = readonly [at: number, expected: number, deviation: number];

/**
 * Residuals beyond this many standard deviations count linearly. Assumed: between the usual 1.345 and 2, so that spoilt
 * patches weigh little.
 */
export const HUBER = 1.8;
/** Factor on the step of numerical derivatives. Assumed: thresholds on a sampled grid are slightly uneven. */
export const DERIVATIVE_SCALE = 30;

/**
 * What is taken for granted of a mark before a chart is read, shares and logarithms of ratios. Assumed, and wide enough
 * for a chart to overrule. Heat is the share by which a dot gains dose when all dots before it on its line, or in the
 * lines above, have fired. Flatness 0 is a Gaussian dose, 1 a flat top: exp(−u)·(1 + flatness·u), u = 8r²/d², a
 * Gaussian with so much of the ring mode of a beam of many modes. The smear is the share of the pitch over which a dot
 * is drawn out along the scan. The shoulder says how strength comes to its end: S = 1 − (1 + (2ᵗ − 1)·Dᵐ)^(−1/t), D in
 * half doses, which is Hill's law for t = 1, 1 − 2^(−Dᵐ) for t = 0, and for t = −1 a power that stops short at full
 * strength.
 * @param heat of either gain
 */
export function markPriors(heat: readonly [expected: number, deviation: number]): readonly MarkPrior[] {
  return [
    [AT.steepness, Math.log(5), 1.2],
    [AT.drive, Math.log(2), 0.6],
    [AT.fading, 0, 0.06],
    [AT.spread, 1.2, 0.5],
    [AT.reach, Math.log(0.2), 0.7],
    [AT.heatX, ...heat],
    [AT.heatY, ...heat],
    [AT.flatness, 0.4, 0.35],
    [AT.shoulder, 0.4, 0.7],
    [AT.smear, 0.45, 0.3],
  ];
}

/**
 * What a vector leaves over of tones, of bare and full, and of what is taken for granted, each in its standard
 * deviations. Light that spreads in the stock blurs small patterns more than large ones, so that n goes by their size.
 * @param parameters by the places of `AT`
 * @param strengths of the tones' patterns, over the solid's
 * @param modelError what the model leaves out of a tone, ΔL*
 */
export function markResiduals(
  parameters: readonly number[],
  {
    tones,
    strengths,
    options,
    modelError,
    priors,
  }: {
    readonly tones: readonly FitTone[];
    readonly strengths: readonly number[];
    readonly options: FitResponseOptions;
    readonly modelError: number;
    readonly priors: readonly MarkPrior[];
  },
): number[] {
  const { pitchMm, lineSpacingMm } = options.grid;
  const dotMm = Math.sqrt(pitchMm * lineSpacingMm);
  const reachMm = Math.exp(parameters[AT.reach]);
  const bare = reflectanceOfLightness(parameters[AT.bare]);
  const full = reflectanceOfLightness(parameters[AT.full]);
  const out = tones.map(({ lightness, error, pattern }, at) => {
    const falls = (1 + (dotMm / reachMm) ** 2) / (1 + ((pattern.featureDots * dotMm) / reachMm) ** 2);
    const n = 1 + (parameters[AT.spread] - 1) * falls;
    const predicted = lightnessOfReflectance(mixYuleNielsen(strengths[at], { bare, full, n }));
    return (lightness - predicted) / Math.hypot(error, modelError);
  });
  out.push(
    (parameters[AT.bare] - options.bareLightness) / options.bareError,
    (parameters[AT.full] - options.fullLightness) / options.fullError,
  );
  for (const [at, expected, deviation] of priors) out.push((parameters[at] - expected) / deviation);
  return out;
}

/**
 * Strengths of patterns over the solid's, by a vector; kept while the numbers that they depend on stay.
 * @param heatDotsOf dots over which heat fades, by the vector
 */
export function createStrengths(
  from: readonly FitPattern[],
  { grid, heatDotsOf }: { readonly grid: DotGrid; readonly heatDotsOf: (parameters: readonly number[]) => number },
): (parameters: readonly number[]) => readonly number[] {
  const patterns = from.map(preparePattern);
  let known: { readonly key: string; readonly strengths: readonly number[] } | undefined;
  let warm: number | undefined;
  return (parameters) => {
    const key = parameters.filter((_, at) => !MIXING.includes(at)).join();
    if (known?.key === key) return known.strengths;
    const heatDots = heatDotsOf(parameters);
    if (warm !== heatDots) for (const one of patterns) warmPattern(one, heatDots);
    warm = heatDots;
    const dose = describeDose(parameters, grid);
    const solid = meanStrength(dose, SOLID);
    known = { key, strengths: patterns.map((pattern) => meanStrength(dose, pattern) / solid) };
    return known.strengths;
  };
}
