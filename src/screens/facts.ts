import { countFiring, type Dots, ONE } from '../plane/index.ts';

/** Mean dose of the dots, 0 bare … 1 solid. */
export function meanDose(dots: Dots): number {
  const { data, levels } = dots;
  if (levels === 2) return countFiring(dots) / data.length;
  let sum = 0;
  for (let i = 0; i < data.length; i++) sum += data[i];
  return sum / (data.length * (levels - 1));
}

export interface CoverageFacts {
  /** Mean coverage, 0 bare … 1 solid. */
  readonly mean: number;
  /** Shares of the plane in ten equal bins, 0 … 0.1 first; a coverage of exactly 1 is in the last. Sum 1. */
  readonly histogram: readonly number[];
}

/** Facts about a coverage plane, from how often each of the values 0 … ONE occurs in it. */
export function describeCounts(counts: ArrayLike<number>): CoverageFacts {
  const bins = new Array<number>(10).fill(0);
  let sum = 0;
  let length = 0;
  for (let value = 0; value <= ONE; value++) {
    bins[Math.min(9, Math.floor((value * 10) / ONE))] += counts[value];
    sum += value * counts[value];
    length += counts[value];
  }
  return { mean: sum / length / ONE, histogram: bins.map((count) => count / length) };
}
