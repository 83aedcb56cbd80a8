import { rm } from 'node:fs/promises';
import * as v from 'valibot';
import { findCloseNames } from '../close-names.ts';
import { AppError } from '../errors.ts';
import { listRested, type RestedRecord, readRested } from '../job/index.ts';
import { readJson, type Shop } from '../material/index.ts';
import { type KnownNotice, NOTICES, type NoticeCode, RESTABLE } from '../notices.ts';
import { explainWriteError } from '../plane/index.ts';
import { parseRecord } from '../schema.ts';
import type { TaskContext } from './context.ts';

/** What a ticket tells of its notices. */
const TICKET = v.object({
  warned: v.optional(
    v.array(v.object({ code: v.string(), cause: v.exactOptional(v.string()), figure: v.exactOptional(v.number()) })),
  ),
});

export interface RestRequest {
  readonly code: string;
  /** Only what was seen: on this ticket. Without one it rests whatever it is about and however large. */
  readonly ticket?: string;
  /** Or what a face has seen itself. */
  readonly seen?: Omit<KnownNotice, 'code'>;
  readonly note?: string;
}

/** One notice that may rest, and how it stands in this shop. */
export interface RestableNotice {
  readonly code: NoticeCode;
  readonly title: string;
  readonly rested: RestedRecord | null;
}

/** All notices that may rest: those at rest first. @throws AppError path-*, file-invalid */
export function listRestable(shop: Shop): readonly RestableNotice[] {
  const rested = listRested(shop);
  return (Object.keys(RESTABLE) as NoticeCode[])
    .map((code) => ({
      code,
      title: RESTABLE[code]!.title,
      rested: rested.find((one) => one.code === code) ?? null,
    }))
    .sort((a, b) => Number(b.rested !== null) - Number(a.rested !== null));
}

/**
 * Puts a notice to rest in this shop: it no longer speaks on tickets, until it is about something else than what was
 * accepted, or half as large again.
 * @throws AppError option-invalid for what must always be said, and for a ticket without such a notice; name-unknown;
 * path-missing without a shop folder; path-*, file-invalid
 */
export async function restNotice(
  { code: asked, ticket, seen, note }: RestRequest,
  { shop, clock }: Pick<TaskContext, 'shop' | 'clock'>,
): Promise<{ readonly record: RestedRecord; readonly path: string }> {
  const code = findRestable(asked);
  const facts = ticket === undefined ? seen : readWarned(ticket, code);
  const before = listRested(shop).find((one) => one.code === code);
  const causes = joinCauses(before, facts);
  const figure = joinFigures(before, facts);
  const record: RestedRecord = {
    schema: 'tonewright-rested/1',
    code,
    ...(causes ? { causes } : {}),
    ...(figure === undefined ? {} : { figure }),
    date: clock.today(),
    ...(note?.trim() ? { note: note.trim() } : {}),
  };
  return { record, path: await shop.write('rested', code, record, { force: true, durable: true }) };
}

/** Lets a notice speak again. @throws AppError name-unknown where it is not at rest; path-* */
export async function wakeNotice(asked: string, { shop }: Pick<TaskContext, 'shop'>): Promise<RestedRecord> {
  const code = findRestable(asked);
  const record = readRested(code, shop);
  const { path } = shop.read('rested', code);
  try {
    await rm(path);
  } catch (error) {
    throw explainWriteError(error, path);
  }
  return record;
}

/** @throws AppError name-unknown; option-invalid for what must always be said */
function findRestable(asked: string): NoticeCode {
  const code = asked.trim().toLowerCase();
  if (Object.hasOwn(RESTABLE, code)) return code as NoticeCode;
  if (Object.hasOwn(NOTICES, code)) {
    throw new AppError('option-invalid', `found ${code}, which always speaks: it warns of harm or of a wrong reading`);
  }
  const close = findCloseNames(code, Object.keys(RESTABLE));
  const offered = close.length > 0 ? `did you mean ${close.join(', ')}?` : 'see warning list';
  throw new AppError('name-unknown', `found no warning "${asked}"; ${offered}`, { asked, close });
}

function readWarned(path: string, code: NoticeCode): Omit<KnownNotice, 'code'> {
  const { warned = [] } = parseRecord(TICKET, { json: readJson(path), what: `ticket ${path}` });
  const found = warned.filter((one) => one.code === code);
  const [first] = found;
  if (!first) {
    const codes = warned.map((one) => one.code).join(', ');
    throw new AppError(
      'option-invalid',
      `ticket ${path}: found ${codes || 'no warning'}, needed ${code} on the ticket`,
    );
  }
  return first;
}

/** Nothing that was accepted speaks again by accepting more. */
function joinCauses(before: RestedRecord | undefined, facts: RestRequest['seen']): readonly string[] | undefined {
  if (facts?.cause === undefined || (before && before.causes === undefined)) return undefined;
  return [...new Set([...(before?.causes ?? []), facts.cause])];
}

function joinFigures(before: RestedRecord | undefined, facts: RestRequest['seen']): number | undefined {
  if (facts?.figure === undefined || (before && before.figure === undefined)) return undefined;
  return Math.max(before?.figure ?? 0, facts.figure);
}
