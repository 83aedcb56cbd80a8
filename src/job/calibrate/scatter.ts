import type { ChartLayout, Readings } from '../../chart/index.ts';
import { lightnessOfReflectance, reflectanceOfLightness } from '../../colour/index.ts';
import { invertPositiveDefinite, mean } from '../../numeric/index.ts';
import { roundTo } from '../page/html.ts';

/** Where equal patches of one chart get their differences from. */
export type ScatterCause = 'place' | 'order' | 'grain' | 'camera' | 'rest';

export interface ScatterPart {
  readonly cause: ScatterCause;
  /** Share of the variance between equal patches, 0 … 1; null where one capture cannot tell. */
  readonly share: number | null;
  /** The same as a standard deviation, ΔL*. */
  readonly deviationL: number | null;
  /** Mean square of the terms over that of the rest; only for place and order. Above 2.8 it is seldom chance (5 %). */
  readonly ratio?: number;
}

/** Analysis of variance between equal patches. */
export interface ScatterAnalysis {
  /** Replicates less tones: what the variance is estimated from. */
  readonly degreesOfFreedom: number;
  /** Standard deviation between equal patches, ΔL*. */
  readonly totalL: number;
  readonly parts: readonly ScatterPart[];
  /**
   * Smooth part of the differences over the chart, at `mapColumns` × `mapRows` places: how far tones are off there,
   * root mean square of lighter and darker tones, ΔL*. A mark out of focus is wider and weaker, so light tones and dark
   * ones go opposite ways.
   */
  readonly map: readonly number[];
  readonly mapColumns: number;
  readonly mapRows: number;
  /** Largest of the map. */
  readonly mostL: number;
  /** How large it is, and then why. */
  readonly sentences: readonly string[];
  readonly reasons: readonly string[];
}

interface ScatterCapture {
  readonly readings: Pick<Readings, 'readings' | 'bare' | 'solidRatio' | 'direction'>;
}

/**
 * Fewer degrees of freedom say nothing about five parts. And squares of the map, counts. Assumed: four degrees a part;
 * squares of about 5 mm on a card.
 */
const LEAST_DEGREES_OF_FREEDOM = 20;
const MAP = { columns: 16, rows: 10 } as const;
/**
 * Quantile of 95 % of F for 4 to 6 and some thirty degrees of freedom, rounded up. A ratio. Exact: as F's tables say,
 * rounded up.
 */
const BEYOND_CHANCE = 2.8;
/**
 * Tones for which the map is drawn, shares of the half range from its middle. Assumed: five evenly over the range,
 * without its ends.
 */
const MAP_TONES: readonly number[] = [-0.7, -0.35, 0, 0.35, 0.7];
/**
 * Blocks of a patch between which the reader takes the spread; on a coarse capture there are fewer, and grain counts
 * for more. A count. Exact: the reader's 6 × 6.
 */
const BLOCKS_IN_PATCH = 36;

interface Difference {
  readonly group: number;
  /** −1 … 1 over the range of the tones, over the chart and over the burn. */
  readonly tone: number;
  readonly x: number;
  readonly y: number;
  readonly time: number;
  /** L* towards a stronger mark. */
  readonly lightness: number;
  /** Variance that graininess inside the patch gives its mean, ΔL*². */
  readonly grain: number;
}

/**
 * How much of the scatter between equal patches is place on the piece, burn order, grain of the material and camera.
 * Fixed effects for the tones; a smooth surface across the chart for place and a smooth course over the burn for order,
 * each of which may act otherwise on light tones than on dark ones, taken one after the other; each is credited with
 * what it explains beyond chance. A chart burns from top to bottom, so whatever changes along y counts as order: a
 * second chart, turned by 180°, tells the two apart. Bare and solid are left out: the light was levelled by them.
 * @returns undefined when too few tones are repeated to tell.
 */
export function analyseScatter(captures: readonly ScatterCapture[], layout: ChartLayout): ScatterAnalysis | undefined {
  const sign = captures[0]!.readings.direction === 'lighter' ? 1 : -1;
  const perCapture = captures.map(({ readings }) => listDifferences(readings, { layout, sign }));
  const ids = [...perCapture[0]!.keys()].filter((id) => perCapture.every((one) => one.has(id)));
  const all = ids.map((id): Difference => {
    const seen = perCapture.map((one) => one.get(id)!);
    const grain = mean(seen.map((one) => one.grain));
    return { ...seen[0]!, lightness: mean(seen.map((one) => one.lightness)), grain };
  });
  const sizes = new Map<number, number>();
  for (const { group } of all) sizes.set(group, (sizes.get(group) ?? 0) + 1);
  const patches = all.filter(({ group }) => sizes.get(group)! > 1);
  const groups = new Set(patches.map(({ group }) => group)).size;
  const degreesOfFreedom = patches.length - groups;
  if (degreesOfFreedom < LEAST_DEGREES_OF_FREEDOM) return undefined;

  const centre = (values: readonly number[]) => centreByGroup(values, patches);
  const values = centre(patches.map(({ lightness }) => lightness));
  const total = sumSquares(values) / degreesOfFreedom;
  const termsOf = (list: readonly Term[]) => list.map((term) => centre(patches.map(term)));
  const place = termsOf(withTone([({ x }) => x, ({ x }) => x * x, ({ x, y }) => x * y]));
  const order = termsOf(withTone([({ time }) => time, ({ time }) => time * time]));
  const explained = explainInTurn(values, [place, order]);
  const left = Math.max(0, sumSquares(values) - explained[0]! - explained[1]!);
  const leftDegreesOfFreedom = Math.max(1, degreesOfFreedom - place.length - order.length);
  const noise = left / leftDegreesOfFreedom;
  const beyond = (sum: number, terms: number) => Math.max(0, sum - terms * noise) / degreesOfFreedom;
  const ofPlace = beyond(explained[0]!, place.length);
  const ofOrder = beyond(explained[1]!, order.length);
  const remaining = Math.max(0, total - ofPlace - ofOrder);
  const ofCamera = captures.length > 1 ? Math.min(remaining, varyBetween(perCapture, ids) / captures.length) : null;
  const inPatch = mean(patches.map((one) => one.grain));
  const ofGrain = Math.min(remaining - (ofCamera ?? 0), Math.max(0, inPatch - (ofCamera ?? 0)));
  const ofRest = Math.max(0, remaining - (ofCamera ?? 0) - ofGrain);
  const part = (cause: ScatterCause, variance: number | null, ratio?: number): ScatterPart => ({
    cause,
    share: variance === null ? null : total > 0 ? variance / total : 0,
    deviationL: variance === null ? null : Math.sqrt(variance),
    ...(ratio === undefined ? {} : { ratio }),
  });
  const ratio = (sum: number, terms: number) => (noise > 0 ? sum / terms / noise : 0);
  const parts = [
    part('place', ofPlace, ratio(explained[0]!, place.length)),
    part('order', ofOrder, ratio(explained[1]!, order.length)),
    part('grain', ofGrain),
    part('camera', ofCamera),
    part('rest', ofRest),
  ];
  const map = fitMap(values, patches);
  const mostL = Math.max(...map);
  const analysis = {
    degreesOfFreedom,
    totalL: Math.sqrt(total),
    parts,
    map,
    mapColumns: MAP.columns,
    mapRows: MAP.rows,
    mostL,
  };
  const reasons = writeReasons(analysis);
  const size = `Equal patches differ by ${roundTo(analysis.totalL, 2)} L* (standard deviation).`;
  return { ...analysis, sentences: [size, ...reasons], reasons };
}

type Term = (one: Pick<Difference, 'x' | 'y' | 'time' | 'tone'>) => number;

/** Terms that act on all tones alike, then the same as they act on light and dark ones in opposite ways. */
const withTone = (terms: readonly Term[]): readonly Term[] => [
  ...terms,
  ...terms.map(
    (term): Term =>
      (one) =>
        one.tone * term(one),
  ),
];

function listDifferences(
  { readings, bare, solidRatio }: ScatterCapture['readings'],
  { layout, sign }: { readonly layout: ChartLayout; readonly sign: number },
): Map<string, Difference> {
  const names = [...new Set(readings.map(({ group }) => group))];
  const bareY = reflectanceOfLightness(bare[0]);
  const lightnessOf = (ratio: number) => lightnessOfReflectance(Math.max(0, ratio) * bareY);
  const last = Math.max(1, ...layout.patches.map((patch) => patch.order));
  const found = new Map<string, Difference>();
  const half = (lightnessOf(solidRatio) - bare[0]) / 2;
  const meanOf = new Map(
    names.map((name) => [name, mean(readings.filter(({ group }) => group === name).map((one) => one.mean))]),
  );
  for (const { id, role, group, mean: ratio, spread, xMm, yMm, order } of readings) {
    if (role === 'bare' || role === 'solid') continue;
    const slope = (lightnessOf(ratio * 1.01) - lightnessOf(ratio * 0.99)) / (0.02 * ratio);
    found.set(id, {
      group: names.indexOf(group),
      tone: (lightnessOf(meanOf.get(group)!) - bare[0]) / half - 1,
      x: (2 * xMm) / layout.widthMm - 1,
      y: (2 * yMm) / layout.heightMm - 1,
      time: (2 * order) / last - 1,
      lightness: sign * lightnessOf(ratio),
      grain: (slope * spread) ** 2 / BLOCKS_IN_PATCH,
    });
  }
  return found;
}

function centreByGroup(values: readonly number[], patches: readonly Difference[]): Float64Array {
  const sums = new Map<number, { sum: number; count: number }>();
  patches.forEach(({ group }, at) => {
    const known = sums.get(group) ?? { sum: 0, count: 0 };
    sums.set(group, { sum: known.sum + values[at]!, count: known.count + 1 });
  });
  return Float64Array.from(values, (value, at) => {
    const { sum, count } = sums.get(patches[at]!.group)!;
    return value - sum / count;
  });
}

const sumSquares = (values: Float64Array) => values.reduce((sum, value) => sum + value * value, 0);
const dot = (a: Float64Array, b: Float64Array) => a.reduce((sum, value, at) => sum + value * b[at]!, 0);

/** Sums of squares that each block of terms explains beyond those before it: Gram and Schmidt's orthogonal terms. */
function explainInTurn(values: Float64Array, blocks: readonly (readonly Float64Array[])[]): number[] {
  const basis: Float64Array[] = [];
  return blocks.map((terms) => {
    let explained = 0;
    for (const term of terms) {
      const rest = Float64Array.from(term);
      for (const one of basis) {
        const share = dot(rest, one);
        for (let i = 0; i < rest.length; i++) rest[i] -= share * one[i]!;
      }
      const length = Math.sqrt(sumSquares(rest));
      if (!(length > 1e-9 * Math.sqrt(sumSquares(term)))) continue;
      for (let i = 0; i < rest.length; i++) rest[i] /= length;
      basis.push(rest);
      explained += dot(rest, values) ** 2;
    }
    return explained;
  });
}

/** Variance of one patch between captures, after what captures differ by as a whole, ΔL*². */
function varyBetween(captures: readonly ReadonlyMap<string, Difference>[], ids: readonly string[]): number {
  const whole = captures.map((one) => mean(ids.map((id) => one.get(id)!.lightness)));
  let squares = 0;
  for (const id of ids) {
    const values = captures.map((one, at) => one.get(id)!.lightness - whole[at]!);
    const centre = mean(values);
    squares += values.reduce((sum, value) => sum + (value - centre) ** 2, 0);
  }
  return squares / (Math.max(1, ids.length - 1) * (captures.length - 1));
}

/** Quadratic surface through the differences, for light and dark tones, at the middles of the map's cells. */
function fitMap(values: Float64Array, patches: readonly Difference[]): number[] {
  const terms = withTone([({ x }) => x, ({ y }) => y, ({ x }) => x * x, ({ x, y }) => x * y, ({ y }) => y * y]);
  const columns = terms.map((term) => centreByGroup(patches.map(term), patches));
  const inverse = invertPositiveDefinite(columns.map((a) => columns.map((b) => dot(a, b))))?.inverse;
  const right = columns.map((column) => dot(column, values));
  const weights = inverse?.map((row) => row.reduce((sum, value, at) => sum + value * right[at]!, 0));
  const squares = new Float64Array(MAP.columns * MAP.rows);
  if (!weights) return [...squares];
  for (const tone of MAP_TONES) {
    const heights = Float64Array.from(squares, (_, at) => {
      const x = (2 * ((at % MAP.columns) + 0.5)) / MAP.columns - 1;
      const y = (2 * (Math.floor(at / MAP.columns) + 0.5)) / MAP.rows - 1;
      return terms.reduce((sum, term, i) => sum + weights[i]! * term({ x, y, time: y, tone }), 0);
    });
    const middle = mean(heights);
    for (let i = 0; i < squares.length; i++) squares[i] += (heights[i] - middle) ** 2 / MAP_TONES.length;
  }
  return [...squares.map(Math.sqrt)];
}

const NAMES: Readonly<Record<ScatterCause, string>> = {
  place: 'place across the piece',
  order: 'burn order, or place down the piece',
  grain: 'grain of the material',
  camera: 'camera',
  rest: 'what is left',
};

/** A part in words. */
export const nameScatterCause = (cause: ScatterCause): string => NAMES[cause];

function writeReasons({ parts, mostL }: Pick<ScatterAnalysis, 'parts' | 'mostL'>): string[] {
  const found = (cause: ScatterCause) => parts.find((part) => part.cause === cause)!;
  const said: string[] = [];
  const real = (cause: 'place' | 'order') => {
    const { ratio = 0, share } = found(cause);
    return ratio > BEYOND_CHANCE && (share ?? 0) > 0.1;
  };
  if (real('place') || real('order')) {
    const ways = [...(real('place') ? ['across'] : []), ...(real('order') ? ['down'] : [])].join(' and ');
    said.push(
      `Part of it runs ${ways} the piece: tones are off by up to ${roundTo(mostL, 1)} L* there. Look whether the piece lies level and in focus everywhere.`,
    );
  } else said.push('That follows neither place nor burn order beyond chance.');
  if (real('order')) {
    said.push(
      'Down the piece is also the order of burning: a laser that warms up looks the same as a tilt. A second chart turned by 180° tells them apart.',
    );
  }
  if (found('camera').share === null) {
    said.push('One capture cannot tell the camera’s part: scan the piece again, turned by 180°, and give both.');
  }
  const { deviationL } = found('grain');
  if ((found('grain').share ?? 0) > 0.25 && deviationL! > 0.2) {
    said.push(
      `Grain alone gives ± ${roundTo(deviationL!, 2)} L* to a patch: a coarser screen hides in it, more replicates average it.`,
    );
  }
  return said;
}
