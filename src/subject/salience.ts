import { tabulate } from '../numeric/index.ts';
import type { ColourImage } from '../plane/index.ts';
import type { Share } from './share.ts';

/** Scans of the picture, forth and back by turns. A count. Published (source: 'zhangEtAl2015', section 3.2). */
const SCANS = 3;
/**
 * A pixel stands out from this share of the greatest distance on … fully from that one on. Shares. Assumed, by eye on
 * animals and things: lower ones take in shadows on a wall.
 */
const STANDS_OUT = { from: 0.2, fully: 0.5 } as const;

/**
 * How far each pixel stands out from the picture's rim, 0 … 1: its minimum barrier distance, the smallest range of
 * codes that a path from the rim must cross (`zhangEtAl2015`, the raster scan; its later steps are left out). What is
 * joined to the rim by an even surface is ground, whatever its colour; a thing that the rim cuts is found as far as its
 * edges show. Meant for pictures of one to two hundred pixels.
 */
export function findSalience({ width, height, rgb }: ColourImage): Share {
  const sum = new Float32Array(width * height);
  for (let channel = 0; channel < 3; channel++) {
    const codes = tabulate(new Uint8Array(width * height), (at) => rgb[3 * at + channel]!);
    const distance = measureBarriers(codes, width, height);
    for (let at = 0; at < sum.length; at++) sum[at]! += distance[at]!;
  }
  let most = 0;
  for (let at = 0; at < sum.length; at++) if (sum[at]! > most) most = sum[at]!;
  const { from, fully } = STANDS_OUT;
  const data = sum.map((value) => Math.min(1, Math.max(0, (value / Math.max(1, most) - from) / (fully - from))));
  return { width, height, data };
}

function measureBarriers(codes: Uint8Array, width: number, height: number): Float32Array {
  const distance = new Float32Array(codes.length).fill(Number.POSITIVE_INFINITY);
  const low = codes.slice();
  const high = codes.slice();
  for (let y = 0; y < height; y++) {
    for (let x = 0; x < width; x++) {
      if (x === 0 || y === 0 || x === width - 1 || y === height - 1) distance[y * width + x] = 0;
    }
  }
  const take = (at: number, from: number) => {
    const least = Math.min(low[from]!, codes[at]!);
    const most = Math.max(high[from]!, codes[at]!);
    if (most - least >= distance[at]!) return;
    distance[at] = most - least;
    low[at] = least;
    high[at] = most;
  };
  for (let scan = 0; scan < SCANS; scan++) {
    const isBack = scan % 2 === 1;
    const step = isBack ? 1 : -1;
    for (let line = 1; line < height - 1; line++) {
      const y = isBack ? height - 1 - line : line;
      for (let column = 1; column < width - 1; column++) {
        const at = y * width + (isBack ? width - 1 - column : column);
        take(at, at + step * width);
        take(at, at + step);
      }
    }
  }
  return distance;
}
