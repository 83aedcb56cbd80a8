import { lightnessOfReflectance } from '../colour/index.ts';
import { power } from '../numeric/index.ts';
import type { ExpectedTone } from './options.ts';

/** Coverages are kept to four decimals: finer than a chart's dots can show. */
export const round4 = (value: number) => Math.round(value * 1e4) / 1e4;

/**
 * Marked area for a coverage while dots overlap at random: 1 − (1 − c)^g, g the area of one mark in dot cells. Assumed:
 * a mark 1.5 dots wide.
 */
const ASSUMED_MARK_CELLS = 1.8;
/**
 * Reflectance of the stronger mark relative to the weaker, a ratio. Assumed: it only spaces the steps of a first chart.
 */
const ASSUMED_CONTRAST = 0.1;

/**
 * Shares by which steps follow lightness, and where the uncertainty of a first chart is known, that; the rest evenly.
 * Assumed: half even leaves no gap where the first curve was wrong.
 */
const FOLLOW = { lightness: 0.5, lightnessBeside: 0.3, uncertainty: 0.5 } as const;

/**
 * Coverages between bare and solid, denser where the tone curve is steep: equal steps along the mean of the share of
 * lightness and the share of coverage, so that no stretch goes without a patch. Where the curve's uncertainty is given,
 * most steps go where lightness is travelled that is badly known. Without a known curve, one with overlapping dots is
 * assumed.
 */
export function spaceCoverages(count: number, expected?: readonly ExpectedTone[]): readonly number[] {
  const lightnessAt =
    expected && expected.length > 1
      ? interpolate(expected.map(({ coverage, lightness }) => [coverage, lightness]))
      : assumedLightness;
  const fine = 1000;
  const along = new Float64Array(fine + 1);
  const rises = Array.from({ length: fine }, (_, i) => Math.abs(lightnessAt((i + 1) / fine) - lightnessAt(i / fine)));
  const sharesOf = (values: readonly number[]) => {
    const sum = values.reduce((total, value) => total + value, 0);
    return (i: number) => (sum > 0 ? values[i]! / sum : 1 / fine);
  };
  const rise = sharesOf(rises);
  const known = expected?.filter((point) => point.halfWidth !== undefined) ?? [];
  const halfAt =
    known.length > 1 ? interpolate(known.map(({ coverage, halfWidth }) => [coverage, halfWidth!])) : undefined;
  const doubt = halfAt && sharesOf(rises.map((one, i) => one * halfAt((i + 0.5) / fine)));
  for (let i = 1; i <= fine; i++) {
    const followed = doubt
      ? FOLLOW.lightnessBeside * rise(i - 1) + FOLLOW.uncertainty * doubt(i - 1)
      : FOLLOW.lightness * rise(i - 1);
    const even = doubt ? 1 - FOLLOW.lightnessBeside - FOLLOW.uncertainty : 1 - FOLLOW.lightness;
    along[i] = along[i - 1]! + followed + even / fine;
  }
  return Array.from({ length: count }, (_, step) => {
    const wanted = ((step + 1) / (count + 1)) * along[fine]!;
    let i = 1;
    while (along[i]! < wanted) i++;
    return round4((i - (along[i]! - wanted) / (along[i]! - along[i - 1]!)) / fine);
  });
}

/** Coverages between bare and solid whose lightness on a known curve is evenly spaced. */
export function spaceByLightness(count: number, expected: readonly ExpectedTone[]): readonly number[] {
  const lightnessAt = interpolate(expected.map(({ coverage, lightness }) => [coverage, lightness]));
  const fine = 1000;
  const along = new Float64Array(fine + 1);
  for (let i = 1; i <= fine; i++)
    along[i] = along[i - 1]! + Math.abs(lightnessAt(i / fine) - lightnessAt((i - 1) / fine));
  return Array.from({ length: count }, (_, step) => {
    const wanted = ((step + 1) / (count + 1)) * along[fine]!;
    return round4(along.findIndex((travelled) => travelled >= wanted) / fine);
  });
}

function assumedLightness(coverage: number): number {
  const area = 1 - power(1 - coverage, ASSUMED_MARK_CELLS);
  return lightnessOfReflectance(1 - area + ASSUMED_CONTRAST * area);
}

function interpolate(points: readonly (readonly [coverage: number, value: number])[]) {
  const sorted = points.slice().sort((a, b) => a[0] - b[0]);
  return (coverage: number): number => {
    const above = sorted.findIndex((point) => point[0] >= coverage);
    if (above <= 0) return sorted.at(above)![1];
    const [a, b] = [sorted[above - 1]!, sorted[above]!];
    return a[1] + ((coverage - a[0]) / (b[0] - a[0])) * (b[1] - a[1]);
  };
}
