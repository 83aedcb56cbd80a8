// What is packed: everything that it needs, nothing of the workshop, and the notices of all that is bundled.
import { spawnSync } from 'node:child_process';
import { cpSync, existsSync, mkdtempSync, readdirSync, readFileSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, expect, test } from 'vitest';

const folder = mkdtempSync(join(tmpdir(), 'tonewright-pack-'));
afterAll(() => rmSync(folder, { recursive: true, force: true }));

/** Packages that our own code names. */
function listNamed(): string[] {
  const names = new Set<string>();
  for (const file of readdirSync('src', { recursive: true, encoding: 'utf8' }).filter((name) => /\.tsx?$/.test(name))) {
    const code = readFileSync(join('src', file), 'utf8');
    for (const [, name] of code.matchAll(/^import (?!type )[^;]*? from '((?:@[^/']+\/)?[^./'][^/']*)[^']*';/gm)) {
      if (!name!.startsWith('node:')) names.add(name!);
    }
  }
  return [...names];
}

test('every package that is bundled is in the notices, with its licence’s text', () => {
  const notices = readFileSync('dist/THIRD-PARTY-NOTICES.txt', 'utf8');
  const own = ['piscina', 'bullmq', 'ioredis', 'image-q'];
  const named = listNamed().filter((name) => !own.includes(name));
  expect(named).toEqual(expect.arrayContaining(['hono', 'valibot', 'preact', 'commander', 'ml-matrix']));
  for (const name of [...named, 'sharp', 'd3-array', 'assemblyscript']) {
    const { version } = JSON.parse(readFileSync(`node_modules/${name}/package.json`, 'utf8'));
    expect(notices).toContain(`\n${name} ${version} (`);
    for (const file of readdirSync(`node_modules/${name}`).filter((one) => /^licen[cs]e/i.test(one))) {
      expect(notices).toContain(readFileSync(`node_modules/${name}/${file}`, 'utf8').trim());
    }
  }
});

test('the packed files hold the program, its data and the notices, and no benchmark', () => {
  const packed = spawnSync('npm', ['pack', '--dry-run', '--json', '--ignore-scripts'], { encoding: 'utf8' });
  const report = JSON.parse(packed.stdout);
  const [{ files }] = (Array.isArray(report) ? report : Object.values(report)) as [{ files: { path: string }[] }];
  const paths = files.map(({ path }) => path);
  for (const path of ['dist/tonewright.cjs', 'dist/THIRD-PARTY-NOTICES.txt', 'dist/page/page.js', 'LICENSE']) {
    expect(paths).toContain(path);
  }
  expect(paths.filter((path) => /^(?:dist\/bench|src|tests|benchmarks|node_modules)\//.test(path))).toEqual([]);
});

test('an install without the build’s tools leaves all as it is, in words', () => {
  for (const file of ['build.js', 'third-party.js', 'package.json']) cpSync(file, join(folder, file));
  const install = spawnSync(process.execPath, ['build.js', '--when-able'], { cwd: folder, encoding: 'utf8' });
  expect([install.status, install.stdout]).toEqual([0, '']);
  expect(install.stderr).toMatch(/^Tonewright is not built: its tools .* npm ci, then npm run build/);
  expect(existsSync(join(folder, 'dist'))).toBe(false);
  expect(spawnSync(process.execPath, ['build.js'], { cwd: folder }).status).toBe(1);
});

test('without the machine code of the image library a command says what to install', () => {
  for (const part of ['dist', 'shared', 'package.json']) cpSync(part, join(folder, 'app', part), { recursive: true });
  const run = spawnSync(
    process.execPath,
    [
      join(folder, 'app', 'dist', 'tonewright.cjs'),
      'prepare',
      'images/photos/cat.png',
      '--size',
      '10x8',
      '--profile',
      'anodised-black',
      '--out',
      join(folder, 'out'),
    ],
    { encoding: 'utf8' },
  );
  expect(run.status).toBe(1);
  expect(run.stderr).toMatch(/found no image library for this computer .*\n.*--include=optional/);
  expect(existsSync(join(folder, 'out'))).toBe(false);
});
