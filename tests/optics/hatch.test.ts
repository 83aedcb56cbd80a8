import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import {
  approximateDoseRipple,
  computeArealDoseJPerCm2,
  computeDoseRipple,
  computeLineDoseJPerCm2,
  computeLineOverlap,
  computeMidLineDose,
  computeOnLineDose,
  findRippleSpacingMm,
} from '../../src/optics/index.ts';

/** A hatch of unit waist radius, 1 mm, so that the spacing in mm is s/w. */
const hatchOf = (ratio: number) => ({ spotDiameterUm: 2000, lineSpacingMm: ratio });

/** The definition, line by line, with no cleverness. */
function sumPlainly(ratio: number, shift: number, lines: number): number {
  let sum = 0;
  for (let n = -lines; n <= lines; n++) sum += Math.exp(-2 * ((n + shift) * ratio) ** 2);
  return sum;
}

describe('published doses', () => {
  test('lines 1.2 waist radii apart overlay to 1.1123 of a single line', () => {
    // source: gibsonRosenStucker2015, eq. 4.26 and its example, s = 6, W0 = 5, nine lines; lines beyond the ninth add
    // nothing.
    const hatch = { spotDiameterUm: 10, lineSpacingMm: 0.006 };
    expect(computeOnLineDose(hatch)).toBeCloseTo(1.1123, 4);
    // The book goes on: cure depth 3 − 5.8·ln(1.1123) = 2.383.
    expect(3 - 5.8 * Math.log(computeOnLineDose(hatch))).toBeCloseTo(2.383, 3);
  });

  test('one waist radius beside a line the dose has fallen to e⁻²', () => {
    // source: gibsonRosenStucker2015, eq. 4.6: 0.13534.
    const burn = { powerW: 10, speedMmPerS: 1000, passes: 1, spotDiameterUm: 80 };
    expect(computeLineDoseJPerCm2(burn, 40) / computeLineDoseJPerCm2(burn, 0)).toBeCloseTo(0.13534, 5);
  });

  test('10 W at 1000 mm/s with lines 0.05 mm apart are 20 J/cm², one line of w = 40 µm peaks at 19.9471', () => {
    // Own calculation: 10/(1000·0.05) = 0.2 J/mm²; √(2/π)·10/(0.04·1000) = 0.199471 J/mm².
    const burn = { powerW: 10, speedMmPerS: 1000, passes: 1 };
    expect(computeArealDoseJPerCm2({ ...burn, lineSpacingMm: 0.05 })).toBeCloseTo(20, 12);
    expect(computeLineDoseJPerCm2({ ...burn, spotDiameterUm: 80 }, 0)).toBeCloseTo(19.9471, 4);
    expect(computeArealDoseJPerCm2({ ...burn, passes: 3, lineSpacingMm: 0.05 })).toBeCloseTo(60, 12);
  });

  test.each([
    // Own calculation from the book's sums, recomputed with another program.
    [0.5, 2.506628, 2.506628, 5.35e-9],
    [0.8, 1.568047, 1.565239, 8.961e-4],
    [1.0, 1.271342, 1.235287, 0.014384],
    [1.2, 1.112289, 0.976572, 0.064972],
    [1.5, 1.022218, 0.649385, 0.223039],
    [2.0, 1.000671, 0.270671, 0.574197],
  ])('s/w = %f: on the line %f, between lines %f, ripple %f', (ratio, on, mid, ripple) => {
    expect(computeOnLineDose(hatchOf(ratio))).toBeCloseTo(on, 6);
    expect(computeMidLineDose(hatchOf(ratio))).toBeCloseTo(mid, 6);
    expect(Math.abs(computeDoseRipple(hatchOf(ratio)) / ripple - 1)).toBeLessThan(1e-3);
  });
});

describe('a wide solid fill', () => {
  const ratios = fc.double({ min: 0.05, max: 6, noNaN: true });

  test('is the plain sum over its lines, on them and between them', () => {
    fc.assert(
      fc.property(ratios, (ratio) => {
        expect(computeOnLineDose(hatchOf(ratio))).toBeCloseTo(sumPlainly(ratio, 0, 200), 9);
        expect(computeMidLineDose(hatchOf(ratio))).toBeCloseTo(sumPlainly(ratio, 0.5, 200), 9);
      }),
    );
  });

  test('has the mean P/(v·s) whatever the spacing', () => {
    fc.assert(
      fc.property(ratios, (ratio) => {
        const hatch = hatchOf(ratio);
        const burn = { powerW: 3, speedMmPerS: 700, passes: 2 };
        let mean = 0;
        const steps = 64;
        const lines = Math.ceil(8 / ratio);
        for (let at = 0; at < steps; at++) {
          for (let n = -lines; n <= lines; n++) {
            const offsetUm = 1000 * ratio * (n + at / steps);
            mean += computeLineDoseJPerCm2({ ...burn, spotDiameterUm: hatch.spotDiameterUm }, offsetUm) / steps;
          }
        }
        expect(mean / computeArealDoseJPerCm2({ ...burn, lineSpacingMm: ratio })).toBeCloseTo(1, 6);
      }),
      { numRuns: 30 },
    );
  });

  test('ripples by the difference of its two sums', () => {
    fc.assert(
      fc.property(fc.double({ min: 0.7, max: 8, noNaN: true }), (ratio) => {
        const on = sumPlainly(ratio, 0, 100);
        const mid = sumPlainly(ratio, 0.5, 100);
        expect(computeDoseRipple(hatchOf(ratio))).toBeCloseTo((on - mid) / (on + mid), 12);
      }),
    );
  });

  test('ripples more the wider the lines, without a step where the method of summing changes', () => {
    let before = 0;
    for (let ratio = 0.3; ratio < 5; ratio += 0.01) {
      const ripple = computeDoseRipple(hatchOf(ratio));
      expect(ripple).toBeGreaterThan(before);
      before = ripple;
    }
    expect(computeDoseRipple(hatchOf(1 - 1e-12))).toBeCloseTo(computeDoseRipple(hatchOf(1)), 10);
  });

  test('lines very close together do not ripple at all', () => {
    expect(computeDoseRipple(hatchOf(0.01))).toBe(0);
    expect(computeOnLineDose(hatchOf(0.01))).toBeCloseTo(Math.sqrt(Math.PI / 2) / 0.01, 9);
  });

  test('lines far apart have nothing between them', () => {
    expect(computeOnLineDose(hatchOf(50))).toBe(1);
    expect(computeMidLineDose(hatchOf(50))).toBe(0);
    expect(computeDoseRipple(hatchOf(50))).toBe(1);
  });

  test('the one-term ripple is within 1 % up to 1.9 waist radii and not at 2', () => {
    for (const ratio of [0.5, 1, 1.5, 1.9]) {
      expect(Math.abs(approximateDoseRipple(hatchOf(ratio)) / computeDoseRipple(hatchOf(ratio)) - 1)).toBeLessThan(
        0.01,
      );
    }
    expect(approximateDoseRipple(hatchOf(2)) / computeDoseRipple(hatchOf(2))).toBeGreaterThan(1.01);
    expect(approximateDoseRipple(hatchOf(2.7))).toBeGreaterThan(1);
  });
});

describe('line spacing', () => {
  test('the widest even spacing ripples by exactly the limit', () => {
    for (const rippleLimit of [0.001, 0.05, 0.1, 0.5, 0.99]) {
      const lineSpacingMm = findRippleSpacingMm({ spotDiameterUm: 30, rippleLimit });
      expect(computeDoseRipple({ spotDiameterUm: 30, lineSpacingMm })).toBeCloseTo(rippleLimit, 9);
    }
  });

  test('scales with the spot', () => {
    const narrow = findRippleSpacingMm({ spotDiameterUm: 20, rippleLimit: 0.1 });
    expect(findRippleSpacingMm({ spotDiameterUm: 60, rippleLimit: 0.1 })).toBeCloseTo(3 * narrow, 12);
  });

  test.each([0, 1, -0.1, 2, Number.NaN])('a ripple limit of %f is refused', (rippleLimit) => {
    expect(() => findRippleSpacingMm({ spotDiameterUm: 30, rippleLimit })).toThrow(RangeError);
  });

  test('lines one spot apart touch, wider ones leave a gap', () => {
    expect(computeLineOverlap({ spotDiameterUm: 40, lineSpacingMm: 0.04 })).toBeCloseTo(0, 12);
    expect(computeLineOverlap({ spotDiameterUm: 40, lineSpacingMm: 0.01 })).toBeCloseTo(0.75, 12);
    expect(computeLineOverlap({ spotDiameterUm: 40, lineSpacingMm: 0.06 })).toBeCloseTo(-0.5, 12);
  });
});
