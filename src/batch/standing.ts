import { lstat, readFile } from 'node:fs/promises';
import { join } from 'node:path';
import { AppError } from '../errors.ts';
import { ORDER_SCHEMA, type OrderRecord } from '../job/index.ts';
import { parseJson } from '../json.ts';
import { type Journal, UNKNOWN_WORK } from './journal.ts';

/** What stands in the folder of an order and would be lost if the order were made. */
export interface Standing {
  /** Files that no order made; a piece of another photo; one made in another way; the sums of another order. */
  readonly because: 'foreign' | 'photo' | 'way' | 'order';
  /** Name of the piece; of the sums, of one piece of the other order. */
  readonly name: string;
  readonly files: readonly string[];
}

/** A piece as it is wanted now. */
export interface StandingPiece {
  readonly name: string;
  readonly files: readonly string[];
  readonly work: string;
  /** Hash of its photo; undefined where it cannot be read, or nothing is made of it yet. */
  readonly photo: string | undefined;
}

/**
 * Finds what making `pieces` would replace. The order in the folder is the same one as long as a piece that is made
 * bears the name of one that is wanted: lists grow and shrink, but nothing in common means another customer.
 */
export async function findStanding(
  out: string,
  {
    pieces,
    names,
    journal,
    sums,
  }: {
    readonly pieces: readonly StandingPiece[];
    /** Of all pieces of the order, those that cannot be made included. */
    readonly names: readonly string[];
    readonly journal: Journal;
    readonly sums: readonly string[];
  },
): Promise<readonly Standing[]> {
  const standing: Standing[] = [];
  for (const { name, files, work, photo } of pieces) {
    const state = journal.pieces.get(name);
    const own = new Set(state?.files);
    const foreign = await listThere(
      out,
      files.filter((file) => !own.has(file)),
    );
    if (foreign.length > 0) standing.push({ because: 'foreign', name, files: foreign });
    const done = state?.done;
    if (!done || photo === undefined) continue;
    const because =
      done.photo !== photo ? 'photo' : done.work !== work && done.work !== UNKNOWN_WORK ? 'way' : undefined;
    if (!because) continue;
    const there = await listThere(out, state.files);
    if (there.length > 0) standing.push({ because, name, files: there });
  }
  const made = [...journal.pieces].filter(([, { done }]) => done);
  if (made.length === 0) {
    const foreign = await listForeignSums(out, sums);
    if (foreign.length > 0) standing.push({ because: 'foreign', name: '', files: foreign });
  } else if (!made.some(([name]) => names.includes(name))) {
    const there = await listThere(out, [...sums, ...made.flatMap(([, { files }]) => files)]);
    const lost = there.filter((file) => sums.includes(file));
    if (there.length > 0) standing.push({ because: 'order', name: made[0]![0], files: lost });
  }
  return standing;
}

/** Sums without a piece that a journal knows: an order's own only where it says that nothing could be made. */
async function listForeignSums(out: string, sums: readonly string[]): Promise<readonly string[]> {
  const there = await listThere(out, sums);
  if (there.length === 0) return [];
  try {
    const { schema, totals } = parseJson(await readFile(join(out, sums[0]!), 'utf8')) as OrderRecord;
    return schema === ORDER_SCHEMA && totals.done === 0 ? [] : there;
  } catch {
    return there;
  }
}

/** Those of the files that are in the folder. */
export async function listThere(out: string, files: readonly string[]): Promise<readonly string[]> {
  const there: string[] = [];
  for (const file of new Set(files)) if (await lstat(join(out, file)).catch(() => undefined)) there.push(file);
  return there;
}

/** What stands in the way, in words that say what it is. */
export function sayStanding(standing: readonly Standing[]): AppError {
  const listed = (items: readonly string[]) =>
    items.slice(0, 3).join(', ') + (items.length > 3 ? ` and ${items.length - 3} more` : '');
  const filesOf = (because: Standing['because']) =>
    listed(standing.filter((one) => one.because === because).flatMap(({ files }) => files));
  const namesOf = (because: Standing['because']) =>
    listed(standing.filter((one) => one.because === because).map(({ name }) => name));
  const words: Readonly<Record<Standing['because'], () => string>> = {
    order: () => `the results of another order (${namesOf('order')} …)`,
    photo: () => `${namesOf('photo')} made already of another photo of that name`,
    way: () => `${namesOf('way')} made already with other settings, profile, machine or version`,
    foreign: () => `${filesOf('foreign')} already there and not made by this order`,
  };
  const kinds = (['order', 'photo', 'way', 'foreign'] as const).filter((kind) =>
    standing.some(({ because }) => because === kind),
  );
  return new AppError(
    'result-exists',
    `found ${kinds.map((kind) => words[kind]()).join('; ')}, needed a folder of its own for each order`,
    {
      files: standing.flatMap(({ files }) => files),
      pieces: standing.map(({ name }) => name).filter((name) => name !== ''),
    },
  );
}
