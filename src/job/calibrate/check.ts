import {
  type CaptureImage,
  type ChartLayout,
  type Corners,
  type Located,
  locateChart,
  type Reading,
  type Readings,
  readPatches,
} from '../../chart/index.ts';
import { lightnessOfReflectance, reflectanceOfLightness } from '../../colour/index.ts';
import { AppError } from '../../errors.ts';
import {
  compareSettings,
  countsMarks,
  type ExposureBand,
  levelsOfScreen,
  type Profile,
  type Seen,
  type SettingsWarning,
  type TonePoint,
  takeRoad,
  toneCurveOf,
} from '../../material/index.ts';
import { type Notice, notice } from '../../notices.ts';
import { mean } from '../../numeric/index.ts';
import { convertToSrgb, type Photo } from '../../plane/index.ts';
import { roundTo } from '../page/html.ts';
import { predictPoints } from '../request/curve.ts';
import { exposureHalf } from '../request/uncertainty.ts';
import { type CaptureReference, knowExposure } from './exposure.ts';
import { SAY_SIDE } from './learn.ts';
import { type DriftPatch, type Verification, verifyTones } from './verification.ts';

export interface CheckOptions {
  /** Layouts that the capture may show; its tags say which. */
  readonly layouts: readonly ChartLayout[];
  readonly profile: Profile;
  readonly camera: 'known' | 'unknown';
  readonly mirrored?: boolean;
  readonly corners?: Corners;
  /** What tells how light the whole is; without it, and a profile that was learned with one, only the capture does. */
  readonly reference?: CaptureReference;
  /** How the material really marks, where that is not what the chart was drawn for. */
  readonly direction?: 'lighter' | 'darker';
}

export type DriftVerdict = 'holds' | 'drifting' | 'learn-again';
export type DriftCause = 'none' | 'dot-size' | 'power' | 'batch' | 'capture' | 'exposure' | 'unclear';

/** How far a check is from its profile. All differences in L*, read less expected. */
export interface Drift {
  readonly patches: readonly DriftPatch[];
  /** Mean of |ΔL*| over the patches that say something, and the largest. */
  readonly meanDelta: number;
  readonly worstDelta: number;
  readonly worstIds: readonly string[];
  readonly bareDelta: number;
  readonly solidDelta: number;
  /** Mean of the tones between, after what the shift of bare and solid explains; positive: marked more strongly. */
  readonly midShift: number;
  /** Shift of the solid, positive: marked more strongly. */
  readonly solidShift: number;
  /**
   * `absolute`: L* as the capture has it. `relative`: the bare surface is taken to look as in the profile, since the
   * capture's brightness cannot be told from the material's.
   */
  readonly basis: 'absolute' | 'relative';
  /** Unit of the limits: the profile's repeatability, or the least that two captures of one piece differ by, ΔL*. */
  readonly unit: number;
  readonly verdict: DriftVerdict;
  readonly cause: DriftCause;
  /** Verdict, cause and what to do, in words. */
  readonly sentences: readonly string[];
}

/** A drift with what it was read from. */
export interface Check extends Drift {
  readonly schema: 'tonewright-check/1';
  readonly profile: string;
  readonly chart: { readonly kind: ChartLayout['kind']; readonly hash: string };
  readonly camera: 'known' | 'unknown';
  /** Whether the curve is the profile's own or predicted for the chart's screen and grid. */
  readonly curve: 'measured' | 'predicted';
  /** Verification charts only: the print error. */
  readonly verification?: Verification;
  readonly located: Located;
  readonly readings: Readings;
  readonly warnings: readonly Notice[];
}

/**
 * Limits in units of the repeatability. One patch beyond three standard deviations is rare (0.3 %), and the mean of
 * |ΔL*| of seven patches that only scatter is 0.8 ± 0.23 units; twice that is taken as beyond repair. Assumed: below
 * these a shop would burn as before.
 */
export const DRIFT_LIMITS = {
  holdsMean: 1.5,
  holdsWorst: 3,
  learnMean: 4,
  learnWorst: 8,
  /** Shift of bare, solid or midtones that counts as one. */
  shift: 2.5,
  /** Least unit, ΔL*: two captures of one piece differ by so much; assumed. */
  leastUnit: 0.5,
  /** The same where the curve is predicted for another screen or grid; assumed. */
  leastUnitPredicted: 1,
} as const;

/**
 * Reads a control strip or a verification chart and compares it with the profile.
 * @throws AppError those of `locateChart` and `readPatches`; chart-wrong for a chart without tones.
 */
export function checkCapture(image: CaptureImage, options: CheckOptions): Check {
  const { layouts, mirrored = false, corners } = options;
  const located = locateChart(image, layouts, { mirrored, ...(corners ? { corners } : {}) });
  return checkLocated({ image, located }, options);
}

/**
 * The same where the chart was found before.
 * @throws AppError those of `readPatches`; chart-wrong for a chart without tones, of another material, or of other
 * marks
 */
export function checkLocated(
  { image, located, seen }: { readonly image: CaptureImage; readonly located: Located; readonly seen?: Seen },
  { profile, camera, reference, direction }: Pick<CheckOptions, 'profile' | 'camera' | 'reference' | 'direction'>,
): Check {
  const { layout } = located;
  if (!layout.patches.some(({ pattern }) => pattern.kind === 'screened')) {
    throw new AppError(
      'chart-wrong',
      `found a ${layout.kind} chart (${layout.hash}), needed a check, verify or tone chart to compare with a profile`,
      { kind: layout.kind, hash: layout.hash },
    );
  }
  if (camera === 'unknown' && !layout.patches.some(({ role }) => role === 'cluster')) {
    throw new AppError(
      'chart-wrong',
      `found a ${layout.kind} chart, which has no coarse clusters to find an unknown camera’s curve from, needed a scan, or a picture of a camera that saves plain sRGB, read with a known curve`,
      { kind: layout.kind, hash: layout.hash },
    );
  }
  if (layout.material !== '' && layout.material !== profile.material) {
    throw new AppError(
      'chart-wrong',
      `found a chart drawn for ${layout.material}, needed one for ${profile.material}, the material of the profile "${profile.name}"`,
      { found: layout.material, needed: profile.material },
    );
  }
  const learned = profile.seen ?? 'face';
  // A profile of before sides were asked for says of neither.
  const isSaid = profile.seen !== undefined || profile.beneath !== undefined;
  if (isSaid && seen !== undefined && seen !== learned) {
    throw new AppError(
      'chart-wrong',
      `found a picture taken ${SAY_SIDE[seen]}, needed one taken ${SAY_SIDE[learned]} as the profile "${profile.name}" was learned; turn the piece over`,
      { found: seen, needed: learned },
    );
  }
  const readings = readPatches(image, located, {
    camera,
    ...(direction ? { direction } : {}),
    ...(reference && reference !== 'scanner' ? { reference } : {}),
  });
  if (readings.direction !== profile.direction) {
    throw new AppError(
      'chart-wrong',
      `found marks ${readings.direction} than bare, needed ${profile.direction} as in the profile "${profile.name}"; give the profile of this material`,
      { found: readings.direction, needed: profile.direction },
    );
  }
  const { grid, screen, settings } = layout;
  const machine = { name: layout.machine, wavelengthNm: 0, focalLengthMm: 0 };
  const words = { uses: 'the chart was drawn for', now: 'now' };
  const levels = levelsOfScreen(screen);
  const road = takeRoad(profile, levels);
  const differences = compareSettings(road, { machine, grid, screen, settings, words });
  const predicted = differences.some(({ field }) => changesCurve(field)) || countsMarks(road, { screen });
  const curve = predicted ? 'predicted' : 'measured';
  const points = predicted ? predictPoints({ profile: road, grid, screen }) : road.points;
  const warnings = [
    ...readings.warnings,
    ...differences.map(({ field, message }) => notice('chart-differs', { field, difference: message })),
  ];
  const drift = judgeDrift(readings.readings, {
    points,
    hasLevels: levels > 2,
    repeatability: Math.max(profile.repeatability, predicted ? DRIFT_LIMITS.leastUnitPredicted : 0),
    bareExpected: predicted ? points[0]!.lightness : profile.bare[0],
    solidExpected: predicted ? points.at(-1)!.lightness : profile.full[0],
    bareLightness: readings.bare[0],
    camera,
    ...openExposure(profile, knowExposure([readings], reference)),
  });
  return {
    schema: 'tonewright-check/1',
    profile: profile.name,
    chart: { kind: layout.kind, hash: layout.hash },
    camera,
    curve,
    ...drift,
    ...(layout.kind === 'verify'
      ? { verification: verifyTones(drift.patches, { profile, screen: screen.name, levels, curve }) }
      : {}),
    located,
    readings,
    warnings,
  };
}

/** What two exposures that are both known leave open together; nothing where one of them is the capture's own word. */
function openExposure({ exposure }: Profile, own: ExposureBand): Pick<JudgeOptions, 'exposureFactor'> {
  if (exposure === undefined || exposure.basis === 'none' || own.basis === 'none') return {};
  return { exposureFactor: Math.exp(Math.hypot(Math.log(exposure.factor), Math.log(own.factor))) };
}

/**
 * Difference of tones, ΔL*, within which two aims are one: a strip aims at tones that it was given in hundredths of L*
 * for coverages of five decimals. Assumed: computed for a steep curve of 5 L* per percent of coverage.
 */
const SAME_AIM_L = 0.02;

/**
 * The profile that a strip or a verification chart was drawn through: the one whose curve aims at its tones with its
 * coverages. Of several that say the same the first.
 * @returns undefined when the layout names no aims, or none of the profiles has them (it was learned again since).
 */
export function findOwnProfile(layout: ChartLayout, profiles: readonly Profile[]): Profile | undefined {
  const aims = layout.patches.filter(({ aimLightness }) => aimLightness !== undefined);
  if (aims.length === 0) return undefined;
  const { grid, screen } = layout;
  const machine = { name: layout.machine, wavelengthNm: 0, focalLengthMm: 0 };
  return profiles.find((whole) => {
    if (whole.direction !== layout.direction || whole.material !== layout.material) return false;
    const profile = takeRoad(whole, levelsOfScreen(screen));
    const differences = compareSettings(profile, { machine, grid, screen });
    const predicted = differences.some(({ field }) => changesCurve(field)) || countsMarks(profile, { screen });
    const curve = toneCurveOf({ points: predicted ? predictPoints({ profile, grid, screen }) : profile.points });
    return aims.every(
      ({ coverage, aimLightness }) => Math.abs(curve.lightnessAt(coverage) - aimLightness!) <= SAME_AIM_L,
    );
  });
}

/** What a profile must have in common with a chart for its own curve to stand for it. */
const changesCurve = (field: SettingsWarning['field']) =>
  field === 'screen' || field === 'pitch' || field === 'lineSpacing';

/** What `judgeDrift` needs of a reading. */
export type ToneReading = Pick<Reading, 'id' | 'role' | 'group' | 'pattern' | 'coverage' | 'mean'>;

export interface JudgeOptions {
  readonly points: readonly TonePoint[];
  /** L* of bare and solid in the profile; a curve may end short of the solid, so they are told apart from it. */
  readonly bareExpected: number;
  readonly solidExpected: number;
  /** Standard deviation of one patch, ΔL*. */
  readonly repeatability: number;
  /** The tones were burned with levels of power, and not with more or fewer dots. */
  readonly hasLevels?: boolean;
  /** L* of the bare surface as the capture shows it. */
  readonly bareLightness: number;
  readonly camera: 'known' | 'unknown';
  /**
   * Where references told how light capture and profile are: the factor within which both together are known (95 %).
   * What moves bare further is the stock, whatever the camera.
   */
  readonly exposureFactor?: number;
}

/**
 * Drift of readings from a tone curve, and its cause by signature. Bare and solid where they were but the tones between
 * moved: the size of the dot (focus, dirty lens). All strengths fell together: power. Bare moved while solid stayed: a
 * new batch. Both moved by one factor: the exposure of the capture, and then everything is compared relative to bare.
 * Both moved, but not by one factor: another camera or other stock.
 * @throws AppError capture-uneven when bare, solid or all tones are missing.
 */
export function judgeDrift(readings: readonly ToneReading[], options: JudgeOptions): Drift {
  const { points, bareExpected, solidExpected, repeatability, bareLightness, camera, exposureFactor } = options;
  const { hasLevels = false } = options;
  const unit = Math.max(repeatability, DRIFT_LIMITS.leastUnit);
  const limit = DRIFT_LIMITS.shift * unit;
  const curve = toneCurveOf({ points });
  const sign = solidExpected > bareExpected ? 1 : -1;
  const groups = groupTones(readings);
  const solid = groups.find(({ role }) => role === 'solid');
  const tones = groups.filter(({ role }) => role === 'tone');
  if (!solid || tones.length === 0) {
    throw new AppError(
      'capture-uneven',
      `found ${solid ? 'a solid' : 'no solid'} and ${tones.length} tones readable, needed a solid and at least one tone between`,
      { solid: solid !== undefined, tones: tones.length },
    );
  }
  // Relative to bare, a brighter or darker exposure changes nothing.
  const relativeTo = (lightness: number) => {
    const luminance = reflectanceOfLightness(lightness);
    return (ratio: number) => lightnessOfReflectance(ratio * luminance);
  };
  const inProfile = relativeTo(bareExpected);
  const inCapture = relativeTo(bareLightness);
  // An exposure moves L* + 16 by one factor: a dark bare surface by less than the light solid that passes the limit.
  const bareLimit = limit * Math.min(1, (bareExpected + 16) / (solidExpected + 16));
  const referenced = exposureFactor !== undefined;
  const openL = referenced
    ? exposureHalf(bareExpected, exposureFactor)
    : camera === 'known'
      ? 0
      : Number.POSITIVE_INFINITY;
  const bareMoved = Math.abs(bareLightness - bareExpected) > Math.hypot(bareLimit, openL);
  const solidKept = Math.abs(inCapture(solid.ratio) - solidExpected) <= limit;
  const exposure = !referenced && bareMoved && !solidKept && Math.abs(inProfile(solid.ratio) - solidExpected) <= limit;
  const told = referenced ? bareMoved : camera === 'known';
  const basis = told && !exposure ? 'absolute' : 'relative';
  const lightnessOf = basis === 'absolute' ? inCapture : inProfile;

  const patches = groups.map(({ ids, role, coverage, ratio, ratios }): DriftPatch => {
    const expected = role === 'bare' ? bareExpected : role === 'solid' ? solidExpected : curve.lightnessAt(coverage);
    const lightness = lightnessOf(ratio);
    const deltas = ratios.map((one) => lightnessOf(one) - expected);
    return { ids, role, coverage, expected, lightness, delta: lightness - expected, deltas };
  });
  const bareDelta = basis === 'absolute' ? bareLightness - bareExpected : 0;
  const solidDelta = patches.find(({ role }) => role === 'solid')!.delta;
  const solidShift = sign * solidDelta;
  // A solid that moved takes the tones along in proportion; only what is left says something about the dot.
  const residuals = patches
    .filter(({ role }) => role === 'tone')
    .map(({ expected, delta }) => {
      const share = (expected - bareExpected) / (solidExpected - bareExpected);
      return sign * (delta - (1 - share) * bareDelta - share * solidDelta);
    });
  const midShift = mean(residuals);
  const telling = basis === 'absolute' ? patches : patches.filter(({ role }) => role !== 'bare');
  const meanDelta = mean(telling.map(({ delta }) => Math.abs(delta)));
  const worst = telling.reduce((a, b) => (Math.abs(b.delta) > Math.abs(a.delta) ? b : a));
  const toneShift = mean(patches.flatMap(({ role, delta }) => (role === 'tone' ? [sign * delta] : [])));
  const worstDelta = Math.abs(worst.delta);
  const facts = {
    unit,
    bareDelta,
    solidDelta,
    solidShift,
    midShift,
    toneShift,
    meanDelta,
    worstDelta,
    tones: tones.length,
    referenced,
    hasLevels,
  };
  const verdict = judge(facts);
  const cause = exposure && verdict === 'holds' ? 'exposure' : verdict === 'holds' ? 'none' : findCause(facts);
  return {
    patches,
    meanDelta,
    worstDelta,
    worstIds: worst.ids,
    bareDelta,
    solidDelta,
    midShift,
    solidShift,
    basis,
    unit,
    verdict,
    cause,
    sentences: writeSentences({
      ...facts,
      verdict,
      cause,
      exposure,
      camera,
      openL,
      readBareDelta: bareLightness - bareExpected,
    }),
  };
}

interface ToneGroup {
  readonly ids: readonly string[];
  readonly role: DriftPatch['role'];
  readonly coverage: number;
  /** Luminance relative to bare: mean of the replicates, and each. */
  readonly ratio: number;
  readonly ratios: readonly number[];
}

/** Bare, solid and screened patches, replicates averaged, from bare to solid. */
function groupTones(readings: readonly ToneReading[]): readonly ToneGroup[] {
  const groups = new Map<string, ToneReading[]>();
  for (const reading of readings) {
    const { pattern } = reading;
    if (pattern.kind !== 'bare' && pattern.kind !== 'solid' && pattern.kind !== 'screened') continue;
    if (reading.role === 'dose') continue;
    groups.set(reading.group, [...(groups.get(reading.group) ?? []), reading]);
  }
  return [...groups.values()]
    .map((group): ToneGroup => {
      const { pattern, coverage } = group[0]!;
      return {
        ids: group.map(({ id }) => id),
        role: pattern.kind === 'screened' ? 'tone' : (pattern.kind as 'bare' | 'solid'),
        coverage,
        ratio: mean(group.map((reading) => reading.mean)),
        ratios: group.map((reading) => reading.mean),
      };
    })
    .sort((a, b) => a.coverage - b.coverage);
}

interface ShiftFacts {
  readonly unit: number;
  readonly bareDelta: number;
  readonly solidDelta: number;
  readonly solidShift: number;
  readonly midShift: number;
  /** Mean shift of the tones between, all of it. */
  readonly toneShift: number;
  readonly meanDelta: number;
  readonly worstDelta: number;
  readonly tones: number;
  /** References told how light capture and profile are. */
  readonly referenced: boolean;
  readonly hasLevels: boolean;
}

function judge({ unit, meanDelta, worstDelta }: ShiftFacts): DriftVerdict {
  const { holdsMean, holdsWorst, learnMean, learnWorst } = DRIFT_LIMITS;
  if (meanDelta <= holdsMean * unit && worstDelta <= holdsWorst * unit) return 'holds';
  return meanDelta > learnMean * unit || worstDelta > learnWorst * unit ? 'learn-again' : 'drifting';
}

function findCause(facts: ShiftFacts): DriftCause {
  const { unit, bareDelta, solidShift, midShift, toneShift, tones, referenced, hasLevels } = facts;
  const limit = DRIFT_LIMITS.shift * unit;
  // The mean over several tones is surer than one patch, but tones share the camera's error: no less than a unit.
  const midLimit = Math.max(unit, limit / Math.sqrt(tones));
  const moved = { bare: Math.abs(bareDelta) > limit, solid: Math.abs(solidShift) > limit };
  if (moved.bare) return moved.solid && !referenced ? 'capture' : 'batch';
  // Dots of a solid overlap whatever their size: only power, or a change of the stock, moves it.
  if (moved.solid) return toneShift * solidShift > 0 ? 'power' : 'unclear';
  if (Math.abs(midShift) <= midLimit) return 'unclear';
  // Tones of levels are even fields, which dots of another size leave as they are; a solid is the last to show power.
  return hasLevels ? 'power' : 'dot-size';
}

interface SentenceFacts extends ShiftFacts {
  readonly verdict: DriftVerdict;
  readonly cause: DriftCause;
  readonly exposure: boolean;
  readonly camera: 'known' | 'unknown';
  /** How far bare may read off by what is open of both exposures, ΔL*. */
  readonly openL: number;
  readonly readBareDelta: number;
}

const signed = (value: number) => `${value < 0 ? '−' : '+'}${roundTo(Math.abs(value), 1)}`;

function writeSentences(facts: SentenceFacts): string[] {
  const { unit, meanDelta, worstDelta, verdict, cause, midShift, solidShift, bareDelta } = facts;
  const numbers = `mean |ΔL*| ${roundTo(meanDelta, 2)}, worst ${roundTo(worstDelta, 1)}, or ${roundTo(meanDelta / unit, 1)} and ${roundTo(worstDelta / unit, 1)} units of ${roundTo(unit, 2)} ΔL*`;
  const verdicts: Record<DriftVerdict, string> = {
    holds: `The profile holds: ${numbers}.`,
    drifting: `The profile is drifting: ${numbers}.`,
    'learn-again': `Learn the material again: ${numbers}; the profile no longer says what this piece does.`,
  };
  const powerShift = facts.hasLevels ? facts.toneShift : solidShift;
  const weaker = (shift: number) => (shift < 0 ? 'weaker' : 'stronger');
  const causes: Record<DriftCause, string[]> = {
    none: [],
    exposure: [],
    'dot-size': [
      `Bare and solid are where they were, the tones between mark ${weaker(midShift)} by ${roundTo(Math.abs(midShift), 1)} L*: the size of the dot has changed.`,
      'Look at the focus, clean the lens, then compare power and speed with the profile’s; burn the strip again before you learn again.',
    ],
    power: [
      facts.hasLevels
        ? `The tones between bare and solid mark ${weaker(powerShift)} by ${roundTo(Math.abs(facts.toneShift), 1)} L*, the solid by ${roundTo(Math.abs(solidShift), 1)}: ${powerShift < 0 ? 'less power arrives at the work' : 'more power arrives at the work'}, or the laser makes something else of the levels.`
        : `All marks are ${weaker(solidShift)}, the solid by ${roundTo(Math.abs(solidShift), 1)} L*: ${solidShift < 0 ? 'less power arrives at the work' : 'more power arrives at the work'}.`,
      powerShift < 0
        ? 'Clean the lens and measure the power; raise it until the solid is as it was, and burn the strip again.'
        : 'Compare the settings with the profile’s; lower the power until the solid is as it was, and burn the strip again.',
    ],
    batch: [
      facts.referenced
        ? `The bare surface reads ${signed(bareDelta)} L* against the reference, more than the ± ${roundTo(facts.openL, 1)} L* that it leaves open: another batch of the material.`
        : `The bare surface reads ${signed(bareDelta)} L*: another batch of the material, or another scanner.`,
      facts.referenced
        ? 'Learn the material again for this batch.'
        : 'Scan both pieces side by side to tell; for a new batch learn the material again.',
    ],
    capture: [
      `Bare and solid both read otherwise (${signed(bareDelta)} and ${signed(facts.solidDelta)} L*), and not by one factor: the camera has a contrast curve of its own, or this is other stock.`,
      'Scan the strip on the scanner that the profile was learned with, and check again.',
    ],
    unclear: [
      'No single cause fits: single patches are off. Look for scratches, dust or uneven stock, and check again.',
    ],
  };
  const relative = facts.exposure
    ? [
        `Bare and solid both read as under another exposure (bare ${signed(facts.readBareDelta)} L*): everything is compared relative to bare.`,
      ]
    : facts.referenced
      ? cause === 'batch'
        ? []
        : [
            `Bare reads ${signed(facts.readBareDelta)} L* against the reference, which leaves ± ${roundTo(facts.openL, 1)} L* open: everything is compared relative to bare.`,
          ]
      : facts.camera === 'unknown'
        ? [
            'The camera’s curve was estimated, so a change of the bare surface itself cannot be seen: scan the chart for that.',
          ]
        : [];
  return [verdicts[verdict], ...causes[cause], ...relative];
}

/** A photograph as the chart reader takes it: three channels, and what the camera says that speaks against it. */
export function toCaptureImage(photo: Photo): CaptureImage {
  const { width, height, bits, channels, rgb, facts } = convertToSrgb(photo);
  const told = facts.exif ? distrustTaking(facts.exif) : [];
  const cautions = told.length > 0 ? { cautions: told } : {};
  if (channels === 3) return { width, height, bits, rgb, ...cautions };
  const tripled = bits === 16 ? new Uint16Array(rgb.length * 3) : new Uint8Array(rgb.length * 3);
  for (let i = 0; i < rgb.length; i++) tripled.fill(rgb[i], 3 * i, 3 * i + 3);
  return { width, height, bits, rgb: tripled, ...cautions };
}

/** What a camera says of its picture that makes tones of a chart doubtful. */
function distrustTaking({ flashFired, digitalZoom, customRendered }: NonNullable<Photo['facts']['exif']>) {
  return [
    ...(flashFired ? [notice('camera-flash')] : []),
    ...(digitalZoom > 1 ? [notice('camera-zoomed', { times: digitalZoom })] : []),
    ...(customRendered ? [notice('camera-processed')] : []),
  ];
}
