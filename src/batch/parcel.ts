import { AppError } from '../errors.ts';
import { sha256 } from '../plane/index.ts';
import type { PieceResult } from './make-piece.ts';

/**
 * A result as one run of bytes for the queue: length of the head (4 bytes, little endian), the head as JSON, then the small
 * proof and the files one after the other.
 */
export function packResult(result: PieceResult): Buffer {
  if (!result.made) return packParts(JSON.stringify(result), []);
  const { files, smallProof, ...rest } = result;
  const marks = files.map(({ name, sha256: hash, bytes }) => ({ name, sha256: hash, length: bytes.length }));
  const head = { ...rest, proofLength: smallProof.length, files: marks };
  return packParts(JSON.stringify(head), [smallProof, ...files.map(({ bytes }) => bytes)]);
}

function packParts(head: string, parts: readonly Uint8Array[]): Buffer {
  const text = Buffer.from(head);
  const length = Buffer.alloc(4);
  length.writeUInt32LE(text.length);
  return Buffer.concat([length, text, ...parts]);
}

/**
 * The result of a piece called `name` from its bytes. What comes over a network is checked: every file is whole, and none
 * lies outside the folder or bears another piece's name.
 * @throws AppError file-invalid
 */
export function unpackResult(bytes: Buffer, name: string): PieceResult {
  const start = 4 + bytes.readUInt32LE(0);
  const head = JSON.parse(bytes.toString('utf8', 4, start));
  if (!head.made) return head;
  const { proofLength, files: marks, ...rest } = head;
  let at = start;
  const take = (length: number) => {
    at += length;
    return bytes.subarray(at - length, at);
  };
  const smallProof = take(proofLength);
  const files = marks.map(({ name: file, sha256: hash, length }: { name: string; sha256: string; length: number }) => {
    const content = take(length);
    if (!file.startsWith(`${name}.`) || /[\\/]/.test(file) || sha256(content) !== hash) {
      throw new AppError('file-invalid', `${file}: what came through the queue is damaged, needed the file as made`, {
        file,
      });
    }
    return { name: file, sha256: hash, bytes: content };
  });
  return { ...rest, smallProof, files };
}
