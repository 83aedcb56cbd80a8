import { CholeskyDecomposition, Matrix } from 'ml-matrix';

/**
 * Inverse and log-determinant of a symmetric positive definite matrix, by Cholesky's factors of the matrix with unit
 * diagonal, so that parameters of very different units do not spoil it. Only the lower triangle is read. Undefined when
 * it is not positive definite.
 */
export function invertPositiveDefinite(
  matrix: readonly (readonly number[])[],
): { readonly inverse: number[][]; readonly logDeterminant: number } | undefined {
  const n = matrix.length;
  if (matrix.some((row) => row.length !== n)) throw new RangeError('the matrix is not square');
  const size = matrix.map((row, i) => Math.sqrt(row[i]!));
  if (!size.every((s) => s > 0 && Number.isFinite(s))) return undefined;
  const factor = new CholeskyDecomposition(
    new Matrix(
      matrix.map((_, i) => matrix.map((_, j) => matrix[Math.max(i, j)]![Math.min(i, j)]! / (size[i]! * size[j]!))),
    ),
  );
  if (!factor.isPositiveDefinite()) return undefined;
  const scaled = factor.solve(Matrix.eye(n)).to2DArray();
  const lower = factor.lowerTriangularMatrix;
  let logDeterminant = 0;
  for (let i = 0; i < n; i++) logDeterminant += 2 * Math.log(lower.get(i, i) * size[i]!);
  return { inverse: scaled.map((row, i) => row.map((value, j) => value / (size[i]! * size[j]!))), logDeterminant };
}

/** `count` numbers from `from` to `to`, equally far apart. @param count 2 or more */
export function linearSteps(from: number, to: number, count: number): readonly number[] {
  return Array.from({ length: count }, (_, at) => from + ((to - from) * at) / (count - 1));
}
