import { isWhole } from './counts.ts';
import type { Plane } from './plane.ts';

/**
 * Multiplies coverage by a mask of its size, in place: where the mask is 0 the work stays bare, whatever the tone asked
 * for.
 */
export function applyMask({ width, height, data }: Plane<'coverage'>, mask: Plane<'mask'>): void {
  for (let y = 0; y < height; y++) {
    const shares = mask.data.subarray(y * width, (y + 1) * width);
    if (!isWhole(shares)) maskRow(data.subarray(y * width, (y + 1) * width), shares);
  }
}

function maskRow(row: Uint16Array, shares: Uint8Array): void {
  for (let x = 0; x < row.length; x++) {
    const share = shares[x];
    if (share !== 255) row[x] = Math.round((row[x] * share) / 255);
  }
}
