import { type Kernels, loadKernels, reserveBuffers } from '../plane/index.ts';
import type { Tensor } from './tensor.ts';

/** What a network spends its time on; numbers lie pixel by pixel, channels innermost. */
export interface Arithmetic {
  /**
   * Each output of each pixel: its bias and `length` numbers of the pixel with its weights, which lie by output, then
   * by number.
   */
  readonly multiplyPixels: (from: Float32Array, step: PixelStep) => void;
  /** Each channel for itself, over windows, with zeros beyond the edges; weights lie by row, column, channel. */
  readonly weighWindows: (input: Tensor, step: WindowStep) => void;
  readonly add: (a: Float32Array, b: Float32Array, out: Float32Array) => void;
  /** Between 0 and `most`, in place. */
  readonly bound: (numbers: Float32Array, most: number) => void;
}

export interface PixelStep {
  readonly weights: Tensor;
  readonly bias: Float32Array;
  readonly out: Float32Array;
  /** Numbers of a pixel. */
  readonly length: number;
  /** At least `roomOfPixels` numbers. */
  readonly scratch: Float32Array;
}

/** Where windows lie: their sides, from one to the next, and how far the first reaches beyond the edges, pixels. */
export interface Geometry {
  readonly across: number;
  readonly down: number;
  readonly dx: number;
  readonly dy: number;
  readonly left: number;
  readonly top: number;
}

export interface WindowStep extends Geometry {
  readonly weights: Float32Array;
  readonly bias: Float32Array;
  readonly out: Tensor;
  /** At least `roomOfRows` numbers. */
  readonly scratch: Float32Array;
}

/** Numbers beyond the last that a group of four may touch. A count. Exact: at least one less than the group. */
const SLACK = 4;

/** Blocks of numbers, and what computes on them. */
export interface Workspace {
  readonly arithmetic: Arithmetic;
  /** As many numbers each as were asked for, zeros at first. */
  readonly blocks: readonly Float32Array[];
}

/**
 * Blocks of so many numbers each and the arithmetic on them: in the memory of the kernels, so that nothing is carried
 * there and back, or plain where the kernels are missing. Both give the same bits.
 */
export function openWorkspace(sizes: readonly number[], way: 'simd' | 'scalar'): Workspace {
  const kernels = way === 'simd' ? loadKernels() : undefined;
  if (!kernels) return { arithmetic: PLAIN, blocks: sizes.map((size) => new Float32Array(size)) };
  const places = reserveBuffers(
    kernels,
    sizes.map((size) => 4 * (size + SLACK)),
  );
  const { buffer } = kernels.memory;
  const blocks = sizes.map((size, at) => new Float32Array(buffer, places[at]!, size));
  return { arithmetic: openFast(kernels), blocks };
}

/** Outputs in whole groups of four. */
const wholeGroups = (count: number): number => (count + 3) & ~3;

/** Numbers of `groupWeights`. */
export const roomOfGroups = ({ count, length }: { readonly count: number; readonly length: number }): number =>
  wholeGroups(count) * length;

/** Weights of the outputs beside each other, in whole groups of four: what the kernel multiplies with. */
export function groupWeights(
  { data }: Tensor,
  { count, out }: { readonly count: number; readonly out: Float32Array },
): void {
  const length = data.length / count;
  const room = wholeGroups(count);
  for (let o = 0; o < count; o++) {
    for (let i = 0; i < length; i++) out[i * room + o] = data[o * length + i]!;
  }
}

/** Numbers that `multiplyPixels` needs beside the result: none where its pixels are whole groups. */
export const roomOfPixels = (count: number, pixels: number): number =>
  count % 4 === 0 ? 0 : wholeGroups(count) * pixels;

/**
 * Numbers that `weighWindows` needs beside the result: all rows with zeros around them, and where the windows begin.
 */
export function roomOfRows({ width, height, channels }: Omit<Tensor, 'data'>, out: Omit<Tensor, 'data'>, g: Geometry) {
  return (height + 1) * lengthOfRow({ width, channels }, out, g) + SLACK + g.down * out.height;
}

const lengthOfRow = (
  { width, channels }: Pick<Tensor, 'width' | 'channels'>,
  out: Pick<Tensor, 'width'>,
  { left, dx, across }: Geometry,
): number => Math.max(width + left, (out.width - 1) * dx + across) * channels;

const { fround } = Math;

const PLAIN: Arithmetic = {
  multiplyPixels(from, { weights: { data: weights }, bias, out, length }) {
    const count = bias.length;
    for (let pixel = 0; pixel * count < out.length; pixel++) {
      for (let o = 0; o < count; o++) {
        let sum = bias[o]!;
        const first = o * length;
        for (let i = 0; i < length; i++) sum = fround(sum + fround(from[pixel * length + i]! * weights[first + i]!));
        out[pixel * count + o] = sum;
      }
    }
  },
  weighWindows({ data, width, height, channels }, { weights, bias, out, across, down, dx, dy, left, top }) {
    for (let y = 0; y < out.height; y++) {
      for (let x = 0; x < out.width; x++) {
        for (let c = 0; c < channels; c++) {
          let sum = bias[c]!;
          for (let ky = 0; ky < down; ky++) {
            for (let kx = 0; kx < across; kx++) {
              const [row, column] = [y * dy - top + ky, x * dx - left + kx];
              const isInside = row >= 0 && row < height && column >= 0 && column < width;
              const number = isInside ? data[(row * width + column) * channels + c]! : 0;
              sum = fround(sum + fround(number * weights[(ky * across + kx) * channels + c]!));
            }
          }
          out.data[(y * out.width + x) * channels + c] = sum;
        }
      }
    }
  },
  add(a, b, out) {
    for (let i = 0; i < out.length; i++) out[i] = a[i]! + b[i]!;
  },
  bound(numbers, most) {
    for (let i = 0; i < numbers.length; i++) numbers[i] = Math.min(most, Math.max(0, numbers[i]!));
  },
};

/** All arguments lie in the memory of the kernels, as `openWorkspace` gives them. */
function openFast(kernels: Kernels): Arithmetic {
  return {
    multiplyPixels(from, { weights, bias, out, length, scratch }) {
      const count = bias.length;
      const room = wholeGroups(count);
      const pixels = out.length / count;
      const isWhole = room === count;
      const to = isWhole ? out : scratch;
      const grouped = weights.grouped!;
      kernels.multiplyPixels(
        ...[from.byteOffset, grouped.byteOffset, bias.byteOffset, to.byteOffset],
        ...[pixels, length, 4 * room],
      );
      if (isWhole) return;
      for (let pixel = 0; pixel < pixels; pixel++) {
        for (let o = 0; o < count; o++) out[pixel * count + o] = scratch[pixel * room + o]!;
      }
    },
    weighWindows(input, { weights, bias, out, scratch, ...geometry }) {
      // All rows with zeros beside them, and one of zeros alone for those above and below.
      const { data, width, height, channels } = input;
      const { across, down, dx, dy, left, top } = geometry;
      const room = lengthOfRow(input, out, geometry);
      scratch.fill(0, 0, (height + 1) * room);
      const length = width * channels;
      for (let y = 0; y < height; y++)
        scratch.set(data.subarray(y * length, (y + 1) * length), y * room + left * channels);
      const rowsAt = scratch.byteOffset;
      const windowsAt = rowsAt + 4 * ((height + 1) * room + SLACK);
      const windows = new Uint32Array(scratch.buffer, windowsAt, down * out.height);
      for (let y = 0; y < out.height; y++) {
        for (let ky = 0; ky < down; ky++) {
          const row = y * dy - top + ky;
          windows[y * down + ky] = rowsAt + 4 * room * (row >= 0 && row < height ? row : height);
        }
      }
      const line = 4 * out.width * channels;
      for (let y = 0; y < out.height; y++) {
        const from = windowsAt + 4 * down * y;
        const to = out.data.byteOffset + line * y;
        const { byteOffset } = weights;
        kernels.weighWindows(
          from,
          byteOffset,
          bias.byteOffset,
          to,
          out.width,
          across,
          down,
          4 * channels,
          4 * channels * dx,
        );
      }
    },
    add: (a, b, out) => kernels.addNumbers(a.byteOffset, b.byteOffset, out.byteOffset, out.length),
    bound: (numbers, most) => kernels.boundNumbers(numbers.byteOffset, numbers.length, most),
  };
}
