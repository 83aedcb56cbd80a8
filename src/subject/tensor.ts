/** Numbers of one step of a network: rows, columns and channels, channels innermost. Lists count as one row. */
export interface Tensor {
  readonly height: number;
  readonly width: number;
  readonly channels: number;
  readonly data: Float32Array;
  /** Of weights: the same numbers as the kernel takes them, see `groupWeights`. */
  readonly grouped?: Float32Array;
}

export type Shape = Omit<Tensor, 'data' | 'grouped'>;
