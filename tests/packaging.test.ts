// What is packed: everything that it needs, nothing of the workshop, and the notices of all that is bundled.
import { spawnSync } from 'node:child_process';
import {
  copyFileSync,
  cpSync,
  existsSync,
  mkdirSync,
  mkdtempSync,
  readdirSync,
  readFileSync,
  rmSync,
  symlinkSync,
  writeFileSync,
} from 'node:fs';
import { tmpdir } from 'node:os';
import { join, resolve } from 'node:path';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { installPacked, packBuilt } from '../packaging/install.ts';
import { readNotes } from '../packaging/release.ts';
import { BUILT, doRuns, makeWorkplace, programOf } from './lanes/installed.ts';
import { enter, startPageServer } from './web/page-server.ts';

const folder = mkdtempSync(join(tmpdir(), 'tonewright-pack-'));
afterAll(() => rmSync(folder, { recursive: true, force: true }));

const manifest = JSON.parse(readFileSync('package.json', 'utf8'));

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
  const named = listNamed().filter((name) => !(name in manifest.dependencies));
  expect(named).toEqual(expect.arrayContaining(['hono', 'valibot', 'preact', 'commander', 'ml-matrix']));
  for (const name of [...named, 'sharp', 'd3-array', 'assemblyscript', 'bullmq', 'ioredis']) {
    const { version } = JSON.parse(readFileSync(`node_modules/${name}/package.json`, 'utf8'));
    expect(notices).toContain(`\n${name} ${version} (`);
    for (const file of readdirSync(`node_modules/${name}`).filter((one) => /^licen[cs]e/i.test(one))) {
      expect(notices).toContain(readFileSync(`node_modules/${name}/${file}`, 'utf8').trim());
    }
  }
});

describe('the packed file', () => {
  const shop = join(folder, 'shop of a customer');
  let main: string;
  beforeAll(() => {
    main = installPacked(packBuilt(folder), shop);
  });
  const listInstalled = () => {
    const { packages } = JSON.parse(readFileSync(join(shop, 'node_modules', '.package-lock.json'), 'utf8'));
    return Object.keys(packages).map((path) => path.replace(/^.*node_modules\//, ''));
  };

  test('holds the program, its data and the notices, and nothing of the workshop', () => {
    const root = join(shop, 'node_modules', 'tonewright');
    const paths = readdirSync(root, { recursive: true, encoding: 'utf8' }).map((path) => path.replaceAll('\\', '/'));
    for (const path of ['dist/tonewright.cjs', 'dist/THIRD-PARTY-NOTICES.txt', 'dist/page/page.js', 'LICENSE']) {
      expect(paths).toContain(path);
    }
    expect(paths.filter((path) => /^(?:dist\/bench|src|tests|benchmarks|node_modules)\//.test(path))).toEqual([]);
    for (const script of ['preinstall', 'install', 'postinstall']) expect(manifest.scripts).not.toHaveProperty(script);
  });

  test('brings no package but those that DEVELOPERS.md gives a reason for, and their count is said there', () => {
    const document = readFileSync('DEVELOPERS.md', 'utf8');
    const [, table] = /\n## What an install brings\n(.*?)\n## /s.exec(document)!;
    const reasons = [...table!.matchAll(/^\| `([^`]+)` \| (\S.*) \|$/gm)].map(([, name]) => name!);
    const wanted = { ...manifest.dependencies, ...manifest.optionalDependencies };
    expect(Object.keys(wanted).sort()).toEqual(reasons.sort());
    const said = Number(/together (\d+) packages/.exec(table!)![1]);
    expect(listInstalled().length - 1).toBeLessThanOrEqual(said);
    expect(listInstalled()).not.toEqual(expect.arrayContaining(['bullmq']));
  });

  test('makes the bytes of the program as it was built', () => {
    const names = ['prepare', 'order', 'chart', 'plate', 'plates', 'proof'] as const;
    const [here, there] = ['here', 'there'].map((name) => makeWorkplace(join(folder, name)));
    expect(doRuns(programOf(main), there!, names)).toEqual(doRuns(BUILT, here!, names));
  });

  test('is a module whose example in the README compiles strictly and makes the bytes of the command', () => {
    const place = join(folder, 'project');
    mkdirSync(join(place, 'node_modules', '@types'), { recursive: true });
    symlinkSync(join(shop, 'node_modules', 'tonewright'), join(place, 'node_modules', 'tonewright'), 'junction');
    for (const name of ['@types/node', '@types/ndarray', 'undici-types']) {
      cpSync(join('node_modules', name), join(place, 'node_modules', name), { recursive: true });
    }
    const [, example] = /## As a library\n.*?```ts\n(.*?)```/s.exec(readFileSync('README.md', 'utf8'))!;
    const [, line] = /`prepare (portrait\.jpg [^`]*)`/.exec(readFileSync('README.md', 'utf8'))!;
    writeFileSync(join(place, 'package.json'), '{ "type": "module" }');
    writeFileSync(join(place, 'example.ts'), example!);
    writeFileSync(
      join(place, 'views.ts'),
      `import type { NdArray } from 'ndarray';
      import type { Coverage, Luminance } from 'tonewright';
      export const fromOthers = (view: NdArray<Uint16Array>): Luminance => view.hi(2, 2).transpose(1, 0);
      export const toOthers = (light: Luminance): NdArray<Uint16Array> => light;
      // @ts-expect-error light is no coverage
      export const mistaken = (light: Luminance): Coverage => light;\n`,
    );
    const options = { strict: true, exactOptionalPropertyTypes: true, skipLibCheck: false, types: ['node'] };
    const compilerOptions = { ...options, target: 'es2022', lib: ['es2022'], module: 'nodenext' };
    writeFileSync(join(place, 'tsconfig.json'), JSON.stringify({ compilerOptions }));
    const compiled = spawnSync(process.execPath, [resolve('node_modules/typescript/bin/tsc'), '-p', place], {
      encoding: 'utf8',
    });
    expect([compiled.status, compiled.stdout]).toEqual([0, '']);

    copyFileSync('images/photos/photographer.png', join(place, 'portrait.jpg'));
    copyFileSync('shared/machines/galvo-355-f210.json', join(place, 'galvo.json'));
    copyFileSync('shared/shop/profiles/anodised-black.json', join(place, 'anodised.json'));
    const run = (...args: readonly string[]) => spawnSync(process.execPath, args, { cwd: place, encoding: 'utf8' });
    const ran = run('example.js');
    expect([ran.status, ran.stderr]).toEqual([0, '']);
    expect(ran.stdout).toMatch(/^[\d.]+ [\d.]+ [\d.]+\n$/);
    const command = run(main, 'prepare', ...line!.split(' '), '--out', 'card');
    expect([command.status, command.stderr]).toEqual([0, expect.anything()]);
    const [made, wanted] = ['portrait.png', 'card/portrait.png'].map((name) => readFileSync(join(place, name)));
    expect(made!.equals(wanted!)).toBe(true);
    const [mean, worst, seconds] = ran.stdout.trim().split(' ').map(Number);
    const ticket = JSON.parse(readFileSync(join(place, 'card', 'portrait.ticket.json'), 'utf8'));
    expect([mean, seconds]).toEqual([ticket.prediction.meanDeltaL, ticket.time.seconds]);
    expect(worst).toBeGreaterThan(mean!);
  });

  test('opens the page', async () => {
    const page = await startPageServer(mkdtempSync(join(folder, 'shop-')), { main });
    try {
      const facts = await fetch(`${page.origin}/api/shop`, { headers: await enter(page) });
      expect([facts.status, (await facts.json()).version]).toEqual([200, manifest.version]);
      expect(await (await fetch(`${page.origin}/page.js`)).text()).toContain('Tonewright');
    } finally {
      await page.stop();
    }
  });

  test('loads the client of the queue for --queue alone, and has it', () => {
    const trace = join(folder, 'trace.cjs');
    writeFileSync(trace, `process.on('exit', () => process.stderr.write(Object.keys(require.cache).join('\\n')));`);
    const run = (...args: readonly string[]) =>
      spawnSync(process.execPath, ['--require', trace, main, ...args], { encoding: 'utf8' });
    const order = [
      'order',
      makeWorkplace(join(folder, 'queue')),
      '--size',
      '2x1.5',
      '--profile',
      'leather-patch',
      '--out',
    ];
    const local = run(...order, join(folder, 'local'));
    const queued = run(...order, join(folder, 'queued'), '--queue', 'redis://127.0.0.1:1');
    expect([local.status, local.stderr]).toEqual([0, expect.not.stringContaining('queue-client')]);
    expect([queued.status, queued.stderr]).toEqual([1, expect.stringContaining('queue-client')]);
  });
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

test('the notes of a release are the head of the changelog', () => {
  const head = '# Changelog\n\nBy kind.\n\n';
  expect(readNotes(`${head}## 1.1\n\n### Added\n- new\n\n## 1.0\n\n- old\n`)).toBe('### Added\n- new\n');
  expect(readNotes(`${head}## 1.0\n\n- first\n`)).toBe('- first\n');
  expect(() => readNotes(head)).toThrow('needed what is new');
  expect(readNotes(readFileSync('CHANGELOG.md', 'utf8'))).toMatch(/^### Added\n/);
});
