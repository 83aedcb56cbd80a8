import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import type { BrowserContext, Page } from 'playwright-core';
import { describe, expect, test } from 'vitest';
import { TAG, TIME, useOpenShop } from './open-shop.ts';
import { sampleJpeg } from './sample-photo.ts';
import { openGroup } from './stage-steps.ts';

const shop = useOpenShop();
const openCat = () => shop.openSample('cat', TAG);

async function openPhoto(id: string): Promise<{ readonly page: Page; readonly context: BrowserContext }> {
  const opened = await shop.open(`/photo/${id}`);
  await opened.page.getByLabel('Contrast', { exact: true }).waitFor();
  return opened;
}

const proof = (page: Page) => page.getByText('Proof of the dots as they will burn').waitFor({ timeout: TIME });
const contrast = (page: Page) => page.getByLabel('Contrast', { exact: true });
const saved = (page: Page) => page.getByRole('status').getByText('Saved', { exact: true });
const onDisk = (id: string) => shop.recordOnDisk(id).wish;

describe('many windows', () => {
  test(
    'eight of one browser all work, and all hear what one changes',
    async () => {
      const id = await openCat();
      const { page: first, context } = await openPhoto(id);
      const pages = [first];
      for (let at = 1; at < 8; at++) {
        const page = await context.newPage();
        await page.goto(`${shop.server().origin}/#/photo/${id}`);
        await contrast(page).waitFor();
        pages.push(page);
      }
      for (const page of pages) await proof(page);
      await contrast(pages[7]!).fill('0.25');
      for (const page of pages) {
        await expect.poll(() => contrast(page).inputValue(), { timeout: 60_000 }).toBe('0.25');
      }
      // The one that listens for all is closed: another one takes over.
      await first.close();
      await contrast(pages[3]!).fill('0.4');
      for (const page of pages.slice(1)) {
        await expect.poll(() => contrast(page).inputValue(), { timeout: 60_000 }).toBe('0.4');
      }
      await context.close();
    },
    TIME,
  );

  test(
    'a photo that another window removes is told to be gone at once, and once',
    async () => {
      const id = await openCat();
      const { page, context } = await openPhoto(id);
      const answer = await fetch(`${shop.server().origin}/api/jobs/${id}`, {
        method: 'DELETE',
        headers: await shop.keys(),
      });
      expect(answer.status).toBe(204);
      await page.getByRole('heading', { name: 'This photo was removed' }).waitFor({ timeout: 10_000 });
      expect(await page.getByRole('alert').count()).toBe(1);
      await context.close();
    },
    TIME,
  );
});

describe('nothing is lost', () => {
  test(
    'a change followed at once by a reload, and one by a closed window, are in the shop',
    async () => {
      const id = await openCat();
      const { page, context } = await openPhoto(id);
      await proof(page);
      await contrast(page).fill('0.3');
      await page.reload();
      await contrast(page).waitFor();
      expect(await contrast(page).inputValue()).toBe('0.3');
      await expect.poll(() => onDisk(id).toneValues).toEqual({ contrast: 0.3 });
      await contrast(page).fill('0.35');
      await page.close({ runBeforeUnload: true });
      await expect.poll(() => onDisk(id).toneValues).toEqual({ contrast: 0.35 });
      await context.close();
    },
    TIME,
  );

  test(
    'a change while the program is away is told to be unsaved, and saved when it is back',
    async () => {
      const id = await openCat();
      const { page, context } = await openPhoto(id);
      await proof(page);
      await shop.crash();
      await contrast(page).fill('0.2');
      await page.getByText('Not saved yet: the program is not running').waitFor();
      // Also after the screen was left and opened again.
      await page.getByRole('link', { name: 'All photos' }).click();
      await page.goto(`${shop.server().origin}/#/photo/${id}`);
      expect(await contrast(page).inputValue()).toBe('0.2');
      await shop.restart();
      await saved(page).waitFor();
      await proof(page);
      expect(await page.getByRole('alert').count()).toBe(0);
      expect(onDisk(id).toneValues).toEqual({ contrast: 0.2 });
      await page.reload();
      await contrast(page).waitFor();
      expect(await contrast(page).inputValue()).toBe('0.2');
      await context.close();
    },
    TIME,
  );

  test(
    'a change whose window is closed while the program is away is sent by the next window, and leaves the rest alone',
    async () => {
      const id = await openCat();
      const { page, context } = await openPhoto(id);
      await proof(page);
      await shop.crash();
      await contrast(page).fill('0.15');
      await page.getByText('Not saved yet').waitFor();
      await page.close();
      await shop.restart();
      const answer = await fetch(`${shop.server().origin}/api/jobs/${id}`, {
        method: 'PUT',
        body: JSON.stringify({ ...TAG, widthMm: 40 }),
        headers: await shop.keys(),
      });
      expect(answer.status).toBe(200);
      const next = await context.newPage();
      await next.goto(`${shop.server().origin}/#/photo/${id}`);
      await contrast(next).waitFor();
      expect(await contrast(next).inputValue()).toBe('0.15');
      await openGroup(next, 'Piece');
      expect(await next.getByLabel('Width', { exact: true }).inputValue()).toBe('40');
      expect(onDisk(id)).toMatchObject({ widthMm: 40, toneValues: { contrast: 0.15 } });
      await context.close();
    },
    TIME,
  );

  test(
    'the wishes of an order, too',
    async () => {
      const { id } = await shop.post('/api/orders', { title: 'Saturday market', wish: TAG });
      const { page, context } = await shop.open(`/order/${id}`);
      await page.getByLabel('Width', { exact: true }).waitFor();
      await shop.crash();
      await page.getByLabel('Width', { exact: true }).fill('25');
      await page.getByLabel('Width', { exact: true }).press('Tab');
      await page.getByText('Not saved yet: the program is not running').waitFor();
      await shop.restart();
      await saved(page).waitFor();
      const wish = () => JSON.parse(readFileSync(join(shop.shop, 'orders', id, 'order-page.json'), 'utf8')).wish;
      expect(wish().widthMm).toBe(25);
      await page.getByLabel('Height', { exact: true }).fill('15');
      await page.getByLabel('Height', { exact: true }).press('Tab');
      await page.reload();
      await expect.poll(() => wish().heightMm).toBe(15);
      await context.close();
    },
    TIME,
  );
});

describe('under an error', () => {
  test(
    'no old figure stays, the proof is no proof, nothing can be kept, and the fault is told once',
    async () => {
      const id = await openCat();
      const { page, context } = await openPhoto(id);
      await proof(page);
      await page.getByText('On the machine').waitFor();
      await openGroup(page, 'Piece');
      await page.getByLabel('Width', { exact: true }).fill('300');
      await page.getByLabel('Width', { exact: true }).press('Tab');
      await page
        .getByRole('alert')
        .getByText(/the field of 355 nm galvo, 210 mm lens is/)
        .waitFor();
      expect(await page.getByText('On the machine').count()).toBe(0);
      expect(await page.getByText('Proof of the dots as they will burn').count()).toBe(0);
      await page.getByText('No proof of these choices').waitFor();
      expect(await page.getByRole('button', { name: 'Keep as a job' }).isDisabled()).toBe(true);
      expect(await page.getByRole('alert').count()).toBe(1);
      // It is a choice like any other: a smaller piece brings all of it back.
      await page.getByLabel('Width', { exact: true }).fill('30');
      await page.getByLabel('Width', { exact: true }).press('Tab');
      await proof(page);
      await page.getByText('On the machine').waitFor();
      expect(await page.getByRole('button', { name: 'Keep as a job' }).isDisabled()).toBe(false);
      await context.close();
    },
    TIME,
  );
});

describe('a file from elsewhere', () => {
  test(
    'is taken wherever it is dropped, and from the clipboard, also while a photo is open',
    async () => {
      const bytes = [...(await sampleJpeg(400, 300))];
      const { page, context } = await shop.open('/');
      await page.getByRole('button', { name: 'Choose a photo' }).waitFor();
      const bring = (kind: 'drop' | 'paste', name: string) =>
        page.evaluate(
          ([how, file, data]) => {
            const files = new DataTransfer();
            files.items.add(new File([new Uint8Array(data)], file, { type: 'image/jpeg' }));
            const more = { bubbles: true, cancelable: true };
            const event =
              how === 'drop'
                ? new DragEvent('drop', { ...more, dataTransfer: files })
                : new ClipboardEvent('paste', { ...more, clipboardData: files });
            document.querySelector('header')!.dispatchEvent(event);
          },
          [kind, name, bytes] as const,
        );
      await bring('drop', 'beside the box.jpg');
      await page.getByRole('heading', { name: 'beside-the-box' }).waitFor();
      await bring('paste', 'pasted.jpg');
      await page.getByRole('heading', { name: 'pasted' }).waitFor();
      await context.close();
    },
    TIME,
  );
});
