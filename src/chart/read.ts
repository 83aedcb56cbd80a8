import { labOfLinearRgb, lightnessOfReflectance, REC709, reflectanceOfLightness } from '../colour/index.ts';
import { AppError } from '../errors.ts';
import { type Notice, notice } from '../notices.ts';
import { cube, findOutlierLimit, median, type OutlierRule, pooledStandardDeviation } from '../numeric/index.ts';
import { type CameraCurve, estimateCameraCurve, luminanceOf, SRGB_CURVE, tabulateCurve } from './camera.ts';
import { CLIPPED_PATCH, findDisturbances, findUnreadable, keepUndisturbed, refuseClipped } from './disturbances.ts';
import { CHART_KINDS } from './kinds/register.ts';
import { fitReferences, type LevelledLight, levelLight, refuseLowContrast } from './level.ts';
import { isLightAdded, type LightSurface } from './light.ts';
import type { Located } from './locate.ts';
import {
  addRejections,
  type Reading,
  type Readings,
  type ReadOptions,
  type RejectedPatch,
  type Rejections,
  rejectPatch,
} from './readings.ts';
import { readReference } from './reference.ts';
import {
  decodeLevels,
  type FieldSamples,
  HISTOGRAM_LEVELS,
  type PatchSamples,
  sampleMargins,
  samplePatches,
} from './samples.ts';
import { measureSharpening, undoSharpening } from './sharpening.ts';
import type { CaptureImage } from './types.ts';

/**
 * Share by which coarse clusters may differ from their area, root mean square, under a camera curve that is believed.
 * Assumed: true curves leave 1 % in benchmarks/captures.ts's cameras; a wrong one leaves more.
 */
const CURVE_RESIDUAL_MAX = 0.03;
/**
 * Standard error of L* from an estimated curve, from which on it is said. Assumed: what a person sees as another tone.
 */
const CURVE_ERROR_SAID = 1.5;
/** From this share on a disagreement of references is said. Assumed: even light on even stock leaves less than 0.01. */
const DISAGREE_SAID = 0.015;
/**
 * Bare fields that show whether a part of the chart is too light or too dark. A count. Assumed: fewer cannot outvote
 * one spoilt field.
 */
const BARE_FIELDS_MIN = 5;
/**
 * Lightness of the lighter of bare and solid, and of what is lightest in the picture, L* as coded: below both a capture
 * is too dark to be read, or is told to be dark. Assumed: noise and the steps of 8 bits are a growing part of the light
 * there.
 */
const DARK_REFUSED = { chart: 30, picture: 60 } as const;
const DARK_SAID = { chart: 40, picture: 60 } as const;
/**
 * Share of the picture that may be lighter than what counts as its lightest: sparks of dust and metal. Assumed: a
 * hundredth is more than sparks take, and less than a sheet beside the piece.
 */
const SPARKS = 0.01;
/**
 * Replicates may differ by this many robust deviations, and at least by this, L*. Assumed: honest patches never differ
 * so; one of them is spoilt.
 */
const REPLICATE_OUTLIER: OutlierRule = { deviations: 6, least: 3 };

/**
 * Reads every patch of a located chart: undoes the camera, levels the light by the references, leaves out what is
 * scratched, clipped or under a reflection, and refuses a capture whose references cannot be trusted.
 * @throws AppError capture-clipped, capture-dark, capture-glare, capture-negative, capture-uneven, contrast-too-low,
 * chart-wrong, reference-unusable
 */
export function readPatches(capture: CaptureImage, located: Located, options: ReadOptions = {}): Readings {
  const { layout } = located;
  const { camera = 'known' } = options;
  refuseNegative(located, options.direction ?? layout.direction);
  const { samples, margins, warnings: ofSampling } = sampleCapture(capture, located);
  const unreadable = addRejections(new Map(), findUnreadable(samples, located));
  refuseClipped(samples);

  // What lies in a reflection or a shadow is left out before an unknown curve is estimated, which would bend to explain
  // it.
  const rough = lightUnder(typeof camera === 'string' ? SRGB_CURVE : camera, capture.bits);
  const added = tellAddedLight(samples, margins, { rough, bits: capture.bits });
  const found = { layout, samples, margins, added };
  const roughSurface = fitReferences({ ...found, rejected: unreadable, lightOf: rough });
  const { blurMm } = located;
  const light = findDisturbances(samples, margins, { surface: roughSurface, lightOf: rough, layout, blurMm });
  const disturbing = addRejections(unreadable, light.rejected);
  const disturbed = [...disturbing.values()].some(({ reason }) => reason === 'glare' || reason === 'shadow');
  const usable = (disturbed ? keepUndisturbed(samples, light.gutters) : samples).filter(isKept(disturbing));
  const { curve, warnings: ofCurve } = chooseCurve(camera, { samples: usable, located, disturbed });

  const lightOf = lightUnder(curve, capture.bits);
  const levelled = levelLight({ ...found, rejected: disturbing, lightOf });
  const { surface } = levelled;
  const colours = readColours(capture, located, { samples, margins, levelled, curve, neutral: options.reference });
  const all = samples.filter(isKept(levelled.rejected)).map(readPatch({ ...colours, surface, lightOf }));
  refuseLowContrast(surface, { bareLab: colours.bare, count: levelled.fields.length });
  const disagreeing = findDisagreeing(all, samples, colours.bare[0]);
  const rejected = addRejections(levelled.rejected, disagreeing);
  const readings = all.filter(({ id }) => !rejected.has(id));
  const direction = surface.solidRatio > 1 ? 'lighter' : 'darker';
  const { smoke } = light;
  return {
    readings,
    rejected: [...rejected.values()],
    bare: colours.bare,
    solid: colours.solid,
    solidRatio: surface.solidRatio,
    direction,
    repeatability: replicateScatter(readings) ?? surface.disagreement,
    disagreement: surface.disagreement,
    unevenness: surface.unevenness,
    camera: curve,
    ...(colours.reference ? { reference: colours.reference } : {}),
    warnings: [
      ...(capture.cautions ?? []),
      ...ofSampling,
      ...(smoke.size > 0
        ? [notice('smoke-taken', { ids: [...smoke.keys()], share: Math.max(...smoke.values()) })]
        : []),
      ...ofCurve,
      ...colours.warnings,
      ...listDisagreement(surface, colours.bareLight),
      ...(direction === layout.direction
        ? []
        : [notice('direction-read', { drawn: layout.direction, read: direction })]),
      ...(rejected.size > 0
        ? [notice('patches-left-out', { patches: [...rejected.values()].map(({ id, reason }) => ({ id, reason })) })]
        : []),
    ],
  };
}

/**
 * Tags burn as the patches do: where they stand out the other way than the chart was drawn for, the picture is a
 * negative, or the material marks otherwise, which a person has to say, since both look the same.
 */
function refuseNegative({ direction: found, layout }: Located, needed: 'lighter' | 'darker'): void {
  if (found === needed) return;
  throw new AppError(
    'capture-negative',
    `found tags ${found} than the bare surface, needed ${needed} ones as in chart ${layout.hash}: a negative of the picture, or a material that marks ${found}, which needs a chart drawn for ${found} marks, or to be read as one that marks ${found}`,
    { found, needed, options: ['direction'] },
  );
}

/** The pixels of every patch, and of the bare margins of a strip, with the camera's own sharpening taken back. */
function sampleCapture(capture: CaptureImage, located: Located) {
  const sharpening = measureSharpening(capture, located);
  const plain = sharpening ? undoSharpening(capture, located, sharpening) : capture;
  return {
    samples: samplePatches(plain, located),
    margins: CHART_KINDS[located.layout.kind].isStrip ? sampleMargins(plain, located) : [],
    warnings: sharpening
      ? [notice('camera-sharpened', { amount: sharpening.amount, radiusPx: sharpening.radiusPx })]
      : [],
  };
}

const isKept =
  (rejected: Rejections) =>
  ({ patch }: PatchSamples): boolean =>
    !rejected.has(patch.id);

/** Linear light of a field under a curve; above 0, so that it has a logarithm. */
function lightUnder({ linearOf }: CameraCurve, bits: CaptureImage['bits']): (sample: FieldSamples) => number {
  const byLevel = tabulateCurve(linearOf, HISTOGRAM_LEVELS[bits]);
  return (sample) => Math.max(1e-6, luminanceOf(sample, byLevel));
}

/**
 * Whether something adds light to a part of the chart (a reflection) or takes it (a shadow): by the gutters, else by
 * the bare fields; undefined where neither can tell.
 */
function tellAddedLight(
  samples: readonly PatchSamples[],
  margins: readonly FieldSamples[],
  { rough, bits }: { readonly rough: (sample: FieldSamples) => number; readonly bits: CaptureImage['bits'] },
): boolean | undefined {
  // The gutters are decoded as sRGB; for this question patches are, too.
  const decode = decodeLevels(bits);
  const pairs = samples
    .filter(({ gutter, clippedHigh }) => Number.isFinite(gutter) && clippedHigh <= CLIPPED_PATCH)
    .map((sample) => ({ group: sample.patch.group, light: luminanceOf(sample, decode), bare: sample.gutter }));
  const bare = samples.filter(({ patch }) => patch.role === 'bare');
  return isLightAdded(pairs) ?? leansLight([...bare, ...margins].map(rough));
}

/** Where patches cannot tell: a reflection makes few bare fields far lighter than most, a shadow few far darker. */
function leansLight(bareLights: readonly number[]): boolean | undefined {
  if (bareLights.length < BARE_FIELDS_MIN) return undefined;
  const logs = bareLights.map(Math.log);
  const middle = median(logs);
  return logs.reduce((sum, log) => sum + cube(log - middle), 0) > 0;
}

interface ChosenCurve {
  readonly curve: CameraCurve;
  readonly warnings: readonly Notice[];
}

interface CurveFacts {
  readonly samples: readonly PatchSamples[];
  readonly located: Located;
  readonly disturbed: boolean;
}

/** The camera's curve: the one given, or the one that the chart's coarse clusters tell. */
function chooseCurve(
  camera: NonNullable<ReadOptions['camera']>,
  { samples, located, disturbed }: CurveFacts,
): ChosenCurve {
  if (camera === 'known') return { curve: SRGB_CURVE, warnings: [] };
  if (camera !== 'unknown') return { curve: camera, warnings: [] };
  const estimated = estimateCameraCurve(samples, located.layout, { disturbed });
  if (!estimated) {
    return { curve: SRGB_CURVE, warnings: [notice('clusters-missing')] };
  }
  if (estimated.residual > CURVE_RESIDUAL_MAX || estimated.atLimit) {
    return { curve: SRGB_CURVE, warnings: [notice('clusters-unexplained', { residual: estimated.residual })] };
  }
  const lightness = estimated.errorLightness;
  return {
    curve: estimated,
    warnings: [
      ...(disturbed ? [notice('curve-under-disturbance')] : []),
      ...(lightness > CURVE_ERROR_SAID ? [notice('curve-badly-known', { lightness })] : []),
    ],
  };
}

interface ColourFacts {
  readonly samples: readonly PatchSamples[];
  readonly margins: readonly FieldSamples[];
  readonly levelled: LevelledLight;
  readonly curve: CameraCurve;
  readonly neutral: ReadOptions['reference'];
}

/**
 * Colours of bare and solid under the camera's curve, and, with a neutral field beside the chart, counted by it.
 * @throws AppError capture-dark, reference-unusable
 */
function readColours(
  capture: CaptureImage,
  located: Located,
  { samples, margins, levelled: { surface, fields, rejected }, curve, neutral }: ColourFacts,
) {
  const byLevel = tabulateCurve(curve.linearOf, HISTOGRAM_LEVELS[capture.bits]);
  const kept = samples.filter(isKept(rejected));
  const bareSamples = kept.filter(({ patch }) => patch.role === 'bare');
  const codedBare = meanRgb(bareSamples.length > 0 ? bareSamples : margins, byLevel);
  const codedSolid = meanRgb(
    kept.filter(({ patch }) => patch.role === 'solid'),
    byLevel,
  );
  const [bareL, solidL] = [labOfLinearRgb(codedBare)[0], labOfLinearRgb(codedSolid)[0]];
  const dark = judgeDark(capture, Math.max(bareL, solidL));
  const { bareAt } = surface;
  const reference =
    neutral && readReference(neutral, { capture, located, curve, fields, bareAt, bareRgb: codedBare, bareL, solidL });
  const gain = reference?.gain ?? 1;
  const scaled = ([red, green, blue]: readonly [number, number, number]) =>
    [gain * red, gain * green, gain * blue] as const;
  const bareRgb = scaled(codedBare);
  return {
    byLevel,
    bare: labOfLinearRgb(bareRgb),
    solid: labOfLinearRgb(scaled(codedSolid)),
    bareLight: REC709.weights.reduce((sum, weight, at) => sum + weight * bareRgb[at]!, 0),
    reference,
    warnings: dark ? [dark] : [],
  };
}

/**
 * Whether a picture is too dark: when neither the chart nor anything else in it is light. Dark stock beside something
 * light is not.
 * @returns what a person should know; undefined when it is light enough
 * @throws AppError capture-dark
 */
function judgeDark(capture: CaptureImage, chart: number): Notice | undefined {
  if (chart >= DARK_SAID.chart) return undefined;
  const picture = lightestOf(capture);
  if (picture >= DARK_SAID.picture) return undefined;
  if (chart < DARK_REFUSED.chart && picture < DARK_REFUSED.picture) {
    throw new AppError(
      'capture-dark',
      `found the lighter of bare and solid at L* ${chart.toFixed(0)} and nothing in the picture above L* ${picture.toFixed(0)}, needed L* ${DARK_REFUSED.chart} on the chart, or something of L* ${DARK_REFUSED.picture} that shows that the stock is dark and not the picture; expose more, or lay a sheet of white paper beside the piece`,
      { chart, picture },
    );
  }
  return notice('capture-darkish', { chart, picture });
}

/** L* that all but a few sparks of a picture stay below. */
function lightestOf({ width, height, rgb, bits }: CaptureImage): number {
  const decode = decodeLevels(bits);
  const shift = bits === 16 ? 4 : 0;
  const step = Math.max(1, Math.floor((width * height) / 40_000));
  const lights: number[] = [];
  for (let at = 0; at < width * height; at += step) {
    const light = REC709.weights.reduce((sum, weight, c) => sum + weight * decode[rgb[3 * at + c] >> shift], 0);
    lights.push(light);
  }
  lights.sort((a, b) => a - b);
  return lightnessOfReflectance(lights[Math.floor((1 - SPARKS) * (lights.length - 1))]!);
}

function meanRgb(fields: readonly FieldSamples[], byLevel: Float64Array): [number, number, number] {
  const levels = byLevel.length;
  const sums: [number, number, number] = [0, 0, 0];
  for (const { histogram, pixels } of fields) {
    for (let channel = 0; channel < 3; channel++) {
      let sum = 0;
      for (let level = 0; level < levels; level++) sum += histogram[channel * levels + level] * byLevel[level];
      sums[channel]! += sum / pixels / fields.length;
    }
  }
  return sums;
}

interface PatchLight {
  readonly byLevel: Float64Array;
  readonly bareLight: number;
  readonly surface: LightSurface;
  readonly lightOf: (sample: FieldSamples) => number;
}

/** From the pixels of a patch to its reading, under the light of its place. */
function readPatch({ byLevel, bareLight, surface, lightOf }: PatchLight): (sample: PatchSamples) => Reading {
  return (sample) => {
    const { patch, xMm, yMm } = sample;
    const bareHere = surface.bareAt(xMm, yMm);
    const mean = lightOf(sample) / bareHere;
    const [red, green, blue] = meanRgb([sample], byLevel);
    const level = bareLight / bareHere;
    return {
      id: patch.id,
      role: patch.role,
      group: patch.group,
      pattern: patch.pattern,
      coverage: patch.coverage,
      mean,
      colour: labOfLinearRgb([red * level, green * level, blue * level]),
      spread: mean * sample.blockSpread,
      pixels: Math.round(sample.pixels),
      rejectedShare: sample.rejectedShare,
      xMm: patch.xMm + patch.widthMm / 2,
      yMm: patch.yMm + patch.heightMm / 2,
      order: patch.order,
    };
  };
}

/** What a disagreement of the references is in L*, where it is worth saying. */
function listDisagreement({ disagreement, solidRatio }: LightSurface, bareLight: number): readonly Notice[] {
  if (disagreement <= DISAGREE_SAID) return [];
  // dL* = 116/3 · ∛Y · dY/Y, at the lighter of bare and solid.
  const slope = (116 / 3) * Math.cbrt(bareLight * Math.max(1, solidRatio));
  return [notice('references-disagree', { share: disagreement, lightness: slope * disagreement })];
}

/** Standard deviation of replicates around their group's mean; undefined when nothing is repeated. */
function replicateScatter(readings: readonly Reading[]): number | undefined {
  return pooledStandardDeviation([...groupReadings(readings).values()].map((group) => group.map(({ mean }) => mean)));
}

function groupReadings(readings: readonly Reading[]): Map<string, Reading[]> {
  const groups = new Map<string, Reading[]>();
  for (const reading of readings) groups.set(reading.group, [...(groups.get(reading.group) ?? []), reading]);
  return groups;
}

/** Tones that differ from the median of three or more replicates beyond what replicates do among themselves, in L*. */
function findDisagreeing(
  readings: readonly Reading[],
  samples: readonly PatchSamples[],
  bareLightness: number,
): RejectedPatch[] {
  const bareY = reflectanceOfLightness(bareLightness);
  const lightnessOf = ({ mean }: Reading) => lightnessOfReflectance(bareY * Math.max(0, mean));
  const repeated = [...groupReadings(readings).values()]
    .filter((group) => group.length > 1)
    .map((group) => {
      const centre = median(group.map(lightnessOf));
      return group.map((reading) => ({ reading, size: group.length, offL: Math.abs(lightnessOf(reading) - centre) }));
    });
  const limit = findOutlierLimit(
    repeated.flat().map(({ offL }) => offL),
    REPLICATE_OUTLIER,
  );
  const offOf = new Map(repeated.flat().map((one) => [one.reading.id, one]));
  return samples.flatMap((sample) => {
    const one = offOf.get(sample.patch.id);
    const { role } = sample.patch;
    if (!one || one.size < 3 || role === 'bare' || role === 'solid' || one.offL <= limit) return [];
    return [rejectPatch(sample, 'disagrees', `differs from its replicates by ${one.offL.toFixed(1)} L*`)];
  });
}
