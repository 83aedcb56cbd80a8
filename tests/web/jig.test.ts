import { readFileSync } from 'node:fs';
import { join } from 'node:path';
import { expect, test } from 'vitest';
import { openPage } from '../../benchmarks/common/browser.ts';
import { expectSameFile } from '../same-bytes.ts';
import { TIME, useOpenShop } from './open-shop.ts';
import { runCommand } from './page-server.ts';

const shop = useOpenShop();

test(
  'a jig is described and drawn before it is kept, is the file of the command, is copied, and its drawing is to be cut',
  async () => {
    const { page, context, complaints } = await shop.open('/shop', { width: 1366, height: 650 });
    await page.getByRole('button', { name: 'Add a jig' }).click();
    await page.getByText('It is drawn here once its machine is chosen.').waitFor();
    await page.getByLabel('What do you call the jig').fill('Coasters');
    await page.getByLabel('Under which machine').selectOption('gantry-450');
    const drawing = page.getByRole('img', { name: 'The jig to scale' });
    await drawing.waitFor();
    const width = () => drawing.evaluate((image) => (image as HTMLImageElement).naturalWidth);
    await expect.poll(width).toBeGreaterThan(20);
    await page.getByLabel('Columns of pockets').fill('9');
    await page.getByText(/^No drawing: found 9x2 pockets/).waitFor();
    expect(await drawing.count()).toBe(0);
    await page.getByLabel('Columns of pockets').fill('3');
    await page.getByLabel('Size of the piece').fill('⌀ 90');
    await page.getByLabel('Corner into which').selectOption('bottom-left');
    await drawing.waitFor();
    await page.getByRole('button', { name: 'Keep it' }).click();
    await page.getByText('314 × 214 mm, pockets: 6 of ⌀ 90 mm').waitFor({ timeout: TIME });
    const line = 'jig new --title Coasters --machine gantry-450 --columns 3 --pocket ⌀90 --stop bottom-left';
    const other = join(shop.path, 'other');
    await runCommand(process.cwd(), ...line.split(' '), '--shop', other);
    expectSameFile(join(shop.shop, 'jigs', 'coasters.json'), join(other, 'jigs', 'coasters.json'));

    const saving = page.waitForEvent('download');
    await page.getByRole('link', { name: 'Save the drawing to cut: Coasters' }).click();
    const saved = readFileSync(await (await saving).path());
    await runCommand(process.cwd(), 'plate', 'coasters', '--shop', other, '--out', join(shop.path, 'cut'));
    expect(saved.toString()).toBe(readFileSync(join(shop.path, 'cut', 'jig.svg'), 'utf8'));

    await page.getByRole('button', { name: 'Copy Coasters' }).click();
    await page.getByLabel('What do you call the jig').fill('Coasters, one row');
    await page.getByLabel('Rows of pockets').fill('1');
    await page.getByLabel('Width and height of the board').fill('314 x 114');
    await page.getByRole('button', { name: 'Keep it' }).click();
    await page.getByText('314 × 114 mm, pockets: 3 of ⌀ 90 mm').waitFor({ timeout: TIME });
    expect(complaints).toEqual([]);
    await context.close();
  },
  TIME,
);

test(
  'lengths of a jig are typed as the reader writes them, on a phone',
  async () => {
    const { page, context, complaints } = await openPage(shop.browser(), shop.server().url, {
      width: 390,
      height: 844,
    });
    await page.waitForURL(/#\/$/);
    await page.goto(`${shop.server().origin}/#/shop/new/jig`);
    await page.getByLabel('What do you call the jig').fill('Tags');
    await page.getByLabel('Under which machine').selectOption('galvo-355-f210');
    await page.getByLabel('Size of the piece').fill('40.5x20');
    await page.getByLabel('Gap between').fill('8.5');
    await page.getByRole('img', { name: 'The jig to scale' }).waitFor();
    expect(await page.evaluate(() => document.documentElement.scrollWidth)).toBeLessThanOrEqual(390);
    await page.getByRole('button', { name: 'Keep it' }).click();
    await page.getByText('4 of 40.5 × 20 mm').waitFor({ timeout: TIME });
    const jig = JSON.parse(readFileSync(join(shop.shop, 'jigs', 'tags.json'), 'utf8'));
    expect(jig.pockets[1].xMm - jig.pockets[0].xMm).toBe(49);
    expect(complaints).toEqual([]);
    await context.close();
  },
  TIME,
);
