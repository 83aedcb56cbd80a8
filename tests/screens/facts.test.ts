import { expect, test } from 'vitest';
import { createDots, createPlane, ONE } from '../../src/plane/index.ts';
import { coverageHistogram, describeDots } from '../../src/screens/index.ts';

function dotsOf(rows: readonly string[], levels = 2) {
  const data = Uint8Array.from(rows.join(''), (character) => (character === '.' ? 0 : Number(character)));
  return createDots(rows[0]!.length, rows.length, levels, data);
}

test('facts tell the mean, the firing share and the dots that stand alone', () => {
  expect(describeDots(dotsOf(['1.....', '...11.', '......', '.1....', '..1..1']))).toEqual({
    mean: 6 / 30,
    firing: 6 / 30,
    isolated: 2 / 6,
  });
});

test('a dot at the end of one row and one at the start of the next are no neighbours', () => {
  expect(describeDots(dotsOf(['..1', '...', '1..'])).isolated).toBe(1);
  expect(describeDots(dotsOf(['..1', '1..'])).isolated).toBe(1);
});

test('levels count by their share of the full dose', () => {
  expect(describeDots(dotsOf(['3.1.'], 4))).toEqual({ mean: 4 / 12, firing: 2 / 4, isolated: 1 });
});

test('a bare plane and a single dot have facts too', () => {
  expect(describeDots(createDots(3, 2))).toEqual({ mean: 0, firing: 0, isolated: 0 });
  expect(describeDots(dotsOf(['1']))).toEqual({ mean: 1, firing: 1, isolated: 1 });
});

test('the histogram of coverage has ten bins; bare is in the first, solid in the last', () => {
  const data = Uint16Array.from([0, 0, 0.05 * ONE, 0.15 * ONE, 0.55 * ONE, ONE, ONE, 0.95 * ONE]);
  expect(coverageHistogram(createPlane('coverage', 4, 2, data))).toEqual([
    0.375, 0.125, 0, 0, 0, 0.125, 0, 0, 0, 0.375,
  ]);
});
