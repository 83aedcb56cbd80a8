import { AsyncLocalStorage } from 'node:async_hooks';
import { type BigIntStats, statSync } from 'node:fs';
import { realpath, stat } from 'node:fs/promises';
import { AppError } from '../errors.ts';

/** What a run was given, and what it has written itself: by the file's own number on its disk, and by its real path. */
interface Remembered {
  readonly inputs: Set<string>;
  readonly written: Set<string>;
}

/** One for the process: each command is bundled apart, with copies of this module. */
const KEY = Symbol.for('tonewright.inputs');
const holder = globalThis as { [KEY]?: AsyncLocalStorage<Remembered | undefined> };
holder[KEY] ??= new AsyncLocalStorage<Remembered | undefined>();
const runs = holder[KEY];

/**
 * Remembers every file that is read during some work, so that no result of it is written over one of them.
 */
export function rememberInputs<T>(work: () => Promise<T>): Promise<T> {
  return runs.run({ inputs: new Set(), written: new Set() }, work);
}

/**
 * Work that reads and writes its own folder for days: a server. Nothing of it is remembered, though the command that
 * starts it is a run like any other.
 */
export function forgetInputs<T>(work: () => Promise<T>): Promise<T> {
  return runs.run(undefined, work);
}

/** The file of this path, should there be one, is given and not to be written over. */
export function rememberInput(path: string): void {
  const run = runs.getStore();
  if (!run) return;
  const found = statSync(path, { bigint: true, throwIfNoEntry: false });
  if (found?.isFile()) rememberFile(found);
}

/** The same for a file that is open. What the run has written itself and reads again is not given. */
export function rememberFile(found: Pick<BigIntStats, 'dev' | 'ino'>): void {
  const run = runs.getStore();
  const id = identify(found);
  if (run && !run.written.has(id)) run.inputs.add(id);
}

/** A result is in its place: it may be read and written again. */
export async function rememberResult(path: string): Promise<void> {
  const run = runs.getStore();
  if (!run) return;
  const found = await stat(path, { bigint: true }).catch(() => undefined);
  if (found) run.written.add(identify(found));
}

/**
 * Refuse results in the place of what the run was given, whatever name or link leads there.
 * @throws AppError result-is-input
 */
export async function refuseInputs(paths: readonly string[]): Promise<void> {
  const run = runs.getStore();
  if (!run || run.inputs.size === 0) return;
  for (const path of paths) {
    const found = await stat(path, { bigint: true }).catch(() => undefined);
    if (!found || !run.inputs.has(identify(found))) continue;
    const real = await realpath(path).catch(() => path);
    const same = real === path ? '' : ` (${real})`;
    throw new AppError('result-is-input', `${path}${same}: found a file that was given, needed another place`, {
      path,
    });
  }
}

/** A disk and a file's number on it: links of both kinds have those of their file. */
const identify = ({ dev, ino }: Pick<BigIntStats, 'dev' | 'ino'>) => `${dev}:${ino}`;
