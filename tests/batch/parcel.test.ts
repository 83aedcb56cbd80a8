import { expect, test } from 'vitest';
import type { PieceResult } from '../../src/batch/make-piece.ts';
import { packResult, unpackResult } from '../../src/batch/parcel.ts';
import { sha256 } from '../../src/plane/index.ts';

const file = (name: string, text: string) => ({ name, bytes: Buffer.from(text), sha256: sha256(text) });
const result = (files = [file('cat.png', 'dots'), file('cat.proof.png', '')]) =>
  ({
    made: true,
    files,
    ticket: { name: 'cat', text: 'ü' },
    smallProof: Buffer.from([1, 2, 3]),
    photoSha256: sha256('photo'),
  }) as unknown as PieceResult;

test('a result comes out of its bytes as it went in', () => {
  expect(unpackResult(packResult(result()), 'cat')).toEqual(result());
  const fault = { made: false, fault: { code: 'image-empty', message: 'nothing' } } as const;
  expect(unpackResult(packResult(fault), 'cat')).toEqual(fault);
});

test('brackets that a ticket may have are no fault', () => {
  expect(unpackResult(nested(20), 'cat')).toMatchObject({ made: true, ticket: { name: 'cat' } });
});

test('a file that lies elsewhere, bears another name or was damaged on the way is refused', () => {
  for (const name of ['../cat.png', 'dog.png', 'cat./x', 'order.json']) {
    expect(() => unpackResult(packResult(result([file(name, 'dots')])), 'cat'), name).toThrow(/damaged/);
  }
  const bytes = packResult(result([file('cat.png', 'dots')]));
  bytes[bytes.length - 1]! ^= 1;
  expect(() => unpackResult(bytes, 'cat')).toThrow(/damaged/);
});

/** A result whose ticket has brackets within brackets, so many levels. */
const nested = (levels: number) => {
  const head = packResult(result()).toString('latin1').replace('"ü"', 'x');
  const text = `${'['.repeat(levels)}${']'.repeat(levels)}`;
  const json = head.slice(4, head.indexOf('}]}') + 3).replace(/"text":"[^"]*"/, `"text":${text}`);
  const length = Buffer.alloc(4);
  length.writeUInt32LE(Buffer.byteLength(json));
  return Buffer.concat([length, Buffer.from(json), Buffer.from([1, 2, 3]), Buffer.from('dots')]);
};

test.each([
  ['one letter', Buffer.from('x')],
  ['nothing', Buffer.alloc(0)],
  ['a head longer than all', Buffer.from([255, 255, 255, 255, 1])],
  ['a head that is no JSON', Buffer.from([1, 0, 0, 0, 120])],
  ['a head of another kind', Buffer.from('\u0004\0\0\0null')],
  ['brackets too deep to be walked', nested(20_000)],
  ['a fault of no known code', Buffer.from('\u0038\0\0\0{"made":false,"fault":{"code":"constructor","message":"x"}}')],
  ['a result cut off', packResult(result()).subarray(0, -2)],
  ['a result with more behind it', Buffer.concat([packResult(result()), Buffer.from('x')])],
  ['the result of another piece', packResult({ ...result(), ticket: { name: 'dog' } } as unknown as PieceResult)],
])('%s is told as damaged, and as nothing else', (_, bytes) => {
  expect(() => unpackResult(bytes, 'cat')).toThrow(expect.objectContaining({ code: 'file-invalid' }));
});
