import { randomBytes } from 'node:crypto';
import { existsSync } from 'node:fs';
import { mkdir, readdir, readFile, rename, rm } from 'node:fs/promises';
import { basename, extname, join } from 'node:path';
import * as v from 'valibot';
import yazl from 'yazl';
import { createThreadMaker, identifyBuild, type PieceOutcome, runOrder, type WantedPiece } from '../batch/index.ts';
import { AppError } from '../errors.ts';
import {
  chooseNames,
  filesOfPiece,
  formatMoney,
  type OrderPieceRecord,
  type OrderRecord,
  parseOrderCsv,
  recordOrder,
  renderOrderCsv,
  renderOrderPage,
  resolveJob,
} from '../job/index.ts';
import { readRefusedIn, type Shop } from '../material/index.ts';
import { writeFilesAtomic } from '../plane/index.ts';
import { NAMED_SIZES, parseSizeMm } from '../units.ts';
import { readShopPrices } from './prices.ts';
import type { OrderPiece, OrderTotals, OrderView, PieceWish, PlateView, Wish } from './protocol.ts';
import type { EventHub } from './server-events.ts';
import { isFileName } from './server-files.ts';
import { clearIncoming, nameIncoming } from './server-incoming.ts';
import { MAX_PIXELS, tidyFileName } from './server-jobs.ts';
import { parseWish, parseWith, RECORD_NAME, requestOf } from './server-wish.ts';
import type { Work } from './server-work.ts';

const ID = /^[0-9a-f]{16}$/;
/** Two cores are left to the page and its proofs where there are more. */
const THREADS = { workers: 2, megapixels: 160 } as const;
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
  pieces: OrderPiece[];
  changed: string;
  running: boolean;
  problem: string | null;
  totals: OrderTotals | null;
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
  readonly shop: Shop;
  readonly shopDir: string;
  readonly builtIn: readonly string[];
  readonly version: string;
  readonly work: Work;
  readonly events: EventHub;
}

/** The orders of a shop folder: photos come in, pieces are made one after the other, and all of it outlives the server. */
export async function openOrders(options: OrdersOptions): Promise<Orders> {
  const { shop, shopDir, builtIn, version, work, events } = options;
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
  const findPiece = (order: KeptOrder, id: string): OrderPiece => {
    const piece = order.pieces.find((one) => one.id === id);
    if (!piece) throw new AppError('name-unknown', 'found no such piece in this order');
    return piece;
  };

  /** Written one after the other: many photos arrive at once. */
  async function save(order: KeptOrder): Promise<OrderView> {
    order.changed = new Date().toISOString();
    const view = viewOf(order);
    events.send({ type: 'order', order: view });
    const write = async () => {
      if (!orders.has(order.id)) return;
      const { id, ...record } = order;
      await writeFilesAtomic(
        [
          {
            path: folder(id, 'order-page.json'),
            bytes: `${JSON.stringify({ schema: 'tonewright-kept-order/1', ...record }, null, 2)}\n`,
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

  function change(order: KeptOrder, id: string, next: Partial<OrderPiece>): void {
    order.pieces = order.pieces.map((piece) => (piece.id === id ? { ...piece, ...next } : piece));
  }
  /** What is made no longer answers what is wanted. */
  function touch(order: KeptOrder): void {
    order.totals = null;
    order.plates = [];
    order.plateNotes = [];
  }

  function plan(order: KeptOrder): { readonly pieces: readonly OrderPiece[]; readonly wanted: readonly WantedPiece[] } {
    const refused = readRefusedIn([builtIn.at(-1)!, shopDir]);
    const pieces = order.pieces.filter(({ excluded }) => !excluded);
    const names = chooseNames(
      pieces.map(({ photo }) => basename(photo, extname(photo))),
      { filesOf: (name) => filesOfPiece(name, { format: 'png' }) },
    );
    const wanted = pieces.map((piece, at): WantedPiece => {
      const base = { name: names[at]!, label: piece.photo, photoPath: folder(order.id, 'in', piece.photo) };
      try {
        const request = requestOf(wishOf(order.wish, piece.own));
        const text = piece.text === '' ? {} : { text: piece.text };
        return { ...base, plan: { spec: resolveJob({ ...request, ...text }, { shop, refused }) } };
      } catch (error) {
        if (!(error instanceof AppError)) throw error;
        return { ...base, plan: { fault: { code: error.code, message: error.message } } };
      }
    });
    return { pieces, wanted };
  }

  async function make(order: KeptOrder, signal: AbortSignal): Promise<void> {
    const { id } = order;
    const { pieces, wanted } = plan(order);
    const out = folder(id, 'out');
    const prices = readShopPrices(shopDir);
    for (const [at, piece] of pieces.entries()) {
      change(order, piece.id, { name: wanted[at]!.name, status: 'making', reason: null });
    }
    tell(order);
    const settled = new Set<number>();
    let record: OrderRecord | undefined;
    /** A piece is done when its last file is there. */
    const look = () => {
      for (const [at, piece] of pieces.entries()) {
        if (settled.has(at) || !existsSync(join(out, `${wanted[at]!.name}.ticket.html`))) continue;
        settled.add(at);
        change(order, piece.id, { status: 'done' });
      }
      tell(order);
    };
    await removeStale(order, wanted, out);
    const outcomes = await runOrder(wanted, {
      out,
      version,
      build: identifyBuild(),
      openMaker: () => createThreadMaker(THREADS),
      force: true,
      signal,
      onProgress: look,
      onFault: (piece, fault) => {
        const at = wanted.indexOf(piece);
        settled.add(at);
        change(order, pieces[at]!.id, { status: 'failed', reason: fault.message });
        tell(order);
      },
      warn: () => undefined,
      keepStrip: async (layout) => {
        await shop.write('charts', layout.hash, layout, { force: true });
      },
      writeSums: (results) => {
        record = recordOrder({
          version,
          pieces: pieces.map((piece, at) => recordPiece(piece, wanted[at]!.name, results[at]!)),
          cautions: results.flatMap((result) => (result.status === 'done' ? result.cautions : [])),
          ...(prices ? { prices } : {}),
        });
        const proofs = new Map(
          results.flatMap((result, at) =>
            result.status === 'done'
              ? [[wanted[at]!.name, `data:image/jpeg;base64,${Buffer.from(result.smallProof).toString('base64')}`]]
              : [],
          ),
        );
        return [
          { name: 'order.json', bytes: `${JSON.stringify(record, null, 2)}\n` },
          { name: 'order.csv', bytes: renderOrderCsv(record) },
          { name: 'order.html', bytes: renderOrderPage(record, { title: order.title, proofs }) },
        ];
      },
    });
    for (const [at, outcome] of outcomes.entries()) settlePiece(order, pieces[at]!, outcome);
    order.totals = record ? totalsOf(record) : null;
  }

  function settlePiece(order: KeptOrder, piece: OrderPiece, outcome: PieceOutcome): void {
    // What was asked differently while it was being made is made in the next run.
    const now = order.pieces.find(({ id }) => id === piece.id);
    const same =
      now !== undefined &&
      JSON.stringify([now.own, now.text, now.count]) === JSON.stringify([piece.own, piece.text, piece.count]);
    change(
      order,
      piece.id,
      outcome.status === 'done'
        ? {
            status: same ? 'done' : 'changed',
            reason: null,
            seconds: outcome.summary.seconds,
            worstDeltaL: outcome.summary.worstDeltaL,
          }
        : { status: 'failed', reason: outcome.reason.message, seconds: null, worstDeltaL: null },
    );
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
      await mkdir(folder(id, 'in'), { recursive: true });
      const order: KeptOrder = {
        id,
        title: title.trim() === '' ? 'Order' : title.trim().slice(0, 120),
        wish,
        pieces: [],
        changed: '',
        running: false,
        problem: null,
        totals: null,
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
        const found = await work.run('photos', 'openCapture', { path, name: wishes, maxPixels: MAX_PIXELS });
        const photo = freeName(
          wishes,
          order.pieces.map((piece) => piece.photo),
        );
        const piece: OrderPiece = {
          id: randomBytes(8).toString('hex'),
          photo,
          width: found.width,
          height: found.height,
          count: 1,
          text: '',
          excluded: false,
          own: {},
          status: 'waiting',
          reason: null,
          name: basename(photo, extname(photo)),
          seconds: null,
          worstDeltaL: null,
        };
        order.pieces = [...order.pieces, piece].sort((a, b) => (a.photo < b.photo ? -1 : 1));
        await rename(path, folder(id, 'in', photo));
        await writeFilesAtomic([{ path: folder(id, 'views', `${piece.id}.jpg`), bytes: found.view }]);
        touch(order);
        return await save(order);
      } catch (error) {
        await rm(path, { force: true });
        throw error;
      }
    },
    async addList(id, text) {
      const order = find(id);
      for (const { line, cells } of parseOrderCsv(text, { where: 'list', columns: LIST_COLUMNS })) {
        const wanted = tidyFileName(cells.photo?.text ?? '');
        const piece = order.pieces.find(({ photo }) => photo === wanted);
        if (!piece) {
          throw new AppError(
            'file-invalid',
            `line ${line} of the list: found no photo "${cells.photo?.text ?? ''}" in this order, needed it dropped with the list or before`,
          );
        }
        const { size, profile, material, count, text: words } = cells;
        const own: PieceWish = {
          ...piece.own,
          ...(size ? sizeOf(size.text, order.wish) : {}),
          ...(profile ? { profile: parseWith(RECORD_NAME, profile.text) } : {}),
          ...(material ? { material: parseWith(RECORD_NAME, material.text) } : {}),
        };
        const copies = count ? Number(count.text) : piece.count;
        if (!(Number.isInteger(copies) && copies >= 1)) {
          throw new AppError(
            'file-invalid',
            `line ${line} of the list: found the count "${count?.text ?? ''}", needed a whole number of at least 1`,
          );
        }
        change(order, piece.id, {
          own,
          count: copies,
          text: words?.text ?? piece.text,
          ...(piece.status === 'done' ? { status: 'changed' } : {}),
        });
      }
      touch(order);
      return save(order);
    },
    async setWish(id, wish) {
      const order = find(id);
      if (JSON.stringify(order.wish) === JSON.stringify(wish)) return viewOf(order);
      order.wish = wish;
      order.pieces = order.pieces.map((piece) => (piece.status === 'done' ? { ...piece, status: 'changed' } : piece));
      touch(order);
      return save(order);
    },
    async setPiece(id, pieceId, json) {
      const order = find(id);
      const piece = findPiece(order, pieceId);
      const { own, ...asked } = parseWith(PIECE_ASK, json);
      const made = piece.status === 'done' && (own !== undefined || asked.text !== undefined);
      change(order, pieceId, {
        ...(asked as Partial<OrderPiece>),
        ...(own === undefined ? {} : { own: own as PieceWish }),
        ...(made ? { status: 'changed' } : piece.status === 'failed' ? { status: 'waiting', reason: null } : {}),
      });
      touch(order);
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
      if (!order.totals)
        throw new AppError('option-invalid', 'found pieces that are not made yet, needed all made first');
      const { grid } = parseWith(PLATES_ASK, json);
      const laid = await work.run('files', 'layPlates', {
        done: folder(id, 'out'),
        out: folder(id, 'plates'),
        machine: order.wish.machine,
        ...(grid ? { grid } : {}),
      });
      order.plates = laid.plates;
      order.plateNotes = laid.notes;
      order.plateFiles = laid.files;
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
      if (!order.totals)
        throw new AppError('option-invalid', 'found pieces that are not made yet, needed all made first');
      const file = new yazl.ZipFile();
      // No date of today: the same order gives the same bytes.
      const options = { mtime: new Date('1980-01-01T00:00:00Z'), compress: false } as const;
      for (const name of listResults(order)) {
        if (existsSync(folder(id, 'out', name))) file.addFile(folder(id, 'out', name), name, options);
      }
      for (const name of order.plates.length > 0 ? order.plateFiles : []) {
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

/** Columns of a list that the page understands. */
const LIST_COLUMNS = ['photo', 'size', 'profile', 'material', 'count', 'text'];

/** The size of a line; a named size or one with its long side the other way than the order's stays as it is written. */
function sizeOf(text: string, wish: Wish): Pick<PieceWish, 'widthMm' | 'heightMm'> {
  const { widthMm, heightMm } = parseSizeMm(text, 'size');
  const named = NAMED_SIZES[text.trim().toLowerCase()] !== undefined;
  const upright = named && wish.heightMm > wish.widthMm;
  return upright ? { widthMm: heightMm, heightMm: widthMm } : { widthMm, heightMm };
}

/** The order's wish with what one piece wants differently. */
function wishOf(wish: Wish, { turned, widthMm, heightMm, profile, material, ...own }: PieceWish): Wish {
  const size = { widthMm: widthMm ?? wish.widthMm, heightMm: heightMm ?? wish.heightMm };
  const { profile: all, material: allMaterial, ...rest } = wish;
  const stuff =
    profile !== undefined
      ? { profile }
      : material !== undefined
        ? { material }
        : {
            ...(all === undefined ? {} : { profile: all }),
            ...(allMaterial === undefined ? {} : { material: allMaterial }),
          };
  return {
    ...rest,
    ...stuff,
    ...own,
    widthMm: turned ? size.heightMm : size.widthMm,
    heightMm: turned ? size.widthMm : size.heightMm,
  };
}

function recordPiece(piece: OrderPiece, name: string, outcome: PieceOutcome): OrderPieceRecord {
  const base = {
    name,
    line: null,
    photo: piece.photo,
    count: piece.count,
    text: piece.text === '' ? null : piece.text,
    blank: 'shop' as const,
  };
  return outcome.status === 'done'
    ? { ...base, status: 'done', ...outcome.summary }
    : { ...base, status: 'failed', reason: outcome.reason };
}

function totalsOf({ totals, quote }: OrderRecord): OrderTotals {
  const { done, copies, failed, seconds } = totals;
  return { pieces: done, copies, failed, seconds, price: quote ? formatMoney(quote.grossMinor, quote) : null };
}

function listResults({ pieces }: KeptOrder): readonly string[] {
  const made = pieces.filter(({ excluded, status }) => !excluded && (status === 'done' || status === 'changed'));
  return [
    'order.json',
    'order.csv',
    'order.html',
    ...made.flatMap(({ name }) => filesOfPiece(name, { format: 'png' })),
  ];
}

const viewOf = ({ plateFiles: _, ...order }: KeptOrder): OrderView => order;

/** Files of pieces that are left out now would be taken for the order's. */
async function removeStale(order: KeptOrder, wanted: readonly WantedPiece[], out: string): Promise<void> {
  const kept = new Set(wanted.map(({ name }) => name));
  for (const { name, excluded } of order.pieces) {
    if (!excluded || kept.has(name)) continue;
    for (const file of filesOfPiece(name, { format: 'png' })) await rm(join(out, file), { force: true });
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
    const { schema, ...record } = JSON.parse(await readFile(join(root, id, 'order-page.json'), 'utf8'));
    if (schema !== 'tonewright-kept-order/1' || !Array.isArray(record.pieces)) return undefined;
    // A shop folder may come from somebody else: its names become paths no more than those that a client sends.
    if (!Array.isArray(record.plateFiles) || !record.plateFiles.every(isFileName)) return undefined;
    const pieces = (record.pieces as OrderPiece[]).map((piece): OrderPiece => {
      if (piece.photo !== tidyFileName(piece.photo) || !ID.test(piece.id)) throw new Error('a name that is a path');
      if (!isFileName(piece.name)) throw new Error('a name that is a path');
      return piece.status === 'making' ? { ...piece, status: 'waiting' } : piece;
    });
    return { ...record, id, wish: parseWish(record.wish), pieces } as KeptOrder;
  } catch {
    return undefined;
  }
}
