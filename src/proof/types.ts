import type { Lab } from '../colour/index.ts';
import type { DotGrid } from '../plane/index.ts';

/**
 * Mean strength of one dot cell by the dots around it, with the colours that strength runs between: the shape that this
 * folder needs of a dot table.
 */
export interface DotTable {
  readonly grid: DotGrid;
  /** The neighbourhood, dots along and across the scan: 3 or 5. */
  readonly columns: number;
  readonly rows: number;
  /** Whether the corners count; a 5 × 5 neighbourhood leaves them out. */
  readonly corners: boolean;
  /**
   * Mean strength of the middle cell, 0 bare … 1 solid. Index: columns from left to right, in each the dots from top to
   * bottom, the first dot is the highest bit.
   */
  readonly strength: Float32Array;
  readonly dose: DoseSampling;
  /** Relative luminance Y of bare and solid, 0 … 1, and Yule-Nielsen n of the mixing between. */
  readonly bareLuminance: number;
  readonly fullLuminance: number;
  readonly yuleNielsenN: number;
}

/** Doses at points of a cell, for dots of more than two levels. */
export interface DoseSampling {
  readonly samplesX: number;
  readonly samplesY: number;
  readonly radiusX: number;
  readonly radiusY: number;
  /** Dose of a full dot dx cells away at sample i is kernelX[(dx + radiusX)·samplesX + i] · kernelY[…]. */
  readonly kernelX: Float32Array;
  readonly kernelY: Float32Array;
  /** Strength of dose d is strengthOf[floor(d · indexPerDose)]. */
  readonly strengthOf: Float32Array;
  readonly indexPerDose: number;
}

/** The two colours of a surface and how they mix. */
export interface SurfaceColours {
  readonly bare: Lab;
  readonly full: Lab;
  /** Yule-Nielsen n ≥ 1. */
  readonly yuleNielsenN: number;
}
