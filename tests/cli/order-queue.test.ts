import { type ChildProcess, spawn, spawnSync } from 'node:child_process';
import { existsSync, mkdirSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { connect, createServer } from 'node:net';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, afterEach, beforeAll, describe, expect, test, vi } from 'vitest';
import { copyProgram, makePhotos, readFolder, runBuilt, type Started, startBuilt } from './order-sample.ts';
import { useFolder } from './run-cli.ts';

const hasRedis = spawnSync('redis-server', ['--version']).status === 0;
if (!hasRedis) process.stderr.write('redis-server is missing: orders through a queue were not tested\n');
// Many processes, one after the other: on a busy machine that takes its time.
vi.setConfig({ testTimeout: 300_000, hookTimeout: 300_000 });
const folder = useFolder();
const { main, remove } = copyProgram();
afterAll(remove);

/** A server of our own on a port that is free, which keeps what it holds in a folder of its own. */
class Server {
  readonly port: number;
  readonly #folder: string;
  #child: ChildProcess | undefined;

  constructor(port: number, place: string) {
    this.port = port;
    this.#folder = place;
  }

  get url(): string {
    return `redis://127.0.0.1:${this.port}`;
  }

  async start(): Promise<void> {
    const argv = [
      '--port',
      this.port,
      '--bind',
      '127.0.0.1',
      '--dir',
      this.#folder,
      '--appendonly',
      'yes',
      '--save',
      '',
    ];
    for (;;) {
      // Started again where it ended: a client that looks for it may hold its port for a moment, connected to itself.
      if (this.#child === undefined || this.#child.exitCode !== null || this.#child.signalCode !== null) {
        this.#child = spawn('redis-server', argv.map(String), { stdio: 'ignore' });
      }
      if ((await this.say('PING')) === '+PONG') return;
      await new Promise((go) => setTimeout(go, 20));
    }
  }

  /** Ends it as a power cut would. */
  async kill(): Promise<void> {
    if (this.#child!.exitCode !== null || this.#child!.signalCode !== null) return;
    const ended = new Promise((go) => this.#child!.once('exit', go));
    this.#child!.kill('SIGKILL');
    await ended;
  }

  /** Texts of a list that it answers. */
  list(command: string): Promise<readonly string[]> {
    return new Promise((go) => {
      const socket = connect(this.port, '127.0.0.1', () => socket.write(`${command}\r\n`));
      socket.on('data', (data) => {
        socket.end();
        go(
          data
            .toString()
            .split('\r\n')
            .filter((line) => line !== '' && !/^[$*]/.test(line)),
        );
      });
      socket.on('error', () => go([]));
      socket.on('close', () => go([]));
    });
  }

  /** First line of what it answers; undefined where it does not. */
  say(command: string): Promise<string | undefined> {
    return new Promise((go) => {
      const socket = connect(this.port, '127.0.0.1', () => socket.write(`${command}\r\n`));
      socket.on('data', (data) => {
        socket.end();
        go(data.toString().split('\r\n')[0]);
      });
      socket.on('error', () => go(undefined));
      socket.on('close', () => go(undefined));
    });
  }
}

async function findFreePort(): Promise<number> {
  const server = createServer();
  await new Promise<void>((go) => server.listen(0, '127.0.0.1', go));
  const { port } = server.address() as { port: number };
  await new Promise((go) => server.close(go));
  return port;
}

describe.runIf(hasRedis)('an order through a queue', () => {
  const COUNT = 8;
  const OPTIONS = ['--size', '40x30', '--profile', 'anodised-black', '--subject', 'none'];
  const places: string[] = [];
  let photos = '';
  let wanted: Record<string, string> = {};
  let server: Server;
  const started: Started[] = [];

  beforeAll(async () => {
    const place = mkdtempSync(join(tmpdir(), 'tonewright-queue-'));
    places.push(place);
    photos = join(place, 'photos');
    await makePhotos(photos, COUNT);
    writeFileSync(join(photos, 'q-empty.jpg'), '');
    const out = join(place, 'local');
    // The one photo without a byte is the input's fault.
    expect((await runBuilt(main, ['order', photos, ...OPTIONS, '--out', out])).status).toBe(1);
    wanted = readFolder(out);
    const data = join(place, 'data');
    mkdirSync(data);
    server = new Server(await findFreePort(), data);
    await server.start();
  });

  afterEach(async () => {
    for (const { child, ended } of started.splice(0)) {
      child.kill('SIGKILL');
      await ended;
    }
    await server.say('FLUSHALL');
  });

  afterAll(async () => {
    await server?.kill();
    for (const place of places) rmSync(place, { recursive: true, force: true });
  });

  const work = async () => {
    const worker = startBuilt(main, ['worker', '--queue', server.url, '--workers', '1', '--lease', '2']);
    started.push(worker);
    await worker.saw('listening');
    return worker;
  };
  const begin = (out: string) => {
    const run = startBuilt(main, ['order', photos, ...OPTIONS, '--out', out, '--queue', server.url]);
    started.push(run);
    return run;
  };
  const doneIn = (out: string) => {
    const path = join(out, 'order.journal.jsonl');
    const lines = existsSync(path) ? readFileSync(path, 'utf8').split('\n') : [];
    return lines.filter((line) => line.includes('"is":"done"')).length;
  };
  const waitForDone = async (out: string, count: number) => {
    while (doneIn(out) < count) await new Promise((go) => setTimeout(go, 20));
  };
  const check = async (out: string, run: Started, kept = 0) => {
    const { status, stdout, stderr } = await run.ended;
    expect(stderr).not.toMatch(/bug/);
    const counts = /(\d+) made now, (\d+) kept/.exec(stdout)!.slice(1);
    expect([status, counts], stdout).toEqual([1, [`${COUNT - kept}`, `${kept}`]]);
    expect(stdout).toMatch(/q-empty\.jpg +found 0 bytes/);
    expect(readFolder(out)).toEqual(wanted);
  };

  test('leaves the same bytes when a worker is killed and the server is killed and started again', async () => {
    const out = folder();
    const [first] = [await work(), await work()];
    const run = begin(out);
    await first!.saw('made p');
    first!.child.kill('SIGKILL');
    await waitForDone(out, 2);
    await server.kill();
    await new Promise((go) => setTimeout(go, 300));
    await server.start();
    await check(out, run);
  });

  test('leaves the same bytes when the server forgets everything', async () => {
    const out = folder();
    await work();
    const run = begin(out);
    await waitForDone(out, 2);
    await server.say('FLUSHALL');
    await check(out, run);
  });

  test('goes on when the run itself was killed, and needs no piece made again that is done', async () => {
    const out = folder();
    const worker = await work();
    const run = begin(out);
    await waitForDone(out, 3);
    run.child.kill('SIGKILL');
    await run.ended;
    const kept = doneIn(out);
    await check(out, begin(out), kept);
    worker.child.kill('SIGINT');
    const { status, stdout } = await worker.ended;
    expect(status).toBe(0);
    // Each photo was made once, also those that were on their way while nobody waited for them; the empty one never
    // went.
    expect(stdout).toMatch(new RegExp(`^made ${COUNT} pieces, 0 could not be made`));
  });

  test('says when no worker listens', async () => {
    const run = begin(folder());
    await run.saw('no worker of this version');
    run.child.kill('SIGINT');
    const { status, stderr } = await run.ended;
    expect(status).toBe(1);
    expect(stderr).toMatch(/stopped with 0 of 9 pieces done/);
  });

  test('a damaged result, and one of another kind, is sent for again', async () => {
    const out = folder();
    await work();
    const run = begin(out);
    await waitForDone(out, 1);
    // What comes from now on is somebody's nonsense for a while, each result once: a piece that is lost thrice is given
    // up.
    const until = Date.now() + 1500;
    const spoiled = new Set<string>();
    while (Date.now() < until) {
      for (const key of await server.list('KEYS tonewright:result:*')) {
        if (spoiled.has(key)) continue;
        spoiled.add(key);
        if (spoiled.size % 2 === 0) await server.say(`SET ${key} x`);
        else {
          await server.say(`DEL ${key}`);
          await server.say(`LPUSH ${key} x`);
        }
      }
      await new Promise((go) => setTimeout(go, 5));
    }
    await check(out, run);
  });

  test('a server that is gone does not keep Ctrl-C waiting, neither order nor worker', async () => {
    const worker = await work();
    const run = begin(folder());
    await run.saw('pieces');
    await server.kill();
    const begun = Date.now();
    for (const one of [run, worker]) one.child.kill('SIGINT');
    const patience = new Promise<'still there'>((go) => setTimeout(() => go('still there'), 60_000).unref());
    const [ordered, worked] = await Promise.all([run, worker].map(({ ended }) => Promise.race([ended, patience])));
    if (ordered === 'still there' || worked === 'still there') {
      throw new Error(`an order or a worker stays: ${JSON.stringify({ ordered, worked })}`);
    }
    expect(ordered.stderr + worked.stderr).not.toMatch(/bug/);
    expect(ordered.stderr).toMatch(/stopped with/);
    expect([ordered.status, Date.now() - begun < 15_000]).toEqual([1, true]);
    await server.start();
  });

  test('a password that is wrong, or missing, is told as one', async () => {
    await server.say('CONFIG SET requirepass right');
    try {
      for (const url of [server.url, server.url.replace('//', '//:wrong@')]) {
        const { status, stderr } = await runBuilt(main, [
          'order',
          photos,
          ...OPTIONS,
          '--out',
          folder(),
          '--queue',
          url,
        ]);
        expect(stderr).toMatch(/refuses the password/);
        expect(status).toBe(1);
      }
    } finally {
      await server.say('AUTH right\r\nCONFIG SET requirepass ""');
    }
  });
});

test('a server that says nothing is given up after ten seconds, and at once by Ctrl-C', async () => {
  const silent = createServer();
  await new Promise<void>((go) => silent.listen(0, '127.0.0.1', go));
  const { port } = silent.address() as { port: number };
  const photos = folder();
  await makePhotos(photos, 1);
  const argv = [
    'order',
    photos,
    '--size',
    '20x15',
    '--profile',
    'leather-patch',
    '--queue',
    `redis://127.0.0.1:${port}`,
  ];
  try {
    const patient = runBuilt(main, [...argv, '--out', folder()]);
    const hasty = startBuilt(main, [...argv, '--out', folder()]);
    await new Promise<void>((go) => silent.on('connection', () => go()));
    await new Promise((go) => setTimeout(go, 500));
    hasty.child.kill('SIGINT');
    const begun = Date.now();
    const [slow, quick] = [await patient, await hasty.ended];
    for (const { status, stderr } of [slow, quick]) {
      expect(stderr).toMatch(/found no queue at 127\.0\.0\.1/);
      expect(status).toBe(1);
    }
    expect(slow.stderr).toMatch(/does not answer/);
    expect(Date.now() - begun).toBeLessThan(25_000);
  } finally {
    silent.close();
  }
});
