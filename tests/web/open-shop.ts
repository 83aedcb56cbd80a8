import { mkdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import type { Browser, Page } from 'playwright-core';
import { afterAll, beforeAll, expect } from 'vitest';
import { launch, type Opened, openPage, type View } from '../../benchmarks/common/browser.ts';
import { enter, makeFolder, type PageServer, startPageServer } from './page-server.ts';

/** Longest that a step of the page may take, ms. Assumed: a loaded machine, and a proof of a whole card. */
export const TIME = 240_000;

/** What is asked of a photo at first: a card on the fastest machine of the built-in ones. */
export const CARD = {
  widthMm: 85.6,
  heightMm: 53.98,
  cornerRadiusMm: 3.18,
  machine: 'galvo-355-f210',
  profile: 'anodised-black',
  fit: 'cover',
  safeMarginMm: 2,
  tone: 'auto',
  toneValues: {},
  range: 'scale',
} as const;

/** The same on a tag, for tests that burn it: there are few dots. */
export const TAG = { ...CARD, widthMm: 30, heightMm: 20, cornerRadiusMm: 0, safeMarginMm: 0 } as const;

/** What a job's folder says of it, as far as tests ask. */
interface KeptRecord {
  // biome-ignore lint/suspicious/noExplicitAny: tests look into it at will
  readonly wish: any;
  readonly photo: { readonly width: number; readonly height: number };
}

export interface OpenShop {
  /** Folder of the test, in which the shop is one. */
  readonly path: string;
  readonly shop: string;
  readonly server: () => PageServer;
  readonly browser: () => Browser;
  /** Ends the server as a crash does. */
  readonly crash: () => Promise<void>;
  readonly restart: () => Promise<void>;
  /** As the page asks. */
  readonly keys: () => Promise<Readonly<Record<string, string>>>;
  readonly post: (path: string, body: unknown) => Promise<{ readonly id: string }>;
  /** A job of a sample photo; its id. */
  readonly openSample: (sample: string, wish: object) => Promise<string>;
  readonly recordOnDisk: (job: string) => KeptRecord;
  /** The page at an address, in a browser that was never there. */
  readonly open: (route: string, view?: View) => Promise<Opened>;
}

/** A shop that is open while the tests of a file run, and a browser beside it. */
export function useOpenShop(): OpenShop {
  const folder = makeFolder();
  const shop = join(folder.path, 'shop');
  const now: { server?: PageServer; browser?: Browser } = {};
  beforeAll(async () => {
    mkdirSync(shop);
    now.server = await startPageServer(shop);
    now.browser = await launch();
  }, TIME);
  afterAll(async () => {
    await now.browser?.close();
    await now.server?.stop();
    folder.remove();
  });
  const server = () => now.server!;
  const post = async (path: string, body: unknown) => {
    const answer = await fetch(server().origin + path, {
      method: 'POST',
      body: body instanceof Blob ? body : JSON.stringify(body),
      headers: { ...(await enter(server())), 'x-file-name': 'photo.png' },
    });
    expect(answer.ok, path).toBe(true);
    return (await answer.json()) as { id: string };
  };
  return {
    path: folder.path,
    shop,
    server,
    browser: () => now.browser!,
    crash: () => server().stop('SIGKILL'),
    async restart() {
      now.server = await startPageServer(shop);
    },
    keys: () => enter(server()),
    post,
    openSample: async (sample, wish) => (await post(`/api/samples/${sample}`, wish)).id,
    recordOnDisk: (job) => JSON.parse(readFileSync(join(shop, 'jobs', job, 'job.json'), 'utf8')),
    async open(route, view) {
      const opened = await openPage(now.browser!, server().url, view);
      await opened.page.waitForURL(/#\/$/);
      await opened.page.goto(`${server().origin}/#${route}`);
      return opened;
    },
  };
}

/** The proof is there, and what it foretells. */
export async function waitForProof(page: Page): Promise<void> {
  await page.getByText('Proof of the dots as they will burn').waitFor({ timeout: TIME });
  await page.getByText('On the machine').waitFor({ timeout: TIME });
}
