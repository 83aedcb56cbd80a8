import { readdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { runCli, useFolder } from './run-cli.ts';

const folder = useFolder();
const PHOTO = 'images/photos/cat.png';

describe('prepare --marks', () => {
  test('writes a bitmap for each mark, proof and ticket, and lists the burns', async () => {
    const out = folder();
    const marks = ['--marks', 'slate-greys', '--size', '30x20', '--name', 'cat-on-slate'];
    const { status, stdout, stderr } = await runCli(['prepare', PHOTO, ...marks, '--out', out]);
    expect(status).toBe(0);
    expect(stdout).toMatch(/BURN +MARK +POWER.*1 +grey.*2 +light.*3 +frost/s);
    expect(stderr).toMatch(/NOT MEASURED/);
    expect(readdirSync(out).sort()).toEqual(
      ['1-grey.png', '2-light.png', '3-frost.png', 'proof.png', 'ticket.html', 'ticket.json'].map(
        (end) => `cat-on-slate.${end}`,
      ),
    );
    const ticket = JSON.parse(readFileSync(join(out, 'cat-on-slate.ticket.json'), 'utf8'));
    expect(ticket).toMatchObject({ schema: 'tonewright-marks/1', by: 'lightness' });
    expect(ticket.burns.map(({ mark }: { mark: string }) => mark)).toEqual(['grey', 'light', 'frost']);
  });

  test.each([
    [['--profile', 'anodised-black'], 2, /--profile beside --marks/],
    [['--screen', 'bayer'], 2, /--screen beside --marks/],
  ])('refuses %j', async (more, expected, message) => {
    const argv = ['prepare', PHOTO, '--marks', 'slate-greys', '--size', '30x20', '--out', folder(), ...more];
    const { status, stderr } = await runCli(argv);
    expect(status).toBe(expected);
    expect(stderr).toMatch(message);
  });

  test('names the field of a bad palette, and a palette that is not there', async () => {
    const path = join(folder(), 'bad.json');
    const palette = JSON.parse(readFileSync('shared/shop/palettes/slate-greys.json', 'utf8'));
    writeFileSync(path, JSON.stringify({ ...palette, marks: [{ ...palette.marks[0], colour: 'grey' }] }));
    const prepare = (marks: string) =>
      runCli(['prepare', PHOTO, '--size', '30x20', '--out', folder(), '--marks', marks]);
    const bad = await prepare(path);
    expect([bad.status, bad.stderr]).toEqual([1, expect.stringMatching(/"marks\.0\.colour": found "grey"/)]);
    const unknown = await prepare('slate-grays');
    expect([unknown.status, unknown.stderr]).toEqual([2, expect.stringMatching(/slate-greys/)]);
  });
});

test('a burned dose chart gives a palette that a photo can be separated into', async () => {
  const cwd = folder();
  const run = async (...argv: string[]) => {
    const { status, stdout, stderr } = await runCli([...argv, '--json'], { cwd });
    expect(status, stderr).toBe(0);
    return JSON.parse(stdout);
  };
  const sweep = ['--vary', 'power=1:10:5', '--vary', 'speed=40:160:3:log', '--material', 'birch-plywood'];
  const grid = ['--spacing', '0.1', '--pitch', '0.1', '--machine', 'gantry-450'];
  await run('chart', 'dose', ...grid, ...sweep, '--out', 'dose');
  const burned = ['--material-model', 'birch', '--chart', 'dose/chart.json', '--dpi', '300', '--out', 'dose.npy'];
  await run('simulate', 'engrave', 'dose/chart.png', ...burned);
  await run('simulate', 'capture', 'dose.npy', '--camera', 'flatbed-300', '--out', 'dose.png');
  const check = ['check', 'dose.png', '--chart', 'dose/chart.json', '--palette', 'browns.json'];
  const { palette, points } = await run(...(check as [string]), '--count', '2');
  expect(palette).toMatchObject({
    schema: 'tonewright-palette/1',
    name: 'browns',
    machine: 'gantry-450',
    origin: 'measured',
  });
  expect(palette.marks).toHaveLength(2);
  for (const { cell, colour } of palette.marks) {
    const { lightness } = points.find(({ id }: { id: string }) => id === cell);
    // Levelled light and colour of the same patch agree.
    expect(Math.abs(colour[0] - lightness)).toBeLessThan(0.5);
    // Charred wood is brown.
    expect(colour[2]).toBeGreaterThan(5);
  }
  const photo = join(process.cwd(), PHOTO);
  const { ticket } = await run('prepare', photo, '--size', '30x20', '--marks', 'browns.json', '--out', 'out');
  expect(ticket.burns).toHaveLength(2);
  const refused = await runCli([...check, '--cells', 'Z1', '--force'], { cwd });
  expect([refused.status, refused.stderr]).toEqual([2, expect.stringMatching(/no readable cell "Z1"/)]);
});
