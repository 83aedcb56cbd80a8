import * as v from 'valibot';
import type { Shop } from '../../material/index.ts';
import { type NoticeCode, RESTABLE, type RestedNotice } from '../../notices.ts';
import { parseRecord } from '../../schema.ts';

const text = v.pipe(v.string(), v.nonEmpty());

const RESTED = v.strictObject({
  schema: v.literal('tonewright-rested/1'),
  code: v.pipe(
    v.string(),
    v.check((code) => Object.hasOwn(RESTABLE, code), 'the code of a notice that may rest'),
  ),
  /** What it may be about; anything when absent. */
  causes: v.exactOptional(v.pipe(v.array(text), v.minLength(1))),
  /** How large it was at most when it was accepted; any size when absent. */
  figure: v.exactOptional(v.pipe(v.number(), v.minValue(0))),
  date: v.pipe(v.string(), v.isoDate('a date such as 2026-03-31')),
  note: v.exactOptional(text),
});

/** One notice that a shop has put to rest, since when and why. */
export interface RestedRecord extends RestedNotice {
  readonly schema: 'tonewright-rested/1';
  readonly date: string;
  readonly note?: string;
}

/** @throws AppError name-unknown where it speaks; path-*, file-invalid */
export function readRested(code: string, shop: Shop): RestedRecord {
  const { json, path } = shop.read('rested', code);
  const found = parseRecord(RESTED, { json, what: `notice at rest ${path}` });
  return { ...found, code: found.code as NoticeCode };
}

/** All that a shop has put to rest. @throws AppError path-*, file-invalid */
export function listRested(shop: Shop): readonly RestedRecord[] {
  return shop.list('rested').map(({ name }) => readRested(name, shop));
}
