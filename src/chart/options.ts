import type { BurnSettings } from '../optics/index.ts';
import type { DotGrid } from '../plane/index.ts';
import type { CellSettings, ChartLevels, PlaceInField } from './types.ts';

/** One swept setting of a dose chart and its values, in the order of columns or rows. */
export interface DoseAxis {
  readonly setting: 'powerW' | 'speedMmPerS' | 'rateKHz' | 'pulseNs' | 'passes' | 'lineSpacingMm';
  readonly values: readonly number[];
}

/** A tone of a `verify` or `check` chart: the coverage that the profile asks for and the lightness it promises. */
export interface AimedTone {
  readonly coverage: number;
  readonly aimLightness?: number;
}

/** A point of a tone curve that is known before the chart is burned. */
export interface ExpectedTone {
  readonly coverage: number;
  readonly lightness: number;
  /** Half the width of its 95 % band, ΔL*, when a first chart told it. */
  readonly halfWidth?: number;
}

export interface ChartOptions {
  readonly machine: string;
  /** Name of the material; empty or absent when only the direction is known. */
  readonly material?: string;
  readonly direction: 'lighter' | 'darker';
  readonly settings: BurnSettings;
  readonly grid: DotGrid;
  readonly screen?: { readonly name: string; readonly options: Readonly<Record<string, string | number>> };
  /** Size of the whole chart, mm; 85.6 × 54 when absent, 60 × 8 for `check`. */
  readonly widthMm?: number;
  readonly heightMm?: number;
  /** Random seed of the places of the patches; 1 when absent. */
  readonly seed?: number;
  /** Different tones between bare and solid: 15 for `tone`, 14 for `verify`. */
  readonly steps?: number;
  /** How often each tone is repeated: 3 for `tone`, 2 elsewhere. */
  readonly replicates?: number;
  /** A tone curve known beforehand; the steps are then densest where it is steep, and where it is badly known. */
  readonly expected?: readonly ExpectedTone[];
  /** Tones of `verify` and `check`, burned through a profile. */
  readonly tones?: readonly AimedTone[];
  /** Dose charts: settings swept along columns and rows. */
  readonly columns?: DoseAxis;
  readonly rows?: DoseAxis;
  /** Dose charts: an empty field instead of cells, for the grid of another software. */
  readonly isFieldEmpty?: boolean;
  /** Charts that tell how even the machine's field is. */
  readonly inField?: PlaceInField;
  /** Tone charts: power per dot, measured beside dots that fire or not. */
  readonly levels?: ChartLevels;
  /** The curve of those levels, known beforehand: as `expected`. */
  readonly expectedLevels?: readonly ExpectedTone[];
  /** Charts on a piece that leans: how far the upper edge stands above the lower one, mm. */
  readonly riseMm?: number;
  /** Charts that are looked at through the stock; at the burned face when absent. */
  readonly seen?: 'through';
  /** What lies beneath clear stock where it is looked at. */
  readonly beneath?: 'dark' | 'light';
}

/** Assumed: a card of ID-1's size, which every shop has at hand, and a strip that fits beside a piece. */
export const CHART_DEFAULTS = {
  widthMm: 85.6,
  heightMm: 54,
  stripWidthMm: 60,
  stripHeightMm: 8,
  seed: 1,
  steps: { tone: 15, verify: 14 },
  replicates: { tone: 3, verify: 2, spot: 2 },
} as const;

/** Settings of a dose cell: the chart's own with the two swept ones replaced. */
export function settleCell({ columns, rows, ...own }: ChartOptions, column: number, row: number): CellSettings {
  return settleAxes({ columns: columns!, rows: rows!, ...own }, column, row);
}

/** The same of axes that are known. */
export function settleAxes(
  { columns, rows, settings, grid }: Pick<ChartOptions, 'settings' | 'grid'> & Record<'columns' | 'rows', DoseAxis>,
  column: number,
  row: number,
): CellSettings {
  return {
    ...settings,
    lineSpacingMm: grid.lineSpacingMm,
    [columns.setting]: columns.values[column],
    [rows.setting]: rows.values[row],
  };
}
