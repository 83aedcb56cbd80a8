import { existsSync, mkdirSync, readdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { describeError } from '../../src/web/server-errors.ts';
import { tidyFileName } from '../../src/web/server-files.ts';
import { clearIncoming, nameIncoming } from '../../src/web/server-incoming.ts';
import { receiveFile, receiveJson } from '../../src/web/server-receive.ts';
import { makeFolder } from './page-server.ts';

const LIMITS = { maxBytes: 1000, idleMs: 150, totalMs: 400 } as const;

/** A request whose body comes in parts, each after a pause. */
function slowRequest(parts: readonly { readonly bytes: number; readonly afterMs: number }[], length?: number): Request {
  const body = new ReadableStream<Uint8Array>({
    async start(controller) {
      for (const { bytes, afterMs } of parts) {
        await new Promise((done) => setTimeout(done, afterMs));
        try {
          controller.enqueue(new Uint8Array(bytes).fill(7));
        } catch {
          return;
        }
      }
      try {
        controller.close();
      } catch {
        // Given up by the reader.
      }
    },
  });
  const headers = length === undefined ? {} : { 'content-length': String(length) };
  return new Request('http://127.0.0.1/', { method: 'POST', body, headers, duplex: 'half' } as RequestInit);
}

describe('receiving a file', () => {
  const folder = makeFolder();
  const path = () => join(folder.path, 'new', 'file');

  test('what comes in time is written whole', async () => {
    const parts = [
      { bytes: 300, afterMs: 5 },
      { bytes: 300, afterMs: 20 },
    ];
    expect(await receiveFile(slowRequest(parts), { path: path(), limits: LIMITS })).toBe(600);
    expect(readFileSync(path())).toEqual(Buffer.alloc(600, 7));
    folder.remove();
  });

  test('where nothing can be written the disk is named, not the connection', async () => {
    const inTheWay = join(folder.path, 'a-file');
    mkdirSync(folder.path, { recursive: true });
    writeFileSync(inTheWay, '');
    const sent = receiveFile(slowRequest([{ bytes: 300, afterMs: 5 }]), { path: join(inTheWay, 'x'), limits: LIMITS });
    await expect(sent).rejects.toMatchObject({
      code: 'path-unwritable',
      message: expect.stringContaining('a part of the path is a file'),
    });
    folder.remove();
  });

  test.each([
    [
      'one that falls silent',
      [
        { bytes: 10, afterMs: 0 },
        { bytes: 10, afterMs: 2000 },
      ],
      undefined,
      'upload-cut-off',
    ],
    [
      'one that drips for ever',
      Array.from({ length: 40 }, () => ({ bytes: 1, afterMs: 40 })),
      undefined,
      'upload-cut-off',
    ],
    ['one that says it is larger', [{ bytes: 10, afterMs: 0 }], 5000, 'upload-too-large'],
    [
      'one that is larger and says nothing',
      [
        { bytes: 700, afterMs: 0 },
        { bytes: 700, afterMs: 0 },
      ],
      undefined,
      'upload-too-large',
    ],
    ['one that ends before its length', [{ bytes: 10, afterMs: 0 }], 500, 'upload-cut-off'],
  ])('%s is refused and leaves no file', async (_, parts, length, code) => {
    await expect(receiveFile(slowRequest(parts, length), { path: path(), limits: LIMITS })).rejects.toMatchObject({
      code,
    });
    expect(existsSync(path())).toBe(false);
    folder.remove();
  });

  test('JSON that is none is named', async () => {
    const request = new Request('http://127.0.0.1/', { method: 'POST', body: '{"a":' });
    await expect(receiveJson(request, LIMITS)).rejects.toMatchObject({ code: 'option-invalid' });
  });
});

describe('names of files', () => {
  test.each([
    ['cat.png', 'cat.png'],
    ['../../etc/passwd', 'passwd'],
    ['C:\\photos\\cat.jpg', 'cat.jpg'],
    ['.htaccess', 'htaccess'],
    ['', 'photo'],
    ['Grüße aus Köln (1).jpeg', 'Grüße-aus-Köln-1.jpeg'],
    ['a\u0000b.png', 'a-b.png'],
    ['...', 'photo'],
    [`${'x'.repeat(300)}.png`, `${'x'.repeat(60)}.png`],
  ])('%j becomes %j', (given, wanted) => {
    expect(tidyFileName(given)).toBe(wanted);
    expect(tidyFileName(tidyFileName(given))).toBe(wanted);
  });
});

test('half of a file is cleared away once its server is gone, and left while that one runs', async () => {
  const folder = makeFolder();
  const incoming = join(folder.path, '.incoming');
  await clearIncoming(incoming);
  mkdirSync(incoming);
  const [mine, runner] = [nameIncoming(incoming), join(incoming, `${process.ppid}-0123`)];
  // No process has this number: it is beyond the largest that systems give.
  const gone = join(incoming, '999999999-0123');
  for (const path of [mine, runner, gone, join(incoming, 'from-before')]) writeFileSync(path, 'half');
  await clearIncoming(incoming);
  expect(
    readdirSync(incoming)
      .map((name) => join(incoming, name))
      .sort(),
  ).toEqual([mine, runner].sort());
  folder.remove();
});

test('what the system says of a disk or of a file that is gone is told as that, and anything else as a bug', () => {
  const fail = (code: string, more: object) =>
    describeError(Object.assign(new Error('words of the system'), { code, ...more }));
  expect(fail('ENOSPC', { path: '/photos/cat.png', dest: '/shop/jobs/a' })).toMatchObject({
    status: 403,
    body: { error: { code: 'path-unwritable', message: expect.stringMatching(/^\/shop\/jobs\/a: the disk is full/) } },
  });
  expect(fail('ENOENT', { path: '/shop/jobs/a/out/cat.png' })).toMatchObject({
    status: 404,
    body: { error: { code: 'path-missing', message: expect.stringMatching(/^found no cat\.png in the shop folder/) } },
  });
  for (const error of [
    fail('EMFILE', { path: '/a' }),
    fail('ENOENT', {}),
    describeError('text'),
    describeError(null),
  ]) {
    expect(error).toMatchObject({ status: 500, body: { error: { code: 'bug' } } });
  }
});
