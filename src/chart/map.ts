import { fitLeastSquares } from '../numeric/index.ts';
import { applyHomography, boxCorners, fitHomography, type Homography, invertHomography } from './geometry.ts';
import { INK_CELLS, TAG_CELLS } from './tag-codes.ts';
import type { ChartLayout, Corners, LayoutTag, Point } from './types.ts';

/**
 * Distortion by a lens, in half diagonals u from the picture's middle, r = |u|: a point moves by
 * k1·r²·u + k2·r⁴·u + r²·p + 2(p·u)·u (source: 'brown1966', radial and decentring distortion). The terms in p are also
 * what k1 becomes when a photo was cropped and its middle is no longer the lens's.
 */
export interface LensDistortion {
  readonly k1: number;
  readonly k2: number;
  readonly p: Point;
}

/** From millimetres on the chart to pixels of the capture: a homography, then the lens. */
export interface ChartMap {
  /** To pixels of a picture without lens distortion. */
  readonly homography: Homography;
  readonly lens: LensDistortion;
  readonly middle: Point;
  readonly halfDiagonalPx: number;
}

/** Pixel of a point on the chart. */
export function placeOnCapture(map: ChartMap, xMm: number, yMm: number): Point {
  const [x, y] = applyHomography(map.homography, xMm, yMm);
  const { middle, halfDiagonalPx } = map;
  const { k1, k2, p } = map.lens;
  const ux = (x - middle[0]) / halfDiagonalPx;
  const uy = (y - middle[1]) / halfDiagonalPx;
  const r2 = ux * ux + uy * uy;
  const along = r2 * (k1 + k2 * r2) + 2 * (p[0] * ux + p[1] * uy);
  return [x + (ux * along + r2 * p[0]) * halfDiagonalPx, y + (uy * along + r2 * p[1]) * halfDiagonalPx];
}

/**
 * Map from pixels back to the chart that holds in and around one box of it: a homography through the box's four
 * corners, within which the lens bends nothing to speak of.
 */
export function invertNear(map: ChartMap, corners: Corners): Homography | undefined {
  const seen = corners.map(([x, y]) => placeOnCapture(map, x, y));
  const there = fitHomography(corners, seen);
  return there && invertHomography(there);
}

/** Corners of a tag's ink on the chart, mm, clockwise from the upper left. */
export function inkCorners(tag: LayoutTag, { grid }: Pick<ChartLayout, 'grid'>): Corners {
  const cellX = tag.cellDotsX * grid.pitchMm;
  const cellY = tag.cellDotsY * grid.lineSpacingMm;
  const ring = (TAG_CELLS - INK_CELLS) / 2;
  const x = tag.xDots * grid.pitchMm + ring * cellX;
  const y = tag.yDots * grid.lineSpacingMm + ring * cellY;
  return boxCorners(x, y, INK_CELLS * cellX, INK_CELLS * cellY);
}

export interface SeenTag {
  readonly tag: LayoutTag;
  /** Corners of the ink in the capture, in the tag's own order. */
  readonly corners: Corners;
}

export interface FittedMap {
  readonly map: ChartMap;
  /**
   * How far the ink reaches beyond its layout on each side, mm: growth of the mark, and the camera's coding of edges.
   */
  readonly growthMm: number;
  /** Root mean square and largest distance of tag corners from where the map puts them, px. */
  readonly rmsPx: number;
  readonly worstPx: number;
  /** Standard error of a place on the chart, px, from the covariance of the fit. */
  readonly errorPxAt: (xMm: number, yMm: number) => number;
}

/** Standard error of one tag corner in a good capture. Assumed: it only weighs the priors below. */
const CORNER_ERROR_PX = 0.3;
/**
 * Expected size of lens distortion and ink growth before anything is seen; assumed. They decide where tags cannot.
 * Shares of the picture's half diagonal, and mm. Assumed: phones stay below 3 %; ink grows by a mark's width.
 */
const K1_PRIOR = 0.03;
const K2_PRIOR = 0.01;
const DECENTRE_PRIOR = 0.006;
const GROWTH_PRIOR_MM = 0.1;
/**
 * Tags from which the finer terms of the lens can be told from the perspective. A count. Assumed: fewer corners leave
 * no freedom to judge them by.
 */
const FINE_LENS_TAGS = 5;
/**
 * Least ratio of variances (F) by which the finer terms must explain the corners better to be taken; three terms by
 * chance stay below it. A ratio. Assumed: about the 99 % point of F with three terms.
 */
const FINE_LENS_GAIN = 6;
/** Four places, growth and k1. A count. Exact: 8 + 1 + 1. */
const PLAIN_PARAMETERS = 10;
const FINE_TERMS = [K2_PRIOR, DECENTRE_PRIOR, DECENTRE_PRIOR] as const;

/**
 * Fits the map to the corners of all tags at once: four places of the chart in the picture, lens distortion and growth
 * of the ink, by least squares with weak priors on the last two. The lens's finer terms are taken only where they
 * explain the corners significantly better, since they make a place outside the tags less certain. Undefined when the
 * tags do not determine it.
 */
export function fitMap(
  seen: readonly SeenTag[],
  layout: ChartLayout,
  picture: { readonly width: number; readonly height: number },
): FittedMap | undefined {
  const plain = fitWith(seen, layout, { picture, lensPriors: [K1_PRIOR] });
  if (!plain || seen.length < FINE_LENS_TAGS) return plain;
  const fine = fitWith(seen, layout, { picture, lensPriors: [K1_PRIOR, ...FINE_TERMS] });
  if (!fine) return plain;
  const degreesOfFreedom = seen.length * 8 - PLAIN_PARAMETERS - FINE_TERMS.length;
  const gain = (plain.rmsPx ** 2 / Math.max(1e-12, fine.rmsPx ** 2) - 1) * (degreesOfFreedom / FINE_TERMS.length);
  return gain > FINE_LENS_GAIN ? fine : plain;
}

interface FitOptions {
  readonly picture: { readonly width: number; readonly height: number };
  /** Expected sizes of k1, k2, p1 and p2, as far as they are fitted. */
  readonly lensPriors: readonly number[];
}

function fitWith(
  seen: readonly SeenTag[],
  layout: ChartLayout,
  { picture, lensPriors }: FitOptions,
): FittedMap | undefined {
  const chart = seen.map(({ tag }) => inkCorners(tag, layout));
  const there = fitHomography(
    chart.flat(),
    seen.flatMap(({ corners }) => corners),
  );
  if (!there) return undefined;
  const middle: Point = [picture.width / 2, picture.height / 2];
  const halfDiagonalPx = Math.hypot(picture.width, picture.height) / 2;
  const frame = boxCorners(0, 0, layout.widthMm, layout.heightMm);

  const read = (parameters: readonly number[]): { map: ChartMap; growthMm: number } | undefined => {
    const corners = [0, 2, 4, 6].map((at): Point => [parameters[at]!, parameters[at + 1]!]);
    const homography = fitHomography(frame, corners);
    if (!homography) return undefined;
    const [k1 = 0, k2 = 0, px = 0, py = 0] = parameters.slice(9);
    return { map: { homography, lens: { k1, k2, p: [px, py] }, middle, halfDiagonalPx }, growthMm: parameters[8]! };
  };
  const residualsOf = (parameters: readonly number[]): Float64Array => {
    const residuals = new Float64Array(seen.length * 8 + 1 + lensPriors.length);
    const state = read(parameters);
    if (!state) return residuals.fill(1e6);
    let at = 0;
    for (let i = 0; i < seen.length; i++) {
      for (let corner = 0; corner < 4; corner++) {
        const [x, y] = chart[i]![corner]!;
        const outX = corner === 1 || corner === 2 ? state.growthMm : -state.growthMm;
        const outY = corner >= 2 ? state.growthMm : -state.growthMm;
        const [px, py] = placeOnCapture(state.map, x + outX, y + outY);
        residuals[at++] = (px - seen[i]!.corners[corner]![0]) / CORNER_ERROR_PX;
        residuals[at++] = (py - seen[i]!.corners[corner]![1]) / CORNER_ERROR_PX;
      }
    }
    residuals[at++] = state.growthMm / GROWTH_PRIOR_MM;
    for (let i = 0; i < lensPriors.length; i++) residuals[at++] = parameters[9 + i]! / lensPriors[i]!;
    return residuals;
  };
  const start = [...frame.flatMap(([x, y]) => applyHomography(there, x, y)), 0, ...lensPriors.map(() => 0)];
  if (start.some((value) => !Number.isFinite(value))) return undefined;
  const scales = [...new Array<number>(8).fill(10), 0.05, ...lensPriors.map((prior) => prior / 3)];
  const fit = fitLeastSquares(residualsOf, { start, scales, huber: 4, maxIterations: 40, tolerance: 1e-9 });
  const state = read(fit.parameters);
  if (!state) return undefined;

  let sum = 0;
  let worst = 0;
  for (let i = 0; i < seen.length * 4; i++) {
    const square = (fit.residuals[2 * i] ** 2 + fit.residuals[2 * i + 1] ** 2) * CORNER_ERROR_PX ** 2;
    sum += square;
    worst = Math.max(worst, square);
  }
  // Few corners can agree by luck: the covariance counts them at least as uncertain as a good corner is.
  const inflate = Math.max(1, CORNER_ERROR_PX / Math.max(1e-6, Math.sqrt(sum / (seen.length * 8))));
  const errorPxAt = (xMm: number, yMm: number): number => {
    const [px, py] = placeOnCapture(state.map, xMm, yMm);
    const slopes = fit.parameters.map((value, j) => {
      const step = scales[j]! * 1e-3;
      const moved = read(fit.parameters.map((other, k) => (k === j ? value + step : other)));
      if (!moved) return [0, 0] as const;
      const [mx, my] = placeOnCapture(moved.map, xMm, yMm);
      return [(mx - px) / step, (my - py) / step] as const;
    });
    let variance = 0;
    for (let i = 0; i < slopes.length; i++) {
      for (let j = 0; j < slopes.length; j++) {
        const product = slopes[i]![0] * slopes[j]![0] + slopes[i]![1] * slopes[j]![1];
        if (product !== 0) variance += product * fit.covariance[i]![j]!;
      }
    }
    return Math.sqrt(Math.max(0, variance)) * Math.min(inflate, 10);
  };
  return { ...state, rmsPx: Math.sqrt(sum / (seen.length * 4)), worstPx: Math.sqrt(worst), errorPxAt };
}
