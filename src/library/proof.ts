import { markable, predictSeen } from '../job/index.ts';
import { estimateTime as estimateSeconds, type TimeEstimate } from '../machine/index.ts';
import { fillDotTable, type Profile, takeRoad } from '../material/index.ts';
import type { BurnSettings } from '../optics/index.ts';
import { type Frame, placeOnPiece } from '../photo/index.ts';
import type { DotGrid } from '../plane/index.ts';
import { assessTone as assessPlanes, predictReflectance as predictPlane, renderSurface } from '../proof/index.ts';
import type { TonePlan } from './halftone.ts';
import type { Machine } from './machine.ts';
import {
  type DotPlane,
  dotsOf,
  type Lightness,
  type Luminance,
  type Mask,
  type Picture,
  planeOf,
  type Reflectance,
  viewPlane,
  viewSamples,
} from './views.ts';

export interface PredictOptions {
  readonly profile: Profile;
  /** The profile's when absent. */
  readonly grid?: DotGrid;
  readonly levels?: number;
  /** Size of the result, at most that of the dots; one value a dot when absent. */
  readonly width?: number;
  readonly height?: number;
}

/**
 * What the dots will show, as reflectance: mean strength of the marks by the dot table, light scatter in the material
 * after Yule and Nielsen 1951, averaged to the size that is asked for.
 * @throws RangeError for a result larger than the dots
 */
export function predictReflectance(dots: DotPlane, options: PredictOptions): Reflectance {
  const { profile, grid = profile.grid, levels = 2, width, height } = options;
  const table = fillDotTable(takeRoad(profile, levels), grid);
  const size = { ...(width === undefined ? {} : { width }), ...(height === undefined ? {} : { height }) };
  return viewPlane(predictPlane(dotsOf(dots, levels), { table, ...size }));
}

/** A picture in the colours of the surface, 8-bit sRGB, one pixel for each value. */
export function renderReflectance(shown: Reflectance, { bare, full, response }: Profile): Picture {
  const { yuleNielsenN } = response;
  const image = renderSurface(planeOf('reflectance', shown), { bare, full, yuleNielsenN });
  return viewSamples(image.rgb, image);
}

export interface AssessOptions {
  readonly profile: Profile;
  readonly tones: TonePlan;
  readonly frame: Frame;
  /** The toned picture that the coverage was wanted for. */
  readonly light: Luminance;
  readonly opaque?: Mask | undefined;
  readonly levels?: number;
}

/** |ΔL*| between what was wanted and what is predicted, both as the eye sees them from the frame's viewing distance. */
export interface ToneAssessment {
  readonly mean: number;
  /** 95 of 100 cells are nearer than this. */
  readonly p95: number;
  readonly worst: number;
  /** Cells that the eye cannot tell apart, a size of their own. */
  readonly wanted: Lightness;
  readonly predicted: Lightness;
}

/** How far the tones of the dots are off. @throws RangeError where sizes differ */
export function assessTone(dots: DotPlane, options: AssessOptions): ToneAssessment {
  const { profile, tones, frame, light, opaque, levels = 2 } = options;
  const { grid, viewingDistanceMm } = frame;
  const mask = markable(frame, opaque && planeOf('mask', opaque), {});
  const table = fillDotTable(takeRoad(profile, levels), grid);
  const burned = dotsOf(dots, levels);
  const { mean, p95, worst, wanted, predicted } = assessPlanes(burned, {
    table,
    grid,
    luminance: placeOnPiece(planeOf('luminance', light), frame),
    reflectance: tones.table.reflectance,
    ...(mask ? { mask } : {}),
    shown: predictSeen(burned, { dotTable: table, grid }),
    viewingDistanceMm,
  });
  return { mean, p95, worst, wanted: viewPlane(wanted), predicted: viewPlane(predicted) };
}

export interface TimeOptions {
  readonly machine: Machine;
  readonly settings: BurnSettings;
  readonly grid: DotGrid;
  readonly levels?: number;
}

/**
 * Seconds to burn the dots, by the kinematics of the machine's motion, with where they go.
 * @throws RangeError for speed, passes or a grid that is not above 0
 */
export function estimateTime(dots: DotPlane, { machine, settings, grid, levels = 2 }: TimeOptions): TimeEstimate {
  return estimateSeconds(dotsOf(dots, levels), { motion: machine.motion, settings, grid });
}
