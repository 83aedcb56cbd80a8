import { mkdirSync, readdirSync, readFileSync, statSync } from 'node:fs';
import { request } from 'node:http';
import { connect } from 'node:net';
import { join } from 'node:path';
import { deflateSync } from 'node:zlib';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { createSessions } from '../../src/web/server-sessions.ts';
import { enter, makeFolder, type PageServer, startPageServer } from './page-server.ts';

const folder = makeFolder();
const shop = join(folder.path, 'shop');
let server: PageServer;
let keys: Readonly<Record<string, string>>;

beforeAll(async () => {
  mkdirSync(shop);
  server = await startPageServer(shop);
  keys = await enter(server);
});

afterAll(async () => {
  await server?.stop();
  folder.remove();
});

/** A request with headers that `fetch` would not let pass. */
function ask(path: string, headers: Readonly<Record<string, string>>, { method = 'GET', body = '' } = {}) {
  const { port } = new URL(server.origin);
  return new Promise<{ status: number; body: string; headers: Record<string, unknown> }>((done, fail) => {
    const asked = request({ host: '127.0.0.1', port, path, method, headers }, (answer) => {
      let text = '';
      answer.on('data', (data) => {
        text += data;
      });
      answer.on('end', () => done({ status: answer.statusCode!, body: text, headers: answer.headers }));
    });
    asked.on('error', fail);
    asked.end(body);
  });
}

const alive = async () => (await fetch(`${server.origin}/api/shop`, { headers: keys })).status;

describe('who may ask', () => {
  test('a name that points at this computer is not this server', async () => {
    const { port } = new URL(server.origin);
    for (const host of ['evil.example', `evil.example:${port}`, '127.0.0.1', `127.0.0.1:${Number(port) + 1}`]) {
      const { status, body } = await ask('/api/shop', { ...keys, host });
      expect(status, host).toBe(403);
      expect(body).toContain('request-refused');
    }
  });

  test('another origin is refused, and so is a change without one', async () => {
    const { host } = new URL(server.origin);
    for (const origin of ['http://evil.example', 'null', server.origin.replace('http', 'https')]) {
      expect((await ask('/api/jobs', { ...keys, host, origin })).status, origin).toBe(403);
    }
    const { cookie } = keys as { cookie: string };
    expect((await ask('/api/jobs/0123456789abcdef', { cookie, host }, { method: 'DELETE' })).status).toBe(403);
    expect((await ask('/api/shop', { cookie, host, 'sec-fetch-site': 'cross-site' })).status).toBe(403);
  });

  test('without the token nothing of the shop is told, and a wrong one gives no cookie', async () => {
    for (const path of ['/api/shop', '/api/jobs', '/api/events', '/api/orders', '/api/charts']) {
      expect((await fetch(server.origin + path)).status, path).toBe(403);
    }
    const wrong = await fetch(`${server.origin}/api/enter`, {
      method: 'POST',
      body: 'f'.repeat(48),
      headers: { origin: server.origin },
    });
    expect(wrong.status).toBe(403);
    expect(wrong.headers.get('set-cookie')).toBeNull();
  });

  test('the cookie is out of reach for scripts and for other sites', async () => {
    const answer = await fetch(`${server.origin}/api/enter`, {
      method: 'POST',
      body: server.token,
      headers: { origin: server.origin },
    });
    expect(answer.headers.get('set-cookie')).toMatch(/HttpOnly/);
    expect(answer.headers.get('set-cookie')).toMatch(/SameSite=Strict/);
    expect(server.token).toMatch(/^[0-9a-f]{48}$/);
  });

  test('only the owner of the shop folder can read the key', () => {
    const path = join(shop, '.page.json');
    expect(JSON.parse(readFileSync(path, 'utf8')).key).toMatch(/^[0-9a-f]{48}$/);
    if (process.platform !== 'win32') expect(statSync(path).mode & 0o077).toBe(0);
  });

  test('a session lasts a month from its last use, is renewed after a day, and cannot be made up', async () => {
    const { key } = JSON.parse(readFileSync(join(shop, '.page.json'), 'utf8')) as { key: string };
    const name = (keys as { cookie: string }).cookie.split('=')[0]!;
    const DAY_S = 24 * 3600;
    const show = (value: string) => fetch(`${server.origin}/api/shop`, { headers: { cookie: `${name}=${value}` } });
    const of = (days: number, secret = key) => createSessions(secret, () => Date.now() - 1000 * DAY_S * days).issue();
    for (const [days, status, renewed] of [
      [0.9, 200, false],
      [1.1, 200, true],
      [29.9, 200, true],
      [30.1, 403, false],
      [-1, 403, false],
    ] as const) {
      const answer = await show(of(days));
      const given = answer.headers.get('set-cookie') ?? '';
      expect([days, answer.status, /^tonewright-\d+=\d+\.[0-9a-f]{64}; Max-Age=2592000;/.test(given)]).toEqual([
        days,
        status,
        renewed,
      ]);
      if (renewed) expect((await show(given.split(/[=;]/)[1]!)).status).toBe(200);
    }
    const later = of(0).replace(/^\d+/, (since) => String(Number(since) + 1));
    for (const forged of [
      '',
      key,
      server.token,
      later,
      of(0, 'f'.repeat(48)),
      `${of(0)}0`,
      `${'9'.repeat(400)}.${'0'.repeat(64)}`,
    ]) {
      expect((await show(forged)).status, forged).toBe(403);
    }
  });

  test('every answer carries a policy that lets nothing in from elsewhere', async () => {
    for (const path of ['/', '/page.js', '/api/shop', '/nothing']) {
      const { headers } = await fetch(server.origin + path, { headers: keys });
      expect(headers.get('content-security-policy'), path).toMatch(/default-src 'none'/);
      expect(headers.get('content-security-policy'), path).not.toMatch(/unsafe|\*/);
      expect(headers.get('x-content-type-options'), path).toBe('nosniff');
      expect(headers.get('referrer-policy'), path).toBe('no-referrer');
    }
  });

  test('it listens on the loopback interface and nowhere else', async () => {
    const { networkInterfaces } = await import('node:os');
    const others = Object.values(networkInterfaces())
      .flatMap((list) => list ?? [])
      .filter(({ internal, family }) => !internal && family === 'IPv4');
    for (const { address } of others) {
      const reached = await new Promise<boolean>((done) => {
        const socket = connect({ host: address, port: Number(new URL(server.origin).port), timeout: 2000 });
        socket.once('connect', () => done(true));
        for (const event of ['error', 'timeout']) socket.once(event, () => done(false));
        socket.once('connect', () => socket.destroy());
      });
      expect(reached, address).toBe(false);
    }
  });
});

describe('from one start to the next', () => {
  test('a session goes on, an address does not; and all browsers can be forgotten', async () => {
    const own = makeFolder();
    const first = await startPageServer(own.path);
    const { cookie } = (await enter(first)) as { cookie: string };
    await first.stop();
    const look = async ({ origin }: PageServer) => (await fetch(`${origin}/api/shop`, { headers: { cookie } })).status;
    const second = await startPageServer(own.path);
    expect(second.origin).toBe(first.origin);
    expect(await look(second)).toBe(200);
    await expect(enter({ ...second, token: first.token })).rejects.toThrow('403');
    await enter(second);
    await second.stop();
    const third = await startPageServer(own.path, { options: ['--forget-browsers'] });
    expect(third.origin).toBe(first.origin);
    expect(await look(third)).toBe(403);
    await enter(third);
    await third.stop();
    own.remove();
  });
});

describe('paths', () => {
  const { host } = { host: () => new URL(server.origin).host };
  test.each([
    '/../package.json',
    '/..%2f..%2fetc%2fpasswd',
    '/%2e%2e/%2e%2e/etc/passwd',
    '/api/jobs/../../.page.json',
    '/api/jobs/..%2f..%2f.page.json/photo',
    '/api/jobs/0123456789abcdef/files/..%2f..%2f..%2f.page.json',
    '/api/charts/..%2f..%2f/chart.json',
    '/api/charts/0123456789/..%2f.page.json',
    '/api/readings/..%2f..%2f/report.html',
    '/api/captures/..%2f..%2f/view',
    '/api/orders/..%2f..%2f/files/order.json',
    '/api/orders/0123456789abcdef/files/..%2forder-page.json',
    '/api/samples/..%2f..%2fpackage',
    '/api/profiles/..%2f..%2f.page',
    '/api/compare/..%2fa/..%2fb',
  ])('%s gives nothing away', async (path) => {
    const { status, body } = await ask(path, { ...keys, host: host() });
    expect(status).toBeGreaterThanOrEqual(400);
    expect(status).toBeLessThan(500);
    expect(body).not.toContain(server.token);
    expect(body).not.toContain('root:');
  });

  test('what a photo is called never becomes a path', async () => {
    const photo = readFileSync('images/photos/cat.png');
    const answer = await fetch(`${server.origin}/api/jobs`, {
      method: 'POST',
      body: photo,
      headers: {
        ...keys,
        'x-file-name': encodeURIComponent('../../../../evil/../.page.json.png'),
        'x-wish': encodeURIComponent(JSON.stringify(PHOTO_SETTINGS)),
      },
    });
    expect(answer.status).toBe(201);
    const { id, name } = (await answer.json()) as { id: string; name: string };
    expect(name).not.toMatch(/[\\/]|^\./);
    expect(readdirSync(join(shop, 'jobs', id)).sort()).toEqual(['job.json', 'photo.png', 'view.jpg']);
  });
});

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

describe('bodies', () => {
  const send = (body: BodyInit, name: string, more: Readonly<Record<string, string>> = {}) =>
    fetch(`${server.origin}/api/jobs`, {
      method: 'POST',
      body,
      headers: {
        ...keys,
        'x-file-name': encodeURIComponent(name),
        'x-wish': encodeURIComponent(JSON.stringify(PHOTO_SETTINGS)),
        ...more,
      },
    });
  const nothingLeft = () => {
    const incoming = join(shop, 'jobs', '.incoming');
    return readdirSync(incoming).length;
  };

  test('a text file called .jpg is told to be none', async () => {
    const answer = await send('This is a shopping list, no picture.', 'list.jpg');
    expect(answer.status).toBe(415);
    expect(await answer.json()).toMatchObject({
      error: { code: 'image-unknown', hint: expect.stringMatching(/JPEG/) },
    });
    expect(nothingLeft()).toBe(0);
  });

  test('a photo that ends half way is told to be broken', async () => {
    const photo = readFileSync('images/photos/raccoon.jpg');
    const answer = await send(photo.subarray(0, photo.length / 2), 'raccoon.jpg');
    expect(answer.status).toBe(422);
    expect(await answer.json()).toMatchObject({ error: { code: 'image-broken' } });
    expect(nothingLeft()).toBe(0);
  });

  test('a file that says it is too large is refused before it is sent', async () => {
    const { port, host } = new URL(server.origin);
    const { status, connection } = await new Promise<{ status: number | undefined; connection: string | undefined }>(
      (done) => {
        const asked = request({
          host: '127.0.0.1',
          port,
          path: '/api/jobs',
          method: 'POST',
          headers: {
            ...keys,
            host,
            'content-length': '900000000',
            'x-file-name': 'large.jpg',
            'x-wish': encodeURIComponent(JSON.stringify(PHOTO_SETTINGS)),
          },
        });
        asked.on('response', (answer) => {
          done({ status: answer.statusCode, connection: answer.headers.connection });
          asked.destroy();
        });
        asked.on('error', () => undefined);
        asked.write('x');
      },
    );
    expect(status).toBe(413);
    // What is left of the file is in the way of the next request, which would be lost with this connection.
    expect(connection).toBe('close');
    expect(await alive()).toBe(200);
  });

  test('a connection that breaks leaves nothing behind', async () => {
    const { port, host } = new URL(server.origin);
    await new Promise<void>((done) => {
      const asked = request({
        host: '127.0.0.1',
        port,
        path: '/api/jobs',
        method: 'POST',
        headers: {
          ...keys,
          host,
          'content-length': '1000000',
          'x-file-name': 'cut.jpg',
          'x-wish': encodeURIComponent(JSON.stringify(PHOTO_SETTINGS)),
        },
      });
      asked.on('error', () => undefined);
      asked.on('close', () => done());
      asked.write(Buffer.alloc(300_000));
      setTimeout(() => asked.destroy(), 300);
    });
    await expect.poll(nothingLeft, { timeout: 10_000 }).toBe(0);
    expect(await alive()).toBe(200);
  });

  test('a picture that unpacks to a billion pixels is refused from its header, and the memory stays small', async () => {
    const before = residentMb();
    for (const side of [32_000, 16_000, 12_000]) {
      const answer = await send(blankPng(side, side), 'bomb.png');
      expect(answer.status, String(side)).toBe(413);
      expect(await answer.json()).toMatchObject({ error: { code: 'image-too-large' } });
    }
    expect(residentMb() - before).toBeLessThan(300);
    expect(await alive()).toBe(200);
  });

  test('broken, huge and hostile JSON is refused with a reason', async () => {
    const { id } = (await (await send(readFileSync('images/photos/cat.png'), 'cat.png')).json()) as { id: string };
    const put = (body: string) =>
      fetch(`${server.origin}/api/jobs/${id}`, {
        method: 'PUT',
        body,
        headers: { ...keys, 'content-type': 'text/plain' },
      });
    expect((await put('{')).status).toBe(400);
    expect((await put('x'.repeat(200_000))).status).toBe(413);
    for (const wrong of [
      { widthMm: -5 },
      { widthMm: '30' },
      { machine: '../../machines/galvo-355-f210.json' },
      { profile: '/etc/passwd' },
      { toneValues: { contrast: 1e9 } },
      { toneValues: { unheardOf: 1 } },
      { surprise: true },
    ]) {
      const answer = await put(JSON.stringify({ ...PHOTO_SETTINGS, ...wrong }));
      expect(answer.status, JSON.stringify(wrong)).toBe(400);
      expect(await answer.json()).toMatchObject({ error: { code: 'option-invalid' } });
    }
    expect(await alive()).toBe(200);
  });

  /** Of the server's whole process. */
  function residentMb(): number {
    if (process.platform !== 'linux') return 0;
    return Number(/VmRSS:\s+(\d+)/.exec(readFileSync(`/proc/${server.process.pid}/status`, 'utf8'))![1]) / 1024;
  }
});

/** A white 1-bit PNG of any size in a few kilobytes. */
function blankPng(width: number, height: number): Buffer<ArrayBuffer> {
  const chunk = (type: string, data: Buffer) => {
    const head = Buffer.alloc(8);
    head.writeUInt32BE(data.length);
    head.write(type, 4, 'latin1');
    const end = Buffer.alloc(4);
    end.writeUInt32BE(crc32(Buffer.concat([head.subarray(4), data])));
    return Buffer.concat([head, data, end]);
  };
  const header = Buffer.alloc(13);
  header.writeUInt32BE(width);
  header.writeUInt32BE(height, 4);
  header[8] = 1;
  const rows = deflateSync(Buffer.alloc((1 + Math.ceil(width / 8)) * height, 0));
  const signature = Buffer.from([137, 80, 78, 71, 13, 10, 26, 10]);
  return Buffer.concat([signature, chunk('IHDR', header), chunk('IDAT', rows), chunk('IEND', Buffer.alloc(0))]);
}

function crc32(bytes: Buffer): number {
  let crc = ~0;
  for (const byte of bytes) {
    crc ^= byte;
    for (let bit = 0; bit < 8; bit++) crc = (crc >>> 1) ^ (0xedb88320 & -(crc & 1));
  }
  return ~crc >>> 0;
}
