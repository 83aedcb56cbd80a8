import { readdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { expect, test } from 'vitest';
import { SOURCES } from '../src/sources.ts';

const read = (folder: string, ending: string) =>
  readdirSync(folder, { recursive: true, encoding: 'utf8' })
    .filter((file) => file.endsWith(ending))
    .map((file) => ({ file: join(folder, file), text: readFileSync(join(folder, file), 'utf8') }));

const used = [...read('src', '.ts'), ...read('shared', '.json')].flatMap(({ file, text }) =>
  [...text.matchAll(/"?source"?: ?['"]([^'"]+)['"]/g)].map(([, key]) => ({ file, key: key! })),
);

test('constants and data name sources', () => {
  expect(used.length).toBeGreaterThan(0);
});

test.each(used)('$file: source $key is in the bibliography', ({ key }) => {
  expect(Object.keys(SOURCES)).toContain(key);
});

test.each(Object.keys(SOURCES))('source %s is cited somewhere', (key) => {
  const cited = [...read('src', '.ts'), ...read('shared', '.json'), ...read('tests', '.ts')].some(
    ({ file, text }) => !file.endsWith('sources.ts') && text.includes(key),
  );
  expect(cited).toBe(true);
});
