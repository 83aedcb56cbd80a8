import { tabulate } from '../numeric/index.ts';
import { giveBackKernels, type Kernels, loadKernels, ONE, type Plane, reserveBuffers } from '../plane/index.ts';
import { blendRows, type CellSize, type Cells, splitHeight } from './cells.ts';
import { CODES_PER_L, luminanceTable } from './lightness.ts';

/**
 * Table of the sharpening: steps per L*, and its reach, with room for what the noise filter adds. Assumed: 1/32 L* is
 * below every step that a dot can show, and 100 L* need no more than 110.
 */
export const DETAIL = { steps: 32, rangeL: 110 } as const;
/** Number of its entries. */
export const DETAIL_ENTRIES = 2 * DETAIL.rangeL * DETAIL.steps + 2;
/** Where a difference of 0 lies in it; the half rounds. */
const DETAIL_MIDDLE = DETAIL.rangeL * DETAIL.steps + 0.5;

/**
 * What the tone stage takes from the surroundings of each dot: fields of cells, and the tables for the dots themselves.
 */
export interface ToneFields {
  readonly curve: Float32Array;
  readonly size: CellSize;
  readonly gain: Cells;
  readonly offset: Cells;
  readonly blurred: Cells;
  /** What sharpening adds, by the difference from the blurred picture. */
  readonly detail: Float32Array;
}

export interface ToneRows {
  /** Of the size of the picture; only the rows named are written. */
  readonly out: Plane<'luminance'>;
  readonly from: number;
  /** Not included. */
  readonly to: number;
  /** `scalar` forces the readable version; `simd` takes the kernels when they can be had. Both give the same bits. */
  readonly arithmetic?: 'simd' | 'scalar';
}

/** The pass over the dots: even + detail(even − blurred), even = gain·L* + offset, linear between cells. */
export function applyToneFields(luminance: Plane<'luminance'>, fields: ToneFields, rows: ToneRows): void {
  const { width, data } = luminance;
  const { out, from, to, arithmetic = 'simd' } = rows;
  const kernels = arithmetic === 'simd' ? loadKernels() : undefined;
  const toneRow = kernels ? startFastRows(kernels, fields, width) : startPlainRows(fields);
  for (let y = from; y < to; y++) {
    const at = y * width;
    toneRow(data.subarray(at, at + width), out.data.subarray(at, at + width), (y + 0.5) / fields.size.y - 0.5);
  }
  giveBackKernels(kernels);
}

/** One row of dots, its middle at height `atCell` of the fields. */
type ToneRow = (samples: Uint16Array, out: Uint16Array, atCell: number) => void;

function startPlainRows(fields: ToneFields): ToneRow {
  const { curve, size, detail, gain, offset, blurred } = fields;
  const [gains, offsets, blurs] = [gain, offset, blurred].map(({ width }) => new Float32Array(width));
  const tables = { curve, detail, light: luminanceTable(), places: listPlaces(size.x) };
  return (samples, out, atCell) => {
    blendRows(gain, atCell, gains);
    blendRows(offset, atCell, offsets);
    blendRows(blurred, atCell, blurs);
    tonePlainRow({ samples, out, dotsPerCell: size.x }, { gains, offsets, blurs }, tables);
  };
}

/** Where the dots of a stretch lie on the way from one cell centre to the next, 0 … 1. */
function listPlaces(dotsPerCell: number): Float64Array {
  const first = dotsPerCell >> 1;
  return tabulate(new Float64Array(dotsPerCell), (dot) => (first + dot + 0.5) / dotsPerCell - 0.5);
}

/** Stretches from cell centre to cell centre; the first and the last half cell keep the value of their centre. */
function tonePlainRow(
  { samples, out, dotsPerCell }: { samples: Uint16Array; out: Uint16Array; dotsPerCell: number },
  { gains, offsets, blurs }: { gains: Float32Array; offsets: Float32Array; blurs: Float32Array },
  tables: { curve: Float32Array; detail: Float32Array; light: Uint16Array; places: Float64Array },
): void {
  const { curve, detail, light, places } = tables;
  const cells = gains.length;
  for (let right = 0, at = 0; right <= cells; right++) {
    const left = Math.max(0, right - 1);
    const to = Math.min(right, cells - 1);
    const wholeStop = right * dotsPerCell + (dotsPerCell >> 1);
    const stop = right === cells ? samples.length : Math.min(samples.length, wholeStop);
    const gainBy = gains[to] - gains[left];
    const offsetBy = offsets[to] - offsets[left];
    const blurBy = blurs[to] - blurs[left];
    for (let dot = 0; at < stop; at++, dot++) {
      const place = places[dot];
      const even = curve[samples[at]] * (gains[left] + place * gainBy) + (offsets[left] + place * offsetBy);
      const difference = even - (blurs[left] + place * blurBy);
      const entry = (difference * DETAIL.steps + DETAIL_MIDDLE) | 0;
      const sharpened = detail[Math.min(DETAIL_ENTRIES - 1, Math.max(0, entry))];
      const code = ((even + sharpened) * CODES_PER_L + 0.5) | 0;
      out[at] = light[code < 0 ? 0 : Math.min(code, ONE)];
    }
  }
}

/** The same by the kernel. */
function startFastRows(kernels: Kernels, fields: ToneFields, width: number): ToneRow {
  const { curve, size, detail } = fields;
  const planes = [fields.gain, fields.offset, fields.blurred];
  const cells = fields.gain.width;
  const stride = 4 * cells + 8;
  const light = luminanceTable();
  const places = listPlaces(size.x);
  const tablesBytes = curve.byteLength + light.byteLength + detail.byteLength;
  const sizes = [2 * width + 2, 2 * width + 2, 6 * stride, 6 * stride, tablesBytes, places.byteLength + 8];
  const [samplesAt, outAt, fieldsAt, linesAt, tablesAt, placesAt] = reserveBuffers(kernels, sizes);
  const { buffer } = kernels.memory;
  new Float32Array(buffer, tablesAt, curve.length).set(curve);
  new Uint16Array(buffer, tablesAt + curve.byteLength, light.length).set(light);
  new Float32Array(buffer, tablesAt + curve.byteLength + light.byteLength, detail.length).set(detail);
  new Float64Array(buffer, placesAt, places.length).set(places);
  const row = new Uint16Array(buffer, samplesAt, width);
  const toned = new Uint16Array(buffer, outAt, width);
  const given = [0, 1, 2, 3, 4, 5].map((line) => new Float32Array(buffer, fieldsAt + line * stride, cells));
  return (samples, out, atCell) => {
    row.set(samples);
    const { above, below, way } = splitHeight(atCell, fields.gain.height);
    for (let i = 0; i < 3; i++) {
      const { data } = planes[i];
      given[i].set(data.subarray(above * cells, (above + 1) * cells));
      given[i + 3].set(data.subarray(below * cells, (below + 1) * cells));
    }
    kernels.toneRow(
      samplesAt,
      outAt,
      fieldsAt,
      stride,
      cells,
      width,
      size.x,
      way,
      linesAt,
      tablesAt,
      DETAIL_ENTRIES,
      DETAIL_MIDDLE,
      DETAIL.steps,
      CODES_PER_L,
      placesAt,
    );
    out.set(toned);
  };
}
