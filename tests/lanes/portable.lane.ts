// The portable folders: complete, small, the same bytes twice; those of Linux and Windows started by their start file
// from a path with spaces, where there is no network and nothing can be written beside them.
import { spawnSync } from 'node:child_process';
import { existsSync, mkdirSync, mkdtempSync, readdirSync, readFileSync, rmSync, statSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { basename, join, resolve } from 'node:path';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { makePortables, PLATFORMS, type Portable } from '../../packaging/portable.ts';
import { CLEAN_ENV } from './installed.ts';
import { openWine, toWindows } from './wine.ts';

const folder = mkdtempSync(join(tmpdir(), 'tonewright-portable-'));
const out = join(folder, 'Meine Programme');
const made = new Map<string, Portable>();
afterAll(() => rmSync(folder, { recursive: true, force: true }));

beforeAll(async () => {
  const names = Object.keys(PLATFORMS);
  for (const [at, portable] of (await makePortables(names, out)).entries()) made.set(names[at]!, portable);
});

test('the same sources make the same bytes', async () => {
  const [again] = await makePortables(['linux-x64'], join(folder, 'again'));
  expect(again!.sha256).toBe(made.get('linux-x64')!.sha256);
});

describe.each(Object.keys(PLATFORMS))('%s', (name) => {
  test('is a ZIP of less than 120 MB that holds the licence of everything and a bill of it', () => {
    const { folder: root, zip, zipBytes } = made.get(name)!;
    expect(zipBytes).toBeLessThan(120e6);
    expect(spawnSync('unzip', ['-tq', zip]).status).toBe(0);
    const licences = readFileSync(join(root, 'LICENSES.txt'), 'utf8');
    const bill = JSON.parse(readFileSync(join(root, 'bill-of-materials.cdx.json'), 'utf8'));
    expect([bill.bomFormat, bill.specVersion, bill.metadata.component.name]).toEqual([
      'CycloneDX',
      '1.6',
      'tonewright',
    ]);
    const listed = new Map<string, { licenses: unknown[] }>();
    for (const component of bill.components) listed.set(`${component.name} ${component.version}`, component);
    const manifests = readdirSync(root, { recursive: true, encoding: 'utf8' }).filter((path) =>
      /node_modules\/(@[^/]+\/)?[^/@]+\/package\.json$/.test(path),
    );
    expect(manifests.length).toBeGreaterThan(5);
    const { os, cpu } = PLATFORMS[name]!;
    expect(manifests.join()).toContain(`@img/sharp-${os}-${cpu}/`);
    for (const path of manifests) {
      const { name: part, version, license } = JSON.parse(readFileSync(join(root, path), 'utf8'));
      expect(listed.get(`${part} ${version}`)!.licenses).toHaveLength(1);
      expect(licences).toContain(`\n${part} ${version} (${license})\n`);
    }
    for (const part of ['node', 'commander', 'hono', 'bullmq', 'preact']) {
      expect(
        [...listed.keys()].some((one) => one.startsWith(`${part} `)),
        part,
      ).toBe(true);
    }
    expect(licences).toContain('Node.js is licensed for use as follows');
    expect(licences).toContain('GNU LESSER GENERAL PUBLIC LICENSE');
    // Each reference is to a component that is there, and none twice: what a reader of the format asks.
    const refs = bill.components.map((component: Record<string, unknown>) => component['bom-ref']);
    expect(new Set(refs).size).toBe(refs.length);
    expect(bill.dependencies[0].dependsOn).toEqual(refs);
  });
});

/** Runs a start file where there is no network and its folder cannot be written, and asks the page of it. */
function askSealed(root: string, argv: readonly string[], env: NodeJS.ProcessEnv) {
  const sealed = 'ip link set lo up && mount --bind "$1" "$1" && mount -o remount,ro,bind "$1" && shift && exec "$@"';
  const client = [process.execPath, resolve('tests/lanes/sealed-client.mjs'), join(folder, 'log')];
  const { stdout, stderr, status } = spawnSync(
    'unshare',
    ['-mn', 'sh', '-c', sealed, 'sh', root, ...client, resolve('images/photos/cat.png'), ...argv],
    { cwd: folder, env, encoding: 'utf8' },
  );
  expect(status, stderr).toBe(0);
  return JSON.parse(stdout);
}
const FILES = ['cat.png', 'cat.proof.png', 'cat.ticket.json', 'cat.ticket.html'];
const { version } = JSON.parse(readFileSync('package.json', 'utf8'));
const canSeal = spawnSync('unshare', ['-mn', 'ip', 'link', 'set', 'lo', 'up']).status === 0;

describe.runIf(canSeal)('without a network, and without the right to write beside itself', () => {
  test('the one for Linux opens the page on a shop folder in the documents', () => {
    const home = join(folder, 'home');
    mkdirSync(join(home, 'Documents'), { recursive: true });
    const root = made.get('linux-x64')!.folder;
    expect(statSync(join(root, 'tonewright.sh')).mode & 0o111).not.toBe(0);
    const facts = askSealed(root, [join(root, 'tonewright.sh'), '--no-launch', '--json'], { ...CLEAN_ENV, HOME: home });
    expect(facts).toMatchObject({ shop: join(home, 'Documents', 'Tonewright'), version, networks: ['lo'] });
    expect([...facts.files].sort()).toEqual([...FILES].sort());
    expect(existsSync(join(home, 'Documents', 'Tonewright', '.page.json'))).toBe(true);
  });

  test('the one for Windows, too', () => {
    const wine = openWine();
    // What opens files for Wine must itself be in the sealed place.
    spawnSync('wineserver', ['-k'], { env: wine.env });
    const root = made.get('windows-x64')!.folder;
    const start = [`${toWindows(root)}\\Tonewright.cmd`, '--no-launch', '--json'];
    const facts = askSealed(root, ['wine', 'cmd', '/c', ...start], wine.env);
    expect(facts).toMatchObject({ version, networks: ['lo'] });
    expect(facts.shop).toMatch(/^C:\\users\\[^\\]+\\Documents\\Tonewright$/i);
    expect([...facts.files].sort()).toEqual([...FILES].sort());
    spawnSync('wineserver', ['-k'], { env: wine.env });
  });
});

test('where it can write, the shop lies beside the start file, and the command line is there, too', () => {
  const root = made.get('linux-x64')!.folder;
  const run = (...args: readonly string[]) =>
    spawnSync(join(root, 'tonewright.sh'), args, { cwd: folder, env: CLEAN_ENV, encoding: 'utf8' });
  expect(run('--version').stdout.trim()).toBe(version);
  const photo = resolve('images/photos/cat.png');
  expect(run('prepare', photo, '--size', '8x6', '--profile', 'leather-patch', '--out', 'card')).toMatchObject({
    status: 0,
  });
  expect(readdirSync(join(folder, 'card'))).toContain('cat.png');
  expect(basename(root)).toBe(`tonewright-${version}-linux-x64`);
});
