import { existsSync, mkdirSync, readdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { drawEngraver, engraveForSeconds, normal } from '../../benchmarks/common/engraver.ts';
import { planReadings } from '../../benchmarks/common/stopwatch.ts';
import { drawDotGalvo, drawFlashingGalvo, planStrangeReadings } from '../../benchmarks/common/strange-machines.ts';
import { parseMachine } from '../../src/machine/index.ts';
import { createRandom } from '../../src/numeric/index.ts';
import { encodeDots } from '../../src/plane/index.ts';
import { runCli, useFolder } from './run-cli.ts';

const newFolder = useFolder();

/** Planned readings of one engraver: bitmaps and what a stopwatch shows. */
const READINGS = (() => {
  const random = createRandom(11);
  const chance = () => random.nextUnit();
  const engraver = { ...drawEngraver('gantry', chance), bare: 'skipped' as const };
  return planReadings('gantry', chance).map(({ dots, job }) => ({
    job,
    png: encodeDots(dots, job, { format: 'png' }),
    seconds: engraveForSeconds(engraver, { dots, job, chance }) + 0.25 * normal(chance),
  }));
})();

/** A folder with the bitmaps, their times in readings.csv, and an empty shop. */
function prepareReadings({ slip = 0 } = {}) {
  const cwd = newFolder();
  const lines = READINGS.map(({ job, png, seconds }, i) => {
    writeFileSync(join(cwd, `job${i}.png`), png);
    const shown = (seconds + (i === 2 ? slip : 0)).toFixed(1);
    return `job${i}.png,${shown},${job.speedMmPerS},${job.passes},${job.scan}`;
  });
  writeFileSync(join(cwd, 'readings.csv'), `file,seconds,speed,passes,scan\n${lines.join('\n')}\n`);
  mkdirSync(join(cwd, 'shop'));
  return { cwd, lines };
}

const FIT = ['time', '--stopwatch', 'readings.csv', '--machine', 'gantry-10600'];

describe('tonewright time --stopwatch', () => {
  test('writes the fitted motion with its date and covariance into the shop, whence estimates take it', async () => {
    const { cwd } = prepareReadings();
    const { status, stdout, stderr } = await runCli(FIT, { cwd });
    expect([status, stderr]).toEqual([0, '']);
    expect(stdout).toMatch(/fitted to 9 readings/);
    const path = join(cwd, 'shop', 'machines', 'gantry-10600.json');
    const machine = parseMachine(JSON.parse(readFileSync(path, 'utf8')), path);
    expect(machine.motionUncertainty).toMatchObject({ kind: 'fitted', date: '2026-01-01', readings: 9, leftOut: 0 });
    expect(machine.origins.motion).toMatchObject({ kind: 'measured', source: 'ownStopwatch' });
    const time = await runCli(['time', 'job1.png', '--machine', 'gantry-10600', '--json'], { cwd });
    const { interval, seconds, motionOrigin } = JSON.parse(time.stdout);
    expect([interval.basis, motionOrigin]).toEqual(['fitted', 'measured']);
    expect((interval.highS - interval.lowS) / seconds).toBeLessThan(0.05);
    const shown = await runCli(['machine', 'show', 'gantry-10600'], { cwd });
    expect(shown.stdout).toMatch(/fitted on 2026-01-01 to 9 stopwatch readings/);
  });

  test('replaces a file that is there only with --force, and writes nothing with --dry', async () => {
    const { cwd } = prepareReadings();
    const dry = await runCli([...FIT, '--dry'], { cwd });
    expect(dry.status).toBe(0);
    expect(dry.stdout).toMatch(/Nothing was written/);
    expect(readdirSync(join(cwd, 'shop'))).toEqual([]);
    await runCli(FIT, { cwd });
    const before = readFileSync(join(cwd, 'shop', 'machines', 'gantry-10600.json'), 'utf8');
    const again = await runCli(FIT, { cwd });
    expect([again.status, again.stderr]).toEqual([
      1,
      expect.stringMatching(
        /already there, needed leave to replace its motion, or a look at the fit alone \(--force, --dry\)/,
      ),
    ]);
    expect(readFileSync(join(cwd, 'shop', 'machines', 'gantry-10600.json'), 'utf8')).toBe(before);
    expect((await runCli([...FIT, '--force'], { cwd })).status).toBe(0);
  });

  test('says which reading looks wrong, by its line', async () => {
    const { cwd } = prepareReadings({ slip: 60 });
    const { stdout } = await runCli([...FIT, '--dry', '--json'], { cwd });
    const { readings, file } = JSON.parse(stdout);
    expect(file).toBeNull();
    expect(readings.filter(({ leftOut }: { leftOut: boolean }) => leftOut)).toEqual([
      expect.objectContaining({ line: 4, file: 'job2.png', hint: '1 min misread' }),
    ]);
    const text = await runCli([...FIT, '--dry'], { cwd });
    expect(text.stdout.replace(/\n/g, ' ')).toMatch(/LOOKS WRONG, left out.*Line 4: job2\.png .*1 min misread/);
  });

  test('says what further readings would help and what is not determined', async () => {
    const { cwd, lines } = prepareReadings();
    writeFileSync(join(cwd, 'readings.csv'), `file,seconds,speed,passes,scan\n${lines.slice(0, 2).join('\n')}\n`);
    const { stdout } = await runCli([...FIT, '--dry'], { cwd });
    expect(stdout).toMatch(/NOT DETERMINED/);
    expect(stdout).toMatch(/Jobs like these are now known to ±[\d.]+ %\. These further readings would help most/);
  });

  test('refuses readings that no motion explains, by their lines', async () => {
    const { cwd, lines } = prepareReadings();
    const wild = lines.map((line, i) => line.replace(/,[\d.]+,/, `,${i % 2 === 0 ? 3 : 9999},`));
    writeFileSync(join(cwd, 'readings.csv'), `file,seconds,speed,passes,scan\n${wild.join('\n')}\n`);
    const { status, stdout, stderr } = await runCli(FIT, { cwd });
    expect([status, stdout]).toEqual([1, '']);
    expect(stderr).toMatch(/found readings that no motion explains, line \d+ \(job\d\.png\)/);
    expect(readdirSync(join(cwd, 'shop'))).toEqual([]);
  });

  test('refuses to call a machine measured by fewer than three readings, but lets them be looked at', async () => {
    for (const count of [1, 2]) {
      const { cwd, lines } = prepareReadings();
      writeFileSync(join(cwd, 'readings.csv'), `file,seconds,speed,passes,scan\n${lines.slice(0, count).join('\n')}\n`);
      const { status, stdout, stderr } = await runCli(FIT, { cwd });
      expect([status, stdout]).toEqual([1, '']);
      expect(stderr).toMatch(
        new RegExp(`found ${count} usable readings?, needed at least 3 to call a machine measured`),
      );
      expect((await runCli([...FIT, '--force'], { cwd })).status).toBe(1);
      expect(readdirSync(join(cwd, 'shop'))).toEqual([]);
      expect((await runCli([...FIT, '--dry'], { cwd })).status).toBe(0);
    }
  });

  test('asks for a reading again that no slip explains, and writes nothing', async () => {
    const { cwd } = prepareReadings({ slip: 31 });
    const { status, stderr } = await runCli(FIT, { cwd });
    expect(status).toBe(1);
    expect(stderr).toMatch(
      /found line 4 \(job2\.png\): .*, by the others .*, and no slip explains it.*Time that job again/,
    );
    expect(readdirSync(join(cwd, 'shop'))).toEqual([]);
    expect((await runCli([...FIT, '--dry'], { cwd })).stdout).toMatch(/LOOKS WRONG, left out/);
  });

  /** Readings of a galvo that burns dot by dot, or flashes each dot for a time of its own. */
  function prepareDots(draw: typeof drawDotGalvo) {
    const random = createRandom(21);
    const chance = () => random.nextUnit();
    const stranger = draw(chance);
    const cwd = newFolder();
    const lines = planStrangeReadings('galvo', chance).map(({ dots, job }, i) => {
      writeFileSync(join(cwd, `job${i}.png`), encodeDots(dots, job, { format: 'png' }));
      const seconds = stranger.seconds(dots, job, chance) + 0.25 * normal(chance);
      return `job${i}.png,${seconds.toFixed(1)},${job.speedMmPerS},${job.passes},${job.scan}`;
    });
    writeFileSync(join(cwd, 'readings.csv'), `file,seconds,speed,passes,scan\n${lines.join('\n')}\n`);
    mkdirSync(join(cwd, 'shop'));
    return cwd;
  }

  const FIT_GALVO = ['time', '--stopwatch', 'readings.csv', '--machine', 'galvo-355-f210'];

  test('finds that a galvo burns dot by dot, blames no reading, and the machine says so ever after', async () => {
    const cwd = prepareDots(drawDotGalvo);
    const { status, stdout } = await runCli(FIT_GALVO, { cwd });
    expect(status).toBe(0);
    expect(stdout).toMatch(/fitted to 8 readings\n/);
    expect(stdout.replace(/\s+/g, ' ')).toMatch(/Bare places: each dot is burned by itself, .*; the readings say so/);
    const path = join(cwd, 'shop', 'machines', 'galvo-355-f210.json');
    expect(parseMachine(JSON.parse(readFileSync(path, 'utf8')), path).motion.bare).toBe('dot-by-dot');
    const shown = await runCli(['machine', 'show', 'galvo-355-f210'], { cwd });
    expect(shown.stdout).toMatch(/speed over bare dots +\d/);
    const time = await runCli(['time', 'job1.png', '--machine', 'galvo-355-f210'], { cwd });
    expect(time.stdout.replace(/\s+/g, ' ')).toMatch(/Each dot is burned by itself/);
  });

  test('writes no motion that does not explain its readings', async () => {
    const cwd = prepareDots(drawFlashingGalvo);
    const { status, stderr } = await runCli(FIT_GALVO, { cwd });
    expect(status).toBe(1);
    expect(stderr).toMatch(/found readings that no motion explains, line \d+ .* its times cannot be foretold/);
    expect(readdirSync(join(cwd, 'shop'))).toEqual([]);
  });

  test('writes the file that was named', async () => {
    const { cwd } = prepareReadings();
    const own = join(cwd, 'mine.json');
    writeFileSync(own, readFileSync('shared/machines/gantry-10600.json', 'utf8').replace('"gantry-10600"', '"mine"'));
    const { status } = await runCli(['time', '--stopwatch', 'readings.csv', '--machine', own, '--force'], { cwd });
    expect(status).toBe(0);
    expect(JSON.parse(readFileSync(own, 'utf8'))).toMatchObject({
      name: 'mine',
      motionUncertainty: { kind: 'fitted' },
    });
    expect(existsSync(join(cwd, 'shop', 'machines'))).toBe(false);
  });

  test.each([
    ['', /found an empty file/],
    ['file,seconds\n', /no line below/],
    ['file,time\njob0.png,3', /line 1: found the unknown column "time" \(column 2\); did you mean seconds\?/],
    ['file,speed\njob0.png,3', /no column "seconds", needed one with what the stopwatch showed/],
    ['file,seconds\njob0.png,soon', /line 2, column 2: found "soon", needed a time above 0 such as 95/],
    ['file,seconds\njob0.png,1:75', /line 2, column 2: found "1:75"/],
    ['file,seconds\njob0.png,0', /line 2, column 2: found "0"/],
    ['file,seconds\njob0.png,', /line 2: found nothing in the column "seconds"/],
    ['file,seconds,speed\njob0.png,95,-3', /line 2, column 3: found "-3", needed a speed above 0, mm\/s/],
    ['file,seconds,passes\n\njob0.png,95,1.5', /line 3, column 3: found "1.5", needed a whole number/],
    ['file,seconds,scan\njob0.png,95,sideways', /line 2, column 3: found "sideways", needed one-way or two-way/],
    ['file,seconds,pitch\njob0.png,95,wide', /line 2, column 3: found "wide", needed a length/],
    ['file,seconds\nnone.png,95', /none\.png/],
  ])('refuses %j', async (csv, message) => {
    const { cwd } = prepareReadings();
    writeFileSync(join(cwd, 'readings.csv'), csv);
    const { status, stdout, stderr } = await runCli(FIT, { cwd });
    expect([status, stdout]).toEqual([1, '']);
    expect(stderr).toMatch(message);
    expect(readdirSync(join(cwd, 'shop'))).toEqual([]);
  });

  test('understands clocks, decimal commas and semicolons', async () => {
    const { cwd, lines } = prepareReadings();
    const minutes = lines.map((line) => {
      const [file, seconds, ...rest] = line.split(',');
      const whole = Number(seconds);
      const rest60 = (whole % 60).toFixed(1).padStart(4, '0').replace('.', ',');
      return [file, `${Math.floor(whole / 60)}:${rest60}`, ...rest].join(';');
    });
    const plain = JSON.parse((await runCli([...FIT, '--dry', '--json'], { cwd })).stdout);
    writeFileSync(join(cwd, 'readings.csv'), `file;seconds;speed;passes;scan\n${minutes.join('\n')}\n`);
    const clocks = JSON.parse((await runCli([...FIT, '--dry', '--json'], { cwd })).stdout);
    expect(clocks.motion).toEqual(plain.motion);
  });

  test.each([
    [['time', '--stopwatch', 'readings.csv'], /--stopwatch without --machine/],
    [[...FIT, 'job0.png'], /found job0\.png beside --stopwatch/],
    [[...FIT, '--speed', '300'], /found --speed beside --stopwatch, needed .* in a column/],
    [[...FIT, '--compare'], /found --compare beside --stopwatch/],
    [['time', 'job0.png', '--screens', 'line'], /found --screens with a bitmap or ticket, needed --compare/],
    [['time'], /found no file, needed a bitmap or a ticket/],
  ])('%j is wrong usage', async (argv, message) => {
    const { cwd } = prepareReadings();
    const { status, stderr } = await runCli(argv, { cwd });
    expect([status, stderr]).toEqual([2, expect.stringMatching(message)]);
  });
});

describe('tonewright time --compare', () => {
  const CAT = join(process.cwd(), 'images', 'photos', 'cat.png');
  const COMPARE = ['time', CAT, '--compare', '--size', '20x15', '--profile', 'anodised-black'];

  test('lists every way in order of time, and marks those that no other beats', async () => {
    const argv = [...COMPARE, '--screens', 'ostromoukhov,line', '--spacings', '0.02,0.03', '--json'];
    const { status, stdout } = await runCli(argv);
    expect(status).toBe(0);
    const { ways } = JSON.parse(stdout);
    expect(ways).toHaveLength(8);
    const times = ways.map(({ seconds }: { seconds: number }) => seconds);
    expect(times).toEqual([...times].sort((a, b) => a - b));
    expect(ways[0].best).toBe(true);
    for (const way of ways) {
      expect(way.meanDeltaL).toBeGreaterThan(0);
      expect(way.interval.lowS).toBeLessThan(way.seconds);
      expect(way.rangeL).toBeGreaterThan(10);
      expect(way.curve).toBe(way.screen === 'ostromoukhov' && way.lineSpacingMm === 0.02 ? 'measured' : 'predicted');
    }
    // Wider spacing and two directions take less time, whatever the screen.
    const seconds = (spacing: number, scan: string) =>
      ways.find(
        (way: { screen: string; lineSpacingMm: number; scan: string }) =>
          way.screen === 'line' && way.lineSpacingMm === spacing && way.scan === scan,
      ).seconds;
    expect(seconds(0.03, 'one-way')).toBeLessThan(seconds(0.02, 'one-way'));
    expect(seconds(0.02, 'two-way')).toBeLessThan(seconds(0.02, 'one-way'));
  });

  test('is the time and the error of the job that prepare makes', async () => {
    const cwd = newFolder();
    await runCli(['prepare', CAT, '--size', '20x15', '--profile', 'anodised-black', '--out', 'out'], { cwd });
    const ticket = JSON.parse(readFileSync(join(cwd, 'out', 'cat.ticket.json'), 'utf8'));
    const argv = [...COMPARE, '--spacings', '0.02', '--scan', 'one-way'];
    const { ways } = JSON.parse((await runCli([...argv, '--json'])).stdout);
    const own = ways.filter(({ screen }: { screen: string }) => screen === ticket.screen.name);
    expect(own).toHaveLength(1);
    expect(own[0].seconds).toBe(ticket.time.seconds);
    expect(own[0].interval).toEqual(ticket.time.interval);
    expect(own[0].meanDeltaL).toBe(ticket.prediction.meanDeltaL);
    const { stdout } = await runCli([...argv, '--screens', 'auto']);
    expect(stdout).toMatch(/screen +spacing mm +scan +time +95 % interval +mean ΔL\* +worst +range L\* +curve/);
  });

  test.each([
    [['time', '--compare'], /found no photo/],
    [['time', CAT, '--compare', '--profile', 'anodised-black'], /--compare without --size/],
    [['time', 'cat.ticket.json', '--compare', '--size', 'ID-1'], /needed the photo itself/],
    [[...COMPARE, '--screens', 'none'], /found no screen "none"/],
    [[...COMPARE, '--spacings', '0.02,x'], /--spacings: found "x"/],
  ])('%j is wrong usage', async (argv, message) => {
    const { status, stderr } = await runCli(argv);
    expect([status, stderr]).toEqual([2, expect.stringMatching(message)]);
  });
});

describe('prepare with a price list', () => {
  const CAT = join(process.cwd(), 'images', 'photos', 'cat.png');
  const PREPARE = ['prepare', CAT, '--size', '20x15', '--profile', 'anodised-black', '--out', 'out', '--force'];
  const PRICES = join(process.cwd(), 'shared', 'shop', 'prices.json');
  const ticketIn = (cwd: string) => JSON.parse(readFileSync(join(cwd, 'out', 'cat.ticket.json'), 'utf8'));

  test('writes the quote of one piece, from the file that is named or from the shop folder', async () => {
    const cwd = newFolder();
    const { stdout } = await runCli([...PREPARE, '--prices', PRICES], { cwd });
    const { price, time } = ticketIn(cwd);
    expect(price).toMatchObject({ currency: 'EUR', pieces: [{ id: 'cat', count: 1 }] });
    expect(price.pieces[0].chargedSeconds).toBe(15 * Math.ceil(time.seconds / 15));
    expect(stdout).toMatch(/price +€[\d.]+ for one/);
    expect(readFileSync(join(cwd, 'out', 'cat.ticket.html'), 'utf8')).toMatch(/Price of one.*€[\d.]+: set-up 7\.20/);
    mkdirSync(join(cwd, 'shop'));
    writeFileSync(join(cwd, 'shop', 'prices.json'), readFileSync(PRICES));
    await runCli(PREPARE, { cwd });
    expect(ticketIn(cwd).price).toEqual(price);
    await runCli([...PREPARE, '--prices', 'none'], { cwd });
    expect(ticketIn(cwd).price).toBeUndefined();
  });

  test('has no price where there is no list, and refuses a broken one', async () => {
    const cwd = newFolder();
    await runCli(PREPARE, { cwd });
    expect(ticketIn(cwd).price).toBeUndefined();
    writeFileSync(join(cwd, 'broken.json'), '{"schema": "tonewright-prices/1"}');
    const broken = await runCli([...PREPARE, '--prices', 'broken.json'], { cwd });
    expect([broken.status, broken.stderr]).toEqual([
      1,
      expect.stringMatching(/price list .*broken\.json, field "title"/),
    ]);
    const missing = await runCli([...PREPARE, '--prices', 'gone.json'], { cwd });
    expect([missing.status, missing.stderr]).toEqual([1, expect.stringMatching(/gone\.json/)]);
  });
});
