import { cpSync, existsSync, mkdirSync, readdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { beforeAll, describe, expect, test } from 'vitest';
import { type Dots, decodeDots, encodeDots } from '../../src/plane/index.ts';
import { parseJig } from '../../src/plate/index.ts';
import { runCli, useFolder } from './run-cli.ts';

const folder = useFolder();
const PHOTO = 'images/photos/cat.png';

/** Two small jobs as `prepare` writes them, made once; each test copies what it changes. */
let jobs: Record<string, Buffer>;
beforeAll(async () => {
  const { mkdtempSync, rmSync } = await import('node:fs');
  const { tmpdir } = await import('node:os');
  const made = mkdtempSync(join(tmpdir(), 'tonewright-'));
  const prepare = (photo: string, size: string) =>
    runCli(['prepare', photo, '--size', size, '--profile', 'anodised-black', '--out', made]);
  cpSync(PHOTO, join(made, 'photos', 'dog.png'));
  await prepare(PHOTO, '16x10');
  await prepare(join(made, 'photos', 'dog.png'), '8x12');
  jobs = Object.fromEntries(
    readdirSync(made)
      .filter((file) => /^(cat|dog)\.(png|ticket\.json)$/.test(file))
      .map((file) => [file, readFileSync(join(made, file))]),
  );
  rmSync(made, { recursive: true });
});
const useJobs = (names: readonly string[] = ['cat', 'dog']) => {
  const out = folder();
  for (const [file, bytes] of Object.entries(jobs)) {
    if (names.some((name) => file.startsWith(name))) writeFileSync(join(out, file), bytes);
  }
  return out;
};
const readJsonFile = (...path: string[]) => JSON.parse(readFileSync(join(...path), 'utf8'));
const GRID = ['--grid', '3x2', '--pocket', '16x12', '--machine', 'galvo-355-f210'];

const partOf = (whole: Dots, x: number, y: number, part: Dots) =>
  Array.from({ length: part.height }, (_, row) => {
    const from = (y + row) * whole.width + x;
    return Buffer.from(whole.data.subarray(from, from + part.width));
  });
const rowsOf = (dots: Dots) => partOf(dots, 0, 0, dots);

describe('plate', () => {
  test('draws a jig alone, which can be given again', async () => {
    const [first, second] = [folder(), folder()];
    const made = await runCli(['plate', ...GRID, '--strip', '--out', first, '--json']);
    expect([made.status, made.stderr]).toEqual([0, '']);
    const { files, jig } = JSON.parse(made.stdout);
    expect(files.map((file: string) => file.slice(first.length + 1))).toEqual([
      'jig.svg',
      'jig.engrave.svg',
      'jig.cut.svg',
      'jig.json',
      'jig.csv',
      'jig.align.png',
      'jig.html',
    ]);
    expect(parseJig(jig, 'jig').pockets.length).toBe(7);
    expect((await runCli(['plate', join(first, 'jig.json'), '--out', second])).status).toBe(0);
    for (const file of readdirSync(first)) {
      expect(readFileSync(join(second, file)).equals(readFileSync(join(first, file))), file).toBe(true);
    }
  });

  test('draws the example’s jig by its name', async () => {
    const out = folder();
    const { status, stdout } = await runCli(['plate', 'cards-2x3', '--out', out]);
    expect([status, /cards-2x3, 7 pockets, 210 × 240 mm/.test(stdout)]).toEqual([0, true]);
  });

  test('lays jobs into pockets and joins their own dots, none changed', async () => {
    const out = folder();
    const place = useJobs();
    const { status, stdout } = await runCli([
      'plate',
      ...GRID,
      '--jobs',
      place,
      '--count',
      '2,dog=3',
      '--out',
      out,
      '--json',
    ]);
    expect(status).toBe(0);
    const { plates, batches } = JSON.parse(stdout);
    expect(batches[0]).toMatchObject({ pieces: 5, plates: 1, lowerBound: 1 });
    const [plate] = plates;
    expect(plate.pieces.map((piece: { name: string; pocket: string }) => [piece.name, piece.pocket])).toEqual([
      ['cat', 'A1'],
      ['cat', 'A2'],
      ['dog', 'A3'],
      ['dog', 'B1'],
      ['dog', 'B2'],
    ]);
    const { dots: whole } = await decodeDots(join(out, 'plate-1.png'));
    for (const piece of plate.pieces) {
      const { dots } = await decodeDots(join(place, `${piece.name}.png`));
      expect(partOf(whole, piece.xDots, piece.yDots, dots)).toEqual(rowsOf(dots));
    }
    // Pockets of 16 mm with gaps of 10: the second begins 26 mm right, 1300 dots of 0.02 mm.
    expect([plate.pieces[1].xDots, plate.pieces[3].yDots]).toEqual([1300, 1100]);
  });

  test('takes an order with its counts, texts and prices, and leaves out what failed', async () => {
    const place = useJobs();
    const order = {
      schema: 'tonewright-order/1',
      pieces: [
        { status: 'done', name: 'dog', count: 2, text: 'Rex', ticket: 'dog.ticket.json' },
        { status: 'failed', name: 'blurred', reason: { code: 'image-broken', message: 'cut off' } },
        { status: 'done', name: 'cat', count: 1, text: null, ticket: 'cat.ticket.json' },
      ],
      quote: {
        currency: 'EUR',
        locale: 'en-IE',
        minorDigits: 2,
        pieces: [
          { id: 'dog', amountMinor: 2501 },
          { id: 'cat', amountMinor: 900 },
        ],
      },
    };
    writeFileSync(join(place, 'order.json'), JSON.stringify(order));
    const out = folder();
    const { stderr, status } = await runCli(['plate', '--jobs', place, '--out', out]);
    expect(status).toBe(0);
    expect(stderr).toMatch(/blurred failed and lie on no plate/);
    const { plates } = readJsonFile(out, 'plates.json');
    expect(plates[0].price).toEqual({ amountMinor: 3401, currency: 'EUR', locale: 'en-IE', minorDigits: 2 });
    expect(plates[0].pieces.filter(({ text }: { text: string | null }) => text === 'Rex').length).toBe(2);
  });

  test('corrects every place by what the marks told', async () => {
    const out = folder();
    await runCli(['plate', ...GRID, '--jobs', useJobs(['cat']), '--offset', '0.12,-50um', '--out', out]);
    const [plate] = readJsonFile(out, 'plates.json').plates;
    expect(plate.burns[0].control.corner).toEqual({ xMm: 12 - 0.12, yMm: 12.05 });
    const turned = folder();
    await runCli(['plate', ...GRID, '--jobs', useJobs(['cat']), '--turn', '0.25/90', '--out', turned]);
    const { burns, correction } = readJsonFile(turned, 'plates.json').plates[0];
    expect(correction.turnDeg).toBeCloseTo((Math.atan(0.25 / 90) * 180) / Math.PI, 12);
    expect(burns[0].control.angleDeg).toBeCloseTo(-correction.turnDeg, 5);
  });

  test('replaces results only when told to', async () => {
    const out = folder();
    const place = useJobs(['cat']);
    const argv = ['plate', '--jobs', place, '--out', out];
    expect((await runCli(argv)).status).toBe(0);
    expect((await runCli(argv)).stderr).toMatch(/already there/);
    expect((await runCli([...argv, '--force'])).status).toBe(0);
  });

  test('leaves nothing of earlier plates beside those that replace them', async () => {
    const out = folder();
    const plates = async (...argv: string[]) => {
      const { stdout, stderr, status } = await runCli(['plate', ...argv, '--out', out, '--json']);
      expect(status, stderr).toBe(0);
      return JSON.parse(stdout).files.map((file: string) => file.slice(out.length + 1));
    };
    const first = await plates(...GRID, '--jobs', useJobs(), '--count', '7', '--bitmaps', 'piece', '--strip');
    expect(first).toContain('plate-3.ticket.json');
    for (const own of ['plate-9.png', 'notes.txt', 'plate-3.photo.jpg'])
      writeFileSync(join(out, own), 'the shop’s own');
    const second = await plates(...GRID, '--jobs', useJobs(['cat']), '--force');
    expect(readdirSync(out).sort()).toEqual([...second, 'plate-9.png', 'notes.txt', 'plate-3.photo.jpg'].sort());

    // The same board drawn again is no other plate; another board is.
    await plates(...GRID, '--force');
    expect(readdirSync(out)).toContain('plate-1.ticket.json');
    const alone = await plates('cards-2x3', '--force');
    expect(readdirSync(out).sort()).toEqual([...alone, 'plate-9.png', 'notes.txt', 'plate-3.photo.jpg'].sort());
  });

  test('keeps the layout of a control strip in the shop', async () => {
    const shop = folder();
    const out = folder();
    const { status } = await runCli(['plate', '--jobs', useJobs(['cat']), '--strip', '--out', out, '--shop', shop]);
    expect(status).toBe(0);
    const { hash } = readJsonFile(out, 'plate-1.strip.json');
    expect(readdirSync(join(shop, 'charts'))).toEqual([`${hash}.json`]);
  });
});

describe('bad input leaves no file behind and says what to do', () => {
  const wrong: readonly [string, readonly string[], number, RegExp][] = [
    ['nothing at all', [], 2, /neither a jig, nor --grid, nor --jobs/],
    ['an unknown jig', ['cards-2x33'], 2, /did you mean cards-2x3/],
    ['a jig and a grid', ['cards-2x3', '--grid', '1x1'], 2, /needed one of the two/],
    ['a grid without pockets', ['--grid', '2x2'], 2, /without --pocket/],
    ['a grid without a machine', ['--grid', '2x2', '--pocket', 'ID-1'], 2, /without --machine/],
    ['a grid that is none', ['--grid', '2', '--pocket', 'ID-1'], 2, /COLUMNSxROWS/],
    ['pockets without a grid', ['--pocket', 'ID-1'], 2, /without --grid/],
    [
      'a grid larger than the field',
      ['--grid', '4x3', '--pocket', '85.6x54', '--machine', 'galvo-355-f210'],
      1,
      /missing 226.4 mm in width and 36 mm in height; 1x2 fits/,
    ],
    ['no room for a web', [...GRID, '--gap', '0'], 2, /needed at least 1.2 mm/],
    ['another machine than the jig’s', ['cards-2x3', '--machine', 'galvo-355-f100'], 2, /lies under gantry-450/],
    ['a name that cannot be engraved', [...GRID, '--name', 'My Jig'], 2, /lower-case/],
    ['an offset without y', [...GRID, '--offset', '0.1'], 2, /x,y/],
    ['an offset without numbers', [...GRID, '--offset', 'a,b'], 2, /--offset: found "a"/],
    ['a turn that is a mistake', [...GRID, '--turn', '90'], 2, /-10 to 10/],
    ['a turn over nothing', [...GRID, '--turn', '1/0'], 2, /0.25\/90/],
    ['jobs that are not there', ['--jobs', 'images/nothing'], 1, /found nothing at/],
    ['a folder without tickets', ['--jobs', 'images'], 1, /neither order.json nor a .ticket.json/],
    ['a photo as a ticket', ['--jobs', PHOTO], 1, /needed JSON/],
  ];
  test.each(wrong)('%s', async (_, argv, status, says) => {
    const out = join(folder(), 'out');
    const result = await runCli(['plate', ...argv, '--out', out]);
    expect(result.stderr).toMatch(says);
    expect([result.status, result.stdout, existsSync(out)]).toEqual([status, '', false]);
  });

  const changed: readonly [string, (place: string) => void, readonly string[], number, RegExp][] = [
    [
      'a bitmap that was changed since',
      (place) => {
        const grid = { pitchMm: 0.02, lineSpacingMm: 0.02 };
        const dots = { scale: 'bit', width: 800, height: 500, levels: 2, data: new Uint8Array(400_000) } as const;
        writeFileSync(join(place, 'cat.png'), encodeDots(dots, grid, { format: 'png' }));
      },
      [],
      1,
      /another bitmap than the ticket of cat/,
    ],
    [
      'a bitmap that is gone',
      (place) => writeFileSync(join(place, 'cat.png'), ''),
      [],
      1,
      /found 0 bytes, needed a bitmap/,
    ],
    [
      'another machine than the jobs’',
      () => undefined,
      ['--machine', 'gantry-450'],
      2,
      /cat was prepared for galvo-355-f210/,
    ],
    ['a count for nobody', () => undefined, ['--count', 'cow=2'], 2, /no job "cow"; there are cat, dog/],
    ['a count of none', () => undefined, ['--count', '0'], 2, /--count/],
    [
      'a piece larger than every pocket',
      () => undefined,
      ['--grid', '1x1', '--pocket', '10x12'],
      1,
      /cat.*lacks 6 mm in width/,
    ],
    [
      'two jobs of one name',
      (place) => cpSync(join(place, 'cat.ticket.json'), join(place, 'copy.ticket.json')),
      [],
      2,
      /two jobs "cat"/,
    ],
    [
      'an order that is none',
      (place) => writeFileSync(join(place, 'order.json'), '{"schema":"tonewright-order/9"}'),
      [],
      1,
      /order.json, field "schema"/,
    ],
  ];
  test.each(changed)('%s', async (_, change, argv, status, says) => {
    const place = useJobs();
    change(place);
    const out = join(folder(), 'out');
    const result = await runCli(['plate', '--jobs', place, ...argv, '--out', out]);
    expect(result.stderr).toMatch(says);
    expect([result.status, existsSync(out)]).toEqual([status, false]);
  });

  test('a jig file that cannot be cut', async () => {
    const place = folder();
    mkdirSync(place, { recursive: true });
    const jig = { ...readJsonFile('shared/shop/jigs/cards-2x3.json'), widthMm: 150 };
    writeFileSync(join(place, 'small.json'), JSON.stringify(jig));
    const { status, stderr } = await runCli(['plate', join(place, 'small.json'), '--out', join(place, 'out')]);
    expect([status, /A2 comes .* mm too near to the edge/.test(stderr)]).toEqual([1, true]);
  });
});
