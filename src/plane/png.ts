import { tabulate } from '../numeric/index.ts';
import type { PixelsPerMetre } from './container.ts';
import { deflateSamples, type SampleRows } from './samples.ts';

const SIGNATURE = Uint8Array.of(0x89, 0x50, 0x4e, 0x47, 0x0d, 0x0a, 0x1a, 0x0a);

const CRC_TABLE = tabulate(new Int32Array(256), (byte) => {
  let crc = byte;
  for (let bit = 0; bit < 8; bit++) crc = crc & 1 ? 0xedb88320 ^ (crc >>> 1) : crc >>> 1;
  return crc;
});

/** CRC-32 as PNG wants it (ISO/IEC 15948, annex D). */
export function crc32(bytes: Uint8Array): number {
  let crc = -1;
  for (let at = 0; at < bytes.length; at++) crc = CRC_TABLE[(crc ^ bytes[at]) & 0xff] ^ (crc >>> 8);
  return ~crc >>> 0;
}

/** One chunk: length, type, data, check sum. */
export function pngChunk(type: string, data: Uint8Array): Buffer {
  const bytes = Buffer.alloc(12 + data.length);
  bytes.writeUInt32BE(data.length, 0);
  bytes.write(type, 4, 'latin1');
  bytes.set(data, 8);
  bytes.writeUInt32BE(crc32(bytes.subarray(4, 8 + data.length)), 8 + data.length);
  return bytes;
}

/** The chunk that says how large a pixel is, across and down apart. */
function physChunk({ x, y }: PixelsPerMetre): Buffer {
  const data = Buffer.alloc(9);
  data.writeUInt32BE(Math.round(x), 0);
  data.writeUInt32BE(Math.round(y), 4);
  data[8] = 1;
  return pngChunk('pHYs', data);
}

/**
 * Grey PNG (colour type 0) of 1 or 8 bits with the resolution of both axes. `rows` has one lead byte, the filter
 * type 0: filters gain nothing on halftones.
 */
export function writePng(width: number, rows: SampleRows, resolution: PixelsPerMetre): Buffer {
  const header = Buffer.alloc(13);
  header.writeUInt32BE(width, 0);
  header.writeUInt32BE(rows.height, 4);
  header[8] = rows.bitsPerSample;
  return Buffer.concat([
    SIGNATURE,
    pngChunk('IHDR', header),
    physChunk(resolution),
    pngChunk('IDAT', deflateSamples(rows)),
    pngChunk('IEND', new Uint8Array(0)),
  ]);
}

/** The same PNG with the resolution of both axes set: after the header, replacing what it says itself. */
export function setPngResolution(png: Buffer, resolution: PixelsPerMetre): Buffer {
  const parts: Uint8Array[] = [png.subarray(0, 33), physChunk(resolution)];
  for (let at = 33; at < png.length; ) {
    const end = at + 12 + png.readUInt32BE(at);
    if (png.toString('latin1', at + 4, at + 8) !== 'pHYs') parts.push(png.subarray(at, end));
    at = end;
  }
  return Buffer.concat(parts);
}
