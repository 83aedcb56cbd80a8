// What lies on the table of the second camera: grained boards, a ruler, printed cards, and charts burned into pieces of
// coloured stock. Written without the scenes of benchmarks/common.
import type { ChartLayout } from '../../src/chart/index.ts';
import type { Dots } from '../../src/plane/index.ts';
import { createOtherRandom } from './engraver.ts';

export type Rgb = readonly [red: number, green: number, blue: number];

/** Writes the linear reflectance of a place; false where there is nothing. */
export type Thing = (xMm: number, yMm: number, out: Float64Array) => boolean;

/** Smooth noise between 0 and 1 by hashing lattice points, so that it has no period within a table. */
export function createGrain(seed: number): (x: number, y: number) => number {
  const hash = (i: number, j: number) => {
    let h = Math.imul(i, 0x27d4eb2d) ^ Math.imul(j, 0x165667b1) ^ seed;
    h = Math.imul(h ^ (h >>> 15), 0x85ebca6b);
    h = Math.imul(h ^ (h >>> 13), 0xc2b2ae35) | 0;
    return ((h ^ (h >>> 16)) >>> 0) / 2 ** 32;
  };
  return (x, y) => {
    const i = Math.floor(x);
    const j = Math.floor(y);
    const u = (x - i) ** 2 * (3 - 2 * (x - i));
    const v = (y - j) ** 2 * (3 - 2 * (y - j));
    const top = hash(i, j) + (hash(i + 1, j) - hash(i, j)) * u;
    const bottom = hash(i, j + 1) + (hash(i + 1, j + 1) - hash(i, j + 1)) * u;
    return top + (bottom - top) * v;
  };
}

const luminanceOf = ([r, g, b]: Rgb) => 0.2126 * r + 0.7152 * g + 0.0722 * b;

/** A colour of the given luminance and hue. */
export function tintTo(luminance: number, hue: Rgb): Rgb {
  const scale = luminance / luminanceOf(hue);
  const most = Math.max(...hue) * scale;
  // Colours that no surface can have are made paler.
  const pale = most > 0.95 ? (0.95 - luminance) / (most - luminance) : 1;
  return hue.map((part) => luminance + Math.max(0, pale) * (part * scale - luminance)) as unknown as Rgb;
}

/** A table of boards: rings seen lengthwise, darker joints. */
export function layBoards(seed: number): Thing {
  const random = createOtherRandom(seed);
  const grain = createGrain(seed);
  const turn = Math.PI * random();
  const [c, s] = [Math.cos(turn), Math.sin(turn)];
  const level = 0.08 + 0.4 * random();
  const board = 40 + 50 * random();
  return (xMm, yMm, out) => {
    const along = c * xMm + s * yMm;
    const across = c * yMm - s * xMm + 1000;
    const at = Math.floor(across / board);
    const joint = across - at * board < 0.7 ? 0.3 : 1;
    const rings = grain(along / 70 + 13 * at, across / 2.4 + 6 * grain(along / 60, across / 30));
    const pores = grain(along / 4, across / 0.22) > 0.82 ? 0.75 : 1;
    const value = level * joint * pores * (0.7 + 0.5 * rings);
    out[0] = value * 1.25;
    out[1] = value;
    out[2] = value * 0.68;
    return true;
  };
}

/** Lies on the table at a place, turned. */
export function placeThing(thing: Thing, [x, y]: readonly [number, number], turnDeg: number): Thing {
  const turn = (turnDeg * Math.PI) / 180;
  const [c, s] = [Math.cos(turn), Math.sin(turn)];
  return (xMm, yMm, out) => {
    const dx = xMm - x;
    const dy = yMm - y;
    return thing(c * dx + s * dy, c * dy - s * dx, out);
  };
}

/** A steel ruler, 150 mm by 14 mm, with its upper left at the origin. */
export const RULER: Thing = (xMm, yMm, out) => {
  if (xMm < 0 || xMm > 150 || yMm < 0 || yMm > 14) return false;
  const nearest = Math.round(xMm);
  const length = nearest % 10 === 0 ? 6 : nearest % 5 === 0 ? 4.5 : 3;
  const tick = Math.abs(xMm - nearest) < 0.09 && yMm < length;
  const digit = nearest % 10 === 0 && yMm > 7 && yMm < 10 && Math.abs(xMm - nearest) < 0.8;
  out.fill(tick || digit ? 0.05 : 0.5);
  return true;
};

/** A printed card, 85 mm by 55 mm: lines of text, a frame, a matrix of squares as on labels, and a dark picture. */
export function printCard(seed: number): Thing {
  const grain = createGrain(seed);
  return (xMm, yMm, out) => {
    if (xMm < 0 || xMm > 85 || yMm < 0 || yMm > 55) return false;
    let value = 0.82;
    const frame = Math.min(xMm, yMm, 85 - xMm, 55 - yMm);
    if (frame > 3 && frame < 3.8) value = 0.06;
    else if (xMm > 8 && xMm < 28 && yMm > 8 && yMm < 28) {
      const rim = xMm < 9 || xMm > 27 || yMm < 9 || yMm > 27;
      value = rim || grain(Math.floor(xMm / 1.25) + 0.5, Math.floor(yMm / 1.25) + 0.5) < 0.5 ? 0.05 : 0.82;
    } else if (xMm > 36 && xMm < 78 && yMm > 8 && yMm < 40) {
      const line = Math.floor(yMm / 3.2);
      const shape = grain(xMm / 0.55 + 31 * line, yMm / 1.1);
      if (yMm - line * 3.2 < 1.9 && shape > 0.52) value = 0.08;
    } else if (xMm > 8 && xMm < 28 && yMm > 32 && yMm < 48) value = 0.05 + 0.25 * grain(xMm / 3, yMm / 3);
    out.fill(value);
    return true;
  };
}

export interface PieceOptions {
  readonly bare: Rgb;
  readonly solid: Rgb;
  /** Bare stock beyond the chart, mm. */
  readonly rimMm: number;
  /** Radius by which the edges of marks are soft, mm. */
  readonly softMm: number;
  /** Strength, length along and across of the stock's own structure. */
  readonly grain: readonly [strength: number, alongMm: number, acrossMm: number];
  readonly seed: number;
}

/** A piece with a chart burned into it; its chart's upper left is the origin. */
export function burnPiece(dots: Dots, layout: ChartLayout, options: PieceOptions): Thing {
  const { bare, solid, rimMm, softMm, grain, seed } = options;
  const { width, height } = dots;
  const { pitchMm, lineSpacingMm } = layout.grid;
  const [right, bottom] = [layout.widthMm + rimMm, layout.heightMm + rimMm];
  const share = softenRows(dots, softMm / pitchMm, softMm / lineSpacingMm);
  const structure = createGrain(seed);
  const [strength, alongMm, acrossMm] = grain;
  return (xMm, yMm, out) => {
    if (xMm < -rimMm || yMm < -rimMm || xMm > right || yMm > bottom) return false;
    let mark = 0;
    const x = xMm / pitchMm - 0.5;
    const y = yMm / lineSpacingMm - 0.5;
    if (x > -1 && y > -1 && x < width && y < height) {
      const i = Math.floor(x);
      const j = Math.floor(y);
      const at = (column: number, row: number) =>
        column >= 0 && row >= 0 && column < width && row < height ? share[row * width + column]! : 0;
      const above = at(i, j) + (at(i + 1, j) - at(i, j)) * (x - i);
      const below = at(i, j + 1) + (at(i + 1, j + 1) - at(i, j + 1)) * (x - i);
      mark = above + (below - above) * (y - j);
    }
    const factor = strength > 0 ? 1 + strength * (2 * structure(xMm / alongMm, yMm / acrossMm) - 1) : 1;
    for (let k = 0; k < 3; k++) out[k] = factor * (bare[k]! + (solid[k]! - bare[k]!) * mark);
    return true;
  };
}

/** Marks with soft edges: three passes of a triangle of the given reach along x, then y. */
function softenRows({ width, height, data }: Dots, reachX: number, reachY: number): Float32Array {
  let field = Float32Array.from(data);
  for (const [reach, step, length] of [
    [reachX, 1, width],
    [reachY, width, height],
  ] as const) {
    const side = Math.min(0.33, reach / 3);
    for (let pass = 0; pass < 3; pass++) {
      const next = new Float32Array(field.length);
      for (let i = 0; i < field.length; i++) {
        const along = step === 1 ? i % width : Math.floor(i / width);
        const before = along > 0 ? field[i - step]! : 0;
        const after = along < length - 1 ? field[i + step]! : 0;
        next[i] = field[i]! * (1 - 2 * side) + side * (before + after);
      }
      field = next;
    }
  }
  return field;
}
