import { readFileSync } from 'node:fs';
import type { Page } from 'playwright-core';
import { describe, expect, test } from 'vitest';
import { TAG, TIME, useOpenShop, waitForProof } from './open-shop.ts';
import { openGroup } from './stage-steps.ts';

const shop = useOpenShop();

const strip = (page: Page) => page.getByRole('region', { name: 'Takes to go back to' });
const opener = (page: Page) =>
  page.getByRole('button', { name: 'Takes to go back to', exact: true }).filter({ visible: true });
const takes = (page: Page) => strip(page).getByRole('listitem').getByRole('button');
const now = (page: Page) => strip(page).locator('[aria-current="true"]');

/** In the page: how many takes have a picture of some size. */
const countPictures = (page: Page) =>
  strip(page)
    .locator('img')
    .evaluateAll((images) => images.filter((one) => (one as HTMLImageElement).naturalWidth > 20).length);

/** Another tone, then words, then another screen, each a step. */
async function changeThrice(page: Page): Promise<void> {
  await openGroup(page, 'Tone');
  await page.getByLabel('Contrast', { exact: true }).fill('0.4');
  await openGroup(page, 'Dots');
  await page.getByLabel('Screen', { exact: true }).selectOption('bayer');
  await openGroup(page, 'Crop');
  await page.getByRole('button', { name: 'Turn right' }).click();
}

describe('a strip of takes', () => {
  test(
    'goes back by mouse as a step that can be undone, leaves the piece where it is, and is there after a reload',
    async () => {
      const job = await shop.openSample('cat', TAG);
      const wish = () => shop.recordOnDisk(job).wish;
      const { page, context, complaints } = await shop.open(`/photo/${job}`, { width: 1366, height: 650 });
      await waitForProof(page);
      expect(await opener(page).isDisabled()).toBe(true);
      await changeThrice(page);
      await waitForProof(page);
      const before = await page.locator('.piece').boundingBox();
      await opener(page).click();
      expect(await page.locator('.piece').boundingBox()).toEqual(before);
      expect(await takes(page).allTextContents()).toEqual(['1 At first', '2 Tone', '3 Dots', '4 Now']);
      await expect.poll(() => countPictures(page), { timeout: TIME }).toBe(4);
      await takes(page).nth(1).click();
      await expect.poll(wish, { timeout: TIME }).toMatchObject({ toneValues: { contrast: 0.4 } });
      await expect.poll(() => wish().turnDeg ?? wish().screen, { timeout: TIME }).toBeUndefined();
      expect(await now(page).getAttribute('aria-label')).toBe('Take 2 now: tone');
      expect(await takes(page).count()).toBe(4);
      // One step back from there is the newest take again.
      await page.getByRole('button', { name: 'Undo' }).click();
      await expect.poll(() => wish().turnDeg, { timeout: TIME }).toBe(90);
      expect(wish().screen).toBe('bayer');
      expect(await now(page).getAttribute('aria-label')).toBe('Take 4 now: crop');
      await page.getByRole('button', { name: 'Close: takes to go back to' }).click();
      await strip(page).waitFor({ state: 'detached' });

      await page.reload();
      await waitForProof(page);
      await opener(page).click();
      expect(await takes(page).count()).toBe(4);
      await takes(page).first().click();
      await expect.poll(() => wish().toneValues, { timeout: TIME }).toEqual({});
      expect(wish()).toEqual({ ...TAG, ...wish(), screen: undefined, turnDeg: undefined });
      expect(complaints).toEqual([]);
      await context.close();
    },
    TIME,
  );

  test(
    'is opened, walked and closed by keys alone, and one hand’s slide is one take',
    async () => {
      const job = await shop.openSample('cup', TAG);
      const { page, context, complaints } = await shop.open(`/photo/${job}`, { width: 1366, height: 650 });
      await waitForProof(page);
      await openGroup(page, 'Tone');
      const contrast = page.getByLabel('Contrast', { exact: true });
      await contrast.focus();
      for (let step = 0; step < 5; step++) await page.keyboard.press('ArrowRight');
      await page.getByRole('heading', { name: 'cup' }).click();
      await page.keyboard.press('t');
      expect(await takes(page).count()).toBe(2);
      const focused = () => page.evaluate(() => document.activeElement?.getAttribute('aria-label'));
      expect(await focused()).toBe('Take 2 now: tone');
      await page.keyboard.press('ArrowLeft');
      expect(await focused()).toBe('Take 1: at first');
      await page.keyboard.press('Enter');
      await expect.poll(() => shop.recordOnDisk(job).wish.toneValues, { timeout: TIME }).toEqual({});
      await page.keyboard.press('End');
      await page.keyboard.press('Enter');
      await expect.poll(() => shop.recordOnDisk(job).wish.toneValues.contrast, { timeout: TIME }).toBeGreaterThan(0);
      await page.keyboard.press('Escape');
      await strip(page).waitFor({ state: 'detached' });
      expect(complaints).toEqual([]);
      await context.close();
    },
    TIME,
  );

  test(
    'of a piece of an order: Escape and the arrows mean the strip, and neither the dialog nor the piece beside it',
    async () => {
      const { id } = await shop.post('/api/orders', { title: 'Market', wish: TAG });
      for (const name of ['cat', 'cup']) {
        await shop.post(`/api/orders/${id}/photos`, new Blob([readFileSync(`images/photos/${name}.png`)]));
      }
      const { page, context, complaints } = await shop.open(`/order/${id}`, { width: 390, height: 844 });
      await page
        .getByRole('button', { name: /see and change/ })
        .first()
        .click();
      const dialog = page.getByRole('dialog');
      await waitForProof(page);
      const title = await dialog.getByRole('heading', { level: 2 }).first().textContent();
      await openGroup(page, 'Crop');
      await dialog.getByRole('button', { name: 'Turn right' }).click();
      await opener(page).click();
      await expect.poll(() => countPictures(page), { timeout: TIME }).toBe(2);
      await page.keyboard.press('ArrowLeft');
      await page.keyboard.press('Enter');
      expect(await now(page).getAttribute('aria-label')).toBe('Take 1 now: at first');
      await page.keyboard.press('Escape');
      await strip(page).waitFor({ state: 'detached' });
      expect(await dialog.getByRole('heading', { level: 2 }).first().textContent()).toBe(title);
      expect(complaints).toEqual([]);
      await context.close();
    },
    TIME,
  );

  test(
    'a take whose profile is gone has a sign instead of a picture, and the others theirs',
    async () => {
      const job = await shop.openSample('cat', TAG);
      const { page, context } = await shop.open(`/photo/${job}`, { width: 1366, height: 650 });
      await waitForProof(page);
      const kept = { ...TAG, profile: 'gone-by-now' };
      await page.evaluate(
        ([path, steps]) => localStorage.setItem(`tonewright-steps ${path}`, steps!),
        [`/api/jobs/${job}`, JSON.stringify({ past: [{ from: kept, to: shop.recordOnDisk(job).wish }], future: [] })],
      );
      await page.reload();
      await waitForProof(page);
      await opener(page).click();
      await expect.poll(() => countPictures(page), { timeout: TIME }).toBe(1);
      await expect.poll(() => takes(page).first().locator('svg').count(), { timeout: TIME }).toBe(1);
      await context.close();
    },
    TIME,
  );
});
