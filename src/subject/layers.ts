import type { Products } from './products.ts';
import type { Tensor } from './tensor.ts';

type Option = (place: number, kind: 'byte' | 'word') => number;

/** One kind of step. */
export interface Layer {
  /** Each number is made of those of its own place alone. */
  readonly isInPlace?: true;
  /** Fills `out`. @returns the number of the activation that follows, where the step's options name one */
  readonly run: (
    inputs: readonly Tensor[],
    out: Tensor,
    tools: { readonly option: Option; readonly products: Products },
  ) => number | undefined;
}

/** Numbers of ways. Format: `tensorflowLite`, enums Padding and ActivationFunctionType. */
const SAME = 0;
const RELU = 1;
const RELU6 = 3;

/** By the number of the kind in the file, or the name of one that the format does not number. Format: enum BuiltinOperator. */
export const LAYERS: Readonly<Record<string, Layer>> = {
  0: {
    isInPlace: true,
    run: ([a, b], out, { option }) => {
      add(a!, b!, out);
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
    run: ([input, weights, bias], out, { option, products }) => {
      const steps = { x: option(1, 'word'), y: option(2, 'word'), isSame: option(0, 'byte') === SAME };
      convolve({ input: input!, weights: weights!, bias: bias!, out }, { ...steps, products });
      return option(3, 'byte');
    },
  },
  4: {
    run: ([input, weights, bias], out, { option, products }) => {
      const steps = { x: option(1, 'word'), y: option(2, 'word'), isSame: option(0, 'byte') === SAME };
      weigh({ input: input!, weights: weights!, bias: bias!, out }, { ...steps, products });
      return option(4, 'byte');
    },
  },
  14: {
    isInPlace: true,
    run: ([input], out) => {
      for (let i = 0; i < out.data.length; i++) out.data[i] = sigmoid(input!.data[i]!);
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
      const [from, to] = [input!.data, out.data];
      for (let i = 0; i < to.length; i++) {
        to[i] = Math.max(0, from[i]!);
      }
      return undefined;
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
      // Channels of zeros behind those that there are, the only way that the models pad.
      const [from, to] = [input!.channels, out.channels];
      out.data.fill(0);
      for (let p = 0; p < out.width * out.height; p++) {
        out.data.set(input!.data.subarray(p * from, (p + 1) * from), p * to);
      }
      return undefined;
    },
  },
  117: {
    isInPlace: true,
    run: ([input], out) => {
      for (let i = 0; i < out.data.length; i++) {
        const x = input!.data[i]!;
        out.data[i] = (x * Math.min(6, Math.max(0, x + 3))) / 6;
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
export function activate(data: Float32Array, kind: number): void {
  if (kind !== RELU && kind !== RELU6) return;
  const most = kind === RELU6 ? 6 : Number.POSITIVE_INFINITY;
  for (let i = 0; i < data.length; i++) {
    data[i] = Math.min(most, Math.max(0, data[i]!));
  }
}

function add(a: Tensor, b: Tensor, out: Tensor): void {
  const [from, more, to] = [a.data, b.data, out.data];
  for (let i = 0; i < to.length; i++) to[i] = from[i]! + more[i]!;
}

/** Number by number; one number a channel for the whole picture where one of the two has one pixel. */
function scale(a: Tensor, b: Tensor, out: Tensor): void {
  const [wide, narrow] = a.data.length >= b.data.length ? [a.data, b.data] : [b.data, a.data];
  for (let at = 0; at < wide.length; at += narrow.length) {
    for (let c = 0; c < narrow.length; c++) out.data[at + c] = wide[at + c]! * narrow[c]!;
  }
}

interface Steps {
  readonly x: number;
  readonly y: number;
  readonly isSame: boolean;
  readonly products: Products;
}

interface Weighed {
  readonly input: Tensor;
  readonly weights: Tensor;
  readonly bias: Tensor;
  readonly out: Tensor;
}

/** Cells left of the first that a window covers: with SAME the surplus is shared, the smaller half before. */
const before = (from: number, to: number, { step, size }: { step: number; size: number }): number =>
  Math.floor(Math.max(0, (to - 1) * step + size - from) / 2);

/** Weights: [out, rows, columns, in]. The windows of a row are gathered first, so that one loop of products serves all. */
function convolve({ input, weights, bias, out }: Weighed, { x: dx, y: dy, isSame, products }: Steps): void {
  const count = out.channels;
  const length = weights.data.length / count;
  const kernelX = weights.width;
  const kernelY = weights.height / count;
  const left = isSame ? before(input.width, out.width, { step: dx, size: kernelX }) : 0;
  const top = isSame ? before(input.height, out.height, { step: dy, size: kernelY }) : 0;
  const { channels } = input;
  const isPoint = kernelX === 1 && kernelY === 1 && dx === 1 && dy === 1;
  const patches = new Float32Array(isPoint ? 0 : out.width * length);
  for (let y = 0; y < out.height; y++) {
    if (!isPoint) {
      patches.fill(0);
      for (let x = 0; x < out.width; x++) {
        for (let ky = 0; ky < kernelY; ky++) {
          const sy = y * dy - top + ky;
          if (sy < 0 || sy >= input.height) continue;
          const first = Math.max(0, left - x * dx);
          const last = Math.min(kernelX, input.width + left - x * dx);
          const from = (sy * input.width + x * dx - left + first) * channels;
          const to = x * length + (ky * kernelX + first) * channels;
          patches.set(input.data.subarray(from, from + (last - first) * channels), to);
        }
      }
    }
    products.multiplyRow(isPoint ? rowOf(input, y) : patches, {
      weights: weights.data,
      bias: bias.data,
      out: rowOf(out, y),
      length,
    });
  }
}

const rowOf = ({ data, width, channels }: Tensor, y: number): Float32Array =>
  data.subarray(y * width * channels, (y + 1) * width * channels);

/** Weights: [1, rows, columns, channels], each channel for itself. Beyond the edges there are zeros. */
function weigh({ input, weights, bias, out }: Weighed, { x: dx, y: dy, isSame, products }: Steps): void {
  const { channels } = input;
  const { width: across, height: down } = weights;
  const left = isSame ? before(input.width, out.width, { step: dx, size: across }) : 0;
  const top = isSame ? before(input.height, out.height, { step: dy, size: down }) : 0;
  const room = Math.max(input.width + left, (out.width - 1) * dx + across) * channels;
  const empty = new Float32Array(room);
  const rows = Array.from({ length: input.height }, (_, y) => {
    const row = new Float32Array(room);
    row.set(rowOf(input, y), left * channels);
    return row;
  });
  for (let y = 0; y < out.height; y++) {
    const window = Array.from({ length: down }, (_, ky) => rows[y * dy - top + ky] ?? empty);
    products.weighRow(window, { weights: weights.data, bias: bias.data, out: rowOf(out, y), across, step: dx });
  }
}

/** Mean or greatest of windows; windows beyond the edge count what lies inside. */
function pool(input: Tensor, out: Tensor, { option, isMaximum }: { option: Option; isMaximum: boolean }): number {
  const [dx, dy, sizeX, sizeY] = [1, 2, 3, 4].map((place) => option(place, 'word')) as [number, number, number, number];
  const isSame = option(0, 'byte') === SAME;
  const left = isSame ? before(input.width, out.width, { step: dx, size: sizeX }) : 0;
  const top = isSame ? before(input.height, out.height, { step: dy, size: sizeY }) : 0;
  const { channels, data } = input;
  const sums = new Float64Array(channels);
  const gather = isMaximum ? takeGreatest : takeSum;
  for (let y = 0; y < out.height; y++) {
    for (let x = 0; x < out.width; x++) {
      sums.fill(isMaximum ? Number.NEGATIVE_INFINITY : 0);
      let count = 0;
      for (let sy = Math.max(0, y * dy - top); sy < Math.min(input.height, y * dy - top + sizeY); sy++) {
        for (let sx = Math.max(0, x * dx - left); sx < Math.min(input.width, x * dx - left + sizeX); sx++) {
          gather(sums, data, (sy * input.width + sx) * channels);
          count++;
        }
      }
      const at = (y * out.width + x) * channels;
      for (let c = 0; c < channels; c++) out.data[at + c] = isMaximum ? sums[c]! : sums[c]! / count;
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

/** The transposed step of `mediapipe2019`: each place becomes a window of its own, without overlap. Weights: [out, rows, columns, in]. */
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
