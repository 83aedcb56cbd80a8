import { type Kernels, loadKernels, reserveBuffers } from './kernels.ts';
import { ONE } from './plane.ts';

export interface MapSamplesOptions {
  /** What each sample 0 … ONE becomes: ONE + 1 entries. */
  readonly table: Uint16Array;
  /** Samples a row; the work is done row by row. */
  readonly width: number;
  /** `plain` forces the readable version; `fast` takes the kernels when they can be had. Both give the same bits. */
  readonly arithmetic?: 'fast' | 'plain';
}

/**
 * Every sample through a table, into `to`.
 * @throws RangeError when the table has another length than ONE + 1, or `to` another length than `from`
 */
export function mapSamples(from: Uint16Array, to: Uint16Array, options: MapSamplesOptions): void {
  const { table, width, arithmetic = 'fast' } = options;
  if (table.length !== ONE + 1 || to.length !== from.length) {
    throw new RangeError(
      `a map needs ${ONE + 1} entries and room for all samples, got ${table.length} and ${to.length}`,
    );
  }
  const kernels = arithmetic === 'fast' ? loadKernels() : undefined;
  const mapRow = kernels ? startFastMap(kernels, options) : startPlainMap(table);
  for (let at = 0; at < from.length; at += width) mapRow(from.subarray(at, at + width), to.subarray(at, at + width));
}

type MapRow = (from: Uint16Array, to: Uint16Array) => void;

/** A function of its own, because an engine makes a function fast at its calls. */
function startPlainMap(table: Uint16Array): MapRow {
  return (from, to) => {
    for (let x = 0; x < from.length; x++) to[x] = table[from[x]];
  };
}

function startFastMap(kernels: Kernels, options: MapSamplesOptions): MapRow {
  const { table, width } = options;
  const rowBytes = 2 * width + 8;
  const [tableAt, fromAt, toAt] = reserveBuffers(kernels, [table.byteLength, rowBytes, rowBytes]);
  const { buffer } = kernels.memory;
  new Uint16Array(buffer, tableAt, table.length).set(table);
  const fromRow = new Uint16Array(buffer, fromAt, width);
  const toRow = new Uint16Array(buffer, toAt, width);
  return (from, to) => {
    fromRow.set(from);
    kernels.mapSamples(fromAt, tableAt, toAt, from.length);
    to.set(to.length === width ? toRow : toRow.subarray(0, to.length));
  };
}
