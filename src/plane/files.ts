import { createHash, randomBytes } from 'node:crypto';
import { existsSync, mkdirSync, readFileSync, renameSync, statSync, writeFileSync } from 'node:fs';
import { link, lstat, open, readdir, rename, rm, rmdir } from 'node:fs/promises';
import { homedir, hostname } from 'node:os';
import { dirname, join, parse, resolve } from 'node:path';
import { setTimeout as wait } from 'node:timers/promises';
import { AppError } from '../errors.ts';
import { refuseInputs, rememberResult } from './inputs.ts';

/** Bytes that are made in pieces, the same each time they are asked for, so that they need never be whole in memory. */
export interface ByteStream {
  readonly chunks: () => Iterable<Uint8Array>;
}

/** What a file is to hold. */
export type FileContent = Uint8Array | string | ByteStream;

const isStream = (content: FileContent): content is ByteStream =>
  typeof content !== 'string' && !(content instanceof Uint8Array);

/** SHA-256, hexadecimal. */
export function sha256(content: FileContent): string {
  const hash = createHash('sha256');
  if (!isStream(content)) return hash.update(content).digest('hex');
  for (const chunk of content.chunks()) hash.update(chunk);
  return hash.digest('hex');
}

/** All of it at once, for ways on which pieces cannot go. */
export function wholeBytes(content: FileContent): Uint8Array {
  if (typeof content === 'string') return Buffer.from(content);
  return isStream(content) ? Buffer.concat([...content.chunks()]) : content;
}

/**
 * Makes a folder and those above it that are missing. Node's own recursive way never ends where a folder is there and
 * none can be made in it, as in /proc.
 * @returns the topmost folder that was made; undefined when all were there
 * @throws the system's error of the first that cannot be made
 */
export async function makeFolder(path: string): Promise<string | undefined> {
  return makeFolderSync(path);
}

/** Names of devices, alone or before a point (Microsoft, Naming Files, Paths, and Namespaces, 2024). */
const DEVICE = /^(con|prn|aux|nul|conin\$|conout\$|(com|lpt)[0-9\u00B9\u00B2\u00B3])(\..*)?$/i;

/** Whether Windows keeps a name for a device: a file of that name cannot be opened there, nor taken away. */
export function isDeviceName(name: string): boolean {
  return DEVICE.test(name);
}

/**
 * The part of a path that Node would make on Windows and no other program there could open or take away, such as
 * `aux.png` or `card.`; undefined where there is none.
 * @param path absolute
 */
export function findUnreachable(path: string, platform: NodeJS.Platform = process.platform): string | undefined {
  if (platform !== 'win32') return undefined;
  const parts = path.slice(parse(path).root.length).split(/[\\/]/);
  return parts.find((part) => isDeviceName(part) || /[. ]$/.test(part));
}

function refuseUnreachable(path: string): void {
  const part = findUnreachable(resolve(path));
  if (part !== undefined) throw Object.assign(new Error(`the name "${part}" is of no use`), { code: 'EINVAL' });
}

function makeFolderSync(path: string): string | undefined {
  refuseUnreachable(path);
  const missing: string[] = [];
  for (let at = resolve(path); !existsSync(at) && dirname(at) !== at; at = dirname(at)) missing.push(at);
  // Throws that a file is there.
  if (missing.length === 0 && !statSync(path).isDirectory()) mkdirSync(path);
  for (const folder of missing.toReversed()) {
    try {
      mkdirSync(folder);
    } catch (error) {
      // Another process may have made it meanwhile.
      if ((error as NodeJS.ErrnoException).code !== 'EEXIST') throw error;
    }
  }
  return missing.at(-1);
}

export interface FileToWrite {
  readonly path: string;
  readonly bytes: FileContent;
}

export interface WriteOptions {
  /** `true` replaces results that exist. */
  readonly force?: boolean;
  /**
   * Files of an earlier result in this place that the new one does not have; `force` takes them away with the others.
   */
  readonly outdated?: readonly string[];
  /** `true` for a record of the program's own, which was read to be written anew. */
  readonly isOwnRecord?: boolean;
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
  ENOENT: 'no folder can be made there',
  EISDIR: 'a folder of that name is in the way',
  ENOTEMPTY: 'a folder of that name is in the way',
  ENAMETOOLONG: 'the name is too long',
  EBUSY: 'another program has it open',
  EINVAL: 'the system keeps such names for devices, or lets none end with a point or a space',
};
/** Windows answers the same for a missing right and for a file that is open elsewhere. */
const NOT_NOW: ReadonlySet<string | undefined> = new Set(['EPERM', 'EACCES', 'EBUSY']);
const REASON_NOT_NOW = 'there is no right to write here, or another program has the file open';

/**
 * For work of minutes, before it begins: what would be refused in the end is refused now.
 * @throws AppError result-is-input, whatever `force` says; result-exists without it
 */
export async function refuseResults(
  paths: readonly string[],
  { force = false }: Pick<WriteOptions, 'force'> = {},
): Promise<void> {
  await refuseInputs(paths);
  if (!force) refusePresent([...(await listPresent(paths)).keys()]);
}

/** Of these paths, the ones that are there, and whether each is a folder. */
async function listPresent(paths: readonly string[]): Promise<ReadonlyMap<string, 'file' | 'folder'>> {
  const found = await Promise.all(paths.map((path) => lstat(path).catch(() => undefined)));
  return new Map(
    paths.flatMap((path, at) => {
      const is = found[at];
      return is ? [[path, is.isDirectory() ? 'folder' : 'file'] as const] : [];
    }),
  );
}

function refusePresent(paths: readonly string[]): void {
  if (paths.length === 0) return;
  throw new AppError('result-exists', `found ${paths.join(', ')} already there, needed a place without results`, {
    paths,
  });
}

/**
 * A file on its way into its place, or out of it, with its computer's mark and the number of the process that writes
 * it. Its name holds nothing of the name it will have: the two together could be longer than a system allows (255 bytes
 * on most), though the result's own is not.
 */
const PART_FILE = /^\.([0-9a-f]{4})[0-9a-f]{8}-([1-9]\d{0,9})-\d+\.part$/;
/**
 * After so long a part is nobody's, though a process has its number again, or another computer wrote it. Assumed: no
 * file takes an hour to write.
 */
const PART_AGE_MS = 3_600_000;

/** Numbers of processes are of one computer, and folders may be shared. */
const COMPUTER = sha256(hostname()).slice(0, 4);

/** Names of parts of one write, one after the other. */
function namePart(mark: string, at: number): string {
  return `.${COMPUTER}${mark}-${process.pid}-${at}.part`;
}

const drawMark = () => randomBytes(4).toString('hex');

/** Name of a part file that one writer keeps for itself; {@link removeDeadParts} takes it away when that is dead. */
export const namePartFile = (): string => namePart(drawMark(), 0);

/** Takes away what processes that were ended have left half written in a folder. */
export async function removeDeadParts(folder: string): Promise<void> {
  for (const name of await readdir(folder).catch(() => [])) {
    const [, computer, pid] = PART_FILE.exec(name) ?? [];
    if (pid === undefined) continue;
    const path = join(folder, name);
    const { mtimeMs } = await lstat(path).catch(() => ({ mtimeMs: Date.now() }));
    const isDead = computer === COMPUTER && !isRunning(Number(pid));
    if (isDead || Date.now() - mtimeMs > PART_AGE_MS) await rm(path, { force: true }).catch(() => undefined);
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
 * A folder is swept once in so long: a server writes into some of them several times a second. Assumed: a part left
 * behind may wait a minute.
 */
const SWEEP_EVERY_MS = 60_000;
const sweptAt = new Map<string, number>();

async function sweepOnceInAWhile(folder: string): Promise<void> {
  const now = Date.now();
  if (now - (sweptAt.get(folder) ?? Number.NEGATIVE_INFINITY) < SWEEP_EVERY_MS) return;
  sweptAt.set(folder, now);
  await removeDeadParts(folder);
}

/**
 * Write files as one: each is written beside its place under a temporary name and all are renamed at the end, in the
 * order given (put the file that says "done" last). On failure nothing of it stays, nor a folder that was made for it,
 * and what was there before is there again. Without `force` no file is replaced, not even one that another process has
 * put there meanwhile. With it, what is replaced goes out of the way first, the last file before the others: whoever
 * looks in between, or after the power has gone, never finds a new bitmap beside an old ticket. What the run was given
 * is never written over, see `rememberInputs`.
 * @throws AppError result-is-input, result-exists, before anything is written; path-unwritable
 */
export async function writeFilesAtomic(
  files: readonly FileToWrite[],
  { force = false, durable = false, outdated = [], isOwnRecord = false }: WriteOptions = {},
): Promise<void> {
  const paths = files.map(({ path }) => path);
  if (!isOwnRecord) await refuseInputs([...paths, ...outdated]);
  const present = await listPresent([...paths, ...outdated]);
  if (!force) refusePresent([...present.keys()]);
  const blocked = paths.find((path) => present.get(path) === 'folder');
  if (blocked !== undefined) throw explainWriteError({ code: 'EISDIR' }, blocked);
  const mark = drawMark();
  const write: Write = { nextPart: 0, mark, made: [], aside: [], folders: [], current: '' };
  try {
    const waiting: [from: string, to: string][] = [];
    for (const { path, bytes } of files) {
      write.current = path;
      const folder = dirname(resolve(path));
      const top = await makeFolder(folder);
      if (top !== undefined) write.folders.push(...foldersBetween(top, folder));
      await sweepOnceInAWhile(folder);
      refuseUnreachable(path);
      const temporary = partBeside(write, path);
      write.made.push(temporary);
      await writeNew(temporary, { bytes, durable });
      waiting.push([temporary, path]);
    }
    // One file alone is replaced in one step.
    const replaced = files.length === 1 && present.size <= 1 && present.has(paths[0]) ? [] : [...present.keys()];
    for (const path of replaced.reverse()) await putAside(write, path);
    for (const [from, to] of waiting) {
      write.current = to;
      if (force) await moveFile(from, to);
      else await placeNew(from, to);
      if (!present.has(to) || replaced.includes(to)) write.made.push(to);
      await rememberResult(to);
    }
    if (durable) for (const folder of new Set(paths.map((path) => dirname(resolve(path))))) await syncFolder(folder);
  } catch (error) {
    await takeBack(write);
    throw error instanceof AppError ? error : explainWriteError(error, write.current);
  }
  for (const [part] of write.aside) await rm(part, { force: true }).catch(() => undefined);
}

/** What a write has done so far, to be taken back should it fail. */
interface Write {
  readonly mark: string;
  nextPart: number;
  /** Files that were not there before. */
  readonly made: string[];
  /** What was there before, and where it is now. */
  readonly aside: [part: string, path: string][];
  readonly folders: string[];
  /** The result that is worked at, for messages. */
  current: string;
}

function partBeside(write: Write, path: string): string {
  return join(dirname(resolve(path)), namePart(write.mark, write.nextPart++));
}

async function putAside(write: Write, path: string): Promise<void> {
  write.current = path;
  const part = partBeside(write, path);
  await moveFile(path, part);
  write.aside.push([part, path]);
}

/**
 * Waits between looks whether a file can be moved by now, ms: on Windows a scanner or an index has a new file open for
 * a moment. Assumed: a second in all; a program that shows the file keeps it for longer.
 */
const MOVE_AGAIN_MS = [10, 20, 50, 100, 200, 300, 400] as const;

async function moveFile(from: string, to: string): Promise<void> {
  const waits = process.platform === 'win32' ? MOVE_AGAIN_MS : [];
  for (const ms of waits) {
    try {
      return await rename(from, to);
    } catch (error) {
      if (!NOT_NOW.has((error as NodeJS.ErrnoException).code)) throw error;
      await wait(ms);
    }
  }
  await rename(from, to);
}

async function takeBack({ made, aside, folders }: Write): Promise<void> {
  for (const path of made) await rm(path, { force: true }).catch(() => undefined);
  for (const [part, path] of aside.reverse()) await moveFile(part, path).catch(() => undefined);
  for (const folder of folders.reverse()) await rmdir(folder).catch(() => undefined);
}

/** What systems and disks without hard links answer. */
const NO_LINKS: ReadonlySet<string | undefined> = new Set([
  'EPERM',
  'EACCES',
  'ENOTSUP',
  'EOPNOTSUPP',
  'ENOSYS',
  'EINVAL',
  'EMLINK',
  'EXDEV',
]);

/**
 * Moves a file to a place that must be free: two runs that both found it free must not both have it, and `rename` would
 * replace. A link fails where something is; where there are no links, an empty file holds the place first.
 * @throws AppError result-exists
 */
export async function placeNew(from: string, to: string, makeLink: typeof link = link): Promise<void> {
  try {
    await makeLink(from, to);
    await rm(from, { force: true });
    return;
  } catch (error) {
    const { code } = error as NodeJS.ErrnoException;
    if (code === 'EEXIST') refusePresent([to]);
    if (!NO_LINKS.has(code)) throw error;
  }
  const holding = await open(to, 'wx').catch((error: NodeJS.ErrnoException) => {
    if (error.code === 'EEXIST') refusePresent([to]);
    throw error;
  });
  await holding.close();
  await moveFile(from, to).catch(async (error) => {
    await rm(to, { force: true });
    throw error;
  });
}

/** What the system's refusal to write means to a person. */
export function explainWriteError(error: unknown, path: string): AppError {
  const { code = 'unknown', message } = error as Partial<NodeJS.ErrnoException>;
  const reason = process.platform === 'win32' && NOT_NOW.has(code) ? REASON_NOT_NOW : (REASONS[code] ?? message);
  return new AppError('path-unwritable', `${path}: ${reason} (${code}), needed a place to write`, {
    path,
    code,
  });
}

async function writeNew(
  path: string,
  { bytes, durable }: { readonly bytes: FileContent; readonly durable: boolean },
): Promise<void> {
  const file = await open(path, 'wx');
  try {
    // Each goes on where the one before has ended.
    for (const chunk of isStream(bytes) ? bytes.chunks() : [bytes]) await file.writeFile(chunk);
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

/** The folders from `top` down to `folder`, both included. */
function foldersBetween(top: string, folder: string): string[] {
  const folders: string[] = [];
  for (let at = folder; at.length >= top.length; at = dirname(at)) folders.unshift(at);
  return folders;
}

/** Length of the SHA-256 that ends a kept file. Exact: 256 bits. */
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
    makeFolderSync(folder);
    const temporary = join(folder, namePart(drawMark(), 0));
    writeFileSync(temporary, Buffer.concat([bytes, sealOf(bytes)]), { flag: 'wx' });
    renameSync(temporary, path);
    void sweepOnceInAWhile(folder);
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
