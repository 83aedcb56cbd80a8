import type { Plane } from '../plane/index.ts';

/**
 * Half the side of the neighbourhood whose mean a dot is compared with, dots. Assumed: 5 × 5 dots see an edge of one
 * dot's width; larger makes rims.
 */
const RADIUS = 2;

/**
 * Local contrast, row by row: what a dot is above the mean of the 5 × 5 dots around it, times the strength. Added to
 * the accumulated input in the choice alone, it makes edges fire earlier on their dark side and later on their light
 * one, and since the error passed on knows nothing of it, the tone is kept (source: 'eschbachKnox1991', from memory,
 * who modulate the threshold by the input itself; a local mean leaves slow gradients and the texture of flat tones
 * alone).
 * @param strength 0 none … 4.
 * @returns a function that gives the threshold modulation of row y, in units of coverage; rows must be asked for from
 * the top, one may be asked for again. The array is reused.
 */
export function createEdgeEnhancement(
  { width, height, data }: Plane<'coverage'>,
  strength: number,
): (y: number) => Int32Array {
  const sums = new Int32Array(width);
  const modulation = new Int32Array(width);
  const addRow = (y: number, sign: 1 | -1) => {
    if (y < 0 || y >= height) return;
    for (let x = 0, at = y * width; x < width; x++, at++) sums[x] += sign * data[at];
  };
  for (let y = 0; y < RADIUS; y++) addRow(y, 1);
  let done = -1;
  return (y) => {
    if (y === done) return modulation;
    done = y;
    addRow(y + RADIUS, 1);
    addRow(y - RADIUS - 1, -1);
    const rows = Math.min(height - 1, y + RADIUS) - Math.max(0, y - RADIUS) + 1;
    let sum = 0;
    for (let x = 0; x < Math.min(RADIUS, width); x++) sum += sums[x];
    for (let x = 0; x < width; x++) {
      if (x + RADIUS < width) sum += sums[x + RADIUS];
      if (x > RADIUS) sum -= sums[x - RADIUS - 1];
      const columns = Math.min(width - 1, x + RADIUS) - Math.max(0, x - RADIUS) + 1;
      modulation[x] = Math.round(strength * (data[y * width + x] - sum / (rows * columns)));
    }
    return modulation;
  };
}
