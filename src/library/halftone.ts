import {
  invertTone,
  type JobSpec,
  markable,
  needsPrediction,
  requestScreen,
  resolveWantedScreen,
  tabulateCoverage,
} from '../job/index.ts';
import { type CoverageTable, type Profile, type RangeFit, type TonePoint, takeRoad } from '../material/index.ts';
import type { BurnSettings } from '../optics/index.ts';
import type { Frame } from '../photo/index.ts';
import { type DotGrid, encodeDots as encodePlane, type PictureFormat } from '../plane/index.ts';
import { applyScreen as applyToPlane, type ScreenName, type ScreenOptions } from '../screens/index.ts';
import type { Machine } from './machine.ts';
import { type Coverage, type DotPlane, dotsOf, type Luminance, type Mask, planeOf, viewPlane } from './views.ts';

/** A halftone method with the options that differ from its defaults. */
export interface Halftone {
  readonly name: ScreenName;
  readonly options?: Partial<ScreenOptions>;
  /** Why, where it was chosen. */
  readonly reason?: string;
}

export interface ChooseScreenOptions {
  readonly machine: Machine;
  /** Those of the profile when absent. */
  readonly grid?: DotGrid;
  readonly settings?: BurnSettings;
  /** Power levels per dot, 2 … 256; 2 when absent: the beam fires or not. */
  readonly levels?: number;
  /** Another screen than the one for this material and machine. */
  readonly name?: ScreenName;
  readonly options?: Partial<ScreenOptions>;
}

/** The screen for a material on a machine, or the one named, with the options that the command gives it. */
export function chooseScreen(profile: Profile, options: ChooseScreenOptions): Halftone {
  const { machine, grid = profile.grid, settings = profile.settings, levels = 2, name, options: own } = options;
  return resolveWantedScreen(
    { ...(name ? { screen: name } : {}), ...(own ? { screenOptions: own } : {}) },
    { machine, settings, grid, learned: takeRoad(profile, levels), levels },
  );
}

export interface TonePlanOptions extends Partial<RangeFit> {
  readonly screen: Halftone;
  /** The profile's when absent. */
  readonly grid?: DotGrid;
  /** `auto`, when absent, leaves coverage below 1 % bare: single dots there are dust. `plain` keeps all of it. */
  readonly tone?: 'auto' | 'plain';
  readonly levels?: number;
}

/** From a picture's light to coverage, for one profile, screen and grid. */
export interface TonePlan {
  /** The tone curve: the profile's own, or predicted where screen, grid or what the screen counts differ. */
  readonly points: readonly TonePoint[];
  readonly table: CoverageTable;
}

/**
 * The profile's inverse: which coverage gives which lightness with this screen on this grid. With `scale`, unless told
 * otherwise, the photo's L* 0 … 100 goes onto the material's range along `aim` (the profile's, else straight in L*).
 */
export function planTones(learned: Profile, options: TonePlanOptions): TonePlan {
  const { screen, grid = learned.grid, tone = 'auto', levels = 2, range = 'scale', aim = learned.aim } = options;
  const profile = takeRoad(learned, levels);
  const chosen = screenOf(screen);
  const curve = needsPrediction(profile, { grid, screen: chosen }) ? 'predicted' : 'measured';
  const aimed = aim && range === 'scale' ? { aim } : {};
  return tabulateCoverage({ curve, profile, grid, screen: chosen, tone, levels, range, ...aimed });
}

/** A screen as jobs have it: options are only those that somebody gave. */
function screenOf({ name, options = {} }: Halftone): JobSpec['screen'] {
  const given = Object.entries(options).filter(([, value]) => value !== undefined);
  return { name, options: Object.fromEntries(given) as Record<string, string | number> };
}

export interface WantCoverageOptions {
  readonly tones: TonePlan;
  readonly frame: Frame;
  readonly opaque?: Mask | undefined;
}

/**
 * Coverage of the whole piece, `frame.height` × `frame.width`: that which gives the wanted lightness at `frame.place`,
 * bare outside it, outside the piece's outline, and where the photo is transparent.
 * @throws RangeError for light or `opaque` of another size than the place
 */
export function wantCoverage(light: Luminance, { tones, frame, opaque }: WantCoverageOptions): Coverage {
  const mask = markable(frame, opaque && planeOf('mask', opaque), {});
  return viewPlane(invertTone(planeOf('luminance', light), { frame, table: tones.table, mask }));
}

export interface ApplyScreenOptions {
  readonly screen: Halftone;
  readonly grid: DotGrid;
  /** What its marks are: screens that count marks and those that search need to know. */
  readonly profile: Profile;
  readonly levels?: number;
}

/**
 * Dots of the size of the coverage, 0 … levels − 1. The same coverage and options give the same dots.
 * @throws AppError option-invalid for an option out of its range
 */
export function applyScreen(coverage: Coverage, { screen, grid, profile, levels = 2 }: ApplyScreenOptions): DotPlane {
  const request = requestScreen({ screen: screenOf(screen), grid, profile, levels });
  return viewPlane(applyToPlane(planeOf('coverage', coverage), request));
}

export interface EncodeOptions {
  readonly format: PictureFormat;
  readonly levels?: number;
}

/**
 * The bytes of a bitmap file: 1 bit for two levels and 8 for more, black fires, pitch and line spacing as the
 * resolution of the two axes. A crop, turn or mirror image of the dots is written as it is seen.
 * @throws RangeError for a value that is no level, or a grid that is not above 0
 */
export function encodeDots(dots: DotPlane, grid: DotGrid, { format, levels = 2 }: EncodeOptions): Uint8Array {
  return new Uint8Array(encodePlane(dotsOf(dots, levels), grid, { format }));
}
