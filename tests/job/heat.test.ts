import { readFileSync } from 'node:fs';
import { beforeAll, describe, expect, test } from 'vitest';
import { drawChart, layoutChart } from '../../src/chart/index.ts';
import { lightnessOfReflectance, reflectanceOfLightness } from '../../src/colour/index.ts';
import { learnProfile, listKnown } from '../../src/job/index.ts';
import { type HeatPlan, mendHeat, planHeat, seeWithHeat } from '../../src/job/prepare/heat.ts';
import { predictPoints } from '../../src/job/request/curve.ts';
import { fillDotTable, knowsHeat, type Profile, parseProfile, toneCurveOf } from '../../src/material/index.ts';
import {
  createDots,
  createPlane,
  type DotOrientation,
  type Dots,
  ONE,
  orientDots,
  type Plane,
} from '../../src/plane/index.ts';
import { applyScreen } from '../../src/screens/index.ts';
import {
  CAMERAS,
  captureSurface,
  engrave,
  type MaterialModel,
  parseMaterialModel,
} from '../../src/simulation/index.ts';

const stainless = parseMaterialModel(JSON.parse(readFileSync('shared/simulation/stainless.json', 'utf8')));
const grid = stainless.reference;
const NAME = 'ostromoukhov';

/** The virtual stainless steel with so many times its heat, one way. */
function heated(factor: number): MaterialModel {
  const { heat, settings } = stainless;
  const gains = { gainAlong: factor * heat.gainAlong, gainAcross: factor * heat.gainAcross };
  return { ...stainless, heat: { ...heat, ...gains }, settings: { ...settings, scan: 'one-way' } };
}

function learn(model: MaterialModel): Profile {
  const layout = layoutChart('tone', {
    ...{ machine: 'galvo-1064-f160', material: 'stainless-steel', direction: 'darker', grid },
    ...{ settings: model.settings, screen: { name: NAME, options: {} }, widthMm: 60, heightMm: 42, steps: 9 },
  });
  const dots = drawChart(layout, (coverage) => applyScreen(coverage, { name: NAME, grid }));
  const piece = engrave(dots, { grid, model, seed: 4, marginMm: 3 });
  const image = { ...captureSurface(piece, { ...CAMERAS['flatbed-600']!.options, seed: 5 }), bits: 8 as const };
  return learnProfile([{ name: 'scan', image }], { layouts: [layout], camera: 'known', date: '2026-01-01' }).profile;
}

let warm: Profile;
let cold: Profile;
const screen = { name: NAME, options: { errorOf: 'marks' } } as const;
const askedOf = (profile: Profile, scan: 'one-way' | 'two-way' = 'one-way', orientation?: DotOrientation) => ({
  ...{ profile, grid, screen, levels: 2, settings: { ...profile.settings, scan } },
  ...(orientation ? { orientation } : {}),
});
const pointsOf = (profile: Profile) => predictPoints({ profile, grid, screen });
const planOf = (...asked: Parameters<typeof askedOf>): HeatPlan => planHeat(askedOf(...asked), pointsOf(asked[0]))!;

beforeAll(() => {
  warm = learn(heated(1));
  cold = learn(heated(0));
}, 120_000);

describe('heat of earlier dots', () => {
  test('is learned from a tone chart, with an interval that holds it', () => {
    const { along, across, total } = warm.heat!;
    // Doses add to the power 1.25 there, so that 8 and 15 % of energy are 10 and 19 % of what adds up.
    expect(total[1]).toBeGreaterThan(0.1);
    expect(total[1]).toBeLessThan(0.29);
    expect(total[2]).toBeGreaterThan(0.29);
    expect(across).toBeGreaterThan(along);
    expect(knowsHeat(warm)).toBe(true);
  });

  test('is told nowhere where there is none, and changes nothing there', () => {
    const [, low, high] = cold.heat!.total;
    expect([low < 0, high > 0]).toEqual([true, true]);
    expect(planHeat(askedOf(cold), pointsOf(cold))).toBeUndefined();
    const { heat: _, ...before } = warm;
    expect(planHeat(askedOf(before), pointsOf(warm))).toBeUndefined();
  });

  test('is said of a profile either way', () => {
    const said = (profile: Profile) => listKnown(profile).find(({ name }) => name === 'heat');
    expect(said(warm)!.value).toMatch(
      /gain \d+ % of dose along the line and \d+ % from lines before, together \d+ … \d+ %/,
    );
    expect(said(cold)!.value).toMatch(/^not told by this chart: -\d+ … \d+ % \(95 %\) holds none$/);
    const { heat: _, ...before } = warm;
    expect(said(before)).toBeUndefined();
  });

  test('goes through a file', () => {
    expect(parseProfile(JSON.parse(JSON.stringify(warm)), 'p.json').heat).toEqual(warm.heat);
    const odd = { ...warm, heat: { ...warm.heat!, lengthMm: 0 } };
    expect(() => parseProfile(odd, 'p.json')).toThrow(/heat\.lengthMm.*found 0/);
  });
});

/** Columns of a dark stretch, a middle one and a bare one, again and again, above the same turned round. */
function drawStripes(): Plane<'coverage'> {
  const plane = createPlane('coverage', 360, 240);
  for (let i = 0; i < plane.data.length; i++) {
    const x = i % 360;
    const at = Math.floor(x / 30) % 4;
    plane.data[i] = Math.round(ONE * [0.9, 0.4, 0.05, 0.4][at]!);
  }
  return plane;
}

/** Mean L* of the middle stretches, just after the dark ones, and just after the nearly bare ones. */
function readStripes(dots: Dots, model: MaterialModel): readonly [afterDark: number, afterBare: number] {
  const smooth = { jitterUm: 0, lineWobbleUm: 0, dotEnergySd: 0, lineEnergySd: 0 };
  const even = { ...model, beam: { ...model.beam, ...smooth }, grain: [] };
  const { width, height, rgb } = engrave(dots, { grid, model: even, seed: 3, pixelUm: 1000 * grid.pitchMm });
  const sums = [0, 0];
  const counts = [0, 0];
  for (let y = 60; y < height; y++) {
    for (let x = 120; x < width; x++) {
      const into = x % 30;
      const at = [1, 3].indexOf(Math.floor(x / 30) % 4);
      // Beyond what marks of the neighbours reach.
      if (at < 0 || into < 4 || into >= 12) continue;
      sums[at] = sums[at]! + rgb[3 * (y * width + x)]!;
      counts[at] = counts[at]! + 1;
    }
  }
  return [0, 1].map((at) => lightnessOfReflectance(sums[at]! / counts[at]!)) as [number, number];
}

describe('a screen with heat in mind', () => {
  test('gives the same tone after what is dark and after what is bare, on the engraver', () => {
    const marks = fillDotTable(warm, grid);
    const wanted = drawStripes();
    const burn = (coverage: Plane<'coverage'>) => {
      const [dark, bare] = readStripes(
        applyScreen(coverage, { ...screen.options, name: NAME, grid, marks }),
        heated(1),
      );
      return dark - bare;
    };
    const without = burn(wanted);
    const withHeat = burn(mendHeat(wanted, planOf(warm)));
    // Darker after the dark stretch, by more than is seen side by side.
    expect(without).toBeLessThan(-0.4);
    expect(Math.abs(withHeat)).toBeLessThan(0.45 * Math.abs(without));
  });

  test('leaves an even field as it is behind its edges, and bare bare', () => {
    const plane = createPlane('coverage', 300, 300);
    plane.data.fill(Math.round(0.4 * ONE));
    plane.data.fill(0, 250 * 300);
    const mended = mendHeat(plane, planOf(warm));
    // Cold at its upper left corner, where more dots make up for it.
    expect(mended.data[0]!).toBeGreaterThan(1.02 * plane.data[0]!);
    expect(Math.abs(mended.data[200 * 300 + 200]! - plane.data[0]!)).toBeLessThan(0.002 * ONE);
    expect(mended.data.subarray(250 * 300).every((value) => value === 0)).toBe(true);
  });

  test('takes lines there and back as the mean of both', () => {
    const stripes = drawStripes();
    const reverse = ({ width, height, data }: Plane<'coverage'>) => {
      const out = createPlane('coverage', width, height);
      for (let i = 0; i < data.length; i++) out.data[i] = data[i - 2 * (i % width) + width - 1]!;
      return out;
    };
    const apart = (scan: 'one-way' | 'two-way') => {
      const plan = planOf(warm, scan);
      const there = mendHeat(stripes, plan);
      const back = reverse(mendHeat(reverse(stripes), plan));
      return there.data.reduce((most, value, i) => Math.max(most, Math.abs(value - back.data[i]!)), 0);
    };
    expect(apart('two-way')).toBeLessThanOrEqual(1);
    expect(apart('one-way')).toBeGreaterThan(0.01 * ONE);
  });

  test.each([
    { mirrored: true, turnedDeg: 0 },
    { mirrored: false, turnedDeg: 90 },
    { mirrored: true, turnedDeg: 90 },
    { mirrored: false, turnedDeg: 180 },
    { mirrored: true, turnedDeg: 270 },
  ] as const)('goes by how the piece is burned: mirrored $mirrored, turned $turnedDeg°', (orientation) => {
    const [width, height] = [16, 12];
    const places = createDots(width, height);
    places.data.set(places.data.map((_, i) => i));
    const burned = orientDots(places, orientation);
    const coverage = createPlane('coverage', width, height);
    coverage.data.set(coverage.data.map((_, i) => Math.round(ONE * ((i * 37) % 91) * 0.01)));
    const lying = createPlane('coverage', burned.width, burned.height);
    lying.data.set(lying.data.map((_, i) => coverage.data[burned.data[i]!]!));
    const mended = mendHeat(coverage, planOf(warm, 'one-way', orientation));
    const mendedLying = mendHeat(lying, planOf(warm));
    expect([...mendedLying.data]).toEqual(Array.from(burned.data, (place) => mended.data[place]!));
  });

  test('foretells the wanted tone where the dots can follow, and what a cold edge is short of', () => {
    const plan = planOf(warm);
    const curve = toneCurveOf({ points: pointsOf(warm) });
    const seenOf = (coverage: Plane<'coverage'>) => {
      const seen = createPlane('reflectance', coverage.width, coverage.height);
      seen.data.set(
        Float32Array.from(coverage.data, (value) => reflectanceOfLightness(curve.lightnessAt(value / ONE))),
      );
      return seen;
    };
    const wanted = drawStripes();
    const mended = mendHeat(wanted, plan);
    const meanOff = (coverage: Plane<'coverage'>) => {
      const shown = seeWithHeat(seenOf(coverage), { plan, coverage });
      const off = Array.from(shown.data, (value, i) =>
        wanted.data[i]! > 0.5 * ONE
          ? 0
          : Math.abs(lightnessOfReflectance(value) - curve.lightnessAt(wanted.data[i]! / ONE)),
      );
      return off.reduce((sum, one) => sum + one, 0) / off.length;
    };
    expect(meanOff(wanted)).toBeGreaterThan(0.1);
    expect(meanOff(mended)).toBeLessThan(0.3 * meanOff(wanted));
    const unmended = seeWithHeat(seenOf(wanted), { plan, coverage: wanted });
    expect(lightnessOfReflectance(unmended.data[200 * 360 + 30]!)).toBeLessThan(curve.lightnessAt(0.4) - 0.5);
    const solid = createPlane('coverage', 60, 60);
    solid.data.fill(ONE);
    const cornerL = lightnessOfReflectance(
      seeWithHeat(seenOf(mendHeat(solid, plan)), { plan, coverage: solid }).data[0]!,
    );
    expect(cornerL).toBeGreaterThan(curve.darkest + 1);
  });
});
