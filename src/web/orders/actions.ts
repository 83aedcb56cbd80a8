import { existsSync } from 'node:fs';
import { copyFile, readFile, rename, rm } from 'node:fs/promises';
import { basename, extname, join, parse } from 'node:path';
import * as v from 'valibot';
import { AppError } from '../../errors.ts';
import { parseOrderList, type TaskContext, writeFilesAtomic } from '../../tasks/index.ts';
import { photoSettingsOf } from '../piece-settings.ts';
import type { OrderAhead, OrderView, PhotoSettings, ReadListView } from '../protocol.ts';
import { sayYes } from '../server-agreed.ts';
import type { EventHub } from '../server-events.ts';
import { tidyFileName } from '../server-files.ts';
import { nameIncoming } from '../server-incoming.ts';
import { parsePieceSettings, parseWith } from '../server-photo-settings.ts';
import { MAX_PIXELS, type Subject } from '../server-previews.ts';
import type { Work } from '../server-work.ts';
import { zipFiles } from '../server-zip.ts';
import { applyList, changeByHand, createPiece, type KeptPiece, LIST } from './lines.ts';
import { markFaults, type OrderContext, quoteAhead, startRun } from './make.ts';
import { assertSums, isWanted, listResults, outdate, sortPieces, sumsKey, viewOf } from './status.ts';
import { changePiece, findOrder, findPiece, folderOf, type OrderStore, openOrderStore, saveOrder } from './store.ts';
import type { StoredOrder } from './types.ts';

/**
 * Most photos of an order on the page, a count. Assumed: a list of more is not looked through; the command takes any
 * number.
 */
const MOST_PIECES = 2000;

const lengthMm = v.pipe(v.number(), v.minValue(1), v.maxValue(2000));
const PIECE_REQUEST = v.strictObject({
  count: v.exactOptional(v.pipe(v.number(), v.integer(), v.minValue(1), v.maxValue(100_000))),
  text: v.exactOptional(v.pipe(v.string(), v.maxLength(500))),
  excluded: v.exactOptional(v.boolean()),
  own: v.exactOptional(v.unknown()),
});

const PLATES_REQUEST = v.strictObject({
  grid: v.exactOptional(
    v.strictObject({
      columns: v.pipe(v.number(), v.integer(), v.minValue(1), v.maxValue(100)),
      rows: v.pipe(v.number(), v.integer(), v.minValue(1), v.maxValue(100)),
      widthMm: lengthMm,
      heightMm: lengthMm,
    }),
  ),
});

/** The orders of a shop folder and the runs that make them: what every action is handed. */
export interface Orders extends OrderContext {
  readonly pool: Work;
}

export interface OrdersOptions {
  readonly context: TaskContext;
  readonly shopDir: string;
  readonly work: Work;
  readonly events: EventHub;
}

/** Reads the orders of a shop folder; those that were being made when the last server ended go on. */
export async function openOrders({ context, shopDir, work, events }: OrdersOptions): Promise<Orders> {
  const store = await openOrderStore(shopDir, events);
  const orders: Orders = { store, context, pool: work, runs: new Map(), closing: false };
  for (const order of store.orders.values()) if (order.running) startRun(orders, order);
  events.listen((event) => {
    if (event.type !== 'shop' || event.profile === undefined) return;
    for (const { replaced } of orders.runs.values()) replaced.add(event.profile);
    for (const order of store.orders.values()) {
      if (outdate(order, event.profile)) void saveOrder(store, order).catch(() => undefined);
    }
  });
  return orders;
}

/** Ends what is being made; what is done is kept. */
export async function closeOrders(orders: Orders): Promise<void> {
  orders.closing = true;
  for (const { stop } of orders.runs.values()) stop.abort();
  await Promise.all([...orders.runs.values()].map(({ done }) => done));
}

export function listOrders({ store }: Orders): readonly OrderView[] {
  return [...store.orders.values()].map(viewOf).sort((a, b) => (a.changed < b.changed ? 1 : -1));
}

/** A new place for a photo that is being received. @throws AppError name-unknown */
export function nameIncomingPhoto({ store }: Orders, id: string): string {
  return nameIncoming(folderOf(store, findOrder(store, id).id, '.incoming'));
}

/**
 * Takes over a received photo: a piece of its own, or what the pieces of that name were waiting for.
 * @throws AppError name-unknown; option-invalid for too many; path-*, image-*
 */
export async function addPhoto(orders: Orders, id: string, received: { path: string; fileName: string }) {
  const { store, pool } = orders;
  const { path, fileName } = received;
  const order = findOrder(store, id);
  try {
    if (order.pieces.length >= MOST_PIECES) {
      throw new AppError('option-invalid', `found ${MOST_PIECES} photos in this order, needed another order`);
    }
    const wanted = tidyFileName(fileName);
    const found = await pool.run('photos', 'viewPhoto', { path, name: wanted, maxPixels: MAX_PIXELS });
    const { photo, arrived, others } = placePhoto(order, wanted, found);
    order.pieces = sortPieces([...others, ...arrived]);
    await rename(path, folderOf(store, id, 'in', photo));
    for (const piece of arrived) {
      await writeFilesAtomic([{ path: folderOf(store, id, 'views', `${piece.id}.jpg`), bytes: found.view }]);
    }
    markFaults(orders, order, arrived);
    return await saveOrder(store, order);
  } catch (error) {
    await rm(path, { force: true });
    throw error;
  }
}

/** Lines of a list may have waited for a photo of this name; else it is a piece more, under a name that is free. */
function placePhoto(
  order: StoredOrder,
  wanted: string,
  { width, height }: { readonly width: number; readonly height: number },
): { readonly photo: string; readonly arrived: readonly KeptPiece[]; readonly others: readonly KeptPiece[] } {
  const awaited = order.pieces.filter((piece) => piece.missing && piece.photo === wanted);
  if (awaited.length > 0) {
    const arrived = awaited.map((piece) => {
      return { ...piece, width, height, missing: false, status: 'waiting' as const, reason: null };
    });
    return { photo: wanted, arrived, others: order.pieces.filter((piece) => !awaited.includes(piece)) };
  }
  const photo = freeName(
    wanted,
    order.pieces.map((piece) => piece.photo),
  );
  return { photo, arrived: [createPiece(photo, { width, height })], others: order.pieces };
}

/**
 * Lines of a list: photos by name, with what each wants differently. All of it is taken, or nothing.
 * @throws AppError name-unknown; file-invalid for a text that is no list; option-invalid for too many pieces
 */
export async function addList(orders: Orders, id: string, bytes: Uint8Array): Promise<ReadListView> {
  const { store } = orders;
  const order = findOrder(store, id);
  const { rows, notes } = parseOrderList(bytes, LIST);
  const pieces = applyList(order.pieces, rows);
  refuseMore(pieces.length);
  const known = new Set(order.pieces.map((piece) => piece.id));
  const view = (piece: KeptPiece) => folderOf(store, id, 'views', `${piece.id}.jpg`);
  for (const piece of pieces) {
    if (known.has(piece.id) || piece.missing) continue;
    const same = order.pieces.find(({ photo }) => photo === piece.photo);
    if (same) await copyFile(view(same), view(piece));
  }
  order.pieces = sortPieces(pieces);
  markFaults(
    orders,
    order,
    pieces.filter(({ line }) => line),
  );
  return { ...(await saveOrder(store, order)), notes: notes.map(({ text }) => text) };
}

function refuseMore(count: number): void {
  if (count <= MOST_PIECES) return;
  throw new AppError('option-invalid', `found ${count} pieces, needed at most ${MOST_PIECES} in an order`);
}

/** What is asked of every piece that asks for nothing else. @throws AppError name-unknown */
export async function setPhotoSettings({ store }: Orders, id: string, wish: PhotoSettings): Promise<OrderView> {
  const order = findOrder(store, id);
  if (JSON.stringify(order.wish) === JSON.stringify(wish)) return viewOf(order);
  order.wish = wish;
  return saveOrder(store, order);
}

/** @throws AppError name-unknown, option-invalid naming the field */
export async function setPiece({ store }: Orders, id: string, pieceId: string, json: unknown): Promise<OrderView> {
  const order = findOrder(store, id);
  const { own, ...rest } = parseWith(PIECE_REQUEST, json);
  const asked = { ...rest, ...(own === undefined ? {} : { own: parsePieceSettings(own) }) } as Parameters<
    typeof changeByHand
  >[1];
  changePiece(order, pieceId, changeByHand(findPiece(order, pieceId), asked));
  return saveOrder(store, order);
}

/**
 * Its customer likes a piece as it was shown; null takes the yes back.
 * @throws AppError name-unknown; option-invalid when something else is wished by now
 */
export async function agreeToPiece(
  { store }: Orders,
  { id, piece }: { readonly id: string; readonly piece: string },
  shown: PhotoSettings | null,
): Promise<OrderView> {
  const order = findOrder(store, id);
  const { own } = findPiece(order, piece);
  changePiece(order, piece, { yes: shown && sayYes(shown, photoSettingsOf(order.wish, own)) });
  return saveOrder(store, order);
}

/** Whether it makes only what is agreed, and the day on which it will be ready. @throws AppError name-unknown */
export async function setOrder(
  { store }: Orders,
  id: string,
  next: Partial<Pick<StoredOrder, 'onlyAgreed' | 'ready'>>,
): Promise<OrderView> {
  const order = Object.assign(findOrder(store, id), next);
  return saveOrder(store, order);
}

/**
 * The photo of a piece once more, as another piece that asks for the same until it is changed: one photo in many sizes.
 * @throws AppError name-unknown; option-invalid for too many, and for a photo that is not there yet
 */
export async function copyPiece({ store }: Orders, id: string, pieceId: string): Promise<OrderView> {
  const order = findOrder(store, id);
  const { photo, width, height, missing, own, text } = findPiece(order, pieceId);
  if (missing) throw new AppError('option-invalid', `found no photo "${photo}" in this order yet, needed it first`);
  refuseMore(order.pieces.length + 1);
  const copy = { ...createPiece(photo, { width, height }), own, text };
  await copyFile(folderOf(store, id, 'views', `${pieceId}.jpg`), folderOf(store, id, 'views', `${copy.id}.jpg`));
  const at = order.pieces.findIndex((piece) => piece.id === pieceId) + 1;
  order.pieces = sortPieces([...order.pieces.slice(0, at), copy, ...order.pieces.slice(at)]);
  return saveOrder(store, order);
}

/**
 * Takes a piece away whose photo another one shows, too: of a photo the last one is left out instead.
 * @throws AppError name-unknown; option-invalid for the last one, and while the order is made
 */
export async function removePiece({ store }: Orders, id: string, pieceId: string): Promise<OrderView> {
  const order = findOrder(store, id);
  const { photo } = findPiece(order, pieceId);
  if (order.running) throw new AppError('option-invalid', 'found the order being made, needed it at rest');
  if (order.pieces.filter((piece) => piece.photo === photo).length < 2) {
    throw new AppError('option-invalid', `found the last piece of ${photo}, needed another one; leave it out instead`);
  }
  order.pieces = order.pieces.filter((piece) => piece.id !== pieceId);
  await rm(folderOf(store, id, 'views', `${pieceId}.jpg`), { force: true });
  return saveOrder(store, order);
}

const AHEAD_REQUEST = v.strictObject({ seconds: v.record(v.string(), v.pipe(v.number(), v.minValue(0))) });

/** What the order would take and cost, of the pieces whose times are known. @throws AppError name-unknown */
export function quoteOrder(orders: Orders, id: string, json: unknown): OrderAhead {
  return quoteAhead(orders, findOrder(orders.store, id), parseWith(AHEAD_REQUEST, json).seconds);
}

/** Makes what is not made as it is asked. @throws AppError name-unknown; option-invalid without a piece to make */
export async function runOrder(orders: Orders, id: string): Promise<OrderView> {
  const order = findOrder(orders.store, id);
  if (order.running) return viewOf(order);
  if (!order.pieces.some((piece) => isWanted(order, piece))) {
    const isOpen = order.onlyAgreed && order.pieces.some(({ excluded }) => !excluded);
    const why = isOpen ? 'found no piece that is agreed as it is now' : 'found no photo to make';
    throw new AppError('option-invalid', `${why}, needed at least one`);
  }
  startRun(orders, order);
  return saveOrder(orders.store, order);
}

/** Pieces that are being made are finished first. @throws AppError name-unknown */
export function stopOrder({ store, runs }: Orders, id: string): OrderView {
  const order = findOrder(store, id);
  runs.get(id)?.stop.abort();
  return viewOf(order);
}

/** Lays out what is made. @throws AppError name-unknown, option-invalid; those of `layPlates` */
export async function layPlates({ store, pool }: Orders, id: string, json: unknown): Promise<OrderView> {
  const order = findOrder(store, id);
  assertSums(order);
  const key = sumsKey(order);
  const { grid } = parseWith(PLATES_REQUEST, json);
  const laid = await pool.run('files', 'layPlates', {
    done: folderOf(store, id, 'out'),
    photos: folderOf(store, id, 'in'),
    out: folderOf(store, id, 'plates'),
    ...(grid ? { grid } : {}),
  });
  order.plates = laid.plates;
  order.plateNotes = laid.notes;
  order.plateFiles = laid.files;
  order.platesOf = key;
  return saveOrder(store, order);
}

/** Takes an order away with all that is in its folder. @throws AppError name-unknown */
export async function removeOrder({ store, runs }: Orders, id: string): Promise<void> {
  findOrder(store, id);
  const run = runs.get(id);
  run?.stop.abort();
  store.orders.delete(id);
  await run?.done;
  await store.saves.settle(id);
  await rm(folderOf(store, id), { recursive: true, force: true });
  store.events.send({ type: 'order-gone', id });
}

/** The photo of a piece, to look at. @throws AppError name-unknown */
export function subjectOfPiece({ store }: Orders, id: string, pieceId: string): Subject {
  const { id: piece, photo } = findPiece(findOrder(store, id), pieceId);
  const folder = folderOf(store, id, 'in');
  return { key: `${id}/${piece}`, path: join(folder, photo), folder, file: photo, name: parse(photo).name };
}

/** JPEG of a piece's whole photo, small. @throws AppError name-unknown */
export async function readPieceView({ store }: Orders, id: string, pieceId: string): Promise<Uint8Array> {
  const piece = findPiece(findOrder(store, id), pieceId);
  return readFile(folderOf(store, id, 'views', `${piece.id}.jpg`));
}

/** @throws AppError name-unknown for what is none of its results */
export async function readResult({ store }: Orders, id: string, name: string): Promise<Uint8Array> {
  if (!listResults(findOrder(store, id)).includes(name)) throw unknownFile();
  return readFile(folderOf(store, id, 'out', name));
}

/** @throws AppError name-unknown for what is none of its plates' files */
export async function readPlateFile({ store }: Orders, id: string, name: string): Promise<Uint8Array> {
  if (!findOrder(store, id).plateFiles.includes(name)) throw unknownFile();
  return readFile(folderOf(store, id, 'plates', name));
}

/**
 * All files of an order as one archive.
 * @throws AppError name-unknown; option-invalid while it is not made as asked; path-missing when one of them is gone
 */
export async function zipOrder({ store }: Orders, id: string): Promise<NodeJS.ReadableStream> {
  const order = findOrder(store, id);
  assertSums(order);
  await assertFiles(store, order);
  return zipFiles(listArchive(store, order));
}

/** What the archive of an order holds: where each file is, and what it is called there. */
function listArchive(store: OrderStore, order: StoredOrder): readonly (readonly [path: string, name: string])[] {
  const plates = order.platesOf === sumsKey(order) ? order.plateFiles : [];
  return [
    ...listResults(order).map((name) => [folderOf(store, order.id, 'out', name), name] as const),
    ...plates.map((name) => [folderOf(store, order.id, 'plates', name), `plates/${name}`] as const),
  ];
}

/**
 * An archive that lacks a piece would be taken for the whole order. What is gone can be made again from now on.
 * @throws AppError path-missing
 */
async function assertFiles(store: OrderStore, order: StoredOrder): Promise<void> {
  const gone = listArchive(store, order).filter(([path]) => !existsSync(path));
  if (gone.length === 0) return;
  const names = gone.map(([, name]) => name);
  order.platesOf = null;
  if (names.some((name) => !name.startsWith('plates/'))) order.sumsOf = null;
  await saveOrder(store, order);
  throw new AppError(
    'path-missing',
    `found no ${names.join(', ')} in the folder of the order any more, needed ${names.length > 1 ? 'them' : 'it'} made again`,
  );
}

const unknownFile = () => new AppError('name-unknown', 'found no such file in this order');

/** `cat.png`, `cat-2.png` … */
function freeName(wanted: string, taken: readonly string[]): string {
  const ending = extname(wanted);
  const stem = basename(wanted, ending);
  const lower = taken.map((name) => name.toLowerCase());
  for (let number = 1; ; number++) {
    const name = number === 1 ? wanted : `${stem}-${number}${ending}`;
    if (!lower.includes(name.toLowerCase())) return name;
  }
}
