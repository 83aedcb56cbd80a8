import type { Cells } from './cells.ts';
import type { PhotoPart } from './choose-crop.ts';
import { quantileBin } from './statistics.ts';

/**
 * The ellipse about a face that may be skin: radii as shares of the box's sides, and how far up its middle lies, a
 * share of the height. Assumed, by eye: forehead and chin are in, hair is told by its lightness.
 */
const ELLIPSE = { across: 0.62, down: 0.72, up: 0.1 } as const;
/** Squared radius up to which a place is fully inside, a share. Assumed: the rest is a soft edge. */
const INNER = 0.6;
/**
 * Difference from the middle of the skin up to which a cell is skin, and from which it is none, L*. Assumed, by eye:
 * light and shade of a face lie within, brows and hair beyond.
 */
const SAME_L = 12;
const OTHER_L = 28;

/**
 * How much each cell is the skin of a face, 0 … 1: inside its ellipse and about as light as the middle of it. Undefined
 * where there is none. Boxes are shares of the picture.
 */
export function mapSkin({ width, height, data }: Cells, boxes: readonly PhotoPart[]): Float32Array | undefined {
  const out = new Float32Array(data.length);
  let found = false;
  for (const box of boxes) {
    const [cx, cy] = [(box.x + box.width / 2) * width, (box.y + (0.5 - ELLIPSE.up) * box.height) * height];
    const [rx, ry] = [ELLIPSE.across * box.width * width, ELLIPSE.down * box.height * height];
    const [left, right] = [Math.max(0, Math.floor(cx - rx)), Math.min(width, Math.ceil(cx + rx))];
    const [top, bottom] = [Math.max(0, Math.floor(cy - ry)), Math.min(height, Math.ceil(cy + ry))];
    const counts = new Uint32Array(101);
    const distanceAt = (x: number, y: number) => ((x + 0.5 - cx) / rx) ** 2 + ((y + 0.5 - cy) / ry) ** 2;
    for (let y = top; y < bottom; y++) {
      for (let x = left; x < right; x++) {
        if (distanceAt(x, y) > INNER) continue;
        counts[Math.min(100, Math.max(0, Math.round(data[y * width + x])))]++;
      }
    }
    const middle = quantileBin(counts, 0.5);
    if (middle === undefined) continue;
    found = true;
    for (let y = top; y < bottom; y++) {
      for (let x = left; x < right; x++) {
        const inside = Math.min(1, Math.max(0, (1 - distanceAt(x, y)) / (1 - INNER)));
        const alike = Math.min(1, Math.max(0, (OTHER_L - Math.abs(data[y * width + x] - middle)) / (OTHER_L - SAME_L)));
        const at = y * width + x;
        out[at] = Math.max(out[at], inside * alike);
      }
    }
  }
  return found ? out : undefined;
}
