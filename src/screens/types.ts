import type { DotGrid, Dots, Plane } from '../plane/index.ts';
import type { SourceKey } from '../sources.ts';

/** Options that every screen takes; each screen's own come from its `defaults`. */
export interface ScreenOptions {
  /** Scan of error diffusion: `serpentine` turns at each row's end. Ignored by ordered screens. */
  readonly scan: 'raster' | 'serpentine';
  /** Dose levels per dot, 2 … 256. 2: the beam fires or not. */
  readonly levels: number;
  /** Start of the generator where a screen uses chance. */
  readonly seed: number;
  /** Screen ruling of `clustered-dot` and `line`, lines per cm. */
  readonly linesPerCm: number;
  /** Angle of `clustered-dot` and `line`, degrees from the scan line, clockwise on the work. */
  readonly angleDeg: number;
  /** Dot shape of `clustered-dot`. */
  readonly shape: 'round' | 'ellipse' | 'square' | 'diamond';
  /** Side of the threshold matrix of `bayer` (a power of two) and `blue-noise`, dots. */
  readonly size: number;
}

export type ScreenName =
  | 'floyd-steinberg'
  | 'jarvis-judice-ninke'
  | 'stucki'
  | 'burkes'
  | 'sierra'
  | 'sierra-two-row'
  | 'sierra-lite'
  | 'atkinson'
  | 'ostromoukhov'
  | 'zhou-fang'
  | 'bayer'
  | 'blue-noise'
  | 'clustered-dot'
  | 'line';

/** One halftone method: a row of the registry `SCREENS`. */
export interface ScreenRecord {
  readonly name: ScreenName;
  readonly title: string;
  readonly family: 'diffusion' | 'ordered' | 'clustered';
  readonly source: SourceKey;
  /** Names of the options in `ScreenOptions` that this method reads. */
  readonly uses: readonly (keyof ScreenOptions)[];
  readonly defaults: Partial<ScreenOptions>;
  /** Share of the tone's error that is kept: 1 keeps the tone, less loses some on purpose. */
  readonly carries: number;
  /** Largest |mean of dots − coverage| on a large constant plane, as a function of the options. */
  readonly toneTolerance: (options: ScreenOptions, grid: DotGrid) => number;
  readonly screen: (coverage: Plane<'coverage'>, options: ScreenOptions, grid: DotGrid) => Dots;
}
