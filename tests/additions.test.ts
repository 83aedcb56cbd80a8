import { readdirSync, readFileSync } from 'node:fs';
import { join, sep } from 'node:path';
import { describe, expect, test } from 'vitest';
import { COMMANDS } from '../src/cli/commands/index.ts';
import { MOTIONS } from '../src/machine/motions/register.ts';
import { DOT_FORMAT_NAMES } from '../src/plane/index.ts';
import { SCREEN_NAMES } from '../src/screens/index.ts';

// What an addition touches, told from the source: the files that name one of its kind. Whoever asks for a kind by its
// name elsewhere makes every new one cost a file more.

const FILES = readdirSync('src', { recursive: true, encoding: 'utf8' })
  .map((path) => path.split(sep).join('/'))
  .filter((path) => /\.tsx?$/.test(path) && !path.includes('/assembly/'))
  .map((path) => ({ path, code: withoutComments(readFileSync(join('src', path), 'utf8')) }));

/** Texts of people, such as examples of commands, hold spaces; a name stands alone between its quotes. */
function withoutComments(text: string): string {
  return text.replace(/\/\*[\s\S]*?\*\//g, '').replace(/(^|\s)\/\/.*$/gm, '');
}

function filesNaming(name: string, within = /./): readonly string[] {
  const asked = new RegExp(`'${name}'|^\\s+${name}: \\{|\\b${name}: [A-Z_]+[,\\s]`, 'm');
  return FILES.filter(({ path, code }) => within.test(path) && asked.test(code))
    .map(({ path }) => path)
    .sort();
}

test('names in comments and within sentences do not count, names alone do', () => {
  expect(withoutComments("// 'galvo'\n/** 'galvo' */ const a = 'x'; // 'galvo'")).not.toContain('galvo');
  expect(filesNaming('lines')).not.toContain('screens/registry.ts');
  expect(filesNaming('floyd-steinberg')).toContain('screens/registry.ts');
});

describe('a kind of motion is named', () => {
  test.each(Object.keys(MOTIONS))('%s: in the types and the register, beside its own file', (kind) => {
    expect(filesNaming(kind)).toEqual(['machine/motions/register.ts', 'machine/types.ts']);
    expect(FILES.map(({ path }) => path)).toContain(`machine/motions/${kind}.ts`);
  });
});

describe('a file format for dots is named', () => {
  // A format that photos may have, too, is told and decoded there.
  const OF_PHOTOS = ['plane/container.ts', 'plane/decode.ts'];
  test.each(DOT_FORMAT_NAMES.filter((name) => name !== 'png'))('%s: in its register, beside its own file', (name) => {
    expect(filesNaming(name).filter((path) => !OF_PHOTOS.includes(path))).toEqual(['plane/dot-formats.ts']);
    expect(FILES.map(({ path }) => path)).toContain(`plane/${name}.ts`);
  });
});

describe('a screen is named', () => {
  /** Not as one of its kind: each of these takes a certain screen, and would not take a new one. */
  const CHOSEN: Readonly<Record<string, readonly string[]>> = {
    'floyd-steinberg': [
      'chart/layout.ts',
      'screens/choose-screen.ts',
      'tasks/compare-ways.ts',
      'tasks/simulate-faults.ts',
    ],
    ostromoukhov: ['job/request/beam-shift.ts', 'screens/choose-screen.ts'],
    'zhou-fang': ['screens/choose-screen.ts'],
    'green-noise': ['screens/choose-screen.ts'],
    'blue-noise': ['tasks/compare-ways.ts'],
    'clustered-dot': ['screens/choose-screen.ts', 'tasks/compare-ways.ts'],
  };
  // `line` is a word of other things, too.
  test.each(SCREEN_NAMES.filter((name) => name !== 'line'))('%s: in the names and the registry', (name) => {
    const own = ['screens/registry.ts', 'screens/types.ts'];
    expect(filesNaming(name)).toEqual([...own, ...(CHOSEN[name] ?? [])].sort());
  });
});

describe('a kind of chart', () => {
  /** Only kinds that have a reader or a place in a job of their own are asked for by name, there. */
  test('is asked for by name where it is read and where a control strip lies beside a piece', () => {
    const asked = FILES.filter(({ code }) => /kind (?:===|!==) '(?:spot|dose|tone|verify|check)'/.test(code));
    expect(asked.map(({ path }) => path).sort()).toEqual([
      'job/calibrate/check.ts',
      'job/calibrate/learn.ts',
      'job/calibrate/read-dose.ts',
      'job/calibrate/read-spot.ts',
      'job/request/tones.ts',
    ]);
  });
});

describe('a command', () => {
  const COMMANDS_FOLDER = 'cli/commands/';
  test.each(COMMANDS.map(({ name }) => name))(
    '%s: has its record in one file, which loads its code from another',
    (name) => {
      const records = FILES.filter(
        ({ path, code }) => path.startsWith(COMMANDS_FOLDER) && code.includes(`name: '${name}'`),
      );
      expect(records.map(({ path }) => path)).toEqual([expect.stringMatching(/\.record\.ts$/)]);
      expect(records[0]!.code).toMatch(/import\('\.\/[a-z-]+\.ts'\)/);
    },
  );

  test('no record imports what a command does', () => {
    const records = FILES.filter(({ path }) => path.endsWith('.record.ts'));
    expect(records.length).toBeGreaterThan(5);
    for (const { path, code } of records) {
      const imports = [...code.matchAll(/^import (?!type)[^;]*? from '([^']+)'/gm)].map(([, from]) => from!);
      const allowed = /^(?:\.\.\/\.\.\/tasks\/index|\.\.\/(?:command|option-records)|\.\/[a-z-]+\.record)\.ts$/;
      for (const from of imports) expect(from, path).toMatch(allowed);
    }
  });
});
