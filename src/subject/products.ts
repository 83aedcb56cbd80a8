import { type Kernels, loadKernels, reserveBuffers } from '../plane/index.ts';

/** Sums of products along one row of a step; rows of numbers lie pixel by pixel. */
export interface Products {
  /** Each output of each pixel: its bias and `length` numbers of the pixel with its weights, which lie by output, then by number. */
  readonly multiplyRow: (from: Float32Array, step: RowStep) => void;
  /**
   * Each channel for itself, over windows of rows that are wide enough for all of them; weights lie by row, column,
   * channel.
   */
  readonly weighRow: (rows: readonly Float32Array[], step: WindowStep) => void;
}

export interface RowStep {
  readonly weights: Float32Array;
  readonly bias: Float32Array;
  readonly out: Float32Array;
  /** Numbers of a pixel. */
  readonly length: number;
}

export interface WindowStep {
  readonly weights: Float32Array;
  readonly bias: Float32Array;
  readonly out: Float32Array;
  readonly across: number;
  /** Pixels from one window to the next. */
  readonly step: number;
}

/** The kernels where they can be had, the plain version else: both give the same bits. */
export function openProducts(arithmetic: 'fast' | 'plain' = 'fast'): Products {
  const kernels = arithmetic === 'fast' ? loadKernels() : undefined;
  const again = kernels && loadKernels();
  return kernels && again ? openFast(kernels, again) : PLAIN;
}

const { fround } = Math;

const PLAIN: Products = {
  multiplyRow(from, { weights, bias, out, length }) {
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
  weighRow(rows, { weights, bias, out, across, step }) {
    const channels = bias.length;
    for (let pixel = 0; pixel * channels < out.length; pixel++) {
      for (let c = 0; c < channels; c++) {
        let sum = bias[c]!;
        for (let y = 0; y < rows.length; y++) {
          for (let x = 0; x < across; x++) {
            const number = rows[y]![(pixel * step + x) * channels + c]!;
            sum = fround(sum + fround(number * weights[(y * across + x) * channels + c]!));
          }
        }
        out[pixel * channels + c] = sum;
      }
    }
  },
};

/** Numbers beyond the last that a group of four may touch. A count. Exact: at least one less than the group. */
const SLACK = 4;

/** Two instances, since each call lays out its memory anew; weights of one step stay for all of its rows. */
function openFast(kernels: Kernels, again: Kernels): Products {
  let known: Float32Array | undefined;
  let places: number[] = [];
  return {
    multiplyRow(from, { weights, bias, out, length }) {
      const count = bias.length;
      const room = (count + 3) & ~3;
      const pixels = out.length / count;
      if (known !== weights) {
        known = weights;
        const floats = [length * room, room, pixels * length, pixels * room];
        places = reserveBuffers(
          kernels,
          floats.map((size) => 4 * size),
        );
        const memory = new Float32Array(kernels.memory.buffer);
        const [first, second] = [places[0]! / 4, places[1]! / 4];
        memory.fill(0, first, second + room);
        for (let o = 0; o < count; o++) {
          for (let i = 0; i < length; i++) memory[first + i * room + o] = weights[o * length + i]!;
        }
        memory.set(bias, second);
      }
      const [weightsAt, biasAt, fromAt, outAt] = places as [number, number, number, number];
      const memory = new Float32Array(kernels.memory.buffer);
      memory.set(from.subarray(0, pixels * length), fromAt / 4);
      kernels.multiplyPixels(fromAt, weightsAt, biasAt, outAt, pixels, length, 4 * room);
      if (room === count) out.set(memory.subarray(outAt / 4, outAt / 4 + pixels * count));
      else {
        for (let pixel = 0; pixel < pixels; pixel++) {
          const start = outAt / 4 + pixel * room;
          out.set(memory.subarray(start, start + count), pixel * count);
        }
      }
    },
    weighRow(rows, { weights, bias, out, across, step }) {
      const channels = bias.length;
      const pixels = out.length / channels;
      const lines = rows.map((row) => row.length + SLACK);
      if (known !== weights) {
        known = weights;
        const floats = [weights.length + SLACK, channels + SLACK, rows.length, out.length + SLACK, ...lines];
        places = reserveBuffers(
          again,
          floats.map((size) => 4 * size),
        );
        const memory = new Float32Array(again.memory.buffer);
        memory.set(weights, places[0]! / 4);
        memory.set(bias, places[1]! / 4);
        new Uint32Array(again.memory.buffer).set(places.slice(4), places[2]! / 4);
      }
      const memory = new Float32Array(again.memory.buffer);
      for (const [y, row] of rows.entries()) memory.set(row, places[4 + y]! / 4);
      const [weightsAt, biasAt, rowsAt, outAt] = places as [number, number, number, number];
      again.weighWindows(
        rowsAt,
        weightsAt,
        biasAt,
        outAt,
        pixels,
        across,
        rows.length,
        4 * channels,
        4 * channels * step,
      );
      out.set(memory.subarray(outAt / 4, outAt / 4 + out.length));
    },
  };
}
