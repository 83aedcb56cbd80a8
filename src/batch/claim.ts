import { readdir, readFile } from 'node:fs/promises';
import { join } from 'node:path';
import * as v from 'valibot';
import { filesOfPiece, type JobSpec, type PieceFault } from '../job/index.ts';
import { parseJson } from '../json.ts';
import { sha256 } from '../plane/index.ts';
import { hashFile } from './hash-file.ts';
import { type PieceState, UNKNOWN_WORK } from './journal.ts';

/** What of a ticket proves that a bitmap is a piece's own. */
const PROOF = v.object({
  bitmap: v.object({ file: v.string(), sha256: v.string() }),
  photo: v.object({ sha256: v.string() }),
});

/**
 * Pieces that a journal has told of before its lines were damaged: those whose ticket stands there and names the photo
 * that the order has now and the bitmap as it lies there. Whatever else bears a piece's name is somebody else's.
 */
export async function claimPieces(
  pieces: readonly WantedPiece[],
  out: string,
): Promise<readonly { readonly name: string; readonly done: NonNullable<PieceState['done']> }[]> {
  const there = new Set(await readdir(out));
  const claimed: { readonly name: string; readonly done: NonNullable<PieceState['done']> }[] = [];
  for (const { name, plan, photoPath } of pieces) {
    if (!('spec' in plan) || !there.has(`${name}.ticket.json`)) continue;
    const ticket = await readProof(join(out, `${name}.ticket.json`));
    const files = [];
    for (const file of filesOfPiece(name, plan.spec)) {
      if (there.has(file)) files.push({ name: file, sha256: sha256(await readFile(join(out, file))) });
    }
    const bitmap = files.find((file) => file.name === ticket?.bitmap.file);
    if (!ticket || bitmap?.sha256 !== ticket.bitmap.sha256 || ticket.photo.sha256 !== (await hashFile(photoPath)))
      continue;
    claimed.push({ name, done: { work: UNKNOWN_WORK, photo: ticket.photo.sha256, files } });
  }
  return claimed;
}

async function readProof(path: string): Promise<v.InferOutput<typeof PROOF> | undefined> {
  try {
    const result = v.safeParse(PROOF, parseJson(await readFile(path, 'utf8')));
    return result.success ? result.output : undefined;
  } catch {
    return undefined;
  }
}

/** One piece as the order wants it: how it is to be made, or why it cannot be. */
export interface WantedPiece {
  readonly name: string;
  /** The photo as the order names it, for messages. */
  readonly label: string;
  readonly photoPath: string;
  readonly plan: { readonly spec: JobSpec } | { readonly fault: PieceFault };
}
