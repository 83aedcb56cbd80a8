import { CHART_DEFAULTS, type ChartOptions } from '../options.ts';
import { round4, spaceCoverages } from '../space-coverages.ts';
import type { ChartKindRecord } from './kind.ts';
import { BARE, patternOf, repeat, requireWhole, SOLID, stepOf, type WantedPatch } from './wanted.ts';

/**
 * Edge lengths of clusters, dots: the same coverage that differs in nothing but the growth of its edges. Assumed:
 * doublings from a dot to what a flatbed resolves.
 */
const CLUSTER_DOTS: readonly number[] = [1, 2, 4, 8];
/** Dots and periods, dots. Assumed: thin and wide lines and gaps, which growth changes in opposite ways. */
const LINES: readonly (readonly [dots: number, period: number])[] = [
  [1, 4],
  [1, 2],
  [3, 4],
  [2, 4],
  [4, 8],
  [8, 16],
];

export const TONE_CHART: ChartKindRecord = {
  title: 'Tone chart',
  purpose:
    'Teaches how this material answers: one scan or photo of it gives the profile through which photographs come out right.',
  question: 'How it takes tones',
  hint: 'The chart that a profile is learned from.',
  subject: 'tones',
  gives: 'profile',
  widthMm: CHART_DEFAULTS.widthMm,
  heightMm: CHART_DEFAULTS.heightMm,
  isStrip: false,
  isTable: false,
  aims: 'never',
  plan: planTone,
};

function planTone(options: ChartOptions): readonly WantedPatch[] {
  const { steps = CHART_DEFAULTS.steps.tone, replicates = CHART_DEFAULTS.replicates.tone } = options;
  const tones = spaceCoverages(requireWhole(steps, 'steps', 3, 100), options.expected).map((coverage) =>
    stepOf(coverage),
  );
  requireWhole(replicates, 'replicates', 1, 12);
  const clusters = CLUSTER_DOTS.flatMap((dots) => [
    patternOf('cluster', { kind: 'checker', dots }, 0.5, `checker-${dots}`),
    patternOf('cluster', { kind: 'squares', dots, period: 2 * dots }, 0.25, `squares-${dots}`),
  ]);
  const lines = LINES.flatMap(([dots, period]) => [
    patternOf('line-x', { kind: 'lines-x', dots, period }, dots / period, `line-x-${dots}-${period}`),
    patternOf('line-y', { kind: 'lines-y', dots, period }, dots / period, `line-y-${dots}-${period}`),
  ]);
  const small = replicates < 2;
  return [
    ...repeat(small ? 6 : 10, BARE),
    ...repeat(small ? 4 : 6, SOLID),
    ...tones.flatMap((tone) => repeat(replicates, tone)),
    ...clusters.flatMap((cluster) => repeat(Math.min(2, replicates), cluster)),
    ...lines,
    ...planLevels(options, steps).flatMap((tone) => repeat(Math.min(2, replicates), tone)),
    ...repeat(2, { ...BARE, spare: true }),
    ...repeat(2, { ...SOLID, spare: true }),
    ...repeat(2, tones)
      .flat()
      .map((tone) => ({ ...tone, spare: true })),
  ];
}

/** Most steps of levels that are each shown by itself, and mixed with the next; a count. Assumed: a card's room. */
const LEVEL_STEPS = 16;

/**
 * Patches of dots with levels of power. Of few levels each by itself, which tells its dose, and mixtures of neighbours
 * as photographs have them; of many the ones nearest to the wanted tones, since neighbours mix as if they were one.
 */
function planLevels({ levels, expectedLevels }: ChartOptions, steps: number): readonly WantedPatch[] {
  if (!levels) return [];
  const top = requireWhole(levels.count, 'levels', 3, 256) - 1;
  const even = (level: number) =>
    patternOf('level', { kind: 'level', level }, round4(level / top), `level-${level}-of-${top}`);
  const mixed = (coverage: number) =>
    patternOf('level', { kind: 'levels' }, round4(coverage), `levels-${round4(coverage)}`);
  if (top > LEVEL_STEPS) {
    const wanted = expectedLevels
      ? spaceCoverages(steps, expectedLevels)
      : Array.from({ length: steps }, (_, at) => (at + 1) / (steps + 1));
    const nearest = wanted.map((coverage) => Math.min(top - 1, Math.max(1, Math.round(coverage * top))));
    return [...new Set(nearest)].map(even);
  }
  const each = Array.from({ length: top - 1 }, (_, at) => even(at + 1));
  const parts = Math.max(2, Math.round(steps / top));
  const between = expectedLevels
    ? spaceCoverages(steps, expectedLevels).filter(
        (coverage) => Math.abs(coverage * top - Math.round(coverage * top)) > 0.1,
      )
    : Array.from({ length: parts * top }, (_, at) => at / (parts * top)).filter((_, at) => at % parts !== 0);
  return [...each, ...between.map(mixed)];
}
