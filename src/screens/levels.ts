import { tabulate } from '../numeric/index.ts';
import { ONE } from '../plane/index.ts';

/**
 * Coverage that each output level stands for, 0 … ONE, length `levels`.
 * A level's share k/(levels − 1) is rounded to the coverage's own step, so a mean is exact to 1.5e-5.
 */
export function coverageOfLevels(levels: number): Int32Array {
  return tabulate(new Int32Array(levels), (level) => Math.round((level * ONE) / (levels - 1)));
}
