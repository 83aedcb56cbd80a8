import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { createPchip } from '../../src/numeric/index.ts';

/** source: 'slatecPchip', quick check 3 (DPCHQ3): f = exp(−x²), derivatives that PCHIM gives. */
const SLATEC = {
  x: [-2.2, -1.2, -1.0, -0.5, -0.01, 0.5, 1.0, 2.0, 2.2],
  slopes: [0, 0.380027352, 0.717253009, 0.582014161, 0, -0.568208031, -0.513501618, -0.0777910977, -0.00245611117],
};

/** source: 'fritschCarlson1980', RPN 14 data; values between computed with SciPy's PchipInterpolator. */
const RPN = {
  x: [7.99, 8.09, 8.19, 8.7, 9.2, 10, 12, 15, 20],
  y: [0, 2.76429e-5, 4.37498e-2, 0.169183, 0.469428, 0.94374, 0.998636, 0.999919, 0.999994],
  between: [
    [8.04, 6.915e-6],
    [8.14, 0.017697167],
    [8.45, 0.106589538],
    [8.95, 0.303836183],
    [9.6, 0.760247639],
    [11, 0.986043363],
    [13.5, 0.999603364],
    [17.5, 0.99997614],
  ],
} as const;

describe('published curves', () => {
  test('derivatives of the SLATEC quick check come back to its printed digits', () => {
    const curve = createPchip(
      SLATEC.x,
      SLATEC.x.map((x) => Math.exp(-x * x)),
    );
    SLATEC.slopes.forEach((slope, i) => {
      expect(curve.slopes[i]).toBeCloseTo(slope, 8);
    });
  });

  test.each(RPN.between)('the RPN data at %f give %f', (x, y) => {
    expect(createPchip(RPN.x, RPN.y).valueAt(x)).toBeCloseTo(y, 8);
  });

  test('the RPN curve never falls, where a spline overshoots', () => {
    const curve = createPchip(RPN.x, RPN.y);
    let last = -1;
    for (let i = 0; i <= 20000; i++) {
      const value = curve.valueAt(7.99 + (12.01 * i) / 20000);
      expect(value).toBeGreaterThanOrEqual(last);
      last = value;
    }
  });
});

describe('properties', () => {
  const points = fc.array(
    fc.record({ dx: fc.double({ min: 0.01, max: 3, noNaN: true }), dy: fc.double({ min: 0.01, max: 9, noNaN: true }) }),
    {
      minLength: 2,
      maxLength: 12,
    },
  );
  const build = (steps: { dx: number; dy: number }[], sign: number) => {
    let x = 0;
    let y = 0;
    const at = steps.map(({ dx, dy }) => {
      x += dx;
      y += sign * dy;
      return [x, y] as const;
    });
    return createPchip(
      at.map(([px]) => px),
      at.map(([, py]) => py),
    );
  };

  test.each([1, -1])('the inverse undoes the curve (direction %i)', (sign) => {
    fc.assert(
      fc.property(points, fc.double({ min: 0, max: 1, noNaN: true }), (steps, t) => {
        const curve = build(steps, sign);
        const x = curve.x[0] + t * (curve.x.at(-1)! - curve.x[0]);
        const back = curve.inverseAt(curve.valueAt(x));
        expect(Math.abs(curve.valueAt(back) - curve.valueAt(x))).toBeLessThan(1e-9);
      }),
      { seed: 1, numRuns: 300 },
    );
  });

  test('the derivative is the limit of the difference quotient', () => {
    fc.assert(
      fc.property(points, fc.double({ min: 0.01, max: 0.99, noNaN: true }), (steps, t) => {
        const curve = build(steps, 1);
        const x = curve.x[0] + t * (curve.x.at(-1)! - curve.x[0]);
        const quotient = (curve.valueAt(x + 1e-7) - curve.valueAt(x - 1e-7)) / 2e-7;
        expect(curve.slopeAt(x)).toBeCloseTo(quotient, 2);
      }),
      { seed: 2, numRuns: 100 },
    );
  });

  test('two points make a straight line, and outside them the ends hold', () => {
    const line = createPchip([0, 1], [10, 20]);
    expect([line.valueAt(-1), line.valueAt(0.25), line.valueAt(2)]).toEqual([10, 12.5, 20]);
    expect([line.inverseAt(5), line.inverseAt(12.5), line.inverseAt(25)]).toEqual([0, 0.25, 1]);
  });

  test('a curve with a flat part has no inverse', () => {
    expect(() => createPchip([0, 1, 2], [0, 1, 1]).inverseAt(1)).toThrow(RangeError);
  });

  test('points that do not rise in x are refused', () => {
    expect(() => createPchip([0, 0], [1, 2])).toThrow(/strictly rise/);
    expect(() => createPchip([0], [1])).toThrow(/two or more/);
  });
});
