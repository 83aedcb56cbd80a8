import { spawn, spawnSync } from 'node:child_process';
import { EventEmitter } from 'node:events';
import { copyFileSync, existsSync, mkdirSync, readdirSync, rmdirSync } from 'node:fs';
import { join, resolve } from 'node:path';
import { describe, expect, test } from 'vitest';
import { openOutput } from '../../src/cli/output.ts';
import { useFolder } from './run-cli.ts';

const newFolder = useFolder();
const COMMAND = resolve('dist', 'tonewright.cjs');
const SMALL = ['--size', '10x8', '--profile', 'anodised-black', '--pitch', '0.05', '--spacing', '0.05'];
const shell = (text: string, cwd: string) =>
  spawnSync('sh', ['-c', text, process.execPath, COMMAND], { cwd, encoding: 'utf8', timeout: 60_000 });

class Stream extends EventEmitter {
  printed = '';
  fault: NodeJS.ErrnoException | undefined;
  write(text: string) {
    if (this.fault) throw this.fault;
    this.printed += text;
  }
}
const faultOf = (code: string) => Object.assign(new Error(`${code}: told by the system`), { code });

describe('what is printed', () => {
  test.each(['told later', 'thrown at once'] as const)('on a full disk is said to be lost, once (%s)', (how) => {
    const [stdout, stderr, told] = [new Stream(), new Stream(), [] as string[]];
    const output = openOutput({ stdout, stderr }, (words) => told.push(words));
    for (let i = 0; i < 2; i++) {
      if (how === 'thrown at once') stdout.fault = faultOf('ENOSPC');
      output.stdout('a');
      if (how === 'told later') stdout.emit('error', faultOf('ENOSPC'));
    }
    expect(told).toEqual(['could not print the result: no space is left there']);
    expect(output.failure()).toBe(told[0]);
  });

  test('for nobody ends nothing', () => {
    const [stdout, stderr] = [new Stream(), new Stream()];
    const output = openOutput({ stdout, stderr }, () => expect.unreachable());
    stdout.emit('error', faultOf('EPIPE'));
    stderr.emit('error', faultOf('EPIPE'));
    stderr.fault = faultOf('EIO');
    output.stderr('warning');
    output.stdout('result');
    expect([stdout.printed, output.failure()]).toEqual(['result', undefined]);
  });
});

describe.skipIf(process.platform === 'win32')('the command', () => {
  test('goes on with an order when nobody reads its messages any more', async () => {
    const cwd = newFolder();
    mkdirSync(join(cwd, 'photos'));
    for (const name of ['a.png', 'b.png', 'c.png']) copyFileSync('images/photos/cat.png', join(cwd, 'photos', name));
    const order = spawn(process.execPath, [COMMAND, 'order', 'photos', ...SMALL, '--out', 'out'], { cwd });
    order.stderr.once('data', () => order.stderr.destroy());
    order.stdout.destroy();
    const status = await new Promise((done) => order.once('close', done));
    expect(status).toBe(0);
    const made = readdirSync(join(cwd, 'out'));
    for (const name of ['a', 'b', 'c']) expect(made).toContain(`${name}.ticket.json`);
    expect(made).toContain('order.html');
  });

  test.skipIf(!existsSync('/dev/full'))('tells a full disk in words', () => {
    const { status, stderr } = shell('"$0" "$1" machine list >/dev/full', newFolder());
    expect([status, stderr]).toEqual([1, 'tonewright: could not print the result: no space is left there\n']);
  });

  test('tells in words that its folder is gone', () => {
    const cwd = join(newFolder(), 'gone');
    mkdirSync(cwd);
    const { status, stderr } = shell(`rmdir ${cwd}; "$0" "$1" machine list`, cwd);
    expect(status).toBe(1);
    expect(stderr).toMatch(/^tonewright: the current folder is gone, needed one that is there\n/);
    expect(() => rmdirSync(cwd)).toThrow();
  });

  test.skipIf(!existsSync('/proc/self'))('tells in words of a folder in which none can be made', () => {
    const photo = resolve('images/photos/cat.png');
    for (const command of [`prepare ${photo}`, `order ${photo.slice(0, -8)}`]) {
      const { status, stderr } = shell(`"$0" "$1" ${command} ${SMALL.join(' ')} --out /proc/x`, newFolder());
      expect([status, stderr]).toEqual([1, expect.stringMatching(/\/proc\/x.*no folder can be made there/)]);
    }
  });
});
