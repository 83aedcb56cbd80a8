import { mkdirSync, readdirSync, readFileSync, rmSync } from 'node:fs';
import { join } from 'node:path';
import type { Browser } from 'playwright-core';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { launch, openPage } from '../../benchmarks/common/browser.ts';
import { expectSameFile } from '../same-bytes.ts';
import { enter, makeFolder, type PageServer, runCommand, startPageServer } from './page-server.ts';
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

const CHART = {
  kind: 'spot',
  machine: 'galvo-355-f210',
  material: 'slate',
  widthMm: 60,
  heightMm: 40,
} as const;

const draw = async (asked: object) =>
  fetch(`${server.origin}/api/charts`, {
    method: 'POST',
    body: JSON.stringify(asked),
    headers: await enter(server),
  });

describe('charts', () => {
  test(
    'one of more dots than a computer holds is refused in words, by page and command',
    async () => {
      const answer = await draw({ ...CHART, kind: 'tone', widthMm: 140, heightMm: 140, spacingMm: 0.0062 });
      expect(answer.status).toBe(400);
      const { error } = (await answer.json()) as { error: { code: string; message: string } };
      expect(error.code).toBe('option-invalid');
      expect(error.message).toMatch(/22\d{3} × 22\d{3} dots .* at most 500 million/);
      const asked = ['chart', 'tone', '--machine', CHART.machine, '--material', CHART.material, '--size', '140x140'];
      const out = join(folder.path, 'huge');
      await expect(
        runCommand(process.cwd(), ...asked, '--spacing', '0.0062', '--pitch', '0.0062', '--out', out),
      ).rejects.toMatchObject({ code: 2, stderr: expect.stringContaining('at most 500 million') });
    },
    TIME,
  );

  test(
    'a drawn chart is at hand after the page was left, until it is put away',
    async () => {
      const { hash } = (await (await draw(CHART)).json()) as { hash: string };
      const { page, context, complaints } = await openPage(browser, server.url);
      await page.waitForURL(/#\/$/);
      await page.goto(`${server.origin}/#/material`);
      const list = page.getByRole('region', { name: 'Charts waiting to be scanned' });
      await list.getByText('Mark width: ').waitFor();
      await list.getByText(/drawn on \d{4}-\d\d-\d\d/).waitFor();
      const [download] = await Promise.all([
        page.waitForEvent('download'),
        list.getByRole('link', { name: 'Bitmap to burn' }).click(),
      ]);
      expectSameFile(await download.path(), join(shop, 'charts', hash, 'chart.png'));
      // So is a capture that was dropped and not read yet; one that the shop no longer has is left out.
      await page.locator('input[type=file]').first().setInputFiles('images/photos/cat.png');
      const capture = page.getByRole('button', { name: 'Leave out cat.png' });
      await capture.waitFor();
      await page.getByRole('link', { name: 'Order', exact: true }).click();
      await page.getByRole('heading', { level: 1 }).waitFor();
      await page.goto(`${server.origin}/#/material`);
      await capture.waitFor();
      await page.reload();
      await capture.waitFor();
      rmSync(join(shop, 'captures'), { recursive: true });
      await page.reload();
      await list.getByText('Mark width: ').waitFor();
      await expect.poll(() => capture.count()).toBe(0);
      await list.getByRole('button', { name: /Put away/ }).click();
      await list.waitFor({ state: 'detached' });
      // Its layout stays: a scan of it can still be read.
      expect(await page.getByLabel('Chart', { exact: true }).locator(`option[value="${hash}"]`).count()).toBe(1);
      expect(complaints).toEqual([]);
      await context.close();
    },
    TIME,
  );
});

describe('what is offered', () => {
  test(
    'is what the machine marks and reaches; the rest says why not',
    async () => {
      const answer = await fetch(`${server.origin}/api/samples/cat`, {
        method: 'POST',
        body: JSON.stringify({
          widthMm: 30,
          heightMm: 20,
          cornerRadiusMm: 0,
          machine: 'galvo-355-f210',
          profile: 'anodised-black',
          fit: 'cover',
          safeMarginMm: 0,
          tone: 'auto',
          toneValues: {},
          range: 'scale',
        }),
        headers: await enter(server),
      });
      const { id } = (await answer.json()) as { id: string };
      const { page, context } = await openPage(browser, server.url);
      await page.waitForURL(/#\/$/);
      await page.goto(`${server.origin}/#/photo/${id}`);
      await page.getByLabel('Contrast', { exact: true }).waitFor();
      const shopFacts = (await (await fetch(`${server.origin}/api/shop`, { headers: await enter(server) })).json()) as {
        materials: { name: string; markedBy: string[] }[];
        machines: { name: string; fieldMm: [number, number] }[];
      };
      await openGroup(page, 'Material');
      const materials = page.getByLabel('Material', { exact: true });
      const isOff = (value: string) =>
        materials.locator(`option[value="${value}"]`).evaluate((one) => (one as HTMLOptionElement).disabled);
      let off = 0;
      for (const { name, markedBy } of shopFacts.materials) {
        const disabled = await isOff(`material:${name}`);
        expect(disabled, name).toBe(!markedBy.includes('galvo-355-f210'));
        if (disabled) off++;
      }
      expect(off).toBeGreaterThan(0);
      expect(off).toBeLessThan(shopFacts.materials.length);
      // A coaster of 100 mm and a field of 70 mm.
      await page.getByLabel('Machine', { exact: true }).selectOption('galvo-355-f100');
      await openGroup(page, 'Piece');
      const coaster = page.getByLabel('Kind', { exact: true }).locator('option[value="round-100"]');
      await expect.poll(() => coaster.evaluate((one) => (one as HTMLOptionElement).disabled)).toBe(true);
      expect(await coaster.textContent()).toMatch(/beyond the field of this machine/);
      await openGroup(page, 'Material');
      // Each machine begins with a material that it marks.
      for (const { name } of shopFacts.machines) {
        await page.getByLabel('Machine', { exact: true }).selectOption(name);
        const chosen = await materials.inputValue();
        if (chosen.startsWith('material:')) {
          expect(shopFacts.materials.find((one) => chosen.endsWith(`:${one.name}`))!.markedBy, name).toContain(name);
        }
        expect(await isOff(chosen), name).toBe(false);
      }
      await context.close();
    },
    TIME,
  );

  test(
    'a drawn chart is burned, scanned and read without a laser by one click, and what is learned says so',
    async () => {
      const tone = { ...CHART, kind: 'tone', widthMm: 85.6, heightMm: 54 };
      expect((await draw(tone)).status).toBe(201);
      const { page, context, complaints } = await openPage(browser, server.url);
      await page.waitForURL(/#\/$/);
      await page.goto(`${server.origin}/#/material`);
      const list = page.getByRole('region', { name: 'Charts waiting to be scanned' });
      await list
        .getByRole('listitem')
        .filter({ hasText: 'Tone' })
        .getByRole('button', { name: /^Try it/ })
        .click();
      await page.getByText('No laser has burned this piece').waitFor({ timeout: TIME });
      await page.getByText(/^(?:Good|Usable with care|Not good enough)/).waitFor();
      await page.getByRole('button', { name: 'Save the profile' }).click();
      await page.getByText(/^Saved as/).waitFor();
      const [saved] = readdirSync(join(shop, 'profiles')).filter((name) => name.endsWith('.json'));
      expect(JSON.parse(readFileSync(join(shop, 'profiles', saved!), 'utf8'))).toMatchObject({ origin: 'simulated' });
      // The chart still waits for its true scan.
      await page.goto(`${server.origin}/#/material`);
      await list.getByRole('listitem').filter({ hasText: 'Tone' }).waitFor();
      expect(complaints).toEqual([]);
      await context.close();
    },
    TIME,
  );
});
