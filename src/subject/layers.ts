import { type Arithmetic, type Between, type Geometry, roomOfColumns, roomOfRows } from './products.ts';
import type { Shape, Tensor } from './tensor.ts';

type Option = (place: number, kind: 'byte' | 'word') => number;

/** One kind of step. */
export interface Layer {
  /** Each number is made of those of its own place alone. */
  readonly isInPlace?: true;
  /** For a step whose second input are weights that are multiplied in groups: outputs of each of its products. */
  readonly countOutputs?: (input: Shape, out: Shape) => number;
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
  1: {
    roomOf: ([input]) => 2 * wholeGroups(input!.channels),
    run: ([input], out, { option, arithmetic, scratch }) => {
      const { channels } = input!;
      const from = wholeGroups(channels);
      const [sums, row] = [scratch.subarray(0, channels), scratch.subarray(from, from + channels)];
      arithmetic.sumPixels(input!, { sums, row });
      // Windows of the whole picture, the only ones whose mean the models take.
      const pixels = input!.width * input!.height;
      for (let c = 0; c < channels; c++) out.data[c] = sums[c]! / pixels;
      return option(5, 'byte');
    },
  },
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
    countOutputs: (_, out) => out.channels,
    roomOf: ([input, weights], out, option) =>
      roomOfRows(input!, out, geometryOf(input!, out, { ...windowOfProduct(weights!, out), option })),
    run: ([input, weights, bias], out, { option, arithmetic, scratch }) => {
      const geometry = geometryOf(input!, out, { ...windowOfProduct(weights!, out), option });
      arithmetic.multiplyWindows(input!, { ...geometry, weights: weights!, bias: bias!.data, out, scratch });
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
  17: {
    roomOf: ([input], out, option) => roomOfRows(input!, out, geometryOfPool(input!, out, option)),
    run: ([input], out, { option, arithmetic, scratch }) => {
      arithmetic.takeGreatest(input!, { ...geometryOfPool(input!, out, option), out, scratch });
      return option(5, 'byte');
    },
  },
  18: {
    isInPlace: true,
    run: ([a, b], out, { option, arithmetic }) => {
      const [wide, narrow] = a!.data.length >= b!.data.length ? [a!, b!] : [b!, a!];
      arithmetic.scale(wide.data, narrow.data, out.data);
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
    roomOf: (_, out) => roomOfColumns(out),
    run: ([input], out, { option, arithmetic, scratch }) => {
      const way = { isHalfPixel: option(3, 'byte') !== 0, isAligned: option(2, 'byte') !== 0 };
      const columns = Array.from({ length: out.width }, (_, x) => placeBetween(x, out.width, input!.width, way));
      for (let y = 0; y < out.height; y++) {
        const row = placeBetween(y, out.height, input!.height, way);
        arithmetic.mixRow(input!, { out, y, row, columns, scratch });
      }
      return undefined;
    },
  },
  34: {
    run: ([input], out, { arithmetic }) => {
      arithmetic.space(input!, out);
      return undefined;
    },
  },
  117: {
    isInPlace: true,
    run: ([input], out, { arithmetic }) => {
      arithmetic.bend(input!.data, out.data);
      return undefined;
    },
  },
  Convolution2DTransposeBias: {
    countOutputs: (input, out) => spotOf(input, out).count,
    roomOf: ([input], out) =>
      wholeGroups(spotOf(input!, out).count) + wholeGroups(sizeOf(out)) + roomOfRows(input!, input!, POINT),
    run: ([input, weights, bias], out, { arithmetic, scratch }) => {
      spreadOut([input!, weights!, bias!], out, { arithmetic, scratch });
      return undefined;
    },
  },
};

export const sigmoid = (x: number): number => 1 / (1 + Math.exp(-x));

/** What follows a step, in place. */
export function activate(data: Float32Array, kind: number, { bound }: Arithmetic): void {
  if (kind === RELU || kind === RELU6) bound(data, kind === RELU6 ? 6 : Number.POSITIVE_INFINITY);
}

/** Room of so many numbers in whole groups of four, which begin where groups do. */
const wholeGroups = (count: number): number => (count + 3) & ~3;

const sizeOf = ({ width, height, channels }: Shape): number => width * height * channels;

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

/** Windows of a step that takes one number of each. */
function geometryOfPool(input: Shape, out: Shape, option: Option): Geometry {
  const [across, down] = [option(3, 'word'), option(4, 'word')];
  return geometryOf(input, out, { across, down, option });
}

function placeBetween(
  at: number,
  to: number,
  from: number,
  { isHalfPixel, isAligned }: { readonly isHalfPixel: boolean; readonly isAligned: boolean },
): Between {
  const scale = isAligned && to > 1 ? (from - 1) / (to - 1) : from / to;
  const place = Math.max(0, isHalfPixel ? (at + 0.5) * scale - 0.5 : at * scale);
  const low = Math.min(Math.floor(place), from - 1);
  return { low, high: Math.min(low + 1, from - 1), share: place - low };
}

/** Windows of one pixel each, pixels. By definition: nothing beside it. */
const POINT: Geometry = { across: 1, down: 1, dx: 1, dy: 1, left: 0, top: 0 };

/** What one pixel of the input becomes: so many columns and rows, and so many numbers in all. */
function spotOf(input: Shape, out: Shape) {
  const [across, down] = [out.width / input.width, out.height / input.height];
  return { across, down, count: out.channels * across * down };
}

/**
 * The transposed step of `mediapipe2019`: each place becomes a window of its own, without overlap. Weights: [out, rows,
 * columns, in]. A product for each pixel, laid out anew.
 */
function spreadOut(
  [input, weights, bias]: readonly [Tensor, Tensor, Tensor],
  out: Tensor,
  { arithmetic, scratch }: Omit<Tools, 'option'>,
): void {
  const { across, down, count } = spotOf(input, out);
  const room = wholeGroups(count);
  const biases = scratch.subarray(0, count);
  const each = across * down;
  for (let at = 0; at < count; at++) biases[at] = bias.data[Math.floor(at / each)]!;
  const { width, height } = input;
  const pixels = { width, height, channels: count, data: scratch.subarray(room, room + sizeOf(out)) };
  arithmetic.multiplyWindows(input, {
    ...POINT,
    ...{ weights, bias: biases, out: pixels, scratch: scratch.subarray(room + wholeGroups(sizeOf(out))) },
  });
  arithmetic.spread(pixels, out);
}
