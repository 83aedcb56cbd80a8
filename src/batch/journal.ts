import { constants } from 'node:fs';
import { type FileHandle, open, readFile } from 'node:fs/promises';
import { AppError } from '../errors.ts';
import { parseJson } from '../json.ts';
import { explainWriteError, sha256, writeFilesAtomic } from '../plane/index.ts';

export const JOURNAL_FILE = 'order.journal.jsonl';
const SCHEMA = 'tonewright-journal/1';
/** Digits of SHA-256 before each line, characters. Assumed: 64 bits tell a torn line from a whole one. */
const CHECK_DIGITS = 16;

/** Stands for the hash of how a piece was made where a damaged journal no longer tells it. */
export const UNKNOWN_WORK = '';

export interface FileMark {
  readonly name: string;
  readonly sha256: string;
}

/** What is known of one piece: which result files may be its own, and, once it is done, what it was made from. */
export interface PieceState {
  /** Every file that was ever begun under this name and may still be there. */
  readonly files: readonly string[];
  readonly done:
    | {
        /** Hash of all that decides the bytes but the photo: settings, profile, names, program. */
        readonly work: string;
        readonly photo: string;
        readonly files: readonly FileMark[];
      }
    | undefined;
}

type Entry =
  | { readonly is: 'journal'; readonly schema: typeof SCHEMA }
  /** Before the first of these files is written: from now on they are the order's own. */
  | { readonly is: 'begun'; readonly name: string; readonly files: readonly string[] }
  /** After the last one is in its place. */
  | {
      readonly is: 'done';
      readonly name: string;
      readonly work: string;
      readonly photo: string;
      readonly files: readonly FileMark[];
    }
  /** After the files of a piece that can no longer be made are gone. */
  | { readonly is: 'gone'; readonly name: string };

export interface Journal {
  /** By name of the piece. */
  readonly pieces: ReadonlyMap<string, PieceState>;
  /** Lines that could not be trusted and were left out. */
  readonly damaged: number;
  readonly begin: (name: string, files: readonly string[]) => Promise<void>;
  readonly finish: (name: string, done: NonNullable<PieceState['done']>) => Promise<void>;
  readonly forget: (name: string) => Promise<void>;
  /** Writes the journal anew with one line a piece, those of `order` first: the same order leaves the same bytes. */
  readonly compact: (order: readonly string[]) => Promise<void>;
  readonly close: () => Promise<void>;
}

export interface JournalOptions {
  /** Asked only when lines are damaged: pieces that are there and that these lines have told of. */
  readonly claim?: () => Promise<readonly { readonly name: string; readonly done: NonNullable<PieceState['done']> }[]>;
}

/**
 * Opens the journal of an output folder, an append-only file of JSON lines, each with the start of its own SHA-256. A
 * line that does not fit its hash (the machine stopped while it was written, or someone edited it) is left out, and
 * what it told is done again. Every line is on the disk before the work that follows it.
 * @throws AppError path-unwritable, path-unreadable; file-invalid when the file is no journal of this version.
 */
export async function openJournal(path: string, { claim = async () => [] }: JournalOptions = {}): Promise<Journal> {
  const { entries, damaged, whole } = await readEntries(path);
  const pieces = new Map<string, PieceState>();
  for (const entry of entries) apply(pieces, entry);
  if (damaged > 0) {
    for (const { name, done } of await claim()) {
      if (!pieces.get(name)?.done) apply(pieces, { is: 'done', name, ...done });
    }
  }
  // A torn end must not swallow the next line, and what was distrusted once must not be read again.
  if (!whole)
    await rewrite(
      path,
      [...pieces].flatMap(([name, state]) => entriesOf(name, state)),
    );

  let file = await openToAppend(path);
  let last: Promise<void> = Promise.resolve();
  const append = (entry: Entry): Promise<void> => {
    const write = async () => {
      try {
        await file.appendFile(writeLine(entry));
        await file.datasync();
      } catch (error) {
        throw explainWriteError(error, path);
      }
      apply(pieces, entry);
    };
    last = last.catch(() => undefined).then(write);
    return last;
  };
  return {
    pieces,
    damaged,
    begin: (name, files) => append({ is: 'begun', name, files }),
    finish: (name, done) => append({ is: 'done', name, ...done }),
    forget: (name) => append({ is: 'gone', name }),
    async compact(order) {
      const rank = new Map(order.map((name, at) => [name, at]));
      const names = [...pieces.keys()].sort((a, b) => {
        const [x, y] = [rank.get(a) ?? order.length, rank.get(b) ?? order.length];
        return x - y || (a < b ? -1 : 1);
      });
      await file.close();
      await rewrite(
        path,
        names.flatMap((name) => entriesOf(name, pieces.get(name)!)),
      );
      file = await openToAppend(path);
    },
    close: () => file.close(),
  };
}

function apply(pieces: Map<string, PieceState>, entry: Entry): void {
  if (entry.is === 'journal') return;
  const { name } = entry;
  const before = pieces.get(name);
  if (entry.is === 'gone') pieces.delete(name);
  else if (entry.is === 'begun') {
    pieces.set(name, { files: [...new Set([...(before?.files ?? []), ...entry.files])], done: before?.done });
  } else {
    const { work, photo, files } = entry;
    const names = files.map((file) => file.name);
    pieces.set(name, { files: names, done: { work, photo, files } });
  }
}

/** The fewest lines that tell the same. */
function entriesOf(name: string, { files, done }: PieceState): readonly Entry[] {
  if (!done) return [{ is: 'begun', name, files }];
  const finished: Entry = { is: 'done', name, ...done };
  const more = files.some((file) => !done.files.some((mark) => mark.name === file));
  return more ? [finished, { is: 'begun', name, files }] : [finished];
}

function writeLine(entry: Entry): string {
  const text = JSON.stringify(entry);
  return `{"check":"${sha256(text).slice(0, CHECK_DIGITS)}","entry":${text}}\n`;
}

const LINE = new RegExp(`^\\{"check":"([0-9a-f]{${CHECK_DIGITS}})","entry":(\\{.*\\})\\}$`);

function readLine(line: string): Entry | undefined {
  const found = LINE.exec(line);
  if (!found || sha256(found[2]!).slice(0, CHECK_DIGITS) !== found[1]) return undefined;
  return parseJson(found[2]!) as Entry;
}

async function readEntries(path: string): Promise<{
  readonly entries: readonly Entry[];
  readonly damaged: number;
  readonly whole: boolean;
}> {
  let text: string;
  try {
    text = await readFile(path, 'utf8');
  } catch (error) {
    const { code } = error as NodeJS.ErrnoException;
    if (code === 'ENOENT') return { entries: [], damaged: 0, whole: false };
    throw new AppError('path-unreadable', `${path}: the system does not let the journal be read (${code})`, { path });
  }
  const lines = text.split('\n');
  const rest = lines.pop()!;
  const read = lines.map(readLine);
  const entries = read.filter((entry) => entry !== undefined);
  const other = entries.find((entry) => entry.is === 'journal' && entry.schema !== SCHEMA);
  if (other) {
    throw new AppError(
      'file-invalid',
      `${path}: found a journal of another version of Tonewright, needed ${SCHEMA}; choose another output folder`,
      { path },
    );
  }
  const damaged = read.length - entries.length + (rest === '' ? 0 : 1);
  return { entries, damaged, whole: damaged === 0 && entries[0]?.is === 'journal' };
}

async function rewrite(path: string, entries: readonly Entry[]): Promise<void> {
  const lines = [{ is: 'journal', schema: SCHEMA } as const, ...entries].map(writeLine);
  await writeFilesAtomic([{ path, bytes: lines.join('') }], { force: true, durable: true });
}

async function openToAppend(path: string): Promise<FileHandle> {
  try {
    return await open(path, constants.O_WRONLY | constants.O_APPEND);
  } catch (error) {
    throw explainWriteError(error, path);
  }
}
