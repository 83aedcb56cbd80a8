import { readFileSync } from 'node:fs';
import { beforeAll, describe, expect, test } from 'vitest';
import { type ChartLayout, drawChart, layoutChart } from '../../src/chart/index.ts';
import {
  adjustProfile,
  checkCapture,
  type Learned,
  learnProfile,
  listVerified,
  resolveChart,
  resolveJob,
} from '../../src/job/index.ts';
import { predictPoints } from '../../src/job/request/curve.ts';
import { sayLevelRoad } from '../../src/job/request/uncertainty.ts';
import {
  compareHalftone,
  coverageTable,
  fillDotTable,
  invertProfile,
  openShop,
  type Profile,
  parseProfile,
  takeRoad,
} from '../../src/material/index.ts';
import { createDots, createPlane, type Dots, luminanceOfLightness, type Plane } from '../../src/plane/index.ts';
import { predictLightness } from '../../src/proof/index.ts';
import { applyScreen, type ScreenName } from '../../src/screens/index.ts';
import {
  CAMERAS,
  captureSurface,
  engrave,
  meanLightness,
  type PowerModel,
  parseMaterialModel,
  powerAt,
} from '../../src/simulation/index.ts';

const model = parseMaterialModel(JSON.parse(readFileSync('shared/simulation/kraft-card.json', 'utf8')));
const grid = model.reference;
const shop = openShop({ builtIn: ['shared/shop', 'shared'] });
const known = { shop, refused: [] };
const DATE = '2026-01-01';
/** None of those that come with the program. */
const POWER: PowerModel = {
  schema: 'tonewright-simulation-levels/1',
  title: 'a tube',
  threshold: 0.2,
  exponent: 1.4,
  saturation: 0.5,
};

const OPTIONS = {
  machine: 'gantry-450',
  material: 'card',
  direction: 'darker',
  settings: model.settings,
  grid,
  screen: { name: 'ostromoukhov', options: {} },
} as const;
const screenOf = (count: number, name = 'zhou-fang') => ({ name, options: { levels: count } });

function layOut(count: number): ChartLayout {
  return layoutChart('tone', {
    ...OPTIONS,
    widthMm: 60,
    heightMm: 42,
    steps: 9,
    replicates: 1,
    levels: { count, screen: screenOf(count) },
  });
}

const apply =
  ({ screen }: Pick<ChartLayout, 'screen'>) =>
  (coverage: Plane<'coverage'>) =>
    applyScreen(coverage, { ...screen.options, name: screen.name as ScreenName, grid });
const draw = (layout: ChartLayout) => drawChart(layout, apply(layout), apply(layout.levels ?? layout));

interface Burn {
  readonly power?: PowerModel;
  readonly seed: number;
  readonly share?: number;
}

function burn(dots: Dots, { power = POWER, seed, share = 1 }: Burn) {
  const settings = { ...model.settings, powerW: share * model.settings.powerW };
  return engrave(dots, { grid, model, seed, settings, levels: power, marginMm: 3 });
}

function scan(layout: ChartLayout, how: Burn) {
  const piece = burn(draw(layout), how);
  return { ...captureSurface(piece, { ...CAMERAS['flatbed-300']!.options, seed: how.seed + 1 }), bits: 8 as const };
}

function learn(count: number, power?: PowerModel): Learned {
  const layout = layOut(count);
  const image = scan(layout, { seed: 4, ...(power ? { power } : {}) });
  return learnProfile([{ name: 'scan.png', image }], { layouts: [layout], camera: 'known', date: DATE });
}

/** |ΔL*| of a wedge of 11 equal steps with levels, from the straight line between its ends. */
function burnWedge(
  profile: Pick<Profile, 'points'>,
  count: number,
  screen = 'zhou-fang',
  more = {},
): readonly number[] {
  const side = Math.round(5 / grid.pitchMm);
  const luminance = createPlane('luminance', 11 * side, side);
  for (let i = 0; i < luminance.data.length; i++) {
    luminance.data[i] = luminanceOfLightness(10 * Math.floor((i % luminance.width) / side));
  }
  const coverage = invertProfile(luminance, { table: coverageTable(profile, { range: 'scale' }) });
  const piece = burn(applyScreen(coverage, { ...more, name: screen as ScreenName, grid, levels: count }), { seed: 9 });
  const stepMm = side * grid.pitchMm;
  const lightness = Array.from({ length: 11 }, (_, step) =>
    meanLightness(piece, { xMm: step * stepMm + 0.8, yMm: 0.8, widthMm: stepMm - 1.6, heightMm: stepMm - 1.6 }),
  );
  const [dark, light] = [lightness[0]!, lightness[10]!];
  return lightness.map((value, step) => Math.abs(value - dark - ((light - dark) * step) / 10));
}

const mean = (values: readonly number[]) => values.reduce((sum, value) => sum + value, 0) / values.length;

describe('a profile learned from a chart with levels of power', () => {
  let learned: Learned;
  beforeAll(() => {
    learned = learn(16);
  });

  test('holds both roads, and reads back as it was written', () => {
    const { profile } = learned;
    expect(profile.screen.options.levels).toBeUndefined();
    expect(profile.levels).toMatchObject({ count: 16, screen: { name: 'zhou-fang' } });
    expect(parseProfile(JSON.parse(JSON.stringify(profile)), 'profile')).toEqual(profile);
    expect(sayLevelRoad(profile)).toMatch(/^16 levels, measured with zhou-fang: shape ± /);
  });

  test('tells what arrives of each level where the mark shows it', () => {
    const doses = learned.profile.levels!.doseByLevel;
    expect(doses[0]).toEqual([0, 0]);
    expect(doses.at(-1)).toEqual([1, 1]);
    for (let i = 1; i < doses.length; i++) expect(doses[i]![1]).toBeGreaterThanOrEqual(doses[i - 1]![1]);
    const off = doses.map(([level, dose]) => Math.abs(dose - powerAt(POWER, level)));
    const inProportion = doses.map(([level]) => Math.abs(level - powerAt(POWER, level)));
    expect(mean(off)).toBeLessThan(0.05);
    expect(mean(off)).toBeLessThan(mean(inProportion) / 3);
  });

  test('prints a wedge with levels to half an L*, which proportion misses by far', () => {
    const { levels: _levels, ...dots } = learned.profile;
    const guessed = { points: predictPoints({ profile: dots, grid, screen: screenOf(16) as never }) };
    expect(mean(burnWedge(guessed, 16))).toBeGreaterThan(3);
    const errors = burnWedge(takeRoad(learned.profile, 16), 16);
    expect(mean(errors)).toBeLessThan(0.5);
    expect(Math.max(...errors)).toBeLessThan(1.2);
  });

  test.each([
    [256, 'zhou-fang'],
    [6, 'zhou-fang'],
    [16, 'bayer'],
  ] as const)('predicts %i levels by %s from the same doses', (count, screen) => {
    const road = takeRoad(learned.profile, count);
    const points = predictPoints({ profile: road, grid, screen: screenOf(count, screen) as never });
    expect(mean(burnWedge({ points }, count, screen))).toBeLessThan(1);
  });

  test.each([
    [16, 'ostromoukhov', { errorOf: 'marks' }, 0.5],
    [16, 'direct-search', { response: 'table' }, 0.5],
    // Between few levels the tones lean on the response: as far off as with plain diffusion, see above.
    [5, 'ostromoukhov', { errorOf: 'marks' }, 1],
  ] as const)('counts what %i levels leave, %s: tones as true as by plain diffusion', (count, name, options, most) => {
    const road = takeRoad(learned.profile, count);
    const by = (screen: { name: ScreenName; options: object }) => {
      const asked = { name: screen.name, options: { ...screen.options, levels: count } };
      const points = predictPoints({ profile: road, grid, screen: asked as never });
      return burnWedge({ points }, count, screen.name, { ...screen.options, marks: fillDotTable(road, grid) });
    };
    const errors = by({ name, options });
    expect(mean(errors)).toBeLessThan(most);
    expect(mean(errors)).toBeLessThan(mean(by({ name: 'zhou-fang', options: {} })) + 0.15);
  });

  test('its dot table gives even fields the tones that were read', () => {
    const table = fillDotTable(takeRoad(learned.profile, 16), grid);
    for (const { group, lightness } of learned.report.levels!.rows) {
      const level = /^level-(\d+)-of/.exec(group)?.[1];
      if (level === undefined) continue;
      const dots = createDots(40, 40, 16);
      dots.data.fill(Number(level));
      const rect = { x: 10, y: 10, width: 20, height: 20 };
      expect(Math.abs(predictLightness(dots, { table, rect }) - lightness), group).toBeLessThan(1.5);
    }
  });

  test('is off by what the day has moved, and one strip with levels adjusts both roads', () => {
    const { profile } = learned;
    const road = takeRoad(profile, 16);
    const tones = [0.35, 0.5, 0.65, 0.8].map((coverage) => ({ coverage }));
    const strip = layoutChart('check', { ...OPTIONS, screen: road.screen, tones });
    const check = checkCapture(scan(strip, { seed: 31, share: 0.88 }), { layouts: [strip], profile, camera: 'known' });
    expect(check.curve).toBe('measured');
    expect(check.cause).toBe('power');
    const { profile: adjusted } = adjustProfile(profile, { check, date: DATE });
    expect(adjusted.adjusted!.doseFactor[0]).toBeGreaterThan(0.8);
    expect(adjusted.adjusted!.doseFactor[0]).toBeLessThan(0.97);
    expect(adjusted.levels!.doseByLevel).toEqual(profile.levels!.doseByLevel);
    const sign = Math.sign(profile.bare[0] - profile.full[0]);
    const middle = (points: Profile['points']) => points[Math.floor(points.length / 2)]!;
    for (const [after, before] of [
      [adjusted.points, profile.points],
      [adjusted.levels!.points, profile.levels!.points],
    ] as const) {
      const at = middle(before);
      const now = after.find(({ coverage }) => coverage === at.coverage)!;
      expect(sign * (now.lightness - at.lightness)).toBeGreaterThan(0.3);
    }
  });

  test('a verification with levels belongs to their road alone', () => {
    const { profile } = learned;
    const road = takeRoad(profile, 16);
    const tones = [0.3, 0.45, 0.6, 0.75].map((coverage) => ({ coverage }));
    const verify = layoutChart('verify', { ...OPTIONS, screen: road.screen, tones, widthMm: 50, heightMm: 36 });
    const check = checkCapture(scan(verify, { seed: 41 }), { layouts: [verify], profile, camera: 'known' });
    const { limits: _limits, ...verification } = check.verification!;
    expect(verification).toMatchObject({ screen: 'zhou-fang', levels: 16, curve: 'measured', result: 'pass' });
    const entry = { date: DATE, verification } as never;
    const history = { schema: 'tonewright-history/1', profile: profile.name, entries: [entry] } as never;
    expect(listVerified(history).own).toBeUndefined();
    expect(listVerified(history, 'levels').own).toMatchObject({ levels: 16 });
  });
});

describe('other numbers of levels', () => {
  test.each([3, 4, 256])('%i are learned, too', (count) => {
    const { profile } = learn(count);
    expect(profile.levels?.count).toBe(count);
    expect(mean(burnWedge(takeRoad(profile, count), count))).toBeLessThan(0.7);
  });

  test('a laser that marks only at its last level gives a road that says so, or none with the reason', () => {
    const { profile, warnings } = learn(8, { ...POWER, threshold: 0.86, exponent: 1 });
    const said = warnings.map(({ code }) => code);
    expect(said.some((code) => code === 'levels-steep' || code === 'levels-unlearned')).toBe(true);
    expect(profile.levels === undefined).toBe(said.includes('levels-unlearned'));
  });
});

describe('what a job takes of a profile', () => {
  const profile = parseProfile(JSON.parse(readFileSync('shared/shop/profiles/birch-sign.json', 'utf8')), 'birch');

  test('a profile of dots that fire or not is the same on every road', () => {
    expect(takeRoad(profile, 16)).toBe(profile);
  });

  test('levels through it are taken in proportion, and that is said', () => {
    const job = resolveJob({ size: '40x30', profile: profile.name, levels: 16 }, known);
    expect(job.curve).toBe('predicted');
    expect(job.warnings.map(({ code }) => code)).toContain('levels-unmeasured');
    const dots = resolveJob({ size: '40x30', profile: profile.name }, known);
    expect(dots.warnings.map(({ code }) => code)).not.toContain('levels-unmeasured');
  });

  test.each([
    ['direct-search', {}],
    ['ostromoukhov', { errorOf: 'marks' }],
  ] as const)('a screen that counts what levels leave is refused: %s', (screen, screenOptions) => {
    const ask = (more: object) => () =>
      resolveJob({ size: '40x30', screen, screenOptions, levels: 16, ...more }, known);
    expect(ask({ profile: profile.name })).toThrow(/levels: found 16 .* knows dots that fire or not; needed a profile/);
    expect(ask({ machine: 'gantry-450', material: 'birch-plywood' })).toThrow(/levels: found 16 .* and no profile/);
    expect(ask({ profile: profile.name, levels: 2 })).not.toThrow();
  });

  test('the automatic screen does not count them', () => {
    expect(resolveJob({ size: '40x30', profile: profile.name, screen: 'auto', levels: 16 }, known).screen.name).toBe(
      'zhou-fang',
    );
  });

  test('another number of levels is named as such', () => {
    const own = { ...profile, screen: screenOf(16) };
    const [difference] = compareHalftone(own, { grid: own.grid, screen: screenOf(4) });
    expect(difference!.message).toMatch(/with 16 power levels per dot; this job uses 4 power levels per dot$/);
    expect(compareHalftone(own, { grid: own.grid, screen: screenOf(16) })).toEqual([]);
  });
});

describe('a chart with levels', () => {
  const ask = { kind: 'tone', machine: 'gantry-450', material: 'birch-plywood' } as const;

  test('has patches of both roads, and as many tones of grey', () => {
    const { options } = resolveChart({ ...ask, levels: 16 }, known);
    const layout = layoutChart('tone', options);
    expect(layout.levels).toEqual({ count: 16, screen: expect.objectContaining({ name: 'zhou-fang' }) });
    const kinds = new Set(layout.patches.map(({ pattern }) => pattern.kind));
    for (const kind of ['screened', 'squares', 'level', 'levels'] as const) expect(kinds).toContain(kind);
    const levels = new Set(draw({ ...layout, grid: layout.grid }).data);
    expect([...levels].sort((a, b) => a - b)).toEqual(Array.from({ length: 16 }, (_, at) => at));
  });

  test('without levels it is the chart that it always was', () => {
    const plain = layoutChart('tone', resolveChart(ask, known).options);
    expect(plain.levels).toBeUndefined();
    expect(layoutChart('tone', resolveChart({ ...ask, levels: 2 }, known).options).hash).toBe(plain.hash);
    expect(layoutChart('tone', resolveChart({ ...ask, levels: 3 }, known).options).hash).not.toBe(plain.hash);
  });

  test.each([
    [
      { ...ask, machine: 'galvo-355-f210', material: 'anodised-black', levels: 16 },
      /states that its beam fires or not/,
    ],
    [{ ...ask, levels: 300 }, /3 to 256/],
    [{ ...ask, kind: 'spot', levels: 16 }, /needed a tone chart/],
    [{ ...ask, levels: 16, screen: 'direct-search' }, /needed one that gives levels/],
    [{ kind: 'verify', profile: 'birch-sign', levels: 16 }, /needed one that has learned levels/],
  ] as const)('is refused where it cannot be: %j', (request, said) => {
    expect(() => resolveChart(request, known)).toThrow(said);
  });
});
