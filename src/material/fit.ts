import { lightnessOfReflectance, reflectanceOfLightness } from '../colour/index.ts';
import { AppError } from '../errors.ts';
import { type Notice, notice } from '../notices.ts';
import {
  createPchip,
  findOutlierLimit,
  median,
  NORMAL_95_ROUNDED,
  type OutlierRule,
  pooledStandardDeviation,
  roundNumbers,
} from '../numeric/index.ts';
import { averageField, createPlane, EVEN_FIELDS, type FieldRect, ONE, type Plane } from '../plane/index.ts';
import { toneCurveOf } from './curve.ts';
import { DERIVED_COVERAGES, type ProfileFacts } from './derive.ts';
import { type BandPoint, fitToneCurve, type MeasuredTone, type PredictedTone } from './fit-curve.ts';
import { fitHeat } from './fit-heat.ts';
import { type FittedDose, fitLevelDoses, lightnessOfPattern } from './fit-levels.ts';
import { fitMarks } from './fit-marks.ts';
import {
  type FitPattern,
  type FitTone,
  type FittedNumber,
  type FittedResponse,
  fitResponse,
  type PatchMarks,
  predictPatternStrength,
  tabulateMarks,
} from './fit-response.ts';
import { listLevelCoverages } from './level-road.ts';
import { mixYuleNielsen } from './response.ts';
import type { DotField } from './simulate.ts';
import type { LevelDose, LevelRoad, MarkDirection, Profile, Surface, TonePoint } from './types.ts';

/** One patch as a chart's reader gives it. */
export interface FitReading {
  readonly id: string;
  /**
   * `step`: screened tone of the curve; `bare` and `solid` references; `level`: dots of less than the full power, which
   * tell the road of levels; all others tell the response only.
   */
  readonly role: 'bare' | 'solid' | 'step' | 'pattern' | 'level';
  /** Patches of the same group are replicates. */
  readonly group: string;
  /** Share of dots asked for, 0 … 1. */
  readonly coverage: number;
  /** Luminance relative to the bare surface at the same place. */
  readonly relativeLuminance: number;
}

export interface FitOptions {
  /** What the profile says beside its numbers; `bare` and `full` are the colours as read. */
  readonly facts: Omit<ProfileFacts, 'response' | 'repeatability'>;
  /** Dots of each group of patches; not asked for bare and solid. */
  readonly patternOf: (group: string) => FitPattern;
  /** The chart's screen, from constant coverage to dots. */
  readonly halftone: (coverage: Plane<'coverage'>) => DotField;
  /** Charts with levels of power: how many, and their screen, from constant mean level to dots. */
  readonly levels?: Pick<LevelRoad, 'count' | 'screen'> & {
    readonly halftone: (coverage: Plane<'coverage'>) => DotField;
  };
  /** Direction that the chart was drawn for. */
  readonly drawnDirection: MarkDirection;
  /** Standard error of L* at the darker of bare and solid from an estimated camera curve; 0 for a known one. */
  readonly cameraError?: number;
}

/** One group of replicates beside what was fitted. */
export interface FitRow {
  readonly group: string;
  readonly role: Exclude<FitReading['role'], 'level'>;
  readonly coverage: number;
  readonly count: number;
  readonly lightness: number;
  /** Standard deviation between its replicates, ΔL*; 0 for a single one. */
  readonly spread: number;
  /** L* by the response model. */
  readonly predicted: number;
}

export interface FitReport {
  readonly rows: readonly FitRow[];
  /** Patches left out because they differ from their replicates, with how far, ΔL*. */
  readonly outliers: readonly { readonly id: string; readonly deltaL: number }[];
  /**
   * The whole curve before anything is held back. The 95 % band is for patches that are burned later: what is not known
   * of the curve, and the scatter of one patch.
   */
  readonly curve: readonly BandPoint[];
  readonly usable: { readonly from: number; readonly to: number };
  readonly repeatability: number;
  readonly leaveOneOut: number;
  /** Root mean square of measured minus predicted by the model: of the steps, and of all patches. */
  readonly modelRmsSteps: number;
  readonly modelRms: number;
  readonly markX: FittedNumber;
  readonly markY: FittedNumber;
  readonly steepness: FittedNumber;
  readonly drive: FittedNumber;
  readonly fading: FittedNumber;
  readonly yuleNielsenN: FittedNumber;
  /** Largest half width of the band, ΔL*. */
  readonly widestBand: number;
  readonly warnings: readonly Notice[];
  /** Of charts with levels of power. */
  readonly levels?: LevelReport;
}

/** What a chart told of its levels of power, whether that made a road of the profile or not. */
export interface LevelReport extends Pick<FitReport, 'curve' | 'leaveOneOut' | 'modelRms' | 'widestBand'> {
  readonly count: number;
  readonly rows: readonly Omit<FitRow, 'role'>[];
  /** Dose by level with its 95 % interval, shares. */
  readonly doses: readonly FittedDose[];
}

export interface ProfileFit {
  readonly profile: Profile;
  readonly report: FitReport;
}

/**
 * Share of the lightness range that the profile holds back at full: its solid stays so far below the strongest mark, so
 * that a lens that loses a little can be calibrated back to the same tones. Assumed: keeps the strongest wanted tone
 * off the flat end of the curve.
 */
const HEADROOM = 0.005;
/** Fewest tones between bare and solid, a count. Assumed: fewer show no shape. */
const STEPS_MIN = 3;
/**
 * Replicates beyond so many robust deviations from their median, and so far, ΔL*, are left out. Assumed: honest
 * patches pass 4.5 once in 100 000; differences below 1.5 L* do no harm.
 */
const OUTLIER: OutlierRule = { deviations: 4.5, least: 1.5 };
/**
 * Degrees of freedom by which a group's own scatter is drawn towards that of all. A count. Assumed: a group has a
 * handful of patches, which tell their own scatter to a third.
 */
const SHRINKAGE = 4;
/** Least standard deviation of one patch, ΔL*. Assumed: the texture of a screen under a finite patch. */
const SCATTER_FLOOR = 0.08;
/**
 * Standard error from an unknown camera, ΔL*, from which on another capture is advised. Assumed: about what a person
 * sees as another tone in a photo.
 */
const CAMERA_ERROR_MAX = 2;
/**
 * Half the 95 % interval of n, without unit, that an estimated camera curve leaves open at least. Assumed: the curve's
 * own contrast looks like spread.
 */
const SPREAD_DOUBT = 0.6;
/**
 * What a road of levels must do: reach this share of the range between bare and solid, and foretell tones that were
 * left out to this share of it. Assumed: less is worth no more than the proportion that is taken without a chart.
 */
const LEVELS_REACH = 0.8;
const LEVELS_LEFT_OUT = 0.06;
/**
 * A step between two of more than `LEVELS_FEW` levels (a count) that takes this share of the range makes nearly all
 * tones of two levels. Assumed: then the picture gains little by the others.
 */
const LEVELS_STEEP = 0.5;
const LEVELS_FEW = 4;
/** Even field of levels, dots. Assumed: 48 × 48 dots behind 24 give the mean, since levels leave little texture. */
const LEVEL_FIELD = { side: 72, from: 24, to: 72 } as const;

/**
 * A profile from the readings of a tone chart: response model by joint least squares (`fitResponse`), tone curve with
 * its band from readings and model together (`fitToneCurve`), repeatability from replicates, and what to distrust.
 * Pure; the same readings give the same profile.
 * @throws AppError profile-unusable with fewer than three tones between bare and solid, or without a range to use.
 */
export function fitProfile(readings: readonly FitReading[], options: FitOptions): ProfileFit {
  const { facts, patternOf, halftone } = options;
  const bareLuminance = reflectanceOfLightness(facts.bare[0]);
  const lightnessOf = ({ relativeLuminance }: FitReading) =>
    lightnessOfReflectance(Math.max(0, relativeLuminance) * bareLuminance);
  const { groups, outliers, scatter } = gatherReplicates(readings, lightnessOf);
  const bare = groups.find(({ role }) => role === 'bare');
  const solid = groups.find(({ role }) => role === 'solid');
  const steps = groups.filter(({ role }) => role === 'step');
  if (!bare || !solid || steps.length < STEPS_MIN) {
    throw new AppError(
      'profile-unusable',
      `found ${steps.length} tones between ${bare ? 'bare' : 'no bare patch'} and ${solid ? 'solid' : 'no solid patch'}, needed bare, solid and at least ${STEPS_MIN} tones: a chart of kind "tone"`,
      { steps: steps.length },
    );
  }
  const direction: MarkDirection = solid.lightness > bare.lightness ? 'lighter' : 'darker';

  const tones = groups
    .filter(({ role }) => role === 'step' || role === 'pattern')
    .map((group): FitTone & { readonly of: Group } => ({ ...group, pattern: patternOf(group.group), of: group }));
  const ends = {
    grid: facts.grid,
    bareLightness: bare.lightness,
    fullLightness: solid.lightness,
    bareError: bare.error,
    fullError: solid.error,
  };
  const fit = fitResponse(tones, ends);
  const marked = fitMarks(tones, ends, fit);
  const { markX, markY } = marked ?? fit;
  const heat = marked && fitHeat(tones, ends, marked.parameters);
  const surface: Surface = {
    response: fit.response,
    bare: [bare.lightness, facts.bare[1], facts.bare[2]],
    full: [solid.lightness, facts.full[1], facts.full[2]],
  };
  const marks = tabulateMarks(fit.response);
  const cameraError = options.cameraError ?? 0;
  const road = fitRoad(
    { bare, solid, fit, cameraError },
    {
      steps: steps.map((step) => ({ ...step, predicted: fit.predicted.get(step.group)! })),
      wanted: listCoverages(steps).map((coverage) => {
        return { coverage, predicted: predictScreened(coverage, { fit, marks, halftone }) };
      }),
    },
  );
  const { curve, points, band } = road;
  if (points.length < 2) {
    throw new AppError(
      'profile-unusable',
      'found no stretch of coverage over which lightness goes one way, needed one',
    );
  }
  const repeatability = scatter;
  const levelled =
    options.levels && learnLevels(groups, { ...options.levels, bare, solid, fit, cameraError, patternOf });
  const report: FitReport = {
    rows: groups.flatMap(({ group, role, coverage, count, lightness, spread }) => {
      if (role === 'level') return [];
      const predicted =
        role === 'bare' ? fit.bareLightness : role === 'solid' ? fit.fullLightness : fit.predicted.get(group)!;
      return [{ group, role, coverage, count, lightness, spread, predicted }];
    }),
    outliers,
    curve: band,
    usable: curve.usable,
    repeatability,
    leaveOneOut: curve.leaveOneOut,
    modelRmsSteps: curve.modelRms,
    modelRms: fit.rms,
    markX,
    markY,
    steepness: fit.steepness,
    drive: fit.drive,
    fading: fit.fading,
    yuleNielsenN: doubtSpread(fit.yuleNielsenN, options.cameraError ?? 0),
    widestBand: Math.max(...band.map(({ low, high }) => (high - low) / 2)),
    warnings: [],
  };
  const range = Math.abs(solid.lightness - bare.lightness);
  const warnings = [...listWarnings({ report, fit, direction, options, range }), ...(levelled?.warnings ?? [])];
  const profile: Profile = {
    ...facts,
    ...surface,
    direction,
    points,
    repeatability: round(repeatability, 3),
    fit: {
      band: band.map(keepBand),
      markDiameterXUm: interval(markX),
      markDiameterYUm: interval(markY),
      leaveOneOut: round(curve.leaveOneOut, 3),
      modelRms: round(fit.rms, 3),
      warnings: warnings.map(({ text }) => text),
    },
    ...(levelled?.road ? { levels: levelled.road } : {}),
    ...(heat ? { heat } : {}),
  };
  return { profile, report: { ...report, warnings, ...(levelled?.report ? { levels: levelled.report } : {}) } };
}

/** What all roads of a chart have in common. */
interface ChartFacts {
  readonly bare: Group;
  readonly solid: Group;
  readonly fit: FittedResponse;
  readonly cameraError: number;
}

/**
 * The curve of one road, its points with something held back at full, and its band.
 * @param tones what was measured of it between bare and solid, and where the curve is wanted
 */
function fitRoad(
  { bare, solid, fit, cameraError }: ChartFacts,
  tones: {
    readonly steps: readonly (Group & { readonly predicted: number })[];
    readonly wanted: readonly PredictedTone[];
  },
) {
  const { steps, wanted } = tones;
  const measured: MeasuredTone[] = [
    { coverage: 0, lightness: bare.lightness, error: bare.error, predicted: fit.bareLightness },
    ...steps,
    { coverage: 1, lightness: solid.lightness, error: solid.error, predicted: fit.fullLightness },
  ];
  const curve = fitToneCurve(measured, wanted);
  const spreadAt = (coverage: number) =>
    steps.reduce((a, b) => (Math.abs(b.coverage - coverage) < Math.abs(a.coverage - coverage) ? b : a)).deviation;
  const band = curve.points.map(({ coverage, lightness, low, high }) => {
    // A patch that is burned later scatters as the replicates do, and is off as a tone is that the curve has not seen;
    // an unknown camera bends the whole scale.
    const camera = cameraError * shareFromLightest(lightness, bare.lightness, solid.lightness);
    const more = NORMAL_95_ROUNDED * Math.hypot(spreadAt(coverage), curve.leaveOneOut, camera);
    const [below, above] = [Math.hypot(lightness - low, more), Math.hypot(high - lightness, more)];
    return { coverage, lightness, low: Math.max(0, lightness - below), high: Math.min(100, lightness + above) };
  });
  const points = holdBack(curve.points).map(({ coverage, lightness }): TonePoint => {
    return { coverage, lightness, spread: round(spreadAt(coverage), 3) };
  });
  return { curve, points, band };
}

const keepBand = ({ coverage, low, high }: BandPoint) => ({ coverage, low: round(low, 3), high: round(high, 3) });

interface LevelFacts extends ChartFacts, NonNullable<FitOptions['levels']> {
  readonly patternOf: FitOptions['patternOf'];
}

/**
 * The road of levels from its patches: dose by level from the even ones, then the curve as that of the other road.
 * There is none, and a notice says why, where the readings do not carry one.
 */
function learnLevels(
  groups: readonly Group[],
  facts: LevelFacts,
): { readonly road?: LevelRoad; readonly report?: LevelReport; readonly warnings: readonly Notice[] } {
  const { bare, solid, fit, cameraError, patternOf, halftone, count, screen } = facts;
  const own = groups
    .filter(({ role }) => role === 'level')
    .sort((a, b) => a.coverage - b.coverage)
    .map((group) => ({ ...group, pattern: cropMiddle(patternOf(group.group)) }));
  if (own.length < STEPS_MIN)
    return { warnings: [notice('levels-unlearned', { count, why: 'few', tones: own.length })] };
  const surface = { response: fit.response, bareLightness: fit.bareLightness, fullLightness: fit.fullLightness };
  const even = own.filter(({ pattern }) => pattern.dots.width === 1);
  const doses = fitLevelDoses(even, surface);
  const doseByLevel = doses.map(({ level, dose }): LevelDose => [round(level, 5), round(dose, 5)]);
  const model = { ...fit.response, doseByLevel };
  const predict = (pattern: FitPattern) => lightnessOfPattern(model, pattern, surface);
  const steps = own.map((group) => ({ ...group, predicted: predict(group.pattern) }));
  const wanted = listLevelCoverages(count).map((coverage) => {
    const predicted =
      coverage === 0
        ? fit.bareLightness
        : coverage === 1
          ? fit.fullLightness
          : predict({ dots: middleOf(coverage, halftone), edge: 'repeat', featureDots: 1 });
    return { coverage, predicted };
  });
  const { curve, points, band } = fitRoad({ bare, solid, fit, cameraError }, { steps, wanted });
  const range = Math.abs(solid.lightness - bare.lightness);
  const reached = points.length < 2 ? 0 : Math.abs(points.at(-1)!.lightness - points[0].lightness) / range;
  const report: LevelReport = {
    count,
    curve: band,
    doses,
    rows: steps.map(({ group, coverage, count: patches, lightness, spread, predicted }) => {
      return { group, coverage, count: patches, lightness, spread, predicted };
    }),
    leaveOneOut: curve.leaveOneOut,
    modelRms: curve.modelRms,
    widestBand: Math.max(...band.map(({ low, high }) => (high - low) / 2)),
  };
  if (reached < LEVELS_REACH) {
    return { report, warnings: [notice('levels-unlearned', { count, why: 'turning', share: reached })] };
  }
  if (curve.leaveOneOut > LEVELS_LEFT_OUT * range) {
    return { report, warnings: [notice('levels-unlearned', { count, why: 'unsteady', errorL: curve.leaveOneOut })] };
  }
  const steep = findSteepest(points, count);
  const warnings =
    steep.share > LEVELS_STEEP && count > LEVELS_FEW
      ? [notice('levels-steep', { count, share: steep.share, level: steep.level })]
      : [];
  return {
    road: {
      count,
      screen,
      points,
      doseByLevel,
      fit: {
        band: band.map(keepBand),
        leaveOneOut: round(curve.leaveOneOut, 3),
        modelRms: round(curve.modelRms, 3),
      },
    },
    report,
    warnings,
  };
}

/** Of a patch that mixes levels its middle, as if it went on: it is even. */
function cropMiddle(pattern: FitPattern): FitPattern {
  const { dots, edge } = pattern;
  if (edge === 'repeat') return pattern;
  const side = LEVEL_FIELD.to - LEVEL_FIELD.from;
  const [width, height] = [Math.min(side, dots.width), Math.min(side, dots.height)];
  const rect = { x: (dots.width - width) >> 1, y: (dots.height - height) >> 1, width, height };
  return { ...pattern, dots: cropDots(dots, rect), edge: 'repeat' };
}

/** Dots of a constant mean level, without those that a screen needs to settle. */
function middleOf(coverage: number, halftone: (coverage: Plane<'coverage'>) => DotField): DotField {
  const { side, from, to } = LEVEL_FIELD;
  const plane = createPlane('coverage', side, side);
  plane.data.fill(Math.round(coverage * ONE));
  return cropDots(halftone(plane), { x: from, y: from, width: to - from, height: to - from });
}

/** The widest step of lightness between two neighbouring levels, as a share of the range, and the lower of the two. */
function findSteepest(points: readonly TonePoint[], count: number): { readonly share: number; readonly level: number } {
  const { lightnessAt } = toneCurveOf({ points });
  const range = Math.abs(points.at(-1)!.lightness - points[0].lightness);
  let steepest = { share: 0, level: 0 };
  for (let level = 0; level < count - 1; level++) {
    const step = Math.abs(lightnessAt((level + 1) / (count - 1)) - lightnessAt(level / (count - 1)));
    if (step / range > steepest.share) steepest = { share: step / range, level };
  }
  return steepest;
}

const round = (value: number, decimals: number) => Number(value.toFixed(decimals));
/** Three digits: the search for widths ends before the fifth is steady, and engines differ there. */
const interval = ({ low, high }: FittedNumber): [number, number] => [roundNumbers(low, 3), roundNumbers(high, 3)];

/**
 * How much of the error of an estimated camera curve reaches a lightness: none at the lighter of bare and solid, all of
 * it at the darker, whose distance is known through that curve only.
 */
function shareFromLightest(lightness: number, bare: number, solid: number): number {
  const [dark, light] = [Math.min(bare, solid), Math.max(bare, solid)];
  return Math.sqrt(Math.min(1, Math.max(0, (light - lightness) / (light - dark))));
}

/** Light that spreads and a camera's power look alike: with an estimated curve n is not told. */
function doubtSpread(n: FittedNumber, cameraError: number): FittedNumber {
  if (!(cameraError > 0)) return n;
  const { value, low, high } = n;
  const [below, above] = [Math.hypot(value - low, SPREAD_DOUBT), Math.hypot(high - value, SPREAD_DOUBT)];
  return { value, low: Math.max(1, value - below), high: Math.min(3, value + above), determined: false };
}

interface Group {
  readonly group: string;
  readonly role: FitReading['role'];
  readonly coverage: number;
  readonly count: number;
  readonly lightness: number;
  /** Standard deviation as found, and drawn towards that of all groups. */
  readonly spread: number;
  readonly deviation: number;
  readonly error: number;
}

function gatherReplicates(readings: readonly FitReading[], lightnessOf: (reading: FitReading) => number) {
  const byGroup = new Map<string, FitReading[]>();
  for (const reading of readings) byGroup.set(reading.group, [...(byGroup.get(reading.group) ?? []), reading]);
  const off = [...byGroup.values()].flatMap((group) => {
    const centre = median(group.map(lightnessOf));
    return group.length > 2 ? group.map((reading) => ({ reading, deltaL: lightnessOf(reading) - centre })) : [];
  });
  const limit = findOutlierLimit(
    off.map(({ deltaL }) => deltaL),
    OUTLIER,
  );
  const outliers = off.filter(({ deltaL }) => Math.abs(deltaL) > limit);
  const dropped = new Set(outliers.map(({ reading }) => reading));

  const kept = [...byGroup.values()].map((group) => group.filter((reading) => !dropped.has(reading)));
  const facts = kept.map((group) => {
    const values = group.map(lightnessOf);
    const lightness = values.reduce((sum, value) => sum + value, 0) / values.length;
    const sum = values.reduce((total, value) => total + (value - lightness) ** 2, 0);
    return { first: group[0], count: values.length, lightness, sum };
  });
  const scatter = pooledStandardDeviation(kept.map((group) => group.map(lightnessOf))) ?? SCATTER_FLOOR;
  const groups = facts.map(({ first, count, lightness, sum }): Group => {
    const own = (SHRINKAGE * scatter ** 2 + sum) / (SHRINKAGE + count - 1);
    const deviation = Math.max(SCATTER_FLOOR, Math.sqrt(own));
    return {
      group: first.group,
      role: first.role,
      coverage: first.coverage,
      count,
      lightness,
      spread: count > 1 ? Math.sqrt(sum / (count - 1)) : 0,
      deviation,
      error: deviation / Math.sqrt(count),
    };
  });
  return {
    groups,
    scatter: Math.max(SCATTER_FLOOR, scatter),
    outliers: outliers.map(({ reading, deltaL }) => ({ id: reading.id, deltaL })),
  };
}

/** Coverages of the curve's points: those of the chart and the standing ones that are not next to one. */
function listCoverages(steps: readonly { readonly coverage: number }[]): number[] {
  const own = steps.map(({ coverage }) => coverage).filter((coverage) => coverage > 0 && coverage < 1);
  const standing = DERIVED_COVERAGES.filter((coverage) => !own.some((other) => Math.abs(other - coverage) < 0.006));
  return [...own, ...standing].sort((a, b) => a - b);
}

function predictScreened(
  coverage: number,
  {
    fit,
    marks,
    halftone,
  }: { readonly fit: FittedResponse; readonly marks: PatchMarks; readonly halftone: FitOptions['halftone'] },
): number {
  if (coverage === 0) return fit.bareLightness;
  if (coverage === 1) return fit.fullLightness;
  const strength = averageField(coverage, EVEN_FIELDS.fit, {
    halftone,
    meanOf: (dots, rect) =>
      predictPatternStrength(fit.response, { dots: cropDots(dots, rect), edge: 'bare', featureDots: 1 }, marks),
  });
  const mix = {
    bare: reflectanceOfLightness(fit.bareLightness),
    full: reflectanceOfLightness(fit.fullLightness),
    n: fit.response.yuleNielsenN,
  };
  return lightnessOfReflectance(mixYuleNielsen(strength, mix));
}

function cropDots({ width: across, levels, data }: DotField, { x, y, width, height }: FieldRect): DotField {
  const out = new Uint8Array(width * height);
  for (let row = 0; row < height; row++) {
    const from = (y + row) * across + x;
    out.set(data.subarray(from, from + width), row * width);
  }
  return { width, height, levels, data: out };
}

/** The curve up to where all but the held-back share of its lightness is reached. */
function holdBack(points: readonly BandPoint[]): readonly { coverage: number; lightness: number }[] {
  const plain = points.map(({ coverage, lightness }) => ({ coverage, lightness }));
  if (plain.length < 3) return plain;
  const [first, last] = [plain[0], plain[plain.length - 1]];
  const end = last.lightness - HEADROOM * (last.lightness - first.lightness);
  const curve = createPchip(
    plain.map(({ coverage }) => coverage),
    plain.map(({ lightness }) => lightness),
  );
  const coverage = curve.inverseAt(end);
  const before = plain.filter((point) => point.coverage < coverage - 1e-4);
  return [...before, { coverage, lightness: end }];
}

interface WarningFacts {
  readonly report: FitReport;
  readonly fit: FittedResponse;
  readonly direction: MarkDirection;
  readonly options: FitOptions;
  readonly range: number;
}

function listWarnings({ report, fit, direction, options, range }: WarningFacts): Notice[] {
  const { usable, markX, markY, modelRms, repeatability, leaveOneOut } = report;
  const interval = ({ low, high }: FittedNumber) => ({ from: low, to: high });
  const cameraError = options.cameraError ?? 0;
  const far = report.rows.filter((row) => Math.abs(row.lightness - row.predicted) > Math.max(4, 4 * modelRms));
  const when = (condition: boolean, say: () => Notice) => (condition ? [say()] : []);
  return [
    ...when(direction !== options.drawnDirection, () =>
      notice('direction-fitted', { drawn: options.drawnDirection, read: direction }),
    ),
    ...when(usable.from > 0 || usable.to < 1, () => notice('lightness-turns-back', usable)),
    ...when(range < 15, () => notice('range-small', { range })),
    ...when(!markX.determined || !markY.determined, () =>
      notice('mark-width-unsure', { x: interval(markX), y: interval(markY) }),
    ),
    ...when(!report.steepness.determined, () => notice('steepness-unsure', interval(report.steepness))),
    ...when(!report.drive.determined, () => notice('drive-unsure', interval(report.drive))),
    ...when(!report.yuleNielsenN.determined, () => notice('light-scatter-unsure', interval(report.yuleNielsenN))),
    ...when(report.fading.low > 0.05, () => notice('mark-fades', { share: report.fading.value })),
    ...when(modelRms > 2, () => notice('model-poor', { rmsL: modelRms })),
    ...when(leaveOneOut > 1.5, () => notice('tone-left-out-poor', { errorL: leaveOneOut })),
    ...when(cameraError > CAMERA_ERROR_MAX, () =>
      notice('camera-contrast-unsure', { lightness: NORMAL_95_ROUNDED * cameraError }),
    ),
    ...when(repeatability > 2.5, () => notice('patches-scatter', { repeatability })),
    ...when(!fit.converged && fit.rms > 1, () => notice('fit-unsettled')),
    ...when(far.length > 0, () => notice('far-from-model', { groups: far.map(({ group }) => group) })),
  ];
}
