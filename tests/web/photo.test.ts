import { mkdirSync, readdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import type { Browser } from 'playwright-core';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { launch, type Opened, openPage } from '../../benchmarks/common/browser.ts';
import { expectSameFile, expectSameFolder } from '../same-bytes.ts';
import { enter, makeFolder, type PageServer, runCommand, startPageServer } from './page-server.ts';
import { sampleJpeg } from './sample-photo.ts';
import { openGroup } from './stage-steps.ts';

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

/** A small piece, so that dots are few: what is tested is the way, not the speed. */
async function makeSmall({ page }: Opened): Promise<void> {
  await openGroup(page, 'Piece');
  await page.getByLabel('Width', { exact: true }).fill('30');
  await page.getByLabel('Height', { exact: true }).fill('20');
  await page.getByLabel('Corner radius').fill('2');
  await page.getByLabel('Corner radius').press('Tab');
  await openGroup(page, 'Tone');
}

const proofIsThere = ({ page }: Opened) =>
  page.getByText('Proof of the dots as they will burn').waitFor({ timeout: TIME });

const jobIds = () => readdirSync(join(shop, 'jobs')).filter((name) => !name.startsWith('.'));

describe('a customer is waiting', () => {
  test(
    'from the first visit to files that the command line makes byte for byte',
    async () => {
      const opened = await openPage(browser, server.url);
      const { page, context, complaints } = opened;
      // The token has left the address.
      await page.getByRole('heading', { name: 'See it before it is burned' }).waitFor();
      expect(page.url()).not.toContain(server.token);
      await page.getByRole('button', { name: 'Cat', exact: true }).click();
      await page.getByRole('heading', { name: 'cat', exact: true }).waitFor();
      await makeSmall(opened);
      await page.getByLabel('Contrast', { exact: true }).fill('0.3');
      await openGroup(page, 'Crop');
      await page.getByRole('button', { name: /^Crop, middle/ }).focus();
      for (let i = 0; i < 3; i++) await page.keyboard.press('ArrowDown');
      await page.keyboard.press('Shift+ArrowRight');
      await page.keyboard.press('+');
      await page.getByLabel('Straighten', { exact: true }).fill('2.5');
      await proofIsThere(opened);
      await page.getByRole('button', { name: 'Keep as a job' }).click();
      await page.getByText('Kept. One pixel is one dot').waitFor({ timeout: TIME });
      const [id] = jobIds();
      const { wish } = JSON.parse(readFileSync(join(shop, 'jobs', id!, 'job.json'), 'utf8'));
      expect(wish).toMatchObject({ widthMm: 30, heightMm: 20, cornerRadiusMm: 2, toneValues: { contrast: 0.3 } });
      expect(wish).toMatchObject({ zoom: 1.5, turnDeg: 2.5 });

      const out = join(folder.path, 'by-command');
      await runCommand(
        process.cwd(),
        ...[
          'prepare',
          'images/photos/cat.png',
          '--size',
          '30x20',
          '--corner',
          '2',
          '--margin',
          '2',
          '--profile',
          'anodised-black',
        ],
        ...['--contrast', '0.3', '--keep', `${wish.focus.x},${wish.focus.y}`, '--zoom', '1.5', '--turn', '2.5'],
        ...['--shop', shop, '--out', out],
      );
      expect(readdirSync(join(shop, 'jobs', id!, 'out')).sort()).toEqual([
        'cat.png',
        'cat.proof.png',
        'cat.ticket.html',
        'cat.ticket.json',
      ]);
      expectSameFolder(join(shop, 'jobs', id!, 'out'), out);

      const [download] = await Promise.all([
        page.waitForEvent('download'),
        page.getByRole('link', { name: /Bitmap to burn/ }).click(),
      ]);
      expect(download.suggestedFilename()).toBe('cat.png');
      expectSameFile(await download.path(), join(out, 'cat.png'));
      // All of it as one archive, which holds each file as it is.
      const [archive] = await Promise.all([
        page.waitForEvent('download'),
        page.getByRole('link', { name: /^Everything/ }).click(),
      ]);
      expect(archive.suggestedFilename()).toBe('cat.zip');
      const zip = readFileSync(await archive.path());
      for (const name of readdirSync(out)) {
        expect(zip.includes(name), name).toBe(true);
        expect(zip.includes(readFileSync(join(out, name))), name).toBe(true);
      }
      expect(complaints).toEqual([]);
      await context.close();
    },
    TIME,
  );

  test(
    'a photo of one’s own, a reload, and a crash of the server in between: nothing is lost',
    async () => {
      const photo = join(folder.path, 'family dog.jpg');
      writeFileSync(photo, await sampleJpeg(1200, 900));
      const opened = await openPage(browser, server.url);
      const { page, context } = opened;
      await page.getByRole('button', { name: 'Choose a photo' }).waitFor();
      await page.setInputFiles('input[type=file]', photo);
      await page.getByRole('heading', { name: 'family-dog' }).waitFor();
      await makeSmall(opened);
      await page.getByLabel('Brightness', { exact: true }).fill('0.5');
      await proofIsThere(opened);
      await page.waitForTimeout(800);
      await page.reload();
      await page.getByRole('heading', { name: 'family-dog' }).waitFor();
      await proofIsThere(opened);
      expect(await page.getByLabel('Brightness', { exact: true }).inputValue()).toBe('0.5');

      await server.stop('SIGKILL');
      await page.getByText('The server has stopped.').waitFor();
      const port = Number(new URL(server.origin).port);
      server = await startPageServer(shop);
      // Without a port it takes the one of last time: the open page finds it again.
      expect(Number(new URL(server.origin).port)).toBe(port);
      await page.getByText('The server has stopped.').waitFor({ state: 'detached' });
      await page.getByLabel('Contrast', { exact: true }).fill('0.2');
      await proofIsThere(opened);
      await page.getByRole('button', { name: 'Keep as a job' }).click();
      await page.getByText('Kept. One pixel is one dot').waitFor({ timeout: TIME });
      await context.close();
    },
    TIME,
  );

  test(
    'two windows show the same job, and one sees what the other changes',
    async () => {
      const id = jobIds()[0]!;
      const first = await openPage(browser, server.url);
      await first.page.getByRole('heading', { name: 'See it before it is burned' }).waitFor();
      const second = { ...first, page: await first.context.newPage() };
      await second.page.goto(`${server.origin}/#/photo/${id}`);
      await first.page.goto(`${server.origin}/#/photo/${id}`);
      await Promise.all([proofIsThere(first), proofIsThere(second)]);
      await first.page.getByLabel('Midtones', { exact: true }).fill('5');
      await expect
        .poll(() => second.page.getByLabel('Midtones', { exact: true }).inputValue(), { timeout: 60_000 })
        .toBe('5');
      await proofIsThere(second);
      await first.context.close();
    },
    TIME,
  );

  test(
    'a text file called .jpg and a broken photo are told of on the page, which goes on',
    async () => {
      const list = join(folder.path, 'list.jpg');
      writeFileSync(list, 'bread, milk, two eggs');
      const broken = join(folder.path, 'broken.jpg');
      writeFileSync(broken, (await sampleJpeg(800, 600)).subarray(0, 9000));
      const { page, context } = await openPage(browser, server.url);
      await page.getByRole('button', { name: 'Choose a photo' }).waitFor();
      await page.setInputFiles('input[type=file]', list);
      await page
        .getByRole('alert')
        .getByText(/no known picture format|found text/i)
        .waitFor();
      await page.getByRole('alert').getByText('Give a JPEG, PNG, TIFF, WebP, AVIF or HEIC photo.').waitFor();
      await page.setInputFiles('input[type=file]', broken);
      await page
        .getByRole('alert')
        .getByText(/found damage/)
        .waitFor();
      await page.getByRole('button', { name: 'Close' }).click();
      expect(await page.getByRole('alert').count()).toBe(0);
      await context.close();
    },
    TIME,
  );

  test(
    'a slow upload shows how far it is and can be stopped',
    async () => {
      const photo = join(folder.path, 'slow.jpg');
      writeFileSync(photo, await sampleJpeg(3000, 2000));
      const { page, context } = await openPage(browser, server.url);
      await page.getByRole('button', { name: 'Choose a photo' }).waitFor();
      const session = await context.newCDPSession(page);
      await session.send('Network.enable');
      await session.send('Network.emulateNetworkConditions', {
        offline: false,
        latency: 0,
        downloadThroughput: -1,
        uploadThroughput: 40_000,
      });
      const before = jobIds().length;
      await page.setInputFiles('input[type=file]', photo);
      await page.getByText(/slow\.jpg: \d+ % received/).waitFor();
      await page.getByRole('button', { name: 'Stop' }).click();
      await page.getByRole('button', { name: 'Choose a photo' }).waitFor();
      expect(jobIds().length).toBe(before);
      await expect.poll(() => readdirSync(join(shop, 'jobs', '.incoming')).length, { timeout: 30_000 }).toBe(0);
      await context.close();
    },
    TIME,
  );

  test(
    'sixty megapixels are taken, and the memory stays bounded',
    async () => {
      const keys = await enter(server);
      const id = jobIds()[0]!;
      const { wish } = JSON.parse(readFileSync(join(shop, 'jobs', id, 'job.json'), 'utf8'));
      const answer = await fetch(`${server.origin}/api/jobs`, {
        method: 'POST',
        body: new Uint8Array(await sampleJpeg(9500, 6320)),
        headers: { ...keys, 'x-file-name': 'wedding.jpg', 'x-wish': encodeURIComponent(JSON.stringify(wish)) },
      });
      expect(answer.status).toBe(201);
      const job = (await answer.json()) as { id: string; photo: { width: number } };
      expect(job.photo.width).toBe(9500);
      const look = await fetch(`${server.origin}/api/jobs/${job.id}/look`, {
        method: 'POST',
        body: JSON.stringify({ wish, showClipped: true, window: '00000000', longSidePx: 600 }),
        headers: keys,
      });
      expect(look.status).toBe(200);
      expect((await look.arrayBuffer()).byteLength).toBeGreaterThan(10_000);
      if (process.platform === 'linux') {
        const status = readFileSync(`/proc/${server.process.pid}/status`, 'utf8');
        const peakMb = Number(/VmHWM:\s+(\d+)/.exec(status)![1]) / 1024;
        // Three bytes a pixel twice over, while it is decoded and shared, and all that the smaller photos left.
        expect(peakMb).toBeLessThan(1600);
      }
    },
    TIME,
  );
});
