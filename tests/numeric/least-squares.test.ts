import { describe, expect, test } from 'vitest';
import { fitLeastSquares } from '../../src/numeric/index.ts';

/** source: 'nistStrd', Misra1a: y = b1·(1 − exp(−b2·x)), both certified starts. */
const MISRA_1A = {
  x: [77.6, 114.9, 141.1, 190.8, 239.9, 289, 332.8, 378.4, 434.8, 477.3, 536.8, 593.1, 689.1, 760],
  y: [10.07, 14.73, 17.94, 23.93, 29.61, 35.18, 40.02, 44.82, 50.76, 55.05, 61.01, 66.4, 75.47, 81.78],
  parameters: [2.3894212918e2, 5.5015643181e-4],
  standardErrors: [2.7070075241, 7.2668688436e-6],
};
const misra = ([b1, b2]: readonly number[]) => MISRA_1A.x.map((x, i) => b1 * (1 - Math.exp(-b2 * x)) - MISRA_1A.y[i]);

describe('published fits', () => {
  test.each([{ start: [500, 0.0001] }, { start: [250, 0.0005] }])(
    'Misra1a from $start gives the certified values and errors',
    ({ start }) => {
      const fit = fitLeastSquares(misra, { start });
      expect(fit.converged).toBe(true);
      fit.parameters.forEach((value, j) => {
        expect(value / MISRA_1A.parameters[j]).toBeCloseTo(1, 8);
        expect(fit.standardErrors[j] / MISRA_1A.standardErrors[j]).toBeCloseTo(1, 5);
      });
    },
  );

  test("Rosenbrock's valley is followed to its end", () => {
    const fit = fitLeastSquares(([a, b]) => [10 * (b - a * a), 1 - a], { start: [-1.2, 1] });
    expect(fit.converged).toBe(true);
    expect(fit.parameters[0]).toBeCloseTo(1, 8);
    expect(fit.parameters[1]).toBeCloseTo(1, 8);
  });
});

describe('bounds, outliers and data that do not determine a number', () => {
  const x = Array.from({ length: 21 }, (_, i) => i / 10);

  test('a parameter stays in its box, is reported at its bound and has no error there', () => {
    const fit = fitLeastSquares(([a, b]) => x.map((t) => a + b * t - (1 + 3 * t)), {
      start: [0, 0],
      lower: [-5, -5],
      upper: [5, 2],
    });
    expect(fit.parameters[1]).toBe(2);
    expect(fit.atBound).toEqual([false, true]);
    expect(fit.standardErrors[1]).toBe(0);
    // With the slope held at 2 the best constant is the mean of 1 + t.
    expect(fit.parameters[0]).toBeCloseTo(2, 9);
  });

  test("Huber's weights shrug off outliers that pull plain squares away", () => {
    const noisy = x.map((t, i) => 2 * t + (i % 7 === 3 ? 40 : 0.01 * ((i % 3) - 1)));
    const residuals = ([a, b]: readonly number[]) => x.map((t, i) => (a + b * t - noisy[i]) / 0.01);
    const plain = fitLeastSquares(residuals, { start: [0, 0] });
    const robust = fitLeastSquares(residuals, { start: [0, 0], huber: 1.345 });
    expect(Math.abs(robust.parameters[1] - 2)).toBeLessThan(0.02);
    expect(Math.abs(plain.parameters[0])).toBeGreaterThan(1);
  });

  test('two parameters of which only the sum matters get an infinite error and a large condition', () => {
    const fit = fitLeastSquares(([a, b]) => x.map((t) => (a + b) * t - 3 * t + 0.01 * Math.sin(40 * t)), {
      start: [1, 0.5],
    });
    expect(fit.condition).toBeGreaterThan(1e6);
    expect(fit.standardErrors[0]).toBe(Number.POSITIVE_INFINITY);
    expect(fit.parameters[0] + fit.parameters[1]).toBeCloseTo(3, 1);
  });

  test('a parameter that moves nothing keeps its start', () => {
    const fit = fitLeastSquares(([a]) => x.map((t) => a * t - 2 * t), { start: [0, 7] });
    expect(fit.parameters[1]).toBe(7);
    expect(fit.parameters[0]).toBeCloseTo(2, 9);
    expect(fit.standardErrors[1]).toBe(Number.POSITIVE_INFINITY);
  });

  test('a prior that is met exactly keeps its deviation where errors are known beforehand', () => {
    const residuals = ([a, b]: readonly number[]) => [(a - 1) / 0.1, (a - 1) / 0.1, (b - 2) / 0.5];
    expect(fitLeastSquares(residuals, { start: [1, 2], leastVariance: 1 }).standardErrors[1]).toBeCloseTo(0.5, 6);
    expect(fitLeastSquares(residuals, { start: [1, 2] }).standardErrors[1]).toBeLessThan(0.01);
  });

  test('a search that is cut off says that it has not converged', () => {
    expect(fitLeastSquares(misra, { start: [500, 0.0001], maxIterations: 1 }).converged).toBe(false);
  });

  test('a start outside the box or without finite residuals is refused', () => {
    expect(() => fitLeastSquares(misra, { start: [1, 1], upper: [0, 2] })).toThrow(/outside/);
    expect(() => fitLeastSquares(() => [Number.NaN], { start: [1] })).toThrow(/finite/);
  });
});

describe('one-sided differences', () => {
  test('lead to the same place and the same errors with fewer evaluations', () => {
    const count = (differences: 'central' | 'one-sided') => {
      let evaluations = 0;
      const counted = (parameters: readonly number[]) => {
        evaluations++;
        return misra(parameters);
      };
      return { fit: fitLeastSquares(counted, { start: [250, 0.0005], differences }), evaluations };
    };
    const [both, one] = [count('central'), count('one-sided')];
    one.fit.parameters.forEach((value, j) => {
      expect(value / MISRA_1A.parameters[j]).toBeCloseTo(1, 8);
      expect(one.fit.standardErrors[j] / MISRA_1A.standardErrors[j]).toBeCloseTo(1, 5);
    });
    expect(one.evaluations).toBeLessThan(both.evaluations);
  });

  test('at an upper bound the parameter is lowered for its derivative', () => {
    const tried: number[] = [];
    const residuals = ([a]: readonly number[]) => {
      tried.push(a);
      return [a - 0.5, a - 0.5];
    };
    const fit = fitLeastSquares(residuals, { start: [1], lower: [0], upper: [1], differences: 'one-sided' });
    expect(Math.max(...tried)).toBe(1);
    expect(fit.parameters[0]).toBeCloseTo(0.5, 9);
  });
});
