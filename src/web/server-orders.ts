import { randomBytes } from 'node:crypto';
import { existsSync } from 'node:fs';
import { copyFile, readdir, readFile, rename, rm } from 'node:fs/promises';
import { basename, extname, join } from 'node:path';
import * as v from 'valibot';
import yazl from 'yazl';
import type { PieceOutcome } from '../batch/index.ts';
import { AppError } from '../errors.ts';
import type { OrderRecord } from '../job/index.ts';
import { formatJson, parseJson } from '../json.ts';
import {
  filesOfPiece,
  formatMoney,
  makeFolder,
  makeOrder,
  type PlannedPiece,
  parseOrderList,
  planPieces,
  sha256,
  type TaskContext,
  writeFilesAtomic,
} from '../tasks/index.ts';
import { applyList, changeByHand, createPiece, KEPT_PIECE, type KeptPiece, keyOf, LIST, rowOf } from './order-lines.ts';
import type { OrderPiece, OrderTotals, OrderView, PlateView, Wish } from './protocol.ts';
import type { EventHub } from './server-events.ts';
import { isFileName } from './server-files.ts';
import { clearIncoming, nameIncoming } from './server-incoming.ts';
import { MAX_PIXELS, tidyFileName } from './server-jobs.ts';
import { optionsOf, parseWish, parseWith, RECORD_NAME } from './server-wish.ts';
import type { Work } from './server-work.ts';

const ID = /^[0-9a-f]{16}$/;
/**
 * Workers, a count, and megapixels beside each other. Assumed: two cores are left to the page and its proofs where
 * there are more.
 */
const THREADS = { kind: 'threads', workers: 2, megapixels: 160 } as const;
/**
 * Most photos of an order on the page, a count. Assumed: a list of more is not looked through; the command takes any
 * number.
 */
const MOST_PIECES = 2000;

const share = v.pipe(v.number(), v.minValue(0), v.maxValue(1));
const lengthMm = v.pipe(v.number(), v.minValue(1), v.maxValue(2000));
const OWN = v.strictObject({
  focus: v.exactOptional(v.strictObject({ x: share, y: share })),
  fit: v.exactOptional(v.picklist(['cover', 'contain'])),
  turned: v.exactOptional(v.boolean()),
  widthMm: v.exactOptional(lengthMm),
  heightMm: v.exactOptional(lengthMm),
  profile: v.exactOptional(RECORD_NAME),
  material: v.exactOptional(RECORD_NAME),
});

const PIECE_ASK = v.strictObject({
  count: v.exactOptional(v.pipe(v.number(), v.integer(), v.minValue(1), v.maxValue(100_000))),
  text: v.exactOptional(v.pipe(v.string(), v.maxLength(500))),
  excluded: v.exactOptional(v.boolean()),
  own: v.exactOptional(OWN),
});

const PLATES_ASK = v.strictObject({
  grid: v.exactOptional(
    v.strictObject({
      columns: v.pipe(v.number(), v.integer(), v.minValue(1), v.maxValue(100)),
      rows: v.pipe(v.number(), v.integer(), v.minValue(1), v.maxValue(100)),
      widthMm: lengthMm,
      heightMm: lengthMm,
    }),
  ),
});

/** What the folder of an order keeps beside photos and results. */
interface KeptOrder {
  readonly id: string;
  title: string;
  wish: Wish;
  pieces: readonly KeptPiece[];
  changed: string;
  running: boolean;
  problem: string | null;
  totals: OrderTotals | null;
  /** What the sums, and the plates, are of: `sumsKey` when their making began. */
  sumsOf: string | null;
  platesOf: string | null;
  plates: readonly PlateView[];
  plateNotes: readonly string[];
  plateFiles: readonly string[];
}

export interface Orders {
  readonly list: () => readonly OrderView[];
  readonly get: (id: string) => OrderView;
  readonly create: (title: string, wish: Wish) => Promise<OrderView>;
  readonly incoming: (id: string) => string;
  readonly addPhoto: (id: string, path: string, fileName: string) => Promise<OrderView>;
  /** Lines of a list: photos by name, with what each wants differently. */
  readonly addList: (id: string, text: string) => Promise<OrderView>;
  readonly setWish: (id: string, wish: Wish) => Promise<OrderView>;
  readonly setPiece: (id: string, piece: string, json: unknown) => Promise<OrderView>;
  readonly run: (id: string) => Promise<OrderView>;
  readonly stop: (id: string) => OrderView;
  readonly lay: (id: string, json: unknown) => Promise<OrderView>;
  readonly remove: (id: string) => Promise<void>;
  readonly readView: (id: string, piece: string) => Promise<Uint8Array>;
  readonly readFileOf: (id: string, name: string) => Promise<Uint8Array>;
  readonly readPlateFile: (id: string, name: string) => Promise<Uint8Array>;
  readonly zip: (id: string) => Promise<NodeJS.ReadableStream>;
  /** Ends what is being made; what is done is kept. */
  readonly close: () => Promise<void>;
}

export interface OrdersOptions {
  readonly context: TaskContext;
  readonly shopDir: string;
  readonly work: Work;
  readonly events: EventHub;
}

/** The orders of a shop folder: photos come in, pieces are made one after the other, and all of it outlives the server. */
export async function openOrders(options: OrdersOptions): Promise<Orders> {
  const { context, shopDir, work, events } = options;
  const root = join(shopDir, 'orders');
  const orders = new Map<string, KeptOrder>();
  const runs = new Map<string, { readonly stop: AbortController; readonly done: Promise<void> }>();
  const saves = new Map<string, Promise<void>>();
  const folder = (id: string, ...parts: string[]) => join(root, id, ...parts);

  for (const id of await readdir(root).catch(() => [] as string[])) {
    if (!ID.test(id)) continue;
    await clearIncoming(folder(id, '.incoming'));
    const order = await readOrder(root, id);
    if (order) orders.set(id, order);
  }

  const find = (id: string): KeptOrder => {
    const order = orders.get(id);
    if (!order) throw new AppError('name-unknown', 'found no such order in the shop folder');
    return order;
  };
  const findPiece = (order: KeptOrder, id: string): KeptPiece => {
    const piece = order.pieces.find((one) => one.id === id);
    if (!piece) throw new AppError('name-unknown', 'found no such piece in this order');
    return piece;
  };

  /** Written one after the other: many photos arrive at once. */
  async function save(order: KeptOrder): Promise<OrderView> {
    order.changed = new Date().toISOString();
    refresh(order);
    const view = viewOf(order);
    events.send({ type: 'order', order: view });
    const write = async () => {
      if (!orders.has(order.id)) return;
      const { id, ...record } = order;
      await writeFilesAtomic(
        [
          {
            path: folder(id, 'order-page.json'),
            bytes: formatJson({ schema: 'tonewright-kept-order/1', ...record }, 'record'),
          },
        ],
        { force: true },
      );
    };
    const last = (saves.get(order.id) ?? Promise.resolve()).catch(() => undefined).then(write);
    saves.set(order.id, last);
    await last;
    return view;
  }
  const tell = (order: KeptOrder) => events.send({ type: 'order', order: viewOf(order) });

  function change(order: KeptOrder, id: string, next: Partial<KeptPiece>): void {
    order.pieces = order.pieces.map((piece) => (piece.id === id ? { ...piece, ...next } : piece));
  }

  /** Pieces as they are asked for at this moment, each planned as the command plans a line. */
  function plan(order: KeptOrder, pieces: readonly KeptPiece[]): readonly PlannedPiece[] {
    return planPieces(
      pieces.map((piece) => ({ row: rowOf(order.wish, piece), where: piece.line ? LIST : undefined })),
      { folder: folder(order.id, 'in'), defaults: optionsOf(order.wish) },
      context,
    );
  }

  /** What is asked when a run begins is what it makes; whatever is asked meanwhile waits for the next one. */
  async function make(order: KeptOrder, signal: AbortSignal): Promise<void> {
    const { id, wish } = order;
    const pieces = order.pieces.filter(({ excluded }) => !excluded);
    const keys = pieces.map((piece) => keyOf(wish, piece));
    const sums = sumsKey(order);
    const wanted = plan(order, pieces);
    const out = folder(id, 'out');
    order.totals = null;
    order.sumsOf = null;
    for (const [at, piece] of pieces.entries()) {
      change(order, piece.id, { name: wanted[at]!.name, status: 'making', reason: null });
    }
    tell(order);
    await removeStale(order, wanted, out);
    const { record, outcomes } = await makeOrder(
      wanted,
      {
        out,
        title: order.title,
        maker: THREADS,
        force: true,
        signal,
        onProgress: () => tell(order),
        onSettled: (piece, outcome) => {
          const at = wanted.indexOf(piece);
          settlePiece(order, { planned: piece, id: pieces[at]!.id, of: keys[at]! }, outcome);
        },
      },
      context,
    );
    for (const [at, outcome] of outcomes.entries()) {
      settlePiece(order, { planned: wanted[at]!, id: pieces[at]!.id, of: keys[at]! }, outcome);
    }
    order.totals = totalsOf(record);
    order.sumsOf = sums;
  }

  function settlePiece(
    order: KeptOrder,
    { planned, id, of }: { readonly planned: PlannedPiece; readonly id: string; readonly of: string },
    outcome: PieceOutcome,
  ): void {
    if (outcome.status === 'failed') {
      change(order, id, { status: 'failed', reason: outcome.reason.message, of, seconds: null, worstDeltaL: null });
    } else {
      const { seconds, worstDeltaL } = outcome.summary;
      const files = 'spec' in planned.plan ? filesOfPiece(planned.name, planned.plan.spec) : [];
      change(order, id, { status: 'done', reason: null, of, files, seconds, worstDeltaL });
    }
    refresh(order);
  }

  /** What is wrong with a piece is on its card as soon as it is known, not when somebody makes the order. */
  function judge(order: KeptOrder, pieces: readonly KeptPiece[]): void {
    const planned = plan(order, pieces);
    for (const [at, piece] of pieces.entries()) {
      const { plan: planOf, line } = planned[at]!;
      const fault =
        'fault' in planOf
          ? planOf.fault.message
          : piece.missing
            ? `${LIST}: line ${line}: found no photo "${piece.photo}" in this order, needed it dropped here, too`
            : undefined;
      if (fault === undefined) continue;
      change(order, piece.id, { status: 'failed', reason: fault, of: keyOf(order.wish, piece) });
    }
  }

  function start(order: KeptOrder): void {
    const stop = new AbortController();
    order.running = true;
    order.problem = null;
    const done = make(order, stop.signal)
      .catch((error: unknown) => {
        order.problem = error instanceof AppError && error.code === 'order-interrupted' ? null : sayProblem(error);
        order.pieces = order.pieces.map((piece) =>
          piece.status === 'making' ? { ...piece, status: 'waiting' } : piece,
        );
      })
      .then(async () => {
        runs.delete(order.id);
        // Ended with the server, it goes on with the next one.
        order.running = closing && order.pieces.some(({ status }) => status === 'waiting');
        await save(order);
      });
    runs.set(order.id, { stop, done });
  }

  let closing = false;
  for (const order of orders.values()) if (order.running) start(order);

  return {
    list: () => [...orders.values()].map(viewOf).sort((a, b) => (a.changed < b.changed ? 1 : -1)),
    get: (id) => viewOf(find(id)),
    async create(title, wish) {
      const id = randomBytes(8).toString('hex');
      await makeFolder(folder(id, 'in'));
      const order: KeptOrder = {
        id,
        title: title.trim() === '' ? 'Order' : title.trim().slice(0, 120),
        wish,
        pieces: [],
        changed: '',
        running: false,
        problem: null,
        totals: null,
        sumsOf: null,
        platesOf: null,
        plates: [],
        plateNotes: [],
        plateFiles: [],
      };
      orders.set(id, order);
      return save(order);
    },
    incoming: (id) => nameIncoming(folder(find(id).id, '.incoming')),
    async addPhoto(id, path, fileName) {
      const order = find(id);
      try {
        if (order.pieces.length >= MOST_PIECES) {
          throw new AppError('option-invalid', `found ${MOST_PIECES} photos in this order, needed another order`);
        }
        const wishes = tidyFileName(fileName);
        const found = await work.run('photos', 'viewPhoto', { path, name: wishes, maxPixels: MAX_PIXELS });
        const awaited = order.pieces.filter((piece) => piece.missing && piece.photo === wishes);
        const photo =
          awaited.length > 0
            ? wishes
            : freeName(
                wishes,
                order.pieces.map((piece) => piece.photo),
              );
        const { width, height } = found;
        const arrived =
          awaited.length > 0
            ? awaited.map((piece) => ({
                ...piece,
                width,
                height,
                missing: false,
                status: 'waiting' as const,
                reason: null,
              }))
            : [createPiece(photo, found)];
        const others = order.pieces.filter((piece) => !awaited.includes(piece));
        order.pieces = sortPieces([...others, ...arrived]);
        await rename(path, folder(id, 'in', photo));
        for (const piece of arrived) {
          await writeFilesAtomic([{ path: folder(id, 'views', `${piece.id}.jpg`), bytes: found.view }]);
        }
        judge(order, arrived);
        return await save(order);
      } catch (error) {
        await rm(path, { force: true });
        throw error;
      }
    },
    async addList(id, text) {
      const order = find(id);
      const rows = parseOrderList(text, LIST);
      const pieces = applyList(order.pieces, rows);
      if (pieces.length > MOST_PIECES) {
        throw new AppError(
          'option-invalid',
          `found ${pieces.length} pieces, needed at most ${MOST_PIECES} in an order`,
        );
      }
      const known = new Map(order.pieces.map((piece) => [piece.id, piece]));
      for (const piece of pieces) {
        const twin =
          known.has(piece.id) || piece.missing ? undefined : order.pieces.find(({ photo }) => photo === piece.photo);
        if (twin) await copyFile(folder(id, 'views', `${twin.id}.jpg`), folder(id, 'views', `${piece.id}.jpg`));
      }
      order.pieces = sortPieces(pieces);
      judge(
        order,
        pieces.filter(({ line }) => line),
      );
      return save(order);
    },
    async setWish(id, wish) {
      const order = find(id);
      if (JSON.stringify(order.wish) === JSON.stringify(wish)) return viewOf(order);
      order.wish = wish;
      return save(order);
    },
    async setPiece(id, pieceId, json) {
      const order = find(id);
      const asked = parseWith(PIECE_ASK, json) as Parameters<typeof changeByHand>[1];
      change(order, pieceId, changeByHand(findPiece(order, pieceId), asked));
      return save(order);
    },
    async run(id) {
      const order = find(id);
      if (order.running) return viewOf(order);
      if (order.pieces.every(({ excluded }) => excluded)) {
        throw new AppError('option-invalid', 'found no photo to make, needed at least one');
      }
      start(order);
      return save(order);
    },
    stop(id) {
      const order = find(id);
      runs.get(id)?.stop.abort();
      return viewOf(order);
    },
    async lay(id, json) {
      const order = find(id);
      requireSums(order);
      const key = sumsKey(order);
      const { grid } = parseWith(PLATES_ASK, json);
      const laid = await work.run('files', 'layPlates', {
        done: folder(id, 'out'),
        out: folder(id, 'plates'),
        ...(grid ? { grid } : {}),
      });
      order.plates = laid.plates;
      order.plateNotes = laid.notes;
      order.plateFiles = laid.files;
      order.platesOf = key;
      return save(order);
    },
    async remove(id) {
      find(id);
      const run = runs.get(id);
      run?.stop.abort();
      orders.delete(id);
      await run?.done;
      await saves.get(id);
      await rm(folder(id), { recursive: true, force: true });
      events.send({ type: 'order-gone', id });
    },
    async readView(id, pieceId) {
      const piece = findPiece(find(id), pieceId);
      return readFile(folder(id, 'views', `${piece.id}.jpg`));
    },
    async readFileOf(id, name) {
      const known = listResults(find(id));
      if (!known.includes(name)) throw new AppError('name-unknown', 'found no such file in this order');
      return readFile(folder(id, 'out', name));
    },
    async readPlateFile(id, name) {
      if (!find(id).plateFiles.includes(name)) throw new AppError('name-unknown', 'found no such file in this order');
      return readFile(folder(id, 'plates', name));
    },
    async zip(id) {
      const order = find(id);
      requireSums(order);
      const file = new yazl.ZipFile();
      // No date of today: the same order gives the same bytes.
      const options = { mtime: new Date('1980-01-01T00:00:00Z'), compress: false } as const;
      for (const name of listResults(order)) {
        if (existsSync(folder(id, 'out', name))) file.addFile(folder(id, 'out', name), name, options);
      }
      for (const name of order.platesOf === sumsKey(order) ? order.plateFiles : []) {
        file.addFile(folder(id, 'plates', name), `plates/${name}`, options);
      }
      file.end();
      return file.outputStream;
    },
    async close() {
      closing = true;
      for (const { stop } of runs.values()) stop.abort();
      await Promise.all([...runs.values()].map(({ done }) => done));
    },
  };
}

function totalsOf({ totals, quote }: OrderRecord): OrderTotals {
  const { done, copies, failed, seconds } = totals;
  return { pieces: done, copies, failed, seconds, price: quote ? formatMoney(quote.grossMinor, quote) : null };
}

/** Tells what the sums of an order are of from every other order: its pieces, what is asked of each, and how many. */
function sumsKey({ wish, pieces }: KeptOrder): string {
  const wanted = pieces.filter(({ excluded }) => !excluded);
  return sha256(JSON.stringify(wanted.map((piece) => [piece.id, keyOf(wish, piece), piece.count]))).slice(0, 16);
}

/** @throws AppError option-invalid while something is asked that the sums do not hold */
function requireSums(order: KeptOrder): void {
  if (order.totals && order.sumsOf === sumsKey(order)) return;
  throw new AppError('option-invalid', 'found pieces that are not made yet as they are asked, needed all made first');
}

/** Statuses that fit what is asked now: what was made of something else is changed, until it is asked for again. */
function refresh(order: KeptOrder): void {
  order.pieces = order.pieces.map((piece) => {
    const { of, status, missing } = piece;
    if (of === null || status === 'making' || missing) return piece;
    const same = of === keyOf(order.wish, piece);
    if (status === 'done' && !same) return { ...piece, status: 'changed' };
    if (status === 'changed' && same) return { ...piece, status: 'done' };
    if (status === 'failed' && !same) return { ...piece, status: 'waiting', reason: null, of: null };
    return piece;
  });
}

/** By the lines of the list, then by photo. */
function sortPieces(pieces: readonly KeptPiece[]): readonly KeptPiece[] {
  const rank = ({ line }: KeptPiece) => line?.line ?? Number.POSITIVE_INFINITY;
  return [...pieces].sort((a, b) => {
    const [x, y] = [rank(a), rank(b)];
    return x === y ? (a.photo < b.photo ? -1 : a.photo > b.photo ? 1 : 0) : x - y;
  });
}

function listResults({ pieces }: KeptOrder): readonly string[] {
  const made = pieces.filter(({ excluded, status }) => !excluded && (status === 'done' || status === 'changed'));
  return ['order.json', 'order.csv', 'order.html', ...made.flatMap(({ files }) => files)];
}

function viewOf(order: KeptOrder): OrderView {
  const { plateFiles: _, sumsOf, platesOf, ...rest } = order;
  const key = sumsKey(order);
  const laid = platesOf === key;
  return {
    ...rest,
    pieces: order.pieces.map(({ line: _line, of: _of, files: _files, ...piece }) => piece),
    totals: sumsOf === key ? order.totals : null,
    plates: laid ? order.plates : [],
    plateNotes: laid ? order.plateNotes : [],
  };
}

/** Files of pieces that are left out now would be taken for the order's. */
async function removeStale(order: KeptOrder, wanted: readonly PlannedPiece[], out: string): Promise<void> {
  const kept = new Set(wanted.flatMap(({ name, plan }) => ('spec' in plan ? filesOfPiece(name, plan.spec) : [])));
  for (const { excluded, files } of order.pieces) {
    if (!excluded) continue;
    for (const file of files) if (!kept.has(file)) await rm(join(out, file), { force: true });
  }
}

/** `cat.png`, `cat-2.png` … */
function freeName(wish: string, taken: readonly string[]): string {
  const ending = extname(wish);
  const stem = basename(wish, ending);
  const lower = taken.map((name) => name.toLowerCase());
  for (let number = 1; ; number++) {
    const name = number === 1 ? wish : `${stem}-${number}${ending}`;
    if (!lower.includes(name.toLowerCase())) return name;
  }
}

function sayProblem(error: unknown): string {
  if (error instanceof AppError) return `${error.message}. ${error.hint}`;
  return `This is a bug in Tonewright, not in your input: ${error instanceof Error ? error.message : String(error)}`;
}

async function readOrder(root: string, id: string): Promise<KeptOrder | undefined> {
  try {
    const { schema, ...record } = parseJson(
      await readFile(join(root, id, 'order-page.json'), 'utf8'),
    ) as Partial<KeptOrder> & {
      readonly schema?: unknown;
    };
    if (schema !== 'tonewright-kept-order/1' || !Array.isArray(record.pieces)) return undefined;
    // A shop folder may come from somebody else: its names become paths no more than those that a client sends.
    if (!Array.isArray(record.plateFiles) || !record.plateFiles.every(isFileName)) return undefined;
    const wish = parseWish(record.wish);
    const pieces = (record.pieces as OrderPiece[]).map((piece): KeptPiece => {
      if (piece.photo !== tidyFileName(piece.photo) || !ID.test(piece.id)) throw new Error('a name that is a path');
      if (!isFileName(piece.name)) throw new Error('a name that is a path');
      const kept = { ...piece, ...parseWith(KEPT_PIECE, piece) } as KeptPiece;
      if (kept.status === 'making') return { ...kept, status: 'waiting' };
      // Orders of older versions say neither what was made nor of what; it was what is asked.
      const isOld = kept.status === 'done' && kept.of === null;
      return isOld ? { ...kept, of: keyOf(wish, kept), files: filesOfPiece(kept.name, { format: 'png' }) } : kept;
    });
    return { sumsOf: null, platesOf: null, ...record, id, wish, pieces } as KeptOrder;
  } catch {
    return undefined;
  }
}
