import { createDots, type Dots, ONE, type Plane } from '../plane/index.ts';

const HALF = (ONE + 1) / 2;
/** Largest sixteenfold sum at which the dot stays bare: rounding is part of the sum, so the test needs no shift. */
const BARE_LIMIT = 16 * HALF - 1;

/**
 * Floyd and Steinberg's diffusion to two levels, the same bits as `diffuseFixed` in less than half its time.
 *
 * A row is one chain of dependent steps, so the chain is all that counts: everything known from the row above is summed
 * off it, and the comparison works on the sum before the division by 16. The choice is a mask and not a condition
 * because a halftone's bits are what a branch predictor cannot predict. The errors of one row are enough: the value
 * about to be overwritten is kept as `behind` (see benchmarks/screens.ts).
 */
export function diffuseFloydSteinberg(coverage: Plane<'coverage'>, scan: 'raster' | 'serpentine'): Dots {
  const { width, height, data: asked } = coverage;
  const dots = createDots(width, height);
  const fires = dots.data;
  /** Errors of the row above, one bare dot before and after. */
  const errors = new Int32Array(width + 2);
  // The row above ran the same way (raster) or the other way (serpentine): its shares 3 and 1 change sides.
  const behindShare = scan === 'raster' ? 1 : 3;
  const aheadShare = 4 - behindShare;
  for (let y = 0; y < height; y++) {
    const step = scan === 'serpentine' && (y & 1) === 1 ? -1 : 1;
    let x = step > 0 ? 0 : width - 1;
    let behind = 0;
    let above = errors[x + 1];
    let carried = 0;
    for (let left = width, at = y * width + x; left > 0; left--) {
      const ahead = errors[x + 1 + step];
      const fromAbove = Math.imul(behind, behindShare) + Math.imul(above, 5) + Math.imul(ahead, aheadShare);
      const sum = (asked[at] << 4) + fromAbove + 8 + carried;
      const mask = (BARE_LIMIT - sum) >> 31;
      const owed = sum >> 4;
      fires[at] = mask & 1;
      errors[x + 1] = owed - (mask & ONE);
      carried = (owed << 3) - owed - (mask & (7 * ONE));
      behind = above;
      above = ahead;
      x += step;
      at += step;
    }
  }
  return dots;
}
