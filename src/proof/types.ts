import type { Lab } from '../colour/index.ts';

/** The two colours of a surface and how they mix. */
export interface SurfaceColours {
  readonly bare: Lab;
  readonly full: Lab;
  /** Yule-Nielsen n ≥ 1. */
  readonly yuleNielsenN: number;
}
