import type { SourceKey } from '../sources.ts';

/** Weights at one input level, 0 … 127; the table is symmetric, level 255 − n uses row n. */
export type WeightKnot = readonly [level: number, ahead: number, belowBehind: number, below: number];

/** A diffusion whose three weights depend on the tone asked for, the scan being serpentine. */
export interface VariableKernel {
  /** Between knots the weights, each knot's divided by their sum, are linear in the level. */
  readonly knots: readonly WeightKnot[];
  /** Strength of the random threshold by level, percent of half the range, linear between knots. */
  readonly modulation: readonly (readonly [level: number, percent: number])[];
  readonly weightSum: number;
  readonly source: SourceKey;
}

/**
 * Knots of the table in the author's own program ("varcoeffED.c version 1, August 2001"); linear interpolation gives
 * its 128 rows exactly (tested). Another table circulates under the same name: it has its eighth knot at 32, not 36.
 */
export const OSTROMOUKHOV: VariableKernel = {
  knots: [
    [0, 13, 0, 5],
    [1, 13, 0, 5],
    [2, 21, 0, 10],
    [3, 7, 0, 4],
    [4, 8, 0, 5],
    [10, 7, 3, 3],
    [22, 3, 2, 1],
    [36, 5, 3, 3],
    [64, 1, 1, 0],
    [72, 5, 7, 1],
    [77, 4, 1, 1],
    [85, 4, 1, 1],
    [95, 5, 3, 2],
    [107, 5, 3, 2],
    [127, 4, 1, 1],
  ],
  modulation: [
    [0, 0],
    [127, 0],
  ],
  weightSum: 1,
  source: 'ostromoukhov2001',
};

/**
 * Knots of the table in the authors' program (github.com/cczbf/TMED, commit d123078, tmed.cpp). Its other rows are the
 * interpolation rounded to six decimals: 3.1e-6 apart at most (tested). The modulation, cut to whole percents, is
 * equal.
 */
export const ZHOU_FANG: VariableKernel = {
  knots: [
    [0, 13, 0, 5],
    [1, 1300249, 0, 499250],
    [2, 214114, 287, 99357],
    [3, 351854, 0, 199965],
    [4, 801100, 0, 490999],
    [10, 704075, 297466, 303694],
    [22, 46613, 31917, 21469],
    [32, 47482, 30617, 21900],
    [40, 45959, 24089, 29950],
    [44, 43024, 42131, 14826],
    [64, 36411, 43219, 20369],
    [72, 38477, 53843, 7678],
    [77, 40503, 51547, 7948],
    [85, 35865, 34108, 30026],
    [95, 34117, 36899, 28983],
    [102, 35132, 36059, 28807],
    [107, 16477, 18810, 14712],
    [112, 33360, 37954, 28685],
    [127, 35269, 36066, 28664],
  ],
  modulation: [
    [0, 0],
    [40, 30],
    [44, 34],
    [64, 50],
    [80, 100],
    [85, 100],
    [95, 17],
    [102, 50],
    [107, 70],
    [112, 79],
    [127, 100],
  ],
  weightSum: 1,
  source: 'zhouFang2003',
};

/** Share of the error that goes ahead, and below behind the scan; the rest goes straight below. */
export interface LevelWeights {
  readonly ahead: number;
  readonly belowBehind: number;
  /** 0 … 1 of half the range. */
  readonly modulation: number;
}

/** The kernel's row for one input level, 0 … 255. */
export function weightsAt(kernel: VariableKernel, level: number): LevelWeights {
  const row = Math.min(level, 255 - level);
  const [from, to, share] = bracket(kernel.knots, row);
  const mix = (part: 1 | 2) => (1 - share) * normalise(from, part) + share * normalise(to, part);
  const [low, high, between] = bracket(kernel.modulation, row);
  return {
    ahead: mix(1),
    belowBehind: mix(2),
    modulation: ((1 - between) * low[1] + between * high[1]) / 100,
  };
}

function normalise([, ahead, belowBehind, below]: WeightKnot, part: 1 | 2): number {
  return (part === 1 ? ahead : belowBehind) / (ahead + belowBehind + below);
}

/** The knots around a level and where it lies between them, 0 … 1. */
function bracket<K extends readonly [number, ...number[]]>(knots: readonly K[], level: number): [K, K, number] {
  const next = Math.max(
    1,
    knots.findIndex(([at]) => at >= level),
  );
  const from = knots[next - 1]!;
  const to = knots[next]!;
  return [from, to, (level - from[0]) / (to[0] - from[0])];
}
