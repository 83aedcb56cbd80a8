import { expect, test } from 'vitest';
import {
  findOutlierLimit,
  mean,
  median,
  medianAbsoluteDeviation,
  pooledStandardDeviation,
  quantile,
  robustDeviation,
  standardDeviation,
} from '../../src/numeric/index.ts';

test('quantiles interpolate between order statistics', () => {
  const values = [4, 1, 3, 2];
  expect([0, 0.25, 0.5, 0.95, 1].map((q) => quantile(values, q))).toEqual([1, 1.75, 2.5, 3.8499999999999996, 4]);
  expect(values).toEqual([4, 1, 3, 2]);
});

test('one outlier does not move the median and its deviation', () => {
  const values = [1, 2, 3, 4, 5, 6, 7, 8, 1000];
  expect(median(values)).toBe(5);
  expect(medianAbsoluteDeviation(values)).toBeCloseTo(2 * 1.4826, 3);
});

test('mean and standard deviation of a hand-made sample', () => {
  expect(mean([2, 4, 4, 4, 5, 5, 7, 9])).toBe(5);
  expect(standardDeviation([2, 4, 4, 4, 5, 5, 7, 9])).toBeCloseTo(Math.sqrt(32 / 7), 12);
  expect(standardDeviation([3])).toBe(0);
});

test('nothing has no quantile, and q stays in 0 … 1', () => {
  expect(() => quantile([], 0.5)).toThrow(RangeError);
  expect(() => quantile([1], 1.5)).toThrow(RangeError);
  expect(() => mean([])).toThrow(RangeError);
});

test('the robust deviation of residuals is about zero, and one wild value does not move it', () => {
  expect(robustDeviation([-2, -1, 1, 2, 3])).toBeCloseTo(2 * 1.4826, 12);
  expect(robustDeviation([-2, -1, 1, 2, 3000])).toBeCloseTo(2 * 1.4826, 12);
  expect(robustDeviation([5, 5, 5])).toBeCloseTo(5 * 1.4826, 12);
});

test('the pooled deviation takes each group about its own mean, by degrees of freedom', () => {
  // Squares 2 about 2 and 8 about 12, with 1 and 1 degrees of freedom.
  expect(pooledStandardDeviation([[1, 3], [10, 14], [99]])).toBeCloseTo(Math.sqrt(5), 12);
  expect(pooledStandardDeviation([[4], [9]])).toBeUndefined();
  expect(pooledStandardDeviation([])).toBeUndefined();
  const one = [0.3, 1.7, 2.2, -4, 0.1];
  expect(pooledStandardDeviation([one])).toBeCloseTo(standardDeviation(one), 12);
});

test('a limit for outliers is a number of deviations, and never below what does no harm', () => {
  expect(findOutlierLimit([-1, 1, -1, 1], { deviations: 5, least: 1.5 })).toBeCloseTo(5 * 1.4826, 12);
  expect(findOutlierLimit([-0.1, 0.1], { deviations: 5, least: 1.5 })).toBe(1.5);
  expect(findOutlierLimit([], { deviations: 5, least: 1.5 })).toBe(1.5);
});
