import { expect, test } from 'vitest';
import { mean, median, medianAbsoluteDeviation, quantile, standardDeviation } from '../../src/numeric/index.ts';

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
