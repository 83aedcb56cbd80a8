import { describe, expect, test } from 'vitest';
import { reflectInside, seeThroughStock } from '../../src/optics/index.ts';

describe('clear stock over a mark', () => {
  test('throws back inside what Judd 1942 computed for an index of 1.5', () => {
    expect(reflectInside(1.5)).toBeCloseTo(0.596, 3);
    expect(reflectInside(1)).toBeCloseTo(0, 12);
  });

  test.each([
    [0, 0],
    // By hand for n = 1.5, k₁ = 0.04, k₂ = 0.5963: 0.96 · 0.4037 · 0.5 / (1 − 0.29815); of white the way in.
    [0.5, 0.2761],
    [1, 0.96],
  ])('lets %d be seen as %d by Saunderson’s correction', (mark, seen) => {
    expect(seeThroughStock(mark, 1.5)).toBeCloseTo(seen, 3);
  });

  test('changes nothing without a face to mirror in, and more the denser it is', () => {
    expect(seeThroughStock(0.4, 1)).toBeCloseTo(0.4, 12);
    expect(seeThroughStock(0.4, 1.7)).toBeLessThan(seeThroughStock(0.4, 1.3));
  });
});
