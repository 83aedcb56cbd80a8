import { type Kernels, reserveBuffers } from './kernels.ts';
import { ALPHA_SHARES } from './luminance.ts';
import type { Passes, PassesPlan } from './taps.ts';

/**
 * Bytes that a kernel may read past the end of a row: 16 columns of a row pair, 8 taps of a row. Assumed: twice the 64
 * bytes of the longer of the two.
 */
const SPARE = 128;

/**
 * The two passes by WebAssembly SIMD, the same bits as the plain ones. Source rows go in one by one through a small
 * buffer (copying a large photo at once costs more than filtering it) and lie in the ring in pairs, so that one
 * instruction multiplies two rows.
 */
export function startFastPasses(kernels: Kernels, plan: PassesPlan): Passes {
  const { source, columns, firstColumn, columnCount, keep, overshoot } = plan;
  const { kind, samples, alpha, weights } = source;
  const channels = kind === 'rgb8' || kind === 'rgb16' ? 3 : 1;
  const outputs = columns.starts.length;
  const outputsRounded = Math.ceil(outputs / 4) * 4;
  const columnsRounded = Math.ceil(columnCount / 16) * 16;
  const longest = columns.lengths.reduce((most, length) => Math.max(most, length), 1);
  const groups = Math.ceil(longest / 8);
  const pairsKept = Math.ceil(keep / 2) + 1;
  const rowBytes = columnCount * channels * samples.BYTES_PER_ELEMENT;
  const pairBytes = columnsRounded * 4 + SPARE;

  const boundCount = columns.bounds ? outputs : 0;

  const [
    tableAt,
    sharesAt,
    samplesAt,
    alphaAt,
    ringAt,
    pairsAt,
    rowTapsAt,
    betweenAt,
    startsAt,
    columnTapsAt,
    outAt,
    leftsAt,
    rightsAt,
  ] = reserveBuffers(kernels, [
    source.shares.byteLength + source.light.byteLength,
    ALPHA_SHARES.byteLength,
    rowBytes + SPARE,
    columnCount + SPARE,
    pairsKept * pairBytes,
    pairsKept * 4,
    pairsKept * 4,
    columnsRounded * 2 + groups * 16 + SPARE,
    outputsRounded * 4,
    outputsRounded * groups * 16,
    outputsRounded * 2,
    boundCount * 4,
    boundCount * 4,
  ]);

  const { buffer } = kernels.memory;
  if (samples instanceof Uint16Array) new Uint16Array(buffer, tableAt, source.light.length).set(source.light);
  else new Int32Array(buffer, tableAt, source.shares.length).set(source.shares);
  new Uint16Array(buffer, sharesAt, ALPHA_SHARES.length).set(ALPHA_SHARES);
  const setOffsets = (at: number, columnsOf: Int32Array) =>
    new Int32Array(buffer, at, columnsOf.length).set(columnsOf.map((column) => 2 * column));
  setOffsets(startsAt, columns.starts);
  if (columns.bounds) {
    setOffsets(leftsAt, columns.bounds.lefts);
    setOffsets(rightsAt, columns.bounds.rights);
  }
  const columnTaps = new Int16Array(buffer, columnTapsAt, outputsRounded * groups * 8);
  for (let x = 0; x < outputs; x++) {
    const from = x * columns.stride;
    columnTaps.set(columns.taps.subarray(from, from + columns.lengths[x]), x * groups * 8);
  }
  const row =
    samples instanceof Uint16Array
      ? new Uint16Array(buffer, samplesAt, columnCount * channels)
      : new Uint8Array(buffer, samplesAt, columnCount * channels);
  const alphaRow = new Uint8Array(buffer, alphaAt, columnCount);
  const pairs = new Int32Array(buffer, pairsAt, pairsKept);
  const rowTaps = new Int16Array(buffer, rowTapsAt, pairsKept * 2);
  const out = overshoot === 'cut' ? new Uint16Array(buffer, outAt, outputs) : new Int16Array(buffer, outAt, outputs);
  const open = overshoot === 'cut' ? 0 : 1;
  const addressOf = (pair: number) => ringAt + (pair % pairsKept) * pairBytes;
  const rowAddress = (y: number) => addressOf(y >> 1) + (y & 1) * 2;

  return {
    readRow(y) {
      const pixel = y * source.width + firstColumn;
      row.set(samples.subarray(pixel * channels, (pixel + columnCount) * channels));
      const at = rowAddress(y);
      if (kind === 'rgb8') kernels.luminanceRgb8(samplesAt, tableAt, at, columnCount);
      else if (kind === 'grey8') kernels.luminanceGrey8(samplesAt, tableAt, at, columnCount);
      else if (kind === 'rgb16') kernels.luminanceRgb16(samplesAt, tableAt, at, columnCount, ...weights);
      else kernels.luminanceGrey16(samplesAt, tableAt, at, columnCount);
      if (alpha === undefined) return;
      alphaRow.set(alpha.subarray(pixel, pixel + columnCount));
      kernels.premultiply(at, alphaAt, sharesAt, columnCount);
    },
    filterRow({ first, taps, bounds }) {
      const lead = first & 1;
      const pairCount = (lead + taps.length + 1) >> 1;
      rowTaps[0] = 0;
      rowTaps[2 * pairCount - 1] = 0;
      rowTaps.set(taps, lead);
      for (let pair = 0; pair < pairCount; pair++) pairs[pair] = addressOf((first >> 1) + pair);
      kernels.filterRows(pairsAt, rowTapsAt, pairCount, betweenAt, columnsRounded);
      if (bounds) kernels.boundRow(rowAddress(bounds[0]), rowAddress(bounds[1]), betweenAt, columnCount);
      kernels.filterColumns(betweenAt, startsAt, columnTapsAt, groups, outAt, outputsRounded, open);
      if (columns.bounds) kernels.boundColumns(betweenAt, leftsAt, rightsAt, outAt, outputs, open);
      return out;
    },
  };
}
