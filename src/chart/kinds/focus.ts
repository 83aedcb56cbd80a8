import { AppError } from '../../errors.ts';
import { CHART_DEFAULTS, type ChartOptions } from '../options.ts';
import type { ChartKindRecord } from './kind.ts';
import { BARE, patternOf, repeat, requireWhole, SOLID, type WantedPatch } from './wanted.ts';

/**
 * Lines of so many dots in every so many, counts. Assumed: one dot and two, which the beam drives differently far, and
 * gaps that stay open where a spot is three times as wide as in focus.
 */
const LINES: readonly (readonly [dots: number, period: number])[] = [
  [1, 8],
  [2, 12],
];
/** Patches of each pattern, which end up at as many heights. A count. Assumed: as many as a card has room for. */
const HEIGHTS = 20;

export const FOCUS_CHART: ChartKindRecord = {
  title: 'Focus chart',
  purpose:
    'Finds where the beam is sharpest, how deep that is, and whether lines along and across focus at one height. It is burned on a piece that leans.',
  question: 'Where the focus lies',
  hint: 'Fine lines burned on a piece that leans.',
  subject: 'focus',
  gives: 'measurement',
  widthMm: CHART_DEFAULTS.widthMm,
  heightMm: CHART_DEFAULTS.heightMm,
  isStrip: false,
  isTable: false,
  aims: 'never',
  isOnRamp: true,
  plan: planFocus,
};

function planFocus(options: ChartOptions): readonly WantedPatch[] {
  if (!(options.riseMm! > 0)) {
    throw new AppError(
      'option-invalid',
      'chart focus: found no rise, needed how far the upper edge stands above the lower',
    );
  }
  const heights = requireWhole(options.replicates ?? HEIGHTS, 'replicates', 6, 40);
  // Each is a group of its own: at another height the same lines look otherwise, and are no replicates.
  const ladders = LINES.flatMap(([dots, period]) =>
    (['x', 'y'] as const).flatMap((along) =>
      Array.from({ length: heights }, (_, at) =>
        patternOf(
          'ladder',
          { kind: `lines-${along}`, dots, period },
          dots / period,
          `${along}-${dots}-${period}-${at + 1}`,
        ),
      ),
    ),
  );
  return [...repeat(10, BARE), ...repeat(8, SOLID), ...ladders];
}
