import { spawnSync } from 'node:child_process';
import { mkdirSync, readdirSync, readFileSync, writeFileSync } from 'node:fs';
import { connect, type Socket } from 'node:net';
import { join, resolve } from 'node:path';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { createSaveRow, isFileName } from '../../src/web/server-files.ts';
import { runCli } from '../cli/run-cli.ts';
import { expectSameFile } from '../same-bytes.ts';
import { enter, makeFolder, type PageServer, startPageServer } from './page-server.ts';

const TIME = 120_000;
const folder = makeFolder();
const shop = join(folder.path, 'shop');
let server: PageServer;
let keys: Readonly<Record<string, string>>;

const PHOTO_SETTINGS = {
  widthMm: 30,
  heightMm: 20,
  cornerRadiusMm: 0,
  machine: 'galvo-355-f210',
  profile: 'anodised-black',
  fit: 'cover',
  safeMarginMm: 0,
  tone: 'auto',
  toneValues: {},
  range: 'scale',
} as const;

beforeAll(async () => {
  mkdirSync(shop);
  server = await startPageServer(shop);
  keys = await enter(server);
}, TIME);

afterAll(async () => {
  await server?.stop();
  folder.remove();
});

const ask = (method: string, path: string, body?: unknown) =>
  fetch(server.origin + path, { method, headers: keys, ...(body === undefined ? {} : { body: JSON.stringify(body) }) });

async function openCat(): Promise<string> {
  return ((await (await ask('POST', '/api/samples/cat', PHOTO_SETTINGS)).json()) as { id: string }).id;
}

const wishOnDisk = (id: string) => JSON.parse(readFileSync(join(shop, 'jobs', id, 'job.json'), 'utf8')).wish;

describe('what is kept in the shop folder', () => {
  test('works of one name follow each other, also after one that failed; other names do not wait', async () => {
    const row = createSaveRow();
    const seen: string[] = [];
    const slow = (name: string, ms: number) => async () => {
      await new Promise((done) => setTimeout(done, ms));
      seen.push(name);
    };
    const failed = row.add('a', async () => {
      await slow('a1', 30)();
      throw new Error('a full disk');
    });
    void row.add('a', slow('a2', 1));
    void row.add('b', slow('b1', 1));
    await expect(failed).rejects.toThrow('a full disk');
    await row.settle();
    expect(seen).toEqual(['b1', 'a1', 'a2']);
  });

  test(
    'of many wishes at once the one that is shown last is the one on the disk',
    async () => {
      const id = await openCat();
      for (let round = 0; round < 12; round++) {
        const answers = await Promise.all(
          Array.from({ length: 12 }, (_, at) =>
            ask('PUT', `/api/jobs/${id}`, {
              ...PHOTO_SETTINGS,
              toneValues: { contrast: (at + 1) / 50 + round / 1000 },
            }),
          ),
        );
        expect(answers.every(({ status }) => status === 200)).toBe(true);
        const { wish } = (await (await ask('GET', `/api/jobs/${id}`)).json()) as { wish: unknown };
        expect(wishOnDisk(id)).toEqual(wish);
      }
    },
    TIME,
  );

  test(
    'a job that is removed while its files are made leaves nothing',
    async () => {
      const id = await openCat();
      const made = ask('POST', `/api/jobs/${id}/keep`);
      await expect
        .poll(async () => ((await (await ask('GET', `/api/jobs/${id}`)).json()) as { state: string }).state)
        .toBe('making');
      expect((await ask('DELETE', `/api/jobs/${id}`)).status).toBe(204);
      expect((await made).status).toBe(404);
      expect(readdirSync(join(shop, 'jobs'))).not.toContain(id);
      expect(readdirSync(join(shop, 'jobs', '.incoming'))).toEqual([]);
    },
    TIME,
  );

  test(
    'made files of a removed job and names that are paths are not taken over by the next start',
    async () => {
      const id = await openCat();
      const path = join(shop, 'jobs', id, 'job.json');
      const record = JSON.parse(readFileSync(path, 'utf8'));
      await server.stop();
      const rest = join(shop, 'jobs', '0123456789abcdef', 'out');
      mkdirSync(rest, { recursive: true });
      writeFileSync(join(rest, 'cat.png'), 'a picture');
      writeFileSync(path, JSON.stringify({ ...record, name: '../../../elsewhere' }));
      const order = join(shop, 'orders', '0123456789abcdef');
      mkdirSync(order, { recursive: true });
      const page = {
        schema: 'tonewright-kept-order/1',
        title: 'from elsewhere',
        wish: PHOTO_SETTINGS,
        pieces: [],
        changed: '',
        running: false,
        problem: null,
        totals: null,
        plates: [],
        plateNotes: [],
        plateFiles: ['../../../.page.json'],
      };
      writeFileSync(join(order, 'order-page.json'), JSON.stringify(page));
      server = await startPageServer(shop);
      keys = await enter(server);
      expect(readdirSync(join(shop, 'jobs'))).not.toContain('0123456789abcdef');
      expect((await ask('GET', `/api/jobs/${id}`)).status).toBe(404);
      const secret = await ask(
        'GET',
        `/api/orders/0123456789abcdef/plates/${encodeURIComponent('../../../.page.json')}`,
      );
      expect(secret.status).toBe(404);
      const { key } = JSON.parse(readFileSync(join(shop, '.page.json'), 'utf8')) as { key: string };
      expect(await secret.text()).not.toContain(key);
      // The same record with names alone is shown again.
      await server.stop();
      writeFileSync(path, JSON.stringify(record));
      writeFileSync(join(order, 'order-page.json'), JSON.stringify({ ...page, plateFiles: ['plate-1.svg'] }));
      server = await startPageServer(shop);
      keys = await enter(server);
      expect((await ask('GET', `/api/jobs/${id}`)).status).toBe(200);
      expect((await ask('GET', '/api/orders/0123456789abcdef')).status).toBe(200);
    },
    TIME,
  );

  test('a file name is a name on every system', () => {
    for (const good of ['cat.png', 'Großmutter 1.ticket.json', '猫.png', 'a'])
      expect(isFileName(good), good).toBe(true);
    for (const bad of ['', '.', '..', '../a', 'a/b', 'a\\b', '..\\a', '.page.json', 'a\0', 7, null]) {
      expect(isFileName(bad), String(bad)).toBe(false);
    }
  });
});

describe('who keeps the page out', () => {
  test(
    'five hundred silent connections do not',
    async () => {
      const port = Number(new URL(server.origin).port);
      const sockets: Socket[] = [];
      try {
        for (let at = 0; at < 500; at++) {
          const socket = connect(port, '127.0.0.1');
          socket.on('error', () => undefined);
          socket.write('GET / HTTP/1.1\r\n');
          sockets.push(socket);
        }
        await Promise.all(
          sockets.map((socket) =>
            socket.connecting ? new Promise((done) => socket.once('connect', done)) : undefined,
          ),
        );
        const before = performance.now();
        for (let at = 0; at < 5; at++) expect((await ask('GET', '/api/shop')).status).toBe(200);
        expect(performance.now() - before).toBeLessThan(4000);
      } finally {
        for (const socket of sockets) socket.destroy();
      }
    },
    TIME,
  );

  test(
    'nor does a body of three hundred megabytes without a token, of which nothing is kept',
    async () => {
      if (process.platform !== 'linux') return;
      const memory = () =>
        Number(/VmHWM:\s+(\d+)/.exec(readFileSync(`/proc/${server.process.pid}/status`, 'utf8'))![1]);
      const before = memory();
      const part = new Uint8Array(1e6).fill(97);
      for (const length of [undefined, 300e6]) {
        let sent = 0;
        const body = new ReadableStream<Uint8Array>({
          pull(controller) {
            if (++sent > 300) controller.close();
            else controller.enqueue(part);
          },
        });
        const headers = { origin: server.origin, ...(length ? { 'content-length': String(length) } : {}) };
        const init = { method: 'POST', body, headers, duplex: 'half' } as RequestInit;
        const status = await fetch(`${server.origin}/api/enter`, init).then(
          (answer) => answer.status,
          () => 'cut off',
        );
        expect([403, 413, 'cut off']).toContain(status);
      }
      expect(memory() - before).toBeLessThan(150_000);
      expect((await ask('GET', '/api/shop')).status).toBe(200);
    },
    TIME,
  );
});

describe('a shop folder that cannot be written', () => {
  const open = (path: string) =>
    spawnSync(
      process.execPath,
      [resolve('dist', 'tonewright.cjs'), 'open', '--no-launch', '--json', '--shop', path, '--port', '0'],
      { encoding: 'utf8', timeout: 30_000 },
    );

  test(
    'is told of in words, and nothing goes on listening',
    () => {
      const file = join(folder.path, 'a-file');
      writeFileSync(file, 'no folder');
      const full = join(folder.path, 'in-the-way');
      // Where the page keeps its token lies a folder: it cannot be written, whoever asks.
      mkdirSync(join(full, '.page.json'), { recursive: true });
      for (const [path, words] of [
        [file, /a file, not a folder|found a file/],
        [full, /a folder of that name is in the way/],
      ] as const) {
        const { status, stderr, signal } = open(path);
        expect(signal, 'it ends by itself').toBeNull();
        expect(status, stderr).toBe(1);
        expect(stderr).toMatch(words);
        expect(stderr).not.toMatch(/bug|\n\s+at /);
      }
    },
    TIME,
  );
});

test(
  'what was burned is kept as the command keeps it, and the job is made again by its name, byte for byte',
  async () => {
    const id = await openCat();
    await ask('POST', `/api/jobs/${id}/keep`);
    const answer = await ask('POST', `/api/jobs/${id}/burned`, { count: 2, scrap: 1, note: 'a little dark' });
    expect([answer.status, await answer.json()]).toMatchObject([201, { count: 2, scrap: 1 }]);
    const none = await ask('POST', `/api/jobs/${id}/burned`, { count: 0, scrap: 0 });
    expect(none.status).toBe(400);
    const listed = JSON.parse((await runCli(['burned', '--shop', shop, '--json'])).stdout);
    expect(listed.entries).toHaveLength(1);
    expect(listed).toMatchObject(await (await ask('GET', '/api/burned')).json());
    const out = join(folder.path, 'again');
    const { status, stderr } = await runCli(['prepare', '--again', 'cat', '--shop', shop, '--out', out]);
    expect(status, stderr).toBe(0);
    for (const file of ['cat.png', 'cat.proof.png', 'cat.ticket.json', 'cat.ticket.html']) {
      expectSameFile(join(shop, 'jobs', id, 'out', file), join(out, file));
    }

    // With a picture of the piece, and once more on the page.
    const picture = readFileSync('images/photos/cup.png');
    const told = encodeURIComponent(JSON.stringify({ count: 1, scrap: 0 }));
    const sent = await fetch(`${server.origin}/api/jobs/${id}/burned`, {
      method: 'POST',
      headers: { ...keys, 'x-burned': told },
      body: new Uint8Array(picture),
    });
    const { id: entry } = (await sent.json()) as { id: string };
    const shown = await ask('GET', `/api/burned/${entry}/picture`);
    expect(Buffer.from(await shown.arrayBuffer()).equals(picture)).toBe(true);
    expect(readdirSync(join(shop, 'jobs', '.incoming'))).toEqual([]);
    const made = await (await ask('POST', `/api/burned/${entry}/again`, { force: false })).json();
    expect(made).toMatchObject({ changes: [], files: expect.arrayContaining(['cat.png', 'cat.ticket.html']) });
    const file = await ask('GET', `/api/burned/${entry}/files/cat.png`);
    expect(Buffer.from(await file.arrayBuffer()).equals(readFileSync(join(out, 'cat.png')))).toBe(true);
    expect((await ask('GET', `/api/burned/${entry}/files/${encodeURIComponent('../cat.png')}`)).ok).toBe(false);

    // What has changed since is said, and made only when that is asked for.
    await ask('PUT', `/api/jobs/${id}`, { ...PHOTO_SETTINGS, tone: 'plain' });
    await ask('POST', `/api/jobs/${id}/keep`);
    const refused = await ask('POST', `/api/burned/${entry}/again`, { force: false });
    const { error } = (await refused.json()) as { error: { code: string; message: string } };
    expect([error.code, error.message]).toEqual(['job-changed', expect.stringContaining('made anew since')]);
    const forced = await (await ask('POST', `/api/burned/${entry}/again`, { force: true })).json();
    expect((forced as { changes: string[] }).changes).toHaveLength(1);

    const month = listed.entries[0].date.slice(0, 7);
    const table = join(folder.path, 'month.csv');
    await runCli(['burned', '--month', month, '--out', table, '--shop', shop]);
    expect(await (await ask('GET', `/api/burned.csv?month=${month}`)).text()).toBe(readFileSync(table, 'utf8'));
  },
  TIME,
);

test('a warning is put to rest as the command does it', async () => {
  const known = { code: 'profile-assumed', cause: 'anodised-black' };
  expect((await ask('POST', '/api/rested', known)).status).toBe(201);
  const list = async () => JSON.parse((await runCli(['warning', 'list', '--shop', shop, '--json'])).stdout).warnings;
  expect((await list())[0]).toMatchObject({ code: known.code, rested: { causes: ['anodised-black'] } });
  expect(await (await ask('GET', '/api/rested')).json()).toEqual(await list());
  expect((await ask('POST', '/api/rested', { code: 'dose-strong' })).status).toBe(400);
  expect((await ask('DELETE', '/api/rested/profile-assumed')).status).toBe(204);
  expect((await list())[0].rested).toBeNull();
});

test('a machine that the page describes is the file that the command writes', async () => {
  const answers = { title: 'Kiln', like: 'gantry-450', fullPower: '10', powerUnit: '%' };
  const fields = (await (await ask('POST', '/api/forms/machine/fields', { answers })).json()) as { key: string }[];
  expect(fields.map(({ key }) => key)).toContain('topSpeed');
  const kept = await ask('POST', '/api/forms/machine', { answers, replaces: false });
  expect([kept.status, await kept.json()]).toEqual([201, { name: 'kiln' }]);
  const other = join(folder.path, 'by-command');
  const line = 'machine new --title Kiln --like gantry-450 --full-power 10 --power-unit %';
  await runCli([...line.split(' '), '--shop', other]);
  expectSameFile(join(shop, 'machines', 'kiln.json'), join(other, 'machines', 'kiln.json'));
  const shown = (await (await ask('GET', '/api/shop')).json()) as { machines: { name: string }[] };
  expect(shown.machines.map(({ name }) => name)).toContain('kiln');
  expect((await ask('POST', '/api/forms/machine', { answers, replaces: false })).ok).toBe(false);
  expect((await ask('POST', '/api/forms/laser/fields', { answers: {} })).ok).toBe(false);
});
