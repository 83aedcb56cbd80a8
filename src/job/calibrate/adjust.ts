import { AppError } from '../../errors.ts';
import {
  adjustSurface,
  knowsLevels,
  levelsOfScreen,
  type Profile,
  type ProfileAdjustment,
  type TonePoint,
  takeRoad,
  toneCurveOf,
} from '../../material/index.ts';
import { createPchip, invertPositiveDefinite, mean, NORMAL_95 } from '../../numeric/index.ts';
import { roundTo } from '../page/html.ts';
import { keepHalftones, predictCurve } from '../request/curve.ts';
import { type Check, DRIFT_LIMITS } from './check.ts';
import type { DriftPatch } from './verification.ts';

/**
 * What is believed before a strip is read. Standard deviations. Assumed: a day moves the power that arrives by a fifth
 * and the width of a dot by a twentieth, what the response model leaves of a change is half an L*, alike over a third
 * of the range, and two patches of one tone are read to a quarter of an L* at best.
 */
const PRIOR = { lnDose: 0.2, lnWidth: 0.05, leftL: 0.5, leftLength: 0.35, leastNoiseL: 0.25 } as const;
/**
 * A change beyond which a strip's few tones do not stand for a curve: factors either way. Assumed: more dose than this
 * is another setting, and a dot wider than this is another focus.
 */
const LARGEST = { dose: 1.5, width: 1.2 } as const;
/** What a strip's reading makes of a profile: how far it was off, and how well it is known afterwards. */
export interface Adjustment {
  readonly profile: Profile;
  readonly adjusted: ProfileAdjustment;
  /** Of the strip's tones and its solid, |ΔL*|: as the profile has them, and each by the others after the change. */
  readonly before: { readonly meanDelta: number; readonly worstDelta: number };
  readonly after: { readonly meanDelta: number; readonly worstDelta: number };
  /** Half the 95 % interval of the tone curve, mean over it, ΔL*: with the strip's drift unknown, and after it. */
  readonly halfBefore: number;
  readonly halfAfter: number;
  readonly sentences: readonly string[];
}

/**
 * Adjusts a profile to the day by one control strip, instead of learning it anew: the factors of dose and dot width
 * that explain what the strip's tones have become, by the profile's own response model, and what those leave, smoothed
 * over the range as far as the strip can tell it from its own scatter.
 * @throws AppError adjust-impossible where the stock or the capture moved, not the beam, or nothing explains the strip
 */
export function adjustProfile(
  profile: Profile,
  { check, date }: { readonly check: Check; readonly date: string },
): Adjustment {
  refuseOtherStock(check, profile);
  const { grid, screen } = check.located.layout;
  // The beam moves both roads of a profile, and a strip tells of one of them.
  const told = takeRoad(profile, levelsOfScreen(screen));
  const { levels: _levels, ...dots } = profile;
  const roads = [dots, ...(profile.levels ? [takeRoad(profile, profile.levels.count)] : [])];
  const day = readDay(told, { check, halftone: { grid, screen } });
  const { dose, width, before, after } = day;
  const [ofDots, ofLevels] = roads.map((road) => carryRoad(road, { day, isTold: sameRoad(road, told), check }));
  const ofTold = sameRoad(dots, told) ? ofDots! : ofLevels!;
  const surface = adjustSurface(profile, { dose, width });
  const adjusted: ProfileAdjustment = {
    from: profile.adjusted?.from ?? profile.name,
    date,
    chart: check.chart.hash,
    doseFactor: day.interval(dose, 0),
    widthFactor: day.interval(width, 1),
  };
  const { band } = ofDots!;
  const ownHalf = told.fit
    ? mean(told.fit.band.map(({ low, high }) => (high - low) / 2))
    : NORMAL_95 * profile.repeatability;
  const halfBefore = Math.hypot(ownHalf, NORMAL_95 * Math.sqrt(mean(day.told.map(({ delta }) => delta * delta))));
  const halfAfter = ofTold.band
    ? mean(ofTold.band.map(({ low, high }) => (high - low) / 2))
    : Math.hypot(
        ownHalf,
        NORMAL_95 *
          mean(told.points.map(({ coverage, lightness }) => day.deviationAt(coverage, shareOf(lightness, profile)))),
      );
  return {
    profile: {
      ...profile,
      name: `${profile.adjusted?.from ?? profile.name}-${date}`,
      title: `${profile.title.replace(/, adjusted \d{4}-\d\d-\d\d$/, '')}, adjusted ${date}`,
      full: [day.full, surface.full[1], surface.full[2]],
      points: ofDots!.points,
      response: surface.response,
      note: `${profile.note} Adjusted on ${date} by strip ${check.chart.hash}.`.trim(),
      ...(profile.fit && band ? { fit: { ...profile.fit, band } } : {}),
      adjusted,
      ...(profile.levels && ofLevels
        ? {
            levels: {
              ...profile.levels,
              points: ofLevels.points,
              fit: { ...profile.levels.fit, ...(ofLevels.band ? { band: ofLevels.band } : {}) },
            },
          }
        : {}),
    },
    adjusted,
    before,
    after,
    halfBefore,
    halfAfter,
    sentences: [
      `By this strip the same settings give ${sayFactor(adjusted.doseFactor)} times the dose, in dots ${sayFactor(adjusted.widthFactor)} times as wide.`,
      `Tones were off by ${roundTo(before.meanDelta, 1)} L* in the mean and ${roundTo(before.worstDelta, 1)} at worst; each tone of the strip, foretold by the others after the change, is off by ${roundTo(after.meanDelta, 1)} and ${roundTo(after.worstDelta, 1)}.`,
      `95 % of patches burned today should lie within ± ${roundTo(halfAfter, 1)} L* of the adjusted curve; within ± ${roundTo(halfBefore, 1)} of the one before.`,
    ],
  };
}

const sameRoad = (a: Profile, b: Profile) => knowsLevels(a) === knowsLevels(b);

/** What a strip tells of the day, on the road that it was burned on. */
function readDay(
  profile: Profile,
  { check, halftone }: { readonly check: Check; readonly halftone: Parameters<typeof predictCurve>[1] },
) {
  const told = check.patches.filter(({ role }) => role !== 'bare');
  const noise = told.map((patch) => noiseOf(patch, profile));
  const shiftOf = createShift(profile, halftone);
  const { factors, covariance, beyond, slopes, explained } = fitBeam(shiftOf, { told, noise });
  const { dose, width } = factors;
  const left = told.map(({ coverage, delta }) => delta - explained(coverage));
  const places = told.map(({ expected }) => shareOf(expected, profile));
  const smooth = smoothLeft(places, { left, noise });
  const remaining = sizesOf(left.map((value, at) => value - smooth.valueAt(places[at]!)));
  const { holdsMean, holdsWorst } = DRIFT_LIMITS;
  const holds = remaining.meanDelta <= holdsMean * check.unit && remaining.worstDelta <= holdsWorst * check.unit;
  if (beyond || !holds) {
    throw new AppError(
      'adjust-impossible',
      `${profile.name}: found a strip that no change of dose and dot width explains (dose × ${roundTo(dose, 2)}, width × ${roundTo(width, 2)}, up to ${roundTo(remaining.worstDelta, 1)} L* left), needed one that the beam alone has moved; learn the material again`,
      { dose, width },
    );
  }
  const solid = check.patches.find(({ role }) => role === 'solid')!;
  return {
    told,
    dose,
    width,
    smooth,
    explained,
    curve: toneCurveOf(profile),
    full: solid.expected + explained(1) + smooth.valueAt(1),
    before: sizesOf(told.map(({ delta }) => delta)),
    after: sizesOf(leaveEachOut(places, { left, noise })),
    deviationAt: (coverage: number, share: number) => {
      const [a, b] = slopes.map((slope) => slope(coverage)) as [number, number];
      const [[aa, ab], [, bb]] = covariance as [[number, number], [number, number]];
      return Math.sqrt(Math.max(0, a * a * aa + 2 * a * b * ab + b * b * bb) + smooth.varianceAt(share));
    },
    interval: (value: number, which: 0 | 1): readonly [number, number, number] => {
      const reach = Math.exp(NORMAL_95 * Math.sqrt(covariance[which]![which]!));
      return [round4(value), round4(value / reach), round4(value * reach)];
    },
  };
}

/** Curve and band of one road as the day has them. */
function carryRoad(
  road: Profile,
  { day, isTold, check }: { readonly day: ReturnType<typeof readDay>; readonly isTold: boolean; readonly check: Check },
): {
  readonly points: TonePoint[];
  readonly band: readonly { coverage: number; low: number; high: number }[] | undefined;
} {
  const { dose, width, smooth, explained } = day;
  // On its own screen and grid, whatever the strip's were.
  const own = isTold && check.curve === 'measured' ? explained : createShift(road, road)(dose, width);
  const curve = toneCurveOf(road);
  const shifted = (coverage: number) => {
    const lightness = curve.lightnessAt(coverage);
    const share = shareOf(lightness, road);
    // Bare stays: the beam does not touch it.
    return lightness + own(coverage) + smooth.valueAt(share) * leaveBare(share);
  };
  // Of the other road, the same lightness on the strip's.
  const onTold = (coverage: number) => (isTold ? coverage : day.curve.coverageAt(curve.lightnessAt(coverage)));
  const band = road.fit?.band.map(({ coverage, low, high }) => {
    const middle = shifted(coverage);
    const half = Math.hypot(
      (high - low) / 2,
      NORMAL_95 * day.deviationAt(onTold(coverage), shareOf(curve.lightnessAt(coverage), road)),
    );
    const inside = (value: number) => Math.min(100, Math.max(0, value));
    return { coverage, low: inside(middle - half), high: inside(middle + half) };
  });
  const points = keepOrder(
    road.points.map(({ coverage, spread }) => ({ coverage, lightness: shifted(coverage), spread })),
    road.direction === 'lighter' ? 1 : -1,
  );
  return { points, band };
}

function refuseOtherStock({ cause, sentences, patches }: Check, profile: Profile): void {
  if (cause !== 'batch' && cause !== 'capture' && patches.some(({ role }) => role === 'tone')) return;
  throw new AppError(
    'adjust-impossible',
    `${profile.name}: found a strip whose bare surface moved, too, needed one that the beam alone has moved. ${sentences.slice(1).join(' ')}`,
    { cause },
  );
}

const noiseOf = ({ deltas }: DriftPatch, { repeatability }: Profile) =>
  Math.max(PRIOR.leastNoiseL, repeatability) / Math.sqrt(Math.max(1, deltas.length));

/** Where a lightness lies between bare, 0, and full, 1. */
const shareOf = (lightness: number, { bare, full }: Profile) => (lightness - bare[0]) / (full[0] - bare[0]);

type Shift = (coverage: number) => number;

/** How lightness of a coverage changes with dose and width, ΔL*, by the response model for a screen and a grid. */
function createShift(
  profile: Profile,
  halftone: Parameters<typeof predictCurve>[1],
): (dose: number, width: number) => Shift {
  const dots = keepHalftones(halftone);
  const at = (dose: number, width: number) => {
    const tones = predictCurve(adjustSurface(profile, { dose, width }), halftone, { halftone: dots });
    const curve = createPchip(
      tones.map(({ coverage }) => coverage),
      tones.map(({ lightness }) => lightness),
    );
    return (coverage: number) => curve.valueAt(coverage);
  };
  const base = at(1, 1);
  return (dose, width) => {
    const changed = at(dose, width);
    return (coverage) => changed(coverage) - base(coverage);
  };
}

/** Step of a numerical derivative, in the logarithm of a factor. Assumed: a fiftieth is straight and no noise. */
const SLOPE_STEP = 0.02;
/** Steps of Gauss and Newton, a count. Assumed: tones are nearly straight in the logarithms of both factors. */
const NEWTON_STEPS = 2;

interface FittedBeam {
  readonly factors: { readonly dose: number; readonly width: number };
  /** Of the logarithms of dose and width. */
  readonly covariance: readonly (readonly number[])[];
  /** A factor lies beyond what a strip can stand for. */
  readonly beyond: boolean;
  /** Change of lightness by the logarithm of dose, and of width, ΔL*. */
  readonly slopes: readonly [Shift, Shift];
  readonly explained: Shift;
}

/** Dose and width by least squares over the strip's tones and what is believed beforehand, in few curves. */
function fitBeam(
  shiftOf: (dose: number, width: number) => Shift,
  { told, noise }: { readonly told: readonly DriftPatch[]; readonly noise: readonly number[] },
): FittedBeam {
  const priors = [PRIOR.lnDose, PRIOR.lnWidth];
  const weights = noise.map((one) => 1 / (one ** 2 + PRIOR.leftL ** 2));
  let logs: readonly [number, number] = [0, 0];
  let explained: Shift = () => 0;
  let slopes: readonly [Shift, Shift] = [explained, explained];
  let covariance: readonly (readonly number[])[] = [];
  for (let step = 0; step < NEWTON_STEPS; step++) {
    const [lnDose, lnWidth] = logs;
    const now = explained;
    const slopeOf =
      (moved: Shift): Shift =>
      (coverage) =>
        (moved(coverage) - now(coverage)) / SLOPE_STEP;
    slopes = [
      slopeOf(shiftOf(Math.exp(lnDose + SLOPE_STEP), Math.exp(lnWidth))),
      slopeOf(shiftOf(Math.exp(lnDose), Math.exp(lnWidth + SLOPE_STEP))),
    ];
    const sum = (of: (patch: DriftPatch) => number) =>
      told.reduce((total, patch, at) => total + weights[at]! * of(patch), 0);
    const normal = slopes.map((a, i) =>
      slopes.map((b, j) => sum(({ coverage }) => a(coverage) * b(coverage)) + (i === j ? 1 / priors[i]! ** 2 : 0)),
    );
    covariance = invertPositiveDefinite(normal)!.inverse;
    const pull = slopes.map(
      (slope, i) =>
        sum(({ coverage, delta }) => slope(coverage) * (delta - now(coverage))) - logs[i]! / priors[i]! ** 2,
    );
    const by = covariance.map((row) => row[0]! * pull[0]! + row[1]! * pull[1]!);
    logs = [lnDose + by[0]!, lnWidth + by[1]!];
    if (Math.abs(logs[0]) > Math.log(LARGEST.dose) || Math.abs(logs[1]) > Math.log(LARGEST.width)) break;
    explained = shiftOf(Math.exp(logs[0]), Math.exp(logs[1]));
  }
  return {
    factors: { dose: Math.exp(logs[0]), width: Math.exp(logs[1]) },
    covariance,
    beyond: Math.abs(logs[0]) > Math.log(LARGEST.dose) || Math.abs(logs[1]) > Math.log(LARGEST.width),
    slopes,
    explained,
  };
}

interface Left {
  readonly left: readonly number[];
  readonly noise: readonly number[];
}

/** Towards bare, what is left fades out within the first twentieth of the range. Assumed: marks begin there. */
const leaveBare = (share: number) => Math.min(1, Math.max(0, share / 0.05));

/**
 * A smooth function through what is left, by Gaussian process regression: as much of it as can be told from the noise.
 */
function smoothLeft(places: readonly number[], { left, noise }: Left) {
  const kernel = (a: number, b: number) => PRIOR.leftL ** 2 * Math.exp(-0.5 * ((a - b) / PRIOR.leftLength) ** 2);
  const inverse = invertPositiveDefinite(
    places.map((a, i) => places.map((b, j) => kernel(a, b) + (i === j ? noise[i]! ** 2 : 0))),
  )!.inverse;
  const weights = inverse.map((row) => row.reduce((sum, value, j) => sum + value * left[j]!, 0));
  return {
    valueAt: (share: number) => places.reduce((sum, place, i) => sum + kernel(share, place) * weights[i]!, 0),
    varianceAt: (share: number) => {
      const near = places.map((place) => kernel(share, place));
      const known = near.reduce(
        (sum, a, i) => sum + a * inverse[i]!.reduce((row, value, j) => row + value * near[j]!, 0),
        0,
      );
      return Math.max(0, kernel(share, share) - known);
    },
  };
}

/** What is left of each tone when the others alone say how it changed. */
function leaveEachOut(places: readonly number[], { left, noise }: Left): number[] {
  return places.map((place, out) => {
    const others = <T>(list: readonly T[]) => list.filter((_, at) => at !== out);
    return left[out]! - smoothLeft(others(places), { left: others(left), noise: others(noise) }).valueAt(place);
  });
}

function sizesOf(deltas: readonly number[]) {
  const sizes = deltas.map(Math.abs);
  return { meanDelta: mean(sizes), worstDelta: Math.max(...sizes) };
}

/** Least step of lightness between two points of a curve. Assumed: as `predictPoints` keeps, far below a reading. */
const SMALLEST_STEP_L = 1e-3;

/** Points whose lightness goes on in the direction of the mark: what is out of order is moved on by a step. */
function keepOrder(points: readonly TonePoint[], sign: 1 | -1): TonePoint[] {
  let last = Number.NEGATIVE_INFINITY;
  return points.map((point) => {
    last = Math.max(sign * point.lightness, last + SMALLEST_STEP_L);
    return { ...point, lightness: sign * last };
  });
}

const sayFactor = ([value, low, high]: readonly [number, number, number]) =>
  `${roundTo(value, 2)} (95 %: ${roundTo(low, 2)} … ${roundTo(high, 2)})`;
const round4 = (value: number) => Math.round(1e4 * value) / 1e4;
