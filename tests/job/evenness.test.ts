import { expect, test } from 'vitest';
import { type ChartLayout, layoutChart, type Reading } from '../../src/chart/index.ts';
import { reflectanceOfLightness } from '../../src/colour/index.ts';
import { readEvenness } from '../../src/job/calibrate/read-evenness.ts';
import { resolveJob } from '../../src/job/index.ts';
import { curveInField, type PlaceCorrection, seeAtPlace } from '../../src/job/prepare/evenness.ts';
import { correctPiece, tabulateCoverage } from '../../src/job/prepare/run.ts';
import { requestScreen } from '../../src/job/request/screen.ts';
import { type EvennessMap, evennessAt, listEvenness, parseEvenness } from '../../src/machine/index.ts';
import { adjustSurface, DERIVED_COVERAGES, fillDotTable, type Profile, type Shop } from '../../src/material/index.ts';
import { createPlane, EVEN_FIELDS, evenPlane, ONE } from '../../src/plane/index.ts';
import { predictLightness } from '../../src/proof/index.ts';
import { applyScreen } from '../../src/screens/index.ts';
import { SAMPLE } from '../material/profile-sample.ts';
import { REFUSED, SHOP } from './shop.ts';

const PROFILE = {
  ...SAMPLE,
  machine: 'gantry-450',
  screen: { name: 'floyd-steinberg', options: {} },
  settings: { powerW: 4, speedMmPerS: 100, passes: 1, scan: 'one-way' },
} as const;
const FIELD_MM = [120, 120] as const;
const { side, from, to } = EVEN_FIELDS.job;
const RECT = { x: from, y: from, width: to - from, height: to - from };

/** A beam that is weaker along its way and wider at the rim. */
const beamAt = (xMm: number, yMm: number) => ({
  dose: 1.02 - 0.1 * ((xMm - 60) / 60) - 0.12 * (((xMm - 60) ** 2 + (yMm - 60) ** 2) / 60 ** 2 / 2),
  width: 1 + 0.04 * (((xMm - 60) ** 2 + (yMm - 60) ** 2) / 60 ** 2 / 2),
});

/** The mean of it where the profile's own chart lies: a card in the middle. */
const HOME_PLACES = Array.from({ length: 100 }, (_, at) =>
  beamAt(60 + 85.6 * (((at % 10) + 0.5) / 10 - 0.5), 60 + 54 * ((Math.floor(at / 10) + 0.5) / 10 - 0.5)),
);
const home = {
  dose: HOME_PLACES.reduce((sum, { dose }) => sum + dose, 0) / 100,
  width: HOME_PLACES.reduce((sum, { width }) => sum + width, 0) / 100,
};

const tables = new Map<string, ReturnType<typeof fillDotTable>>();
/** L* of a field of one coverage under a beam, by the response model. */
function burn(coverage: number, beam: { readonly dose: number; readonly width: number }): number {
  const rounded = { dose: Math.round(beam.dose * 200) / 200, width: Math.round(beam.width * 200) / 200 };
  const key = JSON.stringify(rounded);
  const table = tables.get(key) ?? fillDotTable(adjustSurface(PROFILE, rounded), PROFILE.grid);
  tables.set(key, table);
  const dots = applyScreen(evenPlane(coverage, side), { name: 'floyd-steinberg', grid: PROFILE.grid });
  return predictLightness(dots, { table, rect: RECT });
}

const layoutAt = (xMm: number, yMm: number, sideMm = 60): ChartLayout =>
  layoutChart('field', {
    machine: PROFILE.machine,
    material: PROFILE.material,
    direction: PROFILE.direction,
    settings: PROFILE.settings,
    grid: PROFILE.grid,
    screen: PROFILE.screen,
    widthMm: sideMm,
    heightMm: sideMm,
    inField: { xMm, yMm, widthMm: FIELD_MM[0], heightMm: FIELD_MM[1], profile: PROFILE.name },
  });

/** Readings of a chart that lies in that field; `dayDose` is what its day has of the profile's. */
function read(layout: ChartLayout, field: typeof beamAt, dayDose = 1): readonly Reading[] {
  const bare = reflectanceOfLightness(PROFILE.bare[0]);
  return layout.patches.map((patch): Reading => {
    const { xMm, yMm } = layout.inField!;
    const place = { xMm: patch.xMm + patch.widthMm / 2, yMm: patch.yMm + patch.heightMm / 2 };
    const beam = field(xMm + place.xMm, yMm + place.yMm);
    const lightness = burn(patch.coverage, { ...beam, dose: beam.dose * dayDose });
    const mean = patch.coverage === 0 ? 1 : reflectanceOfLightness(lightness) / bare;
    return { ...patch, ...place, mean, colour: [0, 0, 0], spread: 0, pixels: 100, rejectedShare: 0 };
  });
}

/** Two charts that share the field: one over all of it, one over a corner again. */
const WHOLE = [layoutAt(0, 0, 120), layoutAt(60, 60)];
const learn = (
  field: typeof beamAt,
  { dayDose = 1, layouts = WHOLE, profile = PROFILE as Profile } = {},
): EvennessMap =>
  readEvenness(
    layouts.map((layout) => ({ layout, readings: read(layout, field, dayDose) })),
    { profile, date: '2026-01-02' },
  );
const MAP = learn(beamAt);

test('every tone of a field chart lies in every part of it', () => {
  const { patches } = layoutAt(0, 0, 120);
  for (const coverage of new Set(patches.map((patch) => patch.coverage))) {
    for (const quarter of [0, 1, 2, 3]) {
      const there = patches.filter(
        ({ coverage: own, xMm, yMm }) =>
          own === coverage && xMm >= 60 === (quarter % 2 === 1) && yMm >= 60 === quarter > 1,
      );
      expect(there.length, `${coverage} in quarter ${quarter}`).toBeGreaterThanOrEqual(3);
    }
  }
  expect(patches.filter(({ role }) => role === 'solid')).toHaveLength(3);
});

test('a map finds dose and width of a field, against where the profile was learned', () => {
  const at = evennessAt(MAP);
  for (const [xMm, yMm] of [
    [6, 6],
    [114, 6],
    [60, 60],
    [20, 100],
    [114, 114],
  ] as const) {
    const { dose, width, doseReach, widthReach } = at(xMm, yMm);
    const truth = beamAt(xMm, yMm);
    expect(dose / (truth.dose / home.dose)).toBeCloseTo(1, 1.5);
    // What a width and an answer to it do are told apart by what is usual alone.
    expect(Math.abs(width / (truth.width / home.width) - 1)).toBeLessThan(0.016);
    expect(Math.abs(Math.log(width / (truth.width / home.width)))).toBeLessThan(Math.log(widthReach));
    expect(doseReach).toBeGreaterThan(1);
  }
  expect(MAP.leftL).toBeLessThan(0.3);
  expect(MAP.unevenL).toBeGreaterThan(2 * MAP.leftL);
  expect(parseEvenness(JSON.parse(JSON.stringify(MAP)), 'm')).toEqual(MAP);
});

test('a weaker day is no uneven field', () => {
  const at = evennessAt(learn(beamAt, { dayDose: 0.9 }));
  const usual = evennessAt(MAP);
  for (const [xMm, yMm] of [
    [10, 10],
    [110, 110],
  ] as const) {
    // The day's own slopes are taken for those of the profile's day.
    expect(Math.abs(at(xMm, yMm).dose / usual(xMm, yMm).dose - 1)).toBeLessThan(0.025);
  }
});

test('an even field is told to be even', () => {
  const map = learn(() => ({ dose: 1, width: 1 }), { layouts: [layoutAt(30, 30)] });
  for (const { dose, doseReach } of listEvenness(map, { columns: 5, rows: 5 })) {
    expect(Math.abs(dose - 1)).toBeLessThan(0.01);
    expect(doseReach).toBeGreaterThan(1);
  }
  expect(map.notes[0]).toContain('No place differs');
});

test('what no smooth field explains is refused, and so is another chart', () => {
  let chance = 1;
  const rough = () => {
    chance = (chance * 16807) % 2147483647;
    return { dose: 0.75 + (0.5 * chance) / 2147483647, width: 1 };
  };
  expect(() => learn(rough, { layouts: [layoutAt(30, 30)] })).toThrow('any smooth field');
  const { inField: _, ...other } = layoutAt(0, 0);
  const charts = [{ layout: other, readings: [] }];
  expect(() => readEvenness(charts, { profile: PROFILE, date: '2026-01-02' })).toThrow('needed field charts');
});

/** The built-in shop with the profile, the map and nothing else of its own. */
const shopWith = (map: EvennessMap, profile: Profile = PROFILE): Shop => ({
  ...SHOP,
  list: (kind) =>
    kind === 'evenness' ? [{ name: map.machine, path: 'evenness.json', from: 'shop' }] : SHOP.list(kind),
  read: (kind, name) =>
    kind === 'evenness'
      ? { name, path: 'evenness.json', from: 'shop', json: JSON.parse(JSON.stringify(map)) }
      : kind === 'profiles' && name === 'sample'
        ? { name, path: 'sample.json', from: 'shop', json: JSON.parse(JSON.stringify(profile)) }
        : kind === 'machines'
          ? { ...SHOP.read(kind, name), json: { ...(SHOP.read(kind, name).json as object), fieldMm: FIELD_MM } }
          : SHOP.read(kind, name),
});
const resolveAt = (at: string | undefined, more: object = {}, map = MAP, profile: Profile = PROFILE) =>
  resolveJob(
    { size: '20x15', profile: 'sample', tone: 'plain', screen: 'floyd-steinberg', ...(at ? { at } : {}), ...more },
    { shop: shopWith(map, profile), refused: REFUSED },
  );
const FRAME = { widthMm: 20, heightMm: 15 };
const TONES = Array.from({ length: 18 }, (_, at) => (at + 1.5) / 20);

/** What is wanted of some tones at a node of a corrected piece, and what its coverage becomes under the true beam. */
function burnAtNode(correction: PlaceCorrection, spec: ReturnType<typeof resolveAt>, at: 'first' | 'last') {
  const { table } = tabulateCoverage(spec);
  const { place } = spec;
  const sign = at === 'first' ? -1 : 1;
  const beam = beamAt(place!.xMm + sign * 10, place!.yMm + sign * 7.5);
  return TONES.map((tone) => {
    const value = Math.round(tone * ONE);
    const coverage = correction.coverage.at(at === 'first' ? 0 : -1)![value]! / ONE;
    const there = { dose: beam.dose / home.dose, width: beam.width / home.width };
    const burned = burn(coverage, there);
    const uncorrected = burn(table.coverage[value]! / ONE, there);
    const atHome = burn(table.coverage[value]! / ONE, { dose: 1, width: 1 });
    return { burned, atHome, uncorrected };
  });
}

test.each(['20,20', '100,20', '100,100'])('tones at %s come out as in the middle of the field', (at) => {
  const spec = resolveAt(at);
  const correction = correctPiece(spec, { table: tabulateCoverage(spec).table, frame: FRAME })!;
  let total = 0;
  for (const which of ['first', 'last'] as const) {
    const off = burnAtNode(correction, spec, which).map(({ burned, atHome, uncorrected }) => [
      Math.abs(burned - atHome),
      Math.abs(uncorrected - atHome),
    ]);
    const meanOf = (at: number) => off.reduce((sum, one) => sum + one[at]!, 0) / off.length;
    // What is left is the texture of error diffusion, which jumps by 2 L* where half of the dots fire.
    expect(meanOf(0)).toBeLessThan(Math.max(0.4, meanOf(1) / 2.8));
    total += meanOf(1);
  }
  expect(total).toBeGreaterThan(0.8);
});

test('tones answer as they were measured to, and not as a model that is wrong says', () => {
  // Burned by one law, learned as another that follows the dose less steeply.
  const profile: Profile = {
    ...PROFILE,
    response: { ...PROFILE.response, steepness: 0.6 * PROFILE.response.steepness },
  };
  const measured = learn(beamAt, { profile });
  const { answers, ...byModel } = measured;
  const HERE = { dose: 1, width: 1 };
  expect(Math.max(...answers!.tones.map(({ dose }) => Math.abs(dose - 1)))).toBeGreaterThan(0.1);
  const offOf = (map: EvennessMap) => {
    const spec = resolveAt('100,100', {}, map, profile);
    const correction = correctPiece(spec, { table: tabulateCoverage(spec).table, frame: FRAME })!;
    const there = evennessAt(map)(110, 107.5);
    const shifts = curveInField(spec, { home: profile.points }).shiftAt(there);
    const truth = beamAt(110, 107.5);
    const beam = { dose: truth.dose / home.dose, width: truth.width / home.width };
    const off = DERIVED_COVERAGES.map((coverage, at) => shifts[at]! - (burn(coverage, beam) - burn(coverage, HERE)));
    return {
      off: Math.sqrt(off.reduce((sum, one) => sum + one * one, 0) / off.length),
      reachL: correction.facts.reachL!,
    };
  };
  const [byAnswers, alone] = [offOf(measured), offOf(byModel)];
  expect(byAnswers.off).toBeLessThan(0.75 * alone.off);
  expect(byAnswers.off).toBeLessThan(byAnswers.reachL);
  // What was not measured is known less well, and says so.
  expect(byAnswers.reachL).toBeGreaterThan(0);
  expect(byAnswers.reachL).toBeLessThan(0.7 * alone.reachL);
  expect(measured.reachL).toBeLessThan(1);
});

test('answers of one material are not taken for another’s', () => {
  const other = correctPiece(resolveAt('100,100', {}, { ...MAP, material: 'another' }), {
    table: tabulateCoverage(resolveAt('100,100')).table,
    frame: FRAME,
  })!;
  const own = correctPiece(resolveAt('100,100'), {
    table: tabulateCoverage(resolveAt('100,100')).table,
    frame: FRAME,
  })!;
  expect(other.facts.reachL).toBeGreaterThan(own.facts.reachL!);
  expect(other.coverage).not.toEqual(own.coverage);
});

test('a map whose answers do not fit its surface is refused, and one of before there were any is not', () => {
  const { answers: _, ...old } = MAP;
  expect(parseEvenness(JSON.parse(JSON.stringify(old)), 'm')).toEqual(old);
  const broken = { ...MAP, answers: { ...MAP.answers!, tones: MAP.answers!.tones.slice(1) } };
  expect(() => parseEvenness(JSON.parse(JSON.stringify(broken)), 'm')).toThrow('field "answers"');
});

test('a turned piece is corrected for where each of its sides comes to lie', () => {
  const straight = resolveAt('100,100');
  const turned = resolveAt('100,100', { rotateDeg: 180 });
  const tableOf = (spec: typeof straight) => tabulateCoverage(spec).table;
  const upright = correctPiece(straight, { table: tableOf(straight), frame: FRAME })!;
  const flipped = correctPiece(turned, { table: tableOf(turned), frame: FRAME })!;
  expect(flipped.coverage[0]).toEqual(upright.coverage.at(-1));
  const mirrored = resolveAt('100,100', { mirror: true });
  const seen = correctPiece(mirrored, { table: tableOf(mirrored), frame: FRAME })!;
  expect(seen.coverage[0]).toEqual(upright.coverage[upright.columns - 1]);
});

test('the proof of what lies at a weak place is that of the weaker beam', () => {
  const spec = resolveAt('100,100');
  const correction = correctPiece(spec, { table: tabulateCoverage(spec).table, frame: FRAME })!;
  const home = createPlane('reflectance', 8, 8);
  home.data.fill(reflectanceOfLightness((PROFILE.bare[0] + PROFILE.full[0]) / 2));
  const there = seeAtPlace(home, correction);
  const towardsBare = Math.sign(PROFILE.bare[0] - PROFILE.full[0]);
  for (let i = 0; i < there.data.length; i++) expect(towardsBare * (there.data[i]! - home.data[i]!)).toBeGreaterThan(0);
  expect(seeAtPlace(home, undefined)).toBe(home);
});

test('without a place nothing changes, and a place is told in words or as a pocket', () => {
  expect(resolveAt(undefined).place).toBeUndefined();
  expect(resolveAt('60; 80,5').place).toMatchObject({ xMm: 60, yMm: 80.5 });
  expect(requestScreen(resolveAt(undefined))).toEqual(requestScreen(resolveAt('60,80')));
});

test.each([
  ['5,5', {}, 'beyond the 120 × 120 mm'],
  ['120', {}, 'at: found "120"'],
  [undefined, { evenness: 'x' }, 'needed where the piece lies'],
  ['no-such-jig/A1', {}, 'found no jig "no-such-jig"'],
] as const)('a place of %s is refused', (at, more, words) => {
  expect(() => resolveAt(at, more)).toThrow(words);
});

test('a place that was not measured, and one too weak for a solid, are refused with the reason', () => {
  const small = learn(beamAt, { layouts: [layoutAt(0, 0)] });
  const far = resolveAt('100,100', {}, small);
  expect(() => correctPiece(far, { table: tabulateCoverage(far).table, frame: FRAME })).toThrow('that was measured');
  const { coefficients } = MAP.lnDose;
  const weak = {
    ...MAP,
    lnDose: { ...MAP.lnDose, coefficients: coefficients.map((one, at) => (at === 1 ? -1.4 : one)) },
  };
  const spec = resolveAt('105,60', {}, weak);
  expect(() => correctPiece(spec, { table: tabulateCoverage(spec).table, frame: FRAME })).toThrow('even a solid');
  expect(() =>
    resolveJob({ size: '20x15', profile: 'birch-sign', at: '100,100' }, { shop: SHOP, refused: REFUSED }),
  ).toThrow('found no map of the field of gantry-450');
});
