import { type ChildProcess, spawn, spawnSync } from 'node:child_process';
import { mkdtempSync, rmSync } from 'node:fs';
import { connect, createServer } from 'node:net';
import { tmpdir } from 'node:os';
import { join, resolve } from 'node:path';
import { Redis } from 'ioredis';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import type { PlannedTask } from '../../src/batch/makers.ts';
import { packResult } from '../../src/batch/parcel.ts';
import { createQueueMaker } from '../../src/batch/queue.ts';

const hasRedis = spawnSync('redis-server', ['--version']).status === 0;
if (!hasRedis) process.stderr.write('redis-server is missing: a queue that goes silent was not tested\n');

/** A port that nobody listens at. */
async function findFreePort(): Promise<number> {
  const server = createServer();
  await new Promise<void>((go) => server.listen(0, '127.0.0.1', go));
  const { port } = server.address() as { port: number };
  await new Promise((go) => server.close(go));
  return port;
}

describe.runIf(hasRedis)('a queue', () => {
  const folder = mkdtempSync(join(tmpdir(), 'tonewright-silent-'));
  let server: ChildProcess;
  let port: number;

  beforeAll(async () => {
    port = await findFreePort();
    const argv = ['--port', String(port), '--bind', '127.0.0.1', '--dir', folder, '--save', ''];
    server = spawn('redis-server', argv, { stdio: 'ignore' });
    const answers = () =>
      new Promise<boolean>((go) => {
        const socket = connect(port, '127.0.0.1', () => {
          socket.end();
          go(true);
        });
        socket.on('error', () => go(false));
      });
    while (!(await answers())) await new Promise((go) => setTimeout(go, 20));
  });

  afterAll(() => {
    // A process that was stopped does not hear that it should end.
    server.kill('SIGKILL');
    rmSync(folder, { recursive: true, force: true });
  });

  test('that goes silent once it has given a result does not keep whoever has it', async () => {
    const photoPath = resolve('images', 'photos', 'cup.png');
    const url = `redis://127.0.0.1:${port}`;
    const maker = await createQueueMaker({
      url,
      out: folder,
      build: 'test',
      signal: new AbortController().signal,
      warn: () => undefined,
    });
    const worker = new Redis(url);
    try {
      const planned = { task: { name: 'cup', label: 'cup.png' }, photoPath, work: 'y' } as unknown as PlannedTask;
      const making = maker.make(planned, new AbortController().signal);
      await expect.poll(() => worker.keys('tonewright:photo:*')).toHaveLength(1);
      const id = (await worker.keys('tonewright:photo:*'))[0]!.split(':').at(-1)!;
      await worker.set(
        `tonewright:result:${id}`,
        packResult({ made: false, fault: { code: 'image-empty', message: 'cup.png: found 0 bytes' } }),
      );
      const made = await making;
      server.kill('SIGSTOP');
      expect(made).not.toBe('not-begun');
      if (made !== 'not-begun') await made.settle();
    } finally {
      server.kill('SIGCONT');
      worker.disconnect();
      await maker.close();
    }
  }, 20_000);

  test('that goes silent in the middle of a run ends the wait for its pieces, in words', async () => {
    const photoPath = resolve('images', 'photos', 'cup.png');
    const stop = new AbortController();
    const maker = await createQueueMaker({
      url: `redis://127.0.0.1:${port}`,
      out: folder,
      build: 'test',
      signal: stop.signal,
      warn: () => undefined,
      silenceMs: 200,
      patienceMs: 600,
    });
    try {
      const planned = { task: { name: 'cup', label: 'cup.png' }, photoPath, work: 'x' } as unknown as PlannedTask;
      const making = maker.make(planned, stop.signal).then(
        () => undefined,
        (error: unknown) => error,
      );
      await new Promise((go) => setTimeout(go, 300));
      server.kill('SIGSTOP');
      expect(await making).toMatchObject({
        code: 'queue-unreachable',
        message: expect.stringMatching(
          /found no answer of the queue at 127\.0\.0\.1.* the same order, given again, goes on/,
        ),
      });
    } finally {
      server.kill('SIGCONT');
      await maker.close();
    }
  });
});
