import { mkdirSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, expect, test } from 'vitest';
import { layoutChart } from '../../src/chart/index.ts';
import { runCli } from '../cli/run-cli.ts';
import { expectSameFile } from '../same-bytes.ts';
import { burnInto, TONE_CHART } from '../tasks/burned.ts';
import { enter, type PageServer, startPageServer } from './page-server.ts';

const TIME = 240_000;
const folder = mkdtempSync(join(tmpdir(), 'tonewright-shop-'));
const shopDir = join(folder, 'shop');
let server: PageServer;
let keys: Readonly<Record<string, string>>;

async function ask(method: string, path: string, body?: unknown, file = 'scan.png') {
  const sent = body === undefined ? {} : { body: body instanceof Blob ? body : JSON.stringify(body) };
  const answer = await fetch(`${server.origin}${path}`, { method, headers: { ...keys, 'x-file-name': file }, ...sent });
  const json = await answer.json();
  expect(answer.ok, JSON.stringify(json)).toBe(true);
  return json;
}
async function command(argv: readonly string[], today = '2026-01-01') {
  const around = { cwd: folder, today: () => today };
  const { status, stdout, stderr } = await runCli([...argv, '--shop', shopDir, '--json'], around);
  expect(status, stderr).toBe(0);
  return JSON.parse(stdout);
}
const namesOf = (records: readonly { name: string }[]) => records.map(({ name }) => name);

beforeAll(async () => {
  for (const kind of ['profiles', 'charts']) mkdirSync(join(shopDir, kind), { recursive: true });
  server = await startPageServer(shopDir);
  keys = await enter(server);
}, TIME);

afterAll(async () => {
  await server?.stop();
  rmSync(folder, { recursive: true, force: true });
});

test('the shop: the same machines and profiles in the same sequence, with the same figures', async () => {
  const shop = await ask('GET', '/api/shop');
  const { machines } = await command(['machine', 'list']);
  expect(namesOf(shop.machines)).toEqual(namesOf(machines));
  expect(shop.machines.map(({ fieldMm }: { fieldMm: number[] }) => fieldMm)).toEqual(
    machines.map(({ fieldMm }: { fieldMm: number[] }) => fieldMm),
  );
  const profiles = await command(['profile', 'list']);
  const figures = (list: readonly { name: string; origin: string; bandL: number | null; from: string }[]) =>
    list.map(({ name, origin, bandL, from }) => [name, origin, bandL, from]);
  expect(figures(shop.profiles)).toEqual(figures(profiles));
  // What is offered to begin with is what the command says of the machine's optics without a setting.
  for (const { name, settings } of shop.machines) {
    expect(settings, name).toEqual((await command(['optics', '--machine', name])).settings);
  }
});

test('a profile, and how two differ: the same figures', async () => {
  const [a, b] = ['anodised-black', 'leather-patch'] as const;
  const [view, shown] = [await ask('GET', `/api/profiles/${a}`), await command(['profile', 'show', a])];
  expect([view.title, view.bareL, view.fullL, view.pitchMm, view.lineSpacingMm]).toEqual([
    shown.title,
    shown.bare[0],
    shown.full[0],
    shown.grid.pitchMm,
    shown.grid.lineSpacingMm,
  ]);
  expect(view.points.at(-1).lightness).toBeCloseTo(shown.points.at(-1).lightness, 9);
  const compared = await ask('GET', `/api/compare/${a}/${b}`);
  const said = await command(['profile', 'compare', a, b]);
  expect(compared.rows).toEqual(said.rows);
  expect(compared.facts[0].value).toContain(said.meanDelta.toFixed(2));
});

test(
  'a spot chart: the same measures and report byte for byte, the same words',
  async () => {
    const { machine, material, direction, settings, grid, screen } = TONE_CHART;
    const about = { machine, material, direction, settings, grid, screen };
    const layout = layoutChart('spot', { ...about, widthMm: 60, heightMm: 45 } as Parameters<typeof layoutChart>[1]);
    await burnInto(folder, { layout, chart: 'spot.json', scan: 'spot.png' });
    writeFileSync(join(shopDir, 'charts', 'spot.json'), JSON.stringify(layout));
    const scan = new Blob([readFileSync(join(folder, 'spot.png'))]);
    const { id } = await ask('POST', '/api/captures', scan, 'spot.png');
    const reading = await ask('POST', '/api/readings', { captures: [id], camera: 'known', mirrored: false });
    const out = join(folder, 'spot-read.json');
    const said = await command(['learn', 'spot.png', '--out', out], reading.date);
    const pathOf = (name: string) => join(shopDir, 'readings', reading.id, name);
    expectSameFile(pathOf('measured.json'), out);
    expectSameFile(pathOf('report.html'), out.replace('.json', '.html'));
    expect([reading.kind, reading.sentences]).toEqual(['measured', said.notes]);
  },
  TIME,
);
