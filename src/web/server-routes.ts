import type { HttpBindings } from '@hono/node-server';
import { Hono } from 'hono';
import { AppError } from '../errors.ts';
import type { Shop } from '../material/index.ts';
import { createContext, keepArtwork } from '../tasks/index.ts';
import type { Calibration } from './calibration/context.ts';
import { addCalibrationRoutes } from './calibration/routes.ts';
import { addSample, type Jobs, listJobs } from './jobs/actions.ts';
import { addJobRoutes } from './jobs/routes.ts';
import { listOrders, type Orders, subjectOfPiece } from './orders/actions.ts';
import { addOrderRoutes } from './orders/routes.ts';
import type { JobCard, OrderView, ProfileUses, StartView } from './protocol.ts';
import { addRecordRoutes } from './record/routes.ts';
import { readFileName, thumbnail } from './server-answers.ts';
import { describeError } from './server-errors.ts';
import type { EventHub } from './server-events.ts';
import { createEntry, createGuard, setHeaders } from './server-guard.ts';
import { LIMITS, type Receiving } from './server-limits.ts';
import { addPageFiles } from './server-page-files.ts';
import { parsePhotoSettings, parseWith, RECORD_NAME } from './server-photo-settings.ts';
import { addPreviewRoutes } from './server-preview-routes.ts';
import type { Previews } from './server-previews.ts';
import { receiveJson, receiveText } from './server-receive.ts';
import type { Sessions } from './server-sessions.ts';
import { findSample, viewShop } from './server-shop.ts';
import { addEventRoute } from './server-stream.ts';
import { createThumbnails } from './server-thumbnails.ts';
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
  readonly previews: Previews;
  readonly calibration: Calibration;
  readonly orders: Orders;
  readonly work: Work;
  readonly events: EventHub;
}

/** Files that are received at once, a count. Assumed: more than one shop's screens need. */
const MOST_UPLOADS = 4;

export async function createApp(options: AppOptions): Promise<{ readonly app: Hono; readonly close: () => void }> {
  const { jobs, previews, calibration, orders, events } = options;
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
  app.get('/api/start', async (c) => {
    // Before the lists: what happens while they are made is missed by them, never the other way about.
    const revision = events.revision();
    const shop = await viewShop(options);
    const start: StartView = { revision, shop, jobs: listJobs(jobs), orders: listOrders(orders) };
    return c.json(start);
  });

  const stopStreams = addEventRoute(app, events);

  app.get('/api/samples/:sample', async (c) => {
    const path = await findSample(options.photosDir, c.req.param('sample'));
    return thumbnail(await thumbnails.of(path));
  });
  app.post('/api/samples/:sample', async (c) => {
    const wish = parsePhotoSettings(await receiveJson(c.req.raw, LIMITS.json));
    const path = await findSample(options.photosDir, c.req.param('sample'));
    return c.json(await addSample(jobs, path, wish), 201);
  });
  addJobRoutes(app, jobs, { previews, thumbnails, receiving, context: () => createContext(options) });
  addRecordRoutes(app, options);
  addCalibrationRoutes(app, calibration, receiving);
  app.get('/api/profiles/:name/uses', (c) => {
    const name = parseWith(RECORD_NAME, c.req.param('name'));
    return c.json(listUses(name, { jobs: listJobs(jobs), orders: listOrders(orders) }));
  });
  app.post('/api/drawings', async (c) => {
    const svg = await receiveText(c.req.raw, LIMITS.list);
    return c.json({ name: await keepArtwork(svg, readFileName(c.req.header('x-file-name')), options) }, 201);
  });
  addOrderRoutes(app, orders, receiving);
  addPreviewRoutes(app, '/api/orders/:id/pieces/:piece', {
    previews,
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
