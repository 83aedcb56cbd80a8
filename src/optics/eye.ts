import type { SourceKey } from '../sources.ts';

/**
 * Näsänen's contrast sensitivity falls as exp(−f/(c·ln L + d)), f in cycles per degree, L in cd/m². source:
 * 'nasanen1984', as quoted in published direct-binary-search code. Published.
 */
export const NASANEN_1984 = { c: 0.525, d: 3.91, source: 'nasanen1984' satisfies SourceKey } as const;

/** Assumed: luminance of a work piece looked at in a lit room, cd/m², and how far away it is held, mm. */
export const VIEWING = { luminanceCdPerM2: 100, viewingDistanceMm: 300 } as const;

export interface ViewingOptions {
  readonly viewingDistanceMm?: number;
  readonly luminanceCdPerM2?: number;
}

/**
 * Standard deviation of the eye's blur on the work, mm. The blur is the Gaussian that halves contrast at the frequency
 * where Näsänen's exponential does, f½ = ln 2·(c·ln L + d): a Gaussian has no far tails, which keeps the filter short
 * and separable, and is within 0.19 of the exponential in contrast at every frequency.
 */
export function computeEyeBlurMm({
  viewingDistanceMm = VIEWING.viewingDistanceMm,
  luminanceCdPerM2 = VIEWING.luminanceCdPerM2,
}: ViewingOptions = {}): number {
  const halfContrastCpd = Math.LN2 * (NASANEN_1984.c * Math.log(luminanceCdPerM2) + NASANEN_1984.d);
  const sigmaDeg = Math.sqrt(Math.LN2 / 2) / (Math.PI * halfContrastCpd);
  return viewingDistanceMm * Math.tan((sigmaDeg * Math.PI) / 180);
}
