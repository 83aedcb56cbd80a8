import { readdir, readFile, rm } from 'node:fs/promises';
import { basename, join } from 'node:path';
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
import { parseJson } from '../json.ts';
import { keepLatest } from '../numeric/index.ts';
import {
  explainWriteError,
  makeFolder,
  refuseInputs,
  rememberInput,
  removeDeadParts,
  sha256,
  writeFilesAtomic,
} from '../plane/index.ts';
import { claimPieces, type WantedPiece } from './claim.ts';
import { Flow } from './flow.ts';
import { hashFile } from './hash-file.ts';
import { JOURNAL_FILE, type Journal, openJournal, UNKNOWN_WORK } from './journal.ts';
import { acquireLock, LOCK_FILE } from './lock.ts';
import { describeFault, type PieceResult, shrinkProof } from './make-piece.ts';
import type { Maker, PlannedTask } from './makers.ts';
import { AsideFile, type PutAside } from './put-aside.ts';
import { findStanding, listThere, type Standing, sayStanding } from './standing.ts';

/** Sums of an order, written when everything is done and taken away as soon as something is to be done again. */
const ORDER_FILES = ['order.json', 'order.csv', 'order.html', 'order.customer.html'] as const;

/** What became of a piece. */
export type PieceOutcome =
  | {
      readonly status: 'done';
      /** Whether an earlier run had made it already. */
      readonly kept: boolean;
      readonly summary: PieceSummary;
      readonly cautions: readonly Caution[];
      /** The proof as a small JPEG; to be read before the order's run has ended. */
      readonly smallProof: PutAside;
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
  /**
   * `true` replaces what stands in the way: files of others, sums of another order, pieces made of another photo or in
   * another way.
   */
  readonly force: boolean;
  /**
   * `true` takes away the results of pieces that are no longer in the order, as in a folder that nobody but the program
   * writes into. Without it they stay: somebody may have been given them.
   */
  readonly prune?: boolean;
  /** Ends the order after the pieces that are being made. */
  readonly signal: AbortSignal;
  readonly onProgress: (progress: OrderProgress) => void;
  /** Called with what became of each piece, before the progress is. */
  readonly onSettled: (piece: WantedPiece, outcome: PieceOutcome) => void;
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
 * Each result is written whole or not at all, and told in the journal before and after: a run that is stopped at any
 * moment loses at most the pieces it was making, and the next one with the same command leaves the same bytes as one
 * that was never stopped. A piece is made again when its files are gone or damaged. One that is made is replaced only
 * with `force` when its photo, settings, profile, machine or the program is another now, and so is another order:
 * whoever was given a result finds the same one there tomorrow. What is wrong with a piece is its outcome and stops
 * nothing; what is wrong with the folder ends the run.
 * @throws AppError order-busy, order-interrupted, result-exists, path-unwritable, path-unreadable, file-invalid
 */
export async function runOrder(
  pieces: readonly WantedPiece[],
  options: RunOrderOptions,
): Promise<readonly PieceOutcome[]> {
  const { out } = options;
  await makeFolder(out).catch((error) => {
    throw explainWriteError(error, out);
  });
  const lock = await acquireLock(join(out, LOCK_FILE));
  try {
    const journal = await openJournal(join(out, JOURNAL_FILE), { claim: () => claimPieces(pieces, out) });
    const aside = new AsideFile(out);
    try {
      await sweep(out);
      if (options.prune) await removeDropped(pieces, { out, journal });
      const photos = await hashPhotos(pieces, journal);
      return await run(pieces, { ...options, journal, photos, aside });
    } finally {
      aside.close();
      await journal.close();
    }
  } finally {
    await lock.release();
  }
}

/** What was made of pieces that the order no longer has, by the journal's word. */
async function removeDropped(
  pieces: readonly WantedPiece[],
  { out, journal }: { readonly out: string; readonly journal: Journal },
): Promise<void> {
  const wanted = new Set(pieces.map(({ name }) => name));
  const dropped = [...journal.pieces].filter(([name]) => !wanted.has(name));
  if (dropped.length === 0) return;
  for (const name of ORDER_FILES) await rm(join(out, name), { force: true });
  for (const [name, { files }] of dropped) {
    for (const file of files) await rm(join(out, file), { force: true });
    await journal.forget(name);
  }
}

interface Run extends RunOrderOptions {
  readonly journal: Journal;
  /** Hashes of the photos of pieces that are made, as they were when the run began; by path. */
  readonly photos: ReadonlyMap<string, string>;
  /** Where small proofs wait for the sums. */
  readonly aside: AsideFile;
}

async function run(pieces: readonly WantedPiece[], options: Run): Promise<readonly PieceOutcome[]> {
  const { out, journal, signal, onProgress, onSettled, warn, writeSums } = options;
  if (journal.damaged > 0) {
    warn(`${journal.damaged} damaged lines of ${JOURNAL_FILE} were left out; what they told is done again.`);
  }
  await protectPhotos(pieces, out);
  await protectStanding(pieces, options);

  const outcomes: PieceOutcome[] = new Array(pieces.length);
  const count = { made: 0, kept: 0, failed: 0 };
  const settle = (at: number, outcome: PieceOutcome) => {
    outcomes[at] = outcome;
    onSettled(pieces[at]!, outcome);
    if (outcome.status === 'failed') count.failed++;
    else if (outcome.kept) count.kept++;
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
  { out, journal, photos, aside }: Run,
): Promise<PieceOutcome | undefined> {
  const state = journal.pieces.get(task.name);
  if (state?.done?.work !== work || state.done.photo !== photos.get(photoPath)) return undefined;
  const found = new Map<string, Buffer>();
  for (const { name, sha256: wanted } of state.done.files) {
    const bytes = await readFile(join(out, name)).catch(() => undefined);
    if (!bytes || sha256(bytes) !== wanted) return undefined;
    if (/\.(proof\.png|ticket\.json)$/.test(name)) found.set(name, bytes);
  }
  const names = new Set(state.done.files.map(({ name }) => name));
  for (const name of state.files) if (!names.has(name)) await rm(join(out, name), { force: true });
  const ticket = parseJson(found.get(`${task.name}.ticket.json`)!.toString()) as Ticket;
  const smallProof = aside.put(await shrinkProof(found.get(`${task.name}.proof.png`)!));
  return { status: 'done', kept: true, ...tellMade(ticket), smallProof };
}

/** Writes what was made and says so in the journal. */
async function keepResult(
  result: PieceResult,
  { planned, run }: { readonly planned: PlannedTask; readonly run: Run },
): Promise<PieceOutcome> {
  const { out, journal, force } = run;
  const { name } = planned.task;
  const state = journal.pieces.get(name);
  const before = state?.files ?? [];
  if (!result.made) {
    // The photo was replaced by one that cannot be made: what was made of the old one must not be burned by mistake.
    // Where the photo could only not be reached, its results stay.
    if (before.length > 0 && result.fault.code.startsWith('image-') && (force || !state?.done)) {
      for (const file of before) await rm(join(out, file), { force: true });
      await journal.forget(name);
    }
    return { status: 'failed', reason: result.fault };
  }
  const names = result.files.map((file) => file.name);
  const standing = force ? undefined : await findChanged(result, { planned, run });
  if (standing) return { status: 'failed', reason: describeFault(sayStanding([standing])) };
  try {
    await writePiece(result, { planned, run, names });
  } catch (error) {
    // A name that this disk does not take is the fault of one piece; everything else that keeps a file from its place
    // is the folder's.
    if (error instanceof AppError && error.details.code === 'ENAMETOOLONG') {
      return { status: 'failed', reason: describeFault(error) };
    }
    throw error;
  }
  const smallProof = run.aside.put(result.smallProof);
  return { status: 'done', kept: false, ...tellMade(result.ticket), smallProof };
}

/** Lists kept, a count. Assumed: more than the kinds of pieces of an order have in turn. */
const LISTS_KEPT = 32;
const keepList = keepLatest<readonly unknown[]>(LISTS_KEPT);
/** One list for all pieces that have the same: each comes as a copy of its own from a thread, or from its ticket. */
const share = <Item>(list: readonly Item[]) => keepList(JSON.stringify(list), () => list) as readonly Item[];

function tellMade(ticket: Ticket): { readonly summary: PieceSummary; readonly cautions: readonly Caution[] } {
  const summary = summarisePiece(ticket);
  return { summary: { ...summary, warnings: share(summary.warnings) }, cautions: share(ticket.cautions) };
}

async function writePiece(
  result: Extract<PieceResult, { made: true }>,
  { planned, run, names }: { readonly planned: PlannedTask; readonly run: Run; readonly names: readonly string[] },
): Promise<void> {
  const { out, journal, keepStrip } = run;
  const { name } = planned.task;
  const before = journal.pieces.get(name)?.files ?? [];
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
}

/**
 * What a piece just made would replace that is not the same: the photo, or files of the name, came while the order ran.
 */
async function findChanged(
  result: Extract<PieceResult, { made: true }>,
  { planned, run }: { readonly planned: PlannedTask; readonly run: Run },
): Promise<Standing | undefined> {
  const { out, journal } = run;
  const { name } = planned.task;
  const state = journal.pieces.get(name);
  const own = new Set(state?.files);
  const foreign = await listThere(
    out,
    result.files.map((file) => file.name).filter((file) => !own.has(file)),
  );
  if (foreign.length > 0) return { because: 'foreign', name, files: foreign };
  if (!state?.done) return undefined;
  const { done } = state;
  if (done.photo !== result.photoSha256) return { because: 'photo', name, files: await listThere(out, state.files) };
  if (done.work !== UNKNOWN_WORK) return undefined;
  // The journal does not tell how it was made; the bytes do.
  const made = new Map(result.files.map((file) => [file.name, file.sha256]));
  const others = done.files.filter((file) => made.get(file.name) !== file.sha256).map((file) => file.name);
  const there = await listThere(out, others);
  return there.length > 0 ? { because: 'way', name, files: there } : undefined;
}

/**
 * Nothing is begun while something would be lost: files that this order has not made, pieces that were made of another
 * photo or in another way, another order. With `force` it is said what will be replaced.
 * @throws AppError result-exists
 */
async function protectStanding(pieces: readonly WantedPiece[], run: Run): Promise<void> {
  const { out, journal, force, warn, photos } = run;
  const wanted = pieces.flatMap((piece) => {
    if (!('spec' in piece.plan)) return [];
    const { work } = plan(piece, piece.plan.spec, run);
    return [
      { name: piece.name, files: filesOfPiece(piece.name, piece.plan.spec), work, photo: photos.get(piece.photoPath) },
    ];
  });
  const standing = await findStanding(out, {
    pieces: wanted,
    names: pieces.map(({ name }) => name),
    journal,
    sums: ORDER_FILES,
  });
  if (standing.length === 0) return;
  const said = sayStanding(standing);
  if (!force) throw said;
  warn(`${said.message}; it is replaced`);
}

/**
 * No photo of the order lies where a result will be, by whatever link.
 * @throws AppError result-is-input
 */
async function protectPhotos(pieces: readonly WantedPiece[], out: string): Promise<void> {
  for (const { photoPath } of pieces) rememberInput(photoPath);
  const results = pieces.flatMap(({ name, plan: planned }) =>
    'spec' in planned ? filesOfPiece(name, planned.spec) : [],
  );
  await refuseInputs([...results, ...ORDER_FILES, JOURNAL_FILE].map((file) => join(out, file)));
}

/** Of pieces that are made, what their photos hold now; a photo that is out of reach is left out. */
async function hashPhotos(pieces: readonly WantedPiece[], journal: Journal): Promise<ReadonlyMap<string, string>> {
  const hashes = new Map<string, string>();
  for (const { name, photoPath } of pieces) {
    if (!journal.pieces.get(name)?.done || hashes.has(photoPath)) continue;
    const hash = await hashFile(photoPath);
    if (hash !== undefined) hashes.set(photoPath, hash);
  }
  return hashes;
}

/** What a run that was stopped has left: half-written files, and a dead lock that was being put away. */
async function sweep(out: string): Promise<void> {
  await removeDeadParts(out);
  for (const file of await readdir(out)) {
    if (file.startsWith(`${LOCK_FILE}.`)) await rm(join(out, file), { force: true });
  }
}
