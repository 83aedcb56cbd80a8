import { readdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { expect, test } from 'vitest';

/** Widest line of a comment, columns: what two files side by side on a common screen show. */
const WIDEST = 120;

test.each(['src', 'benchmarks', 'tests'])('no comment in %s is wider than a screen with two files', (folder) => {
  const wide = readdirSync(folder, { recursive: true, encoding: 'utf8' })
    .filter((file) => /\.tsx?$/.test(file))
    .flatMap((file) =>
      readFileSync(join(folder, file), 'utf8')
        .split('\n')
        .map((line, at) => ({ where: `${join(folder, file)}:${at + 1}`, line })),
    )
    .filter(({ line }) => /^\s*(\/\/|\*|\/\*)/.test(line) && [...line].length > WIDEST);
  expect(wide.map(({ where }) => where)).toEqual([]);
});
