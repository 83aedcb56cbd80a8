import { open, stat } from 'node:fs/promises';
import { setTimeout as wait } from 'node:timers/promises';
import { AppError } from '../errors.ts';

/** A photo that is being copied into the folder changes for a while: so often is it read again, after so long. */
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
 * @throws AppError path-missing, path-is-folder, path-unreadable, photo-changed
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
    const file = await open(path, 'r');
    try {
      const before = await file.stat({ bigint: true });
      if (before.isDirectory())
        throw new AppError('path-is-folder', `${label}: found a folder, needed a photo`, { path });
      const bytes = await file.readFile();
      const after = await file.stat({ bigint: true });
      // By its path, too: another file may have been put in its place meanwhile.
      const there = await stat(path, { bigint: true });
      return isSame(before, after) && isSame(after, there) && BigInt(bytes.length) === after.size ? bytes : undefined;
    } finally {
      await file.close();
    }
  } catch (error) {
    throw explain(error, { path, label });
  }
}

function isSame(a: FileState, b: FileState): boolean {
  return a.size === b.size && a.mtimeNs === b.mtimeNs && a.ino === b.ino;
}

function explain(error: unknown, { path, label }: { readonly path: string; readonly label: string }): unknown {
  const { code } = error as NodeJS.ErrnoException;
  if (error instanceof AppError || code === undefined) return error;
  if (code === 'ENOENT' || code === 'ENOTDIR') {
    return new AppError('path-missing', `${label}: found nothing there, needed a photo`, { path });
  }
  if (code === 'EISDIR') return new AppError('path-is-folder', `${label}: found a folder, needed a photo`, { path });
  return new AppError('path-unreadable', `${label}: the system does not let the file be read (${code})`, {
    path,
    code,
  });
}
