import * as v from 'valibot';
import { AppError, ERRORS } from '../errors.ts';
import { parseJson } from '../json.ts';
import { sha256 } from '../plane/index.ts';
import type { PieceResult } from './make-piece.ts';

/**
 * A result as one run of bytes for the queue: length of the head (4 bytes, little endian), the head as JSON, then the
 * small proof and the files one after the other.
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

const digest = v.pipe(v.string(), v.regex(/^[0-9a-f]{64}$/));
const length = v.pipe(v.number(), v.integer(), v.minValue(0));
/** What is asked of a head before it is believed; the ticket was made by the same build as reads it. */
const HEAD = v.variant('made', [
  v.object({
    made: v.literal(false),
    fault: v.object({
      code: v.pipe(
        v.string(),
        v.check((code) => code === 'bug' || Object.hasOwn(ERRORS, code)),
      ),
      message: v.string(),
    }),
  }),
  v.looseObject({
    made: v.literal(true),
    proofLength: length,
    photoSha256: digest,
    ticket: v.looseObject({ name: v.string() }),
    files: v.pipe(v.array(v.object({ name: v.string(), sha256: digest, length })), v.minLength(1)),
  }),
]);

/**
 * The result of a piece called `name` from its bytes. What comes over a network is checked: every file is whole, and
 * none lies outside the folder or bears another piece's name.
 * @throws AppError file-invalid
 */
export function unpackResult(bytes: Buffer, name: string): PieceResult {
  const damaged = () =>
    new AppError('file-invalid', `${name}: what came through the queue is damaged, needed the result as made`, {
      name,
    });
  const start = bytes.length < 4 ? Number.POSITIVE_INFINITY : 4 + bytes.readUInt32LE(0);
  if (start > bytes.length) throw damaged();
  const { success, output: head } = v.safeParse(HEAD, tryParse(bytes.toString('utf8', 4, start)));
  if (!success) throw damaged();
  if (!head.made) return head as PieceResult;
  const { proofLength, files: marks, ...rest } = head;
  const size = marks.reduce((sum, mark) => sum + mark.length, start + proofLength);
  if (size !== bytes.length || rest.ticket.name !== name) throw damaged();
  let at = start;
  const take = (count: number) => {
    at += count;
    return bytes.subarray(at - count, at);
  };
  const smallProof = take(proofLength);
  const files = marks.map(({ name: file, sha256: hash, length: count }) => {
    const content = take(count);
    if (!file.startsWith(`${name}.`) || /[\\/]/.test(file) || sha256(content) !== hash) throw damaged();
    return { name: file, sha256: hash, bytes: content };
  });
  return { ...rest, smallProof, files } as unknown as PieceResult;
}

/** Undefined for what is no JSON, or lies too deep to be a head of ours. */
function tryParse(text: string): unknown {
  try {
    return parseJson(text);
  } catch {
    return undefined;
  }
}
