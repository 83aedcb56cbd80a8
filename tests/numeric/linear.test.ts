import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { invertPositiveDefinite } from '../../src/numeric/index.ts';

describe('the inverse of a positive definite matrix', () => {
  test('of a matrix that is solved by hand', () => {
    // [[4, 2], [2, 3]]: determinant 8, inverse [[3, −2], [−2, 4]] / 8.
    const { inverse, logDeterminant } = invertPositiveDefinite([
      [4, 2],
      [2, 3],
    ])!;
    expect(inverse.flat().map((value) => Math.round(1e12 * value) / 1e12)).toEqual([0.375, -0.25, -0.25, 0.5]);
    expect(logDeterminant).toBeCloseTo(Math.log(8), 12);
  });

  test('times the matrix is one, whatever the units of its parameters', () => {
    const entry = fc.double({ min: -1, max: 1, noNaN: true });
    fc.assert(
      fc.property(
        fc.array(fc.array(entry, { minLength: 3, maxLength: 3 }), { minLength: 3, maxLength: 3 }),
        fc.array(fc.integer({ min: -6, max: 6 }), { minLength: 3, maxLength: 3 }),
        (rows, powers) => {
          const scale = powers.map((power) => 10 ** power);
          // AᵀA + 1, in odd units.
          const matrix = rows.map((_, i) =>
            rows.map(
              (_, j) =>
                scale[i]! * scale[j]! * (rows.reduce((sum, row) => sum + row[i]! * row[j]!, 0) + (i === j ? 1 : 0)),
            ),
          );
          const { inverse } = invertPositiveDefinite(matrix)!;
          for (let i = 0; i < 3; i++) {
            for (let j = 0; j < 3; j++) {
              const product = inverse[i]!.reduce((sum, value, k) => sum + value * matrix[k]![j]!, 0);
              expect((product * scale[i]!) / scale[j]!).toBeCloseTo(i === j ? 1 : 0, 9);
            }
          }
        },
      ),
    );
  });

  test.each([
    [[[0]]],
    [[[-1]]],
    [
      [
        [1, 2],
        [2, 1],
      ],
    ],
    [
      [
        [1, 1],
        [1, 1],
      ],
    ],
  ])('is none for %j', (matrix) => {
    expect(invertPositiveDefinite(matrix)).toBeUndefined();
  });

  test('of a matrix that is not square is refused', () => {
    expect(() => invertPositiveDefinite([[1, 2]])).toThrow(RangeError);
  });
});
