/** A 3 × 3 matrix, row by row. */
export type Matrix3 = readonly [number, number, number, number, number, number, number, number, number];

export type Vector3 = readonly [number, number, number];

export function multiplyMatrix3(a: Matrix3, b: Matrix3): Matrix3 {
  const columns = [0, 1, 2].map((column) => applyMatrix3(a, [b[column]!, b[3 + column]!, b[6 + column]!]));
  return [0, 1, 2].flatMap((row) => columns.map((column) => column[row]!)) as unknown as Matrix3;
}

export function applyMatrix3(m: Matrix3, [x, y, z]: Vector3): Vector3 {
  return [m[0] * x + m[1] * y + m[2] * z, m[3] * x + m[4] * y + m[5] * z, m[6] * x + m[7] * y + m[8] * z];
}

/** The inverse by cofactors; undefined where there is none, or none that could be trusted. */
export function invertMatrix3([a, b, c, d, e, f, g, h, i]: Matrix3): Matrix3 | undefined {
  const [p, q, r] = [e * i - f * h, f * g - d * i, d * h - e * g];
  const determinant = a * p + b * q + c * r;
  if (!(Math.abs(determinant) > 1e-9)) return undefined;
  const cofactors = [p, c * h - b * i, b * f - c * e, q, a * i - c * g, c * d - a * f, r, b * g - a * h, a * e - b * d];
  return cofactors.map((value) => value / determinant) as unknown as Matrix3;
}
