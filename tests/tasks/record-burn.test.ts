import {
  copyFileSync,
  mkdirSync,
  mkdtempSync,
  readdirSync,
  readFileSync,
  renameSync,
  rmSync,
  writeFileSync,
} from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { openShopFolder, recordBurn } from '../../src/tasks/index.ts';
import { runCli } from '../cli/run-cli.ts';

const folder = mkdtempSync(join(tmpdir(), 'tonewright-burned-'));
const run = async (...argv: string[]) => {
  const ran = await runCli(argv, { cwd: folder });
  return { ...ran, json: argv.includes('--json') ? JSON.parse(ran.stdout) : undefined };
};
const JOB = [
  '--size',
  '20x12',
  '--profile',
  'anodised-black',
  '--spacing',
  '0.1',
  '--subject',
  'none',
  '--margin',
  '0',
];
const bytes = (...parts: string[]) => readFileSync(join(folder, ...parts));

beforeAll(async () => {
  copyFileSync('images/photos/cat.png', join(folder, 'cat.png'));
  expect((await run('prepare', 'cat.png', ...JOB, '--mirror', '--tone', 'plain', '--out', 'out')).status).toBe(0);
}, 30_000);
afterAll(() => rmSync(folder, { recursive: true, force: true }));

describe('what was burned', () => {
  test('is kept in the shop folder, which is made where there is none', async () => {
    const line = ['burned', 'out/cat.ticket.json', '--count', '2', '--scrap', '1', '--note', 'a little dark'];
    const { status, json, stdout } = await run(...line, '--photo', 'cat.png', '--json');
    expect(status, stdout).toBe(0);
    expect(json.entry).toMatchObject({ date: '2026-01-01', name: 'cat', count: 2, scrap: 1, note: 'a little dark' });
    expect(json.path).toBe(join(folder, 'shop', 'burned', '2026-01-01-cat-1.json'));
    expect(bytes('shop', 'burned', 'pictures', json.entry.picture)).toEqual(bytes('cat.png'));
    expect((await run('burned', 'out/cat.ticket.json')).stdout).toContain('prepare --again cat');
    expect(readdirSync(join(folder, 'shop', 'burned'))).toContain('2026-01-01-cat-2.json');
  });

  test('two windows at once lose nothing', async () => {
    const shop = openShopFolder({ shopDir: join(folder, 'twice') });
    const context = { shop, clock: { today: () => '2026-02-03' } };
    mkdirSync(join(folder, 'twice'));
    const ticket = join(folder, 'out', 'cat.ticket.json');
    const all = await Promise.all(Array.from({ length: 5 }, () => recordBurn({ ticket }, context)));
    expect(new Set(all.map(({ path }) => path)).size).toBe(5);
    expect(readdirSync(join(folder, 'twice', 'burned'))).toHaveLength(5);
  });

  test('a month of it is a table with time, pieces, scrap and money', async () => {
    writeFileSync(join(folder, 'shop', 'prices.json'), readFileSync('shared/shop/prices.json', 'utf8'));
    await run('prepare', 'cat.png', ...JOB, '--name', 'priced', '--out', 'out');
    await run('burned', 'out/priced.ticket.json', '--count', '3', '--scrap', '1', '--date', '2026-11-02');
    const { json } = await run('burned', '--month', '2026-11', '--out', 'november.csv', '--json');
    expect(json.totals).toMatchObject({ count: 3, scrap: 1 });
    const [head, row, ...more] = bytes('november.csv').toString().trimEnd().split('\r\n');
    expect(more).toEqual([]);
    const cells = Object.fromEntries(head!.split(',').map((name, at) => [name, row!.split(',')[at]]));
    expect(cells).toMatchObject({ date: '2026-11-02', name: 'priced', count: '3', scrap: '1', currency: 'EUR' });
    expect(Number(cells.price)).toBeCloseTo(3 * Number(cells.price_each), 9);
    expect(Number(cells.seconds)).toBeCloseTo(4 * Number(cells.seconds_each), 1);
    expect((await run('burned')).stdout).toMatch(/burned +6 good/);
  });

  test('one broken file hides no other', async () => {
    writeFileSync(join(folder, 'twice', 'burned', '2026-02-03-cat-1.json'), '{');
    const { status, json, stderr } = await run('burned', '--shop', 'twice', '--json');
    expect(status).toBe(0);
    expect(json.entries).toHaveLength(4);
    expect(stderr).toContain('2026-02-03-cat-1.json');
  });

  test.each([
    [['burned', 'out/cat.ticket.json', '--count', '0'], /count: found 0 pieces/],
    [['burned', 'out/cat.ticket.json', '--date', 'monday'], /date: found "monday"/],
    [['burned', 'out/cat.ticket.json', '--month', '2026-11'], /month: found it beside a ticket/],
    [['burned', '--month', 'november'], /month: found "november"/],
    [['burned', '--scrap', '1'], /scrap: found it without a ticket/],
    [['burned', 'out/cat.ticket.json', '--photo', 'out/cat.ticket.json'], /needed a picture of the piece/],
    [['burned', 'cat.png'], /needed JSON/],
    [['burned', 'nothing.json'], /nothing/],
  ])('%j is refused', async (argv, message) => {
    const { status, stderr } = await run(...argv);
    expect(status).toBeGreaterThan(0);
    expect(stderr).toMatch(message);
  });
});

describe('a job made again', () => {
  const again = (...argv: string[]) => run('prepare', ...argv, '--out', 'again', '--json');

  test('gives every file byte for byte, by its ticket or by its name', async () => {
    for (const asked of ['out/cat.ticket.json', 'cat']) {
      const { status, stdout } = await again('--again', asked, '--prices', 'none');
      expect(status, stdout).toBe(0);
      for (const file of ['cat.png', 'cat.proof.png', 'cat.ticket.json', 'cat.ticket.html']) {
        expect(bytes('again', file).equals(bytes('out', file)), file).toBe(true);
      }
      rmSync(join(folder, 'again'), { recursive: true });
    }
  });

  test('says what has changed, and writes nothing', async () => {
    mkdirSync(join(folder, 'other'), { recursive: true });
    copyFileSync('images/photos/cup.png', join(folder, 'other', 'cat.png'));
    const { status, json } = await again('other/cat.png', '--again', 'out/cat.ticket.json');
    expect([status, json.error.code]).toEqual([1, 'job-changed']);
    expect(json.error.message).toMatch(/the photo .*other.cat\.png is not the one of then/);
    expect(readdirSync(folder)).not.toContain('again');
    const forced = await again('other/cat.png', '--again', 'out/cat.ticket.json', '--force');
    expect(forced.status).toBe(0);
    expect(forced.stderr).toContain('another bitmap than then');
    rmSync(join(folder, 'again'), { recursive: true });
  });

  test('does not take the bitmap for the photo whose name it has', async () => {
    renameSync(join(folder, 'cat.png'), join(folder, 'away.png'));
    const { json } = await again('--again', 'out/cat.ticket.json');
    renameSync(join(folder, 'away.png'), join(folder, 'cat.png'));
    expect(json.error.message).toMatch(/found cat\.png as it was then neither .* needed the path of the photo/);
  });

  test('is what was burned, even where its files were made anew under the name since', async () => {
    const remade = ['prepare', 'cat.png', ...JOB, '--tone', 'plain', '--name', 'remade', '--out', 'anew', '--force'];
    expect((await run(...remade)).status).toBe(0);
    const { json: kept } = await run('burned', 'anew/remade.ticket.json', '--date', '2025-12-03', '--json');
    expect((await again('--again', '2025-12-03-remade-1')).json.ticket.bitmap.sha256).toBe(kept.entry.bitmapSha256);
    expect((await run(...remade, '--mirror')).status).toBe(0);
    const { status, json } = await run('prepare', '--again', 'remade', '--out', 'third', '--json');
    expect([status, json.error.code]).toEqual([1, 'job-changed']);
    expect(json.error.message).toContain('its files were made anew since it was burned');
    rmSync(join(folder, 'again'), { recursive: true });
    rmSync(join(folder, 'shop', 'burned', '2025-12-03-remade-1.json'));
  });

  test('names the profile that was learned anew', async () => {
    const path = join(folder, 'shop', 'profiles');
    mkdirSync(path, { recursive: true });
    const profile = JSON.parse(readFileSync('shared/shop/profiles/anodised-black.json', 'utf8'));
    const points = profile.points.map((point: { lightness: number }) => {
      return { ...point, lightness: profile.bare[0] + 0.9 * (point.lightness - profile.bare[0]) };
    });
    writeFileSync(join(path, 'anodised-black.json'), JSON.stringify({ ...profile, points }));
    const { json } = await again('--again', 'out/cat.ticket.json');
    rmSync(path, { recursive: true });
    expect(json.error.message).toContain('the profile anodised-black');
  });

  test.each([
    [['--again', 'out/cat.ticket.json', '--size', '10x10'], /found --size beside it/],
    [['--again', 'dog'], /no burned job "dog"; there are cat, priced/],
    [['nowhere.png', '--again', 'out/cat.ticket.json'], /needed the path of the photo/],
  ])('%j is refused', async (argv, message) => {
    const { status, json } = await again(...argv);
    expect(status).toBeGreaterThan(0);
    expect(json.error.message).toMatch(message);
  });

  test('without a photo or a size it says so', async () => {
    expect((await run('prepare', '--out', 'x')).stderr).toMatch(/found no photo/);
    expect((await run('prepare', 'cat.png', '--out', 'x')).stderr).toMatch(/found no size.*--size/);
  });
});

test('an order counts what is burned of it', async () => {
  mkdirSync(join(folder, 'photos'), { recursive: true });
  copyFileSync('images/photos/cat.png', join(folder, 'photos', 'cat.png'));
  const order = ['order', 'photos', ...JOB, '--workers', '1', '--out', 'ready', '--shop', 'shop'];
  const first = await run(...order);
  expect(first.stdout).not.toMatch(/^burned/m);
  await run('burned', 'ready/cat.ticket.json', '--scrap', '2');
  expect((await run(...order)).stdout).toMatch(/burned +1 of 1, 2 spoiled/);
}, 30_000);
