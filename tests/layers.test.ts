import { existsSync, readdirSync, readFileSync } from 'node:fs';
import { dirname, join, relative, sep } from 'node:path';
import { expect, test } from 'vitest';

// Row 0 of the design has four steps: everything may throw errors and cite sources, then take what comes from outside,
// then see colours.
const ROWS = [
  ['errors.ts', 'sources.ts', 'notices.ts'],
  ['json.ts', 'quantities.ts', 'decimals.ts', 'close-names.ts', 'notice-lines.ts'],
  ['units.ts', 'schema.ts', 'options.ts', 'numeric'],
  ['colour'],
  ['plane', 'optics'],
  ['photo', 'caption', 'subject', 'screens', 'material', 'chart', 'proof', 'machine', 'plate', 'price', 'simulation'],
  ['job'],
  ['batch', 'library'],
  ['tasks'],
  ['cli', 'web'],
];
/** The only places that touch files, clock, environment or threads. */
const IMPURE = [
  /^plane\/(decode|decode-apart|decode-child|encode|files|heic|inputs|kernels|memory|read-input)\.ts$/,
  /^caption\/fonts\.ts$/,
  /^material\/store\.ts$/,
  /^subject\/models\.ts$/,
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

/** Every import of a file within src, those of types too: whoever reads a file needs to know what it names. */
function listImports(file: string): readonly string[] {
  const text = readFileSync(join('src', file), 'utf8');
  return [...text.matchAll(/(?:from |import\(|import )'(\.[^']+)'/g)].map(([, target]) =>
    posix(relative('src', join('src', dirname(file), target!))),
  );
}

/** Files that reach one another, each circle once: Tarjan's strongly connected components of more than one. */
function findCircles(imports: ReadonlyMap<string, readonly string[]>): readonly (readonly string[])[] {
  const index = new Map<string, number>();
  const low = new Map<string, number>();
  const stack: string[] = [];
  const circles: string[][] = [];
  const visit = (file: string): void => {
    index.set(file, index.size);
    low.set(file, index.get(file)!);
    stack.push(file);
    for (const next of imports.get(file) ?? []) {
      if (!index.has(next)) visit(next);
      if (stack.includes(next)) low.set(file, Math.min(low.get(file)!, low.get(next)!));
    }
    if (low.get(file) !== index.get(file)) return;
    const circle = stack.splice(stack.indexOf(file));
    if (circle.length > 1) circles.push(circle.sort());
  };
  for (const file of imports.keys()) if (!index.has(file)) visit(file);
  return circles;
}

test('a planted circle is found, and a chain is none', () => {
  const chain = { a: ['b'], b: ['c'], c: [] };
  expect(findCircles(new Map(Object.entries(chain)))).toEqual([]);
  expect(findCircles(new Map(Object.entries({ ...chain, c: ['a'], d: ['a'] })))).toEqual([['a', 'b', 'c']]);
});

test('no folder has a circle inside', () => {
  expect(findCircles(new Map(files.map((file) => [file, listImports(file)])))).toEqual([]);
});

/** The rooms of `job`: each takes from those before it, those of one line not from one another. */
const ROOMS_OF_JOB = [['page'], ['request'], ['prepare'], ['marks', 'chart', 'calibrate', 'order', 'plate', 'timing']];
const roomRow = (room: string) => ROOMS_OF_JOB.findIndex((row) => row.includes(room));

test.each(files.filter((file) => /^job\/.+\//.test(file)))(
  '%s takes from its own room and from earlier ones',
  (file) => {
    const room = file.split('/')[1]!;
    expect(roomRow(room), `${room} has no row in job`).toBeGreaterThanOrEqual(0);
    for (const path of listImports(file).filter((path) => path.startsWith('job/'))) {
      const to = path.split('/')[1]!;
      expect(to === room || (roomRow(to) >= 0 && roomRow(to) < roomRow(room)), `${file} → ${path}`).toBe(true);
    }
  },
);

/** What the faces may import beside types: one use case serves both, so that they cannot drift apart. */
const OF_A_FACE = ['tasks', 'errors.ts', 'units.ts', 'notices.ts', 'notice-lines.ts', 'options.ts', 'json.ts'];
/** What still reaches below the tasks, with the reason. Nothing may join; what no longer does is taken off. */
const BELOW: Readonly<Record<string, readonly string[]>> = {
  // The browser frames a photo itself, by the same pure function; what comes with the tasks would not run there.
  'web/page/stage/frame.ts': ['photo'],
};

/** Parts of the tree that a file takes more than types from. */
function findValueImports(file: string): readonly string[] {
  const text = readFileSync(join('src', file), 'utf8');
  const found = new Set<string>();
  for (const [, what, target] of text.matchAll(/^(?:import|export) ([^;]*?) from '(\.[^']+)'/gm)) {
    const names = /^\{([^}]*)\}$/
      .exec(what!)?.[1]
      ?.split(',')
      .map((name) => name.trim());
    const isOfTypes = what!.startsWith('type ') || names?.every((name) => name === '' || name.startsWith('type '));
    if (!isOfTypes) found.add(posix(relative('src', join('src', dirname(file), target!))).split('/')[0]!);
  }
  for (const [, target] of text.matchAll(/import\('(\.[^']+)'\)/g)) {
    found.add(posix(relative('src', join('src', dirname(file), target!))).split('/')[0]!);
  }
  return [...found].sort();
}

test.each(files.filter((file) => /^(?:cli|web)\//.test(file)))('%s asks the tasks, and nothing below them', (file) => {
  const own = file.split('/')[0]!;
  const below = findValueImports(file).filter((part) => part !== own && part !== '..' && !OF_A_FACE.includes(part));
  expect(below).toEqual(BELOW[file] ?? []);
});

test('every exception is of a file that is there', () => {
  for (const file of Object.keys(BELOW)) expect(files).toContain(file);
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

const benchmarks = readdirSync('benchmarks', { recursive: true, encoding: 'utf8' })
  .map(posix)
  .filter((file) => file.endsWith('.ts'));

test.each(benchmarks)(
  'benchmarks/%s takes nothing from the tests; what both need lies in benchmarks/common',
  (file) => {
    expect(readFileSync(join('benchmarks', file), 'utf8')).not.toMatch(/(?:from |import\()'(?:\.\.\/)+tests\//);
  },
);
