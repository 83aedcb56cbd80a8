import { mkdirSync, readdirSync, readFileSync, rmSync } from 'node:fs';
import { join } from 'node:path';
import type { Locator, Page } from 'playwright-core';
import { describe, expect, test } from 'vitest';
import { expectSameFile } from '../same-bytes.ts';
import { TAG, TIME, useOpenShop, waitForProof } from './open-shop.ts';
import { runCommand } from './page-server.ts';
import { keptFiles } from './stage-steps.ts';

const shop = useOpenShop();
/** Stops of the Tab key on the longest way to a control. A count. Assumed: more than a screen has. */
const MOST_STOPS = 250;

/** A way to work the page. */
interface Hand {
  readonly press: (target: Locator) => Promise<void>;
  readonly type: (target: Locator, text: string) => Promise<void>;
  /** One of a list by its first letters. */
  readonly choose: (target: Locator, text: string) => Promise<void>;
}

/** Nothing but keys: a control is reached by Tab, as the page leads there. */
function byKeys(page: Page): Hand {
  const reach = async (target: Locator) => {
    await target.waitFor({ timeout: TIME });
    const isThere = () => target.evaluate((element) => element === document.activeElement);
    for (let stop = 0; stop < MOST_STOPS && !(await isThere()); stop++) await page.keyboard.press('Tab');
    expect(await isThere(), `${target} is reached by Tab`).toBe(true);
  };
  return {
    async press(target) {
      await reach(target);
      await page.keyboard.press('Enter');
    },
    async type(target, text) {
      await reach(target);
      await page.keyboard.press('ControlOrMeta+a');
      await page.keyboard.type(text);
      await page.keyboard.press('Tab');
    },
    async choose(target, text) {
      await reach(target);
      await page.keyboard.type(text);
    },
  };
}

/** Nothing but a finger on a telephone, and what its keyboard types. */
const byTouch = (): Hand => ({
  press: (target) => target.tap({ timeout: TIME }),
  async type(target, text) {
    await target.tap({ timeout: TIME });
    await target.fill(text);
    await target.blur();
  },
  // A telephone's own list is no part of the page.
  async choose(target, text) {
    await target.selectOption(text);
  },
});

/** Nothing but the mouse, and what is typed into the field that it has chosen. */
const byMouse = (page: Page): Hand => ({
  press: (target) => target.click({ timeout: TIME }),
  async type(target, text) {
    await target.click({ timeout: TIME, clickCount: 3 });
    await page.keyboard.type(text);
  },
  // A list that is open is no part of the page.
  async choose(target, text) {
    await target.selectOption(text);
  },
});

async function openBy(how: 'mouse' | 'keys' | 'touch', route: string) {
  const touch = { viewport: { width: 390, height: 844 }, hasTouch: true, isMobile: true, deviceScaleFactor: 2 };
  const context = await shop.browser().newContext({
    locale: 'en-GB',
    reducedMotion: 'reduce',
    ...(how === 'touch' ? touch : { viewport: { width: 1366, height: 650 } }),
  });
  context.setDefaultTimeout(60_000);
  const page = await context.newPage();
  const complaints: string[] = [];
  page.on('pageerror', (error) => complaints.push(error.message));
  await page.goto(shop.server().url);
  await page.waitForURL(/#\/$/);
  await page.goto(`${shop.server().origin}/#${route}`);
  const hand = { mouse: byMouse, keys: byKeys, touch: byTouch }[how](page);
  const button = (name: string | RegExp) => page.getByRole('button', { name, exact: typeof name === 'string' });
  return { page, context, complaints, hand, button };
}

const rail = (page: Page, name: string) =>
  page.getByRole('navigation', { name: 'Controls' }).getByRole('button', { name, exact: true });

const idsIn = (folder: string) => readdirSync(join(shop.shop, folder)).filter((name) => /^[0-9a-f]{16}$/.test(name));

describe.each(['keys', 'touch'] as const)('by %s alone', (how) => {
  test(
    'a customer is waiting: from the first visit to the files of the command, byte for byte',
    async () => {
      rmSync(join(shop.path, how), { recursive: true, force: true });
      const known = new Set(how === 'keys' ? [] : idsIn('jobs'));
      const { page, context, complaints, hand, button } = await openBy(how, '/');
      await hand.press(button('Cat'));
      await waitForProof(page);
      const piece = rail(page, 'Piece');
      if ((await piece.getAttribute('aria-expanded')) !== 'true') await hand.press(piece);
      await hand.type(page.getByLabel('Width', { exact: true }), '30');
      await hand.type(page.getByLabel('Height', { exact: true }), '20');
      await hand.type(page.getByLabel('Corner radius'), '2');
      await hand.press(rail(page, 'Crop'));
      await hand.press(button('Turn right'));
      await waitForProof(page);
      await hand.press(button('Keep as a job'));
      await keptFiles(page).waitFor({ timeout: TIME });
      const id = idsIn('jobs').find((one) => !known.has(one))!;
      const { wish } = shop.recordOnDisk(id);
      expect(wish).toMatchObject({ widthMm: 30, heightMm: 20, cornerRadiusMm: 2, turnDeg: 90 });
      const out = join(shop.path, how, 'photo');
      await runCommand(
        process.cwd(),
        ...['prepare', 'images/photos/cat.png', '--size', '30x20', '--corner', '2', '--margin', '2'],
        ...['--machine', wish.machine, '--profile', wish.profile, '--turn', '90', '--shop', shop.shop, '--out', out],
      );
      expectSameFile(join(shop.shop, 'jobs', id, 'out', 'cat.png'), join(out, 'cat.png'));
      // Turned to the customer, who says yes, and back.
      await hand.press(button(/^Close: /));
      await hand.press(button('Show the customer'));
      await expect.poll(() => button('Yes, like this').isEnabled(), { timeout: TIME }).toBe(true);
      await hand.press(button('Yes, like this'));
      await page.getByText(/^Agreed on /).waitFor();
      await hand.press(button('Back to the work'));
      await waitForProof(page);
      expect(complaints).toEqual([]);
      await context.close();
    },
    TIME,
  );

  test(
    'a new material: from the chart to a profile in the shop',
    async () => {
      const { page, context, complaints, hand, button } = await openBy(how, '/material');
      await hand.press(button('Draw the chart'));
      await page.getByRole('img', { name: /^The chart/ }).waitFor({ timeout: TIME });
      await page.reload();
      await hand.press(button(/^Try it/).first());
      await page.getByText('No laser has burned this piece').waitFor({ timeout: TIME });
      // The second hand finds what the first has saved, and takes its place.
      await hand.press(button(/^(?:Save the profile|Replace it with this one)$/));
      await page.getByText(/^Saved as/).waitFor({ timeout: TIME });
      const profiles = readdirSync(join(shop.shop, 'profiles')).filter((name) => name.endsWith('.json'));
      const kept = profiles.map((name) => JSON.parse(readFileSync(join(shop.shop, 'profiles', name), 'utf8')));
      expect(kept.map(({ origin }) => origin)).toContain('simulated');
      expect(complaints).toEqual([]);
      await context.close();
    },
    TIME,
  );

  test(
    'an order: from its photos to the files of the command, byte for byte',
    async () => {
      mkdirSync(join(shop.path, how), { recursive: true });
      const { page, context, complaints, hand, button } = await openBy(how, '/order');
      const chooser = page.waitForEvent('filechooser');
      await hand.press(button('Choose photos'));
      await (await chooser).setFiles(['cat', 'cup'].map((name) => `images/photos/${name}.png`));
      await hand.type(page.getByLabel('Width', { exact: true }), '30');
      await hand.type(page.getByLabel('Height', { exact: true }), '20');
      await expect.poll(() => page.locator('.piece-card').count(), { timeout: TIME }).toBe(2);
      await hand.press(button('Make all pieces'));
      await page.getByText('All pieces are made').waitFor({ timeout: TIME });
      const id = page.url().split('/').at(-1)!;
      const record = JSON.parse(readFileSync(join(shop.shop, 'orders', id, 'order-page.json'), 'utf8'));
      const { machine, profile, cornerRadiusMm, safeMarginMm } = record.wish;
      const out = join(shop.path, how, 'order');
      const inputs = join(shop.shop, 'orders', id, 'in');
      await runCommand(
        process.cwd(),
        ...['order', inputs, '--size', '30x20', '--corner', `${cornerRadiusMm}`, '--margin', `${safeMarginMm}`],
        ...['--machine', machine, '--profile', profile, '--shop', shop.shop, '--out', out],
      );
      for (const file of ['cat.png', 'cup.png']) {
        expectSameFile(join(shop.shop, 'orders', id, 'out', file), join(out, file));
      }
      expect(complaints).toEqual([]);
      await context.close();
    },
    TIME,
  );
});

describe.each(['mouse', 'keys', 'touch'] as const)('by %s alone', (how) => {
  test(
    'the first day: a machine and what a minute costs are in the shop, and a photo has a price',
    async () => {
      const { page, context, complaints, hand, button } = await openBy(how, '/');
      const day = page.getByRole('region', { name: 'The first day' });
      await hand.press(day.getByRole('link', { name: /^Your machine/ }));
      await hand.type(page.getByLabel('What do you call the machine with this lens'), `Press by ${how}`);
      await hand.choose(page.getByLabel('Which of these is nearest to it'), 'galvo-355-f210');
      // Numbers say where they come from, and what would measure them.
      await hand.type(page.getByLabel('Mean power at the work at full power, W'), '4,5');
      await page.getByText('What would tell: a power meter at the work.').waitFor();
      await hand.press(button('Keep it'));
      await page.getByText(`Press by ${how}`).first().waitFor({ timeout: TIME });
      const machines = readdirSync(join(shop.shop, 'machines')).map((name) =>
        JSON.parse(readFileSync(join(shop.shop, 'machines', name), 'utf8')),
      );
      const mine = machines.find(({ title }) => title === `Press by ${how}`);
      expect(mine.powerW.max).toBe(4.5);
      await hand.press(button('Set the prices'));
      await hand.type(page.getByLabel('Name of the shop on a quote'), 'At the bridge');
      await hand.type(page.getByLabel('Currency, as in EUR'), 'EUR');
      await hand.type(page.getByLabel('Price of a minute of the machine'), '1.5');
      await hand.press(button('Keep it'));
      await button('Set the prices').waitFor({ timeout: TIME });
      // A photo has a price from then on.
      const id = await shop.openSample('cat', TAG);
      await page.goto(`${shop.server().origin}/#/photo/${id}`);
      await waitForProof(page);
      await page.getByText('Price', { exact: true }).waitFor({ timeout: TIME });
      rmSync(join(shop.shop, 'prices.json'));
      expect(complaints).toEqual([]);
      await context.close();
    },
    TIME,
  );
});
