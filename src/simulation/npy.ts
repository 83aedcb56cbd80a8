import { AppError } from '../errors.ts';
import { lookUp } from '../json.ts';
import type { SourceKey } from '../sources.ts';

/** The array file of NumPy, format version 1.0: magic, two version bytes, little-endian header length, header, data. */
const NPY: { readonly source: SourceKey; readonly magic: readonly number[]; readonly align: number } = {
  source: 'numpyFormat',
  magic: [0x93, 0x4e, 0x55, 0x4d, 0x50, 0x59],
  align: 64,
};

/** Numbers in rows: shape [height, width] or [height, width, channels], the last index fastest. */
export interface NpyArray {
  readonly shape: readonly number[];
  readonly data: Float32Array;
}

const sizeOf = (shape: readonly number[]) => shape.reduce((product, side) => product * side, 1);

/**
 * Bytes of a .npy file of 32-bit floats (`<f4`), C order. The header is a Python dictionary padded with spaces and a
 * line feed so that the data start at a multiple of 64 bytes (`numpyFormat`, "Format Version 1.0").
 * @throws RangeError when the shape does not hold the data
 */
export function encodeNpy({ shape, data }: NpyArray): Uint8Array {
  if (shape.some((side) => !Number.isInteger(side) || side < 0) || sizeOf(shape) !== data.length) {
    throw new RangeError(`a shape of ${shape.join(' × ')} does not hold ${data.length} values`);
  }
  const sides = shape.length === 1 ? `${shape[0]},` : shape.join(', ');
  const text = `{'descr': '<f4', 'fortran_order': False, 'shape': (${sides}), }`;
  const start = Math.ceil((NPY.magic.length + 4 + text.length + 1) / NPY.align) * NPY.align;
  const bytes = new Uint8Array(start + data.length * 4);
  const view = new DataView(bytes.buffer);
  bytes.set(NPY.magic);
  bytes[6] = 1;
  view.setUint16(8, start - 10, true);
  const header = `${text.padEnd(start - 11, ' ')}\n`;
  for (let i = 0; i < header.length; i++) bytes[10 + i] = header.charCodeAt(i);
  for (let i = 0; i < data.length; i++) view.setFloat32(start + 4 * i, data[i], true);
  return bytes;
}

interface NumberKind {
  readonly size: number;
  readonly read: (view: DataView, at: number) => number;
}

/** Kinds of number that are read; each becomes a 32-bit float. Sizes in bytes. Format: NumPy's type codes. */
const KINDS: Readonly<Record<string, NumberKind>> = {
  '<f4': { size: 4, read: (view, at) => view.getFloat32(at, true) },
  '<f8': { size: 8, read: (view, at) => view.getFloat64(at, true) },
  '|u1': { size: 1, read: (view, at) => view.getUint8(at) },
  '|b1': { size: 1, read: (view, at) => view.getUint8(at) },
  '<u2': { size: 2, read: (view, at) => view.getUint16(at, true) },
};

/**
 * The array of a .npy file, versions 1.0 to 3.0, of 32- or 64-bit floats, bytes, booleans or 16-bit whole numbers.
 * @throws AppError file-invalid
 */
export function decodeNpy(bytes: Uint8Array): NpyArray {
  const refuse = (found: string, needed: string): never => {
    throw new AppError('file-invalid', `.npy file: found ${found}, needed ${needed}`, { bytes: bytes.length });
  };
  if (bytes.length < 12 || NPY.magic.some((byte, i) => bytes[i] !== byte)) {
    refuse('other bytes at the start', 'the signature of a .npy file');
  }
  const view = new DataView(bytes.buffer, bytes.byteOffset, bytes.byteLength);
  const version = bytes[6]!;
  if (version < 1 || version > 3) refuse(`format version ${version}`, 'version 1, 2 or 3');
  const lengthBytes = version === 1 ? 2 : 4;
  const headerStart = 8 + lengthBytes;
  const start = headerStart + (version === 1 ? view.getUint16(8, true) : view.getUint32(8, true));
  if (start > bytes.length) refuse(`${bytes.length} bytes`, `a header up to byte ${start}`);
  const header = String.fromCharCode(...bytes.subarray(headerStart, start));
  const kindName = /'descr'\s*:\s*'([^']*)'/.exec(header)?.[1] ?? 'no kind of number';
  const kind = lookUp(KINDS, kindName) ?? refuse(kindName, Object.keys(KINDS).join(', '));
  if (!/'fortran_order'\s*:\s*False/.test(header)) refuse('columns first (or no order)', 'rows first (C order)');
  const sides = /'shape'\s*:\s*\(([\d\s,]*)\)/.exec(header)?.[1] ?? refuse('no shape', 'a shape');
  const shape = sides
    .split(',')
    .map((side) => side.trim())
    .filter((side) => side !== '')
    .map(Number);
  const count = sizeOf(shape);
  if (bytes.length - start !== count * kind.size) {
    refuse(`${bytes.length - start} bytes of data`, `${count * kind.size} for ${shape.join(' × ')} ${kindName}`);
  }
  const data = new Float32Array(count);
  for (let i = 0; i < count; i++) data[i] = kind.read(view, start + i * kind.size);
  return { shape, data };
}
