import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import type { Page } from 'playwright-core';
import { expect, test } from 'vitest';
import { TAG, TIME, useOpenShop, waitForProof } from './open-shop.ts';
import { openGroup } from './stage-steps.ts';

const shop = useOpenShop();
const photo = (name: string) => new Blob([new Uint8Array(readFileSync(`images/photos/${name}.png`))]);
const jobOf = (id: string) => JSON.parse(readFileSync(join(shop.shop, 'jobs', id, 'job.json'), 'utf8'));
const orderOf = (id: string) => JSON.parse(readFileSync(join(shop.shop, 'orders', id, 'order-page.json'), 'utf8'));
const sayYes = (page: Page) => page.getByRole('button', { name: 'Yes, like this' });

async function askAs(method: string, path: string, body: unknown) {
  const { origin } = shop.server();
  return fetch(origin + path, { method, body: JSON.stringify(body), headers: await shop.keys() });
}

test(
  'a customer’s yes is kept with the job, ends with a change, and holds again when that is undone',
  async () => {
    const id = await shop.openSample('cat', TAG);
    const { page, context, complaints } = await shop.open(`/photo/${id}`, { width: 1366, height: 650 });
    await waitForProof(page);
    await page.keyboard.press('f');
    await page.waitForURL(/#\/show\//);
    // Nothing of the trade is said to the customer.
    await expect.poll(() => sayYes(page).isEnabled(), { timeout: TIME }).toBe(true);
    const words = await page.locator('.show').textContent();
    expect(words).not.toMatch(/L\*|nm\b|galvo|lens|dots|profile|guess|chart/);
    // The day on which it will be ready, by the keyboard.
    await page.getByRole('button', { name: 'Ready on …' }).press('Enter');
    await page.getByLabel('Ready on').fill('2026-12-04');
    await page.getByLabel('Ready on').press('Enter');
    await page.getByRole('button', { name: /^Ready on .*4.*2026/ }).waitFor();
    await sayYes(page).click();
    await page.getByText(/^Agreed on /).waitFor();
    expect(jobOf(id).ready).toBe('2026-12-04');
    const { at, of } = jobOf(id).yes;
    expect(Date.now() - Date.parse(at)).toBeLessThan(TIME);

    // On paper: what was agreed, and nothing to press.
    await page.emulateMedia({ media: 'print' });
    expect(await page.getByText(/^Agreed on /).isVisible()).toBe(true);
    expect(await page.getByText(/^Version of /).isVisible()).toBe(true);
    expect(await page.getByRole('button', { name: 'Take it back' }).isVisible()).toBe(false);
    await page.emulateMedia({ media: 'screen' });

    // Another window changes it: both say so, and the yes stays as it was said.
    const other = await context.newPage();
    await other.setViewportSize({ width: 1366, height: 650 });
    await other.goto(`${shop.server().origin}/#/photo/${id}`);
    await waitForProof(other);
    await other.getByText('Agreed', { exact: true }).waitFor();
    await openGroup(other, 'Tone');
    await other.getByLabel('Contrast', { exact: true }).fill('0.3');
    await other.getByText('Changed since agreed').waitFor({ timeout: TIME });
    await page.getByText(/^No longer what was agreed on /).waitFor({ timeout: TIME });
    expect(jobOf(id).yes).toEqual({ at, of });
    // A yes to what is no longer wished is refused.
    const late = await askAs('POST', `/api/jobs/${id}/agree`, TAG);
    expect(late.status).toBe(400);
    expect(await late.text()).toContain('found another version than was shown');

    await other.getByRole('button', { name: 'Undo', exact: true }).click();
    await page.getByText(/^Agreed on /).waitFor({ timeout: TIME });
    await shop.crash();
    await shop.restart();
    expect(jobOf(id).yes).toEqual({ at, of });
    await other.getByText('Agreed', { exact: true }).waitFor({ timeout: TIME });
    await page.getByRole('button', { name: 'Take it back' }).click({ timeout: TIME });
    await sayYes(page).waitFor();
    expect(jobOf(id).yes).toBeNull();
    expect(complaints.filter((text) => !/ERR_CONNECTION|ERR_INCOMPLETE|Failed to fetch/.test(text))).toEqual([]);
    await context.close();
  },
  TIME,
);

test(
  'an order makes only what was agreed where it is told so, as it was agreed',
  async () => {
    const { id } = await shop.post('/api/orders', { title: 'Wedding', wish: TAG });
    for (const name of ['cat', 'cup']) await shop.post(`/api/orders/${id}/photos`, photo(name));
    const { page, context, complaints } = await shop.open(`/order/${id}`, { width: 1366, height: 650 });
    await page.getByLabel(/^Only what is agreed \(0 of 2\)/).check();
    await expect.poll(() => page.getByText('waits for a yes').count()).toBe(2);
    expect(await page.getByRole('button', { name: 'Make all pieces' }).isDisabled()).toBe(true);
    const refused = await askAs('POST', `/api/orders/${id}/run`, {});
    expect(await refused.text()).toContain('found no piece that is agreed as it is now');

    // The customer looks at the first, and says yes.
    await page
      .getByRole('button', { name: /see and change/ })
      .first()
      .click();
    await page.getByRole('dialog').getByRole('button', { name: 'Show the customer' }).click();
    await page.waitForURL(/#\/show\//);
    await expect.poll(() => sayYes(page).isEnabled(), { timeout: TIME }).toBe(true);
    await sayYes(page).click();
    await page.getByText(/^Agreed on /).waitFor();
    await page.keyboard.press('Escape');
    await page.getByLabel(/^Only what is agreed \(1 of 2\)/).waitFor();
    await page.getByRole('button', { name: 'Make all pieces' }).click();
    await page.getByText('All pieces are made').waitFor({ timeout: TIME });
    const made = orderOf(id);
    expect(made.pieces.map(({ status }: { status: string }) => status)).toEqual(['done', 'waiting']);
    expect(made.totals.pieces).toBe(1);

    // On the card the second is agreed, too: it is what is missing.
    await page.getByLabel(/^The customer has agreed to photo\.png/).check();
    await page.getByRole('button', { name: 'Make what is missing' }).click();
    await expect.poll(() => orderOf(id).totals?.pieces, { timeout: TIME }).toBe(2);

    // Changed for all: nothing is agreed any more, and nothing of it is burned.
    await page.getByLabel('Corner radius').fill('3');
    await page.getByLabel('Corner radius').press('Tab');
    await expect.poll(() => page.getByText('changed since agreed').count(), { timeout: TIME }).toBe(2);
    await page.getByLabel(/^Only what is agreed \(0 of 2\)/).waitFor();
    expect(complaints).toEqual([]);
    await context.close();
  },
  TIME,
);
