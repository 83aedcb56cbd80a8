import { execFileSync } from 'node:child_process';
import { mkdtempSync, rmSync, symlinkSync, truncateSync, writeFileSync } from 'node:fs';
import { createServer } from 'node:net';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, describe, expect, test } from 'vitest';
import { readPhotoBytes } from '../../src/batch/read-photo.ts';
import { readJson } from '../../src/material/index.ts';
import {
  countPhotoPixels,
  decodeDots,
  INPUT_LIMITS,
  readInput,
  readInputSync,
  readPhoto,
} from '../../src/plane/index.ts';
import { runCli } from '../cli/run-cli.ts';

const folder = mkdtempSync(join(tmpdir(), 'tonewright-input-'));
afterAll(() => rmSync(folder, { recursive: true }));
const at = (name: string) => join(folder, name);

/** Every door through which a file of somebody comes in. */
const READERS: readonly (readonly [what: string, read: (path: string) => unknown])[] = [
  ['readInput', (path) => readInput(path, { kind: 'text' })],
  ['readInputSync', async (path) => readInputSync(path, { kind: 'text' })],
  ['a photo', (path) => readPhoto(path)],
  ['a photo of an order', (path) => readPhotoBytes(path, { label: 'photo', pauseMs: 0 })],
  ['a bitmap', (path) => decodeDots(path)],
  ['a JSON record', async (path) => readJson(path)],
];

describe.skipIf(process.platform === 'win32')('what is no regular file is refused before it is opened', () => {
  test.each(READERS)('%s', async (_, read) => {
    const pipe = at('pipe.png');
    rmSync(pipe, { force: true });
    execFileSync('mkfifo', [pipe]);
    await expect(read(pipe)).rejects.toMatchObject({ code: 'path-not-file', details: { found: 'a pipe' } });
    symlinkSync(pipe, at('linked.png'));
    await expect(read(at('linked.png'))).rejects.toMatchObject({ code: 'path-not-file' });
    rmSync(at('linked.png'));
    await expect(read('/dev/zero')).rejects.toMatchObject({ code: 'path-not-file', details: { found: 'a device' } });
    await expect(read(folder)).rejects.toMatchObject({ code: 'path-is-folder' });
    await expect(read(at('none'))).rejects.toMatchObject({ code: 'path-missing' });
  });

  test('a socket', async () => {
    const server = createServer().listen(at('socket'));
    await new Promise((listening) => server.once('listening', listening));
    await expect(readInput(at('socket'), { kind: 'text' })).rejects.toMatchObject({ code: 'path-not-file' });
    server.close();
  });

  test('the pixels of a pipe are not counted', async () => {
    execFileSync('mkfifo', [at('count.png')]);
    expect(await countPhotoPixels(at('count.png'))).toBeUndefined();
  });

  test('a command says it in words', async () => {
    execFileSync('mkfifo', [at('command.png')]);
    const size = ['--size', '20x20', '--profile', 'anodised-black'];
    const { status, stderr } = await runCli(['prepare', at('command.png'), ...size, '--out', at('out')]);
    expect([status, stderr]).toEqual([1, expect.stringContaining('command.png: found a pipe, needed a photo')]);
  });
});

test('a file larger than its kind may be is refused by its size alone', async () => {
  const path = at('large.json');
  writeFileSync(path, '{}');
  truncateSync(path, INPUT_LIMITS.text + 1);
  const message = `${path}: found 65 MiB, needed a JSON file of at most 64 MiB`;
  expect(() => readJson(path)).toThrow(message);
  truncateSync(path, INPUT_LIMITS.picture + 1);
  await expect(readPhoto(path)).rejects.toMatchObject({ code: 'file-too-large' });
});

test('the first bytes are looked at before the rest is read', async () => {
  const path = at('film.png');
  writeFileSync(path, '\0\0\0\x18ftypisom\0\0\0\0isommp42');
  truncateSync(path, 2 ** 29);
  const before = process.memoryUsage.rss();
  await expect(readPhoto(path)).rejects.toMatchObject({ code: 'image-unknown' });
  await expect(decodeDots(path)).rejects.toMatchObject({ code: 'image-unknown' });
  expect(process.memoryUsage.rss() - before).toBeLessThan(2 ** 27);
});

test('the bytes come as they are, an empty file as none', async () => {
  const bytes = Buffer.from(Array.from({ length: 10_000 }, (_, i) => (i * 7) & 255));
  writeFileSync(at('some'), bytes);
  writeFileSync(at('empty'), '');
  const heads: number[] = [];
  const options = { kind: 'text', checkHead: (head: Uint8Array) => void heads.push(head.length) } as const;
  expect((await readInput(at('some'), options)).equals(bytes)).toBe(true);
  expect(readInputSync(at('some'), options).equals(bytes)).toBe(true);
  expect((await readInput(at('empty'), options)).length).toBe(0);
  expect(heads).toEqual([4096, 4096, 0]);
});
