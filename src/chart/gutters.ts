import { median, quantile } from '../numeric/index.ts';
import { fitSurface, type SurfacePoint } from './light.ts';
import { createRandom } from './random.ts';
import type { PatchSamples } from './samples.ts';

/** What the bare gutters around the patches say about the light. */
export interface GutterLight {
  /**
   * Share by which the light around each patch differs from a smooth light over the chart; NaN where there is no
   * gutter.
   */
  readonly off: readonly number[];
  /** The same of each side of each gutter alone: left, right, above, below. */
  readonly offSides: readonly (readonly number[])[];
  /** Robust standard deviation of those shares where nothing disturbs. */
  readonly scatter: number;
  /** Part of a patch's contrast that shows in its gutter, from blur and light scatter. */
  readonly toneShare: number;
}

/** Gutters needed for a judgement. A count. Assumed: twice the six that a surface takes. */
const GUTTERS_MIN = 12;
/**
 * Tries of a surface through six gutters: with two fifths disturbed one in twenty tries hits none of them. A count.
 * Assumed: chance then misses a good surface less than once in ten thousand readings.
 */
const TRIES = 200;
/**
 * A gutter agrees with a surface within this many standard deviations, and at least within this share. Assumed: honest
 * gutters pass four once in ten thousand; the share is the stock's own grain.
 */
const AGREE = 4;
const AGREE_MIN = 0.012;
/**
 * Least difference of tone between neighbours that tells a slope. Coverage, a share. Assumed: smaller steps tell
 * scatter.
 */
const TONE_STEP_MIN = 0.1;
/**
 * A quarter of a standard normal distribution lies nearer to its middle than this. Standard deviations. Exact: the
 * quantile of 0.625, rounded.
 */
const QUARTER_OF_NORMAL = 0.3186;

/**
 * Compares the gutter around every patch with the smooth light that most agree on. Reflections and shadows cover a part
 * of a chart and would bend a fit through all, so the surface is the one of many through six random gutters that has
 * the most of them within reach (source: 'fischlerBolles1981'), refitted to those.
 * @param tones linear light of each patch relative to bare, roughly; `besides`: relative to its own gutter; `bares`:
 * light that the references expect of bare there Undefined when too few gutters can be seen.
 */
export function judgeGutters(
  samples: readonly PatchSamples[],
  {
    tones,
    besides,
    bares,
    chart,
  }: {
    readonly tones: readonly number[];
    readonly besides: readonly number[];
    readonly bares: readonly number[];
    readonly chart: { readonly widthMm: number; readonly heightMm: number };
  },
): GutterLight | undefined {
  const seen = samples.flatMap(({ patch, gutter }, at): GutterPoint[] => {
    const value = Math.log(gutter);
    if (!Number.isFinite(value)) return [];
    return [
      {
        xMm: patch.xMm + patch.widthMm / 2,
        yMm: patch.yMm + patch.heightMm / 2,
        value,
        level: value - Math.log(bares[at]!),
        tone: tones[at]!,
        beside: besides[at]!,
        at,
      },
    ];
  });
  const toneShare = slopeBetweenNeighbours(seen);
  const points = seen.map((point) => ({ ...point, value: point.value - toneShare * (point.tone - 1) }));
  if (points.length < GUTTERS_MIN) return undefined;
  const scatter = neighbourScatter(points);
  const reach = Math.max(AGREE_MIN, AGREE * scatter);
  const random = createRandom(points.length);
  let best: readonly SurfacePoint[] = [];
  for (let attempt = 0; attempt < TRIES; attempt++) {
    const few = Array.from({ length: 6 }, () => points[Math.floor(random() * points.length)]!);
    if (new Set(few).size < 6) continue;
    const surface = fitSurface(few, chart);
    const agreeing = points.filter(({ xMm, yMm, value }) => Math.abs(value - surface(xMm, yMm)) <= reach);
    if (agreeing.length > best.length) best = agreeing;
  }
  if (best.length < 6) return undefined;
  let surface = fitSurface(best, chart);
  best = points.filter(({ xMm, yMm, value }) => Math.abs(value - surface(xMm, yMm)) <= reach);
  if (best.length >= 6) surface = fitSurface(best, chart);
  const off = samples.map(() => Number.NaN);
  const offSides = samples.map((): readonly number[] => []);
  for (const { xMm, yMm, value, tone, at } of points) {
    const expected = surface(xMm, yMm);
    off[at] = Math.exp(value - expected) - 1;
    offSides[at] = samples[at]!.gutterSides.map(
      (side) => Math.exp(Math.log(side) - toneShare * (tone - 1) - expected) - 1,
    );
  }
  return { off, offSides, scatter, toneShare };
}

interface GutterPoint extends SurfacePoint {
  /** The value over what the references expect. */
  readonly level: number;
  readonly tone: number;
  readonly beside: number;
  /** Place of the patch in the list. */
  readonly at: number;
}

/** Pairs of each point and the one nearest to it. */
function pairNearest<P extends SurfacePoint>(points: readonly P[]): readonly (readonly [P, P])[] {
  return points.map((point, at) => {
    let nearest = point;
    let least = Number.POSITIVE_INFINITY;
    points.forEach((other, to) => {
      const distance = Math.hypot(other.xMm - point.xMm, other.yMm - point.yMm);
      if (to === at || distance >= least) return;
      least = distance;
      nearest = other;
    });
    return [point, nearest];
  });
}

/**
 * Robust standard deviation of values that vary smoothly over the chart: from the lower quarter of the differences
 * between neighbours, so that the slope of a reflection does not count as scatter.
 */
export function neighbourScatter(points: readonly SurfacePoint[]): number {
  const differences = pairNearest(points).map(([one, other]) => Math.abs(one.value - other.value));
  return quantile(differences, 0.25) / QUARTER_OF_NORMAL / Math.SQRT2;
}

/**
 * Change of a gutter's logarithm with the tone of its patch: median slope between neighbours, which share their light.
 * The tone is the one beside its gutter: a shadow over both would otherwise look like a tone that the gutter shares.
 * Gutters count over the light that references show: where bare patches lie at the edge, as on a dose chart, the fall
 * of light towards it would.
 */
function slopeBetweenNeighbours(points: readonly GutterPoint[]): number {
  const slopes = pairNearest(points).flatMap(([one, other]) => {
    const run = other.beside - one.beside;
    return Math.abs(run) > TONE_STEP_MIN ? [(other.level - one.level) / run] : [];
  });
  return slopes.length > 0 ? median(slopes) : 0;
}
