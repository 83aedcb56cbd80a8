import { describe, expect, test } from 'vitest';
import { layoutChart } from '../../src/chart/index.ts';
import { reflectanceOfLightness } from '../../src/colour/index.ts';
import { adjustProfile, type Check, judgeDrift } from '../../src/job/index.ts';
import { predictCurve } from '../../src/job/request/curve.ts';
import { adjustSurface, describeSolid, type Profile, parseProfile, toneCurveOf } from '../../src/material/index.ts';
import { createPchip } from '../../src/numeric/index.ts';
import { SAMPLE } from '../material/profile-sample.ts';

const PROFILE: Profile = { ...SAMPLE, repeatability: 0.3 };
const TONES = [0.1, 0.25, 0.45, 0.65, 0.85];
const layout = layoutChart('check', {
  machine: PROFILE.machine,
  material: PROFILE.material,
  direction: PROFILE.direction,
  settings: PROFILE.settings,
  grid: PROFILE.grid,
  screen: PROFILE.screen,
  tones: TONES.map((coverage) => ({ coverage })),
});

/** L* of a coverage on a day whose beam is another: the profile's curve, moved as its response model says. */
function dayOf(dose: number, width = 1) {
  const curveOf = (surface: Profile) => {
    const tones = predictCurve(surface, PROFILE);
    return createPchip(
      tones.map(({ coverage }) => coverage),
      tones.map(({ lightness }) => lightness),
    );
  };
  const [base, moved] = [curveOf(PROFILE), curveOf({ ...PROFILE, ...adjustSurface(PROFILE, { dose, width }) })];
  const own = toneCurveOf(PROFILE);
  return (coverage: number) => own.lightnessAt(coverage) + moved.valueAt(coverage) - base.valueAt(coverage);
}

/** What a strip of the day reads, with what each patch is off beside. */
function readStrip(day: (coverage: number) => number, { off = [] as readonly number[], bareOff = 0 } = {}): Check {
  const bare = reflectanceOfLightness(PROFILE.bare[0] + bareOff);
  let at = 0;
  const readings = layout.patches.map((patch) => {
    const lightness =
      patch.pattern.kind === 'bare' ? PROFILE.bare[0] + bareOff : day(patch.coverage) + (off[at++] ?? 0);
    return { ...patch, mean: reflectanceOfLightness(lightness) / bare };
  });
  const drift = judgeDrift(readings, {
    points: PROFILE.points,
    bareExpected: PROFILE.bare[0],
    solidExpected: PROFILE.full[0],
    repeatability: PROFILE.repeatability,
    bareLightness: PROFILE.bare[0] + bareOff,
    camera: 'known',
  });
  return { ...drift, chart: { kind: 'check', hash: layout.hash }, located: { layout } } as unknown as Check;
}

const adjust = (check: Check, profile = PROFILE) => adjustProfile(profile, { check, date: '2026-03-04' });

describe('a surface under another beam', () => {
  test('is itself where nothing changed, and has the solid of the weaker dose otherwise', () => {
    const same = adjustSurface(PROFILE, { dose: 1, width: 1 });
    expect(same.full[0]).toBeCloseTo(PROFILE.full[0], 9);
    expect(same.response.halfDose).toBeCloseTo(PROFILE.response.halfDose, 12);
    const weak = adjustSurface(PROFILE, { dose: 0.8, width: 1 });
    const solid = describeSolid(PROFILE, { grid: PROFILE.response.reference, doseFactor: 0.8 });
    expect(weak.full[0]).toBeCloseTo(solid.lightness, 9);
    // Twice back is where it began.
    const back = adjustSurface(weak, { dose: 1 / 0.8, width: 1 });
    expect(back.full[0]).toBeCloseTo(PROFILE.full[0], 6);
    expect(back.response.fading).toBeCloseTo(PROFILE.response.fading, 9);
  });
});

describe('a profile adjusted by a strip', () => {
  const day = dayOf(0.88);
  const { profile, adjusted, before, after, halfBefore, halfAfter, sentences } = adjust(readStrip(day));

  test('finds the dose of the day, within its interval', () => {
    const [value, low, high] = adjusted.doseFactor;
    expect(Math.abs(value - 0.88)).toBeLessThan(0.03);
    expect(low).toBeLessThan(0.88);
    expect(high).toBeGreaterThan(0.88);
    expect(adjusted.widthFactor[0]).toBeCloseTo(1, 1);
  });

  test('says the tones of the day, where the profile was off', () => {
    const curve = toneCurveOf(profile);
    const errors = [0.05, 0.15, 0.3, 0.5, 0.7, 0.9].map((coverage) =>
      Math.abs(curve.lightnessAt(coverage) - day(coverage)),
    );
    expect(before.worstDelta).toBeGreaterThan(2);
    expect(Math.max(...errors)).toBeLessThan(before.worstDelta / 4);
    expect(after.meanDelta).toBeLessThan(before.meanDelta / 3);
    expect(halfAfter).toBeLessThan(halfBefore);
    expect(sentences.join(' ')).toMatch(/0\.\d+ \(95 %: .*times the dose.*off by .* after the change/);
  });

  test('is a profile that is read back, named by its day, and says where it comes from', () => {
    expect(parseProfile(JSON.parse(JSON.stringify(profile)), 'adjusted')).toEqual(profile);
    expect(profile.name).toBe(`${PROFILE.name}-2026-03-04`);
    expect(profile.adjusted).toMatchObject({ from: PROFILE.name, date: '2026-03-04', chart: layout.hash });
    // Adjusted again, it keeps the name of what was learned.
    const again = adjustProfile(profile, { check: readStrip(day), date: '2026-03-05' });
    expect(again.profile.name).toBe(`${PROFILE.name}-2026-03-05`);
    expect(again.profile.title.match(/adjusted/g)).toHaveLength(1);
  });

  test('changes nothing to speak of on a day like the first', () => {
    const { profile: same, adjusted: by } = adjust(readStrip(dayOf(1)));
    expect(by.doseFactor[0]).toBeCloseTo(1, 2);
    for (const [at, { lightness }] of same.points.entries()) {
      expect(Math.abs(lightness - PROFILE.points[at]!.lightness)).toBeLessThan(0.1);
    }
  });

  test('is refused where the stock moved, or nothing explains what was read', () => {
    expect(() => adjust(readStrip(day, { bareOff: 9 }))).toThrow(
      expect.objectContaining({ code: 'adjust-impossible' }),
    );
    const scratched = readStrip(day, { off: [0, 7, -7, 7, -7, 0] });
    expect(() => adjust(scratched)).toThrow(/no change of dose and dot width explains/);
  });
});
