import type { SourceKey } from '../sources.ts';

/**
 * One share of the error: how many dots ahead in the scan's direction, how many rows below, how much of the divisor.
 */
export type Tap = readonly [ahead: number, below: number, share: number];

export interface DiffusionKernel {
  /** At most two dots and two rows away, none behind in the same row. */
  readonly taps: readonly Tap[];
  readonly divisor: number;
  /** Sum of the shares / divisor: 1 keeps the tone; less loses some on purpose. */
  readonly weightSum: number;
  readonly source: SourceKey;
}

/** Taps from rows as papers print them: `right` follows the dot, the rows below are centred under it. */
function tapsOf(right: readonly number[], ...below: readonly (readonly number[])[]): readonly Tap[] {
  const ahead = right.map((share, i): Tap => [i + 1, 0, share]);
  const under = below.flatMap((row, i) => row.map((share, j): Tap => [j - (row.length - 1) / 2, i + 1, share]));
  return [...ahead, ...under].filter(([, , share]) => share > 0);
}

/** Floyd and Steinberg, p. 76: the four shares. */
export const FLOYD_STEINBERG: DiffusionKernel = {
  taps: tapsOf([7], [3, 5, 1]),
  divisor: 16,
  weightSum: 1,
  source: 'floydSteinberg1976',
};

/** Minimised average error with the authors' twelve weights, read in source: 'ditherPunk'. */
export const JARVIS_JUDICE_NINKE: DiffusionKernel = {
  taps: tapsOf([7, 5], [3, 5, 7, 5, 3], [1, 3, 5, 3, 1]),
  divisor: 48,
  weightSum: 1,
  source: 'jarvisJudiceNinke1976',
};

/** Read in source: 'ditherPunk', which cites the report. Shares. */
export const STUCKI: DiffusionKernel = {
  taps: tapsOf([8, 4], [2, 4, 8, 4, 2], [1, 2, 4, 2, 1]),
  divisor: 42,
  weightSum: 1,
  source: 'stucki1981',
};

/** D. Burkes 1988, unpublished; its code constant, since the picture beside it there shows Stucki's rows. */
export const BURKES: DiffusionKernel = {
  taps: tapsOf([8, 4], [2, 4, 8, 4, 2]),
  divisor: 32,
  weightSum: 1,
  source: 'ditherPunk',
};

/** F. Sierra, unpublished: three rows. */
export const SIERRA: DiffusionKernel = {
  taps: tapsOf([5, 3], [2, 4, 5, 4, 2], [2, 3, 2]),
  divisor: 32,
  weightSum: 1,
  source: 'ditherPunk',
};

/** F. Sierra, unpublished: two rows. */
export const SIERRA_TWO_ROW: DiffusionKernel = {
  taps: tapsOf([4, 3], [1, 2, 3, 2, 1]),
  divisor: 16,
  weightSum: 1,
  source: 'ditherPunk',
};

/** F. Sierra, unpublished: three shares, the last of them straight below. */
export const SIERRA_LITE: DiffusionKernel = {
  taps: tapsOf([2], [1, 1, 0]),
  divisor: 4,
  weightSum: 1,
  source: 'ditherPunk',
};

/**
 * B. Atkinson, unpublished: six eighths of the error go on, two are dropped, which clears highlights and fills shadows.
 * Shares.
 */
export const ATKINSON: DiffusionKernel = {
  taps: tapsOf([1, 1], [1, 1, 1], [1]),
  divisor: 8,
  weightSum: 0.75,
  source: 'ditherPunk',
};
