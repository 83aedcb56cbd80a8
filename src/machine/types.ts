import type { SourceKey } from '../sources.ts';

/** How the spot moves, with the times that a stopwatch can fit. */
export type Motion = GalvoMotion | GantryMotion;

export interface GalvoMotion {
  readonly kind: 'galvo';
  /** Speed of jumps with the beam off, mm/s. */
  readonly jumpSpeedMmPerS: number;
  /** Acceleration of the mirrors at the work, mm/s²: run-up and run-out before and after a scan line. */
  readonly accelerationMmPerS2: number;
  /** Settling time after a jump, µs. */
  readonly jumpDelayUs: number;
  /** Wait at the end of a scan line, µs. */
  readonly lineDelayUs: number;
  /** Time to switch the beam on, and off, µs. */
  readonly beamOnDelayUs: number;
  readonly beamOffDelayUs: number;
  /** Start and end of a job, s. */
  readonly jobOverheadS: number;
}

export interface GantryMotion {
  readonly kind: 'gantry';
  readonly accelerationMmPerS2: number;
  /** Speed of travel with the beam off, mm/s. */
  readonly travelSpeedMmPerS: number;
  /** Extra run beyond the marks at each end of a scan line, mm, added to what acceleration needs. */
  readonly overtravelMm: number;
  /** Wait at each turn, ms. */
  readonly turnDelayMs: number;
  readonly jobOverheadS: number;
}

export interface Range {
  readonly min: number;
  readonly max: number;
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
  /** Spot diameter as measured, µm; absent: computed from the lens. */
  readonly spotDiameterUm?: number;
  /** Largest width and height that can be burned, mm. */
  readonly fieldMm: readonly [number, number];
  readonly powerW: Range;
  readonly speedMmPerS: Range;
  readonly rateKHz?: Range;
  readonly pulseNs?: Range;
  /** Power levels per dot that the machine can modulate; 2 when it only fires or not. */
  readonly levels: number;
  readonly scan: 'one-way' | 'two-way';
  readonly motion: Motion;
  /** Cautions for this wavelength and kind, plain words. */
  readonly cautions: readonly { readonly text: string; readonly source: SourceKey }[];
  readonly origin: {
    readonly kind: 'published' | 'measured' | 'assumed';
    readonly source: SourceKey;
    readonly note: string;
  };
}
