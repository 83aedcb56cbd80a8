import { readFileSync } from 'node:fs';
import { describe, expect, test } from 'vitest';
import { lightnessOfReflectance, reflectanceOfLightness } from '../../src/colour/index.ts';
import { predictCurve, predictPoints } from '../../src/job/request/curve.ts';
import { fillDotTable, mixYuleNielsen, type Profile, parseProfile, toneCurveOf } from '../../src/material/index.ts';
import { predictMeanStrength } from '../../src/material/simulate.ts';
import { createPlane, ONE } from '../../src/plane/index.ts';
import { predictLightness } from '../../src/proof/index.ts';
import { applyScreen } from '../../src/screens/index.ts';

const STEEL = parseProfile(JSON.parse(readFileSync('shared/shop/profiles/stainless-card.json', 'utf8')), 'stainless');
const OTHER = { name: 'blue-noise', options: {} } as const;

/** Lightness of a flat field of the other screen on the surface's model. */
function showFlat(surface: Profile, coverage: number): number {
  const plane = createPlane('coverage', 240, 240);
  plane.data.fill(Math.round(coverage * ONE));
  const table = fillDotTable(surface, surface.grid);
  return predictLightness(applyScreen(plane, { ...OTHER, grid: surface.grid }), { table });
}

describe('the curve of another screen', () => {
  test('goes to the solid where the profile does', () => {
    const points = predictPoints({ profile: STEEL, grid: STEEL.grid, screen: OTHER });
    expect(points.at(-1)).toMatchObject({ coverage: 1, lightness: 24 });
  });

  test('ends where more dots turn the lightness back, on stock whose own curve ends so, and is right up to there', () => {
    const fades = { ...STEEL, response: { ...STEEL.response, fading: 0.45 } };
    const own = predictCurve(fades, fades, { mayTurn: true });
    const darkest = own.at(-1)!;
    expect(darkest.coverage).toBeLessThan(0.9);
    const solid = predictCurve(fades, fades).at(-1)!.lightness;
    expect(darkest.lightness).toBeLessThan(solid - 3);
    const profile: Profile = {
      ...fades,
      full: [solid, 1, 2],
      points: own.map((point) => ({ ...point, spread: 0 })),
    };
    const points = predictPoints({ profile, grid: profile.grid, screen: OTHER });
    expect(points.at(-1)!.coverage).toBeLessThan(0.9);
    expect(points.at(-1)!.lightness).toBeLessThan(solid - 3);
    for (const { coverage, lightness } of points)
      expect(Math.abs(showFlat(profile, coverage) - lightness)).toBeLessThan(1.2);
  });
});

/**
 * L* of a field by the deposit of doses on 8 × 8 points of a dot, whose double changes no tone by 0.05. On 4 × 4 points
 * runs of four seem 0.4 L* off in the mean, and 0.8 at worst: that is the points' own error.
 */
function depositField(profile: Profile, { coverage, run }: { readonly coverage: number; readonly run: number }) {
  const plane = createPlane('coverage', 144, 144);
  plane.data.fill(Math.round(coverage * ONE));
  const dots = applyScreen(plane, { name: 'floyd-steinberg', run, grid: profile.grid });
  const rect = { x: 24, y: 24, width: 96, height: 96 };
  const strength = predictMeanStrength(profile.response, dots, { samplesX: 8, samplesY: 8, edge: 'bare', rect });
  const [bare, full] = [reflectanceOfLightness(profile.bare[0]), reflectanceOfLightness(profile.full[0])];
  return lightnessOfReflectance(mixYuleNielsen(strength, { bare, full, n: profile.response.yuleNielsenN }));
}

describe.each(['anodised-black', 'anodised-black-fine', 'stainless-card', 'slate-coaster', 'birch-sign'])(
  'runs of dots on %s',
  (name) => {
    const profile = parseProfile(JSON.parse(readFileSync(`shared/shop/profiles/${name}.json`, 'utf8')), name);
    test.each([2, 4])('of at least %d have the tone that their predicted curve says', (run) => {
      const screen = { name: 'floyd-steinberg', options: { run } } as const;
      const curve = toneCurveOf({ points: predictPoints({ profile, grid: profile.grid, screen }) });
      const off = Array.from({ length: 9 }, (_, step) => {
        const aim = curve.darkest + ((curve.lightest - curve.darkest) * (step + 1)) / 10;
        return Math.abs(depositField(profile, { coverage: curve.coverageAt(aim), run }) - aim);
      });
      expect(off.reduce((sum, one) => sum + one, 0) / off.length).toBeLessThan(0.2);
      expect(Math.max(...off)).toBeLessThan(0.6);
    });
  },
);
