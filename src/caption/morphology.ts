import type { Samples } from './outline.ts';

/**
 * Ink without what lies nearer to its edge than an ellipse of these half axes, in samples, reaches.
 * @param around what lies outside the samples: 1 ink, 0 none
 */
export function erodeInk(
  { width, height, data }: Samples,
  { x, y }: { readonly x: number; readonly y: number },
  around: 0 | 1,
): Samples {
  if (x <= 0 && y <= 0) return { width, height, data };
  // Distance of each sample from the next one without ink in its row, samples; 0 where there is none.
  const most = Math.ceil(x + 1) + 1;
  const distance = new Uint8Array(width * height);
  for (let row = 0; row < height; row++) fillDistances(data, distance, { from: row * width, width, most, around });
  const out = new Uint8Array(width * height);
  const reach = Math.ceil(y + 0.5);
  const offsets = Array.from({ length: 2 * reach + 1 }, (_, i) => i - reach)
    .map((dy) => {
      const off = Math.max(0, Math.abs(dy) - 0.5);
      const inside = off < y || dy === 0;
      const halfWidth = y > 0 ? x * Math.sqrt(Math.max(0, 1 - (off / y) ** 2)) : x;
      return { dy, inside, least: dy === 0 ? Math.max(1, x + 0.5) : Math.max(1, halfWidth + 0.5) };
    })
    .filter(({ inside }) => inside);
  for (let row = 0; row < height; row++) {
    const rows = offsets.filter(({ dy }) => around === 0 || (row + dy >= 0 && row + dy < height));
    for (let at = row * width; at < (row + 1) * width; at++) {
      if (!data[at]) continue;
      let kept = 1;
      for (const { dy, least } of rows) {
        const other = at + dy * width;
        if (other < 0 || other >= distance.length || distance[other]! < least) {
          kept = 0;
          break;
        }
      }
      out[at] = kept;
    }
  }
  return { width, height, data: out };
}

function fillDistances(
  data: Uint8Array,
  distance: Uint8Array,
  {
    from,
    width,
    most,
    around,
  }: { readonly from: number; readonly width: number; readonly most: number; readonly around: 0 | 1 },
): void {
  const start = around === 1 ? most : 0;
  let last = start;
  for (let at = from; at < from + width; at++) {
    last = data[at] ? Math.min(most, last + 1) : 0;
    distance[at] = last;
  }
  last = start;
  for (let at = from + width - 1; at >= from; at--) {
    last = data[at] ? Math.min(most, last + 1) : 0;
    if (last < distance[at]!) distance[at] = last;
  }
}

/** Ink where there was none, and none where there was. */
export function invertInk({ width, height, data }: Samples): Samples {
  return { width, height, data: data.map((value) => 1 - value) };
}
