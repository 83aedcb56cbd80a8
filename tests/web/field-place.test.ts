import { mkdirSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { expect, test } from 'vitest';
import { CARD, TIME, useOpenShop } from './open-shop.ts';
import { openGroup } from './stage-steps.ts';

const shop = useOpenShop();
const TERMS = { covariance: [0, 1, 2, 3].map((row) => [0, 1, 2, 3].map((column) => (row === column ? 1e-7 : 0))) };

/** A beam that is weaker to the right and towards the rim of the field, as a field chart told. */
function keepMap(): void {
  const [width, height] = [150, 150];
  const whole = { xMm: 0, yMm: 0, widthMm: width, heightMm: height };
  mkdirSync(join(shop.shop, 'evenness'), { recursive: true });
  writeFileSync(
    join(shop.shop, 'evenness', `${CARD.machine}.json`),
    JSON.stringify({
      schema: 'tonewright-evenness/1',
      machine: CARD.machine,
      fieldMm: [width, height],
      charts: ['0123456789'],
      profile: CARD.profile,
      material: 'anodised-black',
      date: '2026-01-01',
      covered: whole,
      home: { xMm: 32, yMm: 48, widthMm: 85.6, heightMm: 54 },
      surface: 'round',
      lnDose: { coefficients: [0, -0.05, 0, -0.08], ...TERMS },
      lnWidth: { coefficients: [0, 0, 0, 0.02], ...TERMS },
      patches: 60,
      unevenL: 2,
      leftL: 0.3,
      crossL: 0.3,
      notes: [],
    }),
  );
}

test(
  'where it lies is asked on a machine whose field was measured, with a decimal comma and a semicolon between',
  async () => {
    const tag = { ...CARD, widthMm: 30, heightMm: 20, cornerRadiusMm: 0, safeMarginMm: 0 };
    const label = /^Where it lies/;
    const before = await shop.openSample('cat', tag);
    const first = await shop.open(`#/photo/${before}`);
    await openGroup(first.page, 'Dots');
    await first.page.getByText('Settings by hand').waitFor();
    expect(await first.page.getByLabel(label).count()).toBe(0);
    await first.context.close();

    keepMap();
    const id = await shop.openSample('cat', tag);
    const { page, context } = await shop.open(`#/photo/${id}`);
    try {
      await openGroup(page, 'Dots');
      const place = page.getByLabel(label);
      await place.waitFor({ timeout: TIME });
      await place.fill('120.5; 110');
      await place.press('Tab');
      await expect.poll(() => shop.recordOnDisk(id).wish.at, { timeout: TIME }).toBe('120.5,110');
      const look = async () => {
        const { problem } = { problem: await page.getByRole('alert').allTextContents() };
        return problem.join(' ');
      };
      await page.getByText('Proof of the dots as they will burn').waitFor({ timeout: TIME });
      expect(await look()).toBe('');
      await place.fill('149; 149');
      await place.press('Tab');
      await page.getByText(/field/).first().waitFor({ timeout: TIME });
      await expect.poll(look, { timeout: TIME }).not.toBe('');
      await place.fill('');
      await place.press('Tab');
      await expect.poll(() => shop.recordOnDisk(id).wish, { timeout: TIME }).not.toHaveProperty('at');
    } finally {
      await context.close();
    }
  },
  TIME,
);
