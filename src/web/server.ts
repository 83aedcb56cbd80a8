import { readFile, stat, writeFile } from 'node:fs/promises';
import type { Server } from 'node:http';
import type { AddressInfo } from 'node:net';
import { join } from 'node:path';
import { serve } from '@hono/node-server';
import { AppError } from '../errors.ts';
import { parseJson } from '../json.ts';
import { createContext, forgetInputs, makeFolder, openShopFolder, packageRoot } from '../tasks/index.ts';
import { openCalibration } from './calibration/context.ts';
import { closeJobs, openJobs } from './jobs/actions.ts';
import { closeOrders, openOrders } from './orders/actions.ts';
import { limitStrangers } from './server-connections.ts';
import { createEventHub } from './server-events.ts';
import { writing } from './server-files.ts';
import { createPreviews } from './server-previews.ts';
import { createApp } from './server-routes.ts';
import { createSessions, drawSecret, isSecret } from './server-sessions.ts';
import { openWork } from './server-work.ts';

export interface PageOptions {
  /** The shop's folder; made when it is not there. */
  readonly shopDir: string;
  /** 0: the one of last time, so that a page that is still open finds its server again, else any that is free. */
  readonly port: number;
  readonly version: string;
  /** `true` ends the sessions of all browsers that were let in before. */
  readonly forgetBrowsers?: boolean;
}

export interface OpenedPage {
  /** Address with a token of this start; what stands after # never leaves the browser. */
  readonly url: string;
  readonly port: number;
  readonly close: () => Promise<void>;
}

/**
 * Connections at once that have not shown the token, and what a slow or silent one may take, ms. Assumed: a browser
 * opens six, and an upload may take minutes.
 */
const CONNECTIONS = { mostStrangers: 64, headersMs: 10_000, requestMs: 240_000 } as const;

/**
 * Starts the page's server on the loopback interface and nowhere else. When it cannot start, nothing of it stays.
 * @throws AppError path-unwritable for a shop folder that cannot be made or written; option-invalid for the port
 */
export function startPage(options: PageOptions): Promise<OpenedPage> {
  return forgetInputs(() => start(options));
}

async function start({ shopDir, port, version, forgetBrowsers = false }: PageOptions): Promise<OpenedPage> {
  const root = packageRoot();
  await makeShopFolder(shopDir);
  const kept = await readKept(shopDir);
  // The key outlives the server, so that a page that is open goes on; the address is of this start alone.
  const key = (forgetBrowsers ? undefined : kept?.key) ?? drawSecret();
  const token = drawSecret();
  // Before anything is opened: a folder that cannot be written is told of while there is nothing yet to end.
  await keep(shopDir, { key, port: kept?.port ?? 0 });
  const opened: (() => Promise<unknown> | undefined)[] = [];
  const close = async () => {
    for (const end of opened.splice(0).reverse()) await end();
  };
  try {
    const work = openWork(join(root, 'dist'), { shopDir, version });
    opened.push(() => work.close());
    const events = createEventHub();
    const previews = createPreviews(work);
    const jobs = await openJobs({ shopDir, work, previews, events });
    opened.push(() => closeJobs(jobs));
    const shop = openShopFolder({ shopDir });
    const calibration = await openCalibration({ shop, shopDir, pool: work, events });
    const orders = await openOrders({ context: createContext({ shop, version }), shopDir, work, events });
    opened.push(() => closeOrders(orders));
    let bound = 0;
    const { app, close: closeStreams } = await createApp({
      shop,
      shopDir,
      version,
      photosDir: join(root, 'images', 'photos'),
      pageDir: join(root, 'dist', 'page'),
      port: () => bound,
      token,
      sessions: createSessions(key),
      jobs,
      previews,
      calibration,
      orders,
      work,
      events,
    });
    const server = await listen(app.fetch, { port, last: kept?.port ?? 0 });
    opened.push(async () => {
      closeStreams();
      server.closeAllConnections();
      await new Promise((resolve) => server.close(resolve));
    });
    bound = (server.address() as AddressInfo).port;
    await keep(shopDir, { key, port: bound });
    return { url: `http://127.0.0.1:${bound}/#${token}`, port: bound, close };
  } catch (error) {
    await close();
    throw error;
  }
}

/** @throws AppError path-unwritable */
async function makeShopFolder(path: string): Promise<void> {
  await writing(path, makeFolder(path));
  if (!(await stat(path)).isDirectory()) {
    throw new AppError('path-unwritable', `${path}: found a file, needed the folder of the shop`, { path });
  }
}

/** Readable by its owner alone: who has the key may use the page. */
async function keep(shopDir: string, facts: Kept): Promise<void> {
  const path = join(shopDir, '.page.json');
  await writing(path, writeFile(path, `${JSON.stringify(facts)}\n`, { mode: 0o600 }));
}

/** Takes the port of last time where none is asked for and it is free, else any. */
async function listen(
  fetch: Parameters<typeof serve>[0]['fetch'],
  { port, last }: { readonly port: number; readonly last: number },
): Promise<Server> {
  const listenAt = (wanted: number) =>
    new Promise<Server>((resolve, reject) => {
      const server = serve({
        fetch,
        hostname: '127.0.0.1',
        port: wanted,
        serverOptions: {
          headersTimeout: CONNECTIONS.headersMs,
          requestTimeout: CONNECTIONS.requestMs,
          connectionsCheckingInterval: 2000,
        },
      }) as Server;
      limitStrangers(server, CONNECTIONS.mostStrangers);
      server.once('error', reject);
      server.once('listening', () => resolve(server));
    });
  const wanted = port === 0 ? last : port;
  return listenAt(wanted).catch((error: NodeJS.ErrnoException) => {
    if (port === 0 && wanted !== 0 && error.code === 'EADDRINUSE') return listenAt(0);
    if (error.code === 'EADDRINUSE' || error.code === 'EACCES') {
      const reason = error.code === 'EACCES' ? 'which the system reserves' : 'which another program uses';
      throw new AppError('option-invalid', `port: found ${port}, ${reason}; needed a free one, or 0 for any`);
    }
    throw error;
  });
}

/** What stays from one start to the next. */
interface Kept {
  readonly key: string;
  readonly port: number;
}

async function readKept(shopDir: string): Promise<Kept | undefined> {
  try {
    const { key, port } = parseJson(await readFile(join(shopDir, '.page.json'), 'utf8')) as Record<string, unknown>;
    if (!isSecret(key)) return undefined;
    return { key, port: typeof port === 'number' && port > 0 && port < 65536 ? port : 0 };
  } catch {
    return undefined;
  }
}
