import { mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, expect, test } from 'vitest';
import type { ChartLayout } from '../../src/chart/index.ts';
import { createDots, decodeDotsBytes, encodeColour } from '../../src/plane/index.ts';
import { CAMERAS, captureSurface, engrave, parseMaterialModel } from '../../src/simulation/index.ts';
import { runCli } from '../cli/run-cli.ts';

const folder = mkdtempSync(join(tmpdir(), 'tonewright-field-'));
const GRID = ['--columns', 'power=20%:100%:5', '--rows', 'speed=100,200', '--cell-gap', '0.6'];
const POWERS = [2, 4, 6, 8, 10];
const SPEEDS = [100, 200];
const GAP_MM = 0.6;
let layout: ChartLayout;

const run = (...argv: string[]) => runCli([...argv, '--json'], { cwd: folder });

/** Draws, beside our chart, the grid of another software: as greys of the full power, a faster row as less of it. */
beforeAll(async () => {
  const drawn = await run(
    ...['chart', 'dose', '--cells', 'empty', '--machine', 'gantry-450', '--material', 'birch-plywood'],
    ...['--spacing', '0.1', '--pitch', '0.1', '--size', '60x44', '--out', 'dose'],
  );
  expect(drawn.status, drawn.stderr).toBe(0);
  layout = JSON.parse(drawn.stdout).layout;
  const { dots } = await decodeDotsBytes(readFileSync(join(folder, 'dose/chart.png')), 'chart.png');
  const powers = createDots(dots.width, dots.height, 256);
  // Ours at half the power that full grey means.
  for (let i = 0; i < dots.data.length; i++) powers.data[i] = dots.data[i]! > 0 ? 128 : 0;
  const { xMm, yMm, widthMm, heightMm } = layout.field!;
  const cellMm = (widthMm + GAP_MM) / POWERS.length;
  const lineMm = (heightMm + GAP_MM) / SPEEDS.length;
  for (let y = 0; y < dots.height; y++) {
    for (let x = 0; x < dots.width; x++) {
      const [right, down] = [(x + 0.5) * 0.1 - xMm, (y + 0.5) * 0.1 - yMm];
      if (right < 0 || down < 0 || right > widthMm || down > heightMm) continue;
      const [column, row] = [Math.floor(right / cellMm), Math.floor(down / lineMm)];
      const inside = right - column * cellMm < cellMm - GAP_MM && down - row * lineMm < lineMm - GAP_MM;
      if (inside) powers.data[y * dots.width + x] = Math.round((255 * POWERS[column]! * 100) / SPEEDS[row]! / 10);
    }
  }
  const model = parseMaterialModel(JSON.parse(readFileSync('shared/simulation/birch.json', 'utf8')));
  const piece = engrave(powers, {
    ...{ grid: layout.grid, model, seed: 3, pixelUm: 25_400 / 300, marginMm: 3 },
    settings: { ...model.settings, powerW: 2 * model.settings.powerW },
  });
  const scan = captureSurface(piece, { ...CAMERAS['flatbed-300']!.options, seed: 4 });
  writeFileSync(join(folder, 'scan.png'), await encodeColour(scan, { format: 'png' }));
}, 60_000);

afterAll(() => rmSync(folder, { recursive: true, force: true }));

test('the field is bare, has a known size, and lies between references', () => {
  const { field, patches } = layout;
  expect(Math.min(field!.widthMm, field!.heightMm)).toBeGreaterThan(10);
  expect(patches.every(({ settings }) => settings === undefined)).toBe(true);
  const inside = patches.filter(
    ({ xMm, yMm, widthMm, heightMm }) =>
      xMm + widthMm > field!.xMm &&
      xMm < field!.xMm + field!.widthMm &&
      yMm + heightMm > field!.yMm &&
      yMm < field!.yMm + field!.heightMm,
  );
  expect(inside).toEqual([]);
  const page = readFileSync(join(folder, 'dose/chart.html'), 'utf8');
  expect(page).toContain('Let your software make its own grid');
  expect(page).toContain('--columns power=');
  expect(page).not.toContain('chart.svg');
});

test('the reading is told rows, columns and ranges, and finds what each cell was burned with', async () => {
  const read = await run('learn', 'scan.png', '--chart', 'dose/chart.json', ...GRID, '--out', 'settings.json');
  expect(read.status, read.stderr).toBe(0);
  const { points, recommended, direction } = JSON.parse(read.stdout);
  expect(direction).toBe('darker');
  expect(points).toHaveLength(10);
  const at = (powerW: number, speedMmPerS: number) =>
    points.find(
      (one: typeof recommended) => one.settings.powerW === powerW && one.settings.speedMmPerS === speedMmPerS,
    );
  for (const powerW of POWERS)
    for (const speed of SPEEDS) expect(at(powerW, speed), `${powerW}, ${speed}`).toBeDefined();
  // Of equal dose equally dark, and more of it darker below the strongest.
  expect(Math.abs(at(4, 200).lightness - at(2, 100).lightness)).toBeLessThan(3);
  expect(at(4, 100).contrast).toBeGreaterThan(at(2, 100).contrast);
  // What it recommends goes into the next chart.
  const next = await run(
    ...['chart', 'tone', '--machine', 'gantry-450', '--material', 'birch-plywood', '--settings', 'settings.json'],
    ...['--pitch', '0.1', '--steps', '5', '--replicates', '1', '--out', 'tone'],
  );
  expect(next.status, next.stderr).toBe(0);
  const { lineSpacingMm: _spacing, ...settings } = recommended.settings;
  expect(JSON.parse(next.stdout).layout.settings).toEqual(settings);
}, 60_000);

test.each([
  [['learn', 'scan.png', '--chart', 'dose/chart.json', '--out', 'a.json'], /needed the rows and columns.*--columns/s],
  [['learn', 'scan.png', '--chart', 'dose/chart.json', '--columns', 'power', '--out', 'a.json'], /found no rows/],
  [
    ['learn', 'scan.png', '--chart', 'dose/chart.json', ...GRID.slice(0, 3), 'speed=1:9:30', '--out', 'a.json'],
    /5 × 30 cells of .* needed cells of 2.4 mm/,
  ],
  [
    [
      'chart',
      'dose',
      '--cells',
      'empty',
      '--vary',
      'power',
      '--machine',
      'gantry-450',
      '--direction',
      'darker',
      '--out',
      'b',
    ],
    /found an empty field with swept settings/,
  ],
])(
  '%s says what is needed',
  async (argv, message) => {
    const { status, stderr } = await run(...argv);
    expect(status).not.toBe(0);
    expect(stderr).toMatch(message);
  },
  30_000,
);
