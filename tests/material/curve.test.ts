import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { lightnessOfReflectance } from '../../src/colour/index.ts';
import { coverageTable, invertProfile, toneCurveOf } from '../../src/material/index.ts';
import { createPlane, ONE } from '../../src/plane/index.ts';
import { DARKER, SAMPLE } from './profile-sample.ts';

describe.each([
  { what: 'lighter', profile: SAMPLE },
  { what: 'darker', profile: DARKER },
])('a curve of marks $what than bare', ({ what, profile }) => {
  const curve = toneCurveOf(profile);

  test('goes through its points, and its inverse undoes it', () => {
    for (const { coverage, lightness } of profile.points)
      expect(curve.lightnessAt(coverage)).toBeCloseTo(lightness, 10);
    fc.assert(
      fc.property(fc.double({ min: 0, max: 1, noNaN: true }), (coverage) => {
        expect(curve.coverageAt(curve.lightnessAt(coverage))).toBeCloseTo(coverage, 9);
      }),
      { seed: 6 },
    );
  });

  test('every luminance gets a coverage within 0.1 L* of what was wanted', () => {
    for (const range of ['scale', 'absolute'] as const) {
      const table = coverageTable(profile, { range });
      for (let value = 0; value <= ONE; value++) {
        const shown = curve.lightnessAt(table.coverage[value] / ONE);
        if (Math.abs(shown - table.lightness[value]) >= 0.1)
          expect.fail(`luminance ${value} is off by ${shown - table.lightness[value]}`);
      }
    }
  });

  test('below a least coverage all is bare, half as much above it all is as it was, and it never turns back', () => {
    const [all, cut] = [
      coverageTable(profile, { range: 'scale' }),
      coverageTable(profile, { range: 'scale', bareBelow: 0.01 }),
    ];
    const rises = what === 'lighter';
    for (let value = 0; value <= ONE; value++) {
      const share = all.coverage[value] / ONE;
      if (share < 0.01) expect(cut.coverage[value]).toBe(0);
      if (share > 0.0151) expect(cut.coverage[value]).toBe(all.coverage[value]);
      expect(cut.coverage[value]).toBeLessThanOrEqual(all.coverage[value]);
      const step = value === 0 ? 0 : cut.coverage[value] - cut.coverage[value - 1];
      if (rises ? step < 0 : step > 0) expect.fail(`coverage turns back at ${value}`);
      if (share < 0.01) expect(Math.abs(cut.lightness[value] - curve.lightnessAt(0))).toBeLessThan(0.01);
    }
  });

  test('drawn onto the range, black and white are the two ends and middle grey is the middle', () => {
    const table = coverageTable(profile, { range: 'scale' });
    const [black, white] = what === 'lighter' ? [0, ONE] : [ONE, 0];
    expect([table.coverage[0], table.coverage[ONE]]).toEqual([black, white]);
    const grey = Math.round(((50 + 16) / 116) ** 3 * ONE);
    expect(table.lightness[grey]).toBeCloseTo((table.darkest + table.lightest) / 2, 1);
  });

  test('kept absolute, what the material cannot show is clipped, and where it begins is told', () => {
    const table = coverageTable(profile, { range: 'absolute' });
    expect(lightnessOfReflectance(table.clipBelow / ONE)).toBeGreaterThanOrEqual(table.darkest);
    expect(lightnessOfReflectance((table.clipBelow - 1) / ONE)).toBeLessThan(table.darkest);
    expect(lightnessOfReflectance(table.clipAbove / ONE)).toBeLessThanOrEqual(table.lightest);
    const scaled = coverageTable(profile, { range: 'scale' });
    expect([scaled.clipBelow, scaled.clipAbove]).toEqual([0, ONE]);
  });
});

describe('the inverse on a plane', () => {
  const table = coverageTable(SAMPLE, { range: 'scale' });
  const luminance = createPlane('luminance', 2, 2, Uint16Array.from([0, 5000, 20000, ONE]));

  test('looks every dot up and leaves the photo alone', () => {
    const before = luminance.data.slice();
    const coverage = invertProfile(luminance, { table });
    expect([...coverage.data]).toEqual([...luminance.data].map((value) => table.coverage[value]));
    expect(luminance.data).toEqual(before);
  });

  test('keeps what is masked bare, and what is half masked at half its coverage', () => {
    const mask = createPlane('mask', 2, 2, Uint8Array.from([0, 255, 128, 0]));
    const { data } = invertProfile(luminance, { table, mask });
    expect([...data]).toEqual([0, table.coverage[5000], Math.round((table.coverage[20000] * 128) / 255), 0]);
  });

  test('refuses a mask of another size', () => {
    expect(() => invertProfile(luminance, { table, mask: createPlane('mask', 4, 1) })).toThrow(RangeError);
  });
});
