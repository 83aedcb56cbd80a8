import { copyFileSync, mkdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { AppError, sayPlainly } from '../../src/errors.ts';
import { runCli, useFolder } from './run-cli.ts';

const makeFolder = useFolder();
const SMALL = ['--size', '8x6', '--profile', 'anodised-black', '--pitch', '0.05', '--spacing', '0.05', '--out', 'out'];
const ESC = '\u001b';

describe('what a message repeats', () => {
  test('has no sign that moves a cursor or turns the writing, and keeps its lines', () => {
    expect(sayPlainly(`a${ESC}[31mb\u0007\u0085\u202ec\u2028d\ne`)).toBe('a\\x1b[31mb\\x07\\x85\\u202ec\\u2028d\ne');
    expect(new AppError('file-invalid', `${ESC}c`).message).toBe('\\x1bc');
  });

  test('is short, whatever the cell: its beginning, its length and its end', () => {
    const cell = `start ${'many words '.repeat(2000)}end`;
    const { message } = new AppError('file-invalid', `line 3: found "${cell}", needed a number`);
    expect(message.length).toBeLessThan(300);
    expect(message).toMatch(/^line 3: found "start .*\(22009 letters\).*end", needed a number$/);
    expect(sayPlainly(`found ${'x'.repeat(20_000)}`).length).toBeLessThan(1100);
    expect(sayPlainly('found a/b c/d '.repeat(20_000)).length).toBeLessThan(5100);
    const path = `/${'deep/'.repeat(190)}cat.png`;
    expect(sayPlainly(`${path}: found nothing`)).toBe(`${path}: found nothing`);
  });
});

describe('what the command line says of', () => {
  test.each<[string, readonly string[], RegExp]>([
    ['an empty --out', ['prepare', 'cat.png', ...SMALL, '--out', ''], /--out: found nothing after it/],
    ['an empty photo', ['prepare', '', ...SMALL], /found an empty argument/],
    ['an empty --shop', ['prepare', 'cat.png', ...SMALL, '--shop', ''], /--shop: found nothing after it/],
    ['a photo with a name of the system’s own', ['prepare', 'CON.png', ...SMALL], /found the name "CON".*another name/],
    ['a photo whose name is not UTF-8', ['prepare', 'caf\uFFFD.jpg', ...SMALL], /not UTF-8.*rename the file/],
  ])('%s', async (_, argv, says) => {
    const folder = makeFolder();
    for (const name of ['cat.png', 'CON.png']) copyFileSync('images/photos/cat.png', join(folder, name));
    const { status, stderr } = await runCli(argv, { cwd: folder });
    expect(stderr).toMatch(says);
    expect(status).toBeGreaterThan(0);
    expect(status).toBeLessThan(3);
  });

  test('a shop that cannot keep a layout: the results are there, and it is a warning', async () => {
    const folder = makeFolder();
    mkdirSync(join(folder, 'shop'));
    // Stands for a folder without the right to write, which the superuser has everywhere.
    writeFileSync(join(folder, 'shop', 'charts'), '');
    copyFileSync('images/photos/cat.png', join(folder, 'cat.png'));
    const chart = ['chart', 'spot', '--machine', 'galvo-355-f210', '--material', 'anodised-black', '--out', 'chart'];
    for (const argv of [['prepare', 'cat.png', ...SMALL, '--strip'], chart]) {
      const { status, stderr, stdout } = await runCli(argv, { cwd: folder });
      expect(status, stderr).toBe(0);
      expect(stderr).toMatch(/warning: The results are written.*Name the layout’s file when its capture is read/);
      expect(stdout).toContain('wrote');
    }
    expect(readFileSync(join(folder, 'out', 'cat.strip.json'), 'utf8')).toContain('patches');
  });
});
