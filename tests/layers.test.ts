import { existsSync, readdirSync, readFileSync } from 'node:fs';
import { dirname, join, relative, sep } from 'node:path';
import { expect, test } from 'vitest';

// Row 0 of the design has three steps: everything may throw errors and cite sources, then take what comes from outside.
const ROWS = [
  ['errors.ts', 'sources.ts', 'notices.ts'],
  ['json.ts', 'quantities.ts'],
  ['units.ts', 'schema.ts', 'options.ts', 'numeric'],
  ['plane', 'optics'],
  ['photo', 'screens', 'material', 'chart', 'proof', 'machine', 'plate', 'rehearsal'],
  ['job'],
  ['batch'],
  ['tasks'],
  ['cli', 'web'],
];
/** The only places that touch files, clock, environment or threads. */
const IMPURE = [
  /^plane\/(decode|encode|files|inputs|kernels|memory|read-input)\.ts$/,
  /^material\/store\.ts$/,
  /^batch\//,
  /^tasks\//,
  /^cli\//,
  /^web\//,
];
const rowOf = (part: string) => ROWS.findIndex((row) => row.includes(part));
const posix = (path: string) => path.split(sep).join('/');
const files = readdirSync('src', { recursive: true, encoding: 'utf8' })
  .map(posix)
  .filter((file) => /\.tsx?$/.test(file) && !file.includes('/assembly/'));

test('the source tree is seen', () => {
  expect(files.length).toBeGreaterThan(10);
});

test.each(files)('%s imports only downwards, and other folders through their index', (file) => {
  const from = file.split('/')[0]!;
  expect(rowOf(from), `${from} has no row`).toBeGreaterThanOrEqual(0);
  const text = readFileSync(join('src', file), 'utf8');
  for (const [, target] of text.matchAll(/(?:from |import\(|import )'(\.[^']+)'/g)) {
    const path = posix(relative('src', join('src', dirname(file), target!)));
    // The package's own facts (its version) are the one thing outside src.
    if (path === '../package.json') continue;
    const to = path.split('/')[0]!;
    expect(to === from || rowOf(to) < rowOf(from), `${from} → ${to}`).toBe(true);
    expect(existsSync(join('src', path)), `${file} imports ${path}`).toBe(true);
    if (to !== from && path.includes('/')) expect(path, `${file} enters ${to} by its index`).toBe(`${to}/index.ts`);
  }
});

test.each(files.filter((file) => !IMPURE.some((pattern) => pattern.test(file))))(
  '%s is pure: no files, clock, environment, printing or unseeded chance',
  (file) => {
    const text = readFileSync(join('src', file), 'utf8');
    expect(text).not.toMatch(/from 'node:(?!buffer|zlib|crypto)/);
    expect(text).not.toMatch(
      /Date\.now\(|new Date\(\)|Math\.random\(|\bprocess\.(?:env|exit|cwd|argv|std|hrtime|cpu|memory|platform|on|next)|\bconsole\.\w|\bperformance\.\w/,
    );
  },
);

test.each(files.filter((file) => !/^plane\//.test(file)))('%s leaves sharp to plane', (file) => {
  expect(readFileSync(join('src', file), 'utf8')).not.toMatch(/from 'sharp'|require\('sharp'\)/);
});
