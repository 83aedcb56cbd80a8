import type { Cells } from '../cells.ts';
import type { ChartOptions } from '../options.ts';
import type { PlacedPatch } from '../places.ts';
import type { WantedPatch } from './wanted.ts';

/** All that tells one kind of chart from the others. */
export interface ChartKindRecord {
  readonly title: string;
  /** What it is burned for, a sentence for whoever burns it. */
  readonly purpose: string;
  /** What it answers, as a page offers it, with a hint; and in a word, for lists. */
  readonly question: string;
  readonly hint: string;
  readonly subject: string;
  /** What reading it gives: a profile, how far one has drifted, or a measurement of its own. */
  readonly gives: 'profile' | 'drift' | 'measurement';
  /** Size of the whole chart, mm, where none is asked for. */
  readonly widthMm: number;
  readonly heightMm: number;
  /** Patches in one row between bare fields, for a waste margin. */
  readonly isStrip: boolean;
  /** Patches in a table, each with settings of its own, which are swept along rows and columns. */
  readonly isTable: boolean;
  /** Burned on a piece that leans, so that its patches lie at different heights. */
  readonly isOnRamp?: true;
  /** Burned through a profile whose tones it asks for: never, where one is given, or always. */
  readonly aims: 'never' | 'with-profile' | 'always';
  /** As large as the machine's field where no size is asked for, and kept with the place where it is burned. */
  readonly coversField?: boolean;
  /** Fills the cells in a sequence of its own; patches are scattered when absent. Gives patches in burn order. */
  readonly arrange?: (cells: Cells, wanted: readonly WantedPatch[]) => readonly PlacedPatch[];
  /** What it holds, before it is known where. @throws AppError option-invalid */
  readonly plan: (options: ChartOptions) => readonly WantedPatch[];
}
