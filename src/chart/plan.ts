import { AppError } from '../errors.ts';
import { power } from '../numeric/index.ts';
import { type AimedTone, CHART_DEFAULTS, type ChartOptions, type ExpectedTone, settleCell } from './options.ts';

import type { ChartKind, Patch, PatchPattern, PatchRole } from './types.ts';

/** A patch before it has a place. */
export interface WantedPatch
  extends Pick<Patch, 'role' | 'pattern' | 'coverage' | 'group' | 'aimLightness' | 'settings'> {
  /** May be left out when there is no room; earlier ones are placed first. */
  readonly spare?: boolean;
  /** Place in the table of a dose chart. */
  readonly row?: number;
  readonly column?: number;
}

/** Coverage, a share. Exact: no dot fires, and below, every dot. */
const BARE: WantedPatch = { role: 'bare', pattern: { kind: 'bare' }, coverage: 0, group: 'bare' };
/** Coverage, a share. Exact: every dot fires. */
const SOLID: WantedPatch = { role: 'solid', pattern: { kind: 'solid' }, coverage: 1, group: 'solid' };
const repeat = <T>(count: number, item: T): T[] => Array.from({ length: count }, () => item);

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
/**
 * Spacings of the ladders and isolated dots of `spot`, dots. Assumed: from lines that touch to lines that stand alone,
 * on any common spot.
 */
const LADDER_PERIODS: readonly number[] = [2, 3, 4, 5, 6, 8, 10, 12, 16];
const ISOLATED_PERIODS: readonly number[] = [2, 3, 4, 6, 8, 12];
/**
 * Tones of the strip: two where most curves are steep, the others evenly. Coverages. Assumed: a first strip's, before
 * its curve is known.
 */
const STRIP_TONES: readonly number[] = [0.1, 0.25, 0.45, 0.65, 0.85];

/**
 * What a chart holds, before it is known where.
 * @throws AppError option-invalid
 */
export function planPatches(kind: ChartKind, options: ChartOptions): readonly WantedPatch[] {
  switch (kind) {
    case 'tone':
      return planTone(options);
    case 'spot':
      return planSpot(options);
    case 'verify':
      return planVerify(options);
    case 'check':
      return planCheck(options);
    case 'dose':
      return planDose(options);
  }
}

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
    ...repeat(2, { ...BARE, spare: true }),
    ...repeat(2, { ...SOLID, spare: true }),
    ...repeat(2, tones)
      .flat()
      .map((tone) => ({ ...tone, spare: true })),
  ];
}

function planSpot(options: ChartOptions): readonly WantedPatch[] {
  const replicates = requireWhole(options.replicates ?? CHART_DEFAULTS.replicates.spot, 'replicates', 1, 12);
  const ladders = LADDER_PERIODS.flatMap((period) => [
    patternOf('ladder', { kind: 'lines-x', dots: 1, period }, 1 / period, `ladder-x-${period}`),
    patternOf('ladder', { kind: 'lines-y', dots: 1, period }, 1 / period, `ladder-y-${period}`),
  ]);
  const isolated = ISOLATED_PERIODS.map((period) =>
    patternOf('isolated', { kind: 'squares', dots: 1, period }, 1 / period ** 2, `isolated-${period}`),
  );
  const small = replicates < 2;
  return [
    ...repeat(small ? 6 : 10, BARE),
    ...repeat(small ? 4 : 6, SOLID),
    ...[...ladders, ...isolated].flatMap((one) => repeat(replicates, one)),
    ...repeat(2, { ...BARE, spare: true }),
    ...repeat(2, { ...SOLID, spare: true }),
  ];
}

function planVerify(options: ChartOptions): readonly WantedPatch[] {
  const { steps = CHART_DEFAULTS.steps.verify, replicates = CHART_DEFAULTS.replicates.verify } = options;
  requireWhole(steps, 'steps', 3, 100);
  requireWhole(replicates, 'replicates', 1, 12);
  // Half a step away from those of a tone chart, so that no tone of the fit is asked again.
  const fitted = spaceCoverages(steps + 1, options.expected);
  const own = fitted.slice(1).map((coverage, at) => ({ coverage: round4((coverage + fitted[at]!) / 2) }));
  const asked: readonly AimedTone[] = options.tones ?? own;
  const tones = asked.map((tone) => stepOf(tone.coverage, tone.aimLightness));
  return [
    ...repeat(10, BARE),
    ...repeat(6, SOLID),
    ...tones.flatMap((tone) => repeat(replicates, tone)),
    ...repeat(2, { ...BARE, spare: true }),
    ...repeat(2, { ...SOLID, spare: true }),
  ];
}

function planCheck(options: ChartOptions): readonly WantedPatch[] {
  const tones: readonly AimedTone[] = options.tones ?? STRIP_TONES.map((coverage) => ({ coverage }));
  return [
    BARE,
    SOLID,
    ...tones.map((tone) => ({ ...stepOf(tone.coverage, tone.aimLightness), role: 'control' as const })),
  ];
}

function planDose(options: ChartOptions): readonly WantedPatch[] {
  const { columns, rows } = options;
  if (!columns || !rows || columns.values.length < 1 || rows.values.length < 1 || columns.setting === rows.setting) {
    throw new AppError(
      'option-invalid',
      'chart dose: found one setting twice or without values, needed two different settings with the values of each',
    );
  }
  for (const value of [...columns.values, ...rows.values]) {
    if (!(value > 0)) throw new AppError('option-invalid', `chart dose: found ${value}, needed values above 0`);
  }
  const cells = rows.values.flatMap((_, row) =>
    columns.values.map((_value, column): WantedPatch => {
      const settings = settleCell(options, column, row);
      const group = `dose-${columns.values[column]}-${rows.values[row]}`;
      return { role: 'dose', pattern: { kind: 'solid' }, coverage: 1, group, settings, row, column };
    }),
  );
  return [...cells, ...repeat(8, BARE), ...repeat(2, SOLID), ...repeat(4, { ...BARE, spare: true })];
}

function stepOf(coverage: number, aimLightness?: number): WantedPatch {
  if (!(coverage >= 0 && coverage <= 1)) {
    throw new AppError('option-invalid', `chart: found coverage ${coverage}, needed 0 … 1`);
  }
  const step: WantedPatch = { role: 'step', pattern: { kind: 'screened' }, coverage, group: `step-${coverage}` };
  return aimLightness === undefined ? step : { ...step, aimLightness };
}

function patternOf(role: PatchRole, pattern: PatchPattern, coverage: number, group: string): WantedPatch {
  return { role, pattern, coverage, group };
}

function requireWhole(value: number, what: string, min: number, max: number): number {
  if (Number.isInteger(value) && value >= min && value <= max) return value;
  throw new AppError('option-invalid', `${what}: found ${value}, needed a whole number ${min} … ${max}`);
}

const round4 = (value: number) => Math.round(value * 1e4) / 1e4;

/**
 * Marked area for a coverage while dots overlap at random: 1 − (1 − c)^g, g the area of one mark in dot cells. Assumed:
 * a mark 1.5 dots wide.
 */
const ASSUMED_MARK_CELLS = 1.8;
/**
 * Reflectance of the stronger mark relative to the weaker, a ratio. Assumed: it only spaces the steps of a first chart.
 */
const ASSUMED_CONTRAST = 0.1;

/**
 * Shares by which steps follow lightness, and where the uncertainty of a first chart is known, that; the rest evenly.
 * Assumed: half even leaves no gap where the first curve was wrong.
 */
const FOLLOW = { lightness: 0.5, lightnessBeside: 0.3, uncertainty: 0.5 } as const;

/**
 * Coverages between bare and solid, denser where the tone curve is steep: equal steps along the mean of the share of
 * lightness and the share of coverage, so that no stretch goes without a patch. Where the curve's uncertainty is given,
 * most steps go where lightness is travelled that is badly known. Without a known curve, one with overlapping dots is
 * assumed.
 */
export function spaceCoverages(count: number, expected?: readonly ExpectedTone[]): readonly number[] {
  const lightnessAt =
    expected && expected.length > 1
      ? interpolate(expected.map(({ coverage, lightness }) => [coverage, lightness]))
      : assumedLightness;
  const fine = 1000;
  const way = new Float64Array(fine + 1);
  const rises = Array.from({ length: fine }, (_, i) => Math.abs(lightnessAt((i + 1) / fine) - lightnessAt(i / fine)));
  const sharesOf = (values: readonly number[]) => {
    const sum = values.reduce((total, value) => total + value, 0);
    return (i: number) => (sum > 0 ? values[i]! / sum : 1 / fine);
  };
  const rise = sharesOf(rises);
  const known = expected?.filter((point) => point.halfWidth !== undefined) ?? [];
  const halfAt =
    known.length > 1 ? interpolate(known.map(({ coverage, halfWidth }) => [coverage, halfWidth!])) : undefined;
  const doubt = halfAt && sharesOf(rises.map((one, i) => one * halfAt((i + 0.5) / fine)));
  for (let i = 1; i <= fine; i++) {
    const followed = doubt
      ? FOLLOW.lightnessBeside * rise(i - 1) + FOLLOW.uncertainty * doubt(i - 1)
      : FOLLOW.lightness * rise(i - 1);
    const even = doubt ? 1 - FOLLOW.lightnessBeside - FOLLOW.uncertainty : 1 - FOLLOW.lightness;
    way[i] = way[i - 1]! + followed + even / fine;
  }
  return Array.from({ length: count }, (_, step) => {
    const wanted = ((step + 1) / (count + 1)) * way[fine]!;
    let i = 1;
    while (way[i]! < wanted) i++;
    return round4((i - (way[i]! - wanted) / (way[i]! - way[i - 1]!)) / fine);
  });
}

function assumedLightness(coverage: number): number {
  const area = 1 - power(1 - coverage, ASSUMED_MARK_CELLS);
  return 116 * Math.cbrt(1 - area + ASSUMED_CONTRAST * area) - 16;
}

function interpolate(points: readonly (readonly [coverage: number, value: number])[]) {
  const sorted = points.slice().sort((a, b) => a[0] - b[0]);
  return (coverage: number): number => {
    const above = sorted.findIndex((point) => point[0] >= coverage);
    if (above <= 0) return sorted.at(above)![1];
    const [a, b] = [sorted[above - 1]!, sorted[above]!];
    return a[1] + ((coverage - a[0]) / (b[0] - a[0])) * (b[1] - a[1]);
  };
}
