import { mkdirSync, mkdtempSync, rmSync, writeFileSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { describe, expect, test } from 'vitest';
import { followProgram } from '../../benchmarks/common/follow-program.ts';
import type { ChartLayout } from '../../src/chart/index.ts';
import { defaultDoseAxes } from '../../src/job/chart/dose-axes.ts';
import {
  type ChartRequest,
  makeChart,
  parseChartLayout,
  readMachine,
  readProfile,
  resolveChart,
  resolveJob,
} from '../../src/job/index.ts';
import type { JobFile } from '../../src/job/prepare/types.ts';
import { findMark, openShop, parseMaterial, toneCurveOf } from '../../src/material/index.ts';
import { describeOptics } from '../../src/optics/index.ts';
import { decodeDotsBytes, wholeBytes } from '../../src/plane/index.ts';
import { REFUSED, SHOP } from './shop.ts';

const resolve = (request: ChartRequest) => resolveChart(request, { shop: SHOP, refused: REFUSED });
const PERCENT_PER_MINUTE = {
  power: '%',
  speed: 'mm/min',
  rate: 'kHz',
  fires: 'black',
  origin: 'top-left',
  mirrors: 'no',
} as const;
const COARSE = { pitchMm: 0.1, lineSpacingMm: 0.1 } as const;

describe('what a chart is made of', () => {
  test('a material decides the direction, the machine the settings, at a speed that gives each dot whole pulses', () => {
    const spec = resolve({ kind: 'tone', machine: 'galvo-1064-f160', material: 'anodised-black' });
    expect(spec.options.direction).toBe('lighter');
    const { rateKHz } = spec.machine.defaults;
    const speedMmPerS = 1000 * rateKHz! * spec.options.grid.pitchMm;
    expect(spec.options.settings).toEqual({ ...spec.machine.defaults, speedMmPerS: expect.closeTo(speedMmPerS, 6) });
    expect(spec.warnings).toEqual([]);
    expect(spec.gridOrigin).toBe('recommended');
  });

  test('a material that the shop has no record of needs a direction', () => {
    const request = { kind: 'tone', machine: 'galvo-1064-f160', material: 'grey felt' } as const;
    expect(() => resolve(request)).toThrow(expect.objectContaining({ code: 'name-unknown' }));
    const spec = resolve({ ...request, direction: 'darker' });
    expect(spec.options).toMatchObject({ direction: 'darker', material: 'grey felt' });
    expect(spec.material).toBeUndefined();
  });

  test('a material on the never list is refused, with or without a direction', () => {
    for (const direction of [{}, { direction: 'darker' }] as const) {
      expect(() => resolve({ kind: 'tone', machine: 'galvo-1064-f160', material: 'PVC', ...direction })).toThrow(
        expect.objectContaining({ code: 'material-refused' }),
      );
    }
  });

  test('neither a material nor a direction is told in words', () => {
    expect(() => resolve({ kind: 'tone', machine: 'galvo-1064-f160' })).toThrow(/neither a material nor a direction/);
  });

  test('a chart larger than the field is refused', () => {
    expect(() => resolve({ kind: 'tone', machine: 'galvo-1064-f160', direction: 'darker', size: '200x54' })).toThrow(
      expect.objectContaining({ code: 'size-exceeds-field' }),
    );
  });

  test('dots without a pulse of their own are told before the chart is burned, as they are told of a job', () => {
    const request = { kind: 'tone', machine: 'galvo-355-f210', material: 'anodised-black' } as const;
    expect(resolve({ ...request, settings: { speedMmPerS: 1500 } }).warnings.join(' ')).toMatch(
      /Dots lie 22 µm apart but pulses 30 µm.*slow down to 1100 mm\/s/,
    );
    expect(resolve(request).warnings).toEqual([]);
  });

  test('a verification chart needs the profile that it verifies', () => {
    expect(() => resolve({ kind: 'verify', machine: 'galvo-355-f210', material: 'anodised-black' })).toThrow(
      /needed the one that it is to verify/,
    );
  });

  test.each(['verify', 'check'] as const)(
    'the tones of %s are equal steps of L*, by the profile’s own curve',
    (kind) => {
      const spec = resolve({ kind, profile: 'anodised-black' });
      const curve = toneCurveOf(spec.profile!);
      const tones = spec.options.tones!;
      expect(tones).toHaveLength(kind === 'verify' ? 14 : 5);
      for (const { coverage, aimLightness } of tones) expect(curve.lightnessAt(coverage)).toBeCloseTo(aimLightness!, 1);
      const steps = tones.slice(1).map(({ aimLightness }, at) => aimLightness! - tones[at]!.aimLightness!);
      for (const step of steps) expect(step).toBeCloseTo(steps[0]!, 1);
    },
  );

  test('a second tone chart takes everything from the first one’s profile, and its steps follow the band', () => {
    const folder = mkdtempSync(join(tmpdir(), 'tonewright-after-'));
    const shop = openShop({ shopDir: folder, builtIn: ['shared/shop', 'shared'] });
    const first = readProfile('anodised-black', SHOP);
    const curve = toneCurveOf(first);
    const band = [0, 0.25, 0.5, 0.75, 1].map((coverage) => {
      const half = coverage === 0.75 ? 8 : 0.5;
      return { coverage, low: curve.lightnessAt(coverage) - half, high: curve.lightnessAt(coverage) + half };
    });
    const fit = {
      ...{ band, markDiameterXUm: [20, 30], markDiameterYUm: [20, 30] },
      ...{ leaveOneOut: 0.4, modelRms: 1, warnings: [] },
    };
    mkdirSync(join(folder, 'profiles'));
    writeFileSync(join(folder, 'profiles', 'first.json'), JSON.stringify({ ...first, name: 'first', fit }));
    const chart = (more: object) => resolveChart({ kind: 'tone', ...more }, { shop, refused: REFUSED }).options;
    const [plain, after] = [chart({ profile: 'first' }), chart({ after: 'first' })];
    expect({ ...after, expected: [] }).toEqual({ ...plain, expected: [] });
    expect(Math.max(...after.expected!.map(({ halfWidth }) => halfWidth!))).toBeGreaterThan(5);
    expect(plain.expected!.every(({ halfWidth }) => halfWidth === undefined)).toBe(true);
    expect(() => chart({ after: 'first', profile: 'first' })).toThrow(/^after: found it/);
    expect(() => chart({ kind: 'check', after: 'first' })).toThrow(/^after: found it/);
    rmSync(folder, { recursive: true });
  });

  test.each([
    [{ powerW: 500 }, /chart tone: found a power of 500 W, needed 1 to 20 W/],
    [{ speedMmPerS: 9000 }, /found a speed of 9000 mm\/s, needed 10 to 5000/],
    [{ rateKHz: 2000 }, /found a pulse rate of 2000 kHz, needed 1 to 1000/],
    [{ pulseNs: 1 }, /found a pulse duration of 1 ns, needed 2 to 350/],
  ])('%j, which the machine cannot do, is refused', (settings, message) => {
    const request = { kind: 'tone', machine: 'galvo-1064-f160', direction: 'darker', settings } as const;
    expect(() => resolve(request)).toThrow(message);
  });
});

describe('the grid and the dose of a first chart', () => {
  const machines = SHOP.list('machines').map(({ name }) => readMachine(name, SHOP));
  const materials = SHOP.list('materials')
    .map(({ name }) => SHOP.read('materials', name))
    .filter(({ json }) => (json as { schema: string }).schema === 'tonewright-material/1')
    .map(({ json, path }) => parseMaterial(json, path));
  const pairs = machines.flatMap((machine) =>
    materials.filter((one) => findMark(one, machine.wavelengthNm)).map((one) => [machine, one] as const),
  );

  test('are the same for a chart, a photo and the optics, for every machine and material', () => {
    expect(pairs.length).toBeGreaterThanOrEqual(17);
    for (const [machine, material] of pairs) {
      const request = { machine: machine.name, material: material.name };
      const spec = resolve({ kind: 'tone', ...request, size: '48x48' });
      const job = resolveJob({ ...request, size: '40x30' }, { shop: SHOP, refused: [] });
      const { recommendedLineSpacingMm } = describeOptics(machine, machine.defaults);
      expect([spec.options.grid.lineSpacingMm, job.grid.lineSpacingMm]).toEqual([
        recommendedLineSpacingMm,
        recommendedLineSpacingMm,
      ]);
      expect(job.settings).toEqual(spec.options.settings);
      expect(spec.warnings).toEqual([]);
    }
  });

  test('cost at most 1.3 times the time of the example profile’s grid', async () => {
    const profiles = SHOP.list('profiles').map(({ name }) => readProfile(name, SHOP));
    for (const machine of machines) {
      const request = { kind: 'tone', machine: machine.name, direction: 'lighter', size: '48x48' } as const;
      const { cost } = await makeChart(resolve(request));
      for (const { grid } of profiles.filter((one) => one.machine === machine.name)) {
        const example = await makeChart(resolve({ ...request, ...grid }));
        expect([machine.name, cost.seconds / example.cost.seconds <= 1.3]).toEqual([machine.name, true]);
      }
    }
  });

  test('keep the machine’s start dose on any grid, by the power; a dose that was asked for is said', () => {
    const request = { kind: 'tone', machine: 'galvo-355-f210', material: 'anodised-black' } as const;
    const start = resolve(request);
    // 2 W on lines 22 µm apart, one pulse a dot at 50 kHz: 1100 mm/s; 2/(1100·0.022) J/mm².
    expect(start.options.settings).toMatchObject({ powerW: 2, speedMmPerS: 1100 });
    expect(start.doseJPerCm2).toBeCloseTo(8.2645, 3);
    const fine = resolve({ ...request, pitchMm: 0.012, lineSpacingMm: 0.012 });
    expect(fine.options.settings.powerW).toBeCloseTo(2 * (12 / 22) ** 2, 2);
    expect(fine.doseJPerCm2 / start.doseJPerCm2).toBeCloseTo(1, 2);
    expect(fine.warnings).toEqual([]);
    const strong = resolve({ ...request, settings: { powerW: 6 } });
    expect(strong.warnings).toEqual([
      expect.stringMatching(/24.8 J\/cm² in a solid, 3 times the 8.26 J\/cm² that galvo/),
    ]);
    const weak = resolve({ ...request, settings: { powerW: 1 } });
    expect(weak.warnings).toEqual([expect.stringMatching(/50 % of the 8.26 J\/cm²/)]);
  });

  test('are said on the page', async () => {
    const { files } = await makeChart(resolve({ kind: 'tone', profile: 'anodised-black', size: '48x48' }));
    const page = String(files.find(({ name }) => name === 'chart.html')!.bytes);
    expect(page).toMatch(/Dose of a solid[\s\S]{0,40}10 J\/cm² \(anodised-black was learned with 10 J\/cm²\)/);
  });

  test.each([
    [{ lineSpacingMm: 20 }, /^spacing: found 20 mm between lines, .*needed at most 0.156 mm; "20um" was meant\?/],
    [{ pitchMm: 0.7 }, /^pitch: found 0.7 mm between dots/],
    [
      { lineSpacingMm: 0.001 },
      /found 200 J\/cm² in a solid, 20 times the 10 J\/cm² that anodised-black was learned with/,
    ],
  ])('%j is refused for a chart and for a photo', (grid, message) => {
    expect(() => resolve({ kind: 'tone', profile: 'anodised-black', ...grid })).toThrow(message);
    const photo = { size: '40x30', profile: 'anodised-black', ...grid };
    expect(() => resolveJob(photo, { shop: SHOP, refused: [] })).toThrow(message);
  });
});

describe('swept settings', () => {
  const dose = (vary: readonly string[], machine = 'galvo-1064-f160') =>
    resolve({ kind: 'dose', machine, direction: 'darker', vary }).options;

  test('from, to, how many; in equal ratios; or as listed', () => {
    const { columns, rows } = dose(['power=2:16:4:log', 'passes=1,2,4']);
    expect(columns).toEqual({ setting: 'powerW', values: [2, 4, 8, 16] });
    expect(rows).toEqual({ setting: 'passes', values: [1, 2, 4] });
    expect(dose(['power=1:3:6', 'speed=500:2000:4']).rows!.values).toEqual([500, 1000, 1500, 2000]);
  });

  test('without any, power and speed around the settings, within the machine’s range', () => {
    const { columns, rows } = dose([]);
    expect([columns!.setting, rows!.setting]).toEqual(['powerW', 'speedMmPerS']);
    expect(Math.max(...columns!.values)).toBeLessThanOrEqual(20);
  });

  test('one is a ladder, which keeps the other setting as it is; a word alone reaches around the settings', () => {
    const start = resolve({ kind: 'dose', machine: 'galvo-1064-f160', direction: 'darker' }).options.settings;
    for (const [word, setting, other] of [
      ['speed', 'speedMmPerS', 'powerW'],
      ['power', 'powerW', 'speedMmPerS'],
    ] as const) {
      const { columns, rows } = dose([word]);
      expect(columns!.setting).toBe(setting);
      expect(columns!.values.length).toBeGreaterThanOrEqual(6);
      expect(columns!.values.length).toBeLessThanOrEqual(8);
      expect(columns!.values.every((value) => Number(value.toPrecision(2)) === value)).toBe(true);
      expect(rows).toEqual({ setting: other, values: [start[other]] });
    }
    expect(dose(['passes'])).toMatchObject({ columns: { setting: 'passes', values: [1, 2, 3, 4, 6, 8] } });
  });

  test('values in the units that a control software shows', () => {
    expect(dose(['power=10%:50%:3', 'speed=6000mm/min,1m/s'])).toMatchObject({
      columns: { values: [2, 6, 10] },
      rows: { values: [100, 1000] },
    });
    // A unit behind one value is that of all.
    expect(dose(['power=10:50%:3']).columns!.values).toEqual([2, 6, 10]);
    expect(dose(['rate=25us,20us']).columns!.values).toEqual([40, 50]);
  });

  test.each([
    [['power=2:16:4', 'speed=500:900:3', 'passes=1,2'], /found 3, needed one setting .* or two/],
    [['power=10%:150%:4'], /20.67 W.*1 to 20 W/],
    [['heat=1:2:3', 'speed=1:2:3'], /"heat"/],
    [['power=2:30:4', 'speed=500:900:3'], /20.67 W.*1 to 20 W/],
    [['power=2:16:1', 'speed=500:900:3'], /at least 2/],
    [['passes=1:2:3', 'speed=500:900:3'], /whole numbers/],
    [['power=', 'speed=500:900:3'], /1 to 40 values/],
  ])('%s is refused', (vary, message) => {
    expect(() => dose(vary)).toThrow(message);
  });

  test('a continuous beam has no pulse rate to sweep', () => {
    expect(() => dose(['rate=20:60:3', 'speed=50:200:3'], 'gantry-450')).toThrow(/a setting that gantry-450 has/);
  });

  test('only a dose chart sweeps', () => {
    expect(() => resolve({ kind: 'tone', machine: 'gantry-450', direction: 'darker', vary: ['power=1:2:3'] })).toThrow(
      /^vary: found it with a tone chart, needed a dose chart/,
    );
  });
});

describe('the files of a chart', () => {
  test('the bitmap is the layout’s dots at their own size, black fires; the page says what to do', async () => {
    const spec = resolve({
      kind: 'tone',
      machine: 'galvo-1064-f160',
      material: 'anodised-black',
      replicates: 1,
      steps: 6,
      ...COARSE,
    });
    const { layout, dots, cost, files } = await makeChart(spec);
    expect(files.map(({ name }) => name)).toEqual(['chart.png', 'chart.json', 'chart.html']);
    const read = await decodeDotsBytes(files[0]!.bytes as Buffer, 'chart.png');
    expect(read.grid!.pitchMm).toBeCloseTo(0.1, 6);
    expect(Buffer.compare(Buffer.from(read.dots.data), Buffer.from(dots.data))).toBe(0);
    expect(parseChartLayout(JSON.parse(files[1]!.bytes as string), 'chart.json')).toEqual(layout);
    const page = files[2]!.bytes as string;
    for (const { id } of layout.patches) expect(page).toContain(`>${id}</text>`);
    for (const word of ['no flash', 'matt light from two sides', 'whole chart in the frame', 'Black fires', 'glares']) {
      expect(page).toContain(word);
    }
    for (const { text } of spec.machine.cautions) expect(page).toContain(text.slice(0, 40));
    expect(cost.areaCm2).toBeCloseTo((layout.widthMm * layout.heightMm) / 100, 9);
    expect(cost.seconds).toBeGreaterThan(spec.machine.motion.jobOverheadS);
    expect(cost.firing).toBe(dots.data.reduce((sum, dot) => sum + dot, 0));
  });

  test('the same request gives the same bytes', async () => {
    const request = { kind: 'check', profile: 'slate-coaster' } as const;
    const [one, two] = [await makeChart(resolve(request)), await makeChart(resolve(request))];
    expect(one.files.map(({ bytes }) => String(bytes))).toEqual(two.files.map(({ bytes }) => String(bytes)));
  });

  test('a layout that was changed by hand is refused', async () => {
    const { layout } = await makeChart(resolve({ kind: 'check', profile: 'slate-coaster' }));
    const moved = { ...layout, patches: layout.patches.map((patch) => ({ ...patch, xMm: patch.xMm + 1 })) };
    expect(() => parseChartLayout(moved, 'moved.json')).toThrow(/"hash"/);
    const { grid: _grid, ...gridless } = layout;
    expect(() => parseChartLayout(gridless, 'gridless.json')).toThrow(/"grid"/);
    const renamed = { ...layout, tags: layout.tags.map((tag) => ({ ...tag, id: tag.id + 1 })) };
    expect(() => parseChartLayout(renamed, 'renamed.json')).toThrow(/"hash"/);
    // A place that no tag has was counted up to: twenty seconds for this one.
    const [first, ...others] = layout.tags;
    const placed = { ...layout, tags: [{ ...first!, position: 1e9 }, ...others] };
    expect(() => parseChartLayout(placed, 'placed.json')).toThrow(/"tags\.0\.position".*1000000000/s);
  });
});

describe('a dose chart', () => {
  const request = {
    kind: 'dose',
    machine: 'gantry-450',
    material: 'birch-plywood',
    vary: ['power=2:8:3', 'speed=100:200:2'],
    pitchMm: 0.2,
    lineSpacingMm: 0.2,
  } as const;

  test('the drawing is in mm, with a bitmap for each cell at its place', async () => {
    const { layout, files } = await makeChart(resolve(request));
    const svg = files.find(({ name }) => name === 'chart.svg')!.bytes as string;
    expect(svg).toContain(`width="${layout.widthMm}mm"`);
    const cells = layout.patches.filter(({ settings }) => settings);
    expect(cells).toHaveLength(6);
    for (const { id, xMm, yMm } of cells) expect(svg).toMatch(new RegExp(`<g id="${id}">.*x="${xMm}" y="${yMm}"`));
    const images = [...svg.matchAll(/base64,([^"]+)"/g)].map(([, data]) => Buffer.from(data!, 'base64'));
    const [rest, ...own] = await Promise.all(images.map((bytes) => decodeDotsBytes(bytes, 'cell')));
    expect(own).toHaveLength(6);
    for (const { dots } of own) expect(dots.data.every((dot) => dot === 1)).toBe(true);
    // No cell burns twice.
    for (const { xDots, yDots } of cells) expect(rest!.dots.data[yDots * rest!.dots.width + xDots]).toBe(0);
  });

  test('the table has the settings of each cell and their dose P·passes/(v·s)', async () => {
    const { layout, files } = await makeChart(resolve(request));
    const table = files.find(({ name }) => name === 'chart.csv')!.bytes as string;
    const [head, ...rows] = table
      .trim()
      .split('\r\n')
      .map((line) => line.split(','));
    expect(rows.map(([cell]) => cell)).toEqual([
      'rest',
      ...layout.patches.filter(({ settings }) => settings).map(({ id }) => id),
    ]);
    for (const row of rows) {
      expect(row).toHaveLength(head!.length);
      const of = (name: string) => Number(row[head!.indexOf(name)]);
      const dose = (100 * of('power_W') * of('passes')) / (of('speed_mm_per_s') * of('line_spacing_mm'));
      expect(of('dose_J_per_cm2') / dose).toBeCloseTo(1, 3);
      expect(of('power_percent')).toBeCloseTo(10 * of('power_W'), 2);
    }
  });

  test('where the machine takes a power for every dot, the whole chart is one bitmap whose greys are the powers', async () => {
    const spec = resolve({ kind: 'dose', machine: 'gantry-450', material: 'birch-plywood', ...COARSE });
    const { layout, files, cost } = await makeChart(spec);
    const names = ['chart.png', 'chart.csv', 'chart.nc', 'chart.json', 'chart.html'];
    expect(files.map(({ name }) => name)).toEqual(names);
    const cells = layout.patches.filter(({ settings }) => settings);
    expect(cells).toHaveLength(8);
    const { dots } = await decodeDotsBytes(files[0]!.bytes as Buffer, 'chart.png');
    expect(dots.levels).toBe(256);
    for (const { settings, xDots, yDots, widthDots, heightDots } of cells) {
      for (const at of [yDots * dots.width + xDots, (yDots + heightDots - 1) * dots.width + xDots + widthDots - 1]) {
        expect((dots.data[at]! / 255) * layout.settings.powerW).toBeCloseTo(settings!.powerW, 9);
      }
    }
    // Tags and references burn with what the machine starts with, as they do on every other chart.
    const tag = layout.tags[0]!;
    const ink = dots.data[(tag.yDots + tag.cellDotsY) * dots.width + tag.xDots + tag.cellDotsX]!;
    expect(Math.abs((ink / 255) * layout.settings.powerW - spec.powerPerDot!.ownW)).toBeLessThan(10 / 255);
    expect(cost.seconds).toBeGreaterThan(10);
    const page = String(files.at(-1)!.bytes);
    expect(page).toContain('black fires with the power above');
    expect(page).not.toContain('Import chart.svg');
    // Other settings than power need cells of their own.
    const speeds = await makeChart(resolve({ ...request, ...COARSE, vary: ['speed'] }));
    expect(speeds.files.map(({ name }) => name)).toContain('chart.svg');
  });

  test('the page says the settings of every cell in the units of the control software, and round', async () => {
    const machine = { ...readMachine('galvo-1064-f160', SHOP), control: PERCENT_PER_MINUTE };
    const spec = resolve({ kind: 'dose', machine: 'galvo-1064-f160', direction: 'darker', ...COARSE });
    const page = String((await makeChart({ ...spec, machine })).files.at(-1)!.bytes);
    expect(page).not.toMatch(/\d W, [\d.]+ mm\/s/);
    expect(page).toMatch(/<title>\w\d: solid, [\d.]+ %, \d+ mm\/min<\/title>/);
    const [power, speed] = defaultDoseAxes(machine, { ...spec.options.settings, powerW: 5, speedMmPerS: 1000 });
    expect(power.values.map((powerW) => Number((5 * powerW).toFixed(9)))).toEqual([13, 20, 31, 50]);
    expect(speed.values.map((mmPerS) => Number((60 * mmPerS).toFixed(6)))).toEqual([30000, 60000, 120000]);
  });

  test('a machine that is not known to read programs gets none', async () => {
    const spec = resolve({ kind: 'dose', machine: 'galvo-1064-f160', direction: 'darker', ...COARSE });
    const { files } = await makeChart(spec);
    expect(files.map(({ name }) => name)).toEqual(['chart.png', 'chart.svg', 'chart.csv', 'chart.json', 'chart.html']);
  });

  /** Powers and feeds by dot, as an interpreter burns the chart whose lower left corner is at 0, 0. */
  function playBack(text: string, { widthDots, heightDots, heightMm, grid }: ChartLayout) {
    const burned = new Array<string | undefined>(widthDots * heightDots);
    const { stretches, powerAtRest } = followProgram(text);
    expect(powerAtRest).toBe(0);
    for (const { from, to, power, feedMmPerS } of stretches) {
      if (power === 0) continue;
      const row = Math.round((heightMm - from[1]) / grid.lineSpacingMm - 0.5);
      const [first, end] = [from[0], to[0]].sort((x, y) => x - y).map((x) => Math.round(x / grid.pitchMm));
      expect(first).toBeGreaterThanOrEqual(0);
      expect(end).toBeLessThanOrEqual(widthDots);
      for (let at = row * widthDots + first!; at < row * widthDots + end!; at++) {
        expect(burned[at], `dot ${at} burns once`).toBeUndefined();
        burned[at] = `S${power} F${Number(feedMmPerS.toFixed(3))}`;
      }
    }
    return { burned, stretches };
  }
  const programOf = (files: readonly JobFile[]) =>
    Buffer.from(wholeBytes(files.find(({ name }) => name === 'chart.nc')!.bytes)).toString('latin1');

  test('the program, played back, burns every cell with its own power and speed and nothing else', async () => {
    const spec = resolve(request);
    const { layout, dots, files } = await makeChart(spec);
    const { burned, stretches } = playBack(programOf(files), layout);
    const cells = layout.patches.filter(({ settings }) => settings);
    for (let y = 0; y < layout.heightDots; y++) {
      for (let x = 0; x < layout.widthDots; x++) {
        const at = y * layout.widthDots + x;
        const cell = cells.find(
          (patch) =>
            x >= patch.xDots &&
            x < patch.xDots + patch.widthDots &&
            y >= patch.yDots &&
            y < patch.yDots + patch.heightDots,
        );
        const { powerW, speedMmPerS } = cell?.settings ?? layout.settings;
        expect(burned[at]).toBe(dots.data[at] === 1 ? `S${powerW * 100} F${speedMmPerS}` : undefined);
      }
    }
    // Each cell gains its own speed: v²/2a and the overtravel on either side, no more than the chart's fastest.
    const motion = spec.machine.motion as { accelerationMmPerS2: number; overtravelMm: number };
    const runUpMm = (speed: number) => speed ** 2 / (2 * motion.accelerationMmPerS2) + motion.overtravelMm;
    const leads = stretches.filter(({ isRapid, power }) => !isRapid && power === 0);
    expect(Math.min(...leads.map(({ from, to }) => Math.min(from[0], to[0])))).toBeGreaterThan(-runUpMm(200) - 0.01);
  });

  test('a chart of powers alone gives each cell its power in the program, too', async () => {
    const spec = resolve({ kind: 'dose', machine: 'gantry-450', material: 'birch-plywood', ...COARSE });
    const { layout, files, cost } = await makeChart(spec);
    const { burned } = playBack(programOf(files), layout);
    // One bitmap says all powers at once; the program runs over each cell by itself, which its sheet says.
    expect(cost.programSeconds!).toBeGreaterThan(1.2 * cost.seconds);
    expect(String(files.at(-1)!.bytes)).toContain('as a program, each cell by itself');
    const whole = decodeDotsBytes(Buffer.from(programOf(files), 'latin1'), 'chart.nc');
    await expect(whole).rejects.toThrow(/chart.nc: found \d+ bitmaps in one program/);
    for (const { settings, xDots, yDots } of layout.patches.filter((patch) => patch.settings)) {
      const power = Math.round(100 * settings!.powerW);
      expect(burned[yDots * layout.widthDots + xDots]).toBe(`S${power} F${settings!.speedMmPerS}`);
    }
    const tag = layout.tags[0]!;
    const ink = burned[(tag.yDots + tag.cellDotsY) * layout.widthDots + tag.xDots + tag.cellDotsX];
    expect(ink).toBe(`S${Math.round(100 * spec.powerPerDot!.ownW)} F${layout.settings.speedMmPerS}`);
  });

  test('the page says why a machine that reads programs gets none', async () => {
    const spec = resolve(request);
    const machine = { ...spec.machine, program: { ...spec.machine.program!, decimals: 1 } };
    const { files } = await makeChart({ ...spec, machine });
    expect(files.map(({ name }) => name)).not.toContain('chart.nc');
    expect(String(files.at(-1)!.bytes)).toContain('No program is written. gantry-450: found places in steps of 0.1 mm');
  });

  test('the run-up of the program is that of the clock: longer where acceleration takes time to rise', async () => {
    const spec = resolve(request);
    const { machine } = spec;
    const riseMs = 40;
    const slow = { ...machine, motion: { ...machine.motion, accelerationRiseMs: riseMs } as typeof machine.motion };
    const { layout, files } = await makeChart({ ...spec, machine: slow });
    const fastest = Math.max(...layout.patches.map(({ settings }) => settings?.speedMmPerS ?? 0));
    const { accelerationMmPerS2, overtravelMm } = machine.motion as {
      accelerationMmPerS2: number;
      overtravelMm: number;
    };
    // Double-S: the way to a speed v is v/2 · (v/a + r).
    const wayMm = (fastest / 2) * (fastest / accelerationMmPerS2 + riseMs / 1000);
    expect(Number(/Keep ([\d.]+) mm free/.exec(programOf(files))![1])).toBeCloseTo(wayMm + overtravelMm, 1);
  });
});
