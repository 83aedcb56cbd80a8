import {
  type CaptureImage,
  type ChartLayout,
  type Corners,
  drawChart,
  fires,
  type Located,
  locateChart,
  type Patch,
  type PatchPattern,
  type Reading,
  type Readings,
  readPatches,
} from '../../chart/index.ts';
import { lightnessOfReflectance, reflectanceOfLightness } from '../../colour/index.ts';
import { AppError } from '../../errors.ts';
import type { BareHandling, EvennessMap } from '../../machine/index.ts';
import {
  type AimCurve,
  type DotField,
  type FitPattern,
  type FitReading,
  fitProfile,
  type Profile,
  type ProfileFit,
  type Seen,
  steadyProfile,
} from '../../material/index.ts';
import { type Notice, notice, withoutCodes, withoutRepeats } from '../../notices.ts';
import { findOutlierLimit, median, type OutlierRule } from '../../numeric/index.ts';
import type { DotGrid, Dots, Plane } from '../../plane/index.ts';
import { applyScreen, type ScreenName } from '../../screens/index.ts';
import { gainByMoreDose, recommendSpacingMm } from '../request/grid.ts';
import { type CaptureReference, knowExposure } from './exposure.ts';
import { type DoseOptions, type DoseReading, readDose } from './read-dose.ts';
import { readEvenness } from './read-evenness.ts';
import { type ExpectedFocus, type FocusReading, readFocus } from './read-focus.ts';
import { readSpot, type SpotReading } from './read-spot.ts';
import { analyseScatter, type ScatterAnalysis } from './scatter.ts';
import { chooseLimits } from './verification.ts';

export interface NamedCapture {
  /** What messages call it: the file's name. */
  readonly name: string;
  readonly image: CaptureImage;
}

export interface ReadCapturesOptions {
  /** Layouts that the capture may show; its tags say which. */
  readonly layouts: readonly ChartLayout[];
  readonly camera: 'known' | 'unknown';
  readonly mirrored?: boolean;
  /**
   * Whether a material is looked at from either side: the marks then tell which, whatever `mirrored` says. Undefined
   * where nobody knows.
   */
  readonly isClear?: (material: string) => boolean | undefined;
  /** How the material really marks, where that is not what the chart was drawn for. */
  readonly direction?: 'lighter' | 'darker';
  /**
   * What tells how light the whole is: a neutral field beside the chart in every capture, or that the captures are
   * scans with the scanner's automatics off.
   */
  readonly reference?: CaptureReference;
  /** Corners by hand, pixels of the first capture; only with one capture. */
  readonly corners?: Corners;
}

export interface FitCapturesOptions {
  readonly camera: 'known' | 'unknown';
  /** As the captures were read. */
  readonly reference?: CaptureReference;
  /** Name and title of the profile; made from material and chart when absent. */
  readonly name?: string;
  readonly title?: string;
  /** Aim curve that the profile keeps. */
  readonly aim?: AimCurve;
  /** ISO date. */
  readonly date: string;
  readonly origin?: 'measured' | 'simulated';
}

export interface LearnOptions extends ReadCapturesOptions, FitCapturesOptions {}

/** One capture with where the chart lies in it. */
export interface LocatedCapture extends NamedCapture {
  readonly located: Located;
  /** From which side the picture was taken; at the face of stock that is known to be opaque. */
  readonly seen: Seen;
  /** Names of further captures that hold the same picture, pixel for pixel: they say nothing more. */
  readonly sameAs?: readonly string[];
}

/** One capture with what was found in it. */
export interface ReadCapture extends LocatedCapture {
  readonly readings: Readings;
}

export interface Learned extends ProfileFit {
  readonly layout: ChartLayout;
  readonly captures: readonly ReadCapture[];
  /** Line spacing that the solid supports with these settings, mm: the burned one where it is right. */
  readonly recommendedSpacingMm: number;
  /** ΔL* that the solid would still gain by a quarter more dose. */
  readonly gainByMoreDoseL: number;
  /** Where the scatter between equal patches comes from; absent when too few tones are repeated. */
  readonly scatter?: ScatterAnalysis;
  /** Everything to distrust: of the captures, then of the fit. */
  readonly warnings: readonly Notice[];
}

/**
 * From captures of one tone chart to a profile: locate, read, take the median of each patch over the captures, fit.
 * @throws AppError those of `locateChart`, `readPatches` and `fitProfile`; chart-wrong for captures of different charts
 * or of a chart without tones.
 */
export function learnProfile(captures: readonly NamedCapture[], options: LearnOptions): Learned {
  return fitCaptures(readCaptures(captures, options), options);
}

/**
 * Locates and reads captures of one chart, of whatever kind.
 * @throws AppError those of `locateCaptures` and `readPatches`
 */
export function readCaptures(captures: readonly NamedCapture[], options: ReadCapturesOptions): readonly ReadCapture[] {
  return readLocated(locateCaptures(captures, options), options);
}

/**
 * Finds the chart in captures of one piece. A picture that is given twice is counted once.
 * @throws AppError those of `locateChart` and `refuseCorners`; chart-wrong for captures of different charts
 */
export function locateCaptures(
  captures: readonly NamedCapture[],
  { layouts, mirrored = false, isClear, corners }: Omit<ReadCapturesOptions, 'camera'>,
): readonly LocatedCapture[] {
  if (captures.length === 0) throw new RangeError('learning needs at least one capture');
  refuseCorners(captures.length, corners);
  const found = tellApart(captures).map(({ name, image, sameAs }): LocatedCapture => {
    const how = { mirrored, ...(corners ? { corners } : {}) };
    const located = naming(name, () => locateEitherSide(image, layouts, { ...how, ...(isClear ? { isClear } : {}) }));
    const seen = isClear?.(located.layout.material) === false ? 'face' : sideOf(located);
    return { name, image, located, seen, ...(sameAs.length > 0 ? { sameAs } : {}) };
  });
  const { layout } = found[0]!.located;
  for (const { name, located, seen } of found) {
    if (seen !== found[0]!.seen) {
      throw new AppError(
        'chart-wrong',
        `${name}: found a picture taken ${SAY_SIDE[seen]}, needed one taken ${SAY_SIDE[found[0]!.seen]} as ${found[0]!.name}; learn each side by itself`,
        { found: seen, needed: found[0]!.seen },
      );
    }
    // Charts at several places of one field are one measurement.
    if (located.layout.hash === layout.hash || (located.layout.inField && layout.inField)) continue;
    throw new AppError(
      'chart-wrong',
      `${name}: found chart ${located.layout.hash}, needed ${layout.hash} as in ${found[0]!.name}; learn each chart by itself`,
      { found: located.layout.hash, needed: layout.hash },
    );
  }
  return found;
}

/** Where a picture was taken, in words. */
export const SAY_SIDE = { face: 'at the burned face', through: 'through the stock' } as const;

/** From which side a picture of a chart was taken: a chart that is burned mirrored reads straight through the stock. */
export const sideOf = ({ layout, mirrored }: Pick<Located, 'layout' | 'mirrored'>): Seen =>
  (layout.seen === 'through') === mirrored ? 'face' : 'through';

/**
 * Where the chart lies; of a chart on clear stock, from whichever side its picture was taken.
 * @throws AppError those of `locateChart`
 */
export function locateEitherSide(
  image: CaptureImage,
  layouts: readonly ChartLayout[],
  { isClear, mirrored, corners }: Pick<ReadCapturesOptions, 'isClear' | 'corners'> & { readonly mirrored: boolean },
): Located {
  const by = corners ? { corners } : {};
  try {
    return locateChart(image, layouts, { mirrored, ...by });
  } catch (error) {
    const clear = layouts.filter(({ seen, material }) => seen === 'through' || isClear?.(material) === true);
    if (!(error instanceof AppError) || error.code !== 'chart-mirrored' || clear.length === 0) throw error;
    try {
      return locateChart(image, clear, { mirrored: !mirrored, ...by });
    } catch {
      throw error;
    }
  }
}

/**
 * Reads the patches of captures in which the chart was found.
 * @throws AppError those of `readPatches`
 */
export function readLocated(
  located: readonly LocatedCapture[],
  { camera, direction, reference }: Pick<ReadCapturesOptions, 'camera' | 'direction' | 'reference'>,
): readonly ReadCapture[] {
  const how = {
    camera,
    ...(direction ? { direction } : {}),
    ...(reference && reference !== 'scanner' ? { reference } : {}),
  };
  return located.map((capture) => {
    const { name, image, located: found } = capture;
    return { ...capture, readings: naming(name, () => readPatches(image, found, how)) };
  });
}

/** @throws AppError option-invalid: corners by hand are pixels of one picture */
export function refuseCorners(captures: number, corners: Corners | undefined): void {
  if (!corners || captures === 1) return;
  throw new AppError(
    'option-invalid',
    `found corners by hand and ${captures} captures, needed one; corners belong to one picture`,
    { captures },
  );
}

/** Of several captures, says in which the fault is. */
function naming<T>(name: string, work: () => T): T {
  try {
    return work();
  } catch (error) {
    if (!(error instanceof AppError)) throw error;
    throw new AppError(error.code, `${name}: ${error.message}`, { ...error.details, capture: name });
  }
}

/** Captures that differ, each with the names of those that hold the same picture. */
function tellApart(
  captures: readonly NamedCapture[],
): readonly (NamedCapture & { readonly sameAs: readonly string[] })[] {
  const apart: (NamedCapture & { sameAs: string[] })[] = [];
  for (const { name, image } of captures) {
    const same = apart.find((other) => holdsSame(other.image, image));
    if (same) same.sameAs.push(name);
    else apart.push({ name, image, sameAs: [] });
  }
  return apart;
}

function holdsSame(a: CaptureImage, b: CaptureImage): boolean {
  if (a.width !== b.width || a.height !== b.height || a.bits !== b.bits) return false;
  for (let i = 0; i < a.rgb.length; i++) if (a.rgb[i] !== b.rgb[i]) return false;
  return true;
}

/**
 * From the readings of one tone chart to a profile.
 * @throws AppError those of `fitProfile`; chart-wrong for a chart without tones
 */
export function fitCaptures(read: readonly ReadCapture[], options: FitCapturesOptions): Learned {
  const { camera, date } = options;
  const { layout } = read[0]!.located;
  if (layout.kind !== 'tone') {
    throw new AppError(
      'chart-wrong',
      `found a ${layout.kind} chart (${layout.hash}), needed a tone chart to learn a profile from, or a spot or dose chart to measure; a check or verify chart is compared with its profile`,
      { kind: layout.kind, hash: layout.hash },
    );
  }
  const bare = medianLab(read.map(({ readings }) => readings.bare));
  const solidRatio = median(read.map(({ readings }) => readings.solidRatio));
  const solid = medianLab(read.map(({ readings }) => readings.solid));
  const screen = screenOf(layout);
  const levelScreen = layout.levels ? screenOf(layout.levels) : screen;
  const material = layout.material === '' ? 'unnamed' : layout.material;
  const { seen } = read[0]!;
  const isTurned = (seen === 'through') !== (layout.seen === 'through');
  const cameraError = Math.max(...read.map(({ readings }) => readings.camera.errorLightness));
  const fitted = fitProfile(medianReadings(read).map(toFitReading), {
    facts: {
      schema: 'tonewright-profile/1',
      name: options.name ?? `${material}-${layout.hash.slice(0, 6)}${isTurned ? `-${seen}` : ''}`,
      title: options.title ?? `${material} on ${layout.machine}${seen === 'through' ? ', seen through' : ''}`,
      material,
      machine: layout.machine,
      grid: layout.grid,
      settings: layout.settings,
      screen: layout.screen,
      bare,
      full: [lightnessOfReflectance(solidRatio * reflectanceOfLightness(bare[0])), solid[1], solid[2]],
      origin: options.origin ?? 'measured',
      date,
      ...(options.aim ? { aim: options.aim } : {}),
      note: `Learned from ${read.length === 1 ? 'one capture' : `${read.length} captures`} of chart ${layout.hash}, camera curve ${camera}.`,
      captures: { count: read.length, camera },
    },
    patternOf: patternsOf(layout, { screen, levelScreen }),
    halftone: (coverage) => screen(coverage, layout.grid),
    ...(layout.levels
      ? { levels: { ...layout.levels, halftone: (coverage) => levelScreen(coverage, layout.grid) } }
      : {}),
    drawnDirection: layout.direction,
    cameraError,
  });
  const scatter = analyseScatter(read, layout);
  // The direction is judged by both; the fit says what follows from it.
  const ofCaptures = withoutCodes(listWarnings(read), 'direction-read');
  return {
    ...fitted,
    profile: steadyProfile({
      ...fitted.profile,
      limits: chooseLimits(fitted.profile.repeatability),
      exposure: knowExposure(
        read.map(({ readings }) => readings),
        options.reference,
      ),
      ...(seen === 'through' ? { seen } : {}),
      ...(layout.beneath ? { beneath: layout.beneath } : {}),
    }),
    layout,
    captures: read,
    ...(scatter ? { scatter } : {}),
    recommendedSpacingMm: recommendSpacingMm(fitted.profile),
    gainByMoreDoseL: gainByMoreDose(fitted.profile),
    warnings: [...(isTurned ? [notice('chart-side', { seen })] : []), ...ofCaptures, ...fitted.report.warnings],
  };
}

type Screen = (coverage: Plane<'coverage'>, grid: DotGrid) => Dots;

function screenOf({ screen }: Pick<ChartLayout, 'screen'>): Screen {
  return (coverage, grid) => applyScreen(coverage, { ...screen.options, name: screen.name as ScreenName, grid });
}

/** What the captures say once each, and where they disagree. */
function listWarnings(read: readonly ReadCapture[]): readonly Notice[] {
  const disagreeing = findDisagreements(read);
  return [
    ...read.flatMap(({ name, sameAs = [] }) =>
      sameAs.length > 0 ? [notice('capture-repeated', { name, sameAs })] : [],
    ),
    ...withoutRepeats(read.flatMap(({ readings }) => readings.warnings)),
    ...(disagreeing.length > 0 ? [notice('captures-disagree', { patches: disagreeing, captures: read.length })] : []),
  ];
}

/**
 * A patch about which captures of one piece differ by more than so many robust deviations, and so much, ΔL*, is an
 * outlier. Assumed: honest patches pass five once in millions; less than 1.5 L* does no harm.
 */
const DISAGREEMENT: OutlierRule = { deviations: 5, least: 1.5 };

/** Patches about which captures of one piece disagree beyond what they do elsewhere, the worst first. */
export function findDisagreements(
  captures: readonly { readonly readings: Pick<Readings, 'readings' | 'bare'> }[],
): readonly { readonly id: string; readonly deltaL: number }[] {
  if (captures.length < 2) return [];
  const bareY = reflectanceOfLightness(medianLab(captures.map(({ readings }) => readings.bare))[0]);
  const byCapture = captures.map(
    ({ readings }) =>
      new Map(readings.readings.map(({ id, mean }) => [id, lightnessOfReflectance(Math.max(0, mean) * bareY)])),
  );
  const ids = [...byCapture[0]!.keys()].filter((id) => byCapture.every((one) => one.has(id)));
  if (ids.length === 0) return [];
  const centre = new Map(ids.map((id) => [id, median(byCapture.map((one) => one.get(id)!))]));
  const off = byCapture.map((one) => {
    const own = ids.map((id) => one.get(id)! - centre.get(id)!);
    const shift = median(own);
    return own.map((value) => value - shift);
  });
  const limit = findOutlierLimit(off.flat(), DISAGREEMENT);
  return ids
    .map((id, at) => ({
      id,
      deltaL: Math.max(...off.map((one) => one[at]!)) - Math.min(...off.map((one) => one[at]!)),
    }))
    .filter(({ deltaL }) => deltaL > limit)
    .sort((a, b) => b.deltaL - a.deltaL);
}

/** A spot, a focus, a dose or a field chart, measured; what its captures say beside it. */
export interface Measured {
  readonly reading: SpotReading | FocusReading | DoseReading | EvennessMap;
  readonly captures: readonly ReadCapture[];
  readonly warnings: readonly Notice[];
}

export interface MeasureOptions extends DoseOptions {
  /** Field charts: the profile through which they are read, and the day of reading, an ISO date. */
  readonly field?: { readonly profile: Profile; readonly date: string };
  /** Focus charts: the beam by the optics of the machine. */
  readonly beam?: ExpectedFocus;
  /** Spot charts burned there and back: what the machine does with bare lines. */
  readonly bare?: BareHandling;
}

/**
 * What a spot, a focus, a dose or a field chart tells, by the median of each patch over the captures.
 * @throws AppError those of `readSpot`, `readFocus`, `readDose` and `readEvenness`; chart-wrong for another chart
 */
export function measureCaptures(captures: readonly ReadCapture[], options: MeasureOptions = {}): Measured {
  const { layout } = captures[0]!.located;
  if (layout.inField && options.field) {
    const layouts = new Map(captures.map(({ located }) => [located.layout.hash, located.layout]));
    const charts = [...layouts.values()].map((one) => ({
      layout: one,
      readings: medianReadings(captures.filter(({ located }) => located.layout.hash === one.hash)),
    }));
    return { reading: readEvenness(charts, options.field), captures, warnings: listWarnings(captures) };
  }
  const readings = {
    readings: medianReadings(captures),
    bare: medianLab(captures.map(({ readings: { bare } }) => bare)),
    solidRatio: median(captures.map(({ readings: { solidRatio } }) => solidRatio)),
    direction: captures[0]!.readings.direction,
  };
  const reading = layout.ramp
    ? readFocus(readings, layout, options)
    : layout.kind === 'spot'
      ? readSpot(readings, layout, options.bare)
      : readDose(readings, layout, options);
  return { reading, captures, warnings: listWarnings(captures) };
}

/** Every patch once: the median of what the captures read there. */
function medianReadings(captures: readonly ReadCapture[]): readonly Reading[] {
  const byId = new Map<
    string,
    { readonly reading: Reading; readonly means: number[]; readonly colours: Reading['colour'][] }
  >();
  for (const { readings } of captures) {
    for (const reading of readings.readings) {
      const known = byId.get(reading.id);
      if (known) {
        known.means.push(reading.mean);
        known.colours.push(reading.colour);
      } else byId.set(reading.id, { reading, means: [reading.mean], colours: [reading.colour] });
    }
  }
  return [...byId.values()].map(({ reading, means, colours }) => ({
    ...reading,
    mean: median(means),
    colour: medianLab(colours),
  }));
}

function toFitReading({ id, role, group, coverage, mean }: Reading): FitReading {
  const kind = role === 'bare' || role === 'solid' || role === 'step' || role === 'level' ? role : 'pattern';
  return { id, role: kind, group, coverage, relativeLuminance: mean };
}

/** Dots of every group of patches: one period of exact patterns, the burned patch itself of screened ones. */
function patternsOf(
  layout: ChartLayout,
  { screen, levelScreen }: { readonly screen: Screen; readonly levelScreen: Screen },
): (group: string) => FitPattern {
  const patches = new Map<string, Patch>(layout.patches.map((patch) => [patch.group, patch]));
  let chart: Dots | undefined;
  return (group) => {
    const patch = patches.get(group);
    if (!patch) throw new RangeError(`no patch of the chart belongs to ${group}`);
    const { pattern } = patch;
    if (pattern.kind === 'level') return evenLevel(pattern.level, layout.levels!.count);
    if (pattern.kind !== 'screened' && pattern.kind !== 'levels') return drawPeriod(pattern);
    chart ??= drawChart({ ...layout, tags: [], labels: [] }, screen, levelScreen);
    return { dots: cropPatch(chart, patch), edge: 'bare', featureDots: 1 };
  };
}

function evenLevel(level: number, levels: number): FitPattern {
  return { dots: { width: 1, height: 1, levels, data: Uint8Array.of(level) }, edge: 'repeat', featureDots: 1 };
}

function drawPeriod(pattern: Exclude<PatchPattern, { kind: 'screened' | 'levels' | 'level' }>): FitPattern {
  const [width, height, featureDots] = sizePeriod(pattern);
  const data = new Uint8Array(width * height);
  for (let y = 0; y < height; y++) {
    for (let x = 0; x < width; x++) data[y * width + x] = fires(pattern, x, y) ? 1 : 0;
  }
  return { dots: { width, height, levels: 2, data }, edge: 'repeat', featureDots };
}

/** Period along x and y, dots, and the width of the smallest mark or gap. */
function sizePeriod(
  pattern: Exclude<PatchPattern, { kind: 'screened' | 'levels' | 'level' }>,
): readonly [number, number, number] {
  switch (pattern.kind) {
    case 'checker':
      return [2 * pattern.dots, 2 * pattern.dots, pattern.dots];
    case 'squares':
      return [pattern.period, pattern.period, pattern.dots];
    case 'lines-x':
      return [1, pattern.period, pattern.period / 2];
    case 'lines-y':
      return [pattern.period, 1, pattern.period / 2];
    case 'vernier':
      return [pattern.period, 2, pattern.period / 2];
    default:
      return [1, 1, 1];
  }
}

function cropPatch({ data, width, levels }: Dots, patch: Patch): DotField {
  const out = new Uint8Array(patch.widthDots * patch.heightDots);
  for (let y = 0; y < patch.heightDots; y++) {
    const from = (patch.yDots + y) * width + patch.xDots;
    out.set(data.subarray(from, from + patch.widthDots), y * patch.widthDots);
  }
  return { width: patch.widthDots, height: patch.heightDots, levels, data: out };
}

function medianLab(colours: readonly Readings['bare'][]): Readings['bare'] {
  const channel = (at: 0 | 1 | 2) => median(colours.map((colour) => colour[at]));
  return [channel(0), channel(1), channel(2)];
}
