import { spawnSync } from 'node:child_process';
import { chmodSync, cpSync, existsSync, mkdirSync, readdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join, resolve } from 'node:path';
import sharp from 'sharp';
import { describe, expect, test } from 'vitest';
import { CUT_OUTS } from '../../benchmarks/common/odd-images.ts';
import { runCli, useFolder } from './run-cli.ts';

const folder = useFolder();
const CAT = 'images/photos/cat.png';
/** A small piece, so that a test of the whole road takes a moment. */
const SMALL = ['--size', '16x10', '--profile', 'anodised-black'];

const prepare = (photo: string, out: string, ...more: string[]) =>
  runCli(['prepare', photo, ...SMALL, '--out', out, ...more]);

describe('prepare', () => {
  test('writes bitmap, proof and ticket, and one JSON document on stdout', async () => {
    const out = folder();
    const { status, stdout } = await prepare(CAT, out, '--json');
    expect(status).toBe(0);
    const { files, ticket } = JSON.parse(stdout);
    expect(files.map((file: string) => file.slice(out.length + 1))).toEqual([
      'cat.png',
      'cat.proof.png',
      'cat.ticket.json',
      'cat.ticket.html',
    ]);
    expect(readdirSync(out).sort()).toEqual(['cat.png', 'cat.proof.png', 'cat.ticket.html', 'cat.ticket.json']);
    expect(JSON.parse(readFileSync(join(out, 'cat.ticket.json'), 'utf8'))).toEqual(ticket);
    expect([ticket.bitmap.width, ticket.bitmap.height]).toEqual([800, 500]);
    expect(ticket.time.seconds).toBeGreaterThan(0);
    expect(ticket.prediction.meanDeltaL).toBeLessThan(3);
  });

  test('writes a grey bitmap of one bit whose file says where the dots lie', async () => {
    const out = folder();
    await prepare(CAT, out, '--spacing', '0.025', '--only', 'bitmap');
    const bytes = readFileSync(join(out, 'cat.png'));
    expect([bytes[24], bytes[25]]).toEqual([1, 0]);
    const at = bytes.indexOf('pHYs') + 4;
    expect([bytes.readUInt32BE(at), bytes.readUInt32BE(at + 4), bytes[at + 8]]).toEqual([50000, 40000, 1]);
    const { data, info } = await sharp(bytes).raw().toBuffer({ resolveWithObject: true });
    expect([info.width, info.height]).toEqual([800, 400]);
    expect(new Set(data)).toEqual(new Set([0, 255]));
    expect(readdirSync(out)).toEqual(['cat.png']);
  });

  test('gives the same bytes for the same photo and settings', async () => {
    const [first, second] = [folder(), folder()];
    await prepare(CAT, first);
    await prepare(CAT, second);
    for (const file of readdirSync(first))
      expect(readFileSync(join(first, file)).equals(readFileSync(join(second, file))), file).toBe(true);
  });

  test('gives the same bytes on any number of threads', () => {
    const made = ['1', '4'].map((threads) => {
      const out = folder();
      const argv = [
        'dist/tonewright.cjs',
        'prepare',
        'images/photos/raccoon.jpg',
        '--size',
        '30x20',
        '--profile',
        'anodised-black',
        '--out',
        out,
      ];
      const env = {
        PATH: process.env.PATH,
        UV_THREADPOOL_SIZE: threads,
        VIPS_CONCURRENCY: threads,
        OMP_NUM_THREADS: threads,
      };
      expect(spawnSync(process.execPath, argv, { env }).status).toBe(0);
      return readdirSync(out).map((file) => readFileSync(join(out, file)));
    });
    expect(made[0]!.length).toBe(4);
    for (const [i, bytes] of made[0]!.entries()) expect(bytes.equals(made[1]![i]!)).toBe(true);
  });

  test('replaces a result only when told to', async () => {
    const out = folder();
    await prepare(CAT, out);
    const before = readFileSync(join(out, 'cat.png'));
    const refused = await prepare(CAT, out, '--screen', 'stucki');
    expect(refused.status).toBe(1);
    expect(refused.stderr).toMatch(/already there/);
    // Before any work: even before the photo is looked for.
    expect((await prepare('gone.png', out, '--name', 'cat')).stderr).toMatch(/already there/);
    expect(readFileSync(join(out, 'cat.png')).equals(before)).toBe(true);
    expect((await prepare(CAT, out, '--screen', 'stucki', '--force')).status).toBe(0);
    expect(readFileSync(join(out, 'cat.png')).equals(before)).toBe(false);
  });

  test('warns loudly about a material without a profile, on every output', async () => {
    const out = folder();
    const { status, stderr } = await runCli([
      'prepare',
      CAT,
      '--size',
      '16x10',
      '--material',
      'slate',
      '--machine',
      'gantry-450',
      '--out',
      out,
    ]);
    expect(status).toBe(0);
    for (const text of [
      stderr,
      readFileSync(join(out, 'cat.ticket.html'), 'utf8'),
      readFileSync(join(out, 'cat.ticket.json'), 'utf8'),
    ]) {
      expect(text).toContain('NOT CALIBRATED');
    }
  });

  test('names what differs when the profile was learned with another machine or spacing', async () => {
    const { stderr } = await prepare(CAT, folder(), '--machine', 'galvo-355-f100', '--spacing', '0.03');
    expect(stderr).toMatch(/another lens: 210 mm/);
    expect(stderr).toMatch(/another line spacing: 0.02 mm/);
  });

  test('leaves transparent parts bare', async () => {
    const photo = join(folder(), 'logo.png');
    const half = Buffer.alloc(200 * 100 * 4, 255);
    for (let i = 0; i < half.length; i += 4) half[i + 3] = (i / 4) % 200 < 100 ? 0 : 255;
    await sharp(half, { raw: { width: 200, height: 100, channels: 4 } })
      .png()
      .toFile(photo);
    const out = folder();
    await runCli([
      'prepare',
      photo,
      '--size',
      '16x8',
      '--profile',
      'anodised-black',
      '--tone',
      'plain',
      '--only',
      'bitmap',
      '--out',
      out,
    ]);
    const { data, info } = await sharp(join(out, 'logo.png')).raw().toBuffer({ resolveWithObject: true });
    const firing = (from: number, to: number) => {
      let count = 0;
      for (let y = 0; y < info.height; y++)
        for (let x = from; x < to; x++) if (data[(y * info.width + x) * info.channels] === 0) count++;
      return count / info.height / (to - from);
    };
    // White on a material that marks lighter is solid; what is transparent must not be touched.
    expect(firing(0, 390)).toBe(0);
    expect(firing(410, 800)).toBe(1);
  });

  test('keeps the rounded corners and the margin of a card bare', async () => {
    const out = folder();
    await runCli([
      'prepare',
      CAT,
      '--size',
      'ID-1',
      '--margin',
      '1',
      '--profile',
      'anodised-black',
      '--spacing',
      '0.05',
      '--pitch',
      '0.05',
      '--only',
      'bitmap',
      '--out',
      out,
    ]);
    const { data, info } = await sharp(join(out, 'cat.png')).raw().toBuffer({ resolveWithObject: true });
    let edge = 0;
    for (let y = 0; y < info.height; y++)
      for (let x = 0; x < info.width; x++) {
        const inside = x >= 20 && y >= 20 && x < info.width - 20 && y < info.height - 20;
        if (!inside && data[(y * info.width + x) * info.channels] === 0) edge++;
      }
    expect(edge).toBe(0);
  });
});

describe('bad input leaves no file behind and says what to do', () => {
  const bad: readonly [name: string, bytes: () => Buffer | Promise<Buffer>, says: RegExp][] = [
    ['not an image', () => Buffer.from('Dear shop, please engrave my dog.'), /JPEG, PNG, TIFF, WebP, AVIF or HEIC/],
    ['zero bytes', () => Buffer.alloc(0), /no bytes|0 bytes/],
    ['a truncated JPEG', () => readFileSync('images/photos/raccoon.jpg').subarray(0, 40_000), /cut off|damaged/],
    [
      '1 × 1',
      () =>
        sharp({ create: { width: 1, height: 1, channels: 3, background: '#888' } })
          .png()
          .toBuffer(),
      /1 × 1/,
    ],
    [
      '60 000 × 10',
      () =>
        sharp({ create: { width: 60_000, height: 10, channels: 3, background: '#888' } })
          .png()
          .toBuffer(),
      /20/,
    ],
  ];
  test.each(bad)('%s', async (_, bytes, says) => {
    const photo = join(folder(), 'photo.jpg');
    writeFileSync(photo, await bytes());
    const out = join(folder(), 'out');
    const { status, stdout, stderr } = await prepare(photo, out);
    expect([status, stdout]).toEqual([1, '']);
    expect(stderr).toMatch(says);
    expect(existsSync(out)).toBe(false);
  });

  const SIDES = { width: 40, height: 30 };
  const nothing: readonly [
    name: string,
    background: string | { r: number; g: number; b: number; alpha: number },
    says: RegExp,
  ][] = [
    ['all white', '#fff', /one tone alone \(L\* 100\.0\)/],
    ['all of one grey', '#808080', /one tone alone \(L\* 53\.6\)/],
    ['all transparent', { r: 10, g: 20, b: 30, alpha: 0 }, /nothing but transparency/],
  ];
  test.each(nothing)('%s: nothing to see', async (_, background, says) => {
    const photo = join(folder(), 'photo.png');
    const out = join(folder(), 'out');
    await sharp({ create: { ...SIDES, channels: typeof background === 'string' ? 3 : 4, background } }).toFile(photo);
    const { status, stderr } = await prepare(photo, out);
    expect(status).toBe(1);
    expect(stderr).toMatch(says);
    expect(existsSync(out)).toBe(false);
  });

  test('transparency of a grey photo stays bare as that of a colour photo does', async () => {
    const bitmaps: Buffer[] = [];
    for (const kind of [
      'grey and alpha PNG',
      'grey and alpha TIFF',
      'grey PNG with one transparent code',
      'RGBA PNG',
    ]) {
      const [, make] = CUT_OUTS.find(([what]) => what === kind)!;
      const photo = join(folder(), 'cut-out.png');
      const out = join(folder(), 'out');
      writeFileSync(photo, await make());
      expect((await prepare(photo, out)).status).toBe(0);
      bitmaps.push(readFileSync(join(out, 'cut-out.png')));
    }
    for (const bitmap of bitmaps) expect(bitmap.equals(bitmaps.at(-1)!)).toBe(true);
  });

  test('a decompression bomb is told from its header', async () => {
    const photo = join(folder(), 'bomb.png');
    const bytes = await sharp({ create: { width: 16, height: 16, channels: 3, background: '#888' } })
      .png()
      .toBuffer();
    bytes.writeUInt32BE(100_000, 16);
    bytes.writeUInt32BE(100_000, 20);
    writeFileSync(photo, bytes);
    const { status, stderr } = await prepare(photo, folder());
    expect(status).toBe(1);
    expect(stderr).toMatch(/268/);
  });

  test.each([
    ['a directory', ['prepare', 'images', ...SMALL], 1, /folder/],
    ['a missing file', ['prepare', 'images/nothing.jpg', ...SMALL], 1, /nothing/],
    [
      'a size larger than the field',
      ['prepare', CAT, '--size', '300x10', '--profile', 'anodised-black'],
      1,
      /missing 150 mm in width/,
    ],
    ['PVC', ['prepare', CAT, '--size', '16x10', '--material', 'PVC', '--machine', 'gantry-450'], 1, /never/],
    [
      'vinyl under another name',
      ['prepare', CAT, '--size', '16x10', '--material', 'white vinyl sheet', '--machine', 'gantry-450'],
      1,
      /never/,
    ],
    ['an unknown machine', ['prepare', CAT, ...SMALL, '--machine', 'galvo-355-f15'], 2, /galvo-355-f210/],
    ['an unknown screen', ['prepare', CAT, ...SMALL, '--screen', 'nothing'], 2, /floyd-steinberg/],
    ['a size that is none', ['prepare', CAT, '--size', '85 wide', '--profile', 'anodised-black'], 2, /WIDTHxHEIGHT/],
    ['a negative pitch', ['prepare', CAT, ...SMALL, '--pitch', '-0.02'], 2, /above 0/],
    ['a focus outside the photo', ['prepare', CAT, ...SMALL, '--keep', '2,0.5'], 2, /0 to 1/],
    ['a tone value out of range', ['prepare', CAT, ...SMALL, '--black-point-l', '99'], 2, /0 to 45/],
    ['neither profile nor material', ['prepare', CAT, '--size', '16x10', '--machine', 'gantry-450'], 2, /profile/],
    ['an unknown option', ['prepare', CAT, ...SMALL, '--sise', '3'], 2, /--size/],
  ])('%s', async (_, argv, status, says) => {
    const out = join(folder(), 'out');
    const result = await runCli([...argv, '--out', out]);
    expect(result.stderr).toMatch(says);
    expect(result.status).toBe(status);
    expect(existsSync(out)).toBe(false);
  });

  test('with --json the error is a document, too', async () => {
    const { status, stdout } = await runCli(['prepare', 'images/nothing.jpg', ...SMALL, '--out', folder(), '--json']);
    expect(status).toBe(1);
    expect(JSON.parse(stdout).error.code).toBe('path-missing');
  });

  test.skipIf(process.platform === 'win32')('a photo without read right, and a folder without write right', () => {
    // Rights do not bind root, so the command runs as nobody there; the built command, from a place that nobody can
    // read.
    const asNobody = process.getuid?.() === 0 ? { uid: 65534, gid: 65534 } : {};
    const place = folder();
    chmodSync(place, 0o755);
    const photo = join(place, 'cat.png');
    cpSync(CAT, photo);
    const program = join(place, 'program');
    mkdirSync(program);
    for (const part of ['dist', 'shared', 'package.json']) cpSync(part, join(program, part), { recursive: true });
    mkdirSync(join(program, 'node_modules'));
    for (const part of ['sharp', '@img', 'detect-libc', 'semver']) {
      if (existsSync(join('node_modules', part)))
        cpSync(join('node_modules', part), join(program, 'node_modules', part), { recursive: true });
    }
    const attempt = (photoMode: number, folderMode: number) => {
      chmodSync(photo, photoMode);
      const out = join(place, `out-${photoMode}`);
      mkdirSync(out);
      chmodSync(out, folderMode);
      const result = spawnSync(
        process.execPath,
        [resolve(program, 'dist/tonewright.cjs'), 'prepare', photo, ...SMALL, '--out', out],
        { ...asNobody, cwd: place, encoding: 'utf8', env: { PATH: process.env.PATH } },
      );
      return { ...result, left: readdirSync(out) };
    };
    const unreadable = attempt(0o000, 0o777);
    expect(unreadable.stderr).toMatch(/does not let the file be read/);
    expect([unreadable.status, unreadable.left]).toEqual([1, []]);
    const unwritable = attempt(0o644, 0o555);
    expect(unwritable.stderr).toMatch(/no right to write/);
    expect([unwritable.status, unwritable.left]).toEqual([1, []]);
  });
});
