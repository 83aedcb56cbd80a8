// The geometry of a second camera, on purpose unlike the ones of src/simulation and benchmarks/common: a pinhole turned
// in space above the table, its principal point off the middle, and a lens whose distortion is given the other way
// round, from the picture to the ray, with a tangential part. Nothing in the project was tuned on it.

export interface LensOptions {
  readonly width: number;
  readonly height: number;
  /** Focal length and principal point, pixels. */
  readonly focalPx: number;
  readonly principal: readonly [number, number];
  /** Pixels a mm where the axis meets the table. */
  readonly pxPerMm: number;
  /** Turn of the camera about its axis, its tilt away from the vertical and the direction of the tilt, degrees. */
  readonly rollDeg: number;
  readonly tiltDeg: number;
  readonly tiltTowardsDeg: number;
  /**
   * Distortion by r² and r⁴ and the two tangential terms, in units of the focal length, from the picture to the ray.
   */
  readonly k1: number;
  readonly k2: number;
  readonly p1: number;
  readonly p2: number;
}

export interface Lens {
  /** Place on the table, mm, that a pixel sees; `spread` scales its distance from the principal point. */
  readonly toTable: (px: number, py: number, spread: number, out: Float64Array) => void;
  readonly toPicture: (xMm: number, yMm: number) => readonly [number, number];
}

export function createLens(options: LensOptions): Lens {
  const { focalPx: f, principal, pxPerMm, k1, k2, p1, p2 } = options;
  const [cx, cy] = principal;
  const roll = (options.rollDeg * Math.PI) / 180;
  const tilt = (options.tiltDeg * Math.PI) / 180;
  const towards = (options.tiltTowardsDeg * Math.PI) / 180;
  // Rodrigues' rotation about an axis in the plane of the table, after a turn about the vertical.
  const [ax, ay] = [-Math.sin(towards), Math.cos(towards)];
  const [c, s] = [Math.cos(tilt), Math.sin(tilt)];
  const tilted = [
    [c + ax * ax * (1 - c), ax * ay * (1 - c), ay * s],
    [ax * ay * (1 - c), c + ay * ay * (1 - c), -ax * s],
    [-ay * s, ax * s, c],
  ] as const;
  const [cr, sr] = [Math.cos(roll), Math.sin(roll)];
  const column = (x: number, y: number) => tilted.map((row) => row[0] * x + row[1] * y);
  const [ux, uy, uz] = column(cr, sr) as [number, number, number];
  const [vx, vy, vz] = column(-sr, cr) as [number, number, number];
  const far = f / pxPerMm;

  const straighten = (dx: number, dy: number, out: Float64Array) => {
    const r2 = dx * dx + dy * dy;
    const radial = 1 + k1 * r2 + k2 * r2 * r2;
    out[0] = dx * radial + 2 * p1 * dx * dy + p2 * (r2 + 2 * dx * dx);
    out[1] = dy * radial + p1 * (r2 + 2 * dy * dy) + 2 * p2 * dx * dy;
  };
  const toTable = (px: number, py: number, spread: number, out: Float64Array) => {
    straighten(((px - cx) / f) * spread, ((py - cy) / f) * spread, out);
    const nx = out[0]!;
    const ny = out[1]!;
    // u·X + v·Y + (0, 0, far) is along (nx, ny, 1): two equations for X and Y.
    const a = ux - nx * uz;
    const b = vx - nx * vz;
    const d = uy - ny * uz;
    const e = vy - ny * vz;
    const det = a * e - b * d;
    out[0] = (far * (nx * e - ny * b)) / det;
    out[1] = (far * (ny * a - nx * d)) / det;
  };
  const toPicture = (xMm: number, yMm: number): readonly [number, number] => {
    const depth = uz * xMm + vz * yMm + far;
    const nx = (ux * xMm + vx * yMm) / depth;
    const ny = (uy * xMm + vy * yMm) / depth;
    const out = new Float64Array(2);
    let dx = nx;
    let dy = ny;
    for (let i = 0; i < 60; i++) {
      straighten(dx, dy, out);
      dx += nx - out[0]!;
      dy += ny - out[1]!;
    }
    return [cx + f * dx, cy + f * dy];
  };
  return { toTable, toPicture };
}
