import type { Corners, Point } from './types.ts';

/** Projective map, row-major 3 × 3 with the last element 1. */
export type Homography = readonly number[];

/** Maps a point. */
export function applyHomography(h: Homography, x: number, y: number): [number, number] {
  const w = h[6]! * x + h[7]! * y + h[8]!;
  return [(h[0]! * x + h[1]! * y + h[2]!) / w, (h[3]! * x + h[4]! * y + h[5]!) / w];
}

/**
 * Least-squares homography through four or more pairs of points, linear in its eight numbers; both sides are first
 * moved and scaled to unit size, without which the equations lose half their digits. Undefined when the points do not
 * determine it (three on a line).
 */
export function fitHomography(from: readonly Point[], to: readonly Point[]): Homography | undefined {
  if (from.length !== to.length || from.length < 4) {
    throw new RangeError(`a homography needs four or more pairs, got ${from.length} and ${to.length}`);
  }
  const source = normalise(from);
  const target = normalise(to);
  const normal = Array.from({ length: 8 }, () => new Float64Array(9));
  const row = new Float64Array(9);
  const add = () => {
    for (let i = 0; i < 8; i++) for (let j = 0; j < 9; j++) normal[i]![j] += row[i] * row[j];
  };
  for (let i = 0; i < from.length; i++) {
    const [x, y] = source.points[i]!;
    const [u, v] = target.points[i]!;
    row.set([x, y, 1, 0, 0, 0, -u * x, -u * y, u]);
    add();
    row.set([0, 0, 0, x, y, 1, -v * x, -v * y, v]);
    add();
  }
  const solved = solve(normal);
  if (!solved) return undefined;
  const inner = [...solved, 1];
  const [sx, sy, ss] = source.move;
  const [tx, ty, ts] = target.move;
  const toUnit = [ss, 0, -sx * ss, 0, ss, -sy * ss, 0, 0, 1];
  const fromUnit = [1 / ts, 0, tx, 0, 1 / ts, ty, 0, 0, 1];
  return scaleLast(multiply(fromUnit, multiply(inner, toUnit)));
}

function normalise(points: readonly Point[]) {
  let mx = 0;
  let my = 0;
  for (const [x, y] of points) {
    mx += x / points.length;
    my += y / points.length;
  }
  let reach = 0;
  for (const [x, y] of points) reach = Math.max(reach, Math.abs(x - mx), Math.abs(y - my));
  const scale = reach > 0 ? 1 / reach : 1;
  return {
    points: points.map(([x, y]): Point => [(x - mx) * scale, (y - my) * scale]),
    move: [mx, my, scale] as const,
  };
}

/** Gauss's elimination with row exchange on an n × (n+1) system; undefined when singular. */
function solve(system: Float64Array[]): number[] | undefined {
  const n = system.length;
  for (let i = 0; i < n; i++) {
    let pivot = i;
    for (let j = i + 1; j < n; j++) if (Math.abs(system[j]![i]) > Math.abs(system[pivot]![i])) pivot = j;
    [system[i], system[pivot]] = [system[pivot]!, system[i]!];
    const top = system[i]!;
    if (Math.abs(top[i]) < 1e-10) return undefined;
    for (let j = i + 1; j < n; j++) {
      const factor = system[j]![i] / top[i];
      for (let k = i; k <= n; k++) system[j]![k] -= factor * top[k];
    }
  }
  const x = new Array<number>(n).fill(0);
  for (let i = n - 1; i >= 0; i--) {
    let sum = system[i]![n];
    for (let j = i + 1; j < n; j++) sum -= system[i]![j] * x[j]!;
    x[i] = sum / system[i]![i];
  }
  return x;
}

function multiply(a: readonly number[], b: readonly number[]): number[] {
  const product = new Array<number>(9).fill(0);
  for (let i = 0; i < 3; i++) {
    for (let j = 0; j < 3; j++) {
      for (let k = 0; k < 3; k++) product[i * 3 + j]! += a[i * 3 + k]! * b[k * 3 + j]!;
    }
  }
  return product;
}

const scaleLast = (h: readonly number[]): Homography => h.map((value) => value / h[8]!);

/** The map back. */
export function invertHomography(h: Homography): Homography {
  const [a, b, c, d, e, f, g, k, i] = h as [number, number, number, number, number, number, number, number, number];
  return scaleLast([
    e * i - f * k,
    c * k - b * i,
    b * f - c * e,
    f * g - d * i,
    a * i - c * g,
    c * d - a * f,
    d * k - e * g,
    b * g - a * k,
    a * e - b * d,
  ]);
}

/** Area of a polygon, square units; above 0 when its points run clockwise as seen with y down. */
export function signedArea(points: readonly Point[]): number {
  let sum = 0;
  points.forEach(([x, y], at) => {
    const [nx, ny] = points[(at + 1) % points.length]!;
    sum += x * ny - nx * y;
  });
  return sum / 2;
}

/** Solves the plane a·x + b·y + c nearest to values at points, by Cramer's rule on the normal equations. */
export function fitPlane(
  points: readonly (readonly [x: number, y: number, value: number])[],
): (x: number, y: number) => number {
  let n = 0;
  let mx = 0;
  let my = 0;
  let mv = 0;
  for (const [x, y, value] of points) {
    n++;
    mx += x;
    my += y;
    mv += value;
  }
  mx /= n;
  my /= n;
  mv /= n;
  let xx = 0;
  let xy = 0;
  let yy = 0;
  let xv = 0;
  let yv = 0;
  for (const [x, y, value] of points) {
    xx += (x - mx) ** 2;
    xy += (x - mx) * (y - my);
    yy += (y - my) ** 2;
    xv += (x - mx) * (value - mv);
    yv += (y - my) * (value - mv);
  }
  const determinant = xx * yy - xy * xy;
  const a = determinant > 1e-12 ? (xv * yy - yv * xy) / determinant : 0;
  const b = determinant > 1e-12 ? (yv * xx - xv * xy) / determinant : 0;
  return (x, y) => mv + a * (x - mx) + b * (y - my);
}

/** Corners of an axis-parallel box, clockwise from the upper left. */
export function boxCorners(x: number, y: number, width: number, height: number): Corners {
  return [
    [x, y],
    [x + width, y],
    [x + width, y + height],
    [x, y + height],
  ];
}
