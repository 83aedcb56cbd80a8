import { createHash } from 'node:crypto';
import { createReadStream } from 'node:fs';
import { lstat, mkdir, readdir, readFile, rm } from 'node:fs/promises';
import { basename, join } from 'node:path';
import { pipeline } from 'node:stream/promises';
import { AppError } from '../errors.ts';
import {
  type Caution,
  filesOfPiece,
  type JobSpec,
  type PieceFault,
  type PieceSummary,
  summarisePiece,
  type Ticket,
} from '../job/index.ts';
import { explainWriteError, sha256, writeFilesAtomic } from '../plane/index.ts';
import { Flow } from './flow.ts';
import { JOURNAL_FILE, type Journal, openJournal } from './journal.ts';
import { acquireLock, LOCK_FILE } from './lock.ts';
import { describeFault, type PieceResult, shrinkProof } from './make-piece.ts';
import type { Maker, PlannedTask } from './makers.ts';

/** Sums of an order, written when everything is done and taken away as soon as something is to be done again. */
export const ORDER_FILES = ['order.json', 'order.csv', 'order.html'] as const;

/** One piece as the order wants it: how it is to be made, or why it cannot be. */
export interface WantedPiece {
  readonly name: string;
  /** The photo as the order names it, for messages. */
  readonly label: string;
  readonly photoPath: string;
  readonly plan: { readonly spec: JobSpec } | { readonly fault: PieceFault };
}

/** What became of a piece. */
export type PieceOutcome =
  | {
      readonly status: 'done';
      /** Whether an earlier run had made it already. */
      readonly kept: boolean;
      readonly summary: PieceSummary;
      readonly cautions: readonly Caution[];
      readonly smallProof: Uint8Array;
    }
  | { readonly status: 'failed'; readonly reason: PieceFault };

export interface OrderProgress {
  readonly total: number;
  /** Made by this run, kept from earlier ones, and not made for a fault. */
  readonly made: number;
  readonly kept: number;
  readonly failed: number;
}

export interface RunOrderOptions {
  /** Output folder; made when it is not there. */
  readonly out: string;
  /** Version of the program, for the tickets. */
  readonly version: string;
  /** What tells this program's arithmetic from another's; results of another one are made again. */
  readonly build: string;
  /** Opened when there is something to make. */
  readonly openMaker: () => Promise<Maker>;
  /** `true` replaces files that are in the way and are not of this order. */
  readonly force: boolean;
  /** Ends the order after the pieces that are being made. */
  readonly signal: AbortSignal;
  readonly onProgress: (progress: OrderProgress) => void;
  readonly onFault: (piece: WantedPiece, fault: PieceFault) => void;
  readonly warn: (text: string) => void;
  /** Keeps the layout of a control strip. */
  readonly keepStrip: (layout: NonNullable<Extract<PieceResult, { made: true }>['stripLayout']>) => Promise<void>;
  /** The sums as files, from what became of each piece. */
  readonly writeSums: (
    outcomes: readonly PieceOutcome[],
  ) => readonly { readonly name: string; readonly bytes: string }[];
}

/**
 * Makes every piece of an order that is not made yet, as `prepare` makes it, into one folder.
 *
 * Each result is written whole or not at all, and told in the journal before and after: a run that is stopped at any moment
 * loses at most the pieces it was making, and the next one with the same command leaves the same bytes as one that was
 * never stopped. A piece is made again exactly when its photo, settings, profile, machine or the program has changed, or
 * its files have. What is wrong with a piece is its outcome and stops nothing; what is wrong with the folder ends the run.
 * @throws AppError order-busy, order-interrupted, result-exists, path-unwritable, path-unreadable, file-invalid
 */
export async function runOrder(
  pieces: readonly WantedPiece[],
  options: RunOrderOptions,
): Promise<readonly PieceOutcome[]> {
  const { out } = options;
  await mkdir(out, { recursive: true }).catch((error) => {
    throw explainWriteError(error, out);
  });
  const lock = await acquireLock(join(out, LOCK_FILE));
  try {
    const journal = await openJournal(join(out, JOURNAL_FILE), { claim: () => claimFiles(pieces, out) });
    try {
      await removeParts(out, journal);
      return await run(pieces, { ...options, journal });
    } finally {
      await journal.close();
    }
  } finally {
    await lock.release();
  }
}

interface Run extends RunOrderOptions {
  readonly journal: Journal;
}

async function run(pieces: readonly WantedPiece[], options: Run): Promise<readonly PieceOutcome[]> {
  const { out, journal, signal, onProgress, onFault, warn, writeSums } = options;
  if (journal.damaged > 0) {
    warn(`${journal.damaged} damaged lines of ${JOURNAL_FILE} were left out; what they told is done again.`);
  }
  await refuseForeign(pieces, options);

  const outcomes: PieceOutcome[] = new Array(pieces.length);
  const count = { made: 0, kept: 0, failed: 0 };
  const settle = (at: number, outcome: PieceOutcome) => {
    outcomes[at] = outcome;
    if (outcome.status === 'failed') {
      count.failed++;
      onFault(pieces[at]!, outcome.reason);
    } else if (outcome.kept) count.kept++;
    else count.made++;
    onProgress({ total: pieces.length, ...count });
  };
  const flow = new Flow({
    signal,
    openMaker: async () => {
      // The sums no longer hold: whoever looks at the folder meanwhile must not take them for the order.
      for (const name of ORDER_FILES) await rm(join(out, name), { force: true });
      return options.openMaker();
    },
  });
  try {
    for (const [at, piece] of pieces.entries()) {
      if (signal.aborted || flow.broken) break;
      if ('fault' in piece.plan) {
        settle(at, { status: 'failed', reason: piece.plan.fault });
        continue;
      }
      const planned = plan(piece, piece.plan.spec, options);
      const kept = await findKept(planned, options);
      if (kept) {
        settle(at, kept);
        continue;
      }
      await flow.add(planned, async (made) => settle(at, await keepResult(made, { planned, run: options })));
    }
  } finally {
    await flow.end();
  }
  if (flow.broken) throw flow.broken.error;
  const left = pieces.length - count.made - count.kept - count.failed;
  if (left > 0) {
    throw new AppError(
      'order-interrupted',
      `stopped with ${count.made + count.kept} of ${pieces.length} pieces done and ${left} left`,
      { ...count, left },
    );
  }
  const sums = writeSums(outcomes).map(({ name, bytes }) => ({ path: join(out, name), bytes }));
  await writeFilesAtomic(sums, { force: true, durable: true });
  await journal.compact(pieces.map(({ name }) => name));
  return outcomes;
}

function plan({ name, label, photoPath }: WantedPiece, spec: JobSpec, { version, build }: Run): PlannedTask {
  const photoFile = basename(photoPath);
  // The label is only in messages, so that a moved order is not made again.
  const work = sha256(JSON.stringify([build, version, name, photoFile, spec]));
  return { task: { name, photoFile, label, spec, version }, photoPath, work };
}

/** What an earlier run made of the same photo in the same way, when its files are still as they were written. */
async function findKept(
  { task, photoPath, work }: PlannedTask,
  { out, journal }: Run,
): Promise<PieceOutcome | undefined> {
  const state = journal.pieces.get(task.name);
  if (state?.done?.work !== work || state.done.photo !== (await hashFile(photoPath))) return undefined;
  const found = new Map<string, Buffer>();
  for (const { name, sha256: wanted } of state.done.files) {
    const bytes = await readFile(join(out, name)).catch(() => undefined);
    if (!bytes || sha256(bytes) !== wanted) return undefined;
    if (/\.(proof\.png|ticket\.json)$/.test(name)) found.set(name, bytes);
  }
  const names = new Set(state.done.files.map(({ name }) => name));
  for (const name of state.files) if (!names.has(name)) await rm(join(out, name), { force: true });
  const ticket = JSON.parse(found.get(`${task.name}.ticket.json`)!.toString()) as Ticket;
  const smallProof = await shrinkProof(found.get(`${task.name}.proof.png`)!);
  return { status: 'done', kept: true, summary: summarisePiece(ticket), cautions: ticket.cautions, smallProof };
}

/** Writes what was made and says so in the journal. */
async function keepResult(
  result: PieceResult,
  { planned, run }: { readonly planned: PlannedTask; readonly run: Run },
): Promise<PieceOutcome> {
  const { out, journal, keepStrip, force } = run;
  const { name } = planned.task;
  const before = journal.pieces.get(name)?.files ?? [];
  if (!result.made) {
    // The photo was replaced by one that cannot be made: what was made of the old one must not be burned by mistake.
    // Where the photo could only not be reached, its results stay.
    if (before.length > 0 && result.fault.code.startsWith('image-')) {
      for (const file of before) await rm(join(out, file), { force: true });
      await journal.forget(name);
    }
    return { status: 'failed', reason: result.fault };
  }
  const names = result.files.map((file) => file.name);
  const fresh = names.filter((file) => !before.includes(file));
  const foreign = force || fresh.length === 0 ? [] : await findForeign(fresh, run);
  if (foreign.length > 0) return { status: 'failed', reason: describeFault(inTheWay(foreign)) };
  await journal.begin(name, names);
  const files = result.files.map(({ name: file, bytes }) => ({ path: join(out, file), bytes }));
  await writeFilesAtomic(files, { force: true, durable: true });
  for (const file of before) if (!names.includes(file)) await rm(join(out, file), { force: true });
  if (result.stripLayout) await keepStrip(result.stripLayout);
  await journal.finish(name, {
    work: planned.work,
    photo: result.photoSha256,
    files: result.files.map((file) => ({ name: file.name, sha256: file.sha256 })),
  });
  const { ticket, smallProof } = result;
  return { status: 'done', kept: false, summary: summarisePiece(ticket), cautions: ticket.cautions, smallProof };
}

/** Files that are there under the names of the pieces: a journal that has lost lines may have told of them. */
async function claimFiles(pieces: readonly WantedPiece[], out: string) {
  const there = new Set(await readdir(out));
  return pieces.flatMap(({ name, plan }) => {
    const files = 'spec' in plan ? filesOfPiece(name, plan.spec).filter((file) => there.has(file)) : [];
    return files.length > 0 ? [{ name, files }] : [];
  });
}

/**
 * Nothing is begun while files are in the way that this order has not made.
 * @throws AppError result-exists
 */
async function refuseForeign(pieces: readonly WantedPiece[], run: Run): Promise<void> {
  if (run.force) return;
  const wanted = pieces.flatMap(({ name, plan }) => ('spec' in plan ? filesOfPiece(name, plan.spec) : []));
  const foreign = await findForeign(run.journal.existed ? wanted : [...wanted, ...ORDER_FILES], run);
  if (foreign.length > 0) throw inTheWay(foreign);
}

/** Those of the files that are there and that the journal does not know. */
async function findForeign(files: readonly string[], { out, journal }: Run): Promise<readonly string[]> {
  const there: string[] = [];
  for (const file of files) if (await lstat(join(out, file)).catch(() => undefined)) there.push(file);
  if (there.length === 0) return [];
  const own = new Set([...journal.pieces.values()].flatMap((state) => state.files));
  return there.filter((file) => !own.has(file));
}

function inTheWay(files: readonly string[]): AppError {
  const some = files.slice(0, 3).join(', ') + (files.length > 3 ? ` and ${files.length - 3} more` : '');
  return new AppError(
    'result-exists',
    `found ${some} already there and not made by this order, needed a place without them`,
    { files },
  );
}

/** Half-written files that a run which was stopped has left. */
async function removeParts(out: string, { pieces }: Journal): Promise<void> {
  const own = new Set<string>([...ORDER_FILES, JOURNAL_FILE, ...[...pieces.values()].flatMap(({ files }) => files)]);
  for (const file of await readdir(out)) {
    const part = /^\.(.+)\.[0-9a-f]{12}\.part$/.exec(file)?.[1];
    const lock = file.startsWith(`${LOCK_FILE}.`);
    if (lock || (part !== undefined && own.has(part))) await rm(join(out, file), { force: true });
  }
}

/** SHA-256 of a file without holding it in memory; undefined where it cannot be read. */
async function hashFile(path: string): Promise<string | undefined> {
  const hash = createHash('sha256');
  try {
    await pipeline(createReadStream(path), hash);
  } catch {
    return undefined;
  }
  return hash.digest('hex');
}
