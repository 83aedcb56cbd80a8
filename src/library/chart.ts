import type { ChartLayout, Corners, NeutralReference, Reading, RejectedPatch } from '../chart/index.ts';
import type { Lab } from '../colour/index.ts';
import { fitCaptures, type LocatedCapture, readCaptures, toCaptureImage } from '../job/index.ts';
import type { AimCurve, FittedNumber, Profile } from '../material/index.ts';
import { type DecodedPhoto, photoOf } from './photo.ts';

/** A scan or photo of a burned chart. */
export interface Capture {
  /** What messages call it. */
  readonly name: string;
  readonly photo: DecodedPhoto;
}

export interface ReadChartOptions {
  /** Layouts that it may show; its tags say which. */
  readonly layouts: readonly ChartLayout[];
  /** `known`: its codes are sRGB's. `unknown`: the chart tells the camera's own curve. */
  readonly camera: 'known' | 'unknown';
  /** Seen from behind, as on glass. */
  readonly mirrored?: boolean;
  /** How the material really marks, where that is not what the chart was drawn for. */
  readonly direction?: 'lighter' | 'darker';
  /** A neutral field beside the chart, or a scan with the scanner's automatics off: how light the whole is. */
  readonly reference?: NeutralReference | 'scanner';
  /** Corners by hand, pixels; of one capture. */
  readonly corners?: Corners;
}

/** Something that a person should know. */
export interface Warning {
  /** Which kind of thing. */
  readonly code: string;
  readonly text: string;
  /** The numbers and names behind the words. Plain JSON. */
  readonly data: Readonly<Record<string, unknown>>;
}

/** What was read of a chart. */
export interface ChartReading {
  /** All patches that can be trusted, every replicate of its own, in burn order; luminance relative to bare. */
  readonly readings: readonly Reading[];
  readonly rejected: readonly RejectedPatch[];
  /** Colour of the bare surface and of the solid, CIE L*a*b* under D65. */
  readonly bare: Lab;
  readonly solid: Lab;
  /** Luminance of solid relative to bare. */
  readonly solidRatio: number;
  readonly direction: 'lighter' | 'darker';
  /** Standard deviation between replicates of one tone, relative to bare. */
  readonly repeatability: number;
  readonly layout: ChartLayout;
  /** Resolution at the chart's middle, pixels per mm, and the largest standard error of a patch's place, mm. */
  readonly pxPerMm: number;
  readonly placeErrorMm: number;
  readonly warnings: readonly Warning[];
}

/**
 * Finds a chart in a capture by its tags and reads every patch: the camera undone, the light levelled by the bare and
 * solid fields, what is scratched, clipped or under a reflection left out and named.
 * @throws AppError chart-not-found, chart-wrong, capture-*, contrast-too-low, reference-unusable: what cannot be
 * trusted is refused
 */
export function readChart(capture: Capture, options: ReadChartOptions): ChartReading {
  const { located, readings: read } = readCaptures([imageOf(capture)], options)[0]!;
  const { readings, rejected, bare, solid, solidRatio, direction, repeatability, warnings } = read;
  const found = { readings, rejected, bare, solid, solidRatio, direction, repeatability, warnings };
  return { ...found, layout: located.layout, pxPerMm: located.pxPerMm, placeErrorMm: located.placeErrorMm };
}

function imageOf({ name, photo }: Capture): Pick<LocatedCapture, 'name' | 'image'> {
  return { name, image: toCaptureImage(photoOf(photo)) };
}

export interface LearnOptions extends ReadChartOptions {
  /** ISO date that the profile carries. */
  readonly date: string;
  /** Made from the material and the chart when absent. */
  readonly name?: string;
  readonly title?: string;
  readonly aim?: AimCurve;
}

export interface LearnedProfile {
  readonly profile: Profile;
  /** How well the model's numbers are known, with their 95 % intervals, and its misfit, ΔL*. */
  readonly fit: {
    readonly markX: FittedNumber;
    readonly markY: FittedNumber;
    readonly steepness: FittedNumber;
    readonly yuleNielsenN: FittedNumber;
    readonly modelRms: number;
    readonly widestBand: number;
  };
  readonly warnings: readonly Warning[];
}

/**
 * From one or several captures of one tone chart to a profile: read, median of each patch, response model and tone
 * curve fitted together. The same bytes of captures and the same options give the same profile.
 * @throws AppError those of `readChart`; chart-wrong for captures of two charts or of a chart without tones;
 * profile-unusable for tones that rise and fall
 */
export function learnProfile(captures: readonly Capture[], options: LearnOptions): LearnedProfile {
  const { profile, report, warnings } = fitCaptures(readCaptures(captures.map(imageOf), options), options);
  const { markX, markY, steepness, yuleNielsenN, modelRms, widestBand } = report;
  return { profile, fit: { markX, markY, steepness, yuleNielsenN, modelRms, widestBand }, warnings };
}
