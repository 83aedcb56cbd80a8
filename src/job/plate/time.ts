import {
  estimateInterval,
  estimateTimeOfPath,
  findExtents,
  type Machine,
  type TimeInterval,
  tracePath,
} from '../../machine/index.ts';
import type { BurnSettings } from '../../optics/index.ts';
import type { DotGrid, Dots } from '../../plane/index.ts';

export interface BitmapTime {
  readonly seconds: number;
  readonly interval: TimeInterval;
}

/** How long a bitmap takes on a machine, and between which times by what is known of it. */
export function timeBitmap(
  dots: Dots,
  { machine, settings, grid }: { readonly machine: Machine; readonly settings: BurnSettings; readonly grid: DotGrid },
): BitmapTime {
  const { motion, motionUncertainty: uncertainty } = machine;
  const path = tracePath(findExtents(dots), { scan: settings.scan, bare: motion.bare });
  const { seconds } = estimateTimeOfPath(path, { motion, settings, grid });
  return { seconds, interval: estimateInterval(path, { motion, settings, grid, uncertainty }) };
}

/**
 * One time after the other. What is not known of a machine is wrong the same way each time, so the ends of the
 * intervals add up, too.
 */
export function addTimes(times: readonly BitmapTime[]): BitmapTime {
  const sumOf = (read: (time: BitmapTime) => number) => times.reduce((sum, time) => sum + read(time), 0);
  const fitted = times.every(({ interval }) => interval.basis === 'fitted');
  return {
    seconds: sumOf(({ seconds }) => seconds),
    interval: {
      lowS: sumOf(({ interval }) => interval.lowS),
      highS: sumOf(({ interval }) => interval.highS),
      level: 0.95,
      basis: fitted ? 'fitted' : 'assumed',
    },
  };
}
