import { existsSync } from 'node:fs';
import { basename, dirname, join, resolve } from 'node:path';
import * as v from 'valibot';
import { AppError } from '../errors.ts';
import { parseJobTicket, parseOrderForPlates, quoteCell } from '../job/index.ts';
import { readJson, type Shop } from '../material/index.ts';
import type { Notice } from '../notices.ts';
import { readInput, sha256, sniffFormat, writeFilesAtomic } from '../plane/index.ts';
import { SETTINGS_FIELDS, wholeWithin, within } from '../quantities.ts';
import { parseRecord } from '../schema.ts';
import type { TaskContext } from './context.ts';
import { listRecords } from './listing.ts';
import { nameOfTitle } from './names.ts';

const text = v.pipe(v.string(), v.nonEmpty());
const hash = v.pipe(v.string(), v.regex(/^[0-9a-f]{64}$/, 'a SHA-256 in hexadecimal digits'));
const count = wholeWithin(0, 1e6);

const BURNED = v.strictObject({
  schema: v.literal('tonewright-burned/1'),
  /** Day of the burn. */
  date: v.pipe(v.string(), v.isoDate('a date such as 2026-03-31')),
  name: text,
  /** Path of the ticket as it was given, and what it is a ticket of. */
  ticket: v.strictObject({ path: text, sha256: hash }),
  photo: v.strictObject({ file: text, sha256: hash, path: v.exactOptional(text) }),
  bitmapSha256: hash,
  machine: text,
  material: text,
  profile: v.strictObject({ name: text, sha256: hash }),
  settings: v.strictObject(SETTINGS_FIELDS),
  /** Good pieces, and pieces that were spoiled. */
  count,
  scrap: count,
  /** Machine time of one, s, as foretold. */
  secondsEach: within(0, 1e8, 's'),
  /** Price of one, whole coins of the currency; absent where the ticket has none. */
  price: v.exactOptional(v.strictObject({ eachMinor: v.number(), currency: text, minorDigits: wholeWithin(0, 6) })),
  note: v.exactOptional(text),
  /** File of a picture of the piece, in `burned/pictures` of the shop folder. */
  picture: v.exactOptional(v.pipe(v.string(), v.regex(/^[^/\\]+$/, 'the name of a file'))),
  version: text,
});

/** What was burned when, with what, and how it came out. */
export type BurnedEntry = Readonly<v.InferOutput<typeof BURNED>>;

/** What the record takes of a ticket, beside what a plate takes. */
const TICKET = v.object({
  version: text,
  photo: v.object({ file: text, sha256: hash }),
  price: v.exactOptional(v.object({ grossMinor: v.number(), currency: text, minorDigits: wholeWithin(0, 6) })),
});

export interface RecordBurnRequest {
  /** Path of the ticket. */
  readonly ticket: string;
  /** Good pieces; one when absent. */
  readonly count?: number;
  /** Spoiled pieces; none when absent. */
  readonly scrap?: number;
  readonly note?: string;
  /** Path of a picture of the burned piece. */
  readonly picture?: string;
  /** Where the photo lies, for making the job again; looked for beside the ticket when absent. */
  readonly photo?: string;
  /** Day of the burn, ISO; today when absent. */
  readonly date?: string;
}

export interface RecordedBurn {
  readonly entry: BurnedEntry;
  readonly path: string;
}

/** Largest number of entries of one job and day, a count. Assumed: nobody burns one job so often. */
const MOST_ENTRIES = 10_000;

/**
 * Keeps what was burned in the shop folder: one file an entry, there whole or not at all.
 * @throws AppError path-missing without a shop folder; path-*, file-invalid of the ticket; option-invalid
 */
export async function recordBurn(
  request: RecordBurnRequest,
  { shop, clock }: Pick<TaskContext, 'shop' | 'clock'>,
): Promise<RecordedBurn> {
  if (shop.shopDir === undefined) {
    throw new AppError('path-missing', 'found no shop folder, needed one to keep what was burned in');
  }
  const { count: good = 1, scrap = 0, note, picture, date = clock.today() } = request;
  if (good + scrap === 0) {
    throw new AppError('option-invalid', 'count: found 0 pieces and none spoiled, needed at least one of them', {
      options: ['count', 'scrap'],
    });
  }
  if (!v.is(BURNED.entries.date, date)) {
    throw new AppError('option-invalid', `date: found "${date}", needed a day such as 2026-03-31`);
  }
  const ticket = await readBurnedTicket(request.ticket, request.photo);
  const shown = picture === undefined ? undefined : await readPicture(picture);
  const slug = nameOfTitle(ticket.name) ?? 'piece';
  for (let at = 1; at <= MOST_ENTRIES; at++) {
    const stem = `${date}-${slug}-${at}`;
    if (shop.list('burned').some(({ name }) => name === stem)) continue;
    const kept = shown && `${stem}.${shown.ending}`;
    if (kept !== undefined) {
      // The picture first: an entry never names one that is not there.
      await writeFilesAtomic([{ path: join(shop.shopDir, 'burned', 'pictures', kept), bytes: shown!.bytes }], {
        force: true,
        durable: true,
      });
    }
    const entry: BurnedEntry = {
      schema: 'tonewright-burned/1',
      date,
      ...ticket,
      count: good,
      scrap,
      ...(note?.trim() ? { note: note.trim() } : {}),
      ...(kept === undefined ? {} : { picture: kept }),
      version: ticket.version,
    };
    try {
      return { entry, path: await shop.write('burned', stem, entry, { durable: true }) };
    } catch (error) {
      // Another window wrote one of this name meanwhile.
      if (!(error instanceof AppError) || error.code !== 'result-exists') throw error;
    }
  }
  throw new AppError('option-invalid', `${ticket.name}: found ${MOST_ENTRIES} entries of ${date}, needed fewer`);
}

/** @throws AppError path-*; image-unknown for what is no picture */
async function readPicture(path: string): Promise<{ readonly bytes: Uint8Array; readonly ending: string }> {
  const bytes = await readInput(path, { kind: 'picture', needed: 'a picture' });
  const { format, found } = sniffFormat(bytes);
  if (format === undefined) {
    throw new AppError('image-unknown', `${path}: found ${found}, needed a picture of the piece`, { found });
  }
  return { bytes, ending: format === 'jpeg' ? 'jpg' : format };
}

type TicketFacts = Omit<BurnedEntry, 'schema' | 'date' | 'count' | 'scrap' | 'note' | 'picture'>;

async function readBurnedTicket(path: string, known: string | undefined): Promise<TicketFacts> {
  const json = readJson(path);
  const job = parseJobTicket(json, path, { isAlone: false });
  const { photo, price, version } = parseRecord(TICKET, { json, what: `ticket ${path}` });
  const beside = await findSame(known ?? join(dirname(path), photo.file), photo.sha256);
  const each = priceOfOrder(path, job.name) ?? (price && { eachMinor: price.grossMinor, ...price });
  return {
    name: job.name,
    ticket: { path: resolve(path), sha256: sha256(JSON.stringify(json)) },
    photo: { ...photo, ...(beside === undefined ? {} : { path: beside }) },
    bitmapSha256: job.bitmap.sha256,
    machine: job.machine.name,
    material: job.material.name,
    profile: { name: job.profile.name, sha256: job.profile.sha256 },
    settings: job.settings,
    secondsEach: job.time.seconds,
    ...(each ? { price: { eachMinor: each.eachMinor, currency: each.currency, minorDigits: each.minorDigits } } : {}),
    version,
  };
}

/** The whole path of a file that has these bytes; undefined where it is not there, or another one. */
async function findSame(path: string, hashOfBytes: string): Promise<string | undefined> {
  if (!existsSync(path)) return undefined;
  const bytes = await readInput(path, { kind: 'picture', needed: 'a photo' });
  return sha256(bytes) === hashOfBytes ? resolve(path) : undefined;
}

/** What one of a piece costs within its order, where the order lies beside the ticket. */
function priceOfOrder(path: string, name: string): BurnedEntry['price'] {
  const order = join(dirname(path), 'order.json');
  if (!existsSync(order)) return undefined;
  const { jobs } = parseOrderForPlates(readJson(order), order);
  const job = jobs.find((one) => one.name === name);
  if (!job?.price) return undefined;
  const { amountMinor, currency, minorDigits } = job.price;
  return { eachMinor: Math.round(amountMinor / job.count), currency, minorDigits };
}

/** An entry with the name of its record in the shop folder. */
export type ListedBurn = BurnedEntry & { readonly id: string };

export interface BurnedList {
  /** Oldest first. */
  readonly entries: readonly ListedBurn[];
  /** Entries that cannot be read. */
  readonly notices: readonly Notice[];
  readonly totals: {
    readonly count: number;
    readonly scrap: number;
    /** Machine time of all that was burned, spoiled pieces too, s. */
    readonly seconds: number;
    /** Of the good pieces, by currency, whole coins. */
    readonly money: readonly {
      readonly currency: string;
      readonly amountMinor: number;
      readonly minorDigits: number;
    }[];
  };
}

const MONTH = /^\d{4}-(0[1-9]|1[0-2])$/;

/**
 * What was burned, all of it or in one month such as 2026-11.
 * @throws AppError option-invalid
 */
export function listBurned(shop: Shop, { month }: { readonly month?: string | undefined } = {}): BurnedList {
  if (month !== undefined && !MONTH.test(month)) {
    throw new AppError('option-invalid', `month: found "${month}", needed a month such as 2026-11`);
  }
  const { records, notices } = listRecords(shop, {
    kind: 'burned',
    read: (name) => {
      const { json, path } = shop.read('burned', name);
      return parseRecord(BURNED, { json, what: `record ${path}` });
    },
  });
  const entries = records
    .map(({ name: id, value }) => ({ id, ...value }))
    .filter(({ date }) => month === undefined || date.startsWith(month))
    .sort((a, b) => (a.date < b.date ? -1 : a.date > b.date ? 1 : 0));
  return { entries, notices, totals: sumBurned(entries) };
}

function sumBurned(entries: readonly BurnedEntry[]): BurnedList['totals'] {
  const money = new Map<string, BurnedList['totals']['money'][number]>();
  for (const { price, count: good } of entries) {
    if (!price) continue;
    const { currency, minorDigits } = price;
    const amountMinor = (money.get(currency)?.amountMinor ?? 0) + price.eachMinor * good;
    money.set(currency, { currency, amountMinor, minorDigits });
  }
  const sum = (read: (entry: BurnedEntry) => number) => entries.reduce((total, entry) => total + read(entry), 0);
  return {
    count: sum((entry) => entry.count),
    scrap: sum((entry) => entry.scrap),
    seconds: sum((entry) => entry.secondsEach * (entry.count + entry.scrap)),
    money: [...money.values()],
  };
}

const COLUMNS = [
  ...['date', 'name', 'machine', 'material', 'profile', 'count', 'scrap', 'seconds_each', 'seconds'],
  ...['currency', 'price_each', 'price', 'note', 'photo', 'ticket'],
];

/** What was burned as a table for a spreadsheet: RFC 4180, one line an entry, plain numbers with a decimal point. */
export function renderBurnedCsv(entries: readonly BurnedEntry[]): string {
  const coins = (minor: number, digits: number) => (minor / 10 ** digits).toFixed(digits);
  const rows = entries.map((entry) => [
    ...[entry.date, entry.name, entry.machine, entry.material, entry.profile.name, entry.count, entry.scrap],
    Number(entry.secondsEach.toFixed(2)),
    Number((entry.secondsEach * (entry.count + entry.scrap)).toFixed(2)),
    entry.price?.currency ?? '',
    entry.price ? Number(coins(entry.price.eachMinor, entry.price.minorDigits)) : '',
    entry.price ? Number(coins(entry.price.eachMinor * entry.count, entry.price.minorDigits)) : '',
    entry.note ?? '',
    entry.photo.file,
    basename(entry.ticket.path),
  ]);
  return [COLUMNS, ...rows].map((cells) => `${cells.map(quoteCell).join(',')}\r\n`).join('');
}

/** Writes a month's table. @throws AppError result-exists, path-* */
export async function writeBurnedCsv(path: string, list: BurnedList, { force = false } = {}): Promise<void> {
  await writeFilesAtomic([{ path, bytes: renderBurnedCsv(list.entries) }], { force });
}

export interface BurnedCount {
  readonly count: number;
  readonly scrap: number;
}

/**
 * How many of each bitmap of a folder were burned, by its SHA-256: by the dots, since a piece may have been made anew
 * under its name, and by the folder, since the same photo may come again in another order.
 */
export function countBurned(shop: Shop, folder: string): ReadonlyMap<string, BurnedCount> {
  const counts = new Map<string, BurnedCount>();
  for (const { bitmapSha256, count: good, scrap, ticket } of listBurned(shop).entries) {
    if (dirname(ticket.path) !== resolve(folder)) continue;
    const known = counts.get(bitmapSha256) ?? { count: 0, scrap: 0 };
    counts.set(bitmapSha256, { count: known.count + good, scrap: known.scrap + scrap });
  }
  return counts;
}
