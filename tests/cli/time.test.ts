import { writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { createDots, encodeDots, sha256 } from '../../src/plane/index.ts';
import { runCli, useFolder } from './run-cli.ts';

/** 1000 dots in each of 4 lines; the second line is empty. */
function makeBitmap() {
  const dots = createDots(1000, 4);
  dots.data.fill(1);
  dots.data.fill(0, 1000, 2000);
  return encodeDots(dots, { pitchMm: 0.02, lineSpacingMm: 0.04 }, { format: 'png' });
}

function makeTicket(change: Record<string, unknown> = {}) {
  return JSON.stringify({
    schema: 'tonewright-ticket/1',
    bitmap: { file: 'dog.png', sha256: sha256(makeBitmap()) },
    machine: { name: 'galvo-355-f210' },
    grid: { pitchMm: 0.02, lineSpacingMm: 0.04 },
    settings: { powerW: 2, speedMmPerS: 500, rateKHz: 50, passes: 3, scan: 'two-way' },
    name: 'dog',
    ...change,
  });
}

describe('tonewright time', () => {
  const newFolder = useFolder();
  const prepare = (ticket = makeTicket()) => {
    const cwd = newFolder();
    writeFileSync(join(cwd, 'dog.png'), makeBitmap());
    writeFileSync(join(cwd, 'dog.ticket.json'), ticket);
    return cwd;
  };
  const timeJson = async (cwd: string, ...argv: string[]) => {
    const { status, stdout, stderr } = await runCli(['time', ...argv, '--json'], { cwd });
    expect(status, stderr).toBe(0);
    return { ...JSON.parse(stdout), stderr };
  };

  test('takes the grid from the file and the settings from the machine', async () => {
    const time = await timeJson(prepare(), 'dog.png', '--machine', 'galvo-355-f210');
    expect(time).toMatchObject({ scanLines: 3, emptyLines: 1, passes: 1, machine: 'galvo-355-f210', stderr: '' });
    // 3 lines of 1000 dots of 0.02 mm: 60 mm at 1000 mm/s; a file keeps whole dots a metre, 0.02 mm = 50000.
    expect(time.parts.markingS).toBeCloseTo(0.06, 9);
    expect(time.grid).toEqual({ pitchMm: 0.02, lineSpacingMm: 0.04 });
    // v²/2a = 1000²/2e7 = 0.05 mm, 2v/a = 0.2 ms a line; delays 250 + 100 + 50 + 100 µs a line; 2 s overhead.
    // Back over 20 + 2·0.05 = 20.1 mm and 0.08, 0.04 or 0.12 mm: 2·4000/1e7 + (d − 1.6)/4000 each.
    const jump = (dy: number) => 0.0008 + (Math.hypot(20.1, dy) - 1.6) / 4000;
    expect(time.seconds).toBeCloseTo(2 + 0.06 + 3 * 0.0002 + 3 * 0.0005 + jump(0.08) + jump(0.04) + jump(0.12), 9);
  });

  test('takes machine, grid and settings from a ticket, with the bitmap beside it', async () => {
    const time = await timeJson(prepare(), 'dog.ticket.json');
    expect(time).toMatchObject({ passes: 3, settings: { scan: 'two-way', speedMmPerS: 500 }, stderr: '' });
    expect(time.parts.markingS).toBeCloseTo((3 * 60) / 500, 9);
  });

  test('lets options stand over the ticket and the file', async () => {
    const options = '--speed 250 --passes 2 --scan one-way --pitch 40um --spacing 0.1 --machine galvo-355-f100'.split(
      ' ',
    );
    const time = await timeJson(prepare(), 'dog.ticket.json', ...options);
    expect(time).toMatchObject({
      machine: 'galvo-355-f100',
      passes: 2,
      settings: { scan: 'one-way', speedMmPerS: 250 },
      grid: { pitchMm: 0.04, lineSpacingMm: 0.1 },
    });
    expect(time.parts.markingS).toBeCloseTo((2 * 3 * 40) / 250, 9);
  });

  test('prints the total, where it goes, and how it was computed', async () => {
    const { stdout } = await runCli(['time', 'dog.png', '--machine', 'gantry-450'], { cwd: prepare() });
    expect(stdout).toMatch(/^Time +\d/);
    for (const words of [/marking +.* s +.* %/, /3 burned, 1 empty and skipped/, /Time = overhead \+ passes/]) {
      expect(stdout.replace(/\n(?=\S)/g, ' ')).toMatch(words);
    }
  });

  test('warns of a bitmap that is not the ticket’s, and of a size beyond the machine', async () => {
    const other = prepare(makeTicket({ bitmap: { file: 'dog.png', sha256: 'other' } }));
    expect((await timeJson(other, 'dog.ticket.json')).stderr).toMatch(/not the bitmap that the ticket was written for/);
    const wide = await timeJson(prepare(), 'dog.png', '--machine', 'galvo-355-f210', '--pitch', '1');
    expect(wide.stderr).toMatch(/1000 × .* mm is larger than the field/);
  });

  test.each([
    [['dog.png'], 2, /found a bitmap and no machine.*\(--machine\)/],
    [['cat.png', '--machine', 'gantry-450'], 1, /cat\.png/],
    [['dog.png', '--machine', 'gantry-450', '--speed', '0'], 2, /--speed: found "0"/],
    [['dog.png', '--machine', 'gantry-450', '--scan', 'sideways'], 2, /sideways/],
    [['dog.png', '--machine', 'gantry-450', '--speed', '9000'], 2, /speed of 9000 mm\/s, needed 1 to 300 mm\/s/],
  ])('%j ends with %i', async (argv, exit, message) => {
    const { status, stdout, stderr } = await runCli(['time', ...argv], { cwd: prepare() });
    expect([status, stdout]).toEqual([exit, '']);
    expect(stderr).toMatch(message);
  });

  test.each([
    [{ schema: 'tonewright-ticket/9' }, /"schema"/],
    [{ grid: { pitchMm: -1, lineSpacingMm: 1 } }, /"grid.pitchMm"/],
    [{ bitmap: { file: '../dog.png', sha256: '' } }, /"bitmap.file"/],
    [{ settings: { powerW: 1 } }, /"settings.speedMmPerS"/],
  ])('a ticket with %j is refused by the name of its field', async (change, field) => {
    const { status, stderr } = await runCli(['time', 'dog.ticket.json'], { cwd: prepare(makeTicket(change)) });
    expect(status).toBe(1);
    expect(stderr).toMatch(field);
  });

  test('a bitmap without resolution needs pitch and spacing; one of them stands for both', async () => {
    const cwd = newFolder();
    // Without its pHYs chunk (9 bytes of data, 12 of frame) a PNG says nothing of its resolution.
    const png = makeBitmap();
    const at = png.indexOf('pHYs') - 4;
    writeFileSync(join(cwd, 'bare.png'), Buffer.concat([png.subarray(0, at), png.subarray(at + 21)]));
    const bare = await runCli(['time', 'bare.png', '--machine', 'gantry-450'], { cwd });
    expect([bare.status, bare.stderr]).toEqual([2, expect.stringMatching(/no resolution in the bitmap/)]);
    const { grid } = await timeJson(cwd, 'bare.png', '--machine', 'gantry-450', '--pitch', '0.1');
    expect(grid).toEqual({ pitchMm: 0.1, lineSpacingMm: 0.1 });
  });
});
