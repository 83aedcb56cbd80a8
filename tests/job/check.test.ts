import { describe, expect, test } from 'vitest';
import { reflectanceOfLightness } from '../../src/colour/index.ts';
import type { ToneReading } from '../../src/job/calibrate/check.ts';
import {
  addToHistory,
  type Check,
  compareProfiles,
  judgeDrift,
  parseHistory,
  readProfile,
  resolveChart,
} from '../../src/job/index.ts';
import { toneCurveOf } from '../../src/material/index.ts';
import { createRandom } from '../../src/numeric/index.ts';
import { REFUSED, SHOP } from './shop.ts';

const PROFILE = readProfile('anodised-black', SHOP);
const CURVE = toneCurveOf(PROFILE);
const BARE = PROFILE.points[0]!.lightness;
const FULL = PROFILE.points.at(-1)!.lightness;
const ENDS = { bareExpected: BARE, solidExpected: FULL };
const UNIT = 1;

/** Readings of a strip whose patches have the L* that `shift` makes of what the profile expects. */
function readStrip(
  shift: (lightness: number, share: number) => number,
  { bareLightness = BARE, exposure = 1, camera = 'known' as 'known' | 'unknown', exposureFactor = 0 } = {},
) {
  const { tones } = resolveChart({ kind: 'check', profile: PROFILE.name }, { shop: SHOP, refused: REFUSED }).options;
  const bare = reflectanceOfLightness(bareLightness);
  const at = (lightness: number) => {
    const share = (lightness - BARE) / (FULL - BARE);
    return reflectanceOfLightness(shift(lightness, share)) / bare;
  };
  const readings = [
    { id: 'A1', role: 'bare', group: 'bare', pattern: { kind: 'bare' }, coverage: 0, mean: 1 },
    ...tones!.map(({ coverage }, i) => ({
      id: `A${i + 2}`,
      role: 'control',
      group: `step-${coverage}`,
      pattern: { kind: 'screened' },
      coverage,
      mean: at(CURVE.lightnessAt(coverage)),
    })),
    { id: 'A7', role: 'solid', group: 'solid', pattern: { kind: 'solid' }, coverage: 1, mean: at(FULL) },
  ] as readonly ToneReading[];
  // The exposure multiplies the light of everything; ratios to bare stay.
  const seen = 116 * Math.cbrt(bare * exposure) - 16;
  return judgeDrift(readings, {
    points: PROFILE.points,
    ...ENDS,
    repeatability: UNIT,
    bareLightness: seen,
    camera,
    ...(exposureFactor > 0 ? { exposureFactor } : {}),
  });
}

describe('a drift and its cause', () => {
  test('a strip that reads as the curve has it holds', () => {
    const drift = readStrip((lightness) => lightness);
    expect(drift).toMatchObject({ verdict: 'holds', cause: 'none', basis: 'absolute', unit: UNIT });
    expect(drift.meanDelta).toBeCloseTo(0, 6);
    expect(drift.worstDelta).toBeCloseTo(0, 6);
  });

  test('mean and worst are those of the differences', () => {
    const drift = readStrip((lightness, share) => lightness + (share > 0.99 ? 0 : share < 0.3 ? 2 : -1));
    // Bare 0, one tone +2 (at a sixth of the range), four tones −1, solid 0.
    expect(drift.meanDelta).toBeCloseTo((2 + 4) / 7, 3);
    expect(drift.worstDelta).toBeCloseTo(2, 3);
    expect(drift.worstIds).toEqual(['A2']);
  });

  test.each([
    ['weaker midtones, bare and solid fixed', -3, /tones between mark weaker by 3/],
    ['stronger midtones, bare and solid fixed', 3, /tones between mark stronger by 3/],
  ])('%s: the size of the dot', (_, delta, words) => {
    const drift = readStrip((lightness, share) => lightness + (share > 0.99 ? 0 : delta));
    expect(drift).toMatchObject({ verdict: 'drifting', cause: 'dot-size' });
    expect(drift.midShift).toBeCloseTo(delta, 3);
    expect(drift.sentences.join(' ')).toMatch(words);
    expect(drift.sentences.join(' ')).toMatch(/focus.*lens/);
  });

  test('all strengths fell together: power', () => {
    const drift = readStrip((lightness) => BARE + 0.93 * (lightness - BARE));
    expect(drift).toMatchObject({ verdict: 'drifting', cause: 'power' });
    expect(drift.solidShift).toBeCloseTo(-0.07 * (FULL - BARE), 3);
    expect(drift.sentences.join(' ')).toMatch(/less power/);
  });

  test('bare moved while solid stayed: another batch', () => {
    const bareLightness = BARE + 5;
    const drift = readStrip((lightness, share) => lightness + 5 * (1 - share), { bareLightness });
    expect(drift).toMatchObject({ cause: 'batch', basis: 'absolute' });
    expect(drift.bareDelta).toBeCloseTo(5, 6);
    expect(drift.midShift).toBeCloseTo(0, 3);
  });

  test('bare and solid brighter by one factor: the exposure, and the profile holds', () => {
    const drift = readStrip((lightness) => lightness, { exposure: 1.3 });
    expect(drift).toMatchObject({ verdict: 'holds', cause: 'exposure', basis: 'relative', bareDelta: 0 });
    expect(drift.worstDelta).toBeCloseTo(0, 6);
  });

  test('the exposure is told from less power on dark stock, too, where bare moves less than the light solid', () => {
    const exposed = readStrip((lightness) => lightness, { exposure: 0.9 });
    expect(exposed).toMatchObject({ verdict: 'holds', cause: 'exposure', basis: 'relative' });
    expect(readStrip((lightness, share) => lightness - 5 * share)).toMatchObject({ cause: 'power', basis: 'absolute' });
  });

  test.each(['known', 'unknown'] as const)(
    'references tell an exposure from another batch, with a camera whose curve is %s',
    (camera) => {
      const within = readStrip((lightness) => lightness, { exposure: 1.2, exposureFactor: 1.3, camera });
      expect(within).toMatchObject({ verdict: 'holds', cause: 'none', basis: 'relative' });
      expect(within.sentences.join(' ')).toMatch(/against the reference, which leaves ± 2.9 L\* open/);
      const beyond = readStrip((lightness) => lightness, { exposure: 1.3, exposureFactor: 1.05, camera });
      expect(beyond).toMatchObject({ verdict: 'learn-again', cause: 'batch', basis: 'absolute' });
      expect(beyond.sentences.join(' ')).toMatch(/another batch of the material/);
      // The dot is judged whatever the exposure.
      const dots = (lightness: number, share: number) => lightness + (share > 0.99 ? 0 : -3);
      expect(readStrip(dots, { exposure: 1.2, exposureFactor: 1.3, camera }).cause).toBe('dot-size');
    },
  );

  test('bare and solid moved, not by one factor: the capture is in doubt', () => {
    const drift = readStrip((lightness) => 1.15 * lightness, { bareLightness: BARE - 5 });
    expect(drift.cause).toBe('capture');
  });

  test('far off is to be learned again', () => {
    expect(readStrip((lightness, share) => lightness + (share > 0.99 ? 0 : -10)).verdict).toBe('learn-again');
  });

  test('scatter of one repeatability is no drift: at most 5 of 100 strips say so', () => {
    const random = createRandom(5);
    // Twelve uniform numbers less six: close to a normal distribution of deviation 1.
    const normal = () => Array.from({ length: 12 }, () => random.nextUnit()).reduce((a, b) => a + b) - 6;
    let wrong = 0;
    for (let strip = 0; strip < 100; strip++) {
      if (readStrip((lightness) => lightness + UNIT * normal()).verdict !== 'holds') wrong++;
    }
    expect(wrong).toBeLessThanOrEqual(5);
  });

  test('limits grow with the repeatability', () => {
    const shift = (lightness: number, share: number) => lightness + (share > 0.99 ? 0 : 3);
    expect(readStrip(shift).verdict).toBe('drifting');
    const readings = [
      { id: 'a', role: 'solid', group: 's', pattern: { kind: 'solid' }, coverage: 1, mean: 10 },
    ] as const;
    const options = {
      ...ENDS,
      points: PROFILE.points,
      repeatability: 3,
      bareLightness: BARE,
      camera: 'known',
    } as const;
    expect(() => judgeDrift(readings, options)).toThrow(/0 tones readable/);
  });
});

describe('the history of a profile', () => {
  const check = {
    ...readStrip((lightness) => lightness - 1),
    profile: 'anodised-black',
    chart: { kind: 'check', hash: '0123456789' },
  } as unknown as Check;

  test('grows by one with each capture, in the order of dates, and survives its file', () => {
    const second = addToHistory(undefined, { check, date: '2026-05-02', captureSha256: 'b'.repeat(64) });
    const both = addToHistory(second, { check, date: '2026-04-01', captureSha256: 'a'.repeat(64) });
    expect(both.entries.map(({ date }) => date)).toEqual(['2026-04-01', '2026-05-02']);
    expect(parseHistory(JSON.parse(JSON.stringify(both)), 'history.json')).toEqual(both);
  });

  test('the same capture read again replaces its entry', () => {
    const once = addToHistory(undefined, { check, date: '2026-05-02', captureSha256: 'b'.repeat(64) });
    const again = addToHistory(once, { check, date: '2026-05-03', captureSha256: 'b'.repeat(64) });
    expect(again.entries.map(({ date }) => date)).toEqual(['2026-05-03']);
  });

  test('a broken file is told by its field', () => {
    const history = addToHistory(undefined, { check, date: '2026-05-02', captureSha256: 'b'.repeat(64) });
    const broken = { ...history, entries: [{ ...history.entries[0], date: 'May' }] };
    expect(() => parseHistory(broken, 'history.json')).toThrow(/entries\.0\.date/);
  });
});

describe('two profiles side by side', () => {
  test('a profile does not differ from itself', () => {
    const same = compareProfiles(PROFILE, PROFILE);
    expect(same).toMatchObject({ meanDelta: 0, worstDelta: 0, meanShapeDelta: 0, notes: [] });
    expect(same.rows).toHaveLength(21);
    for (const { coverage, coverageInB } of same.rows) expect(coverageInB).toBeCloseTo(coverage, 6);
  });

  test('a curve 2 L* lighter differs by 2 everywhere, and not in shape', () => {
    const lighter = {
      ...PROFILE,
      name: 'lighter',
      points: PROFILE.points.map((point) => ({ ...point, lightness: point.lightness + 2 })),
    };
    const { meanDelta, worstDelta, worstShapeDelta, bareDelta, fullDelta } = compareProfiles(PROFILE, lighter);
    for (const delta of [meanDelta, worstDelta, bareDelta, fullDelta]) expect(delta).toBeCloseTo(2, 9);
    expect(worstShapeDelta).toBeCloseTo(0, 9);
  });

  test('names what else differs, and where the other cannot follow', () => {
    const { notes, rows } = compareProfiles(PROFILE, readProfile('slate-coaster', SHOP));
    expect(notes.join()).toMatch(/materials differ: anodised-black and slate/);
    expect(notes.join()).toMatch(/pitch/);
    expect(rows.at(-1)!.coverageInB).toBeNull();
  });
});
