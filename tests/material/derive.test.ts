import { readdirSync, readFileSync } from 'node:fs';
import { describe, expect, test } from 'vitest';
import { findMark, parseMaterial, parseProfile, straightProfile } from '../../src/material/index.ts';
import { createPlane, ONE } from '../../src/plane/index.ts';
import { applyScreen, type ScreenName } from '../../src/screens/index.ts';
import { burnByHand, lightnessOf, mixByHand } from './burn-by-hand.ts';
import { SAMPLE } from './profile-sample.ts';

const read = (path: string) => JSON.parse(readFileSync(path, 'utf8'));
const profiles = readdirSync('shared/shop/profiles');

describe("the demo shop's profiles", () => {
  test('there are at least five, and one for the card of the demo', () => {
    expect(profiles.length).toBeGreaterThanOrEqual(5);
    const { machine, grid } = parseProfile(read('shared/shop/profiles/anodised-black.json'), 'anodised-black');
    expect([machine, grid]).toEqual(['galvo-355-f210', { pitchMm: 0.02, lineSpacingMm: 0.02 }]);
  });

  test.each(profiles)('%s holds what its marks give, burned by hand, and says that it was computed', (file) => {
    const profile = parseProfile(read(`shared/shop/profiles/${file}`), file);
    const { points, grid, screen, response, bare, full } = profile;
    expect(response.reference).toEqual(grid);
    expect([points[0]!.lightness, points.at(-1)!.lightness]).toEqual([bare[0], full[0]]);
    // Of a field without the border at which screens start, as charts have none either.
    const side = 112;
    const part = { x: 32, y: 32, width: 64, height: 64 };
    for (const { coverage, lightness } of points.slice(1, -1).filter((_, at) => at % 4 === 1)) {
      const plane = createPlane('coverage', side, side);
      plane.data.fill(Math.round(coverage * ONE));
      const dots = applyScreen(plane, { name: screen.name as ScreenName, grid, ...screen.options });
      const strength = burnByHand(dots, { law: response, grid, part });
      const luminance = mixByHand(strength, { bareL: bare[0], fullL: full[0], n: response.yuleNielsenN });
      expect(Math.abs(lightnessOf(luminance) - lightness), `at ${coverage}`).toBeLessThan(0.05);
    }
    expect(profile.origin).toBe('assumed');
    expect(profile.note).toContain('Computed, not measured');
  });

  test.each(profiles)('%s names a machine and a material that are there and fit', (file) => {
    const profile = parseProfile(read(`shared/shop/profiles/${file}`), file);
    const machine = read(`shared/machines/${profile.machine}.json`);
    const material = parseMaterial(read(`shared/materials/${profile.material}.json`), profile.material);
    const mark = findMark(material, machine.wavelengthNm);
    expect(mark?.direction).toBe(profile.direction);
    expect(profile.bare).toEqual(material.bare);
    expect(profile.settings.powerW).toBeLessThanOrEqual(machine.powerW.max);
    expect(profile.settings.speedMmPerS).toBeLessThanOrEqual(machine.speedMmPerS.max);
  });
});

describe('a material without a profile', () => {
  const material = parseMaterial(read('shared/materials/slate.json'), 'slate');
  const options = {
    material,
    machine: { name: 'gantry-450', wavelengthNm: 450, spotDiameterUm: 90 },
    grid: { pitchMm: 0.08, lineSpacingMm: 0.08 },
    settings: SAMPLE.settings,
    screen: SAMPLE.screen,
  };

  test('gets a straight, valid, assumed profile', () => {
    const profile = straightProfile(options)!;
    expect(parseProfile(JSON.parse(JSON.stringify(profile)), 'straight')).toEqual(profile);
    expect(profile.points.map(({ coverage }) => coverage)).toEqual([0, 1]);
    expect([profile.origin, profile.direction]).toEqual(['assumed', 'lighter']);
  });

  test('gets none at a wavelength that leaves no mark', () => {
    const machine = { name: 'galvo-1064-f160', wavelengthNm: 1064, spotDiameterUm: 47 };
    expect(straightProfile({ ...options, machine })).toBeUndefined();
  });
});
