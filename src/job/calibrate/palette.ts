import type { ChartLayout } from '../../chart/index.ts';
import { differenceOf } from '../../colour/index.ts';
import { AppError } from '../../errors.ts';
import { PALETTE_LIMITS, type Palette, type PaletteMark } from '../../material/index.ts';
import { roundTo } from '../page/html.ts';
import type { DosePoint, DoseReading } from './read-dose.ts';

export interface PaletteOptions {
  readonly name: string;
  /** ISO date of the reading. */
  readonly date: string;
  /** Cells to take, by id; the most distinct ones when absent. */
  readonly cells?: readonly string[];
  /** How many to choose, 1 … 8; as many as are clearly distinct, up to four, when absent. */
  readonly count?: number;
}

/**
 * Without a number, a mark must differ from bare and every other by this, ΔE: a step that a photograph gains from. And
 * so many marks at most, a count. Assumed: four tones give a photo what it gains; each mark is a burn more.
 */
const CLEAR_DELTA_E = 12;
const CHOSEN = 4;
/** Colours that differ less than this are taken for one, ΔE. Assumed: about what a reading repeats to. */
const SAME_DELTA_E = 1.5;

/**
 * A palette from the cells of a dose chart: those named, or the most distinct: first the one furthest from bare, then
 * again and again the one whose nearest colour among those taken is furthest; of cells that look the same the fastest.
 * Cells of another line spacing than the chart's are left out, since all marks share one grid of dots. Burned in order
 * of dose, the weakest first: what comes later then does not have to pass through the smoke and debris of the strong
 * ones (source: 'commonPractice').
 * @throws AppError option-invalid for cells that were not read or of another line spacing; contrast-too-low when too
 * few differ.
 */
export function choosePalette(
  reading: DoseReading,
  layout: ChartLayout,
  { name, date, cells, count }: PaletteOptions,
): Palette {
  const { grid } = layout;
  const onGrid = reading.points.filter(
    ({ settings }) => Math.abs(settings.lineSpacingMm / grid.lineSpacingMm - 1) < 1e-6,
  );
  const chosen = cells
    ? takeCells(reading, { cells, onGrid, spacingMm: grid.lineSpacingMm })
    : takeDistinct(reading, { onGrid, count });
  const marks = [...chosen]
    .sort((a, b) => a.doseJPerCm2 - b.doseJPerCm2)
    .map(({ id, colour, settings: { lineSpacingMm: _, ...settings } }): PaletteMark => {
      return {
        name: `mark-${id.toLowerCase()}`,
        title: `Cell ${id}, L* ${roundTo(colour[0], 1)}`,
        colour: roundLab(colour),
        settings,
        cell: id,
      };
    });
  return {
    schema: 'tonewright-palette/1',
    name,
    title: `${marks.length} marks of chart ${layout.hash}`,
    material: layout.material === '' ? 'unknown' : layout.material,
    machine: layout.machine,
    grid,
    bare: roundLab(reading.bareColour),
    marks,
    origin: 'measured',
    date,
    note: `Read from dose chart ${layout.hash}.`,
  };
}

const roundLab = (lab: PaletteMark['colour']): PaletteMark['colour'] => [
  Number(lab[0].toFixed(2)),
  Number(lab[1].toFixed(2)),
  Number(lab[2].toFixed(2)),
];

function takeCells(
  { points }: DoseReading,
  { cells, onGrid, spacingMm }: { cells: readonly string[]; onGrid: readonly DosePoint[]; spacingMm: number },
): DosePoint[] {
  return cells.map((cell) => {
    const id = cell.trim().toUpperCase();
    const point = onGrid.find((found) => found.id === id);
    if (point) return point;
    const other = points.find((found) => found.id === id);
    throw new AppError(
      'option-invalid',
      other
        ? `cells: ${id} was burned at a line spacing of ${other.settings.lineSpacingMm} mm, needed ${spacingMm} mm: all marks share one grid of dots`
        : `cells: found no readable cell "${cell.trim()}", needed some of ${onGrid.map((found) => found.id).join(', ')}`,
      { cell: id },
    );
  });
}

function takeDistinct(
  { bareColour }: DoseReading,
  { onGrid, count }: { onGrid: readonly DosePoint[]; count: number | undefined },
): DosePoint[] {
  const taken: DosePoint[] = [];
  const apartOf = ({ colour }: DosePoint) =>
    Math.min(differenceOf(colour, bareColour), ...taken.map((other) => differenceOf(colour, other.colour)));
  const wanted = count ?? CHOSEN;
  const least = count === undefined ? CLEAR_DELTA_E : PALETTE_LIMITS.deltaE;
  while (taken.length < wanted) {
    const next = onGrid.reduce<DosePoint | undefined>(
      (best, point) => (best === undefined || apartOf(point) > apartOf(best) ? point : best),
      undefined,
    );
    if (!next || apartOf(next) < least) break;
    taken.push(next);
  }
  if (taken.length === 0 || (count !== undefined && taken.length < count)) {
    throw new AppError(
      'contrast-too-low',
      `found ${taken.length} cells that differ by ${least} ΔE or more from bare and from each other, needed ${count ?? 1}`,
      { found: taken.length },
    );
  }
  return taken.map((point) => findFastest(point, { onGrid, taken }));
}

/** The fastest cell of as good as the same colour. */
function findFastest(
  point: DosePoint,
  { onGrid, taken }: { onGrid: readonly DosePoint[]; taken: readonly DosePoint[] },
): DosePoint {
  const others = taken.filter((other) => other !== point);
  const isClear = ({ colour }: DosePoint) =>
    others.every((other) => differenceOf(colour, other.colour) >= PALETTE_LIMITS.deltaE);
  return onGrid
    .filter((other) => differenceOf(other.colour, point.colour) <= SAME_DELTA_E && isClear(other))
    .reduce((a, b) => ((slownessOf(b) - slownessOf(a) || b.doseJPerCm2 - a.doseJPerCm2) < 0 ? b : a), point);
}

/** Seconds a mm of scan line. */
const slownessOf = ({ settings }: DosePoint) => settings.passes / settings.speedMmPerS;
