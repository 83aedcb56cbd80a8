import { tabulate } from '../numeric/index.ts';
import { type Kernels, ONE, reserveBuffers } from '../plane/index.ts';
import { MAX_SIDES } from './mark-diffusion.ts';
import type { MarkSteps } from './mark-steps.ts';

export interface VariableRows {
  readonly width: number;
  readonly steps: MarkSteps;
  /** Row of the weights, 0 … 255, for each wanted strength 0 … ONE. */
  readonly rowOf: Uint8Array;
  /** Weights of each row, in 16384ths. */
  readonly ahead: Int32Array;
  readonly belowBehind: Int32Array;
  /** Most error that is passed on, and where the plane is exactly bare or solid; units of coverage. */
  readonly most: number;
  readonly mostHeld: number;
  /** What to ask for where a strength is wanted, see `levelStrengths`. */
  readonly levels?: Uint16Array | undefined;
}

/**
 * The rows of a diffusion with weights by tone and no chance, by the WebAssembly kernel: the same bits as the plain
 * ones.
 */
export function startFastVariableRows(
  kernels: Kernels,
  of: VariableRows,
): (row: Uint16Array, chosen: Uint8Array, step: number) => void {
  const { width, steps, rowOf, ahead, belowBehind, most, mostHeld, levels = new Uint16Array() } = of;
  const { rowsAbove, sides, behind, rightward, leftward } = steps;
  const sizes = [
    2 * width,
    width,
    4 * (width + 2),
    4 * (width + 2),
    width + 2 * MAX_SIDES,
    4 * rightward.length,
    4 * leftward.length,
    ONE + 1,
    8 * ahead.length,
    2 * levels.length,
  ];
  const [askedAt, firesAt, firstAt, secondAt, columnsAt, rightAt, leftAt, rowsAt, weightsAt, levelsAt] = reserveBuffers(
    kernels,
    sizes,
  );
  const { buffer } = kernels.memory;
  new Int32Array(buffer, rightAt, rightward.length).set(rightward);
  new Int32Array(buffer, leftAt, leftward.length).set(leftward);
  new Uint8Array(buffer, rowsAt, ONE + 1).set(rowOf);
  new Int32Array(buffer, weightsAt, 2 * ahead.length).set(
    tabulate(new Int32Array(2 * ahead.length), (i) => (i % 2 === 0 ? ahead : belowBehind)[i >> 1]!),
  );
  new Uint16Array(buffer, levelsAt, levels.length).set(levels);
  const asked = new Uint16Array(buffer, askedAt, width);
  const fires = new Uint8Array(buffer, firesAt, width);
  const map = levels.length > 0 ? levelsAt : 0;
  let [incoming, outgoing] = [firstAt, secondAt];
  return (row, chosen, step) => {
    asked.set(row);
    kernels.variableRow(
      askedAt,
      firesAt,
      incoming,
      outgoing,
      columnsAt + MAX_SIDES,
      step > 0 ? rightAt : leftAt,
      rowsAt,
      weightsAt,
      width,
      step,
      rowsAbove,
      sides,
      behind,
      most,
      mostHeld,
      map,
    );
    chosen.set(fires);
    [incoming, outgoing] = [outgoing, incoming];
  };
}
