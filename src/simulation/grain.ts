import { hash32, normalAt } from './chance.ts';
import type { GrainModel } from './material-model.ts';

/** A smooth random field with mean 0 and variance 1 everywhere, read line by line. */
export interface GrainField {
  /** Values of the line at a height y (µm) for columns `columnUm` apart, added into `into` times `weight`. */
  addLine(into: Float32Array, yUm: number, weight: number): void;
}

export interface GrainFieldOptions {
  readonly layer: GrainModel;
  readonly seed: number;
  readonly columns: number;
  readonly columnUm: number;
}

/**
 * Normal values on a lattice with the layer's correlation lengths. Neighbours are mixed with the weights cos and sin
 * of the distance, whose squares sum to 1, and not linearly: linear mixing would calm the field between lattice points.
 */
export function createGrainField({ layer, seed, columns, columnUm }: GrainFieldOptions): GrainField {
  const lines = new Map<number, Float32Array>();
  const latticeLine = (row: number) => {
    const known = lines.get(row);
    if (known) return known;
    // Each lattice line is shifted by a chance share of the lattice, so that no columns stand out.
    const shift = hash32(seed, row, 77) / 4294967296;
    const line = new Float32Array(columns);
    for (let i = 0; i < columns; i++) {
      const at = ((i + 0.5) * columnUm) / layer.lengthXUm + shift;
      const node = Math.floor(at);
      const angle = ((at - node) * Math.PI) / 2;
      line[i] = Math.cos(angle) * normalAt(seed, row, node) + Math.sin(angle) * normalAt(seed, row, node + 1);
    }
    if (lines.size > 2) lines.clear();
    lines.set(row, line);
    return line;
  };
  return {
    addLine(into, yUm, weight) {
      const at = yUm / layer.lengthYUm;
      const row = Math.floor(at);
      const angle = ((at - row) * Math.PI) / 2;
      const [above, below] = [latticeLine(row), latticeLine(row + 1)];
      const [cos, sin] = [weight * Math.cos(angle), weight * Math.sin(angle)];
      for (let i = 0; i < columns; i++) into[i] = into[i] + cos * above[i] + sin * below[i];
    },
  };
}
