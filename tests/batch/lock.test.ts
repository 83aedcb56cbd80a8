import { spawn } from 'node:child_process';
import { existsSync, readdirSync, readFileSync, utimesSync, writeFileSync } from 'node:fs';
import { hostname } from 'node:os';
import { dirname, join } from 'node:path';
import { expect, test } from 'vitest';
import { acquireLock } from '../../src/batch/lock.ts';
import { useFolder } from '../cli/run-cli.ts';

const folder = useFolder();
const holder = (more: object) => JSON.stringify({ pid: 1, host: hostname(), began: null, token: 'x', ...more });
const QUICK = { silenceMs: 150 };

test('a folder is for one run at a time, and free again after it', async () => {
  const path = join(folder(), 'lock');
  const lock = await acquireLock(path);
  await expect(acquireLock(path)).rejects.toMatchObject({ code: 'order-busy', details: { pid: process.pid } });
  await lock.release();
  expect(existsSync(path)).toBe(false);
  await (await acquireLock(path)).release();
});

test('the lock of a process that is no more is taken over', async () => {
  const path = join(folder(), 'lock');
  const child = spawn(process.execPath, ['-e', '0']);
  await new Promise((resolve) => child.once('exit', resolve));
  writeFileSync(path, holder({ pid: child.pid }));
  const lock = await acquireLock(path);
  expect(JSON.parse(readFileSync(path, 'utf8')).pid).toBe(process.pid);
  await lock.release();
  expect(readdirSync(dirname(path))).toEqual([]);
});

test.skipIf(process.platform !== 'linux')(
  'a process that got the number of the dead one does not keep the lock',
  async () => {
    const path = join(folder(), 'lock');
    writeFileSync(path, holder({ pid: process.pid, began: '1' }));
    await (await acquireLock(path)).release();
  },
);

test('where no system tells when a process began, its lock counts as long as it is touched', async () => {
  const path = join(folder(), 'lock');
  writeFileSync(path, holder({ pid: process.pid }));
  const touch = setInterval(() => utimesSync(path, new Date(), new Date()), 20);
  await expect(acquireLock(path, QUICK)).rejects.toMatchObject({ code: 'order-busy', details: { pid: process.pid } });
  clearInterval(touch);
  await (await acquireLock(path, QUICK)).release();
});

test('the lock of another computer counts as long as it is touched', async () => {
  const path = join(folder(), 'lock');
  writeFileSync(path, holder({ host: 'another-computer' }));
  const touch = setInterval(() => utimesSync(path, new Date(), new Date()), 20);
  await expect(acquireLock(path, QUICK)).rejects.toMatchObject({ details: { host: 'another-computer' } });
  clearInterval(touch);
  await (await acquireLock(path, QUICK)).release();
});

test('a lock that was never written whole is taken over when nobody touches it', async () => {
  const path = join(folder(), 'lock');
  writeFileSync(path, '{"pid":');
  await (await acquireLock(path, QUICK)).release();
});

test('of several that find a dead lock at once, one gets it', async () => {
  const path = join(folder(), 'lock');
  writeFileSync(path, holder({ pid: 2 ** 22 + 1 }));
  const results = await Promise.allSettled([1, 2, 3, 4].map(() => acquireLock(path)));
  const got = results.filter((result) => result.status === 'fulfilled');
  expect(got).toHaveLength(1);
  await got[0]!.value.release();
  expect(readdirSync(dirname(path))).toEqual([]);
});
