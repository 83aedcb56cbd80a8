import { spawnSync } from 'node:child_process';
import { describe, expect, test } from 'vitest';
import { AppError } from '../../src/errors.ts';
import { decodeNpy, encodeNpy } from '../../src/simulation/index.ts';

const SAMPLE = { shape: [2, 3], data: Float32Array.of(0, 0.25, 1, -1.5, 1e-7, 12345.678) };

test.each([[[6]], [[2, 3]], [[1, 2, 3]], [[3, 2, 1]]])('an array of shape %o comes back as it was', (shape) => {
  expect(decodeNpy(encodeNpy({ shape, data: SAMPLE.data }))).toEqual({ shape, data: SAMPLE.data });
});

test('an empty array comes back empty', () => {
  expect(decodeNpy(encodeNpy({ shape: [0, 5], data: new Float32Array(0) })).shape).toEqual([0, 5]);
});

// numpyFormat: magic string, version 1.0, little-endian length of a header that ends in a line feed at a multiple of
// 64.
test('the header is laid out as the format says', () => {
  const bytes = encodeNpy(SAMPLE);
  expect([...bytes.subarray(0, 8)]).toEqual([0x93, ...Buffer.from('NUMPY'), 1, 0]);
  const length = bytes[8]! + 256 * bytes[9]!;
  expect((10 + length) % 64).toBe(0);
  const header = Buffer.from(bytes.subarray(10, 10 + length)).toString('latin1');
  expect(header).toMatch(/^\{'descr': '<f4', 'fortran_order': False, 'shape': \(2, 3\), \} *\n$/);
  expect(bytes.length).toBe(10 + length + 24);
});

test('a shape that does not hold the data is a mistake of the caller', () => {
  expect(() => encodeNpy({ shape: [2, 2], data: SAMPLE.data })).toThrow(RangeError);
});

describe('a file is refused', () => {
  const good = encodeNpy(SAMPLE);
  const changed = (from: string, to: string) =>
    Uint8Array.from(Buffer.from(Buffer.from(good).toString('latin1').replace(from, to), 'latin1'));
  test.each([
    ['that is too short', good.subarray(0, 9)],
    ['that is no array', Uint8Array.from(good, (byte, i) => (i === 1 ? 0 : byte))],
    ['of a later version', Uint8Array.from(good, (byte, i) => (i === 6 ? 9 : byte))],
    ['that ends in its header', good.subarray(0, 40)],
    ['of complex numbers', changed('<f4', '<c8')],
    ['with columns first', changed('False', 'True ')],
    ['without a shape', changed("'shape'", "'sharp'")],
    ['that is cut off', good.subarray(0, good.length - 3)],
  ])('%s', (_, bytes) => {
    expect(() => decodeNpy(bytes)).toThrow(AppError);
  });
});

const numpy = spawnSync('python3', ['-c', 'import numpy; print(numpy.__version__)'], { encoding: 'utf8' });
const hasNumpy = numpy.status === 0;

test(`NumPy reads what is written and writes what is read (${hasNumpy ? `NumPy ${numpy.stdout.trim()}` : 'NumPy is missing here: only the layout is checked'})`, () => {
  const bytes = encodeNpy(SAMPLE);
  if (!hasNumpy) {
    expect(decodeNpy(bytes)).toEqual(SAMPLE);
    return;
  }
  const script = [
    'import io, sys, numpy as np',
    'a = np.load(io.BytesIO(sys.stdin.buffer.read()), allow_pickle=False)',
    'assert a.dtype == np.float32 and a.shape == (2, 3), (a.dtype, a.shape)',
    'assert a[0, 1] == 0.25 and a[1, 0] == -1.5',
    'out = io.BytesIO(); np.save(out, (a * 2).astype(np.float64)); sys.stdout.buffer.write(out.getvalue())',
  ].join('\n');
  const run = spawnSync('python3', ['-c', script], { input: bytes });
  expect(run.stderr.toString()).toBe('');
  expect(decodeNpy(run.stdout)).toEqual({ shape: [2, 3], data: SAMPLE.data.map((value) => value * 2) });
});
