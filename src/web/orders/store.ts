import { randomBytes } from 'node:crypto';
import { readdir, readFile } from 'node:fs/promises';
import { join } from 'node:path';
import * as v from 'valibot';
import { AppError } from '../../errors.ts';
import { formatJson, parseJson } from '../../json.ts';
import { filesOfPiece, makeFolder, writeFilesAtomic } from '../../tasks/index.ts';
import type { OrderPiece, OrderView, PhotoSettings } from '../protocol.ts';
import { KEPT_DAY } from '../server-agreed.ts';
import type { EventHub } from '../server-events.ts';
import { createSaveRow, isFileName, type SaveRow, tidyFileName } from '../server-files.ts';
import { clearIncoming } from '../server-incoming.ts';
import { parsePhotoSettings, parseWith } from '../server-photo-settings.ts';
import { KEPT_PIECE, type KeptPiece, keyOf } from './lines.ts';
import { refreshStatuses, viewOf } from './status.ts';
import type { StoredOrder } from './types.ts';

const ID = /^[0-9a-f]{16}$/;
/** What orders of older versions do not have. */
const KEPT_ORDER = v.object({ onlyAgreed: v.optional(v.boolean(), false), ready: KEPT_DAY });

const NOTHING_SAID = { corrected: [], warnings: [] } as const;

/** The orders of a shop folder. */
export interface OrderStore {
  /** Folder of all orders; each has one of its own in it, by its id. */
  readonly root: string;
  readonly orders: Map<string, StoredOrder>;
  readonly saves: SaveRow;
  readonly events: EventHub;
}

/** Reads what is there; what was being received when a server stopped is swept. */
export async function openOrderStore(shopDir: string, events: EventHub): Promise<OrderStore> {
  const root = join(shopDir, 'orders');
  const orders = new Map<string, StoredOrder>();
  for (const id of await readdir(root).catch(() => [] as string[])) {
    if (!ID.test(id)) continue;
    await clearIncoming(join(root, id, '.incoming'));
    const order = await readOrder(root, id);
    if (order) orders.set(id, order);
  }
  return { root, orders, saves: createSaveRow(), events };
}

export const folderOf = ({ root }: Pick<OrderStore, 'root'>, id: string, ...parts: string[]) =>
  join(root, id, ...parts);

/** @throws AppError name-unknown */
export function findOrder({ orders }: OrderStore, id: string): StoredOrder {
  const order = orders.get(id);
  if (!order) throw new AppError('name-unknown', 'found no such order in the shop folder');
  return order;
}

/** @throws AppError name-unknown */
export function findPiece(order: StoredOrder, id: string): KeptPiece {
  const piece = order.pieces.find((one) => one.id === id);
  if (!piece) throw new AppError('name-unknown', 'found no such piece in this order');
  return piece;
}

/** Pieces are never changed in place. */
export function changePiece(order: StoredOrder, id: string, next: Partial<KeptPiece>): void {
  order.pieces = order.pieces.map((piece) => (piece.id === id ? { ...piece, ...next } : piece));
}

/** An empty order with a folder of its own. */
export async function addOrder(store: OrderStore, title: string, wish: PhotoSettings): Promise<OrderView> {
  const id = randomBytes(8).toString('hex');
  await makeFolder(folderOf(store, id, 'in'));
  const order: StoredOrder = {
    id,
    title: title.trim() === '' ? 'Order' : title.trim().slice(0, 120),
    wish,
    pieces: [],
    changed: '',
    running: false,
    onlyAgreed: false,
    ready: null,
    problem: null,
    totals: null,
    sumsOf: null,
    platesOf: null,
    plates: [],
    plateNotes: [],
    plateFiles: [],
  };
  store.orders.set(id, order);
  return saveOrder(store, order);
}

/** Shown at once, written in a row, since many photos arrive at once. */
export async function saveOrder(store: OrderStore, order: StoredOrder): Promise<OrderView> {
  order.changed = new Date().toISOString();
  refreshStatuses(order);
  const view = viewOf(order);
  announceOrder(store, order);
  await store.saves.add(order.id, async () => {
    if (!store.orders.has(order.id)) return;
    const { id, ...record } = order;
    const bytes = formatJson({ schema: 'tonewright-kept-order/1', ...record }, 'record');
    await writeFilesAtomic([{ path: folderOf(store, id, 'order-page.json'), bytes }], { force: true });
  });
  return view;
}

/** Tells every open page how an order stands. */
export function announceOrder({ events }: OrderStore, order: StoredOrder): void {
  events.send({ type: 'order', order: viewOf(order) });
}

/** A record that a person has damaged by hand hides its order and nothing else. */
async function readOrder(root: string, id: string): Promise<StoredOrder | undefined> {
  try {
    const { schema, ...record } = parseJson(
      await readFile(join(root, id, 'order-page.json'), 'utf8'),
    ) as Partial<StoredOrder> & {
      readonly schema?: unknown;
    };
    if (schema !== 'tonewright-kept-order/1' || !Array.isArray(record.pieces)) return undefined;
    // A shop folder may come from somebody else: its names become paths no more than those that a client sends.
    if (!Array.isArray(record.plateFiles) || !record.plateFiles.every(isFileName)) return undefined;
    const wish = parsePhotoSettings(record.wish);
    const pieces = (record.pieces as OrderPiece[]).map((piece): KeptPiece => {
      if (piece.photo !== tidyFileName(piece.photo) || !ID.test(piece.id)) throw new Error('a name that is a path');
      if (!isFileName(piece.name)) throw new Error('a name that is a path');
      const kept = { ...piece, ...parseWith(KEPT_PIECE, piece) } as KeptPiece;
      if (kept.status === 'making') return { ...kept, status: 'waiting' };
      // Orders of older versions say neither what was made nor of what; it was what is asked.
      const isOld = kept.status === 'done' && kept.of === null;
      return isOld ? { ...kept, of: keyOf(wish, kept), files: filesOfPiece(kept.name, { format: 'png' }) } : kept;
    });
    const { onlyAgreed, ready } = parseWith(KEPT_ORDER, record);
    // Plates of older versions say neither what was corrected for their places nor what they warn of.
    const plates = (record.plates ?? []).map((plate) => ({ ...NOTHING_SAID, ...plate }));
    return { sumsOf: null, platesOf: null, ...record, id, wish, pieces, onlyAgreed, ready, plates } as StoredOrder;
  } catch {
    return undefined;
  }
}
