import { createPchip } from '../numeric/index.ts';
import {
  createPlane,
  lightnessOfReflectance,
  mapSamples,
  ONE,
  type Plane,
  reflectanceOfLightness,
} from '../plane/index.ts';
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
   * `scale`: the photograph's L* 0 … 100 is drawn onto the material's range, nothing is clipped and every step keeps its
   * share. `absolute`: the same L* on the work as in the photograph where the material can reach it, clipped elsewhere.
   */
  readonly range: 'scale' | 'absolute';
  /** With `scale`: straight in L* over the material's own range when absent. */
  readonly aim?: AimCurve;
}

/** Densities beyond this are one: a surface of L* 0 has none. */
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
  return (photo) => lightnessOfReflectance(10 ** -(from + ((to - from) * photo) / 100));
}

/** What a photograph's luminance becomes on the work, for each of its 15-bit values. */
export interface CoverageTable {
  /** Coverage 0 … ONE for luminance 0 … ONE. */
  readonly coverage: Uint16Array;
  /** Wanted CIE L* on the work, after clipping to the material's range. */
  readonly lightness: Float32Array;
  /** The same as relative luminance Y, 0 … 1. */
  readonly reflectance: Float32Array;
  /** Luminance below and above which the material cannot follow: 0 and ONE where nothing is clipped. */
  readonly clipBelow: number;
  readonly clipAbove: number;
  readonly darkest: number;
  readonly lightest: number;
}

const INVERSE_STEP = 4;

/**
 * Table from a photograph's linear luminance to coverage, through the profile. One entry a value of a luminance plane,
 * so the only error is the rounding of coverage: below 0.03 L* for curves of up to 1000 L* per unit of coverage.
 */
export function coverageTable(profile: Pick<Profile, 'points'>, fit: RangeFit): CoverageTable {
  const curve = toneCurveOf(profile);
  const { darkest, lightest } = curve;
  const aimAt = createAim(fit, curve);
  // Own ends are reached and never passed, whatever rounding makes of them.
  const bounded = fit.range === 'absolute' || fit.aim?.darkest !== undefined || fit.aim?.lightest !== undefined;
  const size = ONE + 1;
  const coverage = new Uint16Array(size);
  const lightness = new Float32Array(size);
  const reflectance = new Float32Array(size);
  let clipBelow = 0;
  let clipAbove = ONE;
  let lastValue = 0;
  let lastCoverage = 0;
  for (let value = 0; value < size; value++) {
    let wanted = aimAt(lightnessOfReflectance(value / ONE));
    if (bounded && wanted < darkest) {
      wanted = darkest;
      clipBelow = value + 1;
    } else if (bounded && wanted > lightest) {
      wanted = lightest;
      clipAbove = Math.min(clipAbove, value - 1);
    }
    lightness[value] = wanted;
    reflectance[value] = reflectanceOfLightness(wanted);
    // The inverse is the slow part: at every fourth value and straight between, which moves no tone by 0.01 L*.
    if (value % INVERSE_STEP === 0 || value >= size - INVERSE_STEP) {
      const at = curve.coverageAt(wanted) * ONE;
      const from = value - lastValue;
      for (let i = 1; i < from; i++)
        coverage[lastValue + i] = Math.round(lastCoverage + ((at - lastCoverage) * i) / from);
      coverage[value] = Math.round(at);
      lastValue = value;
      lastCoverage = at;
    }
  }
  return { coverage, lightness, reflectance, clipBelow, clipAbove, darkest, lightest };
}

export interface InverseOptions {
  readonly table: CoverageTable;
  /** Share of each dot that may be marked; the rest stays bare. */
  readonly mask?: Plane<'mask'>;
}

/** Coverage that gives the wanted lightness: the profile's inverse. @throws RangeError when the mask has another size. */
export function invertProfile(luminance: Plane<'luminance'>, { table, mask }: InverseOptions): Plane<'coverage'> {
  const { width, height, data } = luminance;
  const out = createPlane('coverage', width, height);
  const coverage = out.data;
  const of = table.coverage;
  if (!mask) {
    mapSamples(data, coverage, { table: of, width });
    return out;
  }
  refuseOtherSize(luminance, mask);
  const shares = mask.data;
  for (let i = 0; i < data.length; i++) {
    const share = shares[i];
    if (share === 255) coverage[i] = of[data[i]];
    else if (share > 0) coverage[i] = Math.round((of[data[i]] * share) / 255);
  }
  return out;
}

function refuseOtherSize(a: { width: number; height: number }, b: { width: number; height: number }): void {
  if (a.width !== b.width || a.height !== b.height) {
    throw new RangeError(`a mask must have the picture's size ${a.width} × ${a.height}, got ${b.width} × ${b.height}`);
  }
}
