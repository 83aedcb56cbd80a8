import { existsSync, mkdirSync, readFileSync, writeFileSync } from 'node:fs';
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { decodeNpy } from '../../src/simulation/index.ts';
import { runCli, useFolder } from './run-cli.ts';

const makeFolder = useFolder();

/** Runs a command that must succeed, and gives its JSON document. */
async function run(cwd: string, ...argv: string[]) {
  const { status, stdout, stderr } = await runCli([...argv, '--json'], { cwd });
  expect([status, argv[0], status === 0 ? '' : stderr]).toEqual([0, argv[0], '']);
  return JSON.parse(stdout);
}

const STRIP = ['--machine', 'galvo-1064-f160', '--material', 'anodised-black', '--spacing', '0.05', '--pitch', '0.05'];

/** A strip burned on the virtual engraver and scanned. */
async function scanStrip(cwd: string, name: string, ...engraveOptions: string[]): Promise<string> {
  const own = ['--material-model', 'anodised-black', '--power', '8', '--speed', '800', '--scan', 'two-way'];
  const engrave = ['strip/chart.png', ...own, '--dpi', '300', '--out', `${name}.npy`];
  await run(cwd, 'simulate', 'engrave', ...engrave, ...engraveOptions);
  await run(cwd, 'simulate', 'capture', `${name}.npy`, '--camera', 'flatbed-300', '--out', `${name}.png`);
  return `${name}.png`;
}

describe('the virtual laser burns what was asked', () => {
  /** Settings that were burned and the file beside the bitmap that asked for them. */
  const burn = async (cwd: string, bitmap: string, ...more: string[]) => {
    const how = ['--material-model', 'anodised-black', '--dpi', '100', '--out', 'piece.png', '--force'];
    return run(cwd, 'simulate', 'engrave', bitmap, ...how, ...more);
  };
  const own = JSON.parse(readFileSync('shared/simulation/anodised-black.json', 'utf8')).settings;

  test('a chart with the machine’s start settings as the material model says, another by the same factors', async () => {
    const cwd = makeFolder();
    const chart = ['check', '--machine', 'galvo-355-f210', '--material', 'anodised-black'];
    const start = (await run(cwd, 'chart', ...chart, '--out', 'start')).layout.settings;
    const usual = await burn(cwd, 'start/chart.png');
    expect(usual.settingsOf).toMatchObject({ file: 'chart.json', machine: 'galvo-355-f210', settings: start });
    expect([usual.settings.powerW, usual.settings.speedMmPerS]).toEqual([own.powerW, own.speedMmPerS]);

    const asked = ['--power', String(1.2 * start.powerW), '--speed', String(0.8 * start.speedMmPerS)];
    await run(cwd, 'chart', ...chart, ...asked, '--passes', '2', '--out', 'strong');
    const { settings } = await burn(cwd, 'strong/chart.png');
    expect(settings.powerW / own.powerW).toBeCloseTo(1.2, 6);
    expect(settings.speedMmPerS / own.speedMmPerS).toBeCloseTo(0.8, 6);
    expect(settings.passes).toBe(2);
    // What is typed counts as it is.
    expect((await burn(cwd, 'strong/chart.png', '--power', '3')).settings.powerW).toBe(3);
  });

  test('a job by its ticket', async () => {
    const cwd = makeFolder();
    const photo = join(process.cwd(), 'images/photos/cat.png');
    const job = ['--size', '8x6', '--profile', 'anodised-black', '--out', 'job'];
    const { ticket } = await run(cwd, 'prepare', photo, ...job);
    const start = (
      await run(cwd, 'chart', 'check', '--machine', 'galvo-355-f210', '--material', 'anodised-black', '--out', 'start')
    ).layout.settings;
    const { settings, settingsOf } = await burn(cwd, 'job/cat.png');
    expect(settingsOf.file).toBe('cat.ticket.json');
    expect(settings.powerW).toBeCloseTo((own.powerW * ticket.settings.powerW) / start.powerW, 6);
    expect(settings.speedMmPerS).toBeCloseTo((own.speedMmPerS * ticket.settings.speedMmPerS) / start.speedMmPerS, 6);
  });
});

describe('from a chart to a verdict, without a laser', () => {
  test('a strip holds against its own reading, a dirty lens is found out, and the history keeps both', async () => {
    const cwd = makeFolder();
    mkdirSync(join(cwd, 'shop'));
    const chart = await run(cwd, 'chart', 'check', ...STRIP, '--out', 'strip');
    expect(chart.kept).toBe(join(cwd, 'shop', 'charts', `${chart.layout.hash}.json`));
    expect(existsSync(join(cwd, 'strip', 'chart.html'))).toBe(true);

    // What a first strip reads becomes the profile's curve; the strip itself is compared with an assumed profile.
    const assumed = JSON.parse(readFileSync('shared/shop/profiles/anodised-black.json', 'utf8'));
    writeFileSync(
      join(cwd, 'start.json'),
      JSON.stringify({
        ...assumed,
        machine: 'galvo-1064-f160',
        grid: { pitchMm: 0.05, lineSpacingMm: 0.05 },
        screen: chart.layout.screen,
        settings: chart.layout.settings,
      }),
    );
    const first = await scanStrip(cwd, 'first', '--seed', '1');
    const reading = await run(cwd, 'check', first, '--profile', join(cwd, 'start.json'), '--chart', 'strip/chart.json');
    expect(reading).toMatchObject({ chart: { kind: 'check', hash: chart.layout.hash }, tags: 3, curve: 'measured' });
    const points = reading.patches.map(({ coverage, lightness }: { coverage: number; lightness: number }) => ({
      coverage,
      lightness,
      spread: 0.3,
    }));
    const learned = { ...JSON.parse(readFileSync(join(cwd, 'start.json'), 'utf8')), name: 'own', points };
    const [bare, full] = [points[0].lightness, points.at(-1).lightness];
    writeFileSync(
      join(cwd, 'own.json'),
      JSON.stringify({ ...learned, bare: [bare, 0, 0], full: [full, 0, 0], repeatability: 0.4 }),
    );

    // The layout is found in the shop by the tags alone.
    const second = await scanStrip(cwd, 'second', '--seed', '2');
    const held = await run(cwd, 'check', second, '--profile', join(cwd, 'own.json'), '--out', 'held.html');
    expect(held).toMatchObject({ verdict: 'holds', cause: 'none' });
    expect(held.worstDelta).toBeLessThan(1);
    const page = readFileSync(join(cwd, 'held.html'), 'utf8');
    for (const text of ['>Holds<', 'History of this profile', 'data:image/jpeg;base64,']) expect(page).toContain(text);

    const dirty = await scanStrip(cwd, 'dirty', '--seed', '3', '--faults', 'dirty-lens');
    const moved = await run(cwd, 'check', dirty, '--profile', join(cwd, 'own.json'));
    expect(moved.verdict).not.toBe('holds');
    expect(['power', 'dot-size']).toContain(moved.cause);
    expect(moved.midShift).toBeLessThan(-1);
    const history = JSON.parse(readFileSync(join(cwd, 'shop', 'history', 'own.json'), 'utf8'));
    expect(history.entries.map(({ verdict }: { verdict: string }) => verdict)).toContain(moved.verdict);
    expect(history.entries).toHaveLength(2);

    // Seen from behind it is refused, and read when it is said.
    const behind = await scanStrip(cwd, 'behind', '--seed', '2', '--faults', 'mirrored');
    const refused = await runCli(['check', behind, '--profile', join(cwd, 'own.json')], { cwd });
    expect(refused.status).toBe(1);
    expect(refused.stderr).toMatch(/--mirrored/);
    expect(await run(cwd, 'check', behind, '--profile', join(cwd, 'own.json'), '--mirrored')).toMatchObject({
      verdict: 'holds',
    });

    // No coarse clusters, so the curve of an unknown camera cannot be told: refused, not guessed.
    const unknown = await runCli(['check', second, '--profile', join(cwd, 'own.json'), '--camera', 'unknown'], { cwd });
    expect(unknown.status).toBe(1);
    expect(unknown.stderr).toMatch(/coarse clusters/);
  });

  test('what one scan of a tone chart teaches holds for other tones, burned through it on another piece', async () => {
    const cwd = makeFolder();
    mkdirSync(join(cwd, 'shop'));
    const small = ['--size', '60x40', '--steps', '6', '--replicates', '1'];
    const burn = async (name: string, seed: string) => {
      const model = ['--material-model', 'slate', '--dpi', '300', '--seed', seed];
      await run(cwd, 'simulate', 'engrave', `${name}/chart.png`, ...model, '--out', `${name}.npy`);
      await run(cwd, 'simulate', 'capture', `${name}.npy`, '--camera', 'flatbed-300', '--out', `${name}.png`);
    };
    const grid = ['--spacing', '0.1', '--pitch', '0.1'];
    await run(
      cwd,
      'chart',
      'tone',
      '--machine',
      'gantry-10600',
      '--material',
      'slate',
      ...grid,
      ...small,
      '--out',
      'tone',
    );
    await burn('tone', '1');
    await run(cwd, 'learn', 'tone.png', '--out', 'own.json');
    const profile = join(cwd, 'own.json');
    const { layout } = await run(cwd, 'chart', 'verify', '--profile', profile, ...small, '--out', 'verify');
    await burn('verify', '2');
    const checked = await run(cwd, 'check', 'verify.png', '--profile', profile);
    expect(checked).toMatchObject({
      verdict: 'holds',
      chart: { kind: 'verify', hash: layout.hash },
      basis: 'absolute',
    });
    // What the project is held to for a flatbed: mean 1.0 and worst 3.0 ΔL*.
    expect(checked.meanDelta).toBeLessThan(1);
    expect(checked.worstDelta).toBeLessThan(3);
    expect(checked.patches).toHaveLength(8);
    // The print error is kept with the profile, and shown where the profile is.
    expect(checked.verification).toMatchObject({ screen: 'ostromoukhov', curve: 'measured', result: 'pass' });
    const kept = JSON.parse(readFileSync(checked.history, 'utf8')).entries;
    expect(kept.at(-1).verification.meanDelta).toBeCloseTo(checked.verification.meanDelta, 3);
    const shown = await runCli(['profile', 'show', profile], { cwd });
    expect(shown.stdout).toMatch(/print error\s+mean .*: pass/);
    expect(shown.stdout).toMatch(/fit error/);
  });

  test('a dose chart and a spot chart are read without a profile', async () => {
    const cwd = makeFolder();
    const grid = ['--spacing', '0.1', '--pitch', '0.1', '--machine', 'gantry-450'];
    const read = async (kind: string, model: string, ...more: string[]) => {
      await run(cwd, 'chart', kind, ...grid, ...more, '--out', kind);
      const own = kind === 'dose' ? ['--chart', 'dose/chart.json'] : [];
      const engrave = [`${kind}/chart.png`, '--material-model', model, ...own, '--dpi', '300', '--out', `${kind}.npy`];
      await run(cwd, 'simulate', 'engrave', ...engrave);
      await run(cwd, 'simulate', 'capture', `${kind}.npy`, '--camera', 'flatbed-300', '--out', `${kind}.png`);
      const learned = ['learn', `${kind}.png`, '--chart', `${kind}/chart.json`, '--out', `${kind}.json`];
      const told = await run(cwd, ...(learned as [string]));
      // Both commands read these charts, and say the same.
      const checked = await run(cwd, 'check', `${kind}.png`, '--chart', `${kind}/chart.json`);
      const alike = { page: null, files: [], next: null };
      expect({ ...checked, ...alike }).toEqual({ ...told, ...alike });
      expect(JSON.parse(readFileSync(join(cwd, `${kind}.json`), 'utf8')).schema).toBe(`tonewright-${kind}/1`);
      return told;
    };
    const sweep = ['--vary', 'power=1:10:5', '--vary', 'speed=40:160:3:log', '--material', 'birch-plywood'];
    const dose = await read('dose', 'birch', ...sweep);
    expect(dose).toMatchObject({ schema: 'tonewright-dose/1', direction: 'darker' });
    expect(dose.points).toHaveLength(15);
    // The next command is printed, and takes the settings of the recommended cell.
    expect(dose.next).toMatch(/^tonewright chart tone --machine gantry-450 --material birch-plywood .*dose\.json/);
    const next = await run(cwd, ...(dose.next.split(' ').slice(1) as [string]));
    const { lineSpacingMm, ...settings } = dose.recommended.settings;
    expect(next.layout.settings).toEqual(settings);
    expect(next.layout.grid.lineSpacingMm).toBe(lineSpacingMm);
    // The virtual birch turns to ash at high dose; the recommended cell stays below.
    expect(dose.overburnsFromJPerCm2).toBeGreaterThan(dose.recommended.doseJPerCm2);
    const page = readFileSync(join(cwd, 'dose.html'), 'utf8');
    for (const { id } of dose.points) expect(page).toContain(`<td>${id}</td>`);
    expect(page).toContain('start here');
    const spot = await read('spot', 'kraft-card', '--direction', 'darker');
    expect(spot.schema).toBe('tonewright-spot/1');
    expect(readFileSync(join(cwd, 'spot.html'), 'utf8')).toContain('Scan line, its width across');
    for (const { valueUm, lowUm, highUm } of [spot.widthX, spot.widthY]) {
      expect(lowUm).toBeLessThanOrEqual(valueUm);
      expect(highUm).toBeGreaterThanOrEqual(valueUm);
      expect(valueUm).toBeGreaterThan(20);
      expect(valueUm).toBeLessThan(400);
    }
  });

  test('a chart of another material is refused', async () => {
    const cwd = makeFolder();
    await run(cwd, 'chart', 'check', ...STRIP, '--out', 'strip');
    const scan = await scanStrip(cwd, 'scan');
    const { status, stderr } = await runCli(
      ['check', scan, '--profile', 'slate-coaster', '--chart', 'strip/chart.json'],
      { cwd },
    );
    expect(status).toBe(1);
    expect(stderr).toMatch(/drawn for anodised-black, needed one for slate/);
  });
});

describe('the virtual engraver and scanner', () => {
  test('the surface is linear reflectance at the bitmap’s own size, with its pixel size beside it', async () => {
    const cwd = makeFolder();
    await run(cwd, 'chart', 'check', ...STRIP, '--size', '40x8', '--out', 'strip');
    const made = await run(
      cwd,
      ...['simulate', 'engrave', 'strip/chart.png', '--material-model', 'slate', '--dpi', '300', '--out', 'piece.npy'],
    );
    const { shape, data } = decodeNpy(readFileSync(join(cwd, 'piece.npy')));
    expect(shape).toEqual([made.height, made.width, 3]);
    expect(made.widthMm).toBeCloseTo(40, 6);
    expect(made.pixelWidthMm).toBeCloseTo(25.4 / 300, 3);
    expect(data.every((value) => value >= 0 && value <= 1)).toBe(true);
    expect(JSON.parse(readFileSync(join(cwd, 'piece.npy.json'), 'utf8')).pixelWidthMm).toBe(made.pixelWidthMm);
    // The same without the file beside it, once the size of a pixel is given.
    writeFileSync(join(cwd, 'bare.npy'), readFileSync(join(cwd, 'piece.npy')));
    const nameless = await runCli(['simulate', 'capture', 'bare.npy', '--camera', 'flatbed-300', '--out', 'a.png'], {
      cwd,
    });
    expect(nameless.status).toBe(2);
    expect(nameless.stderr).toMatch(/--pixel/);
    const given = ['--pixel', String(made.pixelWidthMm), '--camera', 'flatbed-300', '--out', 'b.png'];
    const scan = await run(cwd, 'simulate', 'capture', 'bare.npy', ...given);
    const own = await run(cwd, ...['simulate', 'capture', 'piece.npy', '--camera', 'flatbed-300', '--out', 'c.png']);
    expect(Math.abs(scan.width - own.width)).toBeLessThanOrEqual(1);
  });

  test('the same seed burns and photographs the same, another seed another', async () => {
    const cwd = makeFolder();
    await run(cwd, 'chart', 'check', ...STRIP, '--size', '40x8', '--out', 'strip');
    const shot = (name: string, seed: string) =>
      run(
        cwd,
        ...['simulate', 'capture', 'strip/chart.png', '--material-model', 'birch', '--dpi', '300'],
        ...['--camera', 'flatbed-300', '--seed', seed, '--out', name],
      );
    await shot('a.png', '4');
    await shot('b.png', '4');
    await shot('c.png', '5');
    const [a, b, c] = ['a.png', 'b.png', 'c.png'].map((name) => readFileSync(join(cwd, name)));
    expect(a!.equals(b!)).toBe(true);
    expect(a!.equals(c!)).toBe(false);
  });

  test.each([
    [['simulate', 'engrave', 'x.png', '--out', 'x.gif'], /ends in .npy or .png/],
    [['simulate', 'capture', 'x.npy', '--out', 'x.png', '--camera', 'pinhole'], /no camera "pinhole"/],
    [['simulate', 'burn', 'x.png'], /unknown command 'burn'/],
  ])('%s is told in words', async (argv, message) => {
    const { status, stderr } = await runCli(argv, { cwd: makeFolder() });
    expect(status).toBe(2);
    expect(stderr).toMatch(message);
  });

  test('lists materials of both directions and cameras', async () => {
    const { materials, cameras } = await run(makeFolder(), 'simulate', 'list');
    expect(new Set(materials.map(({ direction }: { direction: string }) => direction))).toEqual(
      new Set(['lighter', 'darker']),
    );
    expect(cameras.map(({ name }: { name: string }) => name)).toContain('flatbed-600');
  });
});
