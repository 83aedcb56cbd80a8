import { spawnSync } from 'node:child_process';
import {
  appendFileSync,
  chmodSync,
  copyFileSync,
  cpSync,
  existsSync,
  mkdirSync,
  readdirSync,
  readFileSync,
  renameSync,
  rmSync,
  statSync,
  symlinkSync,
  truncateSync,
  writeFileSync,
} from 'node:fs';
import { dirname, join } from 'node:path';
import sharp from 'sharp';
import { afterAll, describe, expect, test, vi } from 'vitest';
import { createRandom } from '../../src/numeric/index.ts';
import { copyProgram, makePhotos, readFolder, runBuilt, SMALL, SMALL_AND_QUICK, startBuilt } from './order-sample.ts';
import { runCli, useFolder } from './run-cli.ts';

// Many processes, one after the other: on a busy machine that takes its time.
vi.setConfig({ testTimeout: 300_000, hookTimeout: 300_000 });
const folder = useFolder();
const { main, remove } = copyProgram();
afterAll(remove);
const JOURNAL = 'order.journal.jsonl';
const orderAsTyped = (source: string, out: string, ...more: string[]) =>
  runCli(['order', source, ...SMALL, '--out', out, '--workers', '2', '--json', ...more]);
/** Where nothing depends on whom a photo is of: looking for that takes most of a small piece's time. */
const UNSEEN = ['--subject', 'none'];
const order = (source: string, out: string, ...more: string[]) => orderAsTyped(source, out, ...UNSEEN, ...more);
/** How many pieces this run made, and how many it found made. */
const counts = (stdout: string) => /(\d+) made now, (\d+) kept/.exec(stdout)!.slice(1).map(Number);
const say = async (source: string, out: string, ...more: string[]) => {
  const argv = ['order', source, ...SMALL, ...UNSEEN, '--out', out, '--workers', '2', ...more];
  const { status, stdout, stderr } = await runCli(argv);
  expect(stderr).not.toMatch(/this is a bug/);
  expect(stdout).not.toMatch(/a bug in Tonewright/);
  return { status, counts: counts(stdout), stdout, stderr };
};

/** The pages that bear the order's title, which is the name of its folder or list. */
const titledOf = (files: Readonly<Record<string, unknown>>) =>
  Object.fromEntries(['order.html', 'order.customer.html'].map((name) => [name, files[name]]));

describe('tonewright order', () => {
  test('makes each photo of a folder as prepare makes it, with sums that hold no date or path', async () => {
    const [photos, out, alone] = [folder(), folder(), folder()];
    await makePhotos(photos, 3);
    const { status, stdout } = await orderAsTyped(photos, out);
    expect(status).toBe(0);
    for (const name of ['p0', 'p1', 'p2']) {
      const { status: prepared } = await runBuilt(main, [
        'prepare',
        join(photos, `${name}.jpg`),
        ...SMALL,
        '--out',
        alone,
      ]);
      expect(prepared).toBe(0);
    }
    const made = readFolder(out);
    expect(made).toMatchObject(readFolder(alone));
    expect(Object.keys(made).filter((name) => !name.startsWith('p'))).toEqual([
      'order.csv',
      'order.customer.html',
      'order.html',
      JOURNAL,
      'order.json',
    ]);
    const record = JSON.parse(readFileSync(join(out, 'order.json'), 'utf8'));
    expect(JSON.parse(stdout)).toEqual(record);
    expect(record.totals).toMatchObject({ pieces: 3, done: 3, failed: 0, copies: 3 });
    expect(JSON.stringify(record)).not.toContain(photos);
    expect(readFileSync(join(out, 'order.html'), 'utf8').match(/data:image\/jpeg/g)).toHaveLength(3);
  });

  test('gives the same bytes with any number of workers', async () => {
    const photos = folder();
    await makePhotos(photos, 4);
    const outs = [folder(), folder()];
    await orderAsTyped(photos, outs[0]!, '--workers', '1');
    await orderAsTyped(photos, outs[1]!, '--workers', '3', '--megapixels', '10');
    expect(readFolder(outs[0]!)).toEqual(readFolder(outs[1]!));
  });

  test('takes a CSV with options of its own in each line, and a defaults file beside it', async () => {
    const [shop, out] = [folder(), folder()];
    await makePhotos(join(shop, 'in'), 2);
    writeFileSync(join(shop, 'order.json'), JSON.stringify({ size: '20x15', profile: 'leather-patch', margin: 1 }));
    writeFileSync(
      join(shop, 'list.csv'),
      'photo;name;size;count;text;keep;screen;lines per cm;raster;material;machine\n' +
        'in/p0.jpg;;;3;For Ann;0.2,0.8;;;yes;;\n' +
        'in/p0.jpg;;;;;;;;;;\n' +
        'in/p1.jpg;slate one;15x15;;;;clustered-dot;20;;slate;gantry-450\n',
    );
    const { status, stdout } = await runCli(['order', 'list.csv', '--out', out, '--json'], { cwd: shop });
    expect(status).toBe(0);
    const { pieces, totals } = JSON.parse(stdout);
    expect(pieces.map(({ name, line, count, text }: Record<string, unknown>) => [name, line, count, text])).toEqual([
      ['p0', 2, 3, 'For Ann'],
      ['p0-2', 3, 1, null],
      ['slate one', 4, 1, null],
    ]);
    expect(totals.copies).toBe(5);
    const ticket = (name: string) => JSON.parse(readFileSync(join(out, `${name}.ticket.json`), 'utf8'));
    expect(ticket('p0')).toMatchObject({
      text: 'For Ann',
      frame: { focus: { x: 0.2, y: 0.8 } },
      screen: { options: { scan: 'raster' } },
      piece: { safeMarginMm: 1 },
    });
    expect(readFileSync(join(out, 'p0.ticket.html'), 'utf8')).toContain('For Ann');
    expect(ticket('p0-2').screen.options.scan).toBe('serpentine');
    expect(ticket('slate one')).toMatchObject({
      screen: { name: 'clustered-dot', options: { linesPerCm: 20 } },
      material: { name: 'slate' },
      profile: { origin: 'assumed' },
      piece: { widthMm: 15 },
    });
    // The same piece by hand: a line's name and text are options of prepare, too.
    const alone = folder();
    const argv = '--size 20x15 --profile leather-patch --margin 1 --keep 0.2,0.8 --raster --text'.split(' ');
    await runBuilt(main, ['prepare', join(shop, 'in/p0.jpg'), ...argv, 'For Ann', '--out', alone]);
    const made = readFolder(out);
    expect(made).toMatchObject(readFolder(alone));
  });

  test('says what is wrong with a line by line and column, and makes the others', async () => {
    const [shop, out] = [folder(), folder()];
    await makePhotos(shop, 1);
    writeFileSync(join(shop, 'empty.jpg'), '');
    const lines: readonly (readonly [string, RegExp])[] = [
      ['p0.jpg,,,,,', /^$/],
      ['p0.jpg,,0.02 m,,,', /list\.csv: line 3, column 3 \("spacing"\): found "0\.02 m"/],
      ['p0.jpg,,,none,,', /line 4, column 4 \("profile"\): found no profile "none"/],
      ['p0.jpg,900x900,,,,', /line 5, column 2 \("size"\): found a size of 900/],
      ['p0.jpg,,,,2.5,', /line 6, column 5 \("count"\): found "2\.5", needed a whole number/],
      ['p0.jpg,,,,,sideways', /line 7, column 6 \("fit"\): found "sideways", needed cover or contain/],
      [',20x20,,,,', /line 8: found no photo/],
      ['none.jpg,,,,,', /none\.jpg: found nothing there/],
      ['empty.jpg,,,,,', /empty\.jpg: found 0 bytes/],
    ];
    writeFileSync(
      join(shop, 'list.csv'),
      `photo,size,spacing,profile,count,fit\n${lines.map(([line]) => line).join('\n')}\n`,
    );
    const { status, stdout, stderr } = await order(join(shop, 'list.csv'), out);
    expect(status).toBe(1);
    const { pieces, totals } = JSON.parse(stdout);
    expect(totals).toMatchObject({ pieces: 9, done: 1, failed: 8 });
    for (const [at, [, says]] of lines.entries()) {
      expect(pieces[at].reason?.message ?? '').toMatch(says);
      if (at > 0) expect(stderr).toMatch(says);
    }
    expect(readFileSync(join(out, 'order.html'), 'utf8')).toContain('Not made: 8');
  });

  test.each([
    ['an unknown column', 'photo,sise\np0.jpg,ID-1\n', [], 1, /unknown column "sise" \(column 2\)/],
    ['a piece of several marks', 'photo,marks\np0.jpg,slate-greys\n', [], 1, /unknown column "marks"/],
    ['a default out of range', 'photo\np0.jpg\n', ['--black-point-l', '99'], 2, /0 to 45/],
    ['no worker at all', 'photo\np0.jpg\n', ['--workers', '0'], 2, /1 to 64/],
    ['an unknown field of the defaults', 'photo\np0.jpg\n', ['--defaults', 'bad.json'], 1, /unknown field "colour"/],
    ['a price list that is none', 'photo\np0.jpg\n', ['--prices', 'bad.json'], 1, /price list/],
    ['results among the photos', 'photo\np0.jpg\n', ['--out', '.'], 2, /holds the order itself/],
    ['a queue that is none', 'photo\np0.jpg\n', ['--queue', 'localhost'], 2, /redis:\/\//],
    [
      'a queue without a server',
      'photo\np0.jpg\n',
      ['--queue', 'redis://127.0.0.1:9'],
      1,
      /no queue at 127\.0\.0\.1:9/,
    ],
  ] as const)('%s ends the order before any work', async (_, csv, more, wanted, says) => {
    const shop = folder();
    await makePhotos(shop, 1);
    writeFileSync(join(shop, 'list.csv'), csv);
    writeFileSync(join(shop, 'bad.json'), '{"colour": "red"}');
    const argv = ['order', 'list.csv', ...SMALL, '--out', 'out', ...more];
    const { status, stdout, stderr } = await runCli(argv, { cwd: shop });
    expect(stderr).toMatch(says);
    expect([status, stdout]).toEqual([wanted, '']);
    const left = existsSync(join(shop, 'out')) ? readdirSync(join(shop, 'out')) : [];
    expect(left.filter((name) => name !== JOURNAL)).toEqual([]);
  });

  test('takes the folders in a folder, and lists what cannot be made', async () => {
    const [photos, out] = [folder(), folder()];
    await makePhotos(photos, 1);
    await makePhotos(join(photos, 'ann'), 2);
    renameSync(join(photos, 'ann', 'p1.jpg'), join(photos, 'ann', 'p1.JFIF'));
    const heic = Buffer.concat([Buffer.from([0, 0, 0, 24]), Buffer.from('ftypheic\0\0\0\0heicmif1')]);
    writeFileSync(join(photos, 'IMG_1.HEIC'), heic);
    // A TIFF by its first bytes, and a raw file by its name.
    writeFileSync(join(photos, 'IMG_2.NEF'), await sharp(join(photos, 'p0.jpg')).tiff().toBuffer());
    const { status, stdout } = await order(photos, out);
    const { pieces } = JSON.parse(stdout);
    expect(status).toBe(1);
    expect(pieces.map(({ photo, name, status: state }: Record<string, string>) => [photo, name, state])).toEqual([
      ['IMG_1.HEIC', 'IMG_1', 'failed'],
      ['IMG_2.NEF', 'IMG_2', 'failed'],
      ['ann/p0.jpg', 'ann-p0', 'done'],
      ['ann/p1.JFIF', 'ann-p1', 'done'],
      ['p0.jpg', 'p0', 'done'],
    ]);
    expect(readFileSync(join(out, 'order.customer.html'), 'utf8')).toContain('ask you about them: IMG_1.HEIC');
    for (const name of ['order.html', 'order.csv']) {
      const text = readFileSync(join(out, name), 'utf8');
      for (const reason of [/IMG_1\.HEIC/, /damaged header/, /camera.{1,6}s raw file/]) expect(text).toMatch(reason);
    }
  });

  test.skipIf(process.platform === 'win32')('a link to the photos’ folder is the photos’ folder', async () => {
    const shop = folder();
    await makePhotos(join(shop, 'in'), 1);
    const photo = readFileSync(join(shop, 'in', 'p0.jpg'));
    renameSync(join(shop, 'in', 'p0.jpg'), join(shop, 'in', 'p0.png'));
    symlinkSync('in', join(shop, 'link'));
    mkdirSync(join(shop, 'lists'));
    symlinkSync('../in/p0.png', join(shop, 'lists', 'photo.png'));
    writeFileSync(join(shop, 'lists', 'list.csv'), 'photo,name\nphoto.png,p0\n');
    for (const [source, out] of [
      ['in', 'link'],
      ['link', 'in'],
      ['lists/list.csv', 'in'],
    ] as const) {
      const argv = ['order', source, ...SMALL, '--out', out, '--force'];
      const { status, stderr } = await runCli(argv, { cwd: shop });
      expect(stderr, source).toMatch(/holds the/);
      expect([status, readdirSync(join(shop, 'in'))], source).toEqual([2, ['p0.png']]);
    }
    expect(readFileSync(join(shop, 'in', 'p0.png')).equals(photo)).toBe(true);
  });

  test.each([
    ['one photo', 'images/photos/cat.png', /found a PNG, needed a CSV or a folder of photos; `prepare` makes one/],
    ['a spreadsheet’s own file', 'PK', /needed the table saved as CSV/],
  ])('%s is told as what it is', async (_, source, says) => {
    const file = join(folder(), 'order');
    if (source === 'PK') writeFileSync(file, Buffer.from('PK\u0003\u0004'));
    else copyFileSync(source, file);
    const { status, stderr } = await runCli(['order', file, ...SMALL, '--out', folder()]);
    expect(stderr).toMatch(says);
    expect(status).toBe(1);
  });

  test('leaves results out of the folder of the photos', async () => {
    const shop = folder();
    await makePhotos(join(shop, 'in'), 1);
    writeFileSync(join(shop, 'list.csv'), 'photo\nin/p0.jpg\n');
    const argv = ['order', 'list.csv', ...SMALL, '--out', 'in'];
    const { status, stderr } = await runCli(argv, { cwd: shop });
    expect(stderr).toMatch(/holds the photo in\/p0\.jpg/);
    expect([status, readdirSync(join(shop, 'in'))]).toEqual([2, ['p0.jpg']]);
  });

  test.each([
    [['--size', 'ID-1', '--profile', 'none'], 2, /found no profile "none"/],
    [['--profile', 'leather-patch'], 2, /found no size/],
    [['--size', '900x900', '--profile', 'leather-patch'], 1, /field of/],
  ] as const)('a folder with %j is refused as a whole', async (options, wanted, says) => {
    const [photos, out] = [folder(), join(folder(), 'out')];
    await makePhotos(photos, 1);
    const { status, stderr } = await runCli(['order', photos, ...options, '--out', out]);
    expect(stderr).toMatch(says);
    expect([status, existsSync(out)]).toEqual([wanted, false]);
  });

  test('leaves files alone that it has not made', async () => {
    const [photos, out] = [folder(), folder()];
    await makePhotos(photos, 2);
    writeFileSync(join(out, 'p1.png'), 'mine');
    const { status, stdout } = await order(photos, out);
    expect([status, JSON.parse(stdout).error.code]).toEqual([1, 'result-exists']);
    expect(readFileSync(join(out, 'p1.png'), 'utf8')).toBe('mine');
    expect(existsSync(join(out, 'p0.png'))).toBe(false);
    expect((await order(photos, out, '--force')).status).toBe(0);
    expect(readFileSync(join(out, 'p1.png'), 'latin1').slice(1, 4)).toBe('PNG');
  });

  test.each([
    ['another photo of that name', { first: 1, as: 0 }, [], /p0 made already of another photo of that name/],
    ['another order, whatever its photos are called', { first: 2, as: 2 }, [], /results of another order \(p0 /],
    ['the same photos with other defaults', { first: 0, as: 0 }, ['--margin', '2'], /p0, p1 made already with other/],
  ] as const)('a folder with results is closed to %s, until --force says what goes', async (_, photo, more, says) => {
    const [first, second, out] = [folder(), folder(), folder()];
    await makePhotos(first, 2);
    expect((await order(first, out)).status).toBe(0);
    const before = readFolder(out);
    if (more.length > 0) await makePhotos(second, 2);
    else {
      await makePhotos(second, 1, { first: photo.first });
      renameSync(join(second, `p${photo.first}.jpg`), join(second, `p${photo.as}.jpg`));
    }
    const refused = await order(second, out, ...more);
    expect([refused.status, JSON.parse(refused.stdout).error.code]).toEqual([1, 'result-exists']);
    expect(refused.stderr).toMatch(says);
    expect(readFolder(out)).toEqual(before);
    // The first order still finds everything, and resumes.
    expect((await say(first, out)).counts).toEqual([0, 2]);

    const forced = await order(second, out, ...more, '--force');
    expect(forced.status).toBe(0);
    expect(forced.stderr).toMatch(says);
    expect(forced.stderr).toMatch(/replaced/);
    const fresh = folder();
    await order(second, fresh, ...more);
    const { [JOURNAL]: journal, 'order.html': page, 'order.customer.html': sheet, ...wanted } = readFolder(fresh);
    expect(readFolder(out)).toMatchObject(wanted);
  });

  test('grows and shrinks with its list without a word', async () => {
    const [photos, out] = [folder(), folder()];
    await makePhotos(photos, 2);
    const first = await order(photos, out);
    expect([first.status, first.stderr]).toEqual([0, expect.not.stringMatching(/failed/)]);
    await makePhotos(photos, 1, { first: 4 });
    expect((await say(photos, out)).counts).toEqual([1, 2]);
    rmSync(join(photos, 'p0.jpg'));
    expect((await say(photos, out)).counts).toEqual([0, 2]);
  });

  test('a damaged journal makes nobody else’s files the order’s own', async () => {
    const [photos, out] = [folder(), folder()];
    await makePhotos(photos, 1);
    for (const name of ['p0.png', 'p0.ticket.json', 'order.json']) writeFileSync(join(out, name), 'mine');
    for (let run = 0; run < 2; run++) {
      writeFileSync(join(out, JOURNAL), run === 0 ? '{"check":"0","entry":{}}\n' : readFileSync(join(out, JOURNAL)));
      const { status, stderr } = await order(photos, out);
      expect(stderr).toMatch(/p0\.png.*already there and not made by this order/);
      expect([status, readFileSync(join(out, 'p0.png'), 'utf8')]).toEqual([1, 'mine']);
    }
    // Sums alone are protected as well, at the second try, too.
    rmSync(join(out, 'p0.png'));
    rmSync(join(out, 'p0.ticket.json'));
    for (let run = 0; run < 2; run++) expect((await order(photos, out)).status).toBe(1);
    expect(readFileSync(join(out, 'order.json'), 'utf8')).toBe('mine');
  });

  test('what a damaged journal no longer tells is replaced by the same bytes only', async () => {
    const [photos, out] = [folder(), folder()];
    await makePhotos(photos, 2);
    await order(photos, out);
    const before = readFolder(out);
    writeFileSync(join(out, JOURNAL), 'noise');
    const { status, stderr } = await order(photos, out, '--margin', '2');
    expect(stderr).toMatch(/p0 made already with other settings/);
    expect(status).toBe(1);
    expect(readFolder(out)).toMatchObject({ 'p0.png': before['p0.png'], 'p1.ticket.json': before['p1.ticket.json'] });
    expect((await order(photos, out)).status).toBe(0);
    expect(readFolder(out)).toEqual(before);
  });

  test('a photo whose name leaves no room for endings is made, and one that no system takes is its own fault', async () => {
    const [photos, out] = [folder(), folder()];
    await makePhotos(photos, 3);
    const long = '写真'.repeat(40);
    renameSync(join(photos, 'p1.jpg'), join(photos, `${long}.jpg`));
    renameSync(join(photos, 'p2.jpg'), join(photos, 'con.jpg'));
    const { status, stdout } = await order(photos, out);
    const { pieces, totals } = JSON.parse(stdout);
    expect([status, totals.done, totals.failed]).toEqual([1, 2, 1]);
    const named = (photo: string) => pieces.find((piece: { photo: string }) => piece.photo === photo);
    expect(named('con.jpg').reason.message).toMatch(/con\.jpg.*needed a name that is none of the system’s own/);
    expect(long.startsWith(named(`${long}.jpg`).name)).toBe(true);
    expect(Buffer.byteLength(named(`${long}.jpg`).ticket)).toBeLessThan(255);
    expect(readdirSync(out).filter((name) => name.endsWith('.png'))).toHaveLength(4);
  });

  test('prices the order when there is a price list', async () => {
    const [photos, out] = [folder(), folder()];
    await makePhotos(photos, 1);
    const { stdout } = await order(photos, out, '--prices', 'shared/shop/prices.json');
    const { quote } = JSON.parse(stdout);
    expect(quote.grossMinor).toBeGreaterThan(1200);
    expect(readFileSync(join(out, 'order.html'), 'utf8')).toContain('To pay');
    expect(readFileSync(join(out, 'order.csv'), 'utf8')).toContain('price_eur');
  });
});

describe('an order that is run again', () => {
  test('makes exactly what has changed', async () => {
    const [photos, out, shop] = [folder(), folder(), folder()];
    await makePhotos(photos, 3);
    mkdirSync(join(shop, 'profiles'));
    const profile = JSON.parse(readFileSync('shared/shop/profiles/leather-patch.json', 'utf8'));
    const writeProfile = (more: object) =>
      writeFileSync(join(shop, 'profiles', 'ours.json'), JSON.stringify({ ...profile, name: 'ours', ...more }));
    writeProfile({});
    writeFileSync(
      join(photos, 'list.csv'),
      'photo,profile,fit\np0.jpg,ours,\np1.jpg,ours,\np2.jpg,leather-patch,contain\n',
    );
    const list = join(photos, 'list.csv');
    const again = (...more: string[]) => say(list, out, '--shop', shop, ...more);
    expect((await again()).counts).toEqual([3, 0]);
    const first = readFolder(out);
    expect((await again('--workers', '1')).counts).toEqual([0, 3]);
    expect(readFolder(out)).toEqual(first);

    await makePhotos(photos, 1, { first: 5 });
    copyFileSync(join(photos, 'p5.jpg'), join(photos, 'p1.jpg'));
    expect((await again('--force')).counts, 'a photo').toEqual([1, 2]);
    writeProfile({ date: '2026-02-02' });
    expect((await again('--force')).counts, 'a profile').toEqual([2, 1]);
    expect((await again('--margin', '1', '--force')).counts, 'an option').toEqual([3, 0]);
    rmSync(join(out, 'p0.ticket.html'));
    appendFileSync(join(out, 'p2.png'), 'x');
    const damaged = await again('--margin', '1');
    expect(damaged.counts, damaged.stdout).toEqual([2, 1]);

    // What is left is what an order leaves that was never run before.
    const fresh = folder();
    await say(list, fresh, '--shop', shop, '--margin', '1');
    expect(readFolder(out)).toEqual(readFolder(fresh));
  });

  test('takes away what no longer holds: another format, and a photo that was replaced by a broken one', async () => {
    const [photos, out] = [folder(), folder()];
    await makePhotos(photos, 2);
    await say(photos, out);
    await say(photos, out, '--format', 'tiff', '--force');
    expect(readdirSync(out)).not.toContain('p0.png');
    truncateSync(join(photos, 'p0.jpg'), 500);
    const { status, counts: made } = await say(photos, out, '--format', 'tiff', '--force');
    expect([status, made]).toEqual([1, [0, 1]]);
    expect(readdirSync(out).filter((name) => name.startsWith('p0'))).toEqual([]);
    // A photo that is out of reach for a while costs nothing.
    rmSync(join(photos, 'p1.jpg'));
    writeFileSync(join(photos, 'list.csv'), 'photo\np1.jpg\n');
    await say(join(photos, 'list.csv'), out, '--format', 'tiff');
    expect(readdirSync(out)).toContain('p1.tiff');
  });

  test('goes on after its journal was damaged at the end, in the middle, and altogether', async () => {
    const [photos, out] = [folder(), folder()];
    await makePhotos(photos, 3);
    await say(photos, out);
    const first = readFolder(out);
    const path = join(out, JOURNAL);
    const damage: readonly (readonly [string, () => void, readonly number[]])[] = [
      ['cut off', () => truncateSync(path, statSync(path).size - 20), [1, 2]],
      ['noise', () => appendFileSync(path, Buffer.from([0, 123, 34, 10, 200])), [0, 3]],
      ['a changed line', () => writeFileSync(path, readFileSync(path, 'utf8').replace('"p1"', '"p7"')), [1, 2]],
      ['nothing but noise', () => writeFileSync(path, Buffer.alloc(999, 7)), [3, 0]],
    ];
    for (const [what, harm, wanted] of damage) {
      harm();
      const { status, counts: made, stderr } = await say(photos, out);
      expect(stderr, what).toMatch(/damaged/);
      expect([status, made], what).toEqual([0, wanted]);
      expect(readFolder(out), what).toEqual(first);
    }
  });

  test('keeps what pieces that are no longer in the order have left, and finds it when they come back', async () => {
    const [photos, out] = [folder(), folder()];
    await makePhotos(photos, 3);
    await say(photos, out);
    const first = readFolder(out);
    writeFileSync(join(photos, 'list.csv'), 'photo\np1.jpg\n');
    expect((await say(join(photos, 'list.csv'), out)).counts).toEqual([0, 1]);
    expect(readdirSync(out)).toContain('p0.png');
    rmSync(join(photos, 'list.csv'));
    expect((await say(photos, out)).counts).toEqual([0, 3]);
    expect(readFolder(out)).toEqual({ ...first, ...titledOf(readFolder(out)) });
  });
});

/** Pieces that take long enough to be interrupted, without a look at the photo. */
const SLOW = ['--size', '60x45', '--profile', 'anodised-black', '--subject', 'none'];

/** The same with every command that writes, and 300 times: benchmarks/kills.ts. */
const KILLS = 5;

describe('an order that is stopped', () => {
  test('at random moments loses nothing, does nothing twice, and leaves the bytes of one that was not', async () => {
    const photos = folder();
    await makePhotos(photos, 5);
    const wanted = folder();
    const begun = Date.now();
    const argv = (out: string, workers = 2) => [
      'order',
      photos,
      ...SMALL_AND_QUICK,
      '--out',
      out,
      '--workers',
      String(workers),
    ];
    expect((await runBuilt(main, argv(wanted))).status).toBe(0);
    const takesMs = Date.now() - begun;
    const random = createRandom(20261125);
    const doneIn = (out: string) => {
      const path = join(out, JOURNAL);
      const lines = existsSync(path) ? readFileSync(path, 'utf8').split('\n') : [];
      return lines.filter((line) => line.includes('"is":"done"') && line.endsWith('}}')).length;
    };
    let kills = 0;
    while (kills < KILLS) {
      const out = folder();
      for (;;) {
        const known = doneIn(out);
        const { child, ended } = startBuilt(main, argv(out, 1 + (kills % 2)));
        const timer = setTimeout(() => child.kill('SIGKILL'), takesMs * (0.2 + 0.8 * random.nextUnit()));
        const { status, stdout, stderr } = await ended;
        clearTimeout(timer);
        if (status === null) {
          kills++;
          expect(doneIn(out)).toBeGreaterThanOrEqual(known);
          continue;
        }
        expect(stderr).not.toMatch(/damaged|bug/);
        expect(status).toBe(0);
        const [made, kept] = counts(stdout);
        expect([made! + kept!, kept], `${kills} kills`).toEqual([5, known]);
        break;
      }
      expect(readFolder(out), `${kills} kills`).toEqual(readFolder(wanted));
    }
  });

  test('by Ctrl-C finishes the pieces at work, says so, and goes on the next time', async () => {
    const [photos, out] = [folder(), folder()];
    await makePhotos(photos, 5);
    const argv = ['order', photos, ...SLOW, '--out', out, '--workers', '1'];
    const { child, ended } = startBuilt(main, [...argv, '--json']);
    while (!existsSync(join(out, 'p0.ticket.html'))) await new Promise((go) => setTimeout(go, 20));
    child.kill('SIGINT');
    const { status, stdout, stderr } = await ended;
    const { error } = JSON.parse(stdout);
    expect([status, error.code]).toEqual([1, 'order-interrupted']);
    expect(stderr).toMatch(/finished first/);
    expect(error.details.made).toBeGreaterThanOrEqual(1);
    expect(error.details.left).toBe(5 - error.details.made);
    expect(readdirSync(out).filter((name) => /part$|lock|^order\.(json|csv|html)$/.test(name))).toEqual([]);
    const again = await runBuilt(main, argv);
    expect(counts(again.stdout)).toEqual([5 - error.details.made, error.details.made]);
  });

  test('two at once in one folder: the second says so and touches nothing', async () => {
    const [photos, out] = [folder(), folder()];
    await makePhotos(photos, 4);
    const argv = ['order', photos, ...SLOW, '--out', out, '--workers', '1'];
    const first = startBuilt(main, argv);
    while (!existsSync(join(out, 'order.lock'))) await new Promise((go) => setTimeout(go, 5));
    const second = await runBuilt(main, [...argv, '--json']);
    const { error } = JSON.parse(second.stdout);
    expect([second.status, error.code]).toEqual([1, 'order-busy']);
    expect(error.details.pid).toBe(first.child.pid);
    const { status, stdout } = await first.ended;
    expect([status, counts(stdout)]).toEqual([0, [4, 0]]);
  });
});

describe('an order that cannot write', () => {
  const mounts = spawnSync('unshare', ['-rm', 'sh', '-c', 'mount -t tmpfs none /mnt']).status === 0;
  if (!mounts) process.stderr.write('no small disk can be mounted here: the test of a full disk was not made\n');

  test.runIf(mounts)('says that the disk is full, leaves no half file, and goes on when there is room', async () => {
    const [photos, out, wanted, after] = [folder(), folder(), folder(), folder()];
    await makePhotos(photos, 6);
    const command = [process.execPath, main, 'order', photos, ...SMALL, ...UNSEEN, '--workers', '2'];
    expect(spawnSync(command[0]!, [...command.slice(1), '--out', wanted]).status).toBe(0);
    const size = readdirSync(wanted).reduce((sum, name) => sum + statSync(join(wanted, name)).size, 0);
    // The disk is in a name space of its own, so all is done in one shell. It holds half of the order at first.
    const script = `mount -t tmpfs -o size=${Math.round(size / 2)} none "$OUT"
      "$@" --out "$OUT" --json > "$AFTER/first.json" 2> "$AFTER/first.txt"; echo $? > "$AFTER/first.status"
      ls -A "$OUT" > "$AFTER/first.list"
      mount -o remount,size=${Math.round(size * 3)} "$OUT"
      "$@" --out "$OUT" > "$AFTER/second.txt" 2>&1; echo $? > "$AFTER/second.status"
      mkdir "$AFTER/out"; cp -a "$OUT/." "$AFTER/out/"`;
    const { stderr } = spawnSync('unshare', ['-rm', 'sh', '-c', script, 'sh', ...command], {
      encoding: 'utf8',
      env: { PATH: process.env.PATH, OUT: out, AFTER: after },
    });
    expect(stderr).toBe('');
    const text = (name: string) => readFileSync(join(after, name), 'utf8');
    expect(text('first.status').trim()).toBe('1');
    expect(JSON.parse(text('first.json')).error).toMatchObject({
      code: 'path-unwritable',
      details: { code: 'ENOSPC' },
    });
    expect(text('first.txt')).toMatch(/the disk is full/);
    expect(text('first.list')).not.toMatch(/\.part$|order\.html|order\.lock/m);
    expect(text('second.status').trim()).toBe('0');
    expect(counts(text('second.txt'))[1]).toBeGreaterThan(0);
    expect(readFolder(join(after, 'out'))).toEqual(readFolder(wanted));
  });

  test.skipIf(process.platform === 'win32')('says that there is no right to write', async () => {
    // Rights do not bind root, so the command runs as nobody there; the built command, from a place that nobody can
    // read.
    const asNobody = process.getuid?.() === 0 ? { uid: 65534, gid: 65534 } : {};
    const place = folder();
    chmodSync(place, 0o755);
    await makePhotos(join(place, 'photos'), 1);
    for (const part of ['dist', 'shared', 'package.json']) {
      cpSync(join(dirname(main), '..', part), join(place, 'program', part), { recursive: true });
    }
    mkdirSync(join(place, 'out'));
    chmodSync(join(place, 'out'), 0o555);
    for (const out of ['out', 'out/deeper']) {
      const { status, stderr } = spawnSync(
        process.execPath,
        [join(place, 'program/dist/tonewright.cjs'), 'order', 'photos', ...SMALL, '--out', out],
        { ...asNobody, cwd: place, encoding: 'utf8', env: { PATH: process.env.PATH } },
      );
      expect(stderr).toMatch(/no right to write/);
      expect([status, readdirSync(join(place, 'out'))]).toEqual([1, []]);
    }
  });
});
