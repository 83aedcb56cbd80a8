import type { DoseSampling, DotGrid, Dots, Plane, StrengthTable } from '../plane/index.ts';
import type { SourceKey } from '../sources.ts';

/** Every option of every screen; which ones a screen reads is in its record's `uses`, the rest is ignored. */
export interface ScreenOptions {
  /** Scan of error diffusion: `serpentine` turns at each row's end. */
  readonly scan: 'raster' | 'serpentine';
  /** Dose levels per dot, 2 … 256. 2: the beam fires or not. */
  readonly levels: number;
  /** Random seed of a screen that uses chance, a whole number 0 … 2³² − 1. */
  readonly seed: number;
  /** Screen ruling of `clustered-dot` and `line`, lines per cm; `auto`: about eight dots, moved to whole ones. */
  readonly linesPerCm: number | 'auto';
  /** Angle of `clustered-dot` and `line`, degrees from the scan line, clockwise on the work, −360 … 360. */
  readonly angleDeg: number;
  /** Dot shape of `clustered-dot`. */
  readonly shape: 'round' | 'ellipse' | 'square' | 'diamond';
  /** Side of the threshold matrix, dots, a power of two: `bayer` 2 … 256, `blue-noise` 32 … 256. */
  readonly size: number;
  /**
   * What error diffusion passes on the error of: `dots`, as if each marked its own cell, or `marks`, as the dot table
   * predicts them. With `marks` the plane is the wanted mean strength of the mark instead of the share of dots.
   */
  readonly errorOf: 'dots' | 'marks';
  /** How far error diffusion's threshold follows local contrast, 0 not at all … 4. */
  readonly edges: number;
  /** Fewest dots along a scan line for which the beam stays on, and stays off, 1 … 32. */
  readonly run: number;
  /** Diameter of the marks that `blue-noise` is spread for, dots, 0 … 3; 0: a dot marks its own cell. */
  readonly dotSize: number;
  /** Dots of the smallest cluster of `green-noise`, 1 … 64. */
  readonly cluster: number;
  /**
   * What `direct-search` takes dots to leave: `table`, by their neighbours as the dot table says, or `linear`, each the
   * same wherever it lies. With `table` the plane is the wanted mean strength of the mark instead of the share of dots.
   */
  readonly response: 'table' | 'linear';
  /** Distance from which the work is looked at, mm, 50 … 10000. */
  readonly viewingDistanceMm: number;
}

/**
 * All screens, in the order in which the literature's families are told apart. Apart from the registry, so that a help
 * text that lists them does not load them.
 */
export const SCREEN_NAMES = [
  'floyd-steinberg',
  'jarvis-judice-ninke',
  'stucki',
  'burkes',
  'sierra',
  'sierra-two-row',
  'sierra-lite',
  'atkinson',
  'ostromoukhov',
  'zhou-fang',
  'bayer',
  'blue-noise',
  'green-noise',
  'clustered-dot',
  'line',
  'direct-search',
] as const;

export type ScreenName = (typeof SCREEN_NAMES)[number];

/** What dots leave on the material: by their neighbours, and by their doses where they have levels of power. */
export interface MarkTable extends StrengthTable {
  readonly dose?: DoseSampling;
}

/** What to screen with: a name, where the dots lie on the work, and the options that differ from the defaults. */
export interface ScreenRequest extends Partial<ScreenOptions> {
  readonly name: ScreenName;
  readonly grid: DotGrid;
  /** What dots leave on the material; screens that pass on the error of `marks` need it. */
  readonly marks?: MarkTable;
}

/** What a screen knows of neighbouring dots, beside the plane and its options. */
export interface NeighbourContext {
  readonly marks?: MarkTable;
}

/** One halftone method: a row of the registry `SCREENS`. */
export interface ScreenRecord {
  readonly name: ScreenName;
  readonly title: string;
  /** In a shop's words. */
  readonly goodFor: string;
  readonly family: 'diffusion' | 'ordered' | 'clustered' | 'search';
  /** It puts dots together by itself. */
  readonly clusters?: true;
  readonly source: SourceKey;
  /** Names of the options in `ScreenOptions` that this method reads. */
  readonly uses: readonly (keyof ScreenOptions)[];
  /** Values of the options in `uses` where the caller gives none. */
  readonly defaults: Partial<ScreenOptions>;
  /** Share of the tone's error that is passed on: 1 keeps the tone, less loses some on purpose. */
  readonly weightSum: number;
  /** Largest |mean of dots − coverage| on a large constant plane, as a function of the options. */
  readonly toneTolerance: (options: ScreenOptions, grid: DotGrid) => number;
  /**
   * What the plane holds: shares of dots, or mean strengths of the mark, 0 bare … ONE solid, for a screen that knows
   * what dots leave on the material and needs no curve. Shares when absent.
   */
  readonly takes?: (options: Partial<ScreenOptions>) => 'coverage' | 'strength';
  /** @throws AppError option-invalid, RangeError when `marks` are needed and missing. */
  readonly screen: (
    coverage: Plane<'coverage'>,
    options: ScreenOptions,
    grid: DotGrid,
    context: NeighbourContext,
  ) => Dots;
}
