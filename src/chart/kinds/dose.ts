import { AppError } from '../../errors.ts';
import { CHART_DEFAULTS, type ChartOptions, settleCell } from '../options.ts';
import type { ChartKindRecord } from './kind.ts';
import { BARE, repeat, SOLID, type WantedPatch } from './wanted.ts';

export const DOSE_CHART: ChartKindRecord = {
  title: 'Dose chart',
  purpose:
    'Finds which settings mark best: each cell is a solid burned with its own settings. Burn it before the tone chart.',
  question: 'Which settings suit it',
  hint: 'Power against speed: find these first on a new material.',
  subject: 'settings',
  gives: 'measurement',
  widthMm: CHART_DEFAULTS.widthMm,
  heightMm: CHART_DEFAULTS.heightMm,
  isStrip: false,
  isTable: true,
  aims: 'never',
  plan: planDose,
};

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
