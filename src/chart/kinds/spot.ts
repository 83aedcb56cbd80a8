import { CHART_DEFAULTS, type ChartOptions } from '../options.ts';
import type { ChartKindRecord } from './kind.ts';
import { BARE, patternOf, repeat, requireWhole, SOLID, type WantedPatch } from './wanted.ts';

/**
 * Spacings of the ladders and isolated dots of `spot`, dots. Assumed: from lines that touch to lines that stand alone,
 * on any common spot.
 */
const LADDER_PERIODS: readonly number[] = [2, 3, 4, 5, 6, 8, 10, 12, 16];
const ISOLATED_PERIODS: readonly number[] = [2, 3, 4, 6, 8, 12];

/**
 * Columns of the vernier, dots: their width and period. Measured (`benchmarks/two-way.ts`): wider ones leave it open
 * whether straight columns or those half a period apart are the centre, narrower ones change the tone less.
 */
const VERNIER = { dots: 3, period: 16 } as const;

export const SPOT_CHART: ChartKindRecord = {
  title: 'Spot chart',
  purpose:
    'Finds how wide one dot and one line really mark, along the scan and across it, from that the line spacing, and how far lines burned there and back lie apart.',
  question: 'How wide a mark is',
  hint: 'Ladders of fine lines.',
  subject: 'mark width',
  gives: 'measurement',
  widthMm: CHART_DEFAULTS.widthMm,
  heightMm: CHART_DEFAULTS.heightMm,
  isStrip: false,
  isTable: false,
  aims: 'never',
  plan: planSpot,
};

function planSpot(options: ChartOptions): readonly WantedPatch[] {
  const replicates = requireWhole(options.replicates ?? CHART_DEFAULTS.replicates.spot, 'replicates', 1, 12);
  const ladders = LADDER_PERIODS.flatMap((period) => [
    patternOf('ladder', { kind: 'lines-x', dots: 1, period }, 1 / period, `ladder-x-${period}`),
    patternOf('ladder', { kind: 'lines-y', dots: 1, period }, 1 / period, `ladder-y-${period}`),
  ]);
  const isolated = ISOLATED_PERIODS.map((period) =>
    patternOf('isolated', { kind: 'squares', dots: 1, period }, 1 / period ** 2, `isolated-${period}`),
  );
  // Lines there and back lie apart by what the vernier tells; one way there is nothing to tell.
  const verniers = Array.from({ length: options.settings.scan === 'two-way' ? VERNIER.period : 0 }, (_, shift) =>
    patternOf('vernier', { kind: 'vernier', ...VERNIER, shift }, VERNIER.dots / VERNIER.period, `vernier-${shift}`),
  );
  const small = replicates < 2;
  return [
    ...repeat(small ? 6 : 10, BARE),
    ...repeat(small ? 4 : 6, SOLID),
    ...[...ladders, ...isolated, ...verniers].flatMap((one) => repeat(replicates, one)),
    ...repeat(2, { ...BARE, spare: true }),
    ...repeat(2, { ...SOLID, spare: true }),
  ];
}
