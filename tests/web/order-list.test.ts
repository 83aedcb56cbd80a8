import { mkdirSync, readdirSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { setTimeout as wait } from 'node:timers/promises';
import { afterAll, beforeAll, expect, test } from 'vitest';
import type { OrderView, PhotoSettings } from '../../src/web/protocol.ts';
import { makePhotos } from '../cli/order-sample.ts';
import { expectSameFolder } from '../same-bytes.ts';
import { enter, makeFolder, type PageServer, runCommand, startPageServer } from './page-server.ts';

const TIME = 300_000;
const folder = makeFolder();
const shop = join(folder.path, 'shop');
const photos = join(folder.path, 'photos');
let server: PageServer;
let headers: Readonly<Record<string, string>>;

const PHOTO_SETTINGS: PhotoSettings = {
  widthMm: 20,
  heightMm: 15,
  cornerRadiusMm: 0,
  machine: 'gantry-450',
  profile: 'leather-patch',
  fit: 'cover',
  safeMarginMm: 0,
  tone: 'auto',
  toneValues: {},
  range: 'scale',
};

beforeAll(async () => {
  mkdirSync(shop);
  await makePhotos(photos, 6);
  server = await startPageServer(shop);
  headers = await enter(server);
}, TIME);

afterAll(async () => {
  await server?.stop();
  folder.remove();
});

async function ask(method: string, path: string, body?: unknown, more: Record<string, string> = {}) {
  const answer = await fetch(`${server.origin}/api/orders${path}`, {
    method,
    headers: { ...headers, ...(body === undefined ? {} : { 'content-type': 'application/json' }), ...more },
    ...(body === undefined
      ? {}
      : { body: typeof body === 'object' && !Buffer.isBuffer(body) ? JSON.stringify(body) : body }),
  } as RequestInit);
  return { status: answer.status, json: (await answer.json()) as OrderView & { error?: { message: string } } };
}
const create = async (title: string, count: number) => {
  const { json } = await ask('POST', '', { title, wish: PHOTO_SETTINGS });
  for (let i = 0; i < count; i++) await drop(json.id, `p${i}.jpg`);
  return json.id;
};
const drop = (id: string, name: string) =>
  ask('POST', `/${id}/photos`, readFileSync(join(photos, name)), {
    'content-type': 'application/octet-stream',
    'x-file-name': encodeURIComponent(name),
  });
const sendList = (id: string, text: string) => ask('POST', `/${id}/list`, text, { 'content-type': 'text/csv' });
const get = async (id: string) => (await ask('GET', `/${id}`)).json;
const finish = async (id: string) => {
  for (;;) {
    const order = await get(id);
    if (!order.running) return order;
    await wait(50);
  }
};
test(
  'a list through the page makes what the command makes of it, byte for byte, sums included',
  async () => {
    const text =
      'photo;name;size;count;text;keep;screen;lines per cm;raster;material;machine;blank;strip;format\n' +
      'p1.jpg;;;3;For Ann;0.2,0.8;;;yes;;;customer;yes;\n' +
      'p0.jpg;;ID-1;5;;;;;;;;;;\n' +
      'p1.jpg;coaster;20x20;;Second;;;;;;;;;tiff\n' +
      'p2.jpg;slate one;15x15;;;;clustered-dot;20;;slate;gantry-450;;;\n' +
      'p0.jpg;;;2.5;;;;;;;;;;\n' +
      'p3.jpg;;900x900;;;;;;;;;;;\n';
    const id = await create('list', 4);
    const { status, json } = await sendList(id, text);
    expect(status).toBe(200);
    expect(json.pieces.map(({ photo, count, status: state }) => [photo, count, state])).toEqual([
      ['p1.jpg', 3, 'waiting'],
      ['p0.jpg', 5, 'waiting'],
      ['p1.jpg', 1, 'waiting'],
      ['p2.jpg', 1, 'waiting'],
      ['p0.jpg', 1, 'failed'],
      ['p3.jpg', 1, 'failed'],
    ]);
    expect(json.pieces[4]!.reason).toMatch(/list: line 6, column 4 \("count"\): found "2\.5"/);
    expect(json.pieces[5]!.reason).toMatch(/list: line 7, column 3 \("size"\): found a size of 900/);
    await ask('POST', `/${id}/run`);
    const order = await finish(id);
    expect(order.totals).toMatchObject({ pieces: 4, failed: 2, copies: 10 });

    writeFileSync(join(photos, 'list'), text);
    const out = join(folder.path, 'by-command');
    const argv = ['order', join(photos, 'list'), '--size', '20x15', '--corner', '0', '--margin', '0', '--fit', 'cover'];
    await runCommand(
      folder.path,
      ...[...argv, '--profile', 'leather-patch', '--machine', 'gantry-450', '--tone', 'auto', '--range', 'scale'],
      ...['--shop', shop, '--title', 'list', '--out', out],
    ).catch(({ code }) => expect(code).toBe(1));
    expectSameFolder(join(shop, 'orders', id, 'out'), out);
    expect(readdirSync(out)).toContain('p1.strip.json');
  },
  TIME,
);

test(
  'a list in the letters of an older Windows reads as the command reads it, and says that it guessed',
  async () => {
    const id = await create('letters', 1);
    const text = 'photo;text;size;margin\np0.jpg;Für Zoë;10,5x8;0,5\n';
    const { json } = await ask('POST', `/${id}/list`, Buffer.from(text, 'latin1'), { 'content-type': 'text/csv' });
    expect(json.pieces.map((piece) => [piece.text, piece.own.widthMm, piece.status])).toEqual([
      ['Für Zoë', 10.5, 'waiting'],
    ]);
    expect(json).toMatchObject({ notes: [expect.stringMatching(/^list: .* read as Windows-1252/)] });
    expect((await sendList(id, text)).json).toMatchObject({ notes: [] });
  },
  TIME,
);

test(
  'a list is taken whole or not at all, its faults stand on cards, and a photo that comes later fills its card',
  async () => {
    const id = await create('faults', 1);
    const before = await get(id);
    const refused = await sendList(id, 'photo,sise\np0.jpg,9\n');
    expect([refused.status, refused.json.error?.message]).toEqual([
      422,
      expect.stringMatching(/unknown column "sise"/),
    ]);
    expect((await get(id)).pieces).toEqual(before.pieces);

    const { json } = await sendList(id, 'photo,count,spacing\nin/p0.jpg,2,\np5.jpg,,\n,,\np0.jpg,,-3\n ,4,\n');
    expect(json.pieces.map(({ photo, missing, status }) => [photo, missing, status])).toEqual([
      ['p0.jpg', false, 'waiting'],
      ['p5.jpg', true, 'failed'],
      ['p0.jpg', false, 'failed'],
      ['line-6', true, 'failed'],
    ]);
    expect(json.pieces.map(({ reason }) => reason ?? '').join('\n')).toMatch(
      /line 3: found no photo "p5\.jpg"[\s\S]*line 5, column 3 \("spacing"\)[\s\S]*line 6: found no photo/,
    );
    const { json: filled } = await drop(id, 'p5.jpg');
    expect(filled.pieces[1]).toMatchObject({ photo: 'p5.jpg', missing: false, status: 'waiting', width: 240 });
    // A better list takes the place of the first: the second card of p0 and the empty line are gone.
    const { json: mended } = await sendList(id, 'photo,count\np5.jpg,3\np0.jpg,\n');
    expect(mended.pieces.map(({ photo, count, status }) => [photo, count, status])).toEqual([
      ['p5.jpg', 3, 'waiting'],
      ['p0.jpg', 1, 'waiting'],
    ]);
  },
  TIME,
);

test(
  'an order makes what was asked when it began; what is asked meanwhile is changed, and sums and archive wait for it',
  async () => {
    const id = await create('wish', 6);
    await ask('POST', `/${id}/run`);
    while ((await get(id)).pieces.every(({ status }) => status === 'making')) await wait(20);
    const other = { ...PHOTO_SETTINGS, widthMm: 24 };
    expect((await ask('PUT', `/${id}`, other)).status).toBe(200);
    const changed = await finish(id);
    expect(changed.pieces.map(({ status }) => status)).toEqual(Array(6).fill('changed'));
    expect([changed.totals, changed.plates]).toEqual([null, []]);
    for (const [method, path] of [
      ['GET', 'all.zip'],
      ['POST', 'plates'],
    ] as const) {
      const { status, json } = await ask(method, `/${id}/${path}`, method === 'POST' ? {} : undefined);
      expect([status, json.error?.message]).toEqual([400, expect.stringMatching(/not made yet as they are asked/)]);
    }
    // Asking for the old again finds it made; asking for the new makes it.
    expect((await ask('PUT', `/${id}`, PHOTO_SETTINGS)).json).toMatchObject({ totals: { pieces: 6 } });
    await ask('PUT', `/${id}`, other);
    await ask('POST', `/${id}/run`);
    const done = await finish(id);
    expect(done.pieces.map(({ status, reason }) => [status, reason])).toEqual(Array(6).fill(['done', null]));
    const ticket = JSON.parse(readFileSync(join(shop, 'orders', id, 'out', 'p3.ticket.json'), 'utf8'));
    expect(ticket.piece.widthMm).toBeCloseTo(24, 0);
  },
  TIME,
);

test(
  'a piece left out, or a text changed, while the order is made is not in sums that are shown',
  async () => {
    const id = await create('left out', 3);
    const [first, second, third] = (await get(id)).pieces;
    await ask('POST', `/${id}/run`);
    await ask('PUT', `/${id}/pieces/${third!.id}`, { excluded: true });
    await ask('PUT', `/${id}/pieces/${second!.id}`, { text: 'For Bo' });
    const after = await finish(id);
    expect(after.totals).toBeNull();
    expect(after.pieces.map(({ status }) => status)).toEqual(['done', 'changed', 'done']);
    await ask('POST', `/${id}/run`);
    const again = await finish(id);
    expect(again.totals).toMatchObject({ pieces: 2, copies: 2 });
    const { pieces } = JSON.parse(readFileSync(join(shop, 'orders', id, 'out', 'order.json'), 'utf8'));
    expect(pieces.map(({ photo, text }: { photo: string; text: string }) => [photo, text])).toEqual([
      ['p0.jpg', null],
      ['p1.jpg', 'For Bo'],
    ]);
    expect(readdirSync(join(shop, 'orders', id, 'out')).filter((name) => name.startsWith('p2'))).toEqual([]);
    // More copies need no piece made again, but other sums.
    const { json } = await ask('PUT', `/${id}/pieces/${first!.id}`, { count: 7 });
    expect([json.totals, json.pieces[0]!.status]).toEqual([null, 'done']);
  },
  TIME,
);

test(
  'what was made of a card that is no longer in the order goes with the next run',
  async () => {
    const id = await create('dropped', 2);
    await sendList(id, 'photo,count,size\np0.jpg,1,\np0.jpg,1,10x8\np1.jpg,1,\n');
    await ask('POST', `/${id}/run`);
    const made = await finish(id);
    expect(made.pieces.map(({ name, status }) => [name, status])).toEqual([
      ['p0', 'done'],
      ['p0-2', 'done'],
      ['p1', 'done'],
    ]);
    await ask('PUT', `/${id}/pieces/${made.pieces[2]!.id}`, { excluded: true });
    await sendList(id, 'photo,count\np0.jpg,2\n');
    await ask('POST', `/${id}/run`);
    const after = await finish(id);
    expect(after.pieces.map(({ name, status, excluded }) => [name, status, excluded])).toEqual([
      ['p0', 'done', false],
      ['p1', 'waiting', true],
    ]);
    const names = readdirSync(join(shop, 'orders', id, 'out')).filter((name) => name.startsWith('p'));
    expect(names).toEqual(['p0.png', 'p0.proof.png', 'p0.ticket.html', 'p0.ticket.json']);
  },
  TIME,
);

test(
  'an archive is whole or refused: what somebody took away is named, can be made again, and stops nobody else',
  async () => {
    const id = await create('archive', 2);
    await ask('POST', `/${id}/run`);
    await finish(id);
    expect(
      (await ask('POST', `/${id}/plates`, { grid: { columns: 2, rows: 1, widthMm: 20, heightMm: 15 } })).status,
    ).toBe(200);
    const zip = async () => {
      const answer = await fetch(`${server.origin}/api/orders/${id}/all.zip`, { headers });
      const bytes = Buffer.from(await answer.arrayBuffer());
      return { status: answer.status, text: bytes.toString('latin1') };
    };
    const whole = await zip();
    expect(whole.status).toBe(200);
    rmSync(join(shop, 'orders', id, 'plates'), { recursive: true });
    expect(await zip()).toEqual({ status: 404, text: expect.stringMatching(/found no plates\/.* any more/) });
    expect((await get(id)).plates).toEqual([]);
    expect((await zip()).status).toBe(200);
    rmSync(join(shop, 'orders', id, 'out', 'p1.png'));
    const file = await fetch(`${server.origin}/api/orders/${id}/files/p1.png`, { headers });
    expect([file.status, await file.text()]).toEqual([404, expect.stringMatching(/found no p1\.png .* any more/)]);
    expect(await zip()).toEqual({ status: 404, text: expect.stringMatching(/found no p1\.png .* any more/) });
    expect((await get(id)).totals).toBeNull();
    await ask('POST', `/${id}/run`);
    expect((await finish(id)).totals).toMatchObject({ pieces: 2, failed: 0 });
    expect((await zip()).status).toBe(200);
  },
  TIME,
);
