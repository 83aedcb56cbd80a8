import { lightnessOfReflectance, reflectanceOfLightness } from '../colour/index.ts';
import { createPchip, power, tabulate } from '../numeric/index.ts';
import { applyMask, createPlane, mapSamples, ONE, type Plane } from '../plane/index.ts';
import type { AimCurve, Profile, TonePoint } from './types.ts';

/** Lightness against coverage, both ways. */
export interface ToneCurve {
  /** CIE L* at the darkest and the lightest coverage. */
  readonly darkest: number;
  readonly lightest: number;
  /** CIE L* of a coverage 0 … 1. */
  readonly lightnessAt: (coverage: number) => number;
  /** Coverage 0 … 1 that gives a CIE L*; outside the range the nearer end's. */
  readonly coverageAt: (lightness: number) => number;
}

/** The tone curve of a profile: a monotone cubic through its points. */
export function toneCurveOf({ points }: { readonly points: readonly TonePoint[] }): ToneCurve {
  const curve = createPchip(
    points.map((point) => point.coverage),
    points.map((point) => point.lightness),
  );
  const ends = [points[0].lightness, points[points.length - 1].lightness];
  return {
    darkest: Math.min(...ends),
    lightest: Math.max(...ends),
    lightnessAt: curve.valueAt,
    coverageAt: curve.inverseAt,
  };
}

export interface RangeFit {
  /**
   * `scale`: the photograph's L* 0 … 100 is drawn onto the material's range, nothing is clipped and every step keeps
   * its share. `absolute`: the same L* on the work as in the photograph where the material can reach it, clipped
   * elsewhere.
   */
  readonly range: 'scale' | 'absolute';
  /** With `scale`: straight in L* over the material's own range when absent. */
  readonly aim?: AimCurve;
}

export interface TableOptions extends RangeFit {
  /** Less coverage than this stays bare, 0 … 1; all of it is kept when absent. */
  readonly bareBelow?: number;
}

/** Coverage from which nothing is missing any more, over what stays bare. A factor. Assumed: no edge shows. */
const BARE_EDGE = 1.5;

/** Densities beyond this, without unit, are one. Assumed: a surface of L* 0 has none, and no engraving reaches 4. */
const DENSITY_MAX = 4;
const densityOf = (lightness: number) => Math.min(DENSITY_MAX, -Math.log10(reflectanceOfLightness(lightness)));

/** Wanted CIE L* on the work of a photograph's L* 0 … 100, before anything is cut off at the material's range. */
export function createAim(
  { range, aim }: RangeFit,
  own: Pick<ToneCurve, 'darkest' | 'lightest'>,
): (photoLightness: number) => number {
  if (range === 'absolute') return (photo) => photo;
  const { scale = 'lightness', darkest = own.darkest, lightest = own.lightest } = aim ?? {};
  if (scale === 'lightness') return (photo) => darkest + ((lightest - darkest) * photo) / 100;
  const [from, to] = [densityOf(darkest), densityOf(lightest)];
  return (photo) => lightnessOfReflectance(power(10, -(from + ((to - from) * photo) / 100)));
}

/** What a photograph's luminance becomes on the work, for each of its 15-bit values. */
export interface CoverageTable {
  /** Coverage 0 … ONE for luminance 0 … ONE. */
  readonly coverage: Uint16Array;
  /** Wanted CIE L* on the work, after clipping to the material's range. */
  readonly lightness: Float32Array;
  /**
   * The same as relative luminance Y, 0 … 1; worked out when it is first asked for, which a bitmap alone never does.
   */
  readonly reflectance: Float32Array;
  /** Luminance below and above which the material cannot follow: 0 and ONE where nothing is clipped. */
  readonly clipBelow: number;
  readonly clipAbove: number;
  readonly darkest: number;
  readonly lightest: number;
}

/**
 * Table from a photograph's linear luminance to coverage, through the profile. One entry a value of a luminance plane.
 * The curve is read at 4097 coverages and straight between, so that no inverse has to be searched for; beside the
 * rounding of coverage that moves no tone by 0.01 L*, on a curve as steep as 1000 L* per unit of coverage.
 */
export function coverageTable(profile: Pick<Profile, 'points'>, fit: TableOptions): CoverageTable {
  const curve = toneCurveOf(profile);
  const { darkest, lightest } = curve;
  const aimAt = createAim(fit, curve);
  // Own ends are reached and never passed, whatever rounding makes of them.
  const bounded = fit.range === 'absolute' || fit.aim?.darkest !== undefined || fit.aim?.lightest !== undefined;
  const size = ONE + 1;
  const lightness = new Float32Array(size);
  let clipBelow = 0;
  let clipAbove = ONE;
  for (let value = 0; value < size; value++) {
    const wanted = aimAt(lightnessOfReflectance(value / ONE));
    lightness[value] = wanted;
    if (!bounded) continue;
    if (wanted < darkest) clipBelow = value + 1;
    else if (wanted > lightest) clipAbove = Math.min(clipAbove, value - 1);
  }
  if (bounded) {
    lightness.fill(darkest, 0, clipBelow);
    lightness.fill(lightest, clipAbove + 1);
  }
  const coverage = invertCurve(profile.points, lightness);
  if (fit.bareBelow) leaveBare(coverage, lightness, { curve, bareBelow: fit.bareBelow });
  let reflectance: Float32Array | undefined;
  return {
    coverage,
    lightness,
    get reflectance() {
      reflectance ??= lightness.map(reflectanceOfLightness);
      return reflectance;
    },
    clipBelow,
    clipAbove,
    darkest,
    lightest,
  };
}

/**
 * Single dots strewn over what should be bare are dust, and no tone: below `bareBelow` there are none, and up to
 * BARE_EDGE times as much they grow to what was asked, so that no edge shows. The wanted lightness goes along.
 */
function leaveBare(
  coverage: Uint16Array,
  lightness: Float32Array,
  { curve, bareBelow }: { readonly curve: ToneCurve; readonly bareBelow: number },
): void {
  for (let value = 0; value < coverage.length; value++) {
    const share = coverage[value] / ONE;
    if (share === 0 || share >= BARE_EDGE * bareBelow) continue;
    const way = Math.max(0, (share - bareBelow) / (BARE_EDGE * bareBelow - bareBelow));
    coverage[value] = Math.round(ONE * share * way);
    lightness[value] = curve.lightnessAt(share * way);
  }
}

/** Steps of the inverse's table, a count. Assumed: finer than the 1/100 L* that profiles are held to. */
const CURVE_STEPS = 4096;

/** Coverage 0 … ONE for rising values of lightness, between the first and the last point. */
export function invertCurve(points: readonly TonePoint[], wanted: Float32Array): Uint16Array {
  const { lightnessAt } = toneCurveOf({ points });
  const first = points[0].coverage;
  const step = (points[points.length - 1].coverage - first) / CURVE_STEPS;
  const curve = tabulate(new Float64Array(CURVE_STEPS + 1), (at) => lightnessAt(first + at * step));
  // From bare on, or from solid back: the way on which the curve gets lighter.
  const by = curve[CURVE_STEPS] > curve[0] ? 1 : -1;
  const end = by > 0 ? CURVE_STEPS : 0;
  const coverage = new Uint16Array(wanted.length);
  let at = CURVE_STEPS - end;
  for (let value = 0; value < wanted.length; value++) {
    while (at !== end && curve[at + by] <= wanted[value]) at += by;
    const part = at === end ? 0 : Math.max(0, (wanted[value] - curve[at]) / (curve[at + by] - curve[at]));
    coverage[value] = Math.round(ONE * (first + step * (at + by * part)));
  }
  return coverage;
}

export interface InverseOptions {
  readonly table: CoverageTable;
  /** Share of each dot that may be marked; the rest stays bare. */
  readonly mask?: Plane<'mask'>;
}

/**
 * Coverage that gives the wanted lightness: the profile's inverse. @throws RangeError when the mask has another size.
 */
export function invertProfile(luminance: Plane<'luminance'>, { table, mask }: InverseOptions): Plane<'coverage'> {
  const { width, height, data } = luminance;
  const out = createPlane('coverage', width, height);
  mapSamples(data, out.data, { table: table.coverage });
  if (!mask) return out;
  refuseOtherSize(luminance, mask);
  applyMask(out, mask);
  return out;
}

function refuseOtherSize(a: { width: number; height: number }, b: { width: number; height: number }): void {
  if (a.width !== b.width || a.height !== b.height) {
    throw new RangeError(`a mask must have the picture's size ${a.width} × ${a.height}, got ${b.width} × ${b.height}`);
  }
}
