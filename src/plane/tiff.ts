import type { PixelsPerMetre } from './container.ts';
import { deflateSamples, type SampleRows } from './samples.ts';

/** Numbers of the field types. Format: TIFF 6.0, section 2. */
const SHORT = 3;
const LONG = 4;
const RATIONAL = 5;

/**
 * Grey TIFF 6.0 of 1 or 8 bits, deflate, with the resolution of both axes per centimetre: a metric pitch is then a
 * short fraction and kept exactly. Fax compression is not used: it makes halftones larger than no compression.
 */
export function writeTiff(width: number, rows: SampleRows, resolution: PixelsPerMetre): Buffer {
  const data = deflateSamples(rows);
  const rationalsAt = 8 + data.length + (data.length & 1);
  const directoryAt = rationalsAt + 16;
  const entries: readonly [tag: number, type: number, value: number][] = [
    [256, LONG, width],
    [257, LONG, rows.height],
    [258, SHORT, rows.bitsPerSample],
    [259, SHORT, 8],
    [262, SHORT, 1],
    [273, LONG, 8],
    [277, SHORT, 1],
    [278, LONG, rows.height],
    [279, LONG, data.length],
    [282, RATIONAL, rationalsAt],
    [283, RATIONAL, rationalsAt + 8],
    [284, SHORT, 1],
    [296, SHORT, 3],
  ];
  const bytes = Buffer.alloc(directoryAt + 2 + 12 * entries.length + 4);
  bytes.write('II*\0', 0, 'latin1');
  bytes.writeUInt32LE(directoryAt, 4);
  bytes.set(data, 8);
  for (const [axis, perMetre] of [resolution.x, resolution.y].entries()) {
    const [over, under] = toFraction(perMetre / 100);
    bytes.writeUInt32LE(over, rationalsAt + 8 * axis);
    bytes.writeUInt32LE(under, rationalsAt + 8 * axis + 4);
  }
  let at = bytes.writeUInt16LE(entries.length, directoryAt);
  for (const [tag, type, value] of entries) {
    bytes.writeUInt16LE(tag, at);
    bytes.writeUInt16LE(type, at + 2);
    bytes.writeUInt32LE(1, at + 4);
    bytes.writeUInt32LE(value, at + 8);
    at += 12;
  }
  return bytes;
}

/**
 * The simplest fraction of two 32-bit numbers within a part in 10⁹ of a positive number: by continued fractions.
 * @throws RangeError when the number does not fit
 */
export function toFraction(value: number): [over: number, under: number] {
  const most = 0xffffffff;
  if (!(value > 1 / most && value < most)) throw new RangeError(`${value} is no fraction of two 32-bit numbers`);
  let [over, under, overBefore, underBefore] = [1, 0, 0, 1];
  for (let rest = value; ; rest = 1 / (rest - Math.floor(rest))) {
    const whole = Math.floor(rest);
    const [nextOver, nextUnder] = [whole * over + overBefore, whole * under + underBefore];
    if (!(nextOver <= most && nextUnder <= most)) break;
    [over, under, overBefore, underBefore] = [nextOver, nextUnder, over, under];
    if (Math.abs(over / under - value) <= value * 1e-9) break;
  }
  return [over, under];
}
