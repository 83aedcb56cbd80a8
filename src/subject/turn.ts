import type { ColourImage } from '../plane/index.ts';
import type { Point } from './place.ts';
import type { Share } from './share.ts';

/** Clockwise, degrees. */
export type QuarterTurn = 0 | 90 | 180 | 270;

/** A small picture, turned clockwise. */
export function turnImage(image: ColourImage, turn: QuarterTurn): ColourImage {
  if (turn === 0) return image;
  const { width, height, rgb } = image;
  const size = turn === 180 ? { width, height } : { width: height, height: width };
  const out = new Uint8Array(rgb.length);
  // Where the first pixel goes, and how far from there the next one of its row and of its column go.
  const [first, along, down] =
    turn === 90
      ? [height - 1, height, -1]
      : turn === 180
        ? [width * height - 1, -1, -width]
        : [(width - 1) * height, -height, 1];
  for (let y = 0; y < height; y++) {
    for (let x = 0; x < width; x++) {
      const [from, to] = [3 * (y * width + x), 3 * (first + x * along + y * down)];
      out[to] = rgb[from]!;
      out[to + 1] = rgb[from + 1]!;
      out[to + 2] = rgb[from + 2]!;
    }
  }
  return { ...size, rgb: out };
}

/** Where a place of a picture comes to lie once it is turned. Shares of the width and height. */
export function turnPoint({ x, y }: Point, turn: QuarterTurn): Point {
  if (turn === 90) return { x: 1 - y, y: x };
  if (turn === 180) return { x: 1 - x, y: 1 - y };
  return turn === 270 ? { x: y, y: 1 - x } : { x, y };
}

export function turnShare(share: Share, turn: QuarterTurn): Share {
  const { width, height, data } = share;
  const size = turn % 180 === 0 ? { width, height } : { width: height, height: width };
  const out = new Float32Array(data.length);
  for (let y = 0; y < height; y++) {
    for (let x = 0; x < width; x++) {
      const to = turnPoint({ x: (x + 0.5) / width, y: (y + 0.5) / height }, turn);
      out[Math.floor(to.y * size.height) * size.width + Math.floor(to.x * size.width)] = data[y * width + x]!;
    }
  }
  return { ...size, data: out };
}
