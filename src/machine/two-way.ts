import * as v from 'valibot';
import { NORMAL_95 } from '../numeric/index.ts';
import { createDots, type Dots } from '../plane/index.ts';
import { QUANTITIES, within } from '../quantities.ts';
import { parseRecord } from '../schema.ts';
import type { BareHandling } from './types.ts';

/** An offset of lines that run back from those that run there, at one speed; to the right is above 0. */
export interface MeasuredOffset {
  /** Hash of the chart. */
  readonly chart: string;
  /** ISO date of the reading. */
  readonly date: string;
  readonly speedMmPerS: number;
  readonly offsetUm: number;
  /** 95 % interval. */
  readonly lowUm: number;
  readonly highUm: number;
}

/** What a shop has measured of lines there and back on one machine, one reading a speed. */
export interface TwoWayRecord {
  readonly schema: 'tonewright-two-way/1';
  readonly machine: string;
  readonly measured: readonly MeasuredOffset[];
}

/** The offset that is to be expected at a speed, and how it is known. */
export interface ExpectedOffset {
  readonly offsetUm: number;
  readonly lowUm: number;
  readonly highUm: number;
  /** Days of the readings that it comes from. */
  readonly dates: readonly string[];
  readonly by: 'this-speed' | 'two-speeds';
}

/** Where an offset comes of: the mechanics at every speed alike, and a beam that is late by a time. */
export interface OffsetParts {
  readonly fixedUm: MeasuredUm;
  /** µs; the beam is late where above 0. */
  readonly delayUs: MeasuredUm;
}

interface MeasuredUm {
  readonly value: number;
  /** 95 % interval. */
  readonly low: number;
  readonly high: number;
}

const micrometres = within(-1e6, 1e6, 'µm');
const RECORD = v.strictObject({
  schema: v.literal('tonewright-two-way/1'),
  machine: v.string(),
  measured: v.array(
    v.strictObject({
      chart: v.string(),
      date: v.string(),
      speedMmPerS: QUANTITIES.speedMmPerS,
      offsetUm: micrometres,
      lowUm: micrometres,
      highUm: micrometres,
    }),
  ),
});

/** Share by which a speed may differ to count as the same. Assumed: an offset moves with it by no more. */
const SAME_SPEED = 0.01;
/**
 * How far beyond measured speeds a line is drawn, times. Assumed: mechanics that follow at one speed may not at twice.
 */
const BEYOND = 1.5;

/** @throws AppError file-invalid naming the field */
export const parseTwoWay = (json: unknown, file: string): TwoWayRecord =>
  parseRecord(RECORD, { json, what: `two-way offset ${file}` });

const isSameSpeed = (a: number, b: number) => Math.abs(a - b) <= SAME_SPEED * b;

/** The record with one reading more, which replaces an earlier one of its speed. */
export function rememberOffset(
  known: TwoWayRecord | undefined,
  { machine, reading }: { readonly machine: string; readonly reading: MeasuredOffset },
): TwoWayRecord {
  const others = (known?.measured ?? []).filter((one) => !isSameSpeed(one.speedMmPerS, reading.speedMmPerS));
  const measured = [...others, reading].sort((a, b) => a.speedMmPerS - b.speedMmPerS);
  return { schema: 'tonewright-two-way/1', machine, measured };
}

/** µs that the beam is late for lines back to land so far: each way it lands too far by delay × speed. */
export const delayOfOffset = (offsetUm: number, speedMmPerS: number): number =>
  0 - (offsetUm * MICRO_PER_MILLI) / (2 * speedMmPerS);

/** µs in a ms, and µm in a mm: µm / (mm/s) is a thousandth of a second's thousandth. Exact: SI prefixes. */
const MICRO_PER_MILLI = 1000;

interface Line {
  readonly fixed: number;
  readonly perSpeed: number;
  readonly variances: { readonly fixed: number; readonly perSpeed: number; readonly both: number };
}

/** offset = fixed + perSpeed · speed by weighted least squares; undefined for one speed. */
function fitLine({ measured }: TwoWayRecord): Line | undefined {
  if (measured.length < 2) return undefined;
  let [w, x, y, xx, xy] = [0, 0, 0, 0, 0];
  for (const one of measured) {
    const deviation = Math.max((one.highUm - one.lowUm) / (2 * NORMAL_95), LEAST_DEVIATION_UM);
    const weight = 1 / deviation ** 2;
    w += weight;
    x += weight * one.speedMmPerS;
    y += weight * one.offsetUm;
    xx += weight * one.speedMmPerS ** 2;
    xy += weight * one.speedMmPerS * one.offsetUm;
  }
  const size = w * xx - x * x;
  return {
    fixed: (xx * y - x * xy) / size,
    perSpeed: (w * xy - x * y) / size,
    variances: { fixed: xx / size, perSpeed: w / size, both: -x / size },
  };
}

/** µm. Assumed: no capture tells an offset better than to a tenth of a micrometre. */
const LEAST_DEVIATION_UM = 0.1;

/** A delay told from a fixed offset; undefined before two speeds are measured. */
export function splitOffset(record: TwoWayRecord): OffsetParts | undefined {
  const line = fitLine(record);
  if (!line) return undefined;
  const span = (value: number, variance: number): MeasuredUm => {
    const reach = NORMAL_95 * Math.sqrt(variance);
    return { value, low: value - reach, high: value + reach };
  };
  const toDelay = MICRO_PER_MILLI / 2;
  return {
    fixedUm: span(line.fixed, line.variances.fixed),
    delayUs: span(0 - toDelay * line.perSpeed, toDelay ** 2 * line.variances.perSpeed),
  };
}

/** Undefined where neither this speed nor two others beside it are measured. */
export function expectOffset(record: TwoWayRecord, speedMmPerS: number): ExpectedOffset | undefined {
  const own = record.measured.find((one) => isSameSpeed(one.speedMmPerS, speedMmPerS));
  if (own) {
    const { offsetUm, lowUm, highUm, date } = own;
    return { offsetUm, lowUm, highUm, dates: [date], by: 'this-speed' };
  }
  const line = fitLine(record);
  const speeds = record.measured.map((one) => one.speedMmPerS);
  if (!line || speedMmPerS > BEYOND * Math.max(...speeds) || speedMmPerS < Math.min(...speeds) / BEYOND) {
    return undefined;
  }
  const { fixed, perSpeed, variances } = line;
  const offsetUm = fixed + perSpeed * speedMmPerS;
  const variance = variances.fixed + 2 * variances.both * speedMmPerS + variances.perSpeed * speedMmPerS ** 2;
  const reach = NORMAL_95 * Math.sqrt(Math.max(0, variance));
  const dates = record.measured.map(({ date }) => date);
  return { offsetUm, lowUm: offsetUm - reach, highUm: offsetUm + reach, dates, by: 'two-speeds' };
}

/**
 * Lines that are scanned to the left when scanning there and back: each second one of those that are scanned. A machine
 * that leaves out bare lines turns round after each that fires.
 * @returns 1 for a line that runs back, height
 */
export function listBackLines({ data, width, height }: Dots, bare: BareHandling = 'skipped'): Uint8Array {
  const back = new Uint8Array(height);
  let lines = 0;
  for (let y = 0; y < height; y++) {
    const isScanned = bare === 'all-scanned' || data.subarray(y * width, (y + 1) * width).some((dot) => dot > 0);
    if (!isScanned) continue;
    back[y] = lines % 2;
    lines++;
  }
  return back;
}

/**
 * Moves the lines that run back by whole dots to the right; what has no room at the end of a line is left out. A line
 * of which nothing would be left stays, as the next one would run the other way.
 */
export function moveBackLines(
  dots: Dots,
  { byDots, bare }: { readonly byDots: number; readonly bare?: BareHandling | undefined },
): Dots {
  if (byDots === 0) return dots;
  const { width, height, levels } = dots;
  const data = dots.data.slice();
  const back = listBackLines(dots, bare);
  for (let y = 0; y < height; y++) {
    const from = y * width;
    const kept = dots.data.subarray(from + Math.max(0, -byDots), from + width - Math.max(0, byDots));
    if (back[y] === 0 || !kept.some((dot) => dot > 0)) continue;
    data.fill(0, from, from + width).set(kept, from + Math.max(0, byDots));
  }
  return createDots(width, height, levels, data);
}
