import { expect, test } from 'vitest';
import { countValues, createDots, createPlane, ONE } from '../../src/plane/index.ts';
import { describeCounts, meanDose } from '../../src/screens/index.ts';

test('the mean dose counts levels by their share of the full dose', () => {
  expect(meanDose(createDots(3, 2))).toBe(0);
  expect(meanDose(createDots(3, 2, 2, Uint8Array.of(1, 0, 0, 1, 0, 1)))).toBe(0.5);
  expect(meanDose(createDots(4, 1, 4, Uint8Array.of(3, 0, 1, 0)))).toBeCloseTo(4 / 12, 12);
});

test('the histogram of coverage has ten bins; bare is in the first, solid in the last', () => {
  const data = Uint16Array.from([0, 0, 0.05 * ONE, 0.15 * ONE, 0.55 * ONE, ONE, ONE, 0.95 * ONE]);
  const { mean, histogram } = describeCounts(countValues(createPlane('coverage', 4, 2, data)));
  expect(histogram).toEqual([0.375, 0.125, 0, 0, 0, 0.125, 0, 0, 0, 0.375]);
  expect(mean).toBeCloseTo((0.05 + 0.15 + 0.55 + 1 + 1 + 0.95) / 8, 4);
});
