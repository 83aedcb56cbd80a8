import { readFile } from 'node:fs/promises';
import type { HttpBindings } from '@hono/node-server';
import { Hono } from 'hono';
import * as v from 'valibot';
import { AppError } from '../errors.ts';
import { parseJson } from '../json.ts';
import type { Shop } from '../material/index.ts';
import { createContext, keepArtwork, listBurned, recordBurn, renderBurnedCsv } from '../tasks/index.ts';
import type { Calibration } from './calibration/context.ts';
import { addCalibrationRoutes } from './calibration/routes.ts';
import { listOrders, type Orders, subjectOfPiece } from './orders/actions.ts';
import { addOrderRoutes } from './orders/routes.ts';
import type { BurnedCard, JobCard, OrderView, ProfileUses, Wish } from './protocol.ts';
import { fileAnswer, picture, readFileName, thumbnail } from './server-answers.ts';
import { describeError } from './server-errors.ts';
import type { EventHub } from './server-events.ts';
import { createEntry, createGuard, setHeaders } from './server-guard.ts';
import type { Jobs } from './server-jobs.ts';
import { LIMITS, type Receiving } from './server-limits.ts';
import { addLookRoutes } from './server-look-routes.ts';
import type { Looks } from './server-looks.ts';
import { addPageFiles } from './server-page-files.ts';
import { receiveFile, receiveJson, receiveText } from './server-receive.ts';
import type { Sessions } from './server-sessions.ts';
import { findSample, viewShop } from './server-shop.ts';
import { addEventRoute } from './server-stream.ts';
import { createThumbnails } from './server-thumbnails.ts';
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
  readonly sessions: Sessions;
  readonly jobs: Jobs;
  readonly looks: Looks;
  readonly calibration: Calibration;
  readonly orders: Orders;
  readonly work: Work;
  readonly events: EventHub;
}

/** What a person says of pieces that are burned. */
const BURNED_ASK = v.strictObject({
  count: v.pipe(v.number(), v.integer(), v.minValue(0), v.maxValue(100_000)),
  scrap: v.pipe(v.number(), v.integer(), v.minValue(0), v.maxValue(100_000)),
  note: v.exactOptional(v.pipe(v.string(), v.maxLength(1000))),
});

/** Files that are received at once, a count. Assumed: more than one shop's screens need. */
const MOST_UPLOADS = 4;

export async function createApp(options: AppOptions): Promise<{ readonly app: Hono; readonly close: () => void }> {
  const { jobs, looks, calibration, orders, events } = options;
  const app = new Hono();
  const thumbnails = createThumbnails(options.work);
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
    // What was not read of a request is in the way of the next one on this connection: the browser is told not to use
    // it.
    if ((c.env as Partial<HttpBindings>).incoming?.complete === false) c.header('connection', 'close');
    return c.json(body, status as 400);
  });
  app.notFound((c) => {
    const { body } = describeError(new AppError('path-missing', 'found nothing at this address'));
    return c.json(body, 404);
  });
  app.use('*', setHeaders);
  app.use('*', createGuard(options));

  await addPageFiles(app, options.pageDir);
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
    return thumbnail(await thumbnails.of(path));
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
  app.get('/api/jobs/:id/photo', async (c) => picture(await readFile(jobs.viewPath(c.req.param('id'))), 'image/jpeg'));
  app.get('/api/jobs/:id/thumbnail', async (c) => thumbnail(await thumbnails.of(jobs.viewPath(c.req.param('id')))));
  addLookRoutes(app, '/api/jobs/:id', { looks, subjectOf: ({ id = '' }) => jobs.subjectOf(id) });
  app.post('/api/jobs/:id/keep', async (c) => c.json(await jobs.keep(c.req.param('id'))));
  app.post('/api/jobs/:id/burned', async (c) => {
    const asked = parseWith(BURNED_ASK, await receiveJson(c.req.raw, LIMITS.json));
    const { entry } = await recordBurn({ ...jobs.burnedOf(c.req.param('id')), ...asked }, createContext(options));
    return c.json({ date: entry.date, count: entry.count, scrap: entry.scrap } satisfies BurnedCard, 201);
  });
  app.get('/api/burned', (c) => {
    const month = c.req.query('month');
    const { entries, totals } = listBurned(options.shop, { month });
    return c.json({ entries, totals });
  });
  app.get('/api/burned.csv', (c) => {
    const { entries } = listBurned(options.shop, { month: c.req.query('month') });
    return fileAnswer(Buffer.from(renderBurnedCsv(entries)), 'burned.csv', false);
  });
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
  addLookRoutes(app, '/api/orders/:id/pieces/:piece', {
    looks,
    subjectOf: ({ id = '', piece = '' }) => subjectOfPiece(orders, id, piece),
  });
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

function readHeaderJson(text: string | undefined): Wish {
  try {
    return parseWish(parseJson(decodeURIComponent(text ?? '')));
  } catch (error) {
    if (error instanceof AppError) throw error;
    throw new AppError('option-invalid', 'found no readable wish beside the photo');
  }
}
