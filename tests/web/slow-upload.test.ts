import { mkdirSync, readdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { afterAll, beforeAll, expect, test } from 'vitest';
import { enter, makeFolder, type PageServer, startPageServer } from './page-server.ts';

const TIME = 120_000;
const folder = makeFolder();
const shop = join(folder.path, 'shop');
const PHOTO = readFileSync('images/photos/cat.png');
let server: PageServer;
let keys: Readonly<Record<string, string>>;

beforeAll(async () => {
  mkdirSync(shop);
  server = await startPageServer(shop);
  keys = await enter(server);
}, TIME);

afterAll(async () => {
  await server?.stop();
  folder.remove();
});

/** A photo on its way: half of it at once, the rest when it is told. */
function sendSlowly(name: string) {
  let goOn: (more: boolean) => void = () => undefined;
  const told = new Promise<boolean>((done) => {
    goOn = done;
  });
  const half = PHOTO.length >> 1;
  const body = new ReadableStream<Uint8Array>({
    async start(controller) {
      controller.enqueue(new Uint8Array(PHOTO.subarray(0, half)));
      if (!(await told)) return controller.error(new Error('the connection is gone'));
      controller.enqueue(new Uint8Array(PHOTO.subarray(half)));
      controller.close();
    },
  });
  const answer = fetch(`${server.origin}/api/jobs`, {
    method: 'POST',
    headers: { ...keys, 'x-file-name': name },
    body,
    duplex: 'half',
  } as RequestInit);
  return { answer, goOn };
}

const listJobs = async () => (await (await fetch(`${server.origin}/api/jobs`, { headers: keys })).json()) as unknown[];

test(
  'slow uploads keep nobody waiting, come whole when they come, and leave nothing when they do not',
  async () => {
    const [late, lost] = [sendSlowly('late.png'), sendSlowly('lost.png')];
    lost.answer.catch(() => undefined);
    // Both hang half way: another photo is taken and everything else is answered.
    const other = await fetch(`${server.origin}/api/jobs`, {
      method: 'POST',
      headers: { ...keys, 'x-file-name': 'other.png' },
      body: new Blob([new Uint8Array(PHOTO)]),
    });
    expect(other.status).toBe(201);
    expect(await listJobs()).toHaveLength(1);

    late.goOn(true);
    expect((await late.answer).status).toBe(201);
    lost.goOn(false);
    await expect(lost.answer).rejects.toThrow();
    await expect.poll(listJobs, { timeout: 20_000 }).toHaveLength(2);
    await expect.poll(() => readdirSync(join(shop, 'jobs', '.incoming')), { timeout: 20_000 }).toEqual([]);
  },
  TIME,
);
