/** A projective map in the plane, row-major 3 × 3, and its use on points: (x, y, 1)ᵀ → divide by the third. */
export type Homography = readonly [number, number, number, number, number, number, number, number, number];

export type Point = readonly [x: number, y: number];

export function applyHomography(h: Homography, [x, y]: Point): Point {
  const w = h[6] * x + h[7] * y + h[8];
  return [(h[0] * x + h[1] * y + h[2]) / w, (h[3] * x + h[4] * y + h[5]) / w];
}

/** First `b`, then `a`. */
export function composeHomographies(a: Homography, b: Homography): Homography {
  const at = (row: number, column: number) =>
    a[3 * row]! * b[column]! + a[3 * row + 1]! * b[column + 3]! + a[3 * row + 2]! * b[column + 6]!;
  return [at(0, 0), at(0, 1), at(0, 2), at(1, 0), at(1, 1), at(1, 2), at(2, 0), at(2, 1), at(2, 2)];
}

/** The way back, by the adjugate; its scale is free. */
export function invertHomography(h: Homography): Homography {
  const [a, b, c, d, e, f, g, i, j] = h;
  return [
    e * j - f * i,
    c * i - b * j,
    b * f - c * e,
    f * g - d * j,
    a * j - c * g,
    c * d - a * f,
    d * i - e * g,
    b * g - a * i,
    a * e - b * d,
  ];
}

/** Where places of the bitmap's frame (mm) land in a capture (pixels, centres at +0.5). */
export interface CaptureGeometry {
  readonly width: number;
  readonly height: number;
  /** From mm to pixels of a lens without distortion. */
  readonly toPixels: Homography;
  /** Radial distortion: undistorted = distorted·(1 + k1·r²), r = 1 at half the picture's diagonal. */
  readonly k1: number;
}
