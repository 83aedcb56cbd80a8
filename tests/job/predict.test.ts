import { readFileSync } from 'node:fs';
import { describe, expect, test } from 'vitest';
import { predictCurve, predictPoints } from '../../src/job/request/curve.ts';
import { fillDotTable, type Profile, parseProfile } from '../../src/material/index.ts';
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
