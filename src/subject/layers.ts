import { type Arithmetic, type Geometry, roomOfPixels, roomOfRows } from './products.ts';
import type { Shape, Tensor } from './tensor.ts';

type Option = (place: number, kind: 'byte' | 'word') => number;

/** One kind of step. */
export interface Layer {
  /** Each number is made of those of its own place alone. */
  readonly isInPlace?: true;
  /** Its second input are weights that are multiplied in groups. */
  readonly isProduct?: true;
  /** Numbers that it needs beside its inputs and its result; none where this is left out. */
  readonly roomOf?: (inputs: readonly Shape[], out: Shape, option: Option) => number;
  /** Fills `out`. @returns the number of the activation that follows, where the step's options name one */
  readonly run: (inputs: readonly Tensor[], out: Tensor, tools: Tools) => number | undefined;
}

interface Tools {
  readonly option: Option;
  readonly arithmetic: Arithmetic;
  /** As many numbers as `roomOf` says, of any value. */
  readonly scratch: Float32Array;
}

/** Numbers of ways. Format: `tensorflowLite`, enums Padding and ActivationFunctionType. */
const SAME = 0;
const RELU = 1;
const RELU6 = 3;

/**
 * By the number of the kind in the file, or the name of one that the format does not number. Format: enum
 * BuiltinOperator.
 */
export const LAYERS: Readonly<Record<string, Layer>> = {
  0: {
    isInPlace: true,
    run: ([a, b], out, { option, arithmetic }) => {
      arithmetic.add(a!.data, b!.data, out.data);
      return option(0, 'byte');
    },
  },
  1: { run: ([input], out, { option }) => pool(input!, out, { option, isMaximum: false }) },
  2: {
    run: (inputs, out) => {
      let at = 0;
      // Lists are joined one behind the other, the only way that the models join.
      for (const { data } of inputs) {
        out.data.set(data, at);
        at += data.length;
      }
      return undefined;
    },
  },
  3: {
    isProduct: true,
    roomOf: ([input, weights], out, option) => {
      const geometry = geometryOf(input!, out, { ...windowOfProduct(weights!, out), option });
      const pixels = out.width * out.height;
      return roomOfWindows(input!, out, geometry) + roomOfPixels(out.channels, pixels);
    },
    run: ([input, weights, bias], out, { option, arithmetic, scratch }) => {
      const geometry = geometryOf(input!, out, { ...windowOfProduct(weights!, out), option });
      const room = roomOfWindows(input!, out, geometry);
      const windows = room === 0 ? input!.data : gatherWindows(input!, out, { ...geometry, to: scratch });
      arithmetic.multiplyPixels(windows, {
        weights: weights!,
        bias: bias!.data,
        out: out.data,
        length: weights!.data.length / out.channels,
        scratch: scratch.subarray(room),
      });
      return option(3, 'byte');
    },
  },
  4: {
    roomOf: ([input, weights], out, option) =>
      roomOfRows(input!, out, geometryOf(input!, out, { across: weights!.width, down: weights!.height, option })),
    run: ([input, weights, bias], out, { option, arithmetic, scratch }) => {
      const geometry = geometryOf(input!, out, { across: weights!.width, down: weights!.height, option });
      arithmetic.weighWindows(input!, { ...geometry, weights: weights!.data, bias: bias!.data, out, scratch });
      return option(4, 'byte');
    },
  },
  14: {
    isInPlace: true,
    run: ([input], out) => {
      const [from, to] = [input!.data, out.data];
      for (let i = 0; i < to.length; i++) to[i] = sigmoid(from[i]!);
      return undefined;
    },
  },
  17: { run: ([input], out, { option }) => pool(input!, out, { option, isMaximum: true }) },
  18: {
    isInPlace: true,
    run: ([a, b], out, { option }) => {
      scale(a!, b!, out);
      return option(0, 'byte');
    },
  },
  19: {
    isInPlace: true,
    run: ([input], out) => {
      if (out.data !== input!.data) out.data.set(input!.data);
      return RELU;
    },
  },
  22: {
    run: ([input], out) => {
      out.data.set(input!.data);
      return undefined;
    },
  },
  23: {
    run: ([input], out, { option }) => {
      resize(input!, out, { isHalfPixel: option(3, 'byte') !== 0, isAligned: option(2, 'byte') !== 0 });
      return undefined;
    },
  },
  34: {
    run: ([input], out) => {
      widenPixels(input!, out);
      return undefined;
    },
  },
  117: {
    isInPlace: true,
    run: ([input], out) => {
      const [from, to] = [input!.data, out.data];
      for (let i = 0; i < to.length; i++) {
        const x = from[i]!;
        to[i] = (x * Math.min(6, Math.max(0, x + 3))) / 6;
      }
      return undefined;
    },
  },
  Convolution2DTransposeBias: {
    run: ([input, weights, bias], out) => {
      spreadOut(input!, weights!, bias!, out);
      return undefined;
    },
  },
};

export const sigmoid = (x: number): number => 1 / (1 + Math.exp(-x));

/** What follows a step, in place. */
export function activate(data: Float32Array, kind: number, { bound }: Arithmetic): void {
  if (kind === RELU || kind === RELU6) bound(data, kind === RELU6 ? 6 : Number.POSITIVE_INFINITY);
}

/** Number by number; one number a channel for the whole picture where one of the two has one pixel. */
function scale(a: Tensor, b: Tensor, out: Tensor): void {
  const [wide, narrow] = a.data.length >= b.data.length ? [a.data, b.data] : [b.data, a.data];
  const to = out.data;
  for (let at = 0; at < wide.length; at += narrow.length) {
    for (let c = 0; c < narrow.length; c++) to[at + c] = wide[at + c]! * narrow[c]!;
  }
}

/** Channels of zeros behind those that there are, the only way that the models pad. */
function widenPixels({ data: from, channels }: Tensor, out: Tensor): void {
  const to = out.data;
  to.fill(0);
  for (let pixel = 0; pixel < out.width * out.height; pixel++) {
    for (let c = 0; c < channels; c++) to[pixel * out.channels + c] = from[pixel * channels + c]!;
  }
}

/** Cells left of the first that a window covers: with SAME the surplus is shared, the smaller half before. */
const before = (from: number, to: number, { step, size }: { step: number; size: number }): number =>
  Math.floor(Math.max(0, (to - 1) * step + size - from) / 2);

/** Sides of the windows of a step whose weights lie by output, row, column, number. */
const windowOfProduct = (weights: Shape, out: Shape) => ({
  across: weights.width,
  down: weights.height / out.channels,
});

function geometryOf(
  input: Shape,
  out: Shape,
  { across, down, option }: { readonly across: number; readonly down: number; readonly option: Option },
): Geometry {
  const [dx, dy] = [option(1, 'word'), option(2, 'word')];
  const isSame = option(0, 'byte') === SAME;
  const left = isSame ? before(input.width, out.width, { step: dx, size: across }) : 0;
  const top = isSame ? before(input.height, out.height, { step: dy, size: down }) : 0;
  return { across, down, dx, dy, left, top };
}

/** Numbers of all windows; none where each is one pixel of the input. */
function roomOfWindows(input: Shape, out: Shape, { across, down, dx, dy }: Geometry): number {
  const isPoint = across === 1 && down === 1 && dx === 1 && dy === 1;
  return isPoint ? 0 : out.width * out.height * across * down * input.channels;
}

/** What lies under the window of each pixel of the result, by row, column and channel; zeros beyond the edges. */
function gatherWindows(
  { data, width, height, channels }: Tensor,
  out: Shape,
  { across, down, dx, dy, left, top, to }: Geometry & { readonly to: Float32Array },
): Float32Array {
  const length = across * channels;
  let at = 0;
  for (let y = 0; y < out.height; y++) {
    for (let x = 0; x < out.width; x++) {
      const column = x * dx - left;
      const first = Math.max(0, -column) * channels;
      const last = Math.min(across, width - column) * channels;
      for (let ky = 0; ky < down; ky++, at += length) {
        const row = y * dy - top + ky;
        const isInside = row >= 0 && row < height;
        const from = (row * width + column) * channels;
        for (let i = 0; i < length; i++) to[at + i] = isInside && i >= first && i < last ? data[from + i]! : 0;
      }
    }
  }
  return to;
}

/** Mean or greatest of windows; windows beyond the edge count what lies inside. */
function pool(input: Tensor, out: Tensor, { option, isMaximum }: { option: Option; isMaximum: boolean }): number {
  const [dx, dy, sizeX, sizeY] = [1, 2, 3, 4].map((place) => option(place, 'word')) as [number, number, number, number];
  const isSame = option(0, 'byte') === SAME;
  const left = isSame ? before(input.width, out.width, { step: dx, size: sizeX }) : 0;
  const top = isSame ? before(input.height, out.height, { step: dy, size: sizeY }) : 0;
  const { channels, data } = input;
  const to = out.data;
  const sums = new Float64Array(channels);
  for (let y = 0; y < out.height; y++) {
    const [above, below] = [Math.max(0, y * dy - top), Math.min(input.height, y * dy - top + sizeY)];
    for (let x = 0; x < out.width; x++) {
      const [from, end] = [Math.max(0, x * dx - left), Math.min(input.width, x * dx - left + sizeX)];
      sums.fill(isMaximum ? Number.NEGATIVE_INFINITY : 0);
      for (let sy = above; sy < below; sy++) {
        for (let at = (sy * input.width + from) * channels; at < (sy * input.width + end) * channels; at += channels) {
          if (isMaximum) takeGreatest(sums, data, at);
          else takeSum(sums, data, at);
        }
      }
      const at = (y * out.width + x) * channels;
      const share = isMaximum ? 1 : (below - above) * (end - from);
      for (let c = 0; c < channels; c++) to[at + c] = sums[c]! / share;
    }
  }
  return option(5, 'byte');
}

function takeSum(sums: Float64Array, data: Float32Array, from: number): void {
  for (let c = 0; c < sums.length; c++) sums[c]! += data[from + c]!;
}

function takeGreatest(sums: Float64Array, data: Float32Array, from: number): void {
  for (let c = 0; c < sums.length; c++) {
    const value = data[from + c]!;
    if (value > sums[c]!) sums[c] = value;
  }
}

function resize(input: Tensor, out: Tensor, way: { readonly isHalfPixel: boolean; readonly isAligned: boolean }): void {
  const { channels, data } = input;
  const columns = Array.from({ length: out.width }, (_, x) => placeBetween(x, out.width, input.width, way));
  for (let y = 0; y < out.height; y++) {
    const row = placeBetween(y, out.height, input.height, way);
    for (let x = 0; x < out.width; x++) {
      const column = columns[x]!;
      const at = (y * out.width + x) * channels;
      const upperLeft = (row.low * input.width + column.low) * channels;
      const upperRight = (row.low * input.width + column.high) * channels;
      const lowerLeft = (row.high * input.width + column.low) * channels;
      const lowerRight = (row.high * input.width + column.high) * channels;
      for (let c = 0; c < channels; c++) {
        const upper = data[upperLeft + c]! * (1 - column.share) + data[upperRight + c]! * column.share;
        const lower = data[lowerLeft + c]! * (1 - column.share) + data[lowerRight + c]! * column.share;
        out.data[at + c] = upper * (1 - row.share) + lower * row.share;
      }
    }
  }
}

function placeBetween(
  at: number,
  to: number,
  from: number,
  { isHalfPixel, isAligned }: { readonly isHalfPixel: boolean; readonly isAligned: boolean },
): { readonly low: number; readonly high: number; readonly share: number } {
  const scale = isAligned && to > 1 ? (from - 1) / (to - 1) : from / to;
  const place = Math.max(0, isHalfPixel ? (at + 0.5) * scale - 0.5 : at * scale);
  const low = Math.min(Math.floor(place), from - 1);
  return { low, high: Math.min(low + 1, from - 1), share: place - low };
}

/**
 * The transposed step of `mediapipe2019`: each place becomes a window of its own, without overlap. Weights: [out, rows,
 * columns, in].
 */
function spreadOut(input: Tensor, weights: Tensor, bias: Tensor, out: Tensor): void {
  const { channels } = input;
  const stepX = out.width / input.width;
  const stepY = out.height / input.height;
  for (let y = 0; y < out.height; y++) {
    for (let x = 0; x < out.width; x++) {
      const from = (Math.floor(y / stepY) * input.width + Math.floor(x / stepX)) * channels;
      for (let o = 0; o < out.channels; o++) {
        const first = ((o * stepY + (y % stepY)) * stepX + (x % stepX)) * channels;
        let sum = bias.data[o]!;
        for (let c = 0; c < channels; c++) sum += input.data[from + c]! * weights.data[first + c]!;
        out.data[(y * out.width + x) * out.channels + o] = sum;
      }
    }
  }
}
