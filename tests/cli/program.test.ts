import { copyFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { COMMANDS } from '../../src/cli/commands/index.ts';
import { createProgress } from '../../src/cli/progress.ts';
import { SCREEN_NAMES } from '../../src/screens/index.ts';
import { runCli, useFolder } from './run-cli.ts';

const folderFor = useFolder();

describe('the command line', () => {
  test('lists every command in its help and ends with 0', async () => {
    const { status, stdout, stderr } = await runCli(['--help']);
    expect([status, stderr]).toEqual([0, '']);
    for (const { name } of COMMANDS) expect(stdout).toMatch(new RegExp(`^ +${name.split(' ')[0]}\\b`, 'm'));
  });

  test.each(COMMANDS)('$name has help with examples, and its code can be loaded', async ({ name, load, options }) => {
    const { status, stdout } = await runCli([...name.split(' '), '--help']);
    expect(status).toBe(0);
    expect(stdout).toContain(`Examples:\n  tonewright ${name}`);
    for (const { flags } of options) expect(stdout).toContain(flags.split(' ')[0]);
    expect(await load()).toBeTypeOf('function');
  });

  test('without a command it shows the help on stderr and ends with 2', async () => {
    const { status, stdout, stderr } = await runCli([]);
    expect([status, stdout]).toEqual([2, '']);
    expect(stderr).toContain('Usage: tonewright');
  });

  test('an unknown command is wrong usage', async () => {
    const { status, stderr } = await runCli(['prepar']);
    expect(status).toBe(2);
    expect(stderr).toMatch(/prepare/);
  });

  test('more paths than a command takes are told to want quotes, or an order', async () => {
    const { status, stderr } = await runCli([
      'prepare',
      'my',
      'cat.png',
      '--size',
      '10x8',
      '--out',
      'o',
      '--profile',
      'anodised-black',
    ]);
    expect(status).toBe(2);
    expect(stderr).toMatch(/too many arguments.*\nPut a path with spaces in quotes\. Several photos are an order/);
  });

  test('wrong usage is one JSON document, too, where JSON was asked for', async () => {
    for (const argv of [
      ['prepare', '--json'],
      ['time', 'a', 'b', '--json'],
      ['prepare', 'a.png', '--sise', '5', '--json'],
    ]) {
      const { status, stdout } = await runCli(argv);
      expect([status, JSON.parse(stdout).error.code]).toEqual([2, 'option-invalid']);
    }
    expect((await runCli(['prepare'])).stdout).toBe('');
  });

  test('the help of prepare names every screen', async () => {
    const { stdout } = await runCli(['prepare', '--help']);
    const flat = stdout.replace(/\s+/g, ' ');
    for (const name of SCREEN_NAMES) expect(flat).toContain(name);
  });

  test('a record’s path is relative to the folder in which the command was typed', async () => {
    const cwd = folderFor();
    copyFileSync('shared/shop/profiles/anodised-black.json', join(cwd, 'own.json'));
    const { status, stdout } = await runCli(['profile', 'show', 'own.json', '--json'], { cwd });
    expect(status).toBe(0);
    expect(JSON.parse(stdout).name).toBe('anodised-black');
    expect((await runCli(['profile', 'show', 'own.json'])).stderr).toContain('found nothing');
  });

  test('a shop folder that is not there is said, with the environment variable too', async () => {
    for (const { status, stderr } of [
      await runCli(['machine', 'list', '--shop', '/nowhere/at/all']),
      await runCli(['machine', 'list'], { env: { TONEWRIGHT_SHOP: '/nowhere/at/all' } }),
    ]) {
      expect(status).toBe(1);
      expect(stderr).toContain('/nowhere/at/all');
    }
  });
});

describe('progress', () => {
  const listen = (terminal: boolean) => {
    let now = 0;
    let printed = '';
    const io = {
      stderr: (text: string) => {
        printed += text;
      },
      terminal,
      clock: () => now,
    };
    const progress = createProgress({ ...io, stdout: () => undefined, env: {}, cwd: '.', today: () => '' });
    return {
      progress,
      wait: (s: number) => {
        now += s;
      },
      printed: () => printed,
    };
  };

  test('keeps quiet for a second', () => {
    const { progress, wait, printed } = listen(true);
    wait(0.9);
    progress.show('screening');
    progress.clear();
    expect(printed()).toBe('');
  });

  test('draws in place on a terminal and leaves nothing there', () => {
    const { progress, wait, printed } = listen(true);
    wait(1.1);
    progress.show('screening', 0.5);
    progress.clear();
    expect(printed()).toBe('\r\u001b[Kscreening 50 % …\r\u001b[K');
  });

  test('prints at most a line a second elsewhere, without control signs', () => {
    const { progress, wait, printed } = listen(false);
    for (let i = 0; i < 30; i++) {
      wait(0.1);
      progress.show('screening');
    }
    expect(printed()).toBe('screening …\nscreening …\n');
  });
});
