import { mkdirSync, mkdtempSync, readdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join, resolve } from 'node:path';
import { afterAll, beforeAll, expect, test } from 'vitest';
import { layoutChart } from '../../src/chart/index.ts';
import { resolveChart } from '../../src/job/index.ts';
import { openShop } from '../../src/material/index.ts';
import { runCli } from '../cli/run-cli.ts';
import { expectSameFile } from '../same-bytes.ts';
import { burnInto, scanOf, TONE_CHART } from '../tasks/burned.ts';
import { enter, type PageServer, startPageServer } from './page-server.ts';

const TIME = 240_000;
const folder = mkdtempSync(join(tmpdir(), 'tonewright-faces-'));
const shopDir = join(folder, 'shop');
const builtIn = [resolve('shared', 'shop'), resolve('shared')];
/** The command on the day on which the page read: midnight may lie between the two. */
const onDayOf = ({ date }: { readonly date: string }) => ({ cwd: folder, today: () => date });
const ofToday = onDayOf({ date: new Date().toISOString().slice(0, 10) });
let server: PageServer;
let keys: Readonly<Record<string, string>>;

async function ask(method: string, path: string, body?: unknown, file = 'scan.png') {
  const sent = body === undefined ? {} : { body: body instanceof Blob ? body : JSON.stringify(body) };
  const answer = await fetch(`${server.origin}${path}`, {
    method,
    headers: { ...keys, 'x-file-name': file },
    ...sent,
  });
  const text = await answer.text();
  return { status: answer.status, json: text === '' ? undefined : JSON.parse(text) };
}
const send = async (file: string) =>
  (await ask('POST', '/api/captures', new Blob([readFileSync(join(folder, file))]), file)).json.id as string;
const keepFile = (kind: string, name: string, text: string) => writeFileSync(join(shopDir, kind, name), text);
const pathOf = (id: string, name: string) => join(shopDir, 'readings', id, name);
/** What the page says of a thing, by its label. */
const factOf = ({ facts }: { facts: { label: string; value: string }[] }, label: string) =>
  facts.find((fact) => fact.label === label)!.value;

let first: string;
let second: string;

beforeAll(async () => {
  for (const kind of ['profiles', 'charts', 'history']) mkdirSync(join(shopDir, kind), { recursive: true });
  await burnInto(folder);
  await burnInto(folder, { scan: 'again.png', seed: 2 });
  keepFile('charts', 'tone.json', JSON.stringify(TONE_CHART));
  server = await startPageServer(shopDir);
  keys = await enter(server);
  [first, second] = [await send('scan.png'), await send('again.png')];
}, TIME);

afterAll(async () => {
  await server?.stop();
  rmSync(folder, { recursive: true, force: true });
});

test(
  'learning: the same files byte for byte, the same figures',
  async () => {
    const { status, json: reading } = await ask('POST', '/api/readings', {
      captures: [first],
      camera: 'known',
      mirrored: false,
      title: 'Birch, lot 3 (März)',
    });
    expect(status).toBe(201);
    const out = join(folder, 'birch.json');
    const argv = ['learn', 'scan.png', '--shop', shopDir, '--title', 'Birch, lot 3 (März)', '--out', out, '--json'];
    const command = await runCli(argv, onDayOf(reading));
    expect(command.status).toBe(0);
    expectSameFile(pathOf(reading.id, 'profile.json'), out);
    expectSameFile(pathOf(reading.id, 'report.html'), out.replace('.json', '.html'));
    const said = JSON.parse(command.stdout);
    expect(factOf(reading, 'Tones that can be told apart')).toBe(String(said.span.tones));
    expect(factOf(reading, 'Equal patches differ by')).toBe(`± ${said.report.repeatability.toFixed(2)} L*`);
    expect(reading.warnings).toEqual(said.warnings);
    expect([reading.title, reading.name]).toEqual([said.profile.title, said.profile.name]);
  },
  TIME,
);

test.each([
  ['a card that is none', { reference: { lightness: 150 } }, ['--reference', '150'], 1],
  ['a place of nothing', { referenceAt: { x: 1, y: 2, width: 3, height: 4 } }, ['--reference-at', '1,2,3,4'], 1],
  [
    'one place for two pictures',
    { reference: 'paper', referenceAt: { x: 1, y: 2, width: 3, height: 4 } },
    ['--reference', 'paper', '--reference-at', '1,2,3,4'],
    2,
  ],
] as const)(
  '%s is refused for both, in the same words',
  async (_, asked, options, count) => {
    const captures = [first, second].slice(0, count);
    const page = await ask('POST', '/api/readings', { captures, camera: 'known', mirrored: false, ...asked });
    const files = ['scan.png', 'again.png'].slice(0, count);
    const command = await runCli(
      ['learn', ...files, '--shop', shopDir, ...options, '--out', 'x.json', '--json'],
      ofToday,
    );
    const said = JSON.parse(command.stdout).error;
    expect([page.status, command.status]).toEqual([400, 2]);
    expect(page.json.error).toMatchObject({ code: 'option-invalid', message: said.message });
  },
  TIME,
);

test(
  'corners by hand with several captures are refused for both, in the same words',
  async () => {
    const corners = [
      [0, 0],
      [9, 0],
      [9, 9],
      [0, 9],
    ];
    const page = await ask('POST', '/api/readings', {
      captures: [first, second],
      camera: 'known',
      mirrored: false,
      corners,
    });
    const argv = [
      'learn',
      'scan.png',
      'again.png',
      '--shop',
      shopDir,
      '--corners',
      '0,0 9,0 9,9 0,9',
      '--out',
      'x.json',
    ];
    const command = await runCli([...argv, '--json'], ofToday);
    const said = JSON.parse(command.stdout).error;
    expect([page.status, command.status]).toEqual([400, 2]);
    expect(page.json.error).toMatchObject({ code: said.code, message: said.message });
  },
  TIME,
);

test(
  'what is saved is told by its content: another reading of the name can replace it or be saved beside it',
  async () => {
    const listed = async () => (await ask('GET', '/api/readings')).json as { id: string; saved: { state: string } }[];
    const one = (await listed())[0]!;
    expect(one.saved).toEqual({ state: 'no' });
    const saved = (await ask('POST', `/api/readings/${one.id}/save`, { replace: false })).json;
    expect(saved.saved).toEqual({ state: 'this', name: 'birch-lot-3-marz', title: 'Birch, lot 3 (März)' });
    // One width of the mark, wherever the page tells it.
    const view = (await ask('GET', '/api/profiles/birch-lot-3-marz')).json;
    const widthOf = (label: string) => factOf(saved, label).split(' ')[0];
    expect(factOf(view, 'Mark width')).toBe(
      `${widthOf('Mark width along the scan')} × ${widthOf('Mark width across the scan')} µm`,
    );
    for (const ending of ['json', 'html']) {
      expectSameFile(join(shopDir, 'profiles', `birch-lot-3-marz.${ending}`), join(folder, `birch.${ending}`));
    }

    const { json: better } = await ask('POST', '/api/readings', {
      captures: [second],
      camera: 'known',
      mirrored: false,
      title: 'Birch, lot 3 (März)',
    });
    expect(better.saved).toMatchObject({ state: 'another', name: 'birch-lot-3-marz', title: 'Birch, lot 3 (März)' });
    const refused = await ask('POST', `/api/readings/${better.id}/save`, { replace: false });
    expect(refused.json.error.code).toBe('result-exists');
    const beside = (await ask('POST', `/api/readings/${better.id}/save`, { replace: false, title: 'Lot 3, <scan>' }))
      .json;
    expect(beside.saved).toEqual({ state: 'this', name: 'lot-3-scan', title: 'Lot 3, <scan>' });
    const page = readFileSync(join(shopDir, 'profiles', 'lot-3-scan.html'), 'utf8');
    expect(page).toContain('<h1>Lot 3, &lt;scan&gt;</h1>');
    expect(page).toContain('<title>Profile lot-3-scan</title>');
    const replaced = (await ask('POST', `/api/readings/${one.id}/save`, { replace: true })).json;
    expect(replaced.saved.state).toBe('this');
    expect((await listed()).map(({ saved: { state } }) => state)).toEqual(['this', 'this']);
  },
  TIME,
);

test(
  'profiles are renamed and deleted; the work that goes through one is told',
  async () => {
    const renamed = await ask('PUT', '/api/profiles/lot-3-scan', { title: 'Lot 3, scanned' });
    expect(renamed.json).toMatchObject({ name: 'lot-3-scan', title: 'Lot 3, scanned', captures: { count: 1 } });
    expect(renamed.json.bandL).toBeGreaterThan(0);
    const readings = (await ask('GET', '/api/readings')).json as { saved: { title: string } }[];
    expect(readings.map(({ saved }) => saved.title)).toContain('Lot 3, scanned');

    const wish = {
      ...{ widthMm: 20, heightMm: 15, cornerRadiusMm: 0, machine: 'gantry-10600', profile: 'lot-3-scan' },
      ...{ fit: 'cover', safeMarginMm: 0, tone: 'auto', toneValues: {}, range: 'scale' },
    };
    await ask('POST', '/api/orders', { title: 'Wedding', wish });
    expect((await ask('GET', '/api/profiles/lot-3-scan/uses')).json).toEqual({ jobs: [], orders: ['Wedding'] });
    expect((await ask('DELETE', '/api/profiles/lot-3-scan')).status).toBe(204);
    expect(readdirSync(join(shopDir, 'profiles')).filter((name) => name.startsWith('lot-3'))).toEqual([]);
    expect((await ask('DELETE', '/api/profiles/anodised-black')).json.error.code).toBe('option-invalid');
  },
  TIME,
);

test(
  'a broken profile hides no other, and is named, on both faces',
  async () => {
    keepFile('profiles', 'broken.json', '{"schema": 1');
    const { profiles, broken } = (await ask('GET', '/api/shop')).json;
    const command = await runCli(['profile', 'list', '--shop', shopDir, '--json'], ofToday);
    expect(command.status).toBe(0);
    expect(command.stderr).toContain('broken.json');
    expect(broken).toEqual([expect.stringContaining('broken.json')]);
    const names = JSON.parse(command.stdout).map(({ name }: { name: string }) => name);
    expect(profiles.map(({ name }: { name: string }) => name)).toEqual(names);
    expect(names[0]).toBe('birch-lot-3-marz');
  },
  TIME,
);

test(
  'a verification chart: the print error and its words are the same on both faces',
  async () => {
    const shop = openShop({ shopDir, builtIn });
    const asked = { kind: 'verify', profile: 'birch-lot-3-marz', size: '60x45', steps: 5, replicates: 2 } as const;
    const layout = layoutChart('verify', resolveChart(asked, { shop, refused: [] }).options);
    await burnInto(folder, { layout, chart: 'verify.json', scan: 'verify.png', seed: 3 });
    keepFile('charts', 'verify.json', JSON.stringify(layout));
    const { json: reading } = await ask('POST', '/api/readings', {
      captures: [await send('verify.png')],
      camera: 'known',
      mirrored: false,
    });
    const argv = ['check', 'verify.png', '--shop', shopDir, '--out', 'verify.html', '--json'];
    const command = await runCli(argv, onDayOf(reading));
    expect(command.status).toBe(0);
    const said = JSON.parse(command.stdout);
    expect([reading.profile, said.profile]).toEqual(['birch-lot-3-marz', 'birch-lot-3-marz']);
    expect(reading.verdict).toBe(said.verdict);
    expect(reading.sentences).toEqual(said.sentences);
    expect(reading.ofPrint[0]).toContain(`mean |ΔL*| ${Number(said.verification.meanDelta.toFixed(2))}`);
    expectSameFile(pathOf(reading.id, 'report.html'), join(folder, 'verify.html'));
  },
  TIME,
);

test(
  'a card of known lightness where it lies, and the way of the marks: the same profile from both',
  async () => {
    writeFileSync(join(folder, 'card.png'), await scanOf(TONE_CHART, 4, 90));
    const { json: reading } = await ask('POST', '/api/readings', {
      captures: [await send('card.png')],
      camera: 'known',
      mirrored: false,
      direction: 'darker',
      reference: { lightness: 90, tolerance: 2 },
      referenceAt: { x: 130, y: 250, width: 160, height: 500 },
      title: 'Beside a card',
    });
    const out = join(folder, 'card.json');
    const how = ['--reference', '90,2', '--reference-at', '130,250,160,500', '--direction', 'darker'];
    const argv = ['learn', 'card.png', '--shop', shopDir, '--title', 'Beside a card', ...how, '--out', out];
    const command = await runCli(argv, onDayOf(reading));
    expect([command.status, command.stderr]).toEqual([0, expect.not.stringContaining('found a reference')]);
    expectSameFile(pathOf(reading.id, 'profile.json'), out);
    const { exposure } = JSON.parse(readFileSync(out, 'utf8'));
    expect(exposure).toMatchObject({ basis: 'reference', lightness: 90, tolerance: 2 });
  },
  TIME,
);
