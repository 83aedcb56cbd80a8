import { createRandom } from '../numeric/index.ts';
import { ONE, type Plane } from '../plane/index.ts';

/**
 * Rows that are screened before the first one and thrown away; even, so that a serpentine keeps its turns. Assumed:
 * three times the twenty rows that a light tone takes to begin.
 */
const WARM_UP_ROWS = 64;
/**
 * In the first rows of these no tone is nearer to bare or solid than this share, falling to nothing over so many rows.
 * Assumed: dots of an eighth lie three apart, so that the texture forms at once.
 */
const FILL = { share: 0.12, rows: 24 } as const;

/**
 * Rows to screen before the first one of a plane. Error diffusion that starts without error begins a light tone up to
 * twenty rows late, all across at once, and a dark one with as many rows solid: a band at the top of a flat sky. Here
 * it has been running on the plane's mirror image when the first row comes. It began there with a row of chance, which
 * makes the error as uneven as it always is further down, and with tones moved away from the ends, which brings it
 * there quickly. Where the top is exactly bare or solid these rows are so, too.
 */
export function listWarmUpRows({ width, height, data }: Plane<'coverage'>): Uint16Array[] {
  const random = createRandom(1);
  return Array.from({ length: WARM_UP_ROWS }, (_, i) => {
    const y = (WARM_UP_ROWS - 1 - i) % height;
    const row = data.subarray(y * width, (y + 1) * width);
    if (i >= FILL.rows) return row;
    const least = Math.max(1, Math.round(ONE * FILL.share * (1 - i / FILL.rows)));
    return row.map((value) => {
      if (value === 0 || value === ONE) return value;
      const wanted = i === 0 ? random.nextUint32() >>> 17 : value;
      return Math.min(ONE - least, Math.max(least, wanted));
    });
  });
}
