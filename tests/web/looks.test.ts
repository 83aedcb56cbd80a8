import { existsSync, mkdirSync, readFileSync, writeFileSync } from 'node:fs';
import { createRequire } from 'node:module';
import { join } from 'node:path';
import pixelmatch from 'pixelmatch';
import type { Browser, Page } from 'playwright-core';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { launch, openPage } from '../../benchmarks/common/browser.ts';
import { decodePhoto } from '../../src/plane/index.ts';
import { enter, makeFolder, type PageServer, runCommand, startPageServer } from './page-server.ts';
import { openGroup } from './stage-steps.ts';

const TIME = 300_000;
/** Longest for one thing to come, so that it is told which did not. */
const WAIT = 100_000;
/**
 * How each state is looked at, one after the other: what changes is the window and the scheme, the page is opened once.
 */
const VIEWS = [
  { width: 1280, scheme: 'light' },
  { width: 1280, scheme: 'dark' },
  { width: 1920, scheme: 'light' },
  { width: 1366, scheme: 'light' },
  { width: 1366, scheme: 'dark' },
  { width: 390, scheme: 'light' },
] as const;
type View = (typeof VIEWS)[number];
const GOLDEN = join('tests', 'web', 'golden');
const UPDATE = process.env.UPDATE_GOLDEN === '1';
/** Both schemes have the same shapes: a picture of each kind of screen in the dark is enough. */
const DARK_TOO = ['home', 'photo', 'show', 'reading', 'order'];
/** A wide window shows what a common one does, farther apart: each kind of screen once, and all that is staged. */
const WIDE_TOO = [...DARK_TOO, 'photo-mask', 'photo-divider', 'side-by-side', 'order-piece', 'material'];
/** What is turned to a customer, on a common laptop, whose window is low. */
const LOW_TOO = ['photo', 'show', 'side-by-side', 'order-piece', 'takes'];
/** Other systems draw letters, controls and scaled pictures a little differently: that much may differ, no more. */
const TOLERANCE = { share: 0.04, threshold: 0.25 } as const;

const axe = readFileSync(createRequire(import.meta.url).resolve('axe-core/axe.min.js'), 'utf8');

const folder = makeFolder();
const shop = join(folder.path, 'shop');
let server: PageServer;
let browser: Browser;
let job = '';
let spoiled = '';
let reading = '';
let order = '';

const PHOTO_SETTINGS = {
  widthMm: 30,
  heightMm: 20,
  cornerRadiusMm: 2,
  machine: 'galvo-355-f210',
  profile: 'anodised-black',
  fit: 'cover',
  safeMarginMm: 0,
  tone: 'auto',
  toneValues: {},
  range: 'scale',
} as const;

async function post<T>(path: string, body: unknown, file = 'scan.png'): Promise<T> {
  const raw = body instanceof Uint8Array;
  const answer = await fetch(server.origin + path, {
    method: 'POST',
    body: raw ? new Uint8Array(body) : JSON.stringify(body),
    headers: { ...(await enter(server)), 'x-file-name': file },
  });
  if (!answer.ok) throw new Error(`${path}: ${answer.status} ${await answer.text()}`);
  return (await answer.json()) as T;
}

/** A shop with a job, a learned material and a finished order. */
beforeAll(async () => {
  mkdirSync(shop);
  server = await startPageServer(shop);
  browser = await launch();
}, TIME);

async function fillShop(): Promise<void> {
  job = (await post<{ id: string }>('/api/samples/cat', PHOTO_SETTINGS)).id;
  await post(`/api/jobs/${job}/keep`, {});
  spoiled = (await post<{ id: string }>('/api/samples/cup', PHOTO_SETTINGS)).id;
  // Neither waits for the other.
  await Promise.all([readChart(), makeOrder()]);
}

async function readChart(): Promise<void> {
  const chart = await post<{ hash: string }>('/api/charts', {
    kind: 'tone',
    machine: PHOTO_SETTINGS.machine,
    material: 'anodised-black',
    widthMm: 85.6,
    heightMm: 54,
    spacingMm: 0.02,
  });
  const scan = join(folder.path, 'scan.png');
  const burned = join(shop, 'charts', chart.hash, 'chart.png');
  const camera = ['--material-model', 'anodised-black', '--camera', 'flatbed-600'];
  await runCommand(folder.path, 'simulate', 'capture', burned, ...camera, '--out', scan);
  const capture = await post<{ id: string }>('/api/captures', readFileSync(scan));
  const asked = { captures: [capture.id], camera: 'known', mirrored: false, title: 'card' };
  reading = (await post<{ id: string }>('/api/readings', asked)).id;
}

async function makeOrder(): Promise<void> {
  order = (await post<{ id: string }>('/api/orders', { title: 'Saturday market', wish: PHOTO_SETTINGS })).id;
  for (const name of ['cat', 'cup', 'photographer']) {
    await post(`/api/orders/${order}/photos`, readFileSync(`images/photos/${name}.png`), `${name}.png`);
  }
  await post(`/api/orders/${order}/run`, {});
  const keys = await enter(server);
  for (let made = false; !made; ) {
    await new Promise((done) => setTimeout(done, 500));
    const answer = await fetch(`${server.origin}/api/orders/${order}`, { headers: keys });
    made = ((await answer.json()) as { totals: unknown }).totals !== null;
  }
  await post(`/api/orders/${order}/plates`, {});
}

afterAll(async () => {
  await browser?.close();
  await server?.stop();
  folder.remove();
});

interface State {
  readonly name: string;
  readonly route: () => string;
  /** Brings the page into the state, from its route. */
  readonly settle: (page: Page) => Promise<void>;
}

const proof = (page: Page) => page.getByText('Proof of the dots as they will burn').waitFor({ timeout: WAIT });

const FIRST: readonly State[] = [
  { name: 'first-visit', route: () => '/', settle: (page) => page.getByText('Nothing yet.').waitFor() },
  { name: 'no-charts', route: () => '/material', settle: (page) => page.getByText('Draw a chart first.').waitFor() },
  { name: 'no-orders', route: () => '/order', settle: (page) => page.getByText('None yet.').waitFor() },
];

const FILLED: readonly State[] = [
  { name: 'home', route: () => '/', settle: (page) => page.getByText('ready to burn').waitFor() },
  { name: 'photo', route: () => `/photo/${job}`, settle: proof },
  {
    name: 'photo-divider',
    route: () => `/photo/${job}`,
    settle: async (page) => {
      await page.getByText('Before and after').click();
      await page.getByLabel('Show what is cut off').check();
      await page.getByText('cut off at the dark end').first().waitFor({ timeout: WAIT });
      await proof(page);
    },
  },
  {
    name: 'photo-mask',
    route: () => `/photo/${job}`,
    settle: async (page) => {
      await openGroup(page, 'Crop');
      await page.getByRole('button', { name: 'Paint the subject' }).click();
      await page.getByText('The photo under the mask of its subject').waitFor({ timeout: WAIT });
      await page.getByText('On the machine').waitFor({ timeout: WAIT });
    },
  },
  {
    name: 'show',
    route: () => `/show/${job}`,
    settle: (page) =>
      expect.poll(() => page.getByRole('button', { name: 'Yes, like this' }).isEnabled(), { timeout: WAIT }).toBe(true),
  },
  {
    name: 'side-by-side',
    route: () => `/compare/${job}`,
    settle: async (page) => {
      await page.getByLabel('What stands in place 2').selectOption('tone:plain');
      await expect.poll(() => page.locator('.pane .key-facts').count(), { timeout: WAIT }).toBe(2);
    },
  },
  {
    name: 'photo-error',
    route: () => `/photo/${spoiled}`,
    settle: async (page) => {
      await openGroup(page, 'Material');
      await page.getByLabel('Machine', { exact: true }).selectOption('galvo-355-f100');
      await openGroup(page, 'Piece');
      await page.getByLabel('Width', { exact: true }).fill('300');
      await page.getByLabel('Width', { exact: true }).press('Tab');
      await page.getByText(/the field of 355 nm galvo, 100 mm lens is/).waitFor({ timeout: WAIT });
    },
  },
  {
    name: 'material',
    route: () => '/material',
    settle: (page) => page.getByRole('heading', { name: 'Profiles' }).waitFor(),
  },
  {
    name: 'reading',
    route: () => `/material/reading/${reading}`,
    settle: (page) => page.getByRole('img', { name: /^Tone curve/ }).waitFor(),
  },
  {
    name: 'profile',
    route: () => '/material/profile/slate-coaster',
    settle: (page) => page.getByRole('img', { name: /^Tone curve/ }).waitFor(),
  },
  {
    name: 'compare',
    route: () => '/material/compare/anodised-black/anodised-black-fine',
    settle: (page) => page.getByRole('img', { name: /^Tone curves/ }).waitFor(),
  },
  { name: 'order', route: () => `/order/${order}`, settle: (page) => page.getByText('All pieces are made').waitFor() },
  {
    name: 'order-piece',
    route: () => `/order/${order}`,
    settle: async (page) => {
      await page
        .getByRole('button', { name: /see and change/ })
        .first()
        .click();
      await page.getByRole('dialog').waitFor();
      await proof(page);
    },
  },
  {
    name: 'takes',
    route: () => `/order/${order}`,
    settle: async (page) => {
      const piece = page.getByRole('button', { name: /see and change/ });
      await piece.first().click();
      await openGroup(page, 'Crop');
      await page.getByRole('button', { name: 'Turn right' }).click();
      await page.getByText('Softer', { exact: true }).click();
      await openGroup(page, 'Tone');
      await page.getByLabel('Contrast', { exact: true }).fill('0.4');
      await proof(page);
      await page.getByRole('button', { name: 'Takes to go back to' }).filter({ visible: true }).click();
      const pictures = page.locator('.take-strip img');
      await expect.poll(() => pictures.count(), { timeout: WAIT }).toBe(4);
    },
  },
];

async function settled(page: Page): Promise<void> {
  // A piece that has another size on the screen is drawn for it, once the window's edge is at rest.
  await page.waitForTimeout(350);
  await page.waitForFunction(() => !document.querySelector('[aria-busy="true"]'), null, { timeout: WAIT });
  await page.evaluate(() => document.fonts.ready);
  // Pictures of lists come when they are scrolled to, those in sight at once.
  await page.waitForFunction(() =>
    [...document.images].every((image) => image.complete || image.getBoundingClientRect().top > innerHeight),
  );
  await page.waitForTimeout(250);
}

/** Heights of windows, CSS pixels. Assumed: a telephone, a common laptop under a browser's bars, a desk. */
const sizeOf = (width: number) => ({ width, height: width < 600 ? 844 : width === 1366 ? 650 : 900 });

/** Opens a state in a browser that has never been here. */
async function show(state: State, { width, scheme }: View) {
  const opened = await openPage(browser, server.url, { ...sizeOf(width), scheme });
  await opened.page.waitForURL(/#\/$/);
  await opened.page.goto(`${server.origin}/#${state.route()}`);
  await state.settle(opened.page);
  await settled(opened.page);
  return opened;
}

/** The same page in another window or scheme. */
async function change(page: Page, { width, scheme }: View): Promise<void> {
  await page.setViewportSize(sizeOf(width));
  await page.emulateMedia({ colorScheme: scheme });
  await settled(page);
}

/** What axe-core finds wrong, in words. */
async function findViolations(page: Page, scheme: View['scheme'] = 'light'): Promise<string[]> {
  if (!(await page.evaluate(() => 'axe' in window))) await page.evaluate(axe);
  // A scheme is of colours alone.
  const rules = scheme === 'dark' ? ['cat.color'] : undefined;
  return page.evaluate(async (runOnly) => {
    const { axe: run } = window as unknown as {
      axe: {
        run: (options: {
          resultTypes: string[];
          runOnly?: string[];
        }) => Promise<{ violations: { id: string; nodes: { target: string[]; failureSummary: string }[] }[] }>;
      };
    };
    const { violations } = await run.run({ resultTypes: ['violations'], ...(runOnly ? { runOnly } : {}) });
    return violations.flatMap(({ id, nodes }) =>
      nodes.map(({ target, failureSummary }) => `${id}: ${target} ${failureSummary}`),
    );
  }, rules);
}

/** Whether the page is wider than the window: then a person has to scroll sideways. */
const isTooWide = (page: Page) => page.evaluate(() => document.documentElement.scrollWidth > innerWidth);

async function comparePicture(page: Page, name: string): Promise<void> {
  const picture = await page.screenshot();
  const path = join(GOLDEN, `${name}.jpg`);
  const { encodeJpeg } = await import('../../src/plane/index.ts');
  const seen = await decodePhoto(picture, name);
  if (UPDATE) {
    mkdirSync(GOLDEN, { recursive: true });
    const { width, height } = seen;
    writeFileSync(path, await encodeJpeg({ width, height, rgb: seen.rgb as Uint8Array }, { quality: 50 }));
    return;
  }
  expect(existsSync(path), `${path} is there; UPDATE_GOLDEN=1 makes it`).toBe(true);
  const wanted = await decodePhoto(readFileSync(path), path);
  expect([seen.width, seen.height]).toEqual([wanted.width, wanted.height]);
  const [a, b] = [withAlpha(seen.rgb), withAlpha(wanted.rgb)];
  const off = pixelmatch(a, b, undefined, seen.width, seen.height, { threshold: TOLERANCE.threshold });
  const share = off / (seen.width * seen.height);
  if (share > TOLERANCE.share) writeFileSync(join(GOLDEN, `${name}-changed.png`), picture);
  expect(share, `${name}: share of pixels that differ`).toBeLessThan(TOLERANCE.share);
}

function withAlpha(rgb: Uint8Array | Uint16Array): Uint8ClampedArray {
  const out = new Uint8ClampedArray((rgb.length / 3) * 4).fill(255);
  for (let i = 0, at = 0; i < rgb.length; i += 3, at += 4) {
    out[at] = rgb[i]!;
    out[at + 1] = rgb[i + 1]!;
    out[at + 2] = rgb[i + 2]!;
  }
  return out;
}

function testStates(states: readonly State[]): void {
  for (const state of states) {
    test(
      `${state.name} has no fault that axe-core finds, light and dark, and looks as it should at three widths`,
      async () => {
        const { page, context } = await show(state, VIEWS[0]);
        for (const view of VIEWS) {
          const { width, scheme } = view;
          if (width === 1366 ? !LOW_TOO.includes(state.name) : width > 1280 && !WIDE_TOO.includes(state.name)) continue;
          await change(page, view);
          if (width <= 1280) expect(await findViolations(page, scheme), `${state.name} ${width} ${scheme}`).toEqual([]);
          expect(await isTooWide(page), `${state.name} at ${width} scrolls sideways`).toBe(false);
          const dark = scheme === 'dark';
          if (!dark || DARK_TOO.includes(state.name)) {
            await comparePicture(page, `${state.name}-${width}${dark ? '-dark' : ''}`);
          }
        }
        await context.close();
      },
      TIME,
    );
  }
}

describe('an empty shop', () => testStates(FIRST));

describe('a shop at work', () => {
  beforeAll(fillShop, TIME);
  testStates(FILLED);

  test(
    'the states that pass by — lost server, refused entry, reading a photo — have no fault either',
    async () => {
      const { page, context } = await openPage(browser, server.origin);
      await page.getByRole('heading', { name: 'This page opens with its own address' }).waitFor();
      expect(await findViolations(page)).toEqual([]);
      await comparePicture(page, 'refused-1280');
      await context.close();

      const lost = await show(FILLED[0]!, VIEWS[0]);
      await lost.page.route('**/api/events', (route) => route.abort());
      await lost.page.reload();
      await lost.page.getByText('The server has stopped.').waitFor();
      // What it had told before is there, too: on a busy machine the lists come after that word.
      await FILLED[0]!.settle(lost.page);
      await settled(lost.page);
      expect(await findViolations(lost.page)).toEqual([]);
      await comparePicture(lost.page, 'offline-1280');
      await lost.context.close();

      const busy = await show(FILLED[0]!, VIEWS[1]);
      await busy.page.route('**/look', () => undefined);
      await busy.page.route('**/draft', () => undefined);
      await busy.page.goto(`${server.origin}/#/photo/${job}`);
      await busy.page.getByText('Reading the photo').waitFor();
      expect(await findViolations(busy.page)).toEqual([]);
      await comparePicture(busy.page, 'photo-loading-1280-dark');
      await busy.context.close();
    },
    TIME,
  );

  test(
    'the whole way to the files can be gone with the keyboard alone, and the focus is always seen',
    async () => {
      const { page, context } = await show(FILLED[1]!, VIEWS[0]);
      await page.evaluate(() => (document.activeElement as HTMLElement | null)?.blur());
      const seen: string[] = [];
      for (let i = 0; i < 60; i++) {
        await page.keyboard.press('Tab');
        const found = await page.evaluate(() => {
          const active = document.activeElement as HTMLElement;
          const ring = (element: Element | null) =>
            element !== null && getComputedStyle(element).outlineStyle !== 'none';
          const shown = ring(active) || ring(active.closest('label'));
          return {
            name: active.getAttribute('aria-label') ?? active.textContent?.trim() ?? '',
            tag: active.tagName,
            shown,
          };
        });
        if (found.tag === 'BODY') break;
        expect(found.shown, `${found.tag} ${found.name}`).toBe(true);
        seen.push(`${found.tag} ${found.name}`);
      }
      for (const part of [/Crop/, /Proof of the engraved piece/, /Hold for the photo/, /For the bench/, /Files/]) {
        expect(
          seen.some((one) => part.test(one)),
          String(part),
        ).toBe(true);
      }
      await context.close();
    },
    TIME,
  );

  test(
    'lengths can be read and typed in inches',
    async () => {
      const { page, context } = await show(FILLED[1]!, VIEWS[0]);
      await openGroup(page, 'Piece');
      await page.getByText('inch', { exact: true }).click();
      expect(await page.getByLabel('Width', { exact: true }).inputValue()).toBe('1.181');
      await page.getByLabel('Width', { exact: true }).fill('1.5');
      await page.getByLabel('Width', { exact: true }).press('Tab');
      const path = join(shop, 'jobs', job, 'job.json');
      await expect
        .poll(() => JSON.parse(readFileSync(path, 'utf8')).wish.widthMm, { timeout: 30_000 })
        .toBeCloseTo(38.1, 3);
      await context.close();
    },
    TIME,
  );
});
