import { stat } from 'node:fs/promises';
import { setTimeout as wait } from 'node:timers/promises';
import { AppError } from '../errors.ts';
import { explainReadError, readPhotoFile } from '../plane/index.ts';

/**
 * A photo that is being copied into the folder changes for a while: so often is it read again, after so long. A count.
 * Assumed: a photo is copied within a second; a longer copy is told.
 */
const RETRIES = 4;
const PAUSE_MS = 250;

/** What tells one state of a file from the next. */
interface FileState {
  readonly size: bigint;
  readonly mtimeNs: bigint;
  readonly ino: bigint;
}

/**
 * The bytes of a photo as they were at one moment: where the file changes while it is read, it is read again.
 * `label` is what messages call it.
 * @throws AppError path-missing, path-is-folder, path-not-file, path-unreadable, file-too-large, image-empty,
 * image-unknown, photo-changed
 */
export async function readPhotoBytes(
  path: string,
  { label, pauseMs = PAUSE_MS }: { readonly label: string; readonly pauseMs?: number },
): Promise<Buffer> {
  for (let attempt = 0; attempt <= RETRIES; attempt++) {
    if (attempt > 0) await wait(pauseMs);
    const bytes = await readOnce(path, label);
    if (bytes) return bytes;
  }
  throw new AppError(
    'photo-changed',
    `${label}: the file changed each of ${RETRIES + 1} times while it was read, needed one that stays as it is`,
    { path },
  );
}

async function readOnce(path: string, label: string): Promise<Buffer | undefined> {
  try {
    const before = await stat(path, { bigint: true });
    const read = await readPhotoFile(path, label).catch((error: unknown) => ({ error }));
    // By its path: another file may have been put in its place meanwhile.
    const after = await stat(path, { bigint: true });
    if (!isSame(before, after)) return undefined;
    // Half a photo has no first bytes, perhaps; one that rests has what it has.
    if ('error' in read) throw read.error;
    return BigInt(read.length) === after.size ? read : undefined;
  } catch (error) {
    throw explainReadError(error, path, { label, needed: 'a photo' });
  }
}

function isSame(a: FileState, b: FileState): boolean {
  return a.size === b.size && a.mtimeNs === b.mtimeNs && a.ino === b.ino;
}
