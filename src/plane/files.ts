import { createHash, randomBytes } from 'node:crypto';
import { mkdirSync, readFileSync, renameSync, writeFileSync } from 'node:fs';
import { lstat, mkdir, open, readdir, rename, rm, rmdir } from 'node:fs/promises';
import { homedir } from 'node:os';
import { dirname, join, resolve } from 'node:path';
import { AppError } from '../errors.ts';

/** SHA-256, hexadecimal. */
export function sha256(bytes: Uint8Array | string): string {
  return createHash('sha256').update(bytes).digest('hex');
}

export interface FileToWrite {
  readonly path: string;
  readonly bytes: Uint8Array | string;
}

export interface WriteOptions {
  /** `true` replaces results that exist. */
  readonly force?: boolean;
  /** `true` waits until the files are on the disk, so that they are there after a power cut, too. */
  readonly durable?: boolean;
}

/** What the system's codes mean to a person. */
const REASONS: Readonly<Record<string, string>> = {
  ENOSPC: 'the disk is full',
  EDQUOT: 'the disk quota is used up',
  EACCES: 'there is no right to write here',
  EPERM: 'there is no right to write here',
  EROFS: 'the disk is read-only',
  ENOTDIR: 'a part of the path is a file, not a folder',
  EEXIST: 'a part of the path is a file, not a folder',
  EISDIR: 'a folder of that name is in the way',
  ENOTEMPTY: 'a folder of that name is in the way',
  ENAMETOOLONG: 'the name is too long',
};

/**
 * For work of minutes, before it begins: what would be refused in the end is refused now.
 * @throws AppError result-exists
 */
export async function refuseResults(paths: readonly string[]): Promise<void> {
  refusePresent(await listPresent(paths));
}

async function listPresent(paths: readonly string[]): Promise<readonly string[]> {
  const there = await Promise.all(paths.map(exists));
  return paths.filter((_, at) => there[at]);
}

function refusePresent(paths: readonly string[]): void {
  if (paths.length === 0) return;
  throw new AppError('result-exists', `found ${paths.join(', ')} already there, needed a place without results`, {
    paths,
  });
}

/**
 * A file on its way into its place, with the number of the process that writes it. Its name holds nothing of the name it
 * will have: the two together could be longer than a system allows (255 bytes on most), though the result's own is not.
 */
const PART_FILE = /^\.[0-9a-f]{12}-([1-9]\d{0,9})-\d+\.part$/;
/** After so long a part is nobody's, though a process has its number again, or another computer wrote it. */
const PART_AGE_MS = 3_600_000;

/** Takes away what processes that were ended have left half written in a folder. */
export async function removeDeadParts(folder: string): Promise<void> {
  for (const name of await readdir(folder).catch(() => [])) {
    const pid = PART_FILE.exec(name)?.[1];
    if (pid === undefined) continue;
    const path = join(folder, name);
    const { mtimeMs } = await lstat(path).catch(() => ({ mtimeMs: Date.now() }));
    if (!isRunning(Number(pid)) || Date.now() - mtimeMs > PART_AGE_MS) await rm(path, { force: true });
  }
}

function isRunning(pid: number): boolean {
  try {
    return process.kill(pid, 0);
  } catch (error) {
    // No right to signal it means that it is there.
    return (error as NodeJS.ErrnoException).code === 'EPERM';
  }
}

/**
 * Write files as one: each is written beside its place under a temporary name and all are renamed at the end, in the
 * order given (put the file that says "done" last). On failure nothing of it stays, nor a folder that was made for it.
 * A file that `force` has replaced by then stays replaced.
 * @throws AppError result-exists, before anything is written; path-unwritable
 */
export async function writeFilesAtomic(
  files: readonly FileToWrite[],
  { force = false, durable = false }: WriteOptions = {},
): Promise<void> {
  const present = new Set(await listPresent(files.map(({ path }) => path)));
  if (!force) refusePresent([...present]);
  const mark = randomBytes(6).toString('hex');
  const made: string[] = [];
  const folders: string[] = [];
  let current = '';
  try {
    const waiting: [from: string, to: string][] = [];
    for (const { path, bytes } of files) {
      current = path;
      const folder = dirname(resolve(path));
      const top = await mkdir(folder, { recursive: true });
      if (top !== undefined) folders.push(...foldersBetween(top, folder));
      const temporary = join(folder, `.${mark}-${process.pid}-${made.length}.part`);
      made.push(temporary);
      await writeNew(temporary, { bytes, durable });
      waiting.push([temporary, path]);
    }
    for (const [from, to] of waiting) {
      current = to;
      await rename(from, to);
      if (!present.has(to)) made.push(to);
    }
    if (durable)
      for (const folder of new Set(files.map(({ path }) => dirname(resolve(path))))) await syncFolder(folder);
  } catch (error) {
    for (const path of made) await rm(path, { force: true }).catch(() => undefined);
    for (const folder of folders.reverse()) await rmdir(folder).catch(() => undefined);
    throw explainWriteError(error, current);
  }
}

/** What the system's refusal to write means to a person. */
export function explainWriteError(error: unknown, path: string): AppError {
  const { code = 'unknown', message } = error as NodeJS.ErrnoException;
  return new AppError('path-unwritable', `${path}: ${REASONS[code] ?? message} (${code}), needed a place to write`, {
    path,
    code,
  });
}

async function writeNew(
  path: string,
  { bytes, durable }: { readonly bytes: Uint8Array | string; readonly durable: boolean },
): Promise<void> {
  const file = await open(path, 'wx');
  try {
    await file.writeFile(bytes);
    if (durable) await file.sync();
  } finally {
    await file.close();
  }
}

/** The names in a folder are data of its own; systems that do not let a folder be opened write them at once. */
async function syncFolder(path: string): Promise<void> {
  const folder = await open(path, 'r').catch(() => undefined);
  await folder?.sync().catch(() => undefined);
  await folder?.close();
}

async function exists(path: string): Promise<boolean> {
  return lstat(path).then(
    () => true,
    () => false,
  );
}

/** The folders from `top` down to `folder`, both included. */
function foldersBetween(top: string, folder: string): string[] {
  const folders: string[] = [];
  for (let at = folder; at.length >= top.length; at = dirname(at)) folders.unshift(at);
  return folders;
}

/** Length of the SHA-256 that ends a kept file. */
const SEAL_BYTES = 32;

/**
 * Bytes that cost time to make and are always the same: taken from the folder of kept files, or made and kept there. A
 * folder that cannot be read or written, and a file that is damaged, cost that time and nothing else.
 * The folder is TONEWRIGHT_CACHE (`off`: keep nothing), else `tonewright` in the system's folder for such files.
 * @param name of the file; names everything that the bytes depend on, the version of what makes them included.
 */
export function keepBytes(name: string, make: () => Uint8Array): Uint8Array {
  const folder = findCacheFolder();
  if (folder === undefined) return make();
  const path = join(folder, name);
  const kept = readKept(path);
  if (kept) return kept;
  const bytes = make();
  try {
    mkdirSync(folder, { recursive: true });
    const temporary = join(folder, `.${name}.${randomBytes(6).toString('hex')}.part`);
    writeFileSync(temporary, Buffer.concat([bytes, sealOf(bytes)]), { flag: 'wx' });
    renameSync(temporary, path);
  } catch {
    // Not kept: the next run makes it again.
  }
  return bytes;
}

function readKept(path: string): Uint8Array | undefined {
  try {
    const file = readFileSync(path);
    // A copy of its own, so that it starts where any element may start.
    const bytes = Uint8Array.from(file.subarray(0, Math.max(0, file.length - SEAL_BYTES)));
    return sealOf(bytes).equals(file.subarray(bytes.length)) ? bytes : undefined;
  } catch {
    return undefined;
  }
}

const sealOf = (bytes: Uint8Array) => createHash('sha256').update(bytes).digest();

function findCacheFolder(): string | undefined {
  const { TONEWRIGHT_CACHE, XDG_CACHE_HOME, LOCALAPPDATA } = process.env;
  if (TONEWRIGHT_CACHE === 'off') return undefined;
  if (TONEWRIGHT_CACHE) return TONEWRIGHT_CACHE;
  const usual = process.platform === 'darwin' ? join(homedir(), 'Library', 'Caches') : join(homedir(), '.cache');
  return join(XDG_CACHE_HOME || (process.platform === 'win32' && LOCALAPPDATA) || usual, 'tonewright');
}
