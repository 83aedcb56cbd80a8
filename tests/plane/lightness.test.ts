import { converter } from 'culori';
import { describe, expect, test } from 'vitest';
import {
  CIE_LIGHTNESS,
  decodeSrgb,
  encodeSrgb,
  lightnessOfReflectance,
  REC709,
  reflectanceOfLightness,
  SRGB,
} from '../../src/colour/index.ts';
import { interpolateLightness, lightnessOfLuminance, luminanceOfLightness, ONE } from '../../src/plane/index.ts';

describe('CIE L*', () => {
  // Source: colour-science, colour/colorimetry/tests/test_lightness.py (lightness_CIE1976, Y of 100).
  test.each([
    [12.19722535, 100, 41.527875844653],
    [23.04276781, 100, 55.116362849525],
    [6.15720079, 100, 29.805654680097],
    [12.19722535, 50, 56.480581732],
    [12.19722535, 75, 47.317620274],
    [12.19722535, 95, 42.519930728],
    // Recomputed from the formula with exact constants.
    [18, 100, 49.496108],
    [0.5, 100, 4.516481],
  ])('of Y = %d with Yn = %d is %d', (y, yn, lightness) => {
    const decimals = String(lightness).split('.')[1]!.length - 1;
    expect(lightnessOfReflectance(y / yn)).toBeCloseTo(lightness, Math.min(9, decimals));
  });

  test('by the table differs from the formula by less than 0.00002, and not at all outside 0 … 1', () => {
    const reflectances = Float32Array.from({ length: 20_000 }, (_, at) => (at / 19_999) ** 3);
    const lightness = interpolateLightness(reflectances);
    const differences = lightness.map((value, at) => Math.abs(value - lightnessOfReflectance(reflectances[at])));
    expect(Math.max(...differences)).toBeLessThan(2e-5);
    const outside = Float32Array.of(-0.1, 1, 1.3);
    expect(interpolateLightness(outside)).toEqual(outside.map(lightnessOfReflectance));
  });

  test('agrees with culori on grey from black to white', () => {
    const toLab = converter('lab65');
    for (let code = 0; code <= 255; code++) {
      const grey = code / 255;
      expect(lightnessOfReflectance(decodeSrgb(grey))).toBeCloseTo(
        toLab({ mode: 'rgb', r: grey, g: grey, b: grey }).l,
        3,
      );
    }
  });

  test('and its inverse meet, also at the straight part', () => {
    for (let lightness = 0; lightness <= 100; lightness += 0.25) {
      expect(lightnessOfReflectance(reflectanceOfLightness(lightness))).toBeCloseTo(lightness, 10);
    }
    expect(CIE_LIGHTNESS.epsilon * CIE_LIGHTNESS.kappa).toBeCloseTo(8, 12);
  });

  test('of a luminance level: 0 is 0, ONE is 100, each level comes back', () => {
    expect([lightnessOfLuminance(0), lightnessOfLuminance(ONE)]).toEqual([0, 100]);
    for (let level = 0; level <= ONE; level++) {
      if (luminanceOfLightness(lightnessOfLuminance(level)) !== level) expect.fail(`level ${level}`);
    }
    expect([luminanceOfLightness(-5), luminanceOfLightness(120)]).toEqual([0, ONE]);
  });
});

describe('sRGB', () => {
  test('of 0.18 is 0.461356129500442', () => {
    // Source: colour-science, colour/models/rgb/transfer_functions/tests/test_srgb.py.
    expect(encodeSrgb(0.18)).toBeCloseTo(0.461356129500442, 14);
    expect(decodeSrgb(0.461356129500442)).toBeCloseTo(0.18, 14);
  });

  test('codes 128 and 188 and linear 0.5 (recomputed from IEC 61966-2-1)', () => {
    expect(decodeSrgb(128 / 255)).toBeCloseTo(0.2158605, 7);
    expect(decodeSrgb(188 / 255)).toBeCloseTo(0.5028865, 7);
    expect(255 * encodeSrgb(0.5)).toBeCloseTo(187.516, 3);
  });

  test('agrees with culori at every code', () => {
    const toLinear = converter('lrgb');
    for (let code = 0; code <= 255; code++) {
      expect(decodeSrgb(code / 255)).toBeCloseTo(toLinear({ mode: 'rgb', r: code / 255, g: 0, b: 0 }).r, 12);
    }
  });

  test('the two parts meet at the break', () => {
    expect(SRGB.linearBreak * SRGB.slope).toBeCloseTo(SRGB.codeBreak, 4);
  });

  test('the luminance weights sum to 1', () => {
    expect(REC709.weights.reduce((a, b) => a + b, 0)).toBeCloseTo(1, 12);
  });
});
