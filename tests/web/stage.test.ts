import type { Page, Route } from 'playwright-core';
import { beforeEach, describe, expect, test } from 'vitest';
import { launch, openPage } from '../../benchmarks/common/browser.ts';
import { CARD, waitForProof as proof, TAG, TIME, useOpenShop } from './open-shop.ts';
import { closeGroups, openGroup } from './stage-steps.ts';

const shop = useOpenShop();
let job = '';

beforeEach(async () => {
  job = await shop.openSample('cat', CARD);
}, TIME);

const wishOnDisk = () => shop.recordOnDisk(job).wish;

async function openStage(width: number, height: number, route = `/photo/${job}`) {
  const opened = await shop.open(route, { width, height });
  await opened.page.locator('.piece > .seen').waitFor();
  return opened;
}

/** Boxes of the stage and the piece, CSS pixels. */
const measure = (page: Page) =>
  page.evaluate(() => {
    const box = (selector: string) => {
      const { left, top, right, bottom, width, height } = document.querySelector(selector)!.getBoundingClientRect();
      return { left, top, right, bottom, width, height };
    };
    return { stage: box('.stage'), piece: box('.piece'), window: { width: innerWidth, height: innerHeight } };
  });

describe('the stage is the page', () => {
  test(
    'three quarters of the window, the piece most of it, with a group open and without',
    async () => {
      const { page, context } = await openStage(1366, 650);
      for (const [width, height] of [
        [1366, 650],
        [1280, 800],
        [1920, 1000],
      ] as const) {
        await page.setViewportSize({ width, height });
        for (const open of [true, false]) {
          if (open) await openGroup(page, 'Tone');
          else await closeGroups(page);
          const { stage, piece } = await measure(page);
          const window = width * height;
          const about = `${width} × ${height}, ${open ? 'a group open' : 'none open'}`;
          expect((stage.width * stage.height) / window, about).toBeGreaterThanOrEqual(0.75);
          const filled = Math.max(piece.width / stage.width, piece.height / stage.height);
          expect(filled, about).toBeGreaterThanOrEqual(0.85);
          if (width === 1366) expect((piece.width * piece.height) / window, about).toBeGreaterThanOrEqual(0.36);
          for (const side of ['left', 'top'] as const) expect(piece[side], about).toBeGreaterThanOrEqual(stage[side]);
          for (const side of ['right', 'bottom'] as const) expect(piece[side], about).toBeLessThanOrEqual(stage[side]);
        }
      }
      await context.close();
    },
    TIME,
  );

  test('on a phone it takes the upper part while a control is moved, with facts and the main button in sight', {
    timeout: TIME,
  }, async () => {
    const { page, context } = await openStage(390, 844);
    await proof(page);
    await openGroup(page, 'Tone');
    // A look that an older one overtakes, whose request came later, is asked for again. The route stays: the browser's
    // driver never tells of a request that begins while its last route is taken away.
    let looks = 0;
    await page.route('**/look', (route) => (looks++ === 0 ? route.fulfill({ status: 204 }) : route.continue()));
    await page.getByLabel('Contrast', { exact: true }).fill('0.1');
    await expect.poll(() => looks, { timeout: TIME / 2 }).toBeGreaterThan(1);
    await proof(page);
    expect(await page.getByLabel('Contrast', { exact: true }).inputValue()).toBe('0.1');
    const slider = page.getByLabel('Sharpening', { exact: true });
    await slider.scrollIntoViewIfNeeded();
    await slider.fill('1');
    await slider.hover();
    const { stage, window } = await measure(page);
    expect(stage.top).toBeGreaterThanOrEqual(0);
    expect(stage.height).toBeGreaterThanOrEqual(0.4 * window.height);
    for (const part of ['Keep as a job', 'For the bench']) {
      const box = await page.getByRole('button', { name: part }).boundingBox();
      expect(box!.y >= 0 && box!.y + box!.height <= window.height, part).toBe(true);
    }
    expect(await page.getByText('On the machine').isVisible()).toBe(true);
    await page.unrouteAll({ behavior: 'ignoreErrors' });
    await context.close();
  });

  test(
    'the photo is there as long as a key or a button is held, and wheel and keys go nearer and back',
    async () => {
      const { page, context } = await openStage(1366, 650);
      await proof(page);
      const photo = page.getByAltText('As cropped, before engraving');
      await page.keyboard.down('p');
      await photo.waitFor();
      await page.keyboard.up('p');
      await photo.waitFor({ state: 'detached' });
      const button = (await page.getByRole('button', { name: 'Hold for the photo' }).boundingBox())!;
      await page.mouse.move(button.x + 20, button.y + 20);
      await page.mouse.down();
      await photo.waitFor();
      await page.mouse.up();
      await photo.waitFor({ state: 'detached' });

      const before = await measure(page);
      const at = { x: before.piece.left + before.piece.width / 4, y: before.piece.top + before.piece.height / 4 };
      await page.mouse.move(at.x, at.y);
      await page.mouse.wheel(0, -700);
      await expect.poll(async () => (await measure(page)).piece.width).toBeGreaterThan(3 * before.piece.width);
      const near = (await measure(page)).piece;
      // What was under the pointer still is.
      expect((at.x - near.left) / near.width).toBeCloseTo(0.25, 2);
      expect((at.y - near.top) / near.height).toBeCloseTo(0.25, 2);
      // Near enough, the very dots are drawn.
      await page.getByRole('group', { name: 'Proof of the engraved piece' }).focus();
      for (let i = 0; i < 5; i++) await page.keyboard.press('+');
      await page.locator('.closer').waitFor({ timeout: TIME });
      await page.keyboard.press('0');
      await expect.poll(async () => (await measure(page)).piece.width).toBeCloseTo(before.piece.width, 0);
      await context.close();
    },
    TIME,
  );
});

describe('what takes long', () => {
  test(
    'a search of the dots says how far it is, can be stopped and begun again, and gives way to another wish',
    async () => {
      const id = await shop.openSample('cat', { ...CARD, screen: 'direct-search' });
      const { page, context, complaints } = await shop.open(`/photo/${id}`, { width: 1366, height: 650 });
      const share = page.getByText(/^Drawing the dots, \d+ %$/);
      await share.waitFor({ timeout: TIME });
      const first = Number(/\d+/.exec((await share.textContent())!)![0]);
      await expect
        .poll(async () => Number(/\d+/.exec((await share.textContent())!)![0]), { timeout: TIME })
        .toBeGreaterThan(first);
      await page.getByRole('button', { name: 'Stop', exact: true }).click();
      await page.getByText('Stopped: the tones without their dots').waitFor();
      // Nothing is foretold by what has no dots, and nothing made of it.
      expect(await page.getByText('On the machine').count()).toBe(0);
      expect(await page.getByRole('button', { name: 'Keep as a job' }).isDisabled()).toBe(true);
      await page.getByRole('button', { name: 'Draw the dots' }).click();
      await share.waitFor({ timeout: TIME });
      const started = performance.now();
      await fetch(`${shop.server().origin}/api/jobs/${id}`, {
        method: 'PUT',
        body: JSON.stringify(CARD),
        headers: await shop.keys(),
      });
      await proof(page);
      expect(performance.now() - started).toBeLessThan(60_000);
      expect(complaints).toEqual([]);
      await context.close();
    },
    TIME,
  );
});

describe('nothing is final', () => {
  test(
    'the crop is dragged in the stage, and every change is undone and done again, also after a reload',
    async () => {
      const { page, context } = await openStage(1366, 650);
      await proof(page);
      await openGroup(page, 'Crop');
      const hand = page.getByRole('button', { name: /^Crop, middle/ });
      const box = (await hand.boundingBox())!;
      await page.mouse.move(box.x + box.width / 2, box.y + box.height / 2);
      await page.mouse.down();
      await page.mouse.move(box.x + box.width / 2, box.y + box.height / 2 + 60, { steps: 4 });
      await page.mouse.up();
      await expect.poll(() => wishOnDisk().focus?.y).toBeLessThan(0.5);
      const moved = wishOnDisk().focus;
      await openGroup(page, 'Tone');
      const contrast = page.getByLabel('Contrast', { exact: true });
      await contrast.fill('0.3');
      await expect.poll(() => wishOnDisk().toneValues).toEqual({ contrast: 0.3 });
      await page.keyboard.press('Control+z');
      await expect.poll(() => wishOnDisk().toneValues).toEqual({});
      expect(wishOnDisk().focus).toEqual(moved);
      await page.reload();
      await page.locator('.piece > .seen').waitFor();
      await page.getByRole('button', { name: 'Undo', exact: true }).click();
      await expect.poll(() => wishOnDisk().focus).toBeUndefined();
      expect(await page.getByRole('button', { name: 'Undo', exact: true }).isDisabled()).toBe(true);
      await page.keyboard.press('Shift+Control+Z');
      await page.getByRole('button', { name: 'Redo', exact: true }).click();
      await expect.poll(() => wishOnDisk()).toMatchObject({ focus: moved, toneValues: { contrast: 0.3 } });
      await context.close();
    },
    TIME,
  );
});

describe('the crop', () => {
  test(
    'a wheel over the stage goes nearer where it is; the photo is turned and straightened, and the page draws the same part',
    async () => {
      const { page, context } = await openStage(1366, 650);
      await proof(page);
      await openGroup(page, 'Crop');
      const photo = page.locator('.around');
      const box = (await page.locator('.crop-hand').boundingBox())!;
      const at = { x: box.x + 0.75 * box.width, y: box.y + 0.25 * box.height };
      const under = async () => {
        const seen = (await photo.boundingBox())!;
        return [(at.x - seen.x) / seen.width, (at.y - seen.y) / seen.height, seen.width] as const;
      };
      const [x, y, width] = await under();
      await page.mouse.move(at.x, at.y);
      for (let i = 0; i < 5; i++) await page.mouse.wheel(0, -100);
      await expect.poll(() => wishOnDisk().zoom).toBeCloseTo(Math.exp(0.9), 3);
      const near = await under();
      expect(near[2] / width).toBeCloseTo(Math.exp(0.9), 2);
      expect([near[0], near[1]]).toEqual([expect.closeTo(x, 2), expect.closeTo(y, 2)]);

      await page.getByRole('button', { name: 'Turn right' }).click();
      await page.getByLabel('Straighten', { exact: true }).fill('3');
      await expect.poll(() => wishOnDisk().turnDeg).toBe(93);
      await proof(page);
      const { wish, photo: size } = shop.recordOnDisk(job);
      const answer = await fetch(`${shop.server().origin}/api/jobs/${job}/look`, {
        method: 'POST',
        body: JSON.stringify({ wish, showClipped: false, window: '00000000', longSidePx: 600 }),
        headers: await shop.keys(),
      });
      const bytes = Buffer.from(await answer.arrayBuffer());
      const { frame } = JSON.parse(bytes.subarray(4 + bytes.readUInt32LE(0)).toString('utf8'));
      // The photo behind the piece is drawn so large that its crop is the piece, its sides exchanged by the quarter.
      const drawn = await photo.evaluate((image: HTMLImageElement) => image.clientWidth);
      expect(drawn / box.width).toBeCloseTo(size.width / frame.crop.width, 2);
      await page.getByRole('button', { name: 'Follow what draws the eye' }).click();
      await expect.poll(() => [wishOnDisk().zoom, wishOnDisk().focus]).toEqual([undefined, undefined]);
      await context.close();
    },
    TIME,
  );
});

describe('the customer’s view', () => {
  test(
    'shows the piece alone without a word of the trade, at true size, and follows the work in the first window',
    async () => {
      const { page, context } = await openStage(1366, 650);
      await proof(page);
      const [second] = await Promise.all([
        context.waitForEvent('page'),
        page.getByRole('link', { name: 'Show the customer in a second window' }).click(),
      ]);
      await second.locator('.piece > .seen').waitFor();
      await second.getByText('as it will look').waitFor();
      const words = await second.locator('.show').textContent();
      expect(words).not.toMatch(/ΔL|L\*|dots|screen|profile|calibrat|galvo|floyd/i);
      const shown = await second.locator('.piece > .seen').getAttribute('src');
      await openGroup(page, 'Tone');
      await page.getByLabel('Contrast', { exact: true }).fill('-0.2');
      await expect.poll(() => second.locator('.piece > .seen').getAttribute('src'), { timeout: TIME }).not.toBe(shown);
      await second.getByRole('button', { name: 'True size' }).click();
      await second.getByLabel('Size of the frame').fill('5');
      await second.getByRole('button', { name: 'They are the same' }).click();
      await expect
        .poll(async () => (await second.locator('.piece').boundingBox())!.width / CARD.widthMm)
        .toBeCloseTo(5, 1);
      await second.close();
      // In the same window by key, and back.
      await page.getByRole('heading', { name: 'cat' }).click();
      await page.keyboard.press('f');
      await page.getByText('as it will look').waitFor();
      await page.keyboard.press('Escape');
      await page.getByRole('heading', { name: 'cat' }).waitFor();
      await context.close();
    },
    TIME,
  );
});

describe('light', () => {
  test(
    'the first load is small, thumbnails are thumbnails, and a second visit is told that nothing changed',
    async () => {
      const keys = await shop.keys();
      let bytes = 0;
      for (const path of ['/', '/page.js', '/page.css', '/text.woff2', '/icon.svg', '/manifest.webmanifest']) {
        const answer = await fetch(shop.server().origin + path, { headers: { 'accept-encoding': 'gzip' } });
        const length = Number(answer.headers.get('content-length') ?? (await answer.clone().arrayBuffer()).byteLength);
        bytes += length;
        const tag = answer.headers.get('etag')!;
        const again = await fetch(shop.server().origin + path, { headers: { 'if-none-match': tag } });
        expect(again.status, path).toBe(304);
        const plain = await fetch(shop.server().origin + path, { headers: { 'accept-encoding': 'identity' } });
        expect(await plain.text(), path).toBe(await answer.text());
      }
      expect(bytes).toBeLessThan(350_000);
      for (const path of ['/api/samples/cat', `/api/jobs/${job}/thumbnail`]) {
        const answer = await fetch(shop.server().origin + path, { headers: keys });
        expect(answer.headers.get('content-type')).toBe('image/jpeg');
        expect((await answer.arrayBuffer()).byteLength, path).toBeLessThan(60_000);
      }
    },
    TIME,
  );
});

test(
  'the browser finds nothing that keeps the page from being installed as an app',
  async () => {
    // Installing is the window's, and only a whole browser has one.
    const whole = await launch({ whole: true });
    const { page, context } = await openPage(whole, shop.server().url);
    const tools = await context.newCDPSession(page);
    const { errors } = await tools.send('Page.getAppManifest');
    expect(errors).toEqual([]);
    const { installabilityErrors } = await tools.send('Page.getInstallabilityErrors');
    // A test's window keeps nothing, and says so.
    expect(installabilityErrors.map((one: { readonly errorId: string }) => one.errorId)).toEqual(['in-incognito']);
    await whole.close();
  },
  TIME,
);

test(
  'the window is called as its heading is, attention follows to another screen, and nothing lies beside a small one',
  async () => {
    const { page, context } = await shop.open('/', { width: 320, height: 512 });
    await expect.poll(() => page.title()).toBe('See it before it is burned – Tonewright');
    for (const [route, title] of [
      [`/photo/${job}`, 'cat – Tonewright'],
      [`/compare/${job}`, 'Compare cat – Tonewright'],
      ['/material', 'Learn a material – Tonewright'],
      ['/order', 'Make a whole order – Tonewright'],
    ] as const) {
      await page.goto(`${shop.server().origin}/#${route}`);
      await expect.poll(() => page.title()).toBe(title);
      expect(await page.evaluate(() => document.activeElement?.id)).toBe('main');
      expect(await page.evaluate(() => document.documentElement.scrollWidth), route).toBe(320);
    }
    await context.close();
  },
  TIME,
);

describe('side by side', () => {
  /** Figures of each pane, once all of them are there. */
  async function figures(page: Page, panes: number) {
    await expect.poll(() => page.locator('.pane .key-facts').count(), { timeout: TIME }).toBe(panes);
    await expect.poll(() => page.locator('.pane-foot[aria-busy="true"]').count(), { timeout: TIME }).toBe(0);
    return page.locator('.pane .key-facts').allInnerTexts();
  }

  test(
    'materials and tones are compared with time and tones, nearer together, after a reload, too; one of them is taken',
    async () => {
      job = await shop.openSample('cat', TAG);
      const { page, context, complaints } = await openStage(1366, 650);
      await proof(page);
      await page.getByRole('button', { name: 'Compare' }).click();
      const [now, glass] = await figures(page, 2);
      expect(now).not.toBe(glass);
      await page.getByRole('button', { name: 'Add another' }).click();
      await page.getByLabel('What stands in place 3').selectOption('tone:plain');
      await figures(page, 3);

      const place = (await page.locator('.pane .piece').nth(2).boundingBox())!;
      await page.mouse.move(place.x + place.width / 4, place.y + place.height / 4);
      await page.mouse.wheel(0, -600);
      const views = page
        .locator('.pane .piece')
        .evaluateAll((pieces) =>
          pieces.map((piece) => getComputedStyle(piece).transform.replace(/[^(]*\(([^,]*).*/, '$1')),
        );
      const [scale, ...others] = (await views).map(Number);
      expect(scale).toBeGreaterThan(1.5);
      for (const other of others) expect(other).toBeCloseTo(scale!, 5);

      await page.reload();
      await figures(page, 3);
      expect(await page.getByLabel('What stands in place 3').inputValue()).toBe('tone:plain');
      await page.getByRole('button', { name: 'Put away: Tones as they are' }).click();
      await page.getByLabel('What stands in place 2').selectOption('profile:stainless-card');
      await figures(page, 2);
      // What the shop refuses is told where another can be taken.
      const refuse = (route: Route) =>
        route.request().method() === 'PUT'
          ? route.fulfill({
              status: 400,
              json: { error: { code: 'name-unknown', message: 'found no such profile', hint: 'Take another.' } },
            })
          : route.fallback();
      await page.route('**/api/jobs/**', refuse);
      await page.getByRole('button', { name: /^Take this one/ }).click();
      await expect.poll(() => page.getByRole('alert').textContent(), { timeout: TIME }).toContain('no such profile');
      expect(page.url()).toContain('/compare/');
      await page.unroute('**/api/jobs/**', refuse);
      await page.getByRole('button', { name: /^Take this one/ }).click();
      await proof(page);
      await expect.poll(() => wishOnDisk().profile, { timeout: TIME }).toBe('stainless-card');
      await page.getByRole('button', { name: 'Undo', exact: true }).click();
      await expect.poll(() => wishOnDisk().profile, { timeout: TIME }).toBe('anodised-black');
      expect(complaints).toEqual([]);
      await context.close();
    },
    TIME,
  );
});
