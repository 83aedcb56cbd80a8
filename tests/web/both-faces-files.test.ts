import { cpSync, mkdirSync, mkdtempSync, readFileSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join, resolve } from 'node:path';
import { afterAll, beforeAll, expect, test } from 'vitest';
import { decodeDots, sha256 } from '../../src/plane/index.ts';
import { runCli } from '../cli/run-cli.ts';
import { expectSameFolder } from '../same-bytes.ts';
import { enter, type PageServer, startPageServer } from './page-server.ts';

const TIME = 240_000;
const folder = mkdtempSync(join(tmpdir(), 'tonewright-files-'));
const shopDir = join(folder, 'shop');
const PHOTO = 'cup.png';
const PHOTO_SETTINGS = {
  ...{ widthMm: 20, heightMm: 15, cornerRadiusMm: 2, machine: 'galvo-355-f210', profile: 'anodised-black' },
  ...{ fit: 'cover', safeMarginMm: 0, tone: 'auto', toneValues: { contrast: 0.3 }, range: 'scale' },
};
let server: PageServer;
let keys: Readonly<Record<string, string>>;

async function ask(method: string, path: string, { body, head = {} }: { body?: unknown; head?: object } = {}) {
  const sent = body === undefined ? {} : { body: body instanceof Blob ? body : JSON.stringify(body) };
  const answer = await fetch(`${server.origin}${path}`, { method, headers: { ...keys, ...head }, ...sent });
  const text = await answer.text();
  if (!answer.ok) throw new Error(`${method} ${path} gave ${answer.status}: ${text}`);
  return text === '' ? undefined : JSON.parse(text);
}
async function command(...args: readonly string[]) {
  const { status, stdout, stderr } = await runCli([...args, '--shop', shopDir, '--json'], { cwd: folder });
  expect(stderr.includes('this is a bug'), stderr).toBe(false);
  expect(status, stderr).toBe(0);
  return JSON.parse(stdout);
}
beforeAll(async () => {
  mkdirSync(shopDir, { recursive: true });
  // A price list, so that the price of both is compared, too.
  cpSync(resolve('shared', 'shop', 'prices.json'), join(shopDir, 'prices.json'));
  cpSync(resolve('images', 'photos', PHOTO), join(folder, PHOTO));
  server = await startPageServer(shopDir);
  keys = await enter(server);
}, TIME);

afterAll(async () => {
  await server?.stop();
  rmSync(folder, { recursive: true, force: true });
});

test(
  'a photo: the same files byte for byte, through a screen that searches on threads, too',
  async () => {
    for (const screen of [undefined, 'direct-search']) {
      const wish = { ...PHOTO_SETTINGS, ...(screen ? { screen } : {}) };
      const head = { 'x-file-name': PHOTO, 'x-wish': encodeURIComponent(JSON.stringify(wish)) };
      const job = await ask('POST', '/api/jobs', { body: new Blob([readFileSync(join(folder, PHOTO))]), head });
      const kept = await ask('POST', `/api/jobs/${job.id}/keep`);
      const out = join(folder, `out-${screen}`);
      const said = await command(
        ...['prepare', PHOTO, '--size', '20x15', '--corner', '2', '--margin', '0', '--machine', PHOTO_SETTINGS.machine],
        ...[
          '--profile',
          PHOTO_SETTINGS.profile,
          '--contrast',
          '0.3',
          '--out',
          out,
          ...(screen ? ['--screen', screen] : []),
        ],
      );
      expectSameFolder(join(shopDir, 'jobs', job.id, 'out'), out);
      expect(said.files.map((path: string) => path.slice(out.length + 1))).toEqual(kept.files);
      expect(said.ticket.price.grossMinor).toBeGreaterThan(0);
    }
  },
  TIME,
);

test(
  'a program for the controller: the same bytes, and the dots of the picture',
  async () => {
    const wish = {
      ...{ widthMm: 12, heightMm: 9, cornerRadiusMm: 0, machine: 'gantry-450', material: 'birch-plywood' },
      ...{ fit: 'cover', safeMarginMm: 0, tone: 'plain', toneValues: {}, range: 'scale', subject: 'none' },
      format: 'gcode',
    };
    const head = { 'x-file-name': PHOTO, 'x-wish': encodeURIComponent(JSON.stringify(wish)) };
    const job = await ask('POST', '/api/jobs', { body: new Blob([readFileSync(join(folder, PHOTO))]), head });
    await ask('POST', `/api/jobs/${job.id}/keep`);
    const shared = ['prepare', PHOTO, '--size', '12x9', '--machine', 'gantry-450', '--material', 'birch-plywood'];
    const asked = [...shared, '--subject', 'none', '--tone', 'plain', '--margin', '0', '--corner', '0'];
    const out = join(folder, 'out-program');
    const said = await command(...asked, '--format', 'gcode', '--out', out);
    expectSameFolder(join(shopDir, 'jobs', job.id, 'out'), out);
    const program = readFileSync(join(out, 'cup.gcode'));
    expect(said.ticket.bitmap).toMatchObject({ file: 'cup.gcode', format: 'gcode', sha256: sha256(program) });
    expect(said.ticket.program).toMatchObject({ bytes: program.length, feed: 6000, power: 500, powerW: 5 });
    await command(...asked, '--only', 'bitmap', '--out', join(folder, 'out-picture'));
    const [burned, drawn] = await Promise.all([
      decodeDots(join(out, 'cup.gcode')),
      decodeDots(join(folder, 'out-picture', 'cup.png')),
    ]);
    expect(burned.dots).toEqual(drawn.dots);
    const timed = await command('time', join(out, 'cup.ticket.json'));
    expect(timed.seconds).toBe(said.ticket.time.seconds);
    // Made again by the ticket, byte for byte.
    const again = join(folder, 'out-program-again');
    await command('prepare', '--again', join(out, 'cup.ticket.json'), '--out', again);
    expectSameFolder(out, again);
  },
  TIME,
);

test(
  'levels of power, from chart to photo and strip: the same layout and the same bytes',
  async () => {
    const stuff = { machine: 'gantry-450', material: 'birch-plywood' };
    const drawn = await ask('POST', '/api/charts', { body: { kind: 'tone', ...stuff, levels: 16 } });
    const out = join(folder, 'levels-chart');
    const asked = ['chart', 'tone', '--machine', stuff.machine, '--material', stuff.material];
    const { layout } = await command(...asked, '--levels', '16', '--size', '85.6x54', '--out', out);
    expect(layout.levels.count).toBe(16);
    expect(drawn.hash).toBe(layout.hash);
    expect(readFileSync(join(shopDir, 'charts', drawn.hash, 'chart.png'))).toEqual(
      readFileSync(join(out, 'chart.png')),
    );

    await command(
      ...['simulate', 'capture', join(out, 'chart.png'), '--levels', 'diode', '--camera', 'flatbed-600'],
      ...['--out', join(out, 'scan.png')],
    );
    const profile = join(shopDir, 'profiles', 'birch-levels.json');
    await command('learn', join(out, 'scan.png'), '--name', 'birch-levels', '--out', profile);
    const { profiles, machines } = await ask('GET', '/api/shop');
    const named = (name: string) => (one: { name: string }) => one.name === name;
    expect(profiles.find(named('birch-levels')).levels).toBe(16);
    expect(machines.find(named('gantry-450')).levels).toBe(256);

    const wish = {
      ...{ widthMm: 20, heightMm: 15, cornerRadiusMm: 0, machine: stuff.machine, profile: 'birch-levels', levels: 16 },
      ...{ fit: 'cover', safeMarginMm: 0, tone: 'plain', toneValues: {}, range: 'scale', subject: 'none' },
    };
    const makeBoth = async (screen?: string) => {
      const asked = screen === undefined ? wish : { ...wish, screen };
      const head = { 'x-file-name': PHOTO, 'x-wish': encodeURIComponent(JSON.stringify(asked)) };
      const job = await ask('POST', '/api/jobs', { body: new Blob([readFileSync(join(folder, PHOTO))]), head });
      await ask('POST', `/api/jobs/${job.id}/keep`);
      const made = join(folder, `out-levels-${screen}`);
      const { ticket } = await command(
        ...['prepare', PHOTO, '--size', '20x15', '--profile', 'birch-levels', '--levels', '16', '--tone', 'plain'],
        ...['--subject', 'none', '--margin', '0', '--corner', '0', '--out', made],
        ...(screen === undefined ? [] : ['--screen', screen]),
      );
      expectSameFolder(join(shopDir, 'jobs', job.id, 'out'), made);
      return ticket;
    };
    for (const screen of ['auto', 'direct-search']) {
      const counted = await makeBoth(screen);
      expect(counted.profile.curve).toBe('predicted');
      expect(counted.prediction.meanDeltaL).toBeLessThan(1);
    }
    const ticket = await makeBoth();
    expect(ticket.power).toMatchObject({ levels: 16, by: 'measured', chartLevels: 16 });
    expect(ticket.profile.curve).toBe('measured');

    const size = { widthMm: 60, heightMm: 8 };
    const strip = await ask('POST', '/api/charts', {
      body: { kind: 'check', machine: stuff.machine, profile: 'birch-levels', levels: 16, ...size },
    });
    const own = await command(
      ...['chart', 'check', '--profile', 'birch-levels', '--levels', '16', '--out', join(folder, 'levels-strip')],
    );
    expect(strip.hash).toBe(own.layout.hash);
    expect(own.layout.screen.options.levels).toBe(16);
  },
  TIME,
);

test.each([
  ['at rest', { round: { diameterMm: 20, toneErrorL: 1 } }, ['--round', '20', '--round-error', '1'], 'round'],
  [
    'on a rotary, a cone',
    { around: { diametersMm: [20, 18], stepsPerTurn: 2512 } },
    ['--around', '20,18', '--steps-per-turn', '2512'],
    'around',
  ],
] as const)(
  'a round piece, %s: the same files byte for byte, and made again by its ticket',
  async (_, shape, options, fact) => {
    const wish = { ...PHOTO_SETTINGS, widthMm: 10, heightMm: 8, cornerRadiusMm: 0, toneValues: {}, ...shape };
    const plain = { ...wish, tone: 'plain', subject: 'none' };
    const head = { 'x-file-name': PHOTO, 'x-wish': encodeURIComponent(JSON.stringify(plain)) };
    const job = await ask('POST', '/api/jobs', { body: new Blob([readFileSync(join(folder, PHOTO))]), head });
    await ask('POST', `/api/jobs/${job.id}/keep`);
    const out = join(folder, `out-${fact}`);
    const said = await command(
      ...['prepare', PHOTO, '--size', '10x8', '--corner', '0', '--margin', '0', '--machine', PHOTO_SETTINGS.machine],
      ...['--profile', PHOTO_SETTINGS.profile, '--tone', 'plain', '--subject', 'none', ...options, '--out', out],
    );
    expectSameFolder(join(shopDir, 'jobs', job.id, 'out'), out);
    expect(said.ticket[fact].note).toMatch(/Ø 20 mm/);
    expect(readFileSync(join(out, 'cup.ticket.html'), 'utf8')).toContain('Ø 20 mm');
    const again = join(folder, `out-${fact}-again`);
    await command('prepare', '--again', join(out, 'cup.ticket.json'), '--out', again);
    expectSameFolder(out, again);
  },
  TIME,
);

test.each(['scale', 'absolute'] as const)(
  'a portrait whose tone is set by its face, %s: the same files byte for byte',
  async (range) => {
    const portrait = 'portrait.png';
    cpSync(resolve('images', 'photos', portrait), join(folder, portrait));
    const head = {
      'x-file-name': portrait,
      'x-wish': encodeURIComponent(JSON.stringify({ ...PHOTO_SETTINGS, range, toneValues: {} })),
    };
    const job = await ask('POST', '/api/jobs', { body: new Blob([readFileSync(join(folder, portrait))]), head });
    await ask('POST', `/api/jobs/${job.id}/keep`);
    const out = join(folder, `out-portrait-${range}`);
    const said = await command(
      ...[
        'prepare',
        portrait,
        '--size',
        '20x15',
        '--corner',
        '2',
        '--margin',
        '0',
        '--machine',
        PHOTO_SETTINGS.machine,
      ],
      ...['--profile', PHOTO_SETTINGS.profile, '--range', range, '--out', out],
    );
    expectSameFolder(join(shopDir, 'jobs', job.id, 'out'), out);
    expect(said.ticket.tone.metered).toEqual({ by: 'faces', note: 'Set by the skin of one face.' });
  },
  TIME,
);

test.each([
  [
    'cut free, in an arch, with a drawing knocked out of it',
    {
      ...{ focus: { x: 0.4, y: 0.6 }, backdrop: 'bare', outline: 'arch', tone: 'plain', toneValues: {} },
      ...{ caption: { text: 'Zoë, 2026', place: 'picture', font: 'script' }, artwork: { ink: 'bare' } },
    },
    [
      ...['--size', '20x15', '--keep', '0.4,0.6', '--backdrop', 'bare', '--outline', 'arch', '--tone', 'plain'],
      ...['--caption', 'Zoë, 2026', '--caption-place', 'picture', '--caption-font', 'script', '--artwork-ink', 'bare'],
    ],
  ],
  [
    'upright, whole in a circle with words on its bare edge, and nobody looked for',
    {
      ...{ widthMm: 15, heightMm: 20, subject: 'none', fit: 'contain', outline: 'circle', toneValues: {} },
      ...{ backdrop: 'keep', caption: { text: 'Mia', text2: '2026', place: 'edge' }, artwork: { ink: 'solid' } },
    },
    [
      ...['--size', '15x20', '--subject', 'none', '--fit', 'contain', '--outline', 'circle', '--backdrop', 'keep'],
      ...['--caption', 'Mia', '--caption2', '2026', '--caption-place', 'edge', '--artwork-ink', 'solid'],
    ],
  ],
  [
    'its backdrop softened, its picture fading out',
    { widthMm: 20, heightMm: 15, backdrop: 'soften', outline: 'rectangle', vignetteMm: 2, toneValues: {} },
    ['--size', '20x15', '--backdrop', 'soften', '--outline', 'rectangle', '--vignette', '2'],
  ],
] as const)(
  'a piece %s: the same files byte for byte',
  async (title, asked, options) => {
    const { name } = await ask('POST', '/api/drawings', {
      body: new Blob([readFileSync(resolve('images', 'mark.svg'))]),
      head: { 'x-file-name': 'Our Mark.svg' },
    });
    const artwork = 'artwork' in asked ? { artwork: { name, ...asked.artwork } } : {};
    const wish = { ...PHOTO_SETTINGS, ...asked, ...artwork };
    const head = { 'x-file-name': PHOTO, 'x-wish': encodeURIComponent(JSON.stringify(wish)) };
    const job = await ask('POST', '/api/jobs', { body: new Blob([readFileSync(join(folder, PHOTO))]), head });
    await ask('POST', `/api/jobs/${job.id}/keep`);
    const out = join(folder, `out-${title.slice(0, 7)}`);
    await command(
      ...['prepare', PHOTO, '--corner', '2', '--margin', '0', '--machine', PHOTO_SETTINGS.machine],
      ...['--profile', PHOTO_SETTINGS.profile, ...options, ...('artwork' in asked ? ['--artwork', name] : [])],
      ...['--out', out],
    );
    expectSameFolder(join(shopDir, 'jobs', job.id, 'out'), out);
  },
  TIME,
);

test(
  'words and a drawing: the same files byte for byte, and a look at them',
  async () => {
    const svg = readFileSync(resolve('images', 'mark.svg'));
    const head = { 'x-file-name': 'Our Mark.svg' };
    const { name } = await ask('POST', '/api/drawings', { body: new Blob([svg]), head });
    expect(name).toMatch(/^our-mark-[0-9a-f]{8}$/);
    await expect(ask('POST', '/api/drawings', { body: new Blob(['<svg><script/></svg>']), head })).rejects.toThrow(
      /422/,
    );
    const caption = { text: 'Mia & Juno', text2: 'שלום', place: 'band', font: 'serif', ink: 'bare', heightMm: 1.5 };
    const cut = { zoom: 1.2, turnDeg: 2, backdrop: 'fade', outline: 'oval', vignetteMm: 1 };
    const wish = { ...PHOTO_SETTINGS, ...cut, caption, artwork: { name, widthMm: 4, at: { xMm: 1, yMm: 1.5 } } };
    const asked = { 'x-file-name': PHOTO, 'x-wish': encodeURIComponent(JSON.stringify(wish)) };
    const job = await ask('POST', '/api/jobs', { body: new Blob([readFileSync(join(folder, PHOTO))]), head: asked });
    await ask('POST', `/api/jobs/${job.id}/keep`);
    const out = join(folder, 'out-words');
    const said = await command(
      ...['prepare', PHOTO, '--size', '20x15', '--corner', '2', '--margin', '0', '--machine', PHOTO_SETTINGS.machine],
      ...['--profile', PHOTO_SETTINGS.profile, '--contrast', '0.3', '--out', out, '--caption', caption.text],
      ...['--caption2', caption.text2, '--caption-place', 'band', '--caption-font', 'serif', '--caption-ink', 'bare'],
      ...['--caption-height', '1.5', '--artwork', name, '--artwork-width', '4', '--artwork-at', '1,1.5'],
      ...['--zoom', '1.2', '--turn', '2', '--backdrop', 'fade', '--outline', 'oval', '--vignette', '1'],
    );
    expectSameFolder(join(shopDir, 'jobs', job.id, 'out'), out);
    expect(said.ticket.lettering.caption.lines[1].text).toBe(caption.text2);
    expect(said.ticket.frame).toMatchObject({ zoom: 1.2, outline: { outline: 'oval', vignetteMm: 1 } });
  },
  TIME,
);

test(
  'a chart: the same files byte for byte, the same figures, one layout kept',
  async () => {
    const { machine } = PHOTO_SETTINGS;
    const material = 'anodised-black';
    const made = await ask('POST', '/api/charts', {
      body: { kind: 'tone', machine, material, widthMm: 60, heightMm: 45, spacingMm: 0.05 },
    });
    const out = join(folder, 'chart');
    const said = await command(
      ...['chart', 'tone', '--machine', machine, '--material', material, '--size', '60x45'],
      ...['--pitch', '0.05', '--spacing', '0.05', '--out', out],
    );
    expectSameFolder(join(shopDir, 'charts', made.hash), out);
    expect(said.kept).toBe(join(shopDir, 'charts', `${made.hash}.json`));
    expect([made.seconds, made.areaCm2, made.patches]).toEqual([
      said.cost.seconds,
      said.cost.areaCm2,
      said.layout.patches.length,
    ]);
    expect(made.notices.map(({ text }: { text: string }) => text)).toEqual(said.warnings);
  },
  TIME,
);

test(
  'plates of an order: the same files byte for byte, the same words, in a grid and packed',
  async () => {
    const order = await ask('POST', '/api/orders', { body: { title: 'Cups', wish: PHOTO_SETTINGS } });
    const head = { 'x-file-name': PHOTO };
    await ask('POST', `/api/orders/${order.id}/photos`, { body: new Blob([readFileSync(join(folder, PHOTO))]), head });
    await ask('POST', `/api/orders/${order.id}/run`);
    await expect.poll(async () => (await ask('GET', `/api/orders/${order.id}`)).totals, { timeout: TIME }).toBeTruthy();
    const there = join(shopDir, 'orders', order.id);
    for (const grid of [{ columns: 2, rows: 2, widthMm: 20, heightMm: 15 }, undefined]) {
      rmSync(join(there, 'plates'), { recursive: true, force: true });
      const laid = await ask('POST', `/api/orders/${order.id}/plates`, { body: grid ? { grid } : {} });
      const out = join(folder, `plates-${grid?.columns}`);
      const asked = grid ? ['--grid', '2x2', '--pocket', '20x15'] : [];
      const said = await command('plate', '--jobs', join(there, 'out'), ...asked, '--out', out);
      expectSameFolder(join(there, 'plates'), out);
      expect(laid.plates.map(({ seconds }: { seconds: number }) => seconds)).toEqual(
        said.plates.map(({ time }: { time: { seconds: number } }) => time.seconds),
      );
      expect(laid.plateNotes.slice(0, 1)).toEqual([said.batches[0].explanation]);
      expect(laid.plates[0].pieces[0].photo.width).toBeGreaterThan(0);
    }
  },
  TIME,
);

test(
  'plates of placed pieces: screened again for their pockets from the order’s own photos, the same bytes as by command',
  async () => {
    const { machine, profile } = PHOTO_SETTINGS;
    const fieldMm = [150, 150] as const;
    const whole = { xMm: 0, yMm: 0, widthMm: fieldMm[0], heightMm: fieldMm[1] };
    const covariance = Array.from({ length: 3 }, () => [0, 0, 0]);
    const map = {
      ...{ schema: 'tonewright-evenness/1', machine, fieldMm, charts: ['any'], profile, material: 'anodised-black' },
      ...{ date: '2026-01-01', covered: whole, home: whole, surface: 'tilt', patches: 99, notes: [] },
      ...{ unevenL: 2, leftL: 0.1, crossL: 0.1, lnWidth: { coefficients: [0, 0, 0], covariance } },
      lnDose: { coefficients: [0, -0.12, 0], covariance },
    };
    mkdirSync(join(shopDir, 'evenness'), { recursive: true });
    writeFileSync(join(shopDir, 'evenness', `${machine}.json`), JSON.stringify(map));
    const wish = { ...PHOTO_SETTINGS, at: '60,60' };
    const order = await ask('POST', '/api/orders', { body: { title: 'Placed', wish } });
    const head = { 'x-file-name': PHOTO };
    await ask('POST', `/api/orders/${order.id}/photos`, { body: new Blob([readFileSync(join(folder, PHOTO))]), head });
    await ask('POST', `/api/orders/${order.id}/run`);
    await expect.poll(async () => (await ask('GET', `/api/orders/${order.id}`)).totals, { timeout: TIME }).toBeTruthy();
    const there = join(shopDir, 'orders', order.id);
    const grid = { columns: 2, rows: 1, widthMm: 20, heightMm: 15 };
    const layByCommand = async (photos: string, out: string) => {
      const asked = ['--grid', '2x1', '--pocket', '20x15', '--photos', photos, '--out', out];
      return command('plate', '--jobs', join(there, 'out'), ...asked);
    };
    const laid = await ask('POST', `/api/orders/${order.id}/plates`, { body: { grid } });
    const said = await layByCommand(folder, join(folder, 'plates-placed'));
    expectSameFolder(join(there, 'plates'), join(folder, 'plates-placed'));
    const [piece] = said.plates[0].pieces;
    expect(laid.plates[0].corrected).toEqual([{ name: piece.name, pocket: 'A1', note: piece.corrected.note }]);
    expect(laid.plates[0].warnings).toEqual([]);

    // With another photo of that name the piece keeps the dots that it has, and both faces say why.
    writeFileSync(join(there, 'in', PHOTO), readFileSync(resolve('images', 'photos', 'cat.png')));
    const again = await ask('POST', `/api/orders/${order.id}/plates`, { body: { grid } });
    const other = await layByCommand(join(there, 'in'), join(folder, 'plates-other'));
    expectSameFolder(join(there, 'plates'), join(folder, 'plates-other'));
    expect(again.plates[0].corrected).toEqual([]);
    expect(again.plates[0].warnings).toEqual([
      expect.stringMatching(/cup in A1 was corrected .* is not the one of then/),
    ]);
    expect(other.plates[0].warnings).toEqual(expect.arrayContaining(again.plates[0].warnings));
  },
  TIME,
);
