import { readFileSync } from 'node:fs';
import { describe, expect, test } from 'vitest';
import {
  assessUncertainty,
  exposureHalf,
  listKnown,
  measureSpan,
  sayExposure,
  warnOfUncertainty,
} from '../../src/job/index.ts';
import { coverageTable, type Profile, parseProfile } from '../../src/material/index.ts';
import { luminanceOfLightness, ONE } from '../../src/plane/index.ts';

const POINTS = [0, 0.25, 0.5, 0.75, 1].map((coverage) => ({ coverage, lightness: 20 + 60 * coverage, spread: 0.5 }));
/** Known to ± 1 in the dark half, to ± 5 in the light one. */
const BAND = POINTS.map(({ coverage, lightness }) => {
  const half = coverage < 0.6 ? 1 : 5;
  return { coverage, low: lightness - half, high: lightness + half };
});
const FIT = {
  band: BAND,
  markDiameterXUm: [20, 30],
  markDiameterYUm: [20, 30],
  leaveOneOut: 0.4,
  modelRms: 1,
  warnings: [],
} as const;
const TABLE = coverageTable({ points: POINTS }, { range: 'scale' });

/** A picture of these L*, equally often. */
function countsOf(...photoLightness: number[]): Uint32Array {
  const counts = new Uint32Array(ONE + 1);
  for (const lightness of photoLightness) counts[luminanceOfLightness(lightness)]!++;
  return counts;
}
const assess = (counts: Uint32Array, curve: 'measured' | 'predicted' = 'measured') =>
  assessUncertainty(counts, { profile: { points: POINTS, fit: FIT }, curve, table: TABLE });

describe('uncertainty carried to a picture', () => {
  test('a picture in the well known part is known as well as that', () => {
    const found = assess(countsOf(0, 20, 40))!;
    expect(found).toMatchObject({ meanL: 1, worstL: 1, badShare: 0, badly: [] });
    expect(warnOfUncertainty(found, 'card')).toBeUndefined();
  });

  test('the share in the badly known part is counted, with where it lies and what mends it', () => {
    const found = assess(countsOf(0, 20, 80, 100))!;
    expect(found.badShare).toBe(0.5);
    expect(found.meanL).toBeCloseTo(3, 1);
    expect(found.worstL).toBe(5);
    expect(found.badly.map(({ fromL }) => fromL)).toEqual([68, 80]);
    expect(warnOfUncertainty(found, 'card')?.text).toMatch(
      /50 % of the picture.*a tone chart drawn after this profile/,
    );
  });

  test('a predicted curve is known less well by what the model leaves over', () => {
    expect(assess(countsOf(20), 'predicted')!.meanL).toBeCloseTo(Math.hypot(1, 1.96), 2);
  });

  test('nothing is said of a profile without a band, and an empty picture has no share', () => {
    const none = { profile: { points: POINTS }, curve: 'measured', table: TABLE } as const;
    expect(assessUncertainty(countsOf(50), none)).toBeUndefined();
    expect(assess(new Uint32Array(ONE + 1))).toMatchObject({ meanL: 0, badShare: 0 });
  });
});

describe('how light the whole is', () => {
  const profile = JSON.parse(readFileSync('shared/shop/profiles/anodised-black.json', 'utf8')) as Profile;

  test('is told beside the shape, and follows from a factor of light', () => {
    // L* = 116·Y^(1/3) − 16: a tenth more light is 3.2 % more of L* + 16, a tenth less 3.1 %.
    expect(exposureHalf(84, 1.1)).toBeCloseTo((100 * (1.1 ** (1 / 3) - 1.1 ** (-1 / 3))) / 2, 6);
    const of = { points: POINTS, fit: FIT, exposure: { basis: 'none', factor: 1.1 } } as const;
    const found = assessUncertainty(countsOf(0, 20, 40), { profile: of, curve: 'measured', table: TABLE })!;
    expect(found).toMatchObject({ meanL: 1, worstL: 1, exposure: { basis: 'none' } });
    expect(found.exposure.worstL).toBeCloseTo(exposureHalf(44, 1.1), 2);
    expect(sayExposure(found.exposure)).toMatch(/^± 1\.\d L\* on average, .*no reference in the capture/);
  });

  test('is not known of a profile that was learned before it was asked, and that is said', () => {
    const found = assess(countsOf(50))!;
    expect(found.exposure).toEqual({ basis: 'unknown' });
    expect(sayExposure(found.exposure)).toContain('not known');
    const old = listKnown({ ...profile, fit: FIT });
    expect(old.map(({ name }) => name)).toEqual(['shape', 'lightness']);
    expect(old[1]!.value).toContain('not known');
  });

  test('stands last in a profile, so that one without it keeps its hash, and comes back from its file', () => {
    const plain = parseProfile({ ...profile, fit: FIT }, 'p');
    const known = parseProfile(
      { exposure: { basis: 'reference', factor: 1.09, lightness: 93, tolerance: 3 }, ...plain },
      'p',
    );
    expect(Object.keys(plain)).not.toContain('exposure');
    expect(Object.keys(known).at(-1)).toBe('exposure');
    expect(JSON.stringify(known).startsWith(JSON.stringify(plain).slice(0, -1))).toBe(true);
    expect(listKnown(known)[1]!.value).toMatch(/^± 2\.\d L\* in the light tones, .* measured against L\* 93 ± 3/);
  });

  test('is not asked where nothing was measured', () => {
    expect(listKnown(profile)).toEqual([]);
  });
});

describe('the usable span', () => {
  test('counts tones three deviations apart, and where they begin and end', () => {
    const span = measureSpan({ points: POINTS, repeatability: 0.5 });
    // 60 L* in steps of 1.5.
    expect(span.tones).toBe(41);
    expect(span.from).toBeCloseTo(1.5 / 60, 2);
    expect(span.to).toBeCloseTo(1 - 1.5 / 60, 2);
  });

  test('a flat foot and a flat end of the curve are not usable', () => {
    const points = [
      { coverage: 0, lightness: 20, spread: 0.5 },
      { coverage: 0.3, lightness: 20.5, spread: 0.5 },
      { coverage: 0.7, lightness: 79, spread: 0.5 },
      { coverage: 1, lightness: 80, spread: 0.5 },
    ];
    const span = measureSpan({ points, repeatability: 0.5 });
    expect(span.from).toBeGreaterThan(0.3);
    expect(span.to).toBeLessThan(0.75);
  });

  test('a noisy stretch holds fewer tones than a quiet one', () => {
    const noisy = POINTS.map((point) => ({ ...point, spread: point.coverage > 0.5 ? 2 : 0.5 }));
    expect(measureSpan({ points: noisy, repeatability: 0.5 }).tones).toBeLessThan(30);
  });

  test('one tone is left where the curve is within the scatter', () => {
    const flat = [0, 1].map((coverage) => ({ coverage, lightness: 50 + coverage, spread: 1 }));
    expect(measureSpan({ points: flat, repeatability: 1 }).tones).toBe(1);
  });
});
