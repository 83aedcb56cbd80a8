import { lightnessOfReflectance, reflectanceOfLightness } from '../colour/index.ts';
import type { DotGrid } from '../plane/index.ts';
import type { FitPattern, FitResponseOptions, FitTone } from './fit-response.ts';
import { AT, describeDose, MIXING, meanStrength, preparePattern, SOLID, warmPattern } from './mark-shape.ts';
import { mixYuleNielsen } from './response.ts';

/** What is taken for granted of one number of a vector, in its unit. */
export type MarkPrior = readonly [at: number, expected: number, deviation: number];

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
