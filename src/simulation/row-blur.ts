import { loadKernels, reserveBuffers } from '../plane/index.ts';

/** A blur of rows of interleaved RGB by some taps. Results are used before the next call. */
export interface RowBlur {
  /** The row to blur along, wider by the taps' reach on both sides. */
  readonly row: Float32Array;
  /** As many rows as there are taps, to blur across. */
  readonly ring: readonly Float32Array[];
  along(): Float32Array;
  /** @param first the place in the ring of the row that the first tap takes, counted on beyond the ring's end. */
  across(first: number): Float32Array;
}

export function startPlainBlur(taps: Float32Array, width: number): RowBlur {
  const row = new Float32Array((width + taps.length - 1) * 3);
  const ring = Array.from({ length: taps.length }, () => new Float32Array(width * 3));
  const out = new Float32Array(width * 3);
  return {
    row,
    ring,
    along() {
      for (let i = 0; i < out.length; i++) {
        let sum = 0;
        for (let tap = 0; tap < taps.length; tap++) sum += taps[tap] * row[i + tap * 3];
        out[i] = sum;
      }
      return out;
    },
    across(first) {
      out.fill(0);
      for (let tap = 0; tap < taps.length; tap++) {
        const from = ring[(first + tap) % taps.length]!;
        for (let i = 0; i < out.length; i++) out[i] = out[i] + taps[tap] * from[i];
      }
      return out;
    },
  };
}

/** The same bits by the WebAssembly kernels; undefined where there are none. */
export function startFastBlur(taps: Float32Array, width: number): RowBlur | undefined {
  const kernels = loadKernels();
  if (!kernels) return undefined;
  const length = 3 * width;
  const rowLength = (width + taps.length - 1) * 3;
  // The kernel takes two floats a step.
  const sizes = [8 * taps.length, 4 * (rowLength + 1), 4 * (length + 1), ...[...taps].map(() => 4 * length)];
  const [tapsAt, rowAt, outAt, ...ringAt] = reserveBuffers(kernels, sizes) as [number, number, number, ...number[]];
  const { buffer } = kernels.memory;
  new Float64Array(buffer, tapsAt, taps.length).set(taps);
  const out = new Float32Array(buffer, outAt, length);
  return {
    row: new Float32Array(buffer, rowAt, rowLength),
    ring: ringAt.map((at) => new Float32Array(buffer, at, length)),
    along() {
      kernels.blurStrided(rowAt, tapsAt, taps.length, 3, outAt, length);
      return out;
    },
    across(first) {
      out.fill(0);
      for (let tap = 0; tap < taps.length; tap++) {
        kernels.addWeighted(outAt, ringAt[(first + tap) % taps.length]!, taps[tap], length);
      }
      return out;
    },
  };
}
