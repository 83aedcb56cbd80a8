import { readFileSync } from 'node:fs';
import { describe, expect, test } from 'vitest';
import { COMMANDS } from '../src/cli/commands/index.ts';

const COMMON = ['--json', '--shop', '--help', '--version'];
const documents = ['README.md', 'DEVELOPERS.md'].map((file) => ({ file, text: readFileSync(file, 'utf8') }));
const lines = documents.flatMap(({ file, text }) =>
  [...text.matchAll(/^(?:.*&& )?npx tonewright (.*)$/gm)].map(([, line]) => ({ file, line: line! })),
);

test('the documents show commands', () => {
  expect(lines.length).toBeGreaterThan(6);
});

test.each(lines)('$file: tonewright $line has a command and options that exist', ({ line }) => {
  const rest = line.split(/\s+/);
  const command = COMMANDS.find(({ name }) => name === rest[0] || name === `${rest[0]} ${rest[1]}`);
  expect(command, line).toBeDefined();
  const known = [...command!.options.flatMap(({ flags }) => flags.match(/--[a-z\d-]+/g) ?? []), ...COMMON];
  for (const word of rest) if (word.startsWith('--')) expect(known).toContain(word);
});

test('the README names every command', () => {
  for (const { name } of COMMANDS) expect(documents[0]!.text).toMatch(new RegExp(`\\b${name.split(' ')[0]}\\b`));
});

describe('every option has words for people', () => {
  test.each(COMMANDS)('$name', ({ options, examples, summary }) => {
    for (const { flags, help } of options) expect(help.length, flags).toBeGreaterThan(10);
    expect(summary).toMatch(/[.]$/);
    expect(examples.length).toBeGreaterThan(0);
  });
});
