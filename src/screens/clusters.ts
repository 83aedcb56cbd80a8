import type { DotGrid } from '../plane/index.ts';
import type { ThresholdMask } from './threshold-mask.ts';

export interface ClusterSides {
  /** Dots. */
  readonly width: number;
  readonly height: number;
}

/** Sides of the block of at least so many dots that is the most nearly square on the work, the smaller of equals. */
export function clusterSides(dots: number, { pitchMm, lineSpacingMm }: DotGrid): ClusterSides {
  let best: ClusterSides = { width: dots, height: 1 };
  let least = Number.POSITIVE_INFINITY;
  for (let width = 1; width <= dots; width++) {
    const height = Math.ceil(dots / width);
    const unequal = Math.abs(Math.log((width * pitchMm) / (height * lineSpacingMm)));
    // A spare dot costs as much as a tenth of a side.
    const cost = unequal + 0.1 * ((width * height) / dots - 1);
    if (cost < least - 1e-9) {
      least = cost;
      best = { width, height };
    }
  }
  return best;
}

/**
 * A mask in which every threshold serves a whole block of dots: on an even tone no cluster, and no hole, is smaller. Of
 * a blue-noise mask that makes green noise, clusters spread as evenly as blue noise spreads dots (source:
 * 'lauArceGallagher1999', from memory, for the idea; its masks let clusters grow in any shape, and these do not, which
 * is what keeps the smallest one whole).
 */
export function widenMask({ width, height, thresholds }: ThresholdMask, block: ClusterSides): ThresholdMask {
  const wide = width * block.width;
  const tall = height * block.height;
  const widened = new Uint16Array(wide * tall);
  for (let y = 0, at = 0; y < tall; y++) {
    const row = Math.floor(y / block.height) * width;
    for (let x = 0; x < wide; x++, at++) widened[at] = thresholds[row + Math.floor(x / block.width)];
  }
  return { width: wide, height: tall, thresholds: widened };
}
