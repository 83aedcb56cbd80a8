import { readdir, readFile } from 'node:fs/promises';
import { extname, join } from 'node:path';
import { Hono } from 'hono';
import * as v from 'valibot';
import { AppError } from '../errors.ts';
import { parseJson } from '../json.ts';
import type { Shop } from '../material/index.ts';
import { keepArtwork } from '../tasks/index.ts';
import type { Calibration } from './calibration/context.ts';
import { addCalibrationRoutes } from './calibration/routes.ts';
import { listOrders, type Orders } from './orders/actions.ts';
import { addOrderRoutes } from './orders/routes.ts';
import type { JobCard, LookAsk, OrderView, ProfileUses, Wish } from './protocol.ts';
import { fileAnswer, picture, readFileName, TYPES } from './server-answers.ts';
import { describeError } from './server-errors.ts';
import type { EventHub } from './server-events.ts';
import { createEntry, createGuard, setHeaders } from './server-guard.ts';
import type { Jobs } from './server-jobs.ts';
import { LIMITS, type Receiving } from './server-limits.ts';
import { receiveFile, receiveJson, receiveText } from './server-receive.ts';
import { findSample, viewShop } from './server-shop.ts';
import { addEventRoute } from './server-stream.ts';
import { parseWish, parseWith, RECORD_NAME } from './server-wish.ts';
import type { Work } from './server-work.ts';

export interface AppOptions {
  readonly shop: Shop;
  readonly shopDir: string;
  readonly version: string;
  readonly photosDir: string;
  readonly pageDir: string;
  readonly port: () => number;
  readonly token: string;
  readonly jobs: Jobs;
  readonly calibration: Calibration;
  readonly orders: Orders;
  readonly work: Work;
  readonly events: EventHub;
}

/** Files that are received at once, a count. Assumed: more than one shop's screens need. */
const MOST_UPLOADS = 4;

const LOUPE_ASK = v.strictObject({
  x: v.pipe(v.number(), v.finite()),
  y: v.pipe(v.number(), v.finite()),
  width: v.pipe(v.number(), v.integer(), v.minValue(1), v.maxValue(1200)),
  height: v.pipe(v.number(), v.integer(), v.minValue(1), v.maxValue(1200)),
  as: v.picklist(['dots', 'surface']),
});

export async function createApp(options: AppOptions): Promise<{ readonly app: Hono; readonly close: () => void }> {
  const { jobs, calibration, orders, events } = options;
  const app = new Hono();
  let uploads = 0;
  const receiving: Receiving = async (work) => {
    if (uploads >= MOST_UPLOADS) throw new AppError('work-stopped', `found ${uploads} files on their way already`);
    uploads++;
    try {
      return await work();
    } finally {
      uploads--;
    }
  };

  app.onError((error, c) => {
    const { status, body } = describeError(error);
    return c.json(body, status as 400);
  });
  app.notFound((c) => {
    const { body } = describeError(new AppError('path-missing', 'found nothing at this address'));
    return c.json(body, 404);
  });
  app.use('*', setHeaders);
  app.use('*', createGuard(options));

  for (const [path, { bytes, type }] of await readPage(options.pageDir)) {
    app.get(path, (c) => c.body(bytes, 200, { 'content-type': type }));
  }
  app.post('/api/enter', createEntry(options));
  app.get('/api/shop', async (c) => c.json(await viewShop(options)));

  const stopStreams = addEventRoute(app, events);

  app.get('/api/jobs', (c) => c.json(jobs.list()));
  app.post('/api/jobs', async (c) => {
    const wish = readHeaderJson(c.req.header('x-wish'));
    return receiving(async () => {
      const path = jobs.incoming();
      await receiveFile(c.req.raw, { path, limits: LIMITS.upload });
      return c.json(await jobs.add(path, { fileName: readFileName(c.req.header('x-file-name')), wish }), 201);
    });
  });
  app.get('/api/samples/:sample', async (c) => {
    const path = await findSample(options.photosDir, c.req.param('sample'));
    return picture(await readFile(path), TYPES[extname(path)]!);
  });
  app.post('/api/samples/:sample', async (c) => {
    const wish = parseWish(await receiveJson(c.req.raw, LIMITS.json));
    const path = await findSample(options.photosDir, c.req.param('sample'));
    return c.json(await jobs.copySample(path, wish), 201);
  });
  app.get('/api/jobs/:id', (c) => c.json(jobs.get(c.req.param('id'))));
  app.put('/api/jobs/:id', async (c) => {
    const wish = parseWish(await receiveJson(c.req.raw, LIMITS.json));
    return c.json(await jobs.setWish(c.req.param('id'), wish));
  });
  app.delete('/api/jobs/:id', async (c) => {
    await jobs.remove(c.req.param('id'));
    return c.body(null, 204);
  });
  app.get('/api/jobs/:id/photo', async (c) => picture(await jobs.readView(c.req.param('id')), 'image/jpeg'));
  app.post('/api/jobs/:id/draft', async (c) => {
    const jpeg = await jobs.draft(c.req.param('id'), parseAsk(await receiveJson(c.req.raw, LIMITS.json)));
    return jpeg ? picture(jpeg, 'image/jpeg') : c.body(null, 204);
  });
  app.post('/api/jobs/:id/look', async (c) => {
    const { raw } = c.req;
    const found = await jobs.look(c.req.param('id'), parseAsk(await receiveJson(raw, LIMITS.json)), raw.signal);
    if (!found) return c.body(null, 204);
    // The picture is sent as soon as it is there, what it foretells after it: they never belong to different wishes.
    const size = Buffer.alloc(4);
    size.writeUInt32LE(found.jpeg.length);
    const body = new ReadableStream<Uint8Array>({
      async start(controller) {
        controller.enqueue(Buffer.concat([size, found.jpeg]));
        try {
          const facts = await found.facts;
          if (facts) controller.enqueue(Buffer.from(JSON.stringify(facts)));
          controller.close();
        } catch (error) {
          controller.error(error);
        }
      },
    });
    return new Response(body, { headers: { 'content-type': 'application/octet-stream' } });
  });
  app.get('/api/jobs/:id/looks/:look/loupe', async (c) => {
    const { x, y, width, height, as } = c.req.query();
    const ask = parseWith(LOUPE_ASK, { x: Number(x), y: Number(y), width: Number(width), height: Number(height), as });
    return picture(await jobs.loupe(c.req.param('id'), c.req.param('look'), ask), 'image/png');
  });
  app.post('/api/jobs/:id/keep', async (c) => c.json(await jobs.keep(c.req.param('id'))));
  app.get('/api/jobs/:id/files/:file', async (c) => {
    const file = c.req.param('file');
    const bytes = await jobs.readFileOf(c.req.param('id'), file);
    return fileAnswer(bytes, file, c.req.query('view') !== undefined);
  });

  addCalibrationRoutes(app, calibration, receiving);
  app.get('/api/profiles/:name/uses', (c) => {
    const name = parseWith(RECORD_NAME, c.req.param('name'));
    return c.json(listUses(name, { jobs: jobs.list(), orders: listOrders(orders) }));
  });
  app.post('/api/drawings', async (c) => {
    const svg = await receiveText(c.req.raw, LIMITS.list);
    return c.json({ name: await keepArtwork(svg, readFileName(c.req.header('x-file-name')), options) }, 201);
  });
  addOrderRoutes(app, orders, receiving);
  return { app, close: stopStreams };
}

/** Work that goes through a profile, which its deletion would leave without one. */
function listUses(
  profile: string,
  { jobs, orders }: { readonly jobs: readonly JobCard[]; readonly orders: readonly OrderView[] },
): ProfileUses {
  return {
    jobs: jobs.filter(({ wish }) => wish.profile === profile).map(({ name }) => name),
    orders: orders
      .filter(({ wish, pieces }) => wish.profile === profile || pieces.some(({ own }) => own.profile === profile))
      .map(({ title }) => title),
  };
}

/** The page's own files by their address; nothing else in that folder or above it can be asked for. */
async function readPage(folder: string) {
  const files = new Map<string, { readonly bytes: Uint8Array<ArrayBuffer>; readonly type: string }>();
  for (const name of await readdir(folder)) {
    const type = TYPES[extname(name)];
    if (type === undefined) continue;
    const bytes = new Uint8Array(await readFile(join(folder, name)));
    files.set(name === 'index.html' ? '/' : `/${name}`, { bytes, type });
  }
  return files;
}

const ASK = v.strictObject({
  wish: v.unknown(),
  showClipped: v.boolean(),
  window: v.pipe(v.string(), v.regex(/^[0-9a-f-]{8,40}$/)),
  longSidePx: v.pipe(v.number(), v.integer(), v.minValue(1), v.maxValue(20_000)),
});

function parseAsk(json: unknown): LookAsk {
  const { wish, ...rest } = parseWith(ASK, json);
  return { ...rest, wish: parseWish(wish) };
}

function readHeaderJson(text: string | undefined): Wish {
  try {
    return parseWish(parseJson(decodeURIComponent(text ?? '')));
  } catch (error) {
    if (error instanceof AppError) throw error;
    throw new AppError('option-invalid', 'found no readable wish beside the photo');
  }
}
