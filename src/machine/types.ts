import type { BurnSettings } from '../optics/index.ts';
import type { SourceKey } from '../sources.ts';

/** How the spot moves, with the times that a stopwatch can fit. Every number is ≥ 0, speeds and accelerations > 0. */
export type Motion = GalvoMotion | GantryMotion;

export interface GalvoMotion {
  readonly kind: 'galvo';
  /** Speed of jumps with the beam off, mm/s. */
  readonly jumpSpeedMmPerS: number;
  /** Acceleration of the spot on the work, mm/s²: of jumps, and of the run-up and run-out of a scan line. */
  readonly accelerationMmPerS2: number;
  /** Settling time after a jump, µs. */
  readonly jumpDelayUs: number;
  /** Wait at the end of a scan line, µs. */
  readonly lineDelayUs: number;
  /** Time lost by switching the beam on, and off, once a scan line, µs. */
  readonly beamOnDelayUs: number;
  readonly beamOffDelayUs: number;
  /** Start and end of a job, s. */
  readonly jobOverheadS: number;
}

export interface GantryMotion {
  readonly kind: 'gantry';
  /** Acceleration of each axis, mm/s². */
  readonly accelerationMmPerS2: number;
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
  /** Power levels per dot that the machine can modulate, 2 … 256; 2 when it only fires or not. */
  readonly levels: number;
  /** Where to start when no profile says better: settings, including the scan direction. */
  readonly defaults: BurnSettings;
  readonly motion: Motion;
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
