import { copyFileSync, linkSync, mkdirSync, readdirSync, readFileSync, symlinkSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { beforeAll, describe, expect, test } from 'vitest';
import { runCli, useFolder } from './run-cli.ts';

const makeFolder = useFolder();
const SMALL = ['--size', '10x8', '--profile', 'anodised-black', '--pitch', '0.05', '--spacing', '0.05'];

/** Everything in a folder and below, by its bytes. */
function readAll(folder: string): Record<string, string> {
  const names = readdirSync(folder, { recursive: true, withFileTypes: true }).filter((entry) => entry.isFile());
  return Object.fromEntries(
    names.map(({ parentPath, name }) => {
      const path = join(parentPath, name);
      return [path, readFileSync(path).toString('base64')];
    }),
  );
}

/**
 * What every command may be given, made once: a photo, a bitmap with its ticket, a chart, its scan, a profile, a jig.
 */
const files = new Map<string, Buffer>();
const GIVEN = ['cat.png', 'dots.png', 'chart.png', 'chart.json', 'scan.png', 'profile.json', 'jig.json', 'order.csv'];

beforeAll(async () => {
  const { mkdtempSync, rmSync } = await import('node:fs');
  const { tmpdir } = await import('node:os');
  const folder = mkdtempSync(join(tmpdir(), 'tonewright-given-'));
  const at = (name: string) => join(folder, name);
  const run = async (...argv: string[]) => {
    const { status, stderr } = await runCli(argv, { cwd: folder });
    expect(status, stderr).toBe(0);
  };
  copyFileSync('images/photos/cat.png', at('cat.png'));
  await run('prepare', 'cat.png', ...SMALL, '--name', 'dots', '--out', '.');
  await run('chart', 'tone', '--machine', 'galvo-355-f210', '--material', 'anodised-black', '--out', '.');
  await run(
    'simulate',
    'capture',
    'chart.png',
    '--material-model',
    'anodised-black',
    '--camera',
    'flatbed-600',
    '--out',
    'scan.png',
  );
  copyFileSync('shared/shop/profiles/anodised-black.json', at('profile.json'));
  await run('plate', '--grid', '2x1', '--pocket', '30x20', '--machine', 'galvo-355-f210', '--out', 'jig');
  copyFileSync(join(folder, 'jig', 'jig.json'), at('jig.json'));
  writeFileSync(at('order.csv'), 'photo,size\ncat.png,10x8\n');
  for (const name of GIVEN) files.set(name, readFileSync(at(name)));
  rmSync(folder, { recursive: true });
}, 240_000);

describe('a file that was given is never written over', () => {
  test.each<[string, readonly string[]]>([
    ['prepare', ['prepare', 'cat.png', ...SMALL, '--only', 'bitmap', '--out', '.']],
    ['prepare with its proof', ['prepare', 'cat.png', ...SMALL, '--out', '.']],
    ['prepare into a linked folder', ['prepare', 'cat.png', ...SMALL, '--out', 'linked']],
    ['prepare over a hard link', ['prepare', 'cat.png', ...SMALL, '--out', 'hard']],
    ['prepare over a symbolic link', ['prepare', 'cat.png', ...SMALL, '--out', 'soft']],
    ['proof', ['proof', 'dots.png', '--profile', 'profile.json', '--out', 'dots.png']],
    ['proof over the profile', ['proof', 'dots.png', '--profile', './profile.json', '--out', 'profile.json']],
    ['learn over the layout', ['learn', 'scan.png', '--chart', 'chart.json', '--out', 'chart.json']],
    [
      'check over the capture',
      ['check', 'scan.png', '--chart', 'chart.json', '--profile', './profile.json', '--out', 'scan.png'],
    ],
    [
      'simulate engrave',
      ['simulate', 'engrave', 'dots.png', '--material-model', 'anodised-black', '--out', 'dots.png'],
    ],
    [
      'simulate capture',
      [
        'simulate',
        'capture',
        'chart.png',
        '--material-model',
        'anodised-black',
        '--camera',
        'flatbed-600',
        '--out',
        'chart.png',
      ],
    ],
    ['plate', ['plate', 'jig.json', '--machine', 'galvo-355-f210', '--out', '.']],
    ['order into the folder by a link', ['order', '.', ...SMALL, '--out', 'linked']],
    ['order of a list into a link to the photos', ['order', 'lists/far.csv', ...SMALL, '--out', 'linked']],
    ['order over a hard link', ['order', 'lists/far.csv', ...SMALL, '--out', 'hard']],
  ])('%s', async (_, argv) => {
    const folder = makeFolder();
    for (const [name, bytes] of files) writeFileSync(join(folder, name), bytes);
    symlinkSync('.', join(folder, 'linked'));
    for (const name of ['hard', 'soft', 'lists']) mkdirSync(join(folder, name));
    linkSync(join(folder, 'cat.png'), join(folder, 'hard', 'cat.png'));
    symlinkSync('../cat.png', join(folder, 'soft', 'cat.png'));
    writeFileSync(join(folder, 'lists', 'far.csv'), 'photo\n../cat.png\n');
    const before = readAll(folder);
    const free = await runCli(argv, { cwd: folder });
    const forced = await runCli([...argv, '--force'], { cwd: folder });
    for (const { status, stderr } of [free, forced]) {
      expect(status, stderr).toBeGreaterThan(0);
      expect(status, stderr).toBeLessThan(3);
      expect(stderr).toMatch(/a file that was given|holds the (photo|order)/);
      expect(stderr).not.toContain('--force');
    }
    const after = readAll(folder);
    for (const [path, bytes] of Object.entries(before)) expect(after[path] === bytes, path).toBe(true);
  });
});

test('a bitmap alone that replaces takes the old ticket with it', async () => {
  const folder = makeFolder();
  writeFileSync(join(folder, 'cat.png'), files.get('cat.png')!);
  const prepare = (...more: string[]) =>
    runCli(['prepare', 'cat.png', ...SMALL, '--out', 'out', ...more], { cwd: folder });
  expect((await prepare()).status).toBe(0);
  expect((await prepare('--only', 'bitmap')).stderr).toContain('--force');
  expect((await prepare('--only', 'bitmap', '--force')).status).toBe(0);
  expect(readdirSync(join(folder, 'out'))).toEqual(['cat.png']);
});
