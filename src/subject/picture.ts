import { type ColourImage, loadKernels, reserveBuffers } from '../plane/index.ts';
import type { Square } from './place.ts';
import { type QuarterTurn, turnImage } from './turn.ts';

/** What a model takes for a code of 0 … 255: so many times the code, and so much. */
interface Affine {
  readonly scale: number;
  readonly offset: number;
}

export interface CutOptions extends Affine {
  readonly square: Square;
  /** Pixels of the result, on each side. */
  readonly side: number;
}

/** A small picture as models look at it: squares of it, also turned. */
export interface Picture {
  readonly width: number;
  readonly height: number;
  /**
   * A square of the picture at another size, three numbers a pixel: means of a few of its pixels where it gets smaller,
   * else straight between pixel centres. Black beyond the edges. Holds until the next square is cut.
   */
  readonly cutSquare: (options: CutOptions) => Float32Array;
  /** The same, turned clockwise. */
  readonly turn: (turn: QuarterTurn) => Picture;
  readonly image: () => ColourImage;
}

/**
 * Pixels that are averaged for one, in each direction, at most. A count. Assumed: nine keep a small picture from
 * sparkling.
 */
const MOST_POINTS = 3;
/** Long side of the largest square that a model takes, pixels. Exact: that of people. */
const MOST_SIDE = 256;
/** Stands for a line or a place beyond the edge. Exact: none lies below 0. */
const BEYOND = -1;

const { fround } = Math;

interface Bench {
  /** Bytes to each line and to each place in it. */
  readonly rows: Int32Array;
  readonly columns: Int32Array;
  /** For each column the bytes to its left and right neighbour, and as 32-bit floats their shares. */
  readonly between: Int32Array;
  readonly out: Float32Array;
  /** One row of means of the points of `rows` and `columns`. */
  readonly cutRow: (at: { readonly row: number; readonly side: number; readonly points: number }, to: Affine) => void;
  /** One row of numbers straight between the columns of `between` and two lines. */
  readonly mixRow: (at: MixedRow, to: Affine) => void;
}

interface MixedRow {
  readonly row: number;
  readonly side: number;
  /** Bytes to the two lines, and the share of the second. */
  readonly upper: number;
  readonly lower: number;
  readonly share: number;
}

/** `arithmetic` says whether the kernels serve, where they are there; both give the same bits. */
export function openPicture(
  image: ColourImage,
  { arithmetic = 'simd' }: { readonly arithmetic?: 'simd' | 'scalar' } = {},
): Picture {
  return standPicture(image, openBench(image.rgb, arithmetic), 0);
}

function standPicture(image: ColourImage, bench: Bench, turn: QuarterTurn): Picture {
  const isLying = turn % 180 !== 0;
  const [width, height] = isLying ? [image.height, image.width] : [image.width, image.height];
  const line = 3 * image.width;
  // Bytes from the first pixel to each column and to each row of the picture as it stands.
  const columnAt = (x: number): number =>
    isLying ? line * (turn === 90 ? width - 1 - x : x) : 3 * (turn === 180 ? width - 1 - x : x);
  const rowAt = (y: number): number =>
    isLying ? 3 * (turn === 90 ? y : height - 1 - y) : line * (turn === 180 ? height - 1 - y : y);
  return {
    width,
    height,
    cutSquare({ square, side, scale, offset }) {
      const step = square.side / side;
      const points = Math.min(MOST_POINTS, Math.max(1, Math.round(step)));
      const placeOf = (from: number, at: number) => fround(from + ((at + 0.5) / points) * step - 0.5);
      if (points === 1) {
        const shares = new Float32Array(bench.between.buffer, bench.between.byteOffset, bench.between.length);
        for (let at = 0; at < side; at++) {
          const x = placeOf(square.x, at);
          const inside = Math.min(Math.max(0, x), width - 1);
          const low = Math.floor(inside);
          bench.between[4 * at] = isBeyond(x, width) ? BEYOND : columnAt(low);
          bench.between[4 * at + 1] = columnAt(Math.min(low + 1, width - 1));
          shares[4 * at + 3] = inside - low;
          shares[4 * at + 2] = 1 - shares[4 * at + 3]!;
        }
        for (let row = 0; row < side; row++) {
          const y = placeOf(square.y, row);
          const inside = Math.min(Math.max(0, y), height - 1);
          const low = Math.floor(inside);
          const upper = isBeyond(y, height) ? BEYOND : rowAt(low);
          const lower = rowAt(Math.min(low + 1, height - 1));
          bench.mixRow({ row, side, upper, lower, share: fround(inside - low) }, { scale: fround(scale), offset });
        }
        return bench.out.subarray(0, 3 * side * side);
      }
      for (let at = 0; at < side * points; at++) {
        const x = placeOf(square.x, at);
        const y = placeOf(square.y, at);
        bench.columns[at] = isBeyond(x, width) ? BEYOND : columnAt(Math.min(width - 1, Math.round(x)));
        bench.rows[at] = isBeyond(y, height) ? BEYOND : rowAt(Math.min(height - 1, Math.round(y)));
      }
      const each = fround(scale / points ** 2);
      for (let row = 0; row < side; row++) bench.cutRow({ row, side, points }, { scale: each, offset });
      return bench.out.subarray(0, 3 * side * side);
    },
    turn: (more) => standPicture(image, bench, ((turn + more) % 360) as QuarterTurn),
    image: () => turnImage(image, turn),
  };
}

const isBeyond = (place: number, length: number): boolean => place < -0.5 || place > length - 0.5;

function openBench(rgb: Uint8Array, arithmetic: 'simd' | 'scalar'): Bench {
  const [places, between, numbers] = [MOST_POINTS * MOST_SIDE, 4 * MOST_SIDE, 3 * MOST_SIDE ** 2];
  const kernels = arithmetic === 'simd' ? loadKernels() : undefined;
  if (!kernels) {
    const bench = {
      rows: new Int32Array(places),
      columns: new Int32Array(places),
      between: new Int32Array(between),
      out: new Float32Array(numbers),
    };
    return {
      ...bench,
      cutRow: (at, to) => cutRowPlain({ ...bench, rgb }, at, to),
      mixRow: (at, to) => mixRowPlain({ ...bench, rgb }, at, to),
    };
  }
  const sizes = [rgb.length, 4 * places, 4 * places, 4 * between, 4 * numbers];
  const [from, rowsAt, columnsAt, betweenAt, to] = reserveBuffers(kernels, sizes) as [
    number,
    number,
    number,
    number,
    number,
  ];
  const { buffer } = kernels.memory;
  new Uint8Array(buffer, from, rgb.length).set(rgb);
  return {
    rows: new Int32Array(buffer, rowsAt, places),
    columns: new Int32Array(buffer, columnsAt, places),
    between: new Int32Array(buffer, betweenAt, between),
    out: new Float32Array(buffer, to, numbers),
    cutRow: ({ row, side, points }, { scale, offset }) => {
      const line = to + 12 * side * row;
      kernels.cutRow(from, rowsAt + 4 * points * row, columnsAt, line, side, points, scale, offset);
    },
    mixRow: ({ row, side, upper, lower, share }, { scale, offset }) => {
      const line = to + 12 * side * row;
      kernels.mixCodes(from, upper, lower, betweenAt, line, side, fround(1 - share), share, scale, offset);
    },
  };
}

interface Plain {
  readonly rgb: Uint8Array;
  readonly rows: Int32Array;
  readonly columns: Int32Array;
  readonly between: Int32Array;
  readonly out: Float32Array;
}

function mixRowPlain(
  { rgb, between, out }: Plain,
  { row, side, upper, lower, share }: MixedRow,
  { scale, offset }: Affine,
): void {
  const shares = new Float32Array(between.buffer);
  const [above, below] = [fround(1 - share), share];
  for (let pixel = 0; pixel < side; pixel++) {
    const [left, right] = [between[4 * pixel]!, between[4 * pixel + 1]!];
    const [first, second] = [shares[4 * pixel + 2]!, shares[4 * pixel + 3]!];
    for (let c = 0; c < 3; c++) {
      const mix = (line: number) =>
        fround(fround(rgb[line + left + c]! * first) + fround(rgb[line + right + c]! * second));
      const isInside = upper !== BEYOND && left !== BEYOND;
      const sum = isInside ? fround(fround(mix(upper) * above) + fround(mix(lower) * below)) : 0;
      out[3 * (side * row + pixel) + c] = fround(sum * scale) + offset;
    }
  }
}

function cutRowPlain(
  { rgb, rows, columns, out }: Plain,
  { row, side, points }: { readonly row: number; readonly side: number; readonly points: number },
  { scale, offset }: Affine,
): void {
  const sums = [0, 0, 0];
  for (let pixel = 0; pixel < side; pixel++) {
    sums.fill(0);
    for (let y = row * points; y < (row + 1) * points; y++) {
      for (let x = pixel * points; x < (pixel + 1) * points; x++) {
        if (rows[y] === BEYOND || columns[x] === BEYOND) continue;
        for (let c = 0; c < 3; c++) sums[c]! += rgb[rows[y]! + columns[x]! + c]!;
      }
    }
    for (let c = 0; c < 3; c++) out[3 * (side * row + pixel) + c] = fround(sums[c]! * scale) + offset;
  }
}
