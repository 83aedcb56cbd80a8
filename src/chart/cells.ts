export interface Cell {
  readonly id: string;
  readonly x: number;
  readonly y: number;
  readonly row: number;
  readonly column: number;
}

export interface Cells {
  readonly cells: readonly Cell[];
  readonly widthDots: number;
  readonly heightDots: number;
  readonly rows: number;
  readonly columns: number;
}

/** Whether a cell lies in the table of `rows` × `columns` in the middle. */
export function inTable(
  cells: Pick<Cells, 'rows' | 'columns'>,
  place: { readonly row: number; readonly column: number },
  rows: number,
  columns: number,
): boolean {
  const top = Math.floor((cells.rows - rows) / 2);
  const left = Math.floor((cells.columns - columns) / 2);
  return place.row >= top && place.row < top + rows && place.column >= left && place.column < left + columns;
}
