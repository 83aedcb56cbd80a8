import { createPlane, type Plane } from '../plane/index.ts';

/** A colour in a space where light adds, such as linear RGB or a linear opponent space. */
export type LinearColour = readonly [number, number, number];

export interface SeparateOptions {
  readonly width: number;
  readonly height: number;
  /** Colours that a dot may show: first the bare surface, then each mark; at most 255. */
  readonly colours: readonly LinearColour[];
  /**
   * Wanted colours of a row, three numbers a dot. Best inside the hull of `colours`, where the error stays small: what
   * lies outside would add to the error for ever.
   */
  readonly wantedOf: (y: number, row: Float64Array) => void;
  /** Share of each dot that may be marked, 0 … 255; where it is below half the dot stays bare and owes nothing. */
  readonly mask?: Plane<'mask'>;
}

/**
 * Shares of Floyd and Steinberg: ahead, below behind, below ahead; the rest, 5/16, goes below. source:
 * 'floydSteinberg1976'
 */
const [AHEAD, BEHIND, FORWARD] = [7 / 16, 3 / 16, 1 / 16];
/**
 * Largest error passed on, a factor of the largest distance of two colours. Assumed: flat sets of colours owe up to
 * twice of it before their turn comes; more is only reached where a wanted colour is outside the hull.
 */
const MOST = 4;

/**
 * Separates a picture into marks by vector error diffusion: each dot shows the colour nearest to the accumulated input,
 * bare or one of the marks, and what it misses is passed on in all three dimensions, serpentine. Light adds in the
 * space of the colours, so their mean over an area is kept, and a dot never gets two marks.
 * @returns the index of the colour of each dot, 0 bare.
 */
export function separateMarks({ width, height, colours, wantedOf, mask }: SeparateOptions): Plane<'bit'> {
  const chosen = createPlane('bit', width, height);
  const flat = Float64Array.from(colours.flat());
  const most = MOST * widestOf(colours);
  const wanted = new Float64Array(3 * width);
  let here = new Float64Array(3 * (width + 2));
  let below = new Float64Array(3 * (width + 2));
  for (let y = 0; y < height; y++) {
    wantedOf(y, wanted);
    below.fill(0);
    const step = y % 2 === 0 ? 1 : -1;
    const row = chosen.data.subarray(y * width, (y + 1) * width);
    const free = mask?.data.subarray(y * width, (y + 1) * width);
    separateRow({ row, wanted, here, below, step, flat, most, free });
    [here, below] = [below, here];
  }
  return chosen;
}

interface Row {
  readonly row: Uint8Array;
  readonly wanted: Float64Array;
  /** Errors that reach this row and the next, three a dot, with a dot more at either end. */
  readonly here: Float64Array;
  readonly below: Float64Array;
  readonly step: number;
  readonly flat: Float64Array;
  readonly most: number;
  readonly free: Uint8Array | undefined;
}

function separateRow({ row, wanted, here, below, step, flat, most, free }: Row): void {
  const count = flat.length / 3;
  for (let left = row.length, x = step > 0 ? 0 : left - 1; left > 0; left--, x += step) {
    if (free !== undefined && free[x] < 128) continue;
    const at = 3 * (x + 1);
    const a = wanted[3 * x] + here[at];
    const b = wanted[3 * x + 1] + here[at + 1];
    const c = wanted[3 * x + 2] + here[at + 2];
    let nearest = 0;
    let least = Number.POSITIVE_INFINITY;
    for (let k = 0; k < count; k++) {
      const da = a - flat[3 * k];
      const db = b - flat[3 * k + 1];
      const dc = c - flat[3 * k + 2];
      const distance = da * da + db * db + dc * dc;
      if (distance < least) {
        least = distance;
        nearest = k;
      }
    }
    row[x] = nearest;
    const scale = least > most * most ? most / Math.sqrt(least) : 1;
    // At the sides there is no dot ahead or behind: what it would get goes straight down, so that nothing is lost.
    const isLast = left === 1;
    const isFirst = left === row.length;
    const ahead = isLast ? 0 : AHEAD;
    const behind = isFirst ? 0 : BEHIND;
    const forward = isLast ? 0 : FORWARD;
    const straight = 1 - ahead - behind - forward;
    for (let i = 0; i < 3; i++) {
      const error = scale * ((i === 0 ? a : i === 1 ? b : c) - flat[3 * nearest + i]);
      here[at + 3 * step + i] += ahead * error;
      below[at - 3 * step + i] += behind * error;
      below[at + i] += straight * error;
      below[at + 3 * step + i] += forward * error;
    }
  }
}

function widestOf(colours: readonly LinearColour[]): number {
  let widest = 0;
  for (const [a0, a1, a2] of colours) {
    for (const [b0, b1, b2] of colours) widest = Math.max(widest, Math.hypot(a0 - b0, a1 - b1, a2 - b2));
  }
  return widest;
}
