import { AppError } from '../errors.ts';
import type { PixelsPerMetre } from './container.ts';
import type { SampleRows } from './samples.ts';

/** Bytes. Format: a file header of 14 and an information header of 40 bytes. */
const HEADERS = 54;

/** Windows bitmap of 1 or 8 bits, bottom row first, with a palette from black to white and both resolutions. */
export function writeBmp(width: number, rows: SampleRows, resolution: PixelsPerMetre): Buffer {
  const { bitsPerSample, height, rowBytes, bytes } = rows;
  const colours = 2 ** bitsPerSample;
  const stride = (rowBytes + 3) & ~3;
  const pixelsAt = HEADERS + 4 * colours;
  const file = Buffer.alloc(pixelsAt + stride * height);
  file.write('BM', 0, 'latin1');
  file.writeUInt32LE(file.length, 2);
  file.writeUInt32LE(pixelsAt, 10);
  file.writeUInt32LE(40, 14);
  file.writeInt32LE(width, 18);
  file.writeInt32LE(height, 22);
  file.writeUInt16LE(1, 26);
  file.writeUInt16LE(bitsPerSample, 28);
  file.writeUInt32LE(stride * height, 34);
  file.writeInt32LE(Math.round(resolution.x), 38);
  file.writeInt32LE(Math.round(resolution.y), 42);
  file.writeUInt32LE(colours, 46);
  for (let colour = 0; colour < colours; colour++) {
    file.fill(Math.round((255 * colour) / (colours - 1)), HEADERS + 4 * colour, HEADERS + 4 * colour + 3);
  }
  for (let y = 0; y < height; y++) {
    file.set(bytes.subarray(y * rowBytes, (y + 1) * rowBytes), pixelsAt + (height - 1 - y) * stride);
  }
  return file;
}

export interface BmpPixels {
  readonly width: number;
  readonly height: number;
  /** Red, green, blue interleaved, top row first. */
  readonly rgb: Uint8Array;
}

/**
 * Read an uncompressed Windows bitmap of 1, 4, 8, 24 or 32 bits, either way up, any palette.
 * @throws AppError file-invalid, image-broken
 */
export function readBmp(file: Buffer, name: string): BmpPixels {
  const broken = (found: string) =>
    new AppError('image-broken', `${name}: found ${found}, needed a whole BMP`, { name, bytes: file.length });
  if (file.length < HEADERS) throw broken(`${file.length} bytes`);
  const pixelsAt = file.readUInt32LE(10);
  const headerSize = file.readUInt32LE(14);
  const width = file.readInt32LE(18);
  const signedHeight = file.readInt32LE(22);
  const height = Math.abs(signedHeight);
  const bits = file.readUInt16LE(28);
  const compression = file.readUInt32LE(30);
  if (headerSize < 40 || compression !== 0 || ![1, 4, 8, 24, 32].includes(bits)) {
    throw new AppError(
      'file-invalid',
      `${name}: found a BMP of ${bits} bits, compression ${compression}, needed an uncompressed one of 1, 4, 8, 24 or 32 bits`,
      { name, bits, compression },
    );
  }
  if (width < 1 || height < 1) throw broken(`${width} × ${height} pixels`);
  const stride = Math.floor((width * bits + 31) / 32) * 4;
  if (pixelsAt + stride * height > file.length) {
    throw broken(`${file.length} of ${pixelsAt + stride * height} bytes`);
  }
  const rgb = new Uint8Array(3 * width * height);
  const paletteAt = 14 + headerSize;
  const direct = bits >> 3;
  for (let y = 0, to = 0; y < height; y++) {
    const row = pixelsAt + (signedHeight > 0 ? height - 1 - y : y) * stride;
    for (let x = 0; x < width; x++) {
      let at = row + x * direct;
      if (bits <= 8) {
        const bit = x * bits;
        const index = (file[row + (bit >> 3)] >> (8 - bits - (bit & 7))) & (2 ** bits - 1);
        at = paletteAt + 4 * index;
        if (at + 3 > pixelsAt) throw broken(`colour ${index} beyond the palette`);
      }
      rgb[to++] = file[at + 2];
      rgb[to++] = file[at + 1];
      rgb[to++] = file[at];
    }
  }
  return { width, height, rgb };
}
