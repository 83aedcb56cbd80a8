import { loadKernels, reserveBuffers } from '../plane/index.ts';

/** Rows of samples, and one that weighted others are added to. */
export interface RowSum {
  readonly sum: Float32Array;
  readonly spare: readonly Float32Array[];
  clear(): void;
  /** Adds a weighted row's samples from … to; `row` is one of the spare ones. */
  add(row: Float32Array, weight: number, from: number, to: number): void;
}

export function startPlainSum(samples: number, count: number): RowSum {
  const sum = new Float32Array(samples);
  return {
    sum,
    spare: Array.from({ length: count }, () => new Float32Array(samples)),
    clear: () => void sum.fill(0),
    add: (row, weight, from, to) => {
      for (let i = from; i < to; i++) sum[i] = sum[i] + weight * row[i];
    },
  };
}

/** The same bits by the WebAssembly kernels; undefined where there are none. */
export function startFastSum(samples: number, count: number): RowSum | undefined {
  const kernels = loadKernels();
  if (!kernels) return undefined;
  const [sumAt, ...rowsAt] = reserveBuffers(kernels, new Array<number>(count + 1).fill(4 * samples));
  const viewAt = (at: number) => new Float32Array(kernels.memory.buffer, at, samples);
  const sum = viewAt(sumAt!);
  return {
    sum,
    spare: rowsAt.map(viewAt),
    clear: () => void sum.fill(0),
    add: (row, weight, from, to) =>
      kernels.addWeighted(sumAt! + 4 * from, row.byteOffset + 4 * from, weight, to - from),
  };
}
