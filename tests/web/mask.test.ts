import { readdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import type { Page } from 'playwright-core';
import sharp from 'sharp';
import { describe, expect, test } from 'vitest';
import { expectSameFolder } from '../same-bytes.ts';
import { TAG, TIME, useOpenShop, waitForProof } from './open-shop.ts';
import { runCommand } from './page-server.ts';
import { openGroup } from './stage-steps.ts';

const shop = useOpenShop();

const underMask = (page: Page) => page.getByText('The photo under the mask of its subject').waitFor({ timeout: TIME });

async function startPainting(page: Page): Promise<void> {
  await openGroup(page, 'Crop');
  await page.getByRole('button', { name: 'Paint the subject' }).click();
  await underMask(page);
}

/** A place of the piece, shares of it, in the window. */
async function placeOn(page: Page, x: number, y: number): Promise<[number, number]> {
  const box = (await page.locator('.piece').boundingBox())!;
  return [box.x + x * box.width, box.y + y * box.height];
}

async function stroke(page: Page, from: readonly [number, number], to: readonly [number, number]): Promise<void> {
  await page.mouse.move(...(await placeOn(page, ...from)));
  await page.mouse.down();
  await page.mouse.move(...(await placeOn(page, ...to)), { steps: 6 });
  await page.mouse.up();
}

const maskOf = (job: string): string | undefined => shop.recordOnDisk(job).wish.subject?.mask;
const maskPath = (job: string, name: string) => join(shop.shop, 'jobs', job, 'masks', name);

/** Share of the subject's, 0 … 255, at a place of a mask or of the photo, shares of its size. */
async function shareAt(mask: string | Buffer, x: number, y: number): Promise<number> {
  const { data, info } = await sharp(mask).greyscale().raw().toBuffer({ resolveWithObject: true });
  return data[Math.floor(y * info.height) * info.width + Math.floor(x * info.width)]!;
}

/** The same on the sheet that is painted on: clear where the subject is. */
const sheetAt = (page: Page, x: number, y: number) =>
  page.evaluate(
    ([u, v]) => {
      const sheet = document.querySelector<HTMLCanvasElement>('.mask-sheet canvas')!;
      const { data } = sheet
        .getContext('2d')!
        .getImageData(Math.floor(u! * sheet.width), Math.floor(v! * sheet.height), 1, 1);
      return 255 - data[3]!;
    },
    [x, y],
  );

describe('the mask of the subject', () => {
  test(
    'is painted stroke by stroke, taken back and made again, outlives a reload, and gives the bytes of the command',
    async () => {
      const job = await shop.openSample('portrait', { ...TAG, backdrop: 'bare', fit: 'contain' });
      const { page, context, complaints } = await shop.open(`/photo/${job}`, { width: 1366, height: 650 });
      await waitForProof(page);
      await startPainting(page);
      // What was found: the face is, the wall beside it is not.
      expect(await sheetAt(page, 0.43, 0.2)).toBeGreaterThan(240);
      expect(await sheetAt(page, 0.62, 0.1)).toBeLessThan(15);
      // The whole photo stands in the middle of the piece, two thirds of its width.
      await stroke(page, [0.55, 0.1], [0.62, 0.1]);
      await expect.poll(() => maskOf(job), { timeout: TIME }).toMatch(/^mask-[0-9a-f]{16}\.png$/);
      const first = maskOf(job)!;
      expect(await shareAt(maskPath(job, first), 0.62, 0.1)).toBe(255);
      await page.getByText('Takes away', { exact: true }).click();
      await stroke(page, [0.45, 0.2], [0.45, 0.22]);
      await expect.poll(() => maskOf(job), { timeout: TIME }).not.toBe(first);
      const second = maskOf(job)!;
      expect(await shareAt(maskPath(job, second), 0.43, 0.21)).toBe(0);
      expect(await shareAt(maskPath(job, second), 0.62, 0.1)).toBe(255);

      await page.getByRole('button', { name: 'Undo' }).click();
      await expect.poll(() => maskOf(job)).toBe(first);
      await expect.poll(() => sheetAt(page, 0.43, 0.21)).toBeGreaterThan(240);
      await page.getByRole('button', { name: 'Undo' }).click();
      await expect.poll(() => maskOf(job)).toBeUndefined();
      await expect.poll(() => sheetAt(page, 0.62, 0.1), { timeout: TIME }).toBeLessThan(15);
      await page.getByRole('button', { name: 'Redo' }).click();
      await page.getByRole('button', { name: 'Redo' }).click();
      await expect.poll(() => maskOf(job)).toBe(second);
      await page.reload();
      await waitForProof(page);
      await startPainting(page);
      expect(await sheetAt(page, 0.43, 0.21)).toBe(0);
      expect(await sheetAt(page, 0.62, 0.1)).toBe(255);
      await page.getByRole('button', { name: 'Done' }).click();

      await waitForProof(page);
      await page.getByRole('button', { name: 'Keep as a job' }).click();
      await page.getByText('Kept. One pixel is one dot').waitFor({ timeout: TIME });
      const out = join(shop.path, 'by-command');
      const { wish } = shop.recordOnDisk(job);
      await runCommand(
        process.cwd(),
        ...['prepare', 'images/photos/portrait.png', '--size', '30x20', '--profile', 'anodised-black'],
        ...['--fit', 'contain', '--margin', '0', '--backdrop', 'bare', '--subject', maskPath(job, second)],
        ...['--keep', `${wish.focus.x},${wish.focus.y}`, '--shop', shop.shop, '--out', out],
      );
      expectSameFolder(join(shop.shop, 'jobs', job, 'out'), out);
      expect(complaints).toEqual([]);
      await context.close();
    },
    TIME,
  );

  test(
    'lies on a photo that is turned, and stays on its place when the turn changes',
    async () => {
      const job = await shop.openSample('portrait', { ...TAG, fit: 'contain', turnDeg: 90, subject: 'none' });
      const { page, context } = await shop.open(`/photo/${job}`, { width: 1366, height: 650 });
      await waitForProof(page);
      await startPainting(page);
      // Turned clockwise, what is above comes to the right: so the right is what was above.
      await stroke(page, [0.78, 0.5], [0.78, 0.55]);
      await expect.poll(() => maskOf(job), { timeout: TIME }).toBeDefined();
      expect(await shareAt(maskPath(job, maskOf(job)!), 0.5, 0.08)).toBe(255);
      await page.getByRole('button', { name: 'Done' }).click();
      await page.getByLabel('Straighten', { exact: true }).fill('5');
      await waitForProof(page);
      const { wish } = shop.recordOnDisk(job);
      expect(wish.turnDeg).toBe(95);
      await context.close();
    },
    TIME,
  );

  test(
    'is painted by keys, and by one finger; two fingers go nearer and paint nothing',
    async () => {
      const job = await shop.openSample('cup', TAG);
      const { page, context } = await shop.open(`/photo/${job}`, { width: 390, height: 844 });
      await waitForProof(page);
      await startPainting(page);
      const hand = page.getByRole('button', { name: /^Mask of the subject/ });
      await hand.focus();
      for (let i = 0; i < 4; i++) await page.keyboard.press('Shift+ArrowUp');
      await page.keyboard.press(']');
      await page.keyboard.press('Space');
      await expect.poll(() => maskOf(job), { timeout: TIME }).toBeDefined();
      const byKeys = maskOf(job)!;
      const seen = /at (\d+) % across and (\d+) % down/.exec((await hand.getAttribute('aria-label'))!)!;
      expect(Number(seen[2])).toBeLessThan(40);
      expect(await shareAt(maskPath(job, byKeys), Number(seen[1]) / 100, Number(seen[2]) / 100)).toBe(255);

      const touch = await page.context().newCDPSession(page);
      const fingers = async (type: string, ...points: (readonly [number, number])[]) =>
        touch.send('Input.dispatchTouchEvent', {
          type: type as 'touchStart',
          touchPoints: points.map(([x, y], id) => ({ x, y, id })),
        });
      const [a, b] = [await placeOn(page, 0.3, 0.8), await placeOn(page, 0.6, 0.8)];
      await page.getByText('Takes away', { exact: true }).click();
      await fingers('touchStart', a);
      await fingers('touchMove', b);
      await fingers('touchEnd');
      await expect.poll(() => maskOf(job), { timeout: TIME }).not.toBe(byKeys);
      const byFinger = maskOf(job)!;

      await fingers('touchStart', a);
      await fingers('touchStart', a, b);
      await fingers('touchMove', [a[0] - 30, a[1]], [b[0] + 30, b[1]]);
      await fingers('touchEnd');
      await page.getByRole('button', { name: 'Whole piece' }).waitFor();
      expect(maskOf(job)).toBe(byFinger);
      // Done gives the keys back to where they came from.
      await page.getByRole('button', { name: 'Done' }).press('Enter');
      await expect.poll(() => page.evaluate(() => document.activeElement?.textContent)).toBe('Paint the subject');
      await context.close();
    },
    TIME,
  );

  test(
    'of a piece of an order is kept with the order, and the list that asks for it gives the same bytes',
    async () => {
      const { id } = await shop.post('/api/orders', { title: 'Market', wish: { ...TAG, backdrop: 'bare' } });
      await shop.post(`/api/orders/${id}/photos`, new Blob([new Uint8Array(readFileSync('images/photos/cat.png'))]));
      const { page, context } = await shop.open(`/order/${id}`, { width: 1366, height: 650 });
      await page.getByRole('button', { name: /see and change/ }).click();
      await page.getByRole('dialog').waitFor();
      await waitForProof(page);
      await startPainting(page);
      await stroke(page, [0.1, 0.1], [0.3, 0.1]);
      await page.getByRole('button', { name: 'Back to what was found' }).and(page.locator(':enabled')).waitFor();
      await page.getByRole('button', { name: 'Take this' }).click();
      const record = () => JSON.parse(readFileSync(join(shop.shop, 'orders', id, 'order-page.json'), 'utf8'));
      await expect.poll(() => record().pieces[0].own.subject?.mask).toMatch(/^mask-/);
      const { own } = record().pieces[0];
      await page.getByRole('button', { name: 'Make all pieces' }).click();
      await expect.poll(() => record().pieces[0].status, { timeout: TIME }).toBe('done');
      const place = join(shop.shop, 'orders', id);
      const out = join(shop.path, 'piece');
      await runCommand(
        process.cwd(),
        ...[
          'prepare',
          join(place, 'in', 'photo.png'),
          '--size',
          '30x20',
          '--profile',
          'anodised-black',
          '--margin',
          '0',
        ],
        ...['--backdrop', 'bare', '--subject', join(place, 'in', 'masks', own.subject.mask)],
        ...['--keep', `${own.focus.x},${own.focus.y}`, '--shop', shop.shop, '--out', out, '--only', 'bitmap'],
      );
      const made = readFileSync(join(place, 'out', 'photo.png'));
      expect(made.equals(readFileSync(join(out, 'photo.png')))).toBe(true);
      expect(readdirSync(join(place, 'in', 'masks'))).toEqual([own.subject.mask]);
      await context.close();
    },
    TIME,
  );

  test(
    'is taken by its name alone, and nothing else is kept',
    async () => {
      const job = await shop.openSample('cup', TAG);
      const base = `${shop.server().origin}/api/jobs/${job}`;
      const headers = await shop.keys();
      const ask = (subject: unknown) =>
        fetch(base, { method: 'PUT', headers, body: JSON.stringify({ ...TAG, subject }) });
      expect((await ask({ mask: '../photo.png' })).status).toBe(400);
      expect((await ask({ mask: 'mask-0123456789abcdef.png' })).status).toBe(200);
      const gone = await fetch(`${base}/masks/mask-0123456789abcdef.png`, { headers });
      expect([gone.status, (await gone.json()).error.code]).toEqual([404, 'path-missing']);
      const soup = await fetch(`${base}/masks`, { method: 'POST', headers, body: 'a recipe for soup' });
      expect(soup.ok).toBe(false);
      expect((await soup.json()).error.code).toBe('image-unknown');
    },
    TIME,
  );
});
