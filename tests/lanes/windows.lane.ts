// What a shop does, with Windows' Node and the packages for Windows, under Wine: the same bytes as on this system, and
// what only Windows has (drives, shares, names of devices, files that another program keeps, letters alike but for
// their case).
import {
  chmodSync,
  copyFileSync,
  mkdirSync,
  mkdtempSync,
  readdirSync,
  readFileSync,
  rmSync,
  writeFileSync,
} from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterAll, beforeAll, describe, expect, test } from 'vitest';
import { installPacked, packBuilt } from '../../packaging/install.ts';
import { enter } from '../web/page-server.ts';
import { BUILT, doRuns, hashFiles, makeWorkplace, type Program, RUNS, type RunName } from './installed.ts';
import { openWine, toWindows, type Wine } from './wine.ts';

const folder = mkdtempSync(join(tmpdir(), 'tonewright-windows-'));
const SMALL = ['--size', '20x15', '--profile', 'leather-patch'];
let wine: Wine;
let main: string;
let windows: Program;

beforeAll(() => {
  wine = openWine();
  main = installPacked(packBuilt(folder), join(folder, 'Program Files'), { os: 'win32', cpu: 'x64' });
  windows = wine.programOf(main);
});
afterAll(() => rmSync(folder, { recursive: true, force: true }));

const newPlace = () => mkdtempSync(join(folder, 'place-'));
const refusalOf = ({ stdout }: { readonly stdout: string }) =>
  JSON.parse(stdout).error as { code: string; message: string };

test('everything that a shop does makes the same bytes', () => {
  const names = Object.keys(RUNS) as RunName[];
  const [here, there] = [makeWorkplace(newPlace()), makeWorkplace(newPlace())];
  expect(doRuns(windows, there, names)).toEqual(doRuns(BUILT, here, names));
});

test('an order that is ended at once, again and again, goes on and leaves the same bytes', async () => {
  const [here, there] = [newPlace(), newPlace()];
  for (const place of [here, there]) {
    mkdirSync(join(place, 'photos'));
    for (let at = 0; at < 6; at++) copyFileSync('images/photos/photographer.png', join(place, 'photos', `p${at}.png`));
  }
  const order = ['order', 'photos', ...SMALL, '--workers', '1', '--out', 'made'];
  const readDone = () => {
    try {
      const lines = readFileSync(join(there, 'made', 'order.journal.jsonl'), 'utf8').split('\n');
      return lines.filter((line) => line.includes('"is":"done"')).length;
    } catch {
      return 0;
    }
  };
  for (const wantedDone of [1, 3]) {
    const run = wine.start([wine.node, toWindows(main), ...order], { cwd: there });
    while (readDone() < wantedDone) {
      expect(run.child.exitCode, run.stderr()).toBeNull();
      await new Promise((go) => setTimeout(go, 20));
    }
    run.child.kill('SIGKILL');
    await run.ended;
    expect(readDone()).toBeLessThan(6);
    expect(readdirSync(join(there, 'made'))).toContain('order.lock');
  }
  expect(windows(order, { cwd: there })).toMatchObject({ status: 0, stdout: expect.stringMatching(/[1-5] kept/) });
  expect(BUILT(order, { cwd: here }).status).toBe(0);
  expect(hashFiles(there)).toEqual(hashFiles(here));
});

describe('paths', () => {
  const long = join(
    ...Array.from({ length: 8 }, (_, at) => `${at} `.padEnd(40, 'lang und länger ')).map((part) => part.trim()),
  );
  const places: Readonly<Record<string, () => { readonly real: string; readonly said: string }>> = {
    'a drive’s letter': () => ({ real: join(wine.driveC, 'shop-drive'), said: 'C:\\shop-drive' }),
    'the letter in lower case, and slashes': () => ({ real: join(wine.driveC, 'shop-slash'), said: 'c:/shop-slash' }),
    'a share': () => {
      const real = newPlace();
      return { real, said: wine.share('workshop', 'orders', real) };
    },
    'spaces and umlauts': () => {
      const real = join(newPlace(), 'Bilder für Jörg & Söhne (1)');
      return { real, said: toWindows(real) };
    },
    'more than 260 letters': () => {
      const real = join(newPlace(), long);
      return { real, said: toWindows(real) };
    },
  };
  let wanted: Readonly<Record<string, string>>;
  beforeAll(() => {
    const place = makeWorkplace(newPlace());
    doRuns(BUILT, place, ['order', 'plates']);
    wanted = hashFiles(place);
  });

  test.each(Object.keys(places))('%s', (name) => {
    const { real, said } = places[name]!();
    rmSync(real, { recursive: true, force: true });
    mkdirSync(real, { recursive: true });
    makeWorkplace(real);
    const [cwd, mark] = [newPlace(), said.includes('/') ? '/' : '\\'];
    const at = (part: string) => `${said}${mark}${part}`;
    const order = windows(['order', at('photos'), ...SMALL, '--out', at('order')], { cwd });
    expect(order, order.stderr).toMatchObject({ status: 0 });
    const plates = windows(['plate', '--jobs', at('order'), '--count', '2', '--out', at('plates')], { cwd });
    expect(plates, plates.stderr).toMatchObject({ status: 0 });
    expect(hashFiles(real)).toEqual(wanted);
    expect(readdirSync(cwd)).toEqual([]);
    rmSync(real, { recursive: true, force: true });
  });
});

describe('names', () => {
  test.each(['aux.png', 'CON', 'lpt1.x\\out', 'card.', 'a \\out'])(
    'a result at %s is refused, and nothing is made',
    (name) => {
      const place = makeWorkplace(newPlace());
      const before = hashFiles(place);
      const made = windows(['order', 'photos', ...SMALL, '--json', '--out', name], { cwd: place });
      expect([made.status, refusalOf(made)]).toEqual([
        1,
        {
          code: 'path-unwritable',
          message: expect.stringContaining('keeps such names'),
          details: expect.anything(),
          hint: expect.any(String),
        },
      ]);
      expect(hashFiles(place)).toEqual(before);
    },
  );

  test('names of a list that are alike but for their case, or belong to a device, come out as here', () => {
    const outcomes = [BUILT, windows].map((program) => {
      const place = makeWorkplace(newPlace());
      const rows = [
        'photo,name',
        'photos/cat.png,Card',
        'photos/cat.png,card',
        'photos/cat.png,CON',
        'photos/cat.png,nul.x',
      ];
      writeFileSync(join(place, 'list.csv'), `${rows.join('\r\n')}\r\n`);
      const { status } = program(['order', 'list.csv', ...SMALL, '--out', 'made'], { cwd: place });
      return [status, hashFiles(place)];
    });
    expect(outcomes[1]).toEqual(outcomes[0]);
    expect(Object.keys(outcomes[0]![1] as object)).toEqual(
      expect.arrayContaining(['made/Card.png', 'made/card-2.png']),
    );
  });

  test('a photo is not written over by its own name in other letters', () => {
    const place = makeWorkplace(newPlace());
    const before = hashFiles(place);
    const argv = [
      'prepare',
      'photos/cat.png',
      '--size',
      '8x6',
      '--profile',
      'leather-patch',
      '--name',
      'CAT',
      '--force',
      '--json',
    ];
    expect(refusalOf(windows([...argv, '--out', 'PHOTOS'], { cwd: place })).code).toBe('result-is-input');
    expect(hashFiles(place)).toEqual(before);
  });

  test('a result of another case is seen', () => {
    const place = makeWorkplace(newPlace());
    const prepare = (...more: readonly string[]) =>
      windows(
        [
          'prepare',
          'photos/cat.png',
          '--size',
          '8x6',
          '--profile',
          'leather-patch',
          '--out',
          'made',
          '--json',
          ...more,
        ],
        { cwd: place },
      );
    expect(prepare().status).toBe(0);
    const before = hashFiles(place);
    expect(refusalOf(prepare('--name', 'Cat')).code).toBe('result-exists');
    expect(hashFiles(place)).toEqual(before);
  });
});

describe('files', () => {
  const prepare = (place: string, ...more: readonly string[]) =>
    windows(
      ['prepare', 'photos/cat.png', '--size', '8x6', '--profile', 'leather-patch', '--out', 'made', '--json', ...more],
      { cwd: place },
    );

  test('read-only photos are read, read-only results are replaced with --force', () => {
    const place = makeWorkplace(newPlace());
    chmodSync(join(place, 'photos', 'cat.png'), 0o444);
    expect(prepare(place).status).toBe(0);
    const before = hashFiles(place);
    for (const name of readdirSync(join(place, 'made'))) chmodSync(join(place, 'made', name), 0o444);
    expect(prepare(place, '--force').status).toBe(0);
    expect(hashFiles(place)).toEqual(before);
  });

  test('a result that another program keeps open stays whole, and the message says so; later it is replaced', async () => {
    const place = makeWorkplace(newPlace());
    expect(prepare(place).status).toBe(0);
    const before = hashFiles(place);
    const flag = join(place, 'flag');
    writeFileSync(flag, '');
    const holder = wine.start([wine.compile('hold-file'), 'made\\cat.proof.png', 'flag'], { cwd: place });
    while (!readdirSync(place).includes('flag.held')) {
      expect(holder.child.exitCode).toBeNull();
      await new Promise((go) => setTimeout(go, 20));
    }
    const held = prepare(place, '--force', '--pitch', '0.1', '--spacing', '0.1');
    expect([held.status, refusalOf(held)]).toMatchObject([
      1,
      { code: 'path-unwritable', message: expect.stringContaining('another program has the file open') },
    ]);
    rmSync(`${flag}.held`);
    await holder.ended;
    expect(hashFiles(place)).toEqual(before);
    expect(prepare(place, '--force', '--pitch', '0.1', '--spacing', '0.1').status).toBe(0);
    expect(hashFiles(place)).not.toEqual(before);
  });

  test('lines may end as Windows ends them: lists, records, prices, readings of a stopwatch', () => {
    const toCrLf = (text: string) => `\uFEFF${text.replaceAll('\n', '\r\n')}`;
    const outcomes = [(text: string) => text, toCrLf].map((write) => {
      const place = makeWorkplace(newPlace());
      writeFileSync(join(place, 'list.csv'), write('photo,size,text\nphotos/cat.png,20x15,"two\nlines"\n'));
      for (const [from, to] of [
        ['shared/shop/profiles/leather-patch.json', 'own.json'],
        ['shared/shop/prices.json', 'prices.json'],
      ] as const) {
        writeFileSync(join(place, to), write(readFileSync(from, 'utf8')));
      }
      const order = windows(
        ['order', 'list.csv', '--profile', 'own.json', '--prices', 'prices.json', '--out', 'made'],
        { cwd: place },
      );
      expect(order, order.stderr).toMatchObject({ status: 0 });
      return Object.fromEntries(
        Object.entries(hashFiles(join(place, 'made'))).filter(([name]) => /\.(png|csv)$/.test(name)),
      );
    });
    expect(outcomes[1]).toEqual(outcomes[0]);
  });
});

test('the page answers: a photo is taken, looked at and kept with the bytes of the command', async () => {
  const [place, here] = [newPlace(), makeWorkplace(newPlace())];
  mkdirSync(join(place, 'Meine Werkstatt'));
  const argv = ['open', '--no-launch', '--json', '--shop', 'Meine Werkstatt'];
  const server = wine.start([wine.node, toWindows(main), ...argv], { cwd: place });
  const readUrl = () => /"url": "([^"]+)"/.exec(server.stdout())?.[1];
  while (readUrl() === undefined) {
    expect(server.child.exitCode, server.stderr()).toBeNull();
    await new Promise((go) => setTimeout(go, 50));
  }
  try {
    const { origin, hash } = new URL(readUrl()!);
    const headers = await enter({ origin, token: hash.slice(1) });
    const ask = async (method: string, path: string, { body, head = {} }: { body?: BodyInit; head?: object } = {}) => {
      const answer = await fetch(`${origin}${path}`, {
        method,
        headers: { ...headers, ...head },
        ...(body ? { body } : {}),
      });
      expect(answer.ok, `${method} ${path} gave ${answer.status}`).toBe(true);
      return answer;
    };
    expect((await (await ask('GET', '/api/shop')).json()).folder).toBe('Meine Werkstatt');
    const wish = {
      ...{ widthMm: 20, heightMm: 15, cornerRadiusMm: 0, machine: 'galvo-355-f210', profile: 'anodised-black' },
      ...{ fit: 'cover', safeMarginMm: 0, tone: 'auto', toneValues: {}, range: 'scale' },
    };
    const head = { 'x-file-name': 'cat.png', 'x-wish': encodeURIComponent(JSON.stringify(wish)) };
    const photo = new Blob([readFileSync('images/photos/cat.png')]);
    const { id } = await (await ask('POST', '/api/jobs', { body: photo, head })).json();
    const { files } = await (await ask('POST', `/api/jobs/${id}/keep`)).json();
    BUILT(
      [
        'prepare',
        'photos/cat.png',
        '--size',
        '20x15',
        '--corner',
        '0',
        '--margin',
        '0',
        '--machine',
        'galvo-355-f210',
        '--profile',
        'anodised-black',
        '--out',
        'made',
      ],
      { cwd: here },
    );
    expect([...files].sort()).toEqual(readdirSync(join(here, 'made')).sort());
    for (const file of files) {
      const bytes = Buffer.from(await (await ask('GET', `/api/jobs/${id}/files/${file}`)).arrayBuffer());
      expect(bytes.equals(readFileSync(join(here, 'made', file))), file).toBe(true);
    }
    await ask('DELETE', `/api/jobs/${id}`);
    expect((await (await ask('GET', '/api/start')).json()).jobs).toEqual([]);
  } finally {
    server.child.kill('SIGKILL');
    await server.ended;
  }
});
