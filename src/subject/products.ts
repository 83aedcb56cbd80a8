import { type Kernels, loadKernels, reserveBuffers } from '../plane/index.ts';
import type { Shape, Tensor } from './tensor.ts';

/** What a network spends its time on; numbers lie pixel by pixel, channels innermost. */
export interface Arithmetic {
  /**
   * Each output of each window: its bias and the window's numbers, zeros beyond the edges, with its weights, which lie
   * by output, row, column, channel.
   */
  readonly multiplyWindows: (input: Tensor, step: ProductStep) => void;
  /** Each channel for itself, over windows, with zeros beyond the edges; weights lie by row, column, channel. */
  readonly weighWindows: (input: Tensor, step: WindowStep) => void;
  /** The greatest of each channel in windows, of which only what lies inside counts. */
  readonly takeGreatest: (input: Tensor, step: Geometry & RoomStep) => void;
  /** Sums of each channel over all pixels, row by row, then of the rows. `sums` and `row`: a number a channel. */
  readonly sumPixels: (input: Tensor, to: { readonly sums: Float32Array; readonly row: Float32Array }) => void;
  readonly add: (a: Float32Array, b: Float32Array, out: Float32Array) => void;
  /** Each channel of each pixel times a number of its own, or number by number. */
  readonly scale: (wide: Float32Array, narrow: Float32Array, out: Float32Array) => void;
  /** Between 0 and `most`, in place. */
  readonly bound: (numbers: Float32Array, most: number) => void;
  /** x · min(6, max(0, x + 3)) / 6. */
  readonly bend: (from: Float32Array, out: Float32Array) => void;
  /** Channels of zeros behind those that there are. */
  readonly space: (input: Tensor, out: Tensor) => void;
  /** The numbers of each pixel, which lie by channel, row and column, as so many rows and columns of `out`. */
  readonly spread: (pixels: Tensor, out: Tensor) => void;
  /** One row of `out`, between two rows of the input. */
  readonly mixRow: (input: Tensor, step: MixStep) => void;
  /** Numbers of 16 bits (`ieee754`, binary16) as those of 32, exactly. */
  readonly widen: (halves: Uint8Array, out: Float32Array) => void;
  /** Weights of the outputs beside each other, in whole groups of four: what the kernel multiplies with. */
  readonly group: (weights: Float32Array, to: { readonly count: number; readonly out: Float32Array }) => void;
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

interface RoomStep {
  readonly out: Tensor;
  /** At least `roomOfRows` numbers. */
  readonly scratch: Float32Array;
}

export interface ProductStep extends Geometry, RoomStep {
  readonly weights: Tensor;
  readonly bias: Float32Array;
}

export interface WindowStep extends Geometry, RoomStep {
  readonly weights: Float32Array;
  readonly bias: Float32Array;
}

/** Two neighbours of a place, and the share of the second one, 0 … 1. */
export interface Between {
  readonly low: number;
  readonly high: number;
  readonly share: number;
}

export interface MixStep {
  readonly out: Tensor;
  readonly y: number;
  readonly row: Between;
  readonly columns: readonly Between[];
  /** Numbers of `roomOfColumns`; the columns are laid out there with the first row. */
  readonly scratch: Float32Array;
}

/** Numbers beyond the last that a group of four may touch. A count. Exact: at least one less than the group. */
const SLACK = 4;
/**
 * Pixels of a row that the kernel multiplies at a call. A count. Assumed: an engine replaces its slow first code
 * between calls.
 */
const AT_ONCE = 128;

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

/** Numbers of `group`. */
export const roomOfGroups = ({ count, length }: { readonly count: number; readonly length: number }): number =>
  wholeGroups(count) * length;

/**
 * Numbers that steps over windows need beside the result: all rows with zeros around them, where the windows need that,
 * and where the windows begin.
 */
export function roomOfRows(input: Shape, out: Shape, g: Geometry): number {
  const rows = staysInside(input, out, g) ? 0 : (input.height + 1) * lengthOfRow(input, out, g);
  return rows + SLACK + g.down * out.height;
}

/** Numbers that `mixRow` needs: four a column. */
export const roomOfColumns = ({ width }: Shape): number => 4 * width;

const lengthOfRow = (
  { width, channels }: Pick<Shape, 'width' | 'channels'>,
  out: Pick<Shape, 'width'>,
  { left, dx, across }: Geometry,
): number => Math.max(width + left, (out.width - 1) * dx + across) * channels;

const staysInside = (input: Shape, out: Shape, { across, down, dx, dy, left, top }: Geometry): boolean =>
  left === 0 &&
  top === 0 &&
  (out.width - 1) * dx + across <= input.width &&
  (out.height - 1) * dy + down <= input.height;

const { fround } = Math;

const PLAIN: Arithmetic = {
  multiplyWindows({ data, width, height, channels }, { weights: { data: weights }, bias, out, ...geometry }) {
    const { across, down, dx, dy, left, top } = geometry;
    const count = out.channels;
    const windows = new Float32Array(across * down * channels);
    for (let y = 0; y < out.height; y++) {
      for (let x = 0; x < out.width; x++) {
        let length = 0;
        for (let ky = 0; ky < down; ky++) {
          for (let kx = 0; kx < across; kx++) {
            const [row, column] = [y * dy - top + ky, x * dx - left + kx];
            const isInside = row >= 0 && row < height && column >= 0 && column < width;
            const from = (row * width + column) * channels;
            for (let c = 0; c < channels; c++) windows[length++] = isInside ? data[from + c]! : 0;
          }
        }
        for (let o = 0; o < count; o++) {
          let sum = bias[o]!;
          const first = o * length;
          for (let i = 0; i < length; i++) sum = fround(sum + fround(windows[i]! * weights[first + i]!));
          out.data[(y * out.width + x) * count + o] = sum;
        }
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
  takeGreatest({ data, width, height, channels }, { out, across, down, dx, dy, left, top }) {
    for (let y = 0; y < out.height; y++) {
      const [above, below] = [Math.max(0, y * dy - top), Math.min(height, y * dy - top + down)];
      for (let x = 0; x < out.width; x++) {
        const [from, end] = [Math.max(0, x * dx - left), Math.min(width, x * dx - left + across)];
        for (let c = 0; c < channels; c++) {
          let most = Number.NEGATIVE_INFINITY;
          for (let row = above; row < below; row++) {
            for (let column = from; column < end; column++) {
              most = Math.max(most, data[(row * width + column) * channels + c]!);
            }
          }
          out.data[(y * out.width + x) * channels + c] = most;
        }
      }
    }
  },
  sumPixels({ data, width, height, channels }, { sums, row }) {
    sums.fill(0);
    for (let y = 0; y < height; y++) {
      row.fill(0);
      for (let at = y * width * channels; at < (y + 1) * width * channels; at += channels) {
        for (let c = 0; c < channels; c++) row[c]! += data[at + c]!;
      }
      for (let c = 0; c < channels; c++) sums[c]! += row[c]!;
    }
  },
  add(a, b, out) {
    for (let i = 0; i < out.length; i++) out[i] = a[i]! + b[i]!;
  },
  scale(wide, narrow, out) {
    for (let at = 0; at < wide.length; at += narrow.length) {
      for (let c = 0; c < narrow.length; c++) out[at + c] = wide[at + c]! * narrow[c]!;
    }
  },
  bound(numbers, most) {
    for (let i = 0; i < numbers.length; i++) numbers[i] = Math.min(most, Math.max(0, numbers[i]!));
  },
  bend(from, out) {
    for (let i = 0; i < out.length; i++) {
      const x = from[i]!;
      out[i] = fround(x * Math.min(6, Math.max(0, fround(x + 3)))) / 6;
    }
  },
  space({ data, channels }, out) {
    out.data.fill(0);
    for (let pixel = 0; pixel < out.width * out.height; pixel++) {
      for (let c = 0; c < channels; c++) out.data[pixel * out.channels + c] = data[pixel * channels + c]!;
    }
  },
  spread(pixels, { data: to, width, height, channels }) {
    const [across, down] = [width / pixels.width, height / pixels.height];
    let at = 0;
    for (let y = 0; y < height; y += down) {
      for (let x = 0; x < width; x += across) {
        for (let c = 0; c < channels; c++) {
          for (let ky = 0; ky < down; ky++) {
            for (let kx = 0; kx < across; kx++, at++) {
              to[((y + ky) * width + x + kx) * channels + c] = pixels.data[at]!;
            }
          }
        }
      }
    }
  },
  mixRow({ data, width, channels }, { out, y, row, columns }) {
    const [above, below] = sharesOf(row);
    for (let x = 0; x < out.width; x++) {
      const { low, high } = columns[x]!;
      const [first, second] = sharesOf(columns[x]!);
      const upper = row.low * width * channels;
      const lower = row.high * width * channels;
      for (let c = 0; c < channels; c++) {
        const [left, right] = [low * channels + c, high * channels + c];
        const top = fround(fround(data[upper + left]! * first) + fround(data[upper + right]! * second));
        const bottom = fround(fround(data[lower + left]! * first) + fround(data[lower + right]! * second));
        out.data[(y * out.width + x) * channels + c] = fround(top * above) + fround(bottom * below);
      }
    }
  },
  /** 1 sign, 5 exponent, 10 fraction become 1, 8, 23. Format: the exponents are biased by 15 and by 127. */
  widen(halves, out) {
    const view = new DataView(halves.buffer, halves.byteOffset, halves.byteLength);
    const bits = new Uint32Array(out.buffer, out.byteOffset, out.length);
    for (let i = 0; i < out.length; i++) {
      const half = view.getUint16(2 * i, true);
      const exponent = (half >> 10) & 0x1f;
      // The smallest numbers have no exponent of their own.
      if (exponent === 0) out[i] = (half & 0x8000 ? -1 : 1) * (half & 0x3ff) * 2 ** -24;
      else {
        const wide = exponent === 31 ? 255 : exponent + 112;
        bits[i] = (((half & 0x8000) << 16) | (wide << 23) | ((half & 0x3ff) << 13)) >>> 0;
      }
    }
  },
  group(weights, { count, out }) {
    const length = weights.length / count;
    const room = wholeGroups(count);
    for (let o = 0; o < count; o++) {
      for (let i = 0; i < length; i++) out[i * room + o] = weights[o * length + i]!;
    }
  },
};

const sharesOf = ({ share }: Between): readonly [number, number] => {
  const second = fround(share);
  return [fround(1 - second), second];
};

/** All arguments lie in the memory of the kernels, as `openWorkspace` gives them. */
function openFast(kernels: Kernels): Arithmetic {
  return {
    multiplyWindows(given, { weights, bias, out: asked, scratch, ...geometry }) {
      const { across, down, dx, dy } = geometry;
      // Windows of one pixel: the picture is as good as one long row.
      const isPoint = across === 1 && down === 1 && dx === 1 && dy === 1;
      const [input, out] = isPoint ? [asRow(given), asRow(asked)] : [given, asked];
      const { channels } = input;
      const { byteOffset: to } = out.data;
      const wide = 4 * wholeGroups(out.channels);
      const stride = 4 * out.channels;
      const step = 4 * channels * dx;
      const long = 4 * across * channels;
      const { byteOffset: grouped } = weights.grouped!;
      const { byteOffset: biases } = bias;
      const at = findWindows(kernels, input, { out, scratch, geometry });
      for (let y = 0; y < out.height; y++) {
        for (let x = 0; x < out.width; x += AT_ONCE) {
          const count = Math.min(AT_ONCE, out.width - x);
          const from = at + 4 * down * y;
          const into = to + stride * (y * out.width + x);
          kernels.multiplyWindows(from, grouped, biases, into, count, down, long, step, wide, stride);
          // The next ones begin further right.
          if (x + count < out.width) kernels.moveRows(at + 4 * down * y, down, step * count);
        }
      }
    },
    weighWindows(input, { weights: { byteOffset: weights }, bias, out, scratch, ...geometry }) {
      const { across, down, dx } = geometry;
      const stride = 4 * input.channels;
      const at = findWindows(kernels, input, { out, scratch, geometry });
      for (let y = 0; y < out.height; y++) {
        const to = out.data.byteOffset + stride * out.width * y;
        const from = at + 4 * down * y;
        kernels.weighWindows(from, weights, bias.byteOffset, to, out.width, across, down, stride, stride * dx);
      }
    },
    takeGreatest(input, step) {
      const { out, scratch, ...geometry } = step;
      if (!staysInside(input, out, geometry)) return PLAIN.takeGreatest(input, step);
      const { across, down, dx } = geometry;
      const stride = 4 * input.channels;
      const at = findWindows(kernels, input, { out, scratch, geometry });
      for (let y = 0; y < out.height; y++) {
        const to = out.data.byteOffset + stride * out.width * y;
        kernels.takeGreatest(at + 4 * down * y, to, out.width, across, down, stride, stride * dx);
      }
    },
    sumPixels(input, { sums, row }) {
      const { data, width, height, channels } = input;
      sums.fill(0);
      for (let y = 0; y < height; y++) {
        row.fill(0);
        kernels.addPixels(data.byteOffset + 4 * channels * width * y, row.byteOffset, width, 4 * channels);
        kernels.addNumbers(sums.byteOffset, row.byteOffset, sums.byteOffset, channels);
      }
    },
    add: (a, b, out) => kernels.addNumbers(a.byteOffset, b.byteOffset, out.byteOffset, out.length),
    scale(wide, narrow, out) {
      if (narrow.length % 4 !== 0) return PLAIN.scale(wide, narrow, out);
      const { byteOffset: factors, length } = narrow;
      kernels.scalePixels(wide.byteOffset, factors, out.byteOffset, wide.length / length, 4 * length);
    },
    bound: (numbers, most) => kernels.boundNumbers(numbers.byteOffset, numbers.length, most),
    bend: (from, out) => kernels.bendNumbers(from.byteOffset, out.byteOffset, out.length),
    space: ({ data, channels }, out) =>
      kernels.spacePixels(data.byteOffset, out.data.byteOffset, out.width * out.height, 4 * channels, 4 * out.channels),
    spread(pixels, out) {
      const [across, down] = [out.width / pixels.width, out.height / pixels.height];
      const line = 4 * out.width * out.channels;
      for (let y = 0; y < pixels.height; y++) {
        const from = pixels.data.byteOffset + 4 * pixels.width * pixels.channels * y;
        const to = out.data.byteOffset + line * down * y;
        kernels.spreadRow(from, to, pixels.width, across, down, out.channels, line);
      }
    },
    mixRow({ data, width, channels }, step) {
      const { out, y, row, columns, scratch } = step;
      const stride = 4 * channels;
      if (y === 0) layColumns(columns, { stride, to: scratch });
      const [above, below] = sharesOf(row);
      const line = stride * width;
      const upper = data.byteOffset + line * row.low;
      const lower = data.byteOffset + line * row.high;
      const to = out.data.byteOffset + stride * out.width * y;
      kernels.mixRow(upper, lower, scratch.byteOffset, to, out.width, stride, above, below);
    },
    widen(halves, out) {
      // In the upper half of the room, where it is read before anything is written over it.
      const at = out.byteOffset + 2 * out.length;
      new Uint8Array(out.buffer, at, halves.length).set(halves);
      kernels.widenHalves(at, out.byteOffset, out.length);
    },
    group(weights, { count, out }) {
      const length = weights.length / count;
      const stride = 4 * wholeGroups(count);
      for (let o = 0; o < count; o++) {
        kernels.spreadWeights(weights.byteOffset + 4 * length * o, out.byteOffset + 4 * o, length, stride);
      }
    },
  };
}

const asRow = (tensor: Tensor): Tensor => ({ ...tensor, width: tensor.width * tensor.height, height: 1 });

/** For each column the bytes to its neighbours and their shares, as the kernel reads them. */
function layColumns(
  columns: readonly Between[],
  { stride, to }: { readonly stride: number; readonly to: Float32Array },
): void {
  const places = new Uint32Array(to.buffer, to.byteOffset, to.length);
  columns.forEach((column, x) => {
    places[4 * x] = stride * column.low;
    places[4 * x + 1] = stride * column.high;
    to.set(sharesOf(column), 4 * x + 2);
  });
}

interface WindowsStep {
  readonly out: Tensor;
  readonly scratch: Float32Array;
  readonly geometry: Geometry;
}

/**
 * Where the windows begin, in the input itself or in a copy with zeros beside its rows and one row of zeros: the place
 * of the addresses of the rows of the first window of each row of the result.
 */
function findWindows(kernels: Kernels, input: Tensor, { out, scratch, geometry }: WindowsStep): number {
  const { data, width, height, channels } = input;
  const { down, dy, left, top } = geometry;
  const isInside = staysInside(input, out, geometry);
  const room = 4 * (isInside ? width * channels : lengthOfRow(input, out, geometry));
  const copyAt = scratch.byteOffset;
  if (!isInside) kernels.padRows(data.byteOffset, copyAt, height, 4 * width * channels, 4 * left * channels, room);
  const at = copyAt + (isInside ? 0 : (height + 1) * room + 4 * SLACK);
  kernels.findRows(isInside ? data.byteOffset : copyAt, at, room, height, out.height, down, dy, top);
  return at;
}
