import type { BurnSettings } from '../optics/index.ts';
import type { ProgramWords } from '../plane/index.ts';
import type { SourceKey } from '../sources.ts';
import type { ControlSoftware } from './control.ts';

/** How the spot moves, with the times that a stopwatch can fit. Every number is ≥ 0, speeds and accelerations > 0. */
export type Motion = GalvoMotion | GantryMotion;

/**
 * What a machine does with bare places: `skipped`: lines without dots and the bare ends of lines are left out.
 * `line-ends-scanned`: a line with dots is scanned over the whole width of the bitmap. `all-scanned`: so is every line.
 * `dot-by-dot`: every dot that fires is burned by itself, and bare dots are crossed quickly, within a line as well.
 */
export type BareHandling = 'skipped' | 'line-ends-scanned' | 'all-scanned' | 'dot-by-dot';

/** A rotary that turns a piece from line to line, as far as its machine's file says; absent numbers are assumed. */
export interface RotaryMotion {
  /** Highest speed, degrees a second. */
  readonly rotarySpeedDegPerS?: number;
  /** Acceleration, degrees a second each second. */
  readonly rotaryAccelerationDegPerS2?: number;
  /** Wait after each turn until it stands still, ms. */
  readonly rotarySettleMs?: number;
}

export interface GalvoMotion extends RotaryMotion {
  readonly kind: 'galvo';
  /** Absent: `skipped`. */
  readonly bare?: BareHandling;
  /** Speed of jumps with the beam off, mm/s. */
  readonly jumpSpeedMmPerS: number;
  /** Acceleration of the spot on the work, mm/s²: of jumps, and of the run-up and run-out of a scan line. */
  readonly accelerationMmPerS2: number;
  /** Settling time after a jump of any length, µs. */
  readonly jumpDelayUs: number;
  /**
   * Time constant with which the mirrors come to rest: longer jumps settle for longer, by so much for each e-fold, µs;
   * absent: 0.
   */
  readonly settlingUs?: number;
  /** Wait at the end of a scan line, µs. */
  readonly lineDelayUs: number;
  /** Time lost by switching the beam on, and off, once a scan line, µs. */
  readonly beamOnDelayUs: number;
  readonly beamOffDelayUs: number;
  /** Start and end of a job, s. */
  readonly jobOverheadS: number;
  /** Of machines that burn dot by dot alone: what a dot takes beside its pitch at scan speed, µs; absent: 0. */
  readonly dotDelayUs?: number;
  /** What each gap between the dots of a line takes whatever its length, µs; absent: 0. */
  readonly gapDelayUs?: number;
  /** Speed over the bare dots between, mm/s; absent: the jump speed. */
  readonly skipSpeedMmPerS?: number;
}

export interface GantryMotion extends RotaryMotion {
  readonly kind: 'gantry';
  /** Absent: `skipped`. */
  readonly bare?: Exclude<BareHandling, 'dot-by-dot'>;
  /** Acceleration of each axis, mm/s². */
  readonly accelerationMmPerS2: number;
  /** Time in which acceleration builds up, and dies away again, ms; absent: 0, at once. */
  readonly accelerationRiseMs?: number;
  /** Speed of each axis in travel with the beam off, mm/s. */
  readonly travelSpeedMmPerS: number;
  /** Extra run beyond the marks at each end of a scan line, mm, added to what acceleration needs. */
  readonly overtravelMm: number;
  /** Wait at the end of each scan line, ms. */
  readonly turnDelayMs: number;
  readonly jobOverheadS: number;
}

export interface Range {
  readonly min: number;
  readonly max: number;
}

/** Where a group of a machine's numbers comes from. */
export interface Origin {
  readonly kind: 'published' | 'measured' | 'assumed';
  readonly source: SourceKey;
  readonly note: string;
}

/**
 * How far the numbers of a motion may be off.
 * `assumed`: with 95 % likelihood each lies between value / factor and value × factor; factors > 1.
 * `fitted`: to stopwatch readings.
 */
export type MotionUncertainty =
  | { readonly kind: 'assumed'; readonly factors: MotionFactors }
  | ({ readonly kind: 'fitted' } & FittedUncertainty);

export interface MotionFactors {
  /** Of jump or travel speed. */
  readonly speed: number;
  readonly acceleration: number;
  /** Of all waits of a line together, of settling, of the rise of acceleration, and of overtravel. */
  readonly delay: number;
  readonly overhead: number;
}

/** What a fit to stopwatch readings left open. */
export interface FittedUncertainty {
  /** Day of the fit, ISO 8601. */
  readonly date: string;
  /** Readings that were used, and readings that looked wrong and were left out. */
  readonly readings: number;
  readonly leftOut: number;
  /** What rows and columns of the covariance mean: the fitted numbers (see `listMotionParameters`). */
  readonly parameters: readonly string[];
  /** In squares and products of the parameters' units. */
  readonly covariance: readonly (readonly number[])[];
  /** Standard deviation of whole jobs about the fitted motion, as a share of their time. */
  readonly misfitShare: number;
  /** Standard deviation of one stopwatch reading, s. */
  readonly readingErrorS: number;
  /** Of Student's distribution that the intervals are taken from, > 2. */
  readonly degreesOfFreedom: number;
}

/** A laser with one lens. Facts of a machine are data in shared/ or in the shop folder, never code. */
export interface Machine {
  readonly schema: 'tonewright-machine/1';
  readonly name: string;
  readonly title: string;
  readonly wavelengthNm: number;
  readonly emission: 'pulsed' | 'continuous';
  /** Beam quality M², ≥ 1. */
  readonly beamQualityM2: number;
  /** 1/e² diameter of the beam at the lens, mm. */
  readonly beamDiameterMm: number;
  readonly focalLengthMm: number;
  /** Clear aperture of the lens or of the scan mirrors, mm, where known. */
  readonly lensApertureMm?: number;
  /** Spot diameter as measured, µm; absent: computed from the lens. */
  readonly spotDiameterUm?: number;
  /** Largest width and height that can be burned, mm. */
  readonly fieldMm: readonly [width: number, height: number];
  /** Mean power at the work, W. */
  readonly powerW: Range;
  readonly speedMmPerS: Range;
  /** Pulse repetition rate, kHz; every pulsed machine has it. */
  readonly rateKHz?: Range;
  readonly pulseNs?: Range;
  /** Shortest time for which the beam can be on, or off, µs; absent: it follows every dot. */
  readonly switchingUs?: number;
  /** Power levels per dot that the machine can modulate, 2 … 256; 2 when it only fires or not. */
  readonly levels: number;
  /** How its control software counts; absent: nothing is known, and sheets say W, mm/s and kHz. */
  readonly control?: ControlSoftware;
  /** How its controller reads programs of ISO 6983; absent: it is not known to read any, and none is written. */
  readonly program?: ProgramWords;
  /** Where to start when no profile says better: settings, including the scan direction. */
  readonly defaults: BurnSettings;
  readonly motion: Motion;
  /** Absent: assumed, with the factors of `ASSUMED_MOTION_FACTORS`. */
  readonly motionUncertainty?: MotionUncertainty;
  /** Cautions for this wavelength and kind, plain words. */
  readonly cautions: readonly { readonly text: string; readonly source: SourceKey }[];
  /** Origin of the numbers, by group: lens and beam and field, ranges of settings, motion, default settings. */
  readonly origins: {
    readonly optics: Origin;
    readonly ranges: Origin;
    readonly motion: Origin;
    readonly defaults: Origin;
  };
}
