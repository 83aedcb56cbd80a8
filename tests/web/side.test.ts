import { readdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { expect, test } from 'vitest';
import { CARD, TIME, useOpenShop } from './open-shop.ts';
import { openGroup } from './stage-steps.ts';

const shop = useOpenShop();
const { profile: _profile, ...REST } = CARD;
const GLASS = { ...REST, widthMm: 40, heightMm: 30, machine: 'gantry-10600', cornerRadiusMm: 0, safeMarginMm: 0 };

test(
  'clear stock asks from which side it is looked at; opaque stock does not',
  async () => {
    const id = await shop.openSample('cat', { ...GLASS, material: 'clear-glass' });
    const { page, context } = await shop.open(`#/photo/${id}`);
    try {
      await openGroup(page, 'Material');
      const looked = page.getByRole('group', { name: 'Looked at' });
      await looked.waitFor();
      await expect.poll(() => looked.getByRole('radio', { name: 'Burned face' }).isChecked()).toBe(true);
      await looked.getByText('Through it').click();
      await page.getByText('Burned from behind: the bitmap is mirrored for it.').waitFor();
      await expect.poll(() => shop.recordOnDisk(id).wish.seen, { timeout: TIME }).toBe('through');
      // Over a light ground frost hardly shows, so that there is nothing to choose.
      expect(await page.getByRole('group', { name: 'What lies behind it' }).count()).toBe(0);
      await openGroup(page, 'Dots');
      expect(await page.getByText('Mirrored, for the back of glass').count()).toBe(0);
      await openGroup(page, 'Material');
      await page.getByLabel('Material', { exact: true }).selectOption('material:silvered-mirror');
      const ground = page.getByRole('group', { name: 'What lies behind it' });
      await ground.getByText('White').click();
      await expect
        .poll(() => shop.recordOnDisk(id).wish, { timeout: TIME })
        .toMatchObject({
          material: 'silvered-mirror',
          beneath: 'light',
        });
      expect(shop.recordOnDisk(id).wish).not.toHaveProperty('seen');
      await page.getByLabel('Material', { exact: true }).selectOption('material:birch-plywood');
      await expect.poll(() => shop.recordOnDisk(id).wish.material, { timeout: TIME }).toBe('birch-plywood');
      expect(shop.recordOnDisk(id).wish).not.toHaveProperty('beneath');
      expect(await page.getByRole('group', { name: 'Looked at' }).count()).toBe(0);
    } finally {
      await context.close();
    }
  },
  TIME,
);

test(
  'a chart for the other side is one click from the notice, and is drawn mirrored',
  async () => {
    const { page, context } = await shop.open('#/material/draw/tone/gantry-10600/clear-glass/through');
    try {
      const looked = page.getByRole('group', { name: 'Looked at' });
      await expect.poll(() => looked.getByRole('radio', { name: 'Through it' }).isChecked()).toBe(true);
      await page.getByRole('button', { name: 'Draw the chart' }).click();
      await page.getByRole('link', { name: 'Read the instructions' }).waitFor({ timeout: TIME });
      const [file] = readdirSync(join(shop.shop, 'charts')).filter((name) => name.endsWith('.json'));
      expect(JSON.parse(readFileSync(join(shop.shop, 'charts', file!), 'utf8'))).toMatchObject({
        material: 'clear-glass',
        seen: 'through',
        beneath: 'dark',
      });
    } finally {
      await context.close();
    }
  },
  TIME,
);

test(
  'a spot chart at the speed of lines there and back is drawn with its vernier',
  async () => {
    const { page, context } = await shop.open('#/material/draw/spot/gantry-450/birch-plywood/two-way-120');
    try {
      const lines = page.getByRole('group', { name: 'Lines' });
      await expect.poll(() => lines.getByRole('radio', { name: 'There and back' }).isChecked()).toBe(true);
      await page.getByText('how far lines that run back land').waitFor();
      await page.getByRole('button', { name: 'Draw the chart' }).click();
      await page.getByRole('link', { name: 'Read the instructions' }).waitFor({ timeout: TIME });
      const layouts = readdirSync(join(shop.shop, 'charts'))
        .filter((name) => name.endsWith('.json'))
        .map((name) => JSON.parse(readFileSync(join(shop.shop, 'charts', name), 'utf8')));
      const spot = layouts.find(({ kind }) => kind === 'spot');
      expect(spot.settings).toMatchObject({ scan: 'two-way', speedMmPerS: 120 });
      expect(spot.patches.some(({ role }: { role: string }) => role === 'vernier')).toBe(true);
    } finally {
      await context.close();
    }
  },
  TIME,
);

test(
  'the customer is told which side is engraved',
  async () => {
    const id = await shop.openSample('cat', { ...GLASS, material: 'clear-glass', seen: 'through' });
    const { page, context } = await shop.open(`#/show/${id}`);
    try {
      await page
        .getByText('engraved on the back, smooth in front, shown with something dark behind it')
        .waitFor({ timeout: TIME });
    } finally {
      await context.close();
    }
  },
  TIME,
);
