import { describe, expect, test } from 'vitest';
import { COMMANDS } from '../../src/cli/commands/index.ts';
import { listPointers } from '../../src/cli/pointers.ts';
import { runCli } from './run-cli.ts';

const every = new Set(
  COMMANDS.flatMap(({ options }) => options.flatMap(({ flags }) => flags.match(/--[a-z\d-]+/g) ?? [])),
);

const ofPhoto = COMMANDS.find(({ name }) => name === 'prepare')!.options.map(({ flags }) => flags.split(' ')[0]);

describe('help by need', () => {
  test('the first options of a photo are few, the others stand in groups', async () => {
    const { stdout } = await runCli(['prepare', '--help']);
    const start = stdout.indexOf('Options:');
    const first = stdout.slice(start, stdout.indexOf('\n\n', start));
    expect(first.match(/^ {2}--/gm)!.length).toBeLessThanOrEqual(14);
    for (const name of ['size', 'profile', 'out', 'fit', 'strip', 'force']) expect(first).toContain(`--${name}`);
    const groups = ['Words and a drawing:', 'By hand: tone:', 'By hand: screen:', 'By hand: file:'];
    for (const group of groups) expect(stdout).toContain(`\n${group}\n`);
  });

  test('a kind of chart has its own options and no others', async () => {
    const [tone, dose] = await Promise.all(['tone', 'dose'].map((kind) => runCli(['chart', kind, '--help'])));
    expect(dose!.stdout).toContain('--vary');
    expect(tone!.stdout).not.toContain('--vary');
    expect(tone!.stdout).toContain('--after');
    expect(dose!.stdout).not.toContain('--after');
  });

  test('a group without an action shows its help and is wrong usage', async () => {
    const { status, stderr } = await runCli(['chart']);
    expect(status).toBe(2);
    expect(stderr).toContain('tone');
  });
});

describe('a wrong option', () => {
  test.each(listPointers())('--%s is pointed to one that is there', async (word, text) => {
    for (const option of text.match(/--[a-z\d-]+/g) ?? []) expect(every).toContain(option);
    expect(ofPhoto).not.toContain(`--${word}`);
  });

  test.each([
    ['--dpi', '--spacing'],
    ['--invert', '--direction'],
    ['--brightness', '--brightness-ev'],
    ['--dither', '--screen'],
    ['--diameter=80', '⌀80'],
  ])('%s is told where it is', async (option, where) => {
    const { status, stderr } = await runCli(['prepare', 'a.png', '--size', '10', '--out', 'o', option, '3']);
    expect(status).toBe(2);
    expect(stderr).toContain('unknown option');
    expect(stderr).toContain(where);
  });
});
