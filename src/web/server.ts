import { randomBytes } from 'node:crypto';
import { mkdir, readFile, writeFile } from 'node:fs/promises';
import type { Server } from 'node:http';
import type { AddressInfo } from 'node:net';
import { join } from 'node:path';
import { serve } from '@hono/node-server';
import { AppError } from '../errors.ts';
import { openShop } from '../material/index.ts';
import { findPackageRoot } from '../plane/index.ts';
import { openBench } from './server-bench.ts';
import { createEventHub } from './server-events.ts';
import { openJobs } from './server-jobs.ts';
import { openOrders } from './server-orders.ts';
import { createApp } from './server-routes.ts';
import { openWork } from './server-work.ts';

export interface PageOptions {
  /** The shop's folder; made when it is not there. */
  readonly shopDir: string;
  /** 0: the one of last time, so that a page that is still open finds its server again, else any that is free. */
  readonly port: number;
  readonly version: string;
}

export interface OpenedPage {
  /** Address with the token; what stands after # never leaves the browser. */
  readonly url: string;
  readonly port: number;
  readonly close: () => Promise<void>;
}

const TOKEN = /^[0-9a-f]{48}$/;
/** Connections at once, and what a slow or silent one may take, ms. */
const CONNECTIONS = { most: 64, headersMs: 10_000, requestMs: 240_000 } as const;

/** Starts the page's server on the loopback interface and nowhere else. */
export async function startPage({ shopDir, port, version }: PageOptions): Promise<OpenedPage> {
  const root = findPackageRoot();
  if (root === undefined) throw new Error('the folder of the package was not found beside the program');
  await mkdir(shopDir, { recursive: true });
  const kept = await readKept(shopDir);
  const token = kept?.token ?? randomBytes(24).toString('hex');
  const shared = join(root, 'shared');
  const builtIn = [join(shared, 'shop'), shared];
  const work = openWork(join(root, 'dist'), { shopDir, builtIn, version });
  const events = createEventHub();
  const jobs = await openJobs({ shopDir, work, events });
  const shop = openShop({ shopDir, builtIn });
  const bench = await openBench({ shop, shopDir, work, events });
  const orders = await openOrders({ shop, shopDir, builtIn, version, work, events });
  let bound = 0;
  const { app, close: closeStreams } = await createApp({
    shop,
    shopDir,
    version,
    photosDir: join(root, 'images', 'photos'),
    pageDir: join(root, 'dist', 'page'),
    port: () => bound,
    token,
    jobs,
    bench,
    orders,
    work,
    events,
  });
  const listen = (wanted: number) =>
    new Promise<Server>((resolve, reject) => {
      const server = serve({
        fetch: app.fetch,
        hostname: '127.0.0.1',
        port: wanted,
        serverOptions: {
          headersTimeout: CONNECTIONS.headersMs,
          requestTimeout: CONNECTIONS.requestMs,
          connectionsCheckingInterval: 2000,
        },
      }) as Server;
      server.maxConnections = CONNECTIONS.most;
      server.once('error', reject);
      server.once('listening', () => resolve(server));
    });
  const again = port === 0 ? (kept?.port ?? 0) : port;
  const server = await listen(again).catch((error: NodeJS.ErrnoException) => {
    if (port === 0 && again !== 0 && error.code === 'EADDRINUSE') return listen(0);
    if (error.code === 'EADDRINUSE' || error.code === 'EACCES') {
      const reason = error.code === 'EACCES' ? 'which the system reserves' : 'which another program uses';
      throw new AppError('option-invalid', `--port: found ${port}, ${reason}; needed a free one, or 0 for any`);
    }
    throw error;
  });
  bound = (server.address() as AddressInfo).port;
  // Readable by its owner alone: who has the token may use the page.
  await writeFile(join(shopDir, '.page.json'), `${JSON.stringify({ token, port: bound })}\n`, { mode: 0o600 });
  return {
    url: `http://127.0.0.1:${bound}/#${token}`,
    port: bound,
    async close() {
      closeStreams();
      server.closeAllConnections();
      await new Promise((resolve) => server.close(resolve));
      await orders.close();
      await work.close();
    },
  };
}

async function readKept(shopDir: string): Promise<{ readonly token: string; readonly port: number } | undefined> {
  try {
    const { token, port } = JSON.parse(await readFile(join(shopDir, '.page.json'), 'utf8')) as Record<string, unknown>;
    if (typeof token !== 'string' || !TOKEN.test(token)) return undefined;
    return { token, port: typeof port === 'number' && port > 0 && port < 65536 ? port : 0 };
  } catch {
    return undefined;
  }
}
