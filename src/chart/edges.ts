import { signedArea } from './geometry.ts';
import type { GreySampler } from './grey.ts';
import type { Corners, Point } from './types.ts';

export interface EdgeOptions {
  /** 1: the inside is darker, −1: lighter. */
  readonly polarity: 1 | -1;
  /** Way searched on each side of the edge, pixels. */
  readonly reachPx: number;
  /** Half the distance over which the gradient is taken, pixels. */
  readonly basePx: number;
  /** Distance between two lines across an edge, pixels; 3 when absent. */
  readonly spacingPx?: number;
}

/** Most lines across one edge. A count. Assumed: more lines place an edge no better than its blur allows. */
const LINES_MAX = 200;

/**
 * Gradients below this share of an edge line's strongest are noise and left out. Assumed: keeps the edge's own slope,
 * leaves grain out.
 */
const GRADIENT_MIN_SHARE = 0.2;
/** Fewest lines that place an edge, a count. Assumed: two tell a line, eight outvote a scratch. */
const LINES_MIN = 8;
/**
 * Sine of the least angle between two neighbouring edges. Without unit. Assumed: 3°; flatter edges do not cross in a
 * place.
 */
const ANGLE_MIN = 0.05;

/**
 * Corners of a square mark moved onto its edges: on lines across each edge the centre of squared gradients of the right
 * sign, a line through those centres by total least squares, corners where lines meet (source: 'wangOlson2016', section
 * on edge refinement, with own weights). Undefined when an edge cannot be seen.
 */
export function refineCorners(sample: GreySampler, corners: Corners, options: EdgeOptions): Corners | undefined {
  const { polarity, reachPx, basePx, spacingPx = 3 } = options;
  const step = Math.max(0.25, reachPx / 24);
  const steps = Math.ceil(reachPx / step);
  const lines: (readonly [x: number, y: number, dx: number, dy: number])[] = [];
  const gradients = new Float64Array(2 * steps + 1);
  for (let edge = 0; edge < 4; edge++) {
    const [ax, ay] = corners[edge]!;
    const [bx, by] = corners[(edge + 1) % 4]!;
    const length = Math.hypot(bx - ax, by - ay);
    const nx = (by - ay) / length;
    const ny = -(bx - ax) / length;
    const across = Math.max(16, Math.min(LINES_MAX, Math.floor(length / spacingPx)));
    let n = 0;
    let sx = 0;
    let sy = 0;
    let sxx = 0;
    let sxy = 0;
    let syy = 0;
    for (let k = 0; k < across; k++) {
      // The outermost twentieth at each end is rounded by blur and not used.
      const t = 0.05 + (0.9 * (k + 0.5)) / across;
      const x = ax + (bx - ax) * t;
      const y = ay + (by - ay) * t;
      let strongest = 0;
      for (let i = -steps; i <= steps; i++) {
        const s = i * step;
        const outer = sample(x + nx * (s + basePx), y + ny * (s + basePx));
        const inner = sample(x + nx * (s - basePx), y + ny * (s - basePx));
        const gradient = (outer - inner) * polarity;
        // Not a number outside the picture.
        gradients[i + steps] = Number.isNaN(gradient) ? 0 : Math.max(0, gradient);
        if (gradient > strongest) strongest = gradient;
      }
      let moment = 0;
      let weight = 0;
      for (let i = -steps; i <= steps; i++) {
        const gradient = gradients[i + steps];
        if (gradient <= strongest * GRADIENT_MIN_SHARE) continue;
        moment += gradient ** 2 * i * step;
        weight += gradient ** 2;
      }
      if (weight === 0) continue;
      const px = x + (nx * moment) / weight;
      const py = y + (ny * moment) / weight;
      n++;
      sx += px;
      sy += py;
      sxx += px * px;
      sxy += px * py;
      syy += py * py;
    }
    if (n < LINES_MIN) return undefined;
    const mx = sx / n;
    const my = sy / n;
    const cxx = sxx / n - mx * mx;
    const cxy = sxy / n - mx * my;
    const cyy = syy / n - my * my;
    const angle = 0.5 * Math.atan2(2 * cxy, cxx - cyy);
    lines.push([mx, my, Math.cos(angle), Math.sin(angle)]);
  }
  const refined: Point[] = [];
  for (let edge = 0; edge < 4; edge++) {
    const [x1, y1, dx1, dy1] = lines[(edge + 3) % 4]!;
    const [x2, y2, dx2, dy2] = lines[edge]!;
    const sine = dx1 * dy2 - dy1 * dx2;
    if (Math.abs(sine) < ANGLE_MIN) return undefined;
    const t = ((x2 - x1) * dy2 - (y2 - y1) * dx2) / sine;
    refined.push([x1 + dx1 * t, y1 + dy1 * t]);
  }
  const result = refined as unknown as Corners;
  return signedArea(result) > 0 ? result : undefined;
}

/** Bins of the averaged edge, a pixel. A count. Assumed: a quarter of a pixel shows a slope without gaps. */
const BINS_PER_PX = 4;
/** Distance between the quartiles of a normal distribution, in standard deviations. Exact: 2 · 0.6745, rounded. */
const QUARTILES_PER_SIGMA = 1.349;

/**
 * Blur of a square mark's outer edges as the standard deviation of a Gaussian, pixels: distance between a quarter and
 * three quarters of the rise of the averaged edge, over 1.349. Undefined when no edge rises.
 * @param reachPx bare and ink that the edge has on each side, pixels: half a cell keeps the neighbours out
 */
export function measureEdgeBlur(
  sample: GreySampler,
  corners: Corners,
  { polarity, reachPx }: Pick<EdgeOptions, 'polarity' | 'reachPx'>,
): number | undefined {
  const half = Math.max(4, Math.ceil(reachPx * BINS_PER_PX));
  const widths: number[] = [];
  for (let edge = 0; edge < 4; edge++) {
    const [ax, ay] = corners[edge]!;
    const [bx, by] = corners[(edge + 1) % 4]!;
    const length = Math.hypot(bx - ax, by - ay);
    const nx = (by - ay) / length;
    const ny = -(bx - ax) / length;
    const profile = new Float64Array(2 * half + 1);
    const across = Math.max(16, Math.min(120, Math.floor(length)));
    for (let k = 0; k < across; k++) {
      const t = 0.15 + (0.7 * (k + 0.5)) / across;
      for (let i = -half; i <= half; i++) {
        const s = i / BINS_PER_PX;
        profile[i + half] += (polarity * sample(ax + (bx - ax) * t + nx * s, ay + (by - ay) * t + ny * s)) / across;
      }
    }
    const low = profile[0];
    const rise = profile[2 * half] - low;
    if (!(rise > 0)) continue;
    const crossing = (share: number) => {
      let i = 1;
      while (i < 2 * half && profile[i] < low + share * rise) i++;
      return i - (profile[i] - low - share * rise) / (profile[i] - profile[i - 1] || 1);
    };
    widths.push((crossing(0.75) - crossing(0.25)) / BINS_PER_PX / QUARTILES_PER_SIGMA);
  }
  if (widths.length === 0) return undefined;
  widths.sort((a, b) => a - b);
  return widths[widths.length >> 1];
}
