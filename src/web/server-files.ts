import { rename, rm } from 'node:fs/promises';
import { basename, extname } from 'node:path';
import { explainWriteError } from '../tasks/index.ts';

/**
 * What the system's refusal to write means to a person, instead of its own words.
 * @throws AppError path-unwritable
 */
export async function writing<T>(path: string, work: Promise<T>): Promise<T> {
  try {
    return await work;
  } catch (error) {
    throw explainWriteError(error, path);
  }
}

/**
 * A file's own name on every system: no path, nothing hidden. What a shop's files say is checked as what a client says.
 */
export function isFileName(text: unknown): text is string {
  return typeof text === 'string' && text === basename(text) && /^[^.\\/][^\\/]*$/.test(text) && !text.includes('\0');
}

/** Takes a folder away as one: what a kill leaves of it lies among what the next start sweeps. */
export async function removeFolder(path: string, trash: string): Promise<void> {
  const gone = await rename(path, trash).then(
    () => true,
    () => false,
  );
  await rm(gone ? trash : path, { recursive: true, force: true });
}

export interface SaveRow {
  /** Runs the work when all that was asked before under this name is done, failed or not. */
  readonly add: <T>(name: string, work: () => Promise<T>) => Promise<T>;
  /** Resolves when nothing asked by now is left. */
  readonly settle: (name?: string) => Promise<void>;
}

/** Writes of one record in a row: the one that was asked last is the one on the disk. */
export function createSaveRow(): SaveRow {
  const last = new Map<string, Promise<void>>();
  return {
    add(name, work) {
      const done = (last.get(name) ?? Promise.resolve()).then(work);
      const settled = done.then(
        () => undefined,
        () => undefined,
      );
      last.set(name, settled);
      void settled.then(() => {
        if (last.get(name) === settled) last.delete(name);
      });
      return done;
    },
    async settle(name) {
      await Promise.all(name === undefined ? last.values() : [last.get(name)]);
    },
  };
}

/** A name fit for files of any system, from whatever the browser says the photo is called. */
export function tidyFileName(text: string): string {
  const last = text.split(/[\\/]/).at(-1) ?? '';
  const ending = extname(last)
    .replace(/[^.A-Za-z0-9]/g, '')
    .replace(/^\.$/, '')
    .slice(0, 6);
  const stem = basename(last, extname(last))
    .normalize('NFC')
    .replace(/[^\p{L}\p{N}._-]+/gu, '-')
    .replace(/^[.-]+|[.-]+$/g, '')
    .slice(0, 60);
  return `${stem === '' ? 'photo' : stem}${ending}`;
}
