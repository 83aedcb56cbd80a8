import type { Dots, Plane } from '../plane/index.ts';
import { ONE } from '../plane/index.ts';

/** What a ticket says about the dots of a job. */
export interface DotFacts {
  /** Mean dose, 0 bare … 1 solid. */
  readonly mean: number;
  /** Share of dots that fire at all. */
  readonly firing: number;
  /** Share of the firing dots that have no firing dot among their eight neighbours: some materials do not show these. */
  readonly isolated: number;
}

/** Facts about dots, for the ticket. */
export function describeDots({ width, height, data, levels }: Dots): DotFacts {
  let sum = 0;
  let firing = 0;
  let isolated = 0;
  // A bare border of one dot, so that neighbours need no bounds.
  const stride = width + 2;
  const padded = new Uint8Array(stride * (height + 2));
  for (let y = 0; y < height; y++) padded.set(data.subarray(y * width, (y + 1) * width), (y + 1) * stride + 1);
  for (let y = 1; y <= height; y++) {
    for (let at = y * stride + 1, end = at + width; at < end; at++) {
      const level = padded[at];
      if (level === 0) continue;
      sum += level;
      firing++;
      const up = at - stride;
      const down = at + stride;
      const beside = padded[at - 1] | padded[at + 1];
      const above = padded[up - 1] | padded[up] | padded[up + 1];
      const below = padded[down - 1] | padded[down] | padded[down + 1];
      if ((beside | above | below) === 0) isolated++;
    }
  }
  const count = width * height;
  return {
    mean: sum / (count * (levels - 1)),
    firing: firing / count,
    isolated: firing === 0 ? 0 : isolated / firing,
  };
}

/** Shares of the plane in ten equal bins of coverage, 0 … 0.1 first; a coverage of exactly 1 is in the last. Sum 1. */
export function coverageHistogram({ data }: Plane<'coverage'>): readonly number[] {
  const counts = new Array<number>(10).fill(0);
  for (let i = 0; i < data.length; i++) counts[Math.min(9, Math.floor((data[i] * 10) / ONE))]++;
  return counts.map((count) => count / data.length);
}
