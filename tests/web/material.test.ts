import { mkdirSync, readdirSync } from 'node:fs';
import { join } from 'node:path';
import type { Browser } from 'playwright-core';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { launch, openPage } from '../../benchmarks/common/browser.ts';
import { expectSameFile, expectSameFolder } from '../same-bytes.ts';
import { makeFolder, type PageServer, runCommand, startPageServer } from './page-server.ts';

const TIME = 240_000;
const folder = makeFolder();
const shop = join(folder.path, 'shop');
let server: PageServer;
let browser: Browser;

beforeAll(async () => {
  mkdirSync(shop);
  server = await startPageServer(shop);
  browser = await launch();
}, TIME);

afterAll(async () => {
  await browser?.close();
  await server?.stop();
  folder.remove();
});

const MACHINE = 'galvo-355-f210';
const MATERIAL = 'anodised-black';

describe('a new material', () => {
  test(
    'chart, scan, curve and profile: the files are those of the command line',
    async () => {
      const { page, context, complaints } = await openPage(browser, server.url);
      await page.getByRole('link', { name: 'Material' }).click();
      await page.getByRole('heading', { name: 'Learn a material' }).waitFor();
      await page.getByText('Draw a chart first.').waitFor();
      await page.getByLabel('Machine and lens').selectOption(MACHINE);
      await page.getByLabel('Material', { exact: true }).selectOption(MATERIAL);
      const power = page.getByLabel('Power', { exact: true });
      expect(await power.inputValue()).toBe('2');
      await page.getByLabel(/Distance between dots/).fill('0.02');
      await page.getByLabel(/Distance between dots/).press('Tab');
      // Closer dots with the same dose take less power: nothing is shown that is not burned.
      expect(await power.inputValue()).toBe('');
      await page.getByRole('button', { name: 'Draw the chart' }).click();
      await page.getByRole('img', { name: /^The chart/ }).waitFor();
      await page.getByText('1.65 W').waitFor();

      // The same chart by the command line, and a scan of it from the virtual engraver.
      const [hash] = readdirSync(join(shop, 'charts')).filter((name) => !name.endsWith('.json'));
      const byCommand = join(folder.path, 'chart');
      const grid = ['--pitch', '0.02', '--spacing', '0.02'];
      await runCommand(
        folder.path,
        ...['chart', 'tone', '--machine', MACHINE, '--material', MATERIAL, '--size', '85.6x54', ...grid],
        ...['--out', byCommand],
      );
      expectSameFolder(join(shop, 'charts', hash!), byCommand);
      const scan = join(folder.path, 'scan.png');
      await runCommand(
        folder.path,
        ...['simulate', 'capture', join(byCommand, 'chart.png'), '--material-model', MATERIAL],
        ...['--camera', 'flatbed-600', '--out', scan],
      );

      await page.setInputFiles('input[type=file]', scan);
      await page.getByText('scan.png', { exact: false }).first().waitFor();
      await page.getByLabel(/Name of the profile/).fill('Card of the test');
      await page.getByRole('button', { name: 'Read it' }).click();
      await page.getByRole('heading', { name: 'What was learned' }).waitFor({ timeout: TIME });
      await page.getByRole('img', { name: /^Tone curve/ }).waitFor();
      await page.getByRole('img', { name: /^Measured minus model/ }).waitFor();
      await page.getByRole('img', { name: /with the patches that were found/ }).waitFor();
      await page.reload();
      await page.getByRole('button', { name: 'Save the profile' }).click();
      await page.getByText('Saved as “Card of the test”.').waitFor();

      const learned = join(folder.path, 'card-of-the-test.json');
      const chart = ['--chart', join(byCommand, 'chart.json'), '--title', 'Card of the test'];
      await runCommand(folder.path, 'learn', scan, ...chart, '--out', learned);
      for (const ending of ['json', 'html']) {
        const saved = join(shop, 'profiles', `card-of-the-test.${ending}`);
        expectSameFile(saved, learned.replace('json', ending));
      }

      // A second save does not replace the first unasked.
      await page.goto(`${server.origin}/#/material`);
      await page.getByRole('heading', { name: 'Profiles' }).waitFor();
      await page.getByRole('checkbox', { name: 'Compare Card of the test' }).check();
      await page.getByRole('checkbox', { name: 'Compare Black anodised card, 355 nm, 210 mm lens' }).check();
      await page.getByRole('button', { name: 'Compare these two' }).click();
      await page.getByRole('heading', { name: 'How they differ' }).waitFor();
      await page.getByRole('img', { name: /^Tone curves of/ }).waitFor();
      expect(complaints).toEqual([]);
      await context.close();
    },
    TIME,
  );

  test(
    'a picture without a chart is refused with a reason, and four corners can be set by hand, by keys and under a glass',
    async () => {
      const { page, context } = await openPage(browser, server.url);
      await page.getByRole('link', { name: 'Material' }).click();
      // The page for photos has a field for files, too.
      await page.getByRole('heading', { name: 'Learn a material' }).waitFor();
      await page.setInputFiles('input[type=file]', 'images/photos/cup.png');
      await page.getByRole('button', { name: 'Read it' }).click();
      await page.getByRole('alert').waitFor({ timeout: TIME });
      const handle = page.getByRole('button', { name: /^Upper left corner/ });
      await handle.focus();
      const before = await handle.getAttribute('aria-label');
      await page.keyboard.press('Shift+ArrowRight');
      expect(await handle.getAttribute('aria-label')).not.toBe(before);
      await page.getByRole('button', { name: 'Find the chart by its marks again' }).waitFor();
      const other = page.getByRole('button', { name: /^Lower right corner/ });
      await other.scrollIntoViewIfNeeded();
      const place = (await other.boundingBox())!;
      await page.mouse.move(place.x + place.width / 2, place.y + place.height / 2);
      await page.mouse.down();
      await page.mouse.move(place.x, place.y);
      // Beside the thumb, and not under it.
      const glass = (await page.locator('.glass').boundingBox())!;
      expect(glass.y + glass.height).toBeLessThan(place.y);
      await page.mouse.up();
      expect(await page.locator('.glass').count()).toBe(0);
      await context.close();
    },
    TIME,
  );
});
