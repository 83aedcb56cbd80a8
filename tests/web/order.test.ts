import { copyFileSync, mkdirSync, readdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import type { Browser } from 'playwright-core';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { launch, openPage } from '../../benchmarks/common/browser.ts';
import { expectSameFile } from '../same-bytes.ts';
import { makeFolder, type PageServer, runCommand, startPageServer } from './page-server.ts';
import { sampleJpeg } from './sample-photo.ts';

const TIME = 300_000;
const folder = makeFolder();
const shop = join(folder.path, 'shop');
const photos = join(folder.path, 'photos');
let server: PageServer;
let browser: Browser;

beforeAll(async () => {
  mkdirSync(shop);
  mkdirSync(photos);
  copyFileSync('images/photos/cat.png', join(photos, 'cat.png'));
  copyFileSync('images/photos/cup.png', join(photos, 'cup.png'));
  writeFileSync(join(photos, 'boat.jpg'), await sampleJpeg(900, 700));
  writeFileSync(join(folder.path, 'no-photo.jpg'), 'a recipe for soup');
  writeFileSync(join(folder.path, 'list.csv'), 'photo,count,text\ncat.png,3,for Friday\n');
  server = await startPageServer(shop);
  browser = await launch();
}, TIME);

afterAll(async () => {
  await browser?.close();
  await server?.stop();
  folder.remove();
});

describe('an order', () => {
  test(
    'many photos and a list become the files of the command line, past one bad photo, a reload and a crash',
    async () => {
      const { page, context, complaints } = await openPage(browser, server.url);
      await page.getByRole('link', { name: 'Order', exact: true }).click();
      await page.getByRole('heading', { name: 'Make a whole order' }).waitFor();
      const dropped = ['cat.png', 'cup.png', 'boat.jpg'].map((name) => join(photos, name));
      await page.setInputFiles('input[type=file]', [
        ...dropped,
        join(folder.path, 'no-photo.jpg'),
        join(folder.path, 'list.csv'),
      ]);
      await page.getByRole('listitem').filter({ hasText: 'cup.png' }).waitFor();
      await page.getByRole('alert').getByText('no-photo.jpg', { exact: false }).waitFor();
      await page.getByText('3 copies').waitFor();
      await page.getByLabel('Width', { exact: true }).fill('30');
      await page.getByLabel('Width', { exact: true }).press('Tab');
      await page.getByLabel('Height', { exact: true }).fill('15');
      await page.getByLabel('Height', { exact: true }).press('Tab');

      // The crop of one is mended, the piece is left out and taken in again.
      await page.getByRole('button', { name: 'cup.png: see and change' }).click();
      await page.getByRole('button', { name: /^Crop, middle/ }).focus();
      for (let i = 0; i < 4; i++) await page.keyboard.press('Shift+ArrowUp');
      await page.getByRole('button', { name: 'Take this' }).click();
      await page.getByRole('checkbox', { name: 'Make boat.jpg' }).uncheck();
      await page.getByText('left out').waitFor();
      await page.getByRole('checkbox', { name: 'Make boat.jpg' }).check();
      await page.getByText('left out').waitFor({ state: 'detached' });

      await page.getByRole('button', { name: 'Make all pieces' }).click();
      await page.getByText(/of 3 pieces/).waitFor();
      await page.reload();
      await server.stop('SIGKILL');
      server = await startPageServer(shop);
      await page.getByRole('button', { name: 'All pieces are made' }).waitFor({ timeout: TIME });

      const [id] = readdirSync(join(shop, 'orders'));
      const kept = JSON.parse(readFileSync(join(shop, 'orders', id!, 'order-page.json'), 'utf8'));
      const cup = kept.pieces.find((piece: { photo: string }) => piece.photo === 'cup.png');
      const list = join(photos, 'order.csv');
      writeFileSync(
        list,
        `photo,count,text,keep\nboat.jpg,1,,\ncat.png,3,for Friday,\ncup.png,1,,"${cup.own.focus.x},${cup.own.focus.y}"\n`,
      );
      const out = join(folder.path, 'by-command');
      await runCommand(
        folder.path,
        ...['order', list, '--size', '30x15', '--corner', '3.18', '--margin', '2', '--profile', 'anodised-black'],
        ...['--shop', shop, '--title', kept.title, '--out', out],
      );
      const done = join(shop, 'orders', id!, 'out');
      const isResult = (name: string) => !/journal|lock/.test(name);
      expect(readdirSync(done).filter(isResult)).toEqual(readdirSync(out).filter(isResult));
      // The sums name the lines of the list, which the page has none of; the pieces are the same byte for byte.
      for (const name of readdirSync(out).filter((one) => isResult(one) && !one.startsWith('order.'))) {
        expectSameFile(join(done, name), join(out, name));
      }
      const sumsIn = (path: string) => JSON.parse(readFileSync(join(path, 'order.json'), 'utf8')).totals;
      expect(sumsIn(done)).toEqual(sumsIn(out));

      await page.getByRole('button', { name: 'Lay them out' }).click();
      await page
        .getByRole('img', { name: /pockets filled/ })
        .first()
        .waitFor({ timeout: TIME });
      expect(readdirSync(join(shop, 'orders', id!, 'plates'))).toContain('plates.html');

      const [download] = await Promise.all([
        page.waitForEvent('download'),
        page.getByRole('link', { name: /Everything/ }).click(),
      ]);
      const zip = readFileSync(await download.path());
      expect(zip.subarray(0, 4).toString('latin1')).toBe('PK\u0003\u0004');
      for (const name of ['order.html', 'cat.png', 'cup.ticket.html', 'plates/plates.html']) {
        expect(zip.includes(name), name).toBe(true);
      }
      expect(complaints.filter((text) => !/ERR_|Failed to fetch|EventSource/i.test(text))).toEqual([]);
      await context.close();
    },
    TIME,
  );
});
