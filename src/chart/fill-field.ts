import { AppError } from '../errors.ts';
import { type DoseAxis, settleAxes } from './options.ts';
import type { ChartLayout, Patch } from './types.ts';

/** The grid that a control software burned into the empty field of a dose chart. */
export interface FieldGrid {
  /** From left to right, and from top to bottom. */
  readonly columns: DoseAxis;
  readonly rows: DoseAxis;
  /** Bare distance between two cells, mm; 0 where they touch. */
  readonly gapMm: number;
}

/** Least side of a cell that is read, mm. Assumed: as of our own patches, 2.4 mm are 28 pixels at 300 dpi. */
const CELL_MIN_MM = 2.4;

/**
 * The layout with the cells that lie in its empty field, each with its settings: rows and columns of one size that fill
 * it from edge to edge. Tags and hash stay, by which the capture was found.
 * @throws AppError option-invalid where cells come out too small to be read
 */
export function fillField(layout: ChartLayout, { columns, rows, gapMm }: FieldGrid): ChartLayout {
  const { field, grid } = layout;
  if (!field) {
    throw new AppError(
      'option-invalid',
      `found a grid for the ${layout.kind} chart ${layout.hash}, needed one that was drawn with an empty field`,
      { options: ['columns', 'rows'] },
    );
  }
  const widthMm = (field.widthMm + gapMm) / columns.values.length - gapMm;
  const heightMm = (field.heightMm + gapMm) / rows.values.length - gapMm;
  if (!(Math.min(widthMm, heightMm) >= CELL_MIN_MM)) {
    throw new AppError(
      'option-invalid',
      `found ${columns.values.length} × ${rows.values.length} cells of ${widthMm.toFixed(1)} × ${heightMm.toFixed(1)} mm in the field of ${field.widthMm} × ${field.heightMm} mm, needed cells of ${CELL_MIN_MM} mm or more: fewer values, or a smaller gap`,
      { options: ['columns', 'rows', 'cell-gap'] },
    );
  }
  const cells = rows.values.flatMap((_, row) =>
    columns.values.map((_value, column): Patch => {
      const xMm = field.xMm + column * (widthMm + gapMm);
      const yMm = field.yMm + row * (heightMm + gapMm);
      return {
        id: `R${row + 1}C${column + 1}`,
        role: 'dose',
        pattern: { kind: 'solid' },
        coverage: 1,
        group: `dose-${columns.values[column]}-${rows.values[row]}`,
        settings: settleAxes({ columns, rows, settings: layout.settings, grid }, column, row),
        xDots: Math.round(xMm / grid.pitchMm),
        yDots: Math.round(yMm / grid.lineSpacingMm),
        widthDots: Math.round(widthMm / grid.pitchMm),
        heightDots: Math.round(heightMm / grid.lineSpacingMm),
        xMm,
        yMm,
        widthMm,
        heightMm,
        order: layout.patches.length + row * columns.values.length + column,
      };
    }),
  );
  return { ...layout, patches: [...layout.patches, ...cells] };
}
