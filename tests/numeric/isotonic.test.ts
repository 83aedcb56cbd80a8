import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { regressCentredIsotonic } from '../../src/numeric/index.ts';

/** The fitted value of each given one: a pooled stretch holds those whose weights add up to its own. */
function fitEach(values: readonly number[], weights = values.map(() => 1)): number[] {
  const fitted = regressCentredIsotonic(
    values.map((_, i) => i),
    values,
    weights,
  );
  let at = 0;
  let left = fitted.weights[0] ?? 0;
  return weights.map((weight) => {
    if (left <= 0) left = fitted.weights[++at];
    left -= weight;
    return fitted.y[at];
  });
}

describe('pooling adjacent violators', () => {
  /** First row: source: 'robertCasella2005' (worked exercise); the others computed with SciPy's isotonic_regression. */
  test.each([
    { values: [23, 27, 25, 28], weights: undefined, fitted: [23, 26, 26, 28] },
    { values: [4, 5, 1, 6, 8, 7], weights: undefined, fitted: [10 / 3, 10 / 3, 10 / 3, 6, 7.5, 7.5] },
    { values: [1, 3, 2, 4, 3, 5], weights: [1, 1, 2, 1, 1, 1], fitted: [1, 7 / 3, 7 / 3, 3.5, 3.5, 5] },
    { values: [], weights: undefined, fitted: [] },
    { values: [7], weights: undefined, fitted: [7] },
    { values: [3, 2, 1], weights: undefined, fitted: [2, 2, 2] },
  ])('$values with weights $weights gives $fitted', ({ values, weights, fitted }) => {
    const got = fitEach(values, weights);
    expect(got.length).toBe(fitted.length);
    fitted.forEach((value, i) => {
      expect(got[i]).toBeCloseTo(value, 12);
    });
  });

  test('the result never falls, keeps the weighted mean, and leaves rising data alone', () => {
    fc.assert(
      fc.property(
        fc.array(fc.tuple(fc.double({ min: -9, max: 9, noNaN: true }), fc.integer({ min: 1, max: 5 })), {
          minLength: 1,
        }),
        (rows) => {
          const values = rows.map(([value]) => value);
          const weights = rows.map(([, weight]) => weight);
          const fitted = fitEach(values, weights);
          const sum = (of: ArrayLike<number>) => weights.reduce((total, weight, i) => total + weight * of[i], 0);
          expect(sum(fitted)).toBeCloseTo(sum(values), 8);
          for (let i = 1; i < fitted.length; i++) expect(fitted[i]).toBeGreaterThanOrEqual(fitted[i - 1] - 1e-12);
          fitEach(fitted, weights).forEach((value, i) => {
            expect(value).toBeCloseTo(fitted[i], 12);
          });
        },
      ),
      { seed: 3 },
    );
  });

  test('weights must be positive and as many as the values', () => {
    expect(() => regressCentredIsotonic([0, 1], [1, 2], [1, 0])).toThrow(RangeError);
    expect(() => regressCentredIsotonic([0, 1], [1, 2], [1])).toThrow(RangeError);
  });
});

describe('centred isotonic regression', () => {
  test('a pooled stretch becomes one point at its weighted centre', () => {
    const fitted = regressCentredIsotonic([1, 2, 3, 4], [0.1, 0.4, 0.2, 0.8], [1, 3, 1, 1]);
    expect([...fitted.x]).toEqual([1, 9 / 4, 4]);
    expect(fitted.y[1]).toBeCloseTo(0.35, 12);
    expect([...fitted.weights]).toEqual([1, 4, 1]);
  });

  test('equal neighbours are pooled too, so that the points strictly rise', () => {
    const fitted = regressCentredIsotonic([0, 1, 2, 3], [0, 1, 1, 2]);
    expect([...fitted.x]).toEqual([0, 1.5, 3]);
    expect([...fitted.y]).toEqual([0, 1, 2]);
  });
});
