import { expect, test } from 'vitest';
import { student95 } from '../../src/numeric/index.ts';

test.each([
  // source: fisherYates1938, table III, column 0.05 (from memory).
  [3, 3.182],
  [4, 2.776],
  [5, 2.571],
  [10, 2.228],
  [30, 2.042],
  [120, 1.98],
])('95 %% of Student’s distribution with %i degrees of freedom lie within ± %f', (freedom, half) => {
  expect(Math.abs(student95(freedom) / half - 1)).toBeLessThan(0.0015);
});

test('it nears the normal distribution', () => {
  expect(student95(1e9)).toBeCloseTo(1.959964, 6);
});

test('fewer than 3 degrees of freedom are refused', () => {
  expect(() => student95(2.9)).toThrow(RangeError);
});
