import { AppError } from '../../errors.ts';
import type { Cell, Cells } from '../cells.ts';
import { CHART_DEFAULTS, type ChartOptions, type ExpectedTone } from '../options.ts';
import type { PlacedPatch } from '../places.ts';
import { spaceByLightness } from '../space-coverages.ts';
import type { ChartKindRecord } from './kind.ts';
import { BARE, repeat, SOLID, type WantedPatch } from './wanted.ts';

/**
 * Tones between bare and solid, a count: evenly over the lightness of the profile's curve, as photos are. Measured
 * (`benchmarks/field.ts`): with coverages that are the same for every material the steepest tones were not on it.
 */
const TONES = 6;
/** Coverages where no curve is known. Assumed: evenly in lightness on a material whose dots overlap. */
const USUAL_TONES: readonly number[] = [0.06, 0.15, 0.28, 0.42, 0.6, 0.8];
/**
 * Patches of each tone, a count. Assumed: places of one tone then lie a sixth of the field apart, nearer than any lens
 * changes.
 */
const PLACES = 16;
/**
 * Columns by which the tones move from row to row. Assumed: of eight tones each then lies once in every row of eight
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
function listCycle(expected: readonly ExpectedTone[] | undefined): readonly WantedPatch[] {
  const tones = expected && expected.length > 1 ? spaceByLightness(TONES, expected) : USUAL_TONES;
  return [
    BARE,
    ...tones.map(
      (coverage): WantedPatch => ({
        role: 'control',
        pattern: { kind: 'screened' },
        coverage,
        group: `field-${coverage}`,
      }),
    ),
    { ...SOLID, role: 'control', group: 'field-1' },
  ];
}

/** As many as the chart must have room for; `arrange` fills what is there. @throws AppError option-invalid */
function planField({ inField, expected }: ChartOptions): readonly WantedPatch[] {
  if (!inField) throw new AppError('option-invalid', 'chart field: found no field, needed a machine with its own');
  return listCycle(expected).flatMap((patch) => repeat(PLACES, patch));
}

/**
 * Every tone everywhere: along a row they follow one another, and each row begins further on. Patches have groups of
 * their own, since equal ones are not meant to be alike. The solids nearest to the middle are references of contrast.
 */
function arrange(cells: Cells, wanted: readonly WantedPatch[]): readonly PlacedPatch[] {
  const cycle = wanted.filter((_, at) => at % PLACES === 0);
  const patchOf = ({ row, column }: Cell) => cycle[(column + SHIFT * row) % cycle.length]!;
  const fromMiddle = ({ row, column }: Cell) =>
    Math.hypot((row + 0.5) / cells.rows - 0.5, (column + 0.5) / cells.columns - 0.5);
  const solids = cells.cells
    .filter((cell) => patchOf(cell).coverage === SOLID.coverage)
    .sort((a, b) => fromMiddle(a) - fromMiddle(b))
    .slice(0, CONTRAST_SOLIDS);
  return cells.cells
    .slice()
    .sort((a, b) => a.row - b.row || a.column - b.column)
    .map((cell) => {
      const patch = solids.includes(cell) ? SOLID : patchOf(cell);
      return { cell, patch: patch.role === 'control' ? { ...patch, group: `${patch.group}@${cell.id}` } : patch };
    });
}
