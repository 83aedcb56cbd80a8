import type { Page } from 'playwright-core';
import { beforeAll, describe, expect, test } from 'vitest';
import { TAG, TIME, useOpenShop, waitForProof } from './open-shop.ts';
import { openGroup } from './stage-steps.ts';

const shop = useOpenShop();
let job = '';
let order = '';

beforeAll(async () => {
  job = await shop.openSample('cat', TAG);
  order = (await shop.post('/api/orders', { title: 'Saturday market', wish: TAG })).id;
}, TIME);

/** Every screen, and what is there once it is drawn. */
const screens = (): readonly (readonly [route: string, wait: (page: Page) => Promise<unknown>])[] => [
  ['/', (page) => page.getByRole('button', { name: 'Choose a photo' }).waitFor()],
  [`/photo/${job}`, waitForProof],
  [`/show/${job}`, (page) => page.getByRole('button', { name: 'Yes, like this' }).waitFor()],
  [`/compare/${job}`, (page) => page.locator('.pane').first().waitFor()],
  ['/material', (page) => page.getByRole('button', { name: 'Draw the chart' }).waitFor()],
  ['/material/profile/slate-coaster', (page) => page.getByRole('img', { name: /^Tone curve/ }).waitFor()],
  ['/order', (page) => page.getByRole('button', { name: 'Choose photos' }).waitFor()],
  [`/order/${order}`, (page) => page.getByRole('button', { name: 'Choose photos' }).waitFor()],
  ['/shop', (page) => page.getByRole('button', { name: 'Add a machine' }).waitFor()],
];

async function goTo(page: Page, route: string): Promise<void> {
  await page.goto(`${shop.server().origin}/#${route}`);
}

/** In the page: what a finger must hit and is smaller than 24 pixels (WCAG 2.2, 2.5.8), but for links in text. */
function findSmallTargets(): string[] {
  const small: string[] = [];
  for (const one of document.querySelectorAll<HTMLElement>(
    'a[href], button, input, select, textarea, summary, [role="slider"], [role="button"]',
  )) {
    const target = one.matches('input') ? (one.closest('label') ?? one) : one;
    const { width, height } = target.getBoundingClientRect();
    const isHidden = width <= 1 || height <= 1 || getComputedStyle(target).visibility === 'hidden';
    const isInText = one.matches('p a, li p a, small a, figcaption a, .note a');
    if (isHidden || isInText || one.closest('.skip, [hidden]')) continue;
    if (Math.min(width, height) < 23.9) {
      const name = one.getAttribute('aria-label') ?? one.textContent?.trim() ?? '';
      small.push(`${one.tagName} ${one.id} ${name} ${width.toFixed(0)} × ${height.toFixed(0)}`);
    }
  }
  return small;
}

/** In the page: what has lost its edge or its state where the system's own colours are forced. */
function findLost(): string[] {
  const lost: string[] = [];
  for (const one of document.querySelectorAll<HTMLElement>('button, select, input[type="text"]')) {
    const { width, height } = one.getBoundingClientRect();
    if (width <= 1 || height <= 1) continue;
    const { borderTopStyle, borderTopWidth } = getComputedStyle(one);
    const framed = borderTopStyle !== 'none' && Number.parseFloat(borderTopWidth) > 0;
    const named = (one.textContent?.trim() ?? '') !== '' || one.querySelector('svg, img') !== null;
    if (!framed && !named) lost.push(`${one.tagName} ${one.getAttribute('aria-label') ?? one.id}`);
  }
  const look = (element: Element) => {
    const { backgroundColor, color, outlineStyle, borderTopColor, borderTopStyle } = getComputedStyle(element);
    return [backgroundColor, color, outlineStyle, borderTopColor, borderTopStyle].join(' ');
  };
  const pairs = [
    ['.rail [aria-expanded="true"]', '.rail [aria-expanded="false"]'],
    ['.segments label:has(:checked)', '.segments label:not(:has(:checked))'],
    ['.bar nav [aria-current]', '.bar nav a:not([aria-current])'],
  ] as const;
  for (const [on, off] of pairs) {
    const [a, b] = [document.querySelector(on), document.querySelector(off)];
    if (a && b && look(a) === look(b)) lost.push(`${on} looks as ${off}`);
  }
  return lost;
}

describe('for everybody', () => {
  test.each([
    [200, 640, 450],
    [400, 320, 256],
  ])(
    'enlarged to %d %% nothing is cut off at the side, and what is to be pressed can be reached',
    async (_, width, height) => {
      const { page, context, complaints } = await shop.open('/', { width, height });
      for (const [route, wait] of screens()) {
        await goTo(page, route);
        await wait(page);
        expect(await page.evaluate(() => document.documentElement.scrollWidth), route).toBeLessThanOrEqual(width);
        const hidden = await page.evaluate(() =>
          [...document.querySelectorAll<HTMLElement>('main button:not(:disabled), .stage-head button:not(:disabled)')]
            .filter((one) => one.getBoundingClientRect().width > 1 && !one.closest('[hidden]'))
            .filter((one) => {
              one.scrollIntoView({ block: 'center', inline: 'center' });
              const { left, top, width: wide, height: high } = one.getBoundingClientRect();
              const found = document.elementFromPoint(left + wide / 2, top + high / 2);
              return !found || !(one.contains(found) || found.contains(one));
            })
            .map((one) => one.getAttribute('aria-label') ?? one.textContent),
        );
        expect(hidden, route).toEqual([]);
      }
      expect(complaints).toEqual([]);
      await context.close();
    },
    TIME,
  );

  test.each([390, 1366])(
    'at %d pixels every target is 24 pixels at least',
    async (width) => {
      const { page, context } = await shop.open('/', { width, height: width < 600 ? 844 : 650 });
      for (const [route, wait] of screens()) {
        await goTo(page, route);
        await wait(page);
        expect(await page.evaluate(findSmallTargets), route).toEqual([]);
        if (!route.startsWith('/photo')) continue;
        for (const group of ['Piece', 'Material', 'Crop', 'Tone', 'Words', 'Dots'] as const) {
          await openGroup(page, group);
          expect(await page.evaluate(findSmallTargets), group).toEqual([]);
        }
      }
      await context.close();
    },
    TIME,
  );

  test(
    'where the system forces its own colours, edges and states stay',
    async () => {
      const { page, context } = await shop.open('/', { width: 1366, height: 650 });
      await page.emulateMedia({ forcedColors: 'active' });
      for (const [route, wait] of screens()) {
        await goTo(page, route);
        await wait(page);
        expect(await page.evaluate(findLost), route).toEqual([]);
      }
      await context.close();
    },
    TIME,
  );
});

describe('a reload after each control', () => {
  test(
    'loses nothing and applies nothing twice, and another window agrees',
    async () => {
      const id = await shop.openSample('cat', TAG);
      const { page, context, complaints } = await shop.open(`/photo/${id}`, { width: 1366, height: 650 });
      await waitForProof(page);
      const other = await context.newPage();
      await other.setViewportSize({ width: 1366, height: 650 });
      await other.goto(`${shop.server().origin}/#/photo/${id}`);
      await waitForProof(other);
      const fill = (label: string, text: string) => async (at: Page) => {
        await at.getByLabel(label, { exact: true }).fill(text);
        await at.getByLabel(label, { exact: true }).press('Tab');
      };
      const click = (text: string) => (at: Page) => at.getByText(text, { exact: true }).click();
      const value = (label: string) => (at: Page) => at.getByLabel(label, { exact: true }).inputValue();
      const checked = (label: string) => (at: Page) => at.getByRole('radio', { name: label, exact: true }).isChecked();
      const controls = [
        ['Piece', fill('Width', '31'), value('Width'), '31', { widthMm: 31 }],
        ['Piece', fill('Bare edge', '1'), value('Bare edge'), '1', { safeMarginMm: 1 }],
        ['Tone', fill('Brightness', '0.25'), value('Brightness'), '0.25', { toneValues: { brightnessEv: 0.25 } }],
        ['Tone', fill('Contrast', '-0.2'), value('Contrast'), '-0.2', { toneValues: { contrast: -0.2 } }],
        ['Crop', click('Shown whole'), checked('Shown whole'), true, { fit: 'contain' }],
        ['Crop', fill('Straighten', '3'), value('Straighten'), '3', { turnDeg: 3 }],
        ['Crop', click('Oval'), checked('Oval'), true, { outline: 'oval' }],
        ['Words', fill('Words', 'Mia'), value('Words'), 'Mia', { caption: { text: 'Mia' } }],
      ] as const;
      for (const [group, change, read, wanted, wish] of controls) {
        await openGroup(page, group);
        await change(page);
        // At once, before anything can have been answered.
        await page.reload();
        await openGroup(page, group);
        await openGroup(other, group);
        for (const window of [page, other]) {
          await expect.poll(() => read(window), { message: `${group} ${wanted}`, timeout: 20_000 }).toBe(wanted);
        }
        await expect.poll(() => shop.recordOnDisk(id).wish, { timeout: 20_000 }).toMatchObject(wish);
      }
      // One step for each control, and not one more.
      for (let step = controls.length; step > 0; step--) {
        await page.getByRole('button', { name: 'Undo', exact: true }).click();
      }
      await expect.poll(() => shop.recordOnDisk(id).wish, { timeout: 20_000 }).toEqual({ ...TAG, toneValues: {} });
      expect(await page.getByRole('button', { name: 'Undo', exact: true }).isDisabled()).toBe(true);
      expect(complaints).toEqual([]);
      await context.close();
    },
    TIME,
  );
});
