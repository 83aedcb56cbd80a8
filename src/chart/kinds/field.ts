import { AppError } from '../../errors.ts';
import type { Cell, Cells } from '../cells.ts';
import { CHART_DEFAULTS, type ChartOptions } from '../options.ts';
import type { PlacedPatch } from '../places.ts';
import type { ChartKindRecord } from './kind.ts';
import { BARE, repeat, SOLID, type WantedPatch } from './wanted.ts';

/**
 * Tones between bare and solid, coverages. Assumed: lone dots, dots that touch and gaps that close answer to dose and
 * to width each in its own way, and pictures are made of them.
 */
const TONES: readonly number[] = [0.06, 0.2, 0.4, 0.6, 0.8];
/**
 * Patches of each tone, a count. Assumed: places of one tone then lie a sixth of the field apart, nearer than any lens
 * changes.
 */
const PLACES = 16;
/**
 * Columns by which the tones move from row to row. Assumed: of seven tones each then lies once in every row of seven
 * cells and no two of one tone touch, as knights do on a board.
 */
const SHIFT = 3;
/** Solids in the middle of the chart that tell its contrast. A count. Assumed: two may be scratched. */
const CONTRAST_SOLIDS = 3;

export const FIELD_CHART: ChartKindRecord = {
  title: 'Field chart',
  purpose:
    'Measures how even the machine’s field is: where the beam arrives weaker and wider, so that every piece is corrected for where it lies.',
  question: 'How even the field is',
  hint: 'A few tones, over and over, on scrap as large as the field.',
  subject: 'evenness',
  gives: 'measurement',
  widthMm: CHART_DEFAULTS.widthMm,
  heightMm: CHART_DEFAULTS.heightMm,
  isStrip: false,
  isTable: false,
  aims: 'always',
  coversField: true,
  arrange,
  plan: planField,
};

/** One of each tone; every cell of the chart gets one of them. */
const CYCLE: readonly WantedPatch[] = [
  BARE,
  ...TONES.map(
    (coverage): WantedPatch => ({
      role: 'control',
      pattern: { kind: 'screened' },
      coverage,
      group: `field-${coverage}`,
    }),
  ),
  { ...SOLID, role: 'control', group: 'field-1' },
];

/** As many as the chart must have room for; `arrange` fills what is there. @throws AppError option-invalid */
function planField({ inField }: ChartOptions): readonly WantedPatch[] {
  if (!inField) throw new AppError('option-invalid', 'chart field: found no field, needed a machine with its own');
  return CYCLE.flatMap((patch) => repeat(PLACES, patch));
}

/**
 * Every tone everywhere: along a row they follow one another, and each row begins further on. Patches have groups of
 * their own, since equal ones are not meant to be alike. The solids nearest to the middle are references of contrast.
 */
function arrange(cells: Cells): readonly PlacedPatch[] {
  const tone = ({ row, column }: Cell) => (column + SHIFT * row) % CYCLE.length;
  const fromMiddle = ({ row, column }: Cell) =>
    Math.hypot((row + 0.5) / cells.rows - 0.5, (column + 0.5) / cells.columns - 0.5);
  const solids = cells.cells
    .filter((cell) => CYCLE[tone(cell)]!.coverage === SOLID.coverage)
    .sort((a, b) => fromMiddle(a) - fromMiddle(b))
    .slice(0, CONTRAST_SOLIDS);
  return cells.cells
    .slice()
    .sort((a, b) => a.row - b.row || a.column - b.column)
    .map((cell) => {
      const patch = solids.includes(cell) ? SOLID : CYCLE[tone(cell)]!;
      return { cell, patch: patch.role === 'control' ? { ...patch, group: `${patch.group}@${cell.id}` } : patch };
    });
}
