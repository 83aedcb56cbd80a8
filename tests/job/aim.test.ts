import { describe, expect, test } from 'vitest';
import { lightnessOfReflectance, reflectanceOfLightness } from '../../src/colour/index.ts';
import { parseAim, prepareJob, resolveJob, warnOfExposures } from '../../src/job/index.ts';
import {
  coverageTable,
  createAim,
  type Profile,
  parseProfile,
  type Shop,
  toneCurveOf,
} from '../../src/material/index.ts';
import { luminanceOfLightness, ONE, readPhoto } from '../../src/plane/index.ts';
import { REFUSED, SHOP } from './shop.ts';

const POINTS = [
  { coverage: 0, lightness: 80, spread: 0 },
  { coverage: 0.4, lightness: 60, spread: 0 },
  { coverage: 1, lightness: 30, spread: 0 },
];
const resolve = (more: object) =>
  resolveJob({ size: '20x15', profile: 'anodised-black', ...more }, { shop: SHOP, refused: REFUSED });
const prepare = (more: object) =>
  prepareJob(() => readPhoto('images/photos/cat.png'), {
    spec: resolve(more),
    name: 'cat',
    photoFile: 'cat.png',
    version: '0',
    only: 'everything',
  });

describe('the aim curve', () => {
  test('in L*, equal steps of the photo’s L* become equal steps of L*; it is what happens without an aim', () => {
    const plain = coverageTable({ points: POINTS }, { range: 'scale' });
    const named = coverageTable({ points: POINTS }, { range: 'scale', aim: { scale: 'lightness' } });
    expect(named).toEqual(plain);
    expect(plain.lightness[luminanceOfLightness(50)]).toBeCloseTo(55, 1);
  });

  test('in density, equal steps of the photo’s L* become equal steps of −log₁₀ Y', () => {
    const table = coverageTable({ points: POINTS }, { range: 'scale', aim: { scale: 'density' } });
    const densityAt = (photo: number) => -Math.log10(table.reflectance[luminanceOfLightness(photo)]!);
    const steps = [0, 25, 50, 75, 100].map(densityAt);
    const step = (steps[0]! - steps[4]!) / 4;
    for (let i = 1; i < 5; i++) expect(steps[i - 1]! - steps[i]!).toBeCloseTo(step, 2);
    // The ends are the material's own: only what lies between is laid otherwise.
    expect(table.lightness[0]).toBeCloseTo(30, 6);
    expect(table.lightness[ONE]).toBeCloseTo(80, 6);
    expect(steps[0]).toBeCloseTo(-Math.log10(reflectanceOfLightness(30)), 6);
  });

  test('a surface without any light left has a density that ends, so that the curve stays finite', () => {
    const aimAt = createAim({ range: 'scale', aim: { scale: 'density' } }, { darkest: 0, lightest: 100 });
    for (const photo of [0, 1, 50, 100]) expect(Number.isFinite(aimAt(photo))).toBe(true);
    expect(aimAt(100)).toBeCloseTo(100, 9);
    expect(aimAt(50)).toBeCloseTo(lightnessOfReflectance(0.01), 9);
  });

  test('the range of another profile is kept, and what the material does not reach is cut off', () => {
    const aim = { scale: 'lightness', darkest: 20, lightest: 70 } as const;
    const table = coverageTable({ points: POINTS }, { range: 'scale', aim });
    // 20 + 50 · 0.6 = 50 on the work for the photo's L* 60; below L* 20 of the photo the material ends at 30.
    expect(table.lightness[luminanceOfLightness(60)]).toBeCloseTo(50, 1);
    expect(table.lightness[luminanceOfLightness(10)]).toBe(30);
    expect(table.clipBelow).toBeGreaterThan(luminanceOfLightness(19));
    expect(table.clipBelow).toBeLessThanOrEqual(luminanceOfLightness(20) + 1);
    expect(table.lightness[ONE]).toBeCloseTo(70, 6);
    expect(table.clipAbove).toBe(ONE);
  });
});

describe('an aim by name', () => {
  test('one profile gives its range, several what they have in common, in any order', () => {
    const ends = (name: string) => toneCurveOf(SHOP.read('profiles', name).json as never);
    const [a, b] = [ends('anodised-black'), ends('slate-coaster')];
    expect(parseAim('slate-coaster', SHOP)).toMatchObject({ scale: 'lightness', follows: ['slate-coaster'] });
    for (const text of ['anodised-black,slate-coaster', 'slate-coaster, anodised-black, density']) {
      const aim = parseAim(text, SHOP);
      expect(aim.darkest).toBeCloseTo(Math.max(a.darkest, b.darkest), 3);
      expect(aim.lightest).toBeCloseTo(Math.min(a.lightest, b.lightest), 3);
    }
    expect(parseAim('density', SHOP)).toEqual({ scale: 'density' });
  });

  test.each(['', 'lightness,density', 'no-such-profile'])('"%s" is refused', (text) => {
    expect(() => parseAim(text, SHOP)).toThrow(expect.objectContaining({ exit: 2 }));
  });

  test('an aim beside the photo’s own lightness is a contradiction', () => {
    expect(() => resolve({ aim: 'density', range: 'absolute' })).toThrow(/^aim: found the range absolute/);
  });

  test('two stocks that aim at what they have in common show a photo at the same lightness, and the tickets say so', async () => {
    const set = 'anodised-black,slate-coaster';
    const [black, slate] = [
      await prepare({ aim: set, tone: 'plain' }),
      await prepare({ profile: 'slate-coaster', aim: set, tone: 'plain' }),
    ];
    for (const { ticket } of [black, slate]) {
      expect(ticket!.tone.aim.follows).toEqual(['anodised-black', 'slate-coaster']);
      expect(ticket!.tone.aim.lostDeltaL).toBe(0);
      expect(ticket!.prediction.meanDeltaL).toBeLessThan(1);
    }
    expect(black.ticket!.tone.aim.darkestL).toBe(slate.ticket!.tone.aim.darkestL);
    expect(black.ticket!.tone.aim.lightestL).toBe(slate.ticket!.tone.aim.lightestL);
  });

  test('an aim beyond the material is warned of, and the ticket counts what is lost', async () => {
    const spec = resolve({ profile: 'slate-coaster', aim: 'anodised-black' });
    expect(spec.warnings.map(({ text }) => text).join()).toMatch(/goes beyond what slate-coaster reaches/);
    const { ticket } = await prepare({ profile: 'slate-coaster', aim: 'anodised-black' });
    expect(ticket!.tone.aim.lostDeltaL).toBeGreaterThan(0);
    expect(ticket!.tone.clippedDark + ticket!.tone.clippedLight).toBeGreaterThan(0);
  });
});

describe('an aim that joins profiles', () => {
  const { json } = SHOP.read('profiles', 'anodised-black');
  const fit = {
    band: [{ coverage: 0, low: 20, high: 21 }],
    ...{ markDiameterXUm: [20, 30], markDiameterYUm: [20, 30], leaveOneOut: 0.4, modelRms: 1, warnings: [] },
  };
  const paper = { basis: 'reference', factor: 1.09, lightness: 93, tolerance: 3 };
  const learned = (name: string, exposure: object) => ({ ...(json as Profile), name, fit, exposure });
  const shopOf = (...profiles: { readonly name: string }[]) =>
    ({
      ...SHOP,
      read: (kind: 'profiles', name: string) => {
        const found = profiles.find((profile) => profile.name === name);
        return found ? { json: found, path: name } : SHOP.read(kind, name);
      },
    }) as unknown as Shop;
  const warn = (a: object, b: object, follows = ['a', 'b']) => {
    const [one, other] = [learned('a', a), learned('b', b)];
    return warnOfExposures({ scale: 'lightness', follows }, { shop: shopOf(one, other), profile: one as never });
  };

  test('warns when their captures share no reference, and not when they do', () => {
    expect(warn(paper, { basis: 'none', factor: 2 })?.text).toMatch(/joins a, b, whose captures share no reference/);
    expect(warn(paper, { ...paper, lightness: 50 })).toBeDefined();
    expect(warn(paper, { ...paper, factor: 1.12 })).toBeUndefined();
  });

  test('also of profiles that are named by their files, two of one name among them', () => {
    const none = { basis: 'none', factor: 2 };
    const [one, other] = [learned('card', none), learned('card', paper)];
    const files: Record<string, unknown> = { 'phone.json': one, 'scan.json': other };
    const shop = { ...SHOP, read: (_: string, name: string) => ({ json: files[name], path: name }) } as unknown as Shop;
    const warnFor = (asked: string) =>
      warnOfExposures(parseAim(asked, shop), { shop, profile: parseProfile(one, 'phone.json'), asked });
    expect(warnFor('phone.json, scan.json')?.text).toMatch(/joins card, card, whose captures/);
    expect(warnFor('scan.json')).toBeDefined();
    expect(warnFor('phone.json, phone.json')).toBeUndefined();
  });

  test('does not of one profile alone, of computed ones, or of one that is gone', () => {
    const none = { basis: 'none', factor: 2 };
    expect(warn(none, none, ['a'])).toBeUndefined();
    expect(warn(none, none, ['slate-coaster'])).toBeUndefined();
    expect(warn(none, none, ['long-gone'])).toBeUndefined();
  });
});
