import { mkdirSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join, resolve } from 'node:path';
import { afterAll, beforeAll, expect, test } from 'vitest';
import { acquireLock } from '../../src/batch/index.ts';
import { layoutChart } from '../../src/chart/index.ts';
import { findOwnProfile, parseHistory, resolveChart } from '../../src/job/index.ts';
import { openShop, type Profile, type Shop } from '../../src/material/index.ts';
import { listProfiles, readChart, type TaskContext } from '../../src/tasks/index.ts';
import { runCli } from '../cli/run-cli.ts';
import { runCommand } from '../web/page-server.ts';
import { burnInto } from './burned.ts';

const TIME = 240_000;
const folder = mkdtempSync(join(tmpdir(), 'tonewright-check-'));
const shopDir = join(folder, 'shop');
const builtIn = [resolve('shared', 'shop'), resolve('shared')];
let shop: Shop;
let context: TaskContext;
let learned: Profile;

const stripOf = (profile: string) =>
  layoutChart('check', resolveChart({ kind: 'check', profile, size: '60x8' }, { shop, refused: [] }).options);
const readKept = (name: string) => {
  const path = join(shopDir, 'history', `${name}.json`);
  return parseHistory(JSON.parse(readFileSync(path, 'utf8')), path);
};

beforeAll(async () => {
  for (const kind of ['profiles', 'charts']) mkdirSync(join(shopDir, kind), { recursive: true });
  shop = openShop({ shopDir, builtIn });
  context = {
    shop,
    refused: () => [],
    clock: { today: () => '2026-01-01' },
    version: '0',
    progress: () => undefined,
    warn: () => undefined,
  };
  await burnInto(folder);
  const record = await readChart(
    {
      captures: [{ path: join(folder, 'scan.png'), name: 'scan.png' }],
      chart: join(folder, 'chart.json'),
      camera: 'known',
      purpose: 'learn',
      title: 'Birch, lot 3 (März)',
      files: { profile: join(shopDir, 'profiles', 'birch-lot-3-marz.json') },
    },
    context,
  );
  if (record.kind !== 'learned') throw new Error('the chart was not learned from');
  learned = record.learned.profile;
  // First by its letters and by its date, but another curve.
  const other = {
    ...learned,
    name: 'aa-birch',
    title: 'Birch of another lot',
    date: '2026-02-02',
    points: learned.points.map((point) => ({ ...point, lightness: point.lightness - 3 })),
  };
  writeFileSync(join(shopDir, 'profiles', 'aa-birch.json'), JSON.stringify(other));
  for (const [seed, name] of [2, 3, 4].entries()) {
    await burnInto(folder, {
      layout: stripOf(learned.name),
      chart: 'strip.json',
      scan: `strip-${seed}.png`,
      seed: name,
    });
  }
  writeFileSync(join(shopDir, 'charts', 'strip.json'), readFileSync(join(folder, 'strip.json')));
}, TIME);

afterAll(() => rmSync(folder, { recursive: true, force: true }));

test('the title that was typed is the title, its name follows from it, and lists begin with the newest measured', () => {
  expect([learned.title, learned.name]).toEqual(['Birch, lot 3 (März)', 'birch-lot-3-marz']);
  expect(learned.captures).toEqual({ count: 1, camera: 'known' });
  const names = listProfiles(shop).records.map(({ name }) => name);
  expect(names.slice(0, 2)).toEqual(['aa-birch', 'birch-lot-3-marz']);
});

test(
  'a strip is found by its marks and compared with its own profile, not with the first of the list',
  async () => {
    const request = {
      captures: [{ path: join(folder, 'strip-0.png'), name: 'strip-0.png' }],
      camera: 'known',
      purpose: 'any',
      files: {},
    } as const;
    // Another check holds the history when this one comes to it, and adds to it before it lets go.
    const historyPath = join(shopDir, 'history', `${learned.name}.json`);
    mkdirSync(join(shopDir, 'history'));
    const lock = await acquireLock(`${historyPath}.lock`);
    const entry = {
      ...{ date: '2025-12-01', chart: 'other', capture: 'other', meanDelta: 0, worstDelta: 0, bareDelta: 0 },
      ...{ solidDelta: 0, midShift: 0, basis: 'absolute', unit: 1, verdict: 'holds', cause: 'none' },
    };
    const today = () => {
      setTimeout(() => {
        const history = { schema: 'tonewright-history/1', profile: learned.name, entries: [entry] };
        writeFileSync(historyPath, JSON.stringify(history));
        void lock.release();
      }, 200);
      return '2026-01-02';
    };
    const record = await readChart(request, { ...context, clock: { today } });
    if (record.kind !== 'checked') throw new Error(`the strip was ${record.kind}`);
    expect(record.profile.name).toBe(learned.name);
    expect(record.check.verdict).toBe('holds');
    expect(readKept(learned.name).entries.map(({ date }) => date)).toEqual(['2025-12-01', '2026-01-02']);
  },
  TIME,
);

test('each strip has its profile; one that was learned again since, or another material, has none', () => {
  const all = listProfiles(shop).records.map(({ value }) => value);
  expect(findOwnProfile(stripOf('aa-birch'), all)?.name).toBe('aa-birch');
  for (const { value } of listProfiles(shop).records) {
    expect(findOwnProfile(stripOf(value.name), all)?.name, value.name).toBe(value.name);
  }
  const others = all.filter(({ name }) => name !== 'aa-birch');
  expect(findOwnProfile(stripOf('aa-birch'), others)).toBeUndefined();
});

test(
  'readings of checks that run at once are all kept',
  async () => {
    const before = readKept(learned.name).entries.length;
    const check = (at: number) =>
      runCommand(folder, 'check', `strip-${at}.png`, '--profile', learned.name, '--shop', shopDir);
    await Promise.all([check(1), check(2)]);
    expect(readKept(learned.name).entries.length).toBe(before + 2);
  },
  TIME,
);

test(
  'a strip adjusts its profile: into the shop by the command, as a proposal for the page, the same bytes',
  async () => {
    const name = `${learned.name}-2026-01-05`;
    const proposed = join(folder, 'proposed.json');
    const record = await readChart(
      {
        captures: [{ path: join(folder, 'strip-1.png'), name: 'strip-1.png' }],
        camera: 'known',
        purpose: 'any',
        adjust: 'may',
        files: { adjusted: proposed },
      },
      { ...context, clock: { today: () => '2026-01-05' } },
    );
    if (record.kind !== 'checked') throw new Error(`the strip was ${record.kind}`);
    // A piece of the same day: the dose is what it was.
    const [value, low, high] = record.adjustment!.adjusted.doseFactor;
    expect(Math.abs(value - 1)).toBeLessThan(0.1);
    expect(low < value && value < high).toBe(true);
    const argv = ['check', 'strip-1.png', '--adjust', '--shop', shopDir];
    const { stdout } = await runCli(argv, { cwd: folder, today: () => '2026-01-05' });
    expect(stdout).toMatch(new RegExp(`next +tonewright prepare PHOTO --size card --profile ${name} --out out`));
    expect(readFileSync(join(shopDir, 'profiles', `${name}.json`))).toEqual(readFileSync(proposed));
    expect(listProfiles(shop).records.find((one) => one.name === name)?.value.adjusted?.from).toBe(learned.name);
  },
  TIME,
);
