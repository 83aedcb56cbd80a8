/**
 * Ranks of Bayer's dispersed-dot matrix by its recursion M(2n) = [[4M, 4M + 2], [4M + 3, 4M + 1]], M(1) = 0
 * (source: 'bayer1973').
 * @param size power of two, 1 … 256.
 * @returns size × size ranks 0 … size² − 1, row-major.
 * @throws RangeError when the size is not a power of two in its range.
 */
export function generateBayer(size: number): Uint16Array {
  if (!Number.isInteger(size) || size < 1 || size > 256 || (size & (size - 1)) !== 0) {
    throw new RangeError(`Bayer's matrix needs a side that is a power of two 1 … 256, got ${size}`);
  }
  const ranks = new Uint16Array(size * size);
  for (let half = 1; half < size; half *= 2) {
    for (let y = 0; y < half; y++) {
      for (let x = 0; x < half; x++) {
        const rank = 4 * ranks[y * size + x];
        ranks[y * size + x] = rank;
        ranks[y * size + x + half] = rank + 2;
        ranks[(y + half) * size + x] = rank + 3;
        ranks[(y + half) * size + x + half] = rank + 1;
      }
    }
  }
  return ranks;
}
