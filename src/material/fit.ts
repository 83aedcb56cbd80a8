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
import { averageField, EVEN_FIELDS, type FieldRect, type Plane } from '../plane/index.ts';
import { DERIVED_COVERAGES, type ProfileFacts } from './derive.ts';
import { type BandPoint, fitToneCurve, type MeasuredTone } from './fit-curve.ts';
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
import { mixYuleNielsen } from './response.ts';
import type { DotField } from './simulate.ts';
import type { MarkDirection, Profile, Surface } from './types.ts';

/** One patch as a chart's reader gives it. */
export interface FitReading {
  readonly id: string;
  /** `step`: screened tone of the curve; `bare` and `solid` references; all others tell the response only. */
  readonly role: 'bare' | 'solid' | 'step' | 'pattern';
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
  /** Direction that the chart was drawn for. */
  readonly drawnDirection: MarkDirection;
  /** Standard error of L* at the darker of bare and solid from an estimated camera curve; 0 for a known one. */
  readonly cameraError?: number;
}

/** One group of replicates beside what was fitted. */
export interface FitRow {
  readonly group: string;
  readonly role: FitReading['role'];
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
  const { markX, markY } = fitMarks(tones, ends, fit) ?? fit;
  const surface: Surface = {
    response: fit.response,
    bare: [bare.lightness, facts.bare[1], facts.bare[2]],
    full: [solid.lightness, facts.full[1], facts.full[2]],
  };
  const measured: MeasuredTone[] = [
    { coverage: 0, lightness: bare.lightness, error: bare.error, predicted: fit.bareLightness },
    ...steps.map(({ group, coverage, lightness, error }) => {
      return { coverage, lightness, error, predicted: fit.predicted.get(group)! };
    }),
    { coverage: 1, lightness: solid.lightness, error: solid.error, predicted: fit.fullLightness },
  ];
  const marks = tabulateMarks(fit.response);
  const wanted = listCoverages(steps).map((coverage) => {
    return { coverage, predicted: predictScreened(coverage, { fit, marks, halftone }) };
  });
  const curve = fitToneCurve(measured, wanted);
  const kept = holdBack(curve.points);
  if (kept.length < 2) {
    throw new AppError(
      'profile-unusable',
      'found no stretch of coverage over which lightness goes one way, needed one',
    );
  }
  const spreadAt = (coverage: number) =>
    steps.reduce((a, b) => (Math.abs(b.coverage - coverage) < Math.abs(a.coverage - coverage) ? b : a)).deviation;
  const repeatability = scatter;
  const band = curve.points.map(({ coverage, lightness, low, high }) => {
    // A patch that is burned later scatters as the replicates do, and is off as a tone is that the curve has not seen;
    // an unknown camera bends the whole scale.
    const camera = (options.cameraError ?? 0) * shareFromLightest(lightness, bare.lightness, solid.lightness);
    const more = NORMAL_95_ROUNDED * Math.hypot(spreadAt(coverage), curve.leaveOneOut, camera);
    const [below, above] = [Math.hypot(lightness - low, more), Math.hypot(high - lightness, more)];
    return { coverage, lightness, low: Math.max(0, lightness - below), high: Math.min(100, lightness + above) };
  });
  const report: FitReport = {
    rows: groups.map(({ group, role, coverage, count, lightness, spread }) => {
      const predicted =
        role === 'bare' ? fit.bareLightness : role === 'solid' ? fit.fullLightness : fit.predicted.get(group)!;
      return { group, role, coverage, count, lightness, spread, predicted };
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
  const warnings = listWarnings({ report, fit, direction, options, range: Math.abs(solid.lightness - bare.lightness) });
  const profile: Profile = {
    ...facts,
    ...surface,
    direction,
    points: kept.map(({ coverage, lightness }) => ({ coverage, lightness, spread: round(spreadAt(coverage), 3) })),
    repeatability: round(repeatability, 3),
    fit: {
      band: band.map(({ coverage, low, high }) => ({ coverage, low: round(low, 3), high: round(high, 3) })),
      markDiameterXUm: interval(markX),
      markDiameterYUm: interval(markY),
      leaveOneOut: round(curve.leaveOneOut, 3),
      modelRms: round(fit.rms, 3),
      warnings: warnings.map(({ text }) => text),
    },
  };
  return { profile, report: { ...report, warnings } };
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
