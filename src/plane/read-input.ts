import { closeSync, constants, fstatSync, openSync, readSync, type Stats, statSync } from 'node:fs';
import { type FileHandle, open, stat } from 'node:fs/promises';
import { AppError } from '../errors.ts';
import { rememberFile } from './inputs.ts';

/**
 * The largest file of each kind that is read, bytes; assumed, each several times what the work of a shop needs. A
 * picture may hold every pixel of {@link PHOTO_LIMITS} uncompressed; an array of the virtual engraver is up to the most
 * that Node reads at once; a text is a JSON record, a CSV or a list of readings.
 */
export const INPUT_LIMITS = { picture: 2 ** 30, array: 2 ** 31 - 1, text: 2 ** 26 } as const;

export type InputKind = keyof typeof INPUT_LIMITS;

/**
 * Bytes that are looked at before the whole file is read: every format of pictures says what it is in fewer. Assumed:
 * one page of memory.
 */
const HEAD_BYTES = 4096;

export interface ReadInputOptions {
  readonly kind: InputKind;
  /** What messages call the file; its path when absent. */
  readonly label?: string;
  /** What was needed there, in words for a message; "a file" when absent. */
  readonly needed?: string;
  /** Looks at the first bytes and throws where they are of no use, before the rest is read. */
  readonly checkHead?: (head: Uint8Array) => void;
}

/** What is not a regular file, in words; first match wins. */
const STRANGE_FILES: readonly (readonly [test: (found: Stats) => boolean, found: string])[] = [
  [(found) => found.isFIFO(), 'a pipe'],
  [(found) => found.isSocket(), 'a socket'],
  [(found) => found.isCharacterDevice() || found.isBlockDevice(), 'a device'],
];

/** A pipe without a writer would keep `open` waiting; systems that lack the flag have no such files. */
const OPEN_FLAGS = constants.O_RDONLY | (constants.O_NONBLOCK ?? 0);

/**
 * Bytes of a file that somebody gave: a regular file only, no larger than its kind may be. Both are asked of the system
 * before anything is read.
 * @throws AppError path-missing, path-is-folder, path-not-file, path-unreadable, file-too-large, and what `checkHead`
 * throws
 */
export async function readInput(path: string, options: ReadInputOptions): Promise<Buffer> {
  try {
    checkFile(await stat(path), path, options);
    const file = await open(path, OPEN_FLAGS);
    try {
      // Asked again of the file that is open now: another one may have been put in its place.
      const found = await file.stat();
      checkFile(found, path, options);
      rememberFile(await file.stat({ bigint: true }));
      const bytes = Buffer.from(new ArrayBuffer(found.size));
      const headLength = await fill(file, bytes, { from: 0, to: Math.min(HEAD_BYTES, bytes.length) });
      options.checkHead?.(bytes.subarray(0, headLength));
      const length = await fill(file, bytes, { from: headLength, to: bytes.length });
      return length === bytes.length ? bytes : bytes.subarray(0, length);
    } finally {
      await file.close();
    }
  } catch (error) {
    throw explainReadError(error, path, options);
  }
}

/** Reads bytes `from` … `to` into their place. Gives where it ended: earlier when the file became shorter meanwhile. */
async function fill(
  file: FileHandle,
  bytes: Buffer,
  { from, to }: { readonly from: number; readonly to: number },
): Promise<number> {
  let at = from;
  while (at < to) {
    const { bytesRead } = await file.read(bytes, at, Math.min(to - at, READ_BYTES), at);
    if (bytesRead === 0) break;
    at += bytesRead;
  }
  return at;
}

/**
 * The same at once, for small files that are read while a request is put together.
 * @throws AppError those of {@link readInput}
 */
export function readInputSync(path: string, options: ReadInputOptions): Buffer {
  try {
    checkFile(statSync(path), path, options);
    const file = openSync(path, OPEN_FLAGS);
    try {
      const found = fstatSync(file);
      checkFile(found, path, options);
      rememberFile(fstatSync(file, { bigint: true }));
      const bytes = Buffer.from(new ArrayBuffer(found.size));
      let at = 0;
      while (at < bytes.length) {
        const count = readSync(file, bytes, at, Math.min(bytes.length - at, READ_BYTES), at);
        if (count === 0) break;
        at += count;
      }
      options.checkHead?.(bytes.subarray(0, HEAD_BYTES));
      return bytes.subarray(0, at);
    } finally {
      closeSync(file);
    }
  } catch (error) {
    throw explainReadError(error, path, options);
  }
}

/** Whether a path leads to a file that can be read from beginning to end: no folder, pipe or device. */
export async function isRegularFile(path: string): Promise<boolean> {
  return stat(path).then(
    (found) => found.isFile(),
    () => false,
  );
}

/**
 * Bytes that are asked of the system at a time: below the 2 GiB that Linux gives at once. Assumed: an eighth of that;
 * smaller reads gain nothing.
 */
const READ_BYTES = 2 ** 28;

/**
 * Refuse what is no regular file, or is larger than its kind may be.
 * @throws AppError path-is-folder, path-not-file, file-too-large
 */
function checkFile(found: Stats, path: string, { kind, label = path, needed = 'a file' }: ReadInputOptions): void {
  if (found.isDirectory()) {
    throw new AppError('path-is-folder', `${label}: found a folder, needed ${needed}`, { path });
  }
  if (!found.isFile()) {
    const [, strange] = STRANGE_FILES.find(([test]) => test(found)) ?? [undefined, 'something that is no file'];
    throw new AppError('path-not-file', `${label}: found ${strange}, needed ${needed}`, { path, found: strange });
  }
  const limit = INPUT_LIMITS[kind];
  if (found.size <= limit) return;
  const [has, may] = [found.size, limit].map((bytes) => Math.ceil(bytes / 2 ** 20));
  throw new AppError('file-too-large', `${label}: found ${has} MiB, needed ${needed} of at most ${may} MiB`, {
    path,
    bytes: found.size,
    limit,
  });
}

/** What the system's refusal to read means to a person; errors that are told already pass through. */
export function explainReadError(
  error: unknown,
  path: string,
  { label = path, needed = 'a file' }: Omit<ReadInputOptions, 'kind'> = {},
): unknown {
  if (error instanceof AppError) return error;
  const { code } = error as NodeJS.ErrnoException;
  if (code === undefined) return error;
  if (code === 'ENOENT' || code === 'ENOTDIR') {
    // What is not UTF-8 has become this sign on its way here, and no way leads back.
    if (path.includes('\uFFFD')) {
      return new AppError(
        'path-missing',
        `${label}: found a name that is not UTF-8, which cannot be opened; needed another name, so rename the file`,
        { path },
      );
    }
    return new AppError('path-missing', `${label}: found nothing there, needed ${needed}`, { path });
  }
  if (code === 'EISDIR') return new AppError('path-is-folder', `${label}: found a folder, needed ${needed}`, { path });
  // A socket or a device without a driver cannot even be opened.
  if (code === 'ENXIO' || code === 'ENODEV' || code === 'EOPNOTSUPP') {
    return new AppError('path-not-file', `${label}: found something that is no file, needed ${needed}`, { path, code });
  }
  return new AppError('path-unreadable', `${label}: the system does not let the file be read (${code})`, {
    path,
    code,
  });
}
