import { giveBackKernels, type Kernels, loadKernels, reserveBuffers } from './kernels.ts';
import { ONE } from './plane.ts';

export interface MapSamplesOptions {
  /** What each sample 0 … ONE becomes: ONE + 1 entries. */
  readonly table: Uint16Array;
  /** `scalar` forces the readable version; `simd` takes the kernels when they can be had. Both give the same bits. */
  readonly arithmetic?: 'simd' | 'scalar';
}

/**
 * Samples that go through at a time. Assumed: 64 KiB stay in a processor's cache on their way to the kernel and back.
 */
const BLOCK = 1 << 15;

/**
 * Every sample through a table, into `to`, which may be `from` itself.
 * @throws RangeError when the table has another length than ONE + 1, or `to` another length than `from`
 */
export function mapSamples(from: Uint16Array, to: Uint16Array, options: MapSamplesOptions): void {
  const { table, arithmetic = 'simd' } = options;
  if (table.length !== ONE + 1 || to.length !== from.length) {
    throw new RangeError(
      `a map needs ${ONE + 1} entries and room for all samples, got ${table.length} and ${to.length}`,
    );
  }
  const kernels = arithmetic === 'simd' ? loadKernels() : undefined;
  const mapBlock = kernels ? startFastMap(kernels, table) : startPlainMap(table);
  for (let at = 0; at < from.length; at += BLOCK) mapBlock(from.subarray(at, at + BLOCK), to.subarray(at, at + BLOCK));
  giveBackKernels(kernels);
}

type MapBlock = (from: Uint16Array, to: Uint16Array) => void;

/** A function of its own, because an engine makes a function fast at its calls. */
function startPlainMap(table: Uint16Array): MapBlock {
  return (from, to) => {
    for (let x = 0; x < from.length; x++) to[x] = table[from[x]];
  };
}

function startFastMap(kernels: Kernels, table: Uint16Array): MapBlock {
  const [tableAt, samplesAt] = reserveBuffers(kernels, [table.byteLength, 2 * BLOCK]);
  const { buffer } = kernels.memory;
  new Uint16Array(buffer, tableAt, table.length).set(table);
  const samples = new Uint16Array(buffer, samplesAt, BLOCK);
  return (from, to) => {
    samples.set(from);
    kernels.mapSamples(samplesAt, tableAt, samplesAt, from.length);
    to.set(to.length === BLOCK ? samples : samples.subarray(0, to.length));
  };
}
