import { type Lab, labOfLinearRgb, lightnessOfReflectance, REC709 } from '../colour/index.ts';
import { AppError } from '../errors.ts';
import { type Notice, notice } from '../notices.ts';
import { cube, median, standardDeviation } from '../numeric/index.ts';
import { type CameraCurve, estimateCameraCurve, luminanceOf, SRGB_CURVE, tabulateCurve } from './camera.ts';
import { fitLight, isLightAdded, type LightSurface, type ReferenceField } from './light.ts';
import type { Located } from './locate.ts';
import { type FoundReference, type NeutralReference, readReference } from './reference.ts';
import { judgeRings, neighbourScatter, type RingLight } from './rings.ts';
import {
  decodeLevels,
  type FieldSamples,
  HISTOGRAM_LEVELS,
  type PatchSamples,
  sampleMargins,
  samplePatches,
} from './samples.ts';
import { measureSharpening, undoSharpening } from './sharpening.ts';
import type { CaptureImage, ChartLayout, PatchPattern, PatchRole } from './types.ts';

export interface ReadOptions {
  /**
   * `known`: the file's values are sRGB (after its embedded profile was applied). `unknown`: a camera with a contrast
   * curve of its own, estimated from the chart. Or a curve that was estimated before.
   */
  readonly camera?: 'known' | 'unknown' | CameraCurve;
  /** How the material really marks, where that is not what the chart was drawn for. */
  readonly direction?: 'lighter' | 'darker';
  /** A neutral field beside the chart, by which all lightness is counted. */
  readonly reference?: NeutralReference;
}

/** One patch as it was read. */
export interface Reading {
  readonly id: string;
  readonly role: PatchRole;
  readonly group: string;
  readonly pattern: PatchPattern;
  readonly coverage: number;
  /** Linear luminance relative to the bare surface at the same place: bare 1. */
  readonly mean: number;
  /** Colour under the light that the bare surface's colour is given for, D65. */
  readonly colour: Lab;
  /** Standard deviation between blocks of the patch, in the same unit: graininess, not error. */
  readonly spread: number;
  /** Pixels that were read. */
  readonly pixels: number;
  /** Share of the patch left out as scratches or dust. */
  readonly rejectedShare: number;
  readonly xMm: number;
  readonly yMm: number;
  /** Place in the burn order. */
  readonly order: number;
}

export type RejectReason = 'scratch' | 'glare' | 'shadow' | 'clipped' | 'outside' | 'disagrees';

export interface RejectedPatch {
  readonly id: string;
  readonly role: PatchRole;
  readonly reason: RejectReason;
  /** What was found and what was needed, in words. */
  readonly detail: string;
}

export interface Readings {
  /** All patches that can be trusted, every replicate of its own, in burn order. */
  readonly readings: readonly Reading[];
  readonly rejected: readonly RejectedPatch[];
  /** Colour of the bare surface and of the solid as the capture shows them, D65. */
  readonly bare: Lab;
  readonly solid: Lab;
  /** Luminance of solid relative to bare. */
  readonly solidRatio: number;
  /** Whether the mark is lighter or darker than the bare surface, as read. */
  readonly direction: 'lighter' | 'darker';
  /** Standard deviation between replicates of one tone, relative to bare; of the references when nothing is repeated. */
  readonly repeatability: number;
  /** Share by which references disagree after levelling, and largest over smallest light on the chart. */
  readonly disagreement: number;
  readonly unevenness: number;
  readonly camera: CameraCurve;
  /** What all lightness was counted by; absent when it is as the capture codes it. */
  readonly reference?: FoundReference;
  /** What a person should know. */
  readonly warnings: readonly Notice[];
}

/**
 * Share by which coarse clusters may differ from their area, root mean square, under a camera curve that is believed.
 * Assumed: true curves leave 1 % in benchmarks/captures.ts's cameras; a wrong one leaves more.
 */
const CURVE_RESIDUAL_MAX = 0.03;
/**
 * Share of clipped pixels that spoils a patch, and share of spoilt patches that spoils a capture. Assumed: a twentieth
 * moves a mean by less than a reading's error; dust takes up to a third.
 */
const CLIPPED_PATCH = 0.05;
const CLIPPED_CAPTURE = 0.15;
const SCRATCHED_PATCH = 0.35;
/**
 * References may disagree by this share, or by this part of the logarithm of the contrast where that is less. Shares.
 * Assumed: what is open between references is open in every patch between them.
 */
const DISAGREE_MAX = 0.06;
const DISAGREE_CONTRAST = 0.12;
/** From this share on a disagreement of references is said. Assumed: even light on even stock leaves less than 0.01. */
const DISAGREE_SAID = 0.015;
/**
 * A reference beyond this many robust standard deviations and this share is left out. Assumed: honest references pass
 * five once in millions.
 */
const REFERENCE_OUTLIER = 5;
const REFERENCE_OUTLIER_MIN = 0.03;
/**
 * The bare way around a patch differs from the light on it when by more than this share and this many robust standard
 * deviations. Assumed: less is grain, and does not move a patch by what is seen.
 */
const RING_MIN = 0.02;
const RING_OUTLIER = 5;
/**
 * A bare way that differs matters when it moves the patch by more than this, L*, or is more than this share. Assumed:
 * 1.5 L* is what a person sees.
 */
const RING_HARM = 1.5;
const RING_ALWAYS = 0.1;
/**
 * Beside a reflection or shadow a patch says something about the camera when its way is within this share and so many
 * deviations. Assumed: as even as calm light leaves stock.
 */
const CALM_MIN = 0.004;
const CALM_DEVIATIONS = 2;
/**
 * Middle of the rim that is judged, shares of the gap, and the share of bare that blur may carry there from a solid.
 * Assumed: blur of a third of the gap is told from reflected light.
 */
const RING_MIDDLE = 0.4;
const CARRIED_MAX = 0.03;
/**
 * Rims of cells with as much energy are at least this part as dark where it is smoke. A share. Assumed: smoke goes with
 * the energy, a reflection does not.
 */
const SMOKE_LIKE = 0.5;
/**
 * Bare fields that show whether a part of the chart is too light or too dark. A count. Assumed: fewer cannot outvote
 * one spoilt field.
 */
const BARE_FIELDS_MIN = 5;
/**
 * Largest part of a patch's own contrast that its bare rim may show: more means that patches do not lie where they were
 * looked for. A share. Assumed: blur alone shows a tenth.
 */
const RIM_TONE_MAX = 0.3;
/**
 * Share of references that may be left out, of each kind and of all. Assumed: two of three still say what one light is.
 */
const REFERENCES_LOST_MAX = 0.34;
/**
 * Least difference of bare and solid that can be learned from, L*, and in standard errors of the references. Assumed:
 * less has no tones to speak of, and errors of an eighth of the range.
 */
const CONTRAST_MIN = 4;
const CONTRAST_MIN_ERRORS = 8;
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
 * Replicates may differ by this many times the repeatability, and at least by this, L*. Assumed: honest patches never
 * differ so; one of them is spoilt.
 */
const REPLICATE_OUTLIER = 6;
const REPLICATE_OUTLIER_MIN = 3;

/**
 * Reads every patch of a located chart: undoes the camera, levels the light by the references, leaves out what is
 * scratched, clipped or under a reflection, and refuses a capture whose references cannot be trusted.
 * @throws AppError capture-clipped, capture-dark, capture-glare, capture-negative, capture-uneven, contrast-too-low, chart-wrong,
 * reference-unusable
 */
export function readPatches(capture: CaptureImage, located: Located, options: ReadOptions = {}): Readings {
  const { layout } = located;
  const { camera = 'known' } = options;
  refuseNegative(located, options.direction ?? layout.direction);
  const sharpening = measureSharpening(capture, located);
  const plain = sharpening ? undoSharpening(capture, located, sharpening) : capture;
  const samples = samplePatches(plain, located);
  const margins = layout.kind === 'check' ? sampleMargins(plain, located) : [];
  const rejected = new Map<string, RejectedPatch>();
  const reject = ({ patch }: PatchSamples, reason: RejectReason, detail: string) => {
    if (!rejected.has(patch.id)) rejected.set(patch.id, { id: patch.id, role: patch.role, reason, detail });
  };
  rejectUnreadable(samples, located, reject);
  refuseClipped(samples);

  const warnings: Notice[] = [...(capture.cautions ?? [])];
  if (sharpening) {
    const { amount, radiusPx } = sharpening;
    warnings.push(notice('camera-sharpened', { amount, radiusPx }));
  }
  const lightUnder = (curve: CameraCurve) => {
    const byLevel = tabulateCurve(curve.linearOf, HISTOGRAM_LEVELS[capture.bits]);
    return (sample: FieldSamples) => Math.max(1e-6, luminanceOf(sample, byLevel));
  };
  const isReference = ({ patch }: PatchSamples) => patch.role === 'bare' || patch.role === 'solid';
  const asked = samples.filter(isReference).length;
  // What lies in a reflection or a shadow is left out before an unknown curve is estimated, which would bend to explain it.
  const rough = lightUnder(typeof camera === 'string' ? SRGB_CURVE : camera);
  // The rims are decoded as sRGB; for this question patches are, too.
  const decode = decodeLevels(capture.bits);
  const isBare = ({ patch }: PatchSamples) => patch.role === 'bare';
  const added =
    isLightAdded(
      samples
        .filter((sample) => Number.isFinite(sample.ring) && sample.clippedHigh <= CLIPPED_PATCH)
        .map((sample) => ({ group: sample.patch.group, light: luminanceOf(sample, decode), bare: sample.ring })),
    ) ?? leansLight([...samples.filter(isBare), ...margins].map(rough));
  /** References that are not rejected by now. */
  const gather = (lightOf: (sample: FieldSamples) => number) => {
    const references = samples.filter((sample) => isReference(sample) && !rejected.has(sample.patch.id));
    const fieldOf = (kind: 'bare' | 'solid', field: FieldSamples): ReferenceField => {
      return { kind, xMm: field.xMm, yMm: field.yMm, light: lightOf(field) };
    };
    const fields: ReferenceField[] = [
      ...references.map((sample) => fieldOf(sample.patch.role === 'solid' ? 'solid' : 'bare', sample)),
      ...margins.map((margin) => fieldOf('bare', margin)),
    ];
    refuseLost(samples, { references, fields, asked, rejected, added });
    return { references, fields };
  };
  const smoky = new Map<string, number>();
  const lit = {
    surface: fitLight(gather(rough).fields, layout),
    lightOf: rough,
    layout,
    blurMm: located.blurMm,
    smoky,
  };
  const rings = rejectLit(samples, lit, reject);
  rejectBeside(samples, margins, lit, reject);
  if (smoky.size > 0) {
    warnings.push(notice('smoke-taken', { ids: [...smoky.keys()], share: Math.max(...smoky.values()) }));
  }
  const disturbed = [...rejected.values()].some(({ reason }) => reason === 'glare' || reason === 'shadow');
  const usable = (disturbed ? keepCalm(samples, rings) : samples).filter(({ patch }) => !rejected.has(patch.id));
  const curve = chooseCurve(camera, { samples: usable, located, disturbed, warnings });
  const byLevel = tabulateCurve(curve.linearOf, HISTOGRAM_LEVELS[capture.bits]);
  const lightOf = lightUnder(curve);
  const { references, fields } = gather(lightOf);
  const surface = fitLight(fields, layout);
  judgeReferences({ surface, fields, references, asked, added }, reject);

  const bareSamples = samples.filter(({ patch }) => patch.role === 'bare' && !rejected.has(patch.id));
  const codedRgb = meanRgb(bareSamples.length > 0 ? bareSamples : margins, byLevel);
  const codedSolid = meanRgb(
    samples.filter(({ patch }) => patch.role === 'solid' && !rejected.has(patch.id)),
    byLevel,
  );
  const dark = judgeDark(capture, Math.max(labOfLinearRgb(codedRgb)[0], labOfLinearRgb(codedSolid)[0]));
  if (dark) warnings.push(dark);
  const reference =
    options.reference &&
    readReference(options.reference, {
      capture,
      located,
      curve,
      fields,
      bareAt: surface.bareAt,
      bareRgb: codedRgb,
      bareL: labOfLinearRgb(codedRgb)[0],
      solidL: labOfLinearRgb(codedSolid)[0],
    });
  const gain = reference?.gain ?? 1;
  const scaled = ([red, green, blue]: readonly [number, number, number]) =>
    [gain * red, gain * green, gain * blue] as const;
  const bareRgb = scaled(codedRgb);
  const bareLight = REC709.weights.reduce((sum, weight, at) => sum + weight * bareRgb[at]!, 0);
  const readings = samples
    .filter(({ patch }) => !rejected.has(patch.id))
    .map((sample): Reading => {
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
    });
  const bareLab = labOfLinearRgb(bareRgb);
  const solidLab = labOfLinearRgb(scaled(codedSolid));
  refuseLowContrast(surface, { bareLab, count: fields.length });

  if (surface.disagreement > DISAGREE_SAID) {
    const slope = (116 / 3) * Math.cbrt(bareLight * Math.max(1, surface.solidRatio));
    const { disagreement } = surface;
    warnings.push(notice('references-disagree', { share: disagreement, lightness: slope * disagreement }));
  }
  const direction = surface.solidRatio > 1 ? 'lighter' : 'darker';
  if (direction !== layout.direction) {
    warnings.push(notice('direction-read', { drawn: layout.direction, read: direction }));
  }
  const kept = readings.filter((reading) => {
    const off = disagreesBy(reading, readings, bareLab[0]);
    if (off === undefined) return true;
    const sample = samples.find(({ patch }) => patch.id === reading.id)!;
    reject(sample, 'disagrees', `differs from its replicates by ${off.toFixed(1)} L*`);
    return false;
  });
  if (rejected.size > 0) {
    const patches = [...rejected.values()].map(({ id, reason }) => ({ id, reason }));
    warnings.push(notice('patches-left-out', { patches }));
  }
  return {
    readings: kept,
    rejected: [...rejected.values()],
    bare: bareLab,
    solid: solidLab,
    solidRatio: surface.solidRatio,
    direction,
    repeatability: replicateScatter(kept) ?? surface.disagreement,
    disagreement: surface.disagreement,
    unevenness: surface.unevenness,
    camera: curve,
    ...(reference ? { reference } : {}),
    warnings,
  };
}

/**
 * Tags burn as the patches do: where they stand out the other way than the chart was drawn for, the picture is a negative, or the
 * material marks otherwise, which a person has to say, since both look the same.
 */
function refuseNegative({ direction: found, layout }: Located, needed: 'lighter' | 'darker'): void {
  if (found === needed) return;
  throw new AppError(
    'capture-negative',
    `found tags ${found} than the bare surface, needed ${needed} ones as in chart ${layout.hash}: a negative of the picture, or a material that marks ${found}, which needs a chart drawn for ${found} marks (chart --direction ${found}) or --direction ${found} here`,
    { found, needed },
  );
}

/**
 * Whether a picture is too dark: when neither the chart nor anything else in it is light. Dark stock beside something light is not.
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

/** Where patches cannot tell: a reflection makes few bare fields far lighter than most, a shadow few far darker. */
function leansLight(bareLights: readonly number[]): boolean | undefined {
  if (bareLights.length < BARE_FIELDS_MIN) return undefined;
  const logs = bareLights.map(Math.log);
  const middle = median(logs);
  return logs.reduce((sum, log) => sum + cube(log - middle), 0) > 0;
}

type Reject = (sample: PatchSamples, reason: RejectReason, detail: string) => void;

function rejectUnreadable(samples: readonly PatchSamples[], located: Located, reject: Reject): void {
  const { pxPerMm, layout } = located;
  for (const sample of samples) {
    const { patch, pixels, rejectedShare, clippedHigh, clippedLow } = sample;
    const expected = (patch.widthMm - 2 * layout.borderMm) * (patch.heightMm - 2 * layout.borderMm) * pxPerMm ** 2;
    if (pixels / Math.max(1e-9, 1 - rejectedShare) < 0.25 * Math.min(expected, 400)) {
      reject(
        sample,
        'outside',
        `${Math.round(pixels)} pixels read, needed ${Math.round(0.25 * Math.min(expected, 400))}`,
      );
    } else if (clippedHigh > CLIPPED_PATCH || clippedLow > CLIPPED_PATCH) {
      const share = Math.max(clippedHigh, clippedLow);
      reject(
        sample,
        'clipped',
        `${Math.round(100 * share)} % of its pixels at an end of the scale, needed ${100 * CLIPPED_PATCH} % or less`,
      );
    } else if (rejectedShare > SCRATCHED_PATCH) {
      reject(
        sample,
        'scratch',
        `${Math.round(100 * rejectedShare)} % of it unlike the rest, needed ${100 * SCRATCHED_PATCH} % or less`,
      );
    }
  }
}

function refuseClipped(samples: readonly PatchSamples[]): void {
  const share = (which: 'clippedHigh' | 'clippedLow') =>
    samples.filter((sample) => sample[which] > CLIPPED_PATCH).length / samples.length;
  const high = share('clippedHigh');
  const low = share('clippedLow');
  if (Math.max(high, low) <= CLIPPED_CAPTURE) return;
  const end = high >= low ? 'top' : 'bottom';
  const advice =
    high >= low ? 'expose less and turn automatic contrast off' : 'expose more and turn automatic contrast off';
  throw new AppError(
    'capture-clipped',
    `found ${Math.round(100 * Math.max(high, low))} % of patches cut off at the ${end} of the scale, needed ${100 * CLIPPED_CAPTURE} % or less; ${advice}`,
    { clippedHigh: high, clippedLow: low },
  );
}

interface CurveState {
  readonly samples: readonly PatchSamples[];
  readonly located: Located;
  readonly disturbed: boolean;
  readonly warnings: Notice[];
}

function chooseCurve(camera: NonNullable<ReadOptions['camera']>, state: CurveState): CameraCurve {
  if (camera === 'known') return SRGB_CURVE;
  if (camera !== 'unknown') return camera;
  const { samples, located, disturbed, warnings } = state;
  const estimated = estimateCameraCurve(samples, located.layout, { disturbed });
  if (!estimated) {
    warnings.push(notice('clusters-missing'));
    return SRGB_CURVE;
  }
  if (estimated.residual > CURVE_RESIDUAL_MAX || estimated.atLimit) {
    warnings.push(notice('clusters-unexplained', { residual: estimated.residual }));
    return SRGB_CURVE;
  }
  if (disturbed) warnings.push(notice('curve-under-disturbance'));
  if (estimated.errorLightness > 1.5) {
    warnings.push(notice('curve-badly-known', { lightness: estimated.errorLightness }));
  }
  return estimated;
}

interface LostState {
  readonly references: readonly PatchSamples[];
  readonly fields: readonly ReferenceField[];
  readonly asked: number;
  readonly rejected: ReadonlyMap<string, RejectedPatch>;
  /** Whether light was added; undefined where the patches cannot tell. */
  readonly added: boolean | undefined;
}

/** Refuses a capture that has lost too many references to level the light by. */
function refuseLost(samples: readonly PatchSamples[], { references, fields, asked, rejected, added }: LostState): void {
  const none = !fields.some(({ kind }) => kind === 'bare') || !fields.some(({ kind }) => kind === 'solid');
  if (!none && asked - references.length <= REFERENCES_LOST_MAX * asked) return;
  const lost = samples.flatMap(({ patch }) => {
    const one = rejected.get(patch.id);
    return one && (patch.role === 'bare' || patch.role === 'solid') ? [one] : [];
  });
  const bright = lost.filter(({ reason }) => reason === 'glare' || reason === 'clipped').length * 2 >= lost.length;
  const glare = added ?? bright;
  throw new AppError(
    glare ? 'capture-glare' : 'capture-uneven',
    `found ${references.length} of ${asked} references readable (lost: ${lost.map(({ id }) => id).join(', ')}), ` +
      `needed ${Math.ceil((1 - REFERENCES_LOST_MAX) * asked)}${none ? ' and one of bare and one of solid' : ''}; ${glare ? 'turn the piece 30° against the lamp' : 'take the capture again in even light with nothing lying on the chart'}`,
    { found: references.length, asked },
  );
}

interface ReferenceState {
  readonly surface: LightSurface;
  readonly fields: readonly ReferenceField[];
  readonly references: readonly PatchSamples[];
  readonly asked: number;
  readonly added: boolean | undefined;
}

function judgeReferences({ surface, fields, references, asked, added }: ReferenceState, reject: Reject): void {
  const { residuals, disagreement, solidRatio } = surface;
  const limit = Math.min(DISAGREE_MAX, DISAGREE_CONTRAST * Math.abs(Math.log(solidRatio)) + 0.01);
  const outlying = Math.max(REFERENCE_OUTLIER * disagreement, REFERENCE_OUTLIER_MIN);
  let bright = 0;
  let dark = 0;
  const lostOf = { bare: 0, solid: 0 };
  references.forEach((sample, at) => {
    const residual = residuals[at]!;
    if (Math.abs(residual) <= outlying) return;
    if (residual > 0) bright++;
    else dark++;
    lostOf[sample.patch.role === 'solid' ? 'solid' : 'bare']++;
    const percent = `${Math.round(100 * (Math.exp(residual) - 1))} % from the light that the other references show`;
    reject(sample, residual > 0 ? 'glare' : 'shadow', percent);
  });
  const lost = asked - references.length + bright + dark;
  const enough = (['bare', 'solid'] as const).every((role) => {
    const of = references.filter(({ patch }) => patch.role === role).length;
    return lostOf[role] <= REFERENCES_LOST_MAX * of;
  });
  if (disagreement <= limit && enough) return;
  const spread = `${(100 * disagreement).toFixed(1)} %`;
  if (added ?? bright > dark) {
    throw new AppError(
      'capture-glare',
      `found references that differ by ${spread} with ${lost} of ${asked} too bright or unreadable, needed ${(100 * limit).toFixed(1)} % or less; turn the piece 30° against the lamp`,
      { disagreement, limit, lost },
    );
  }
  throw new AppError(
    'capture-uneven',
    `found references that differ by ${spread} after levelling (${lost} of ${asked} left out, ${fields.length} read), needed ${(100 * limit).toFixed(1)} % or less; use even light from two sides`,
    { disagreement, limit, lost },
  );
}

/**
 * Rejects patches whose bare rim is lighter or darker than a smooth light allows. A reflection adds the same light to a
 * dark patch as to its bare rim, where it is a far larger share: what it would do to the patch's L* counts. On a dose
 * chart dark rims are left alone, as smoke from the stronger cells is part of what it shows.
 * @throws AppError chart-wrong when the rims carry so much of the patches that these do not lie where they were looked for
 */
function rejectLit(samples: readonly PatchSamples[], lit: LitState, reject: Reject): RingLight | undefined {
  const { surface, lightOf, layout, blurMm } = lit;
  const tones = samples.map((sample) => lightOf(sample) / surface.bareAt(sample.xMm, sample.yMm));
  // Where blur carries much of a strong mark into the ways, these say more about the mark than about the light.
  const sigmas = (RING_MIDDLE * layout.gapMm) / Math.max(1e-6, blurMm);
  const carried = Math.exp((-sigmas * sigmas) / 2) / (sigmas * Math.sqrt(2 * Math.PI));
  if (carried * Math.abs(1 - surface.solidRatio) > CARRIED_MAX) return undefined;
  const rings = judgeRings(samples, {
    tones,
    besides: samples.map((sample) => lightOf(sample) / sample.ring),
    bares: samples.map((sample) => surface.bareAt(sample.xMm, sample.yMm)),
    chart: layout,
  });
  if (!rings) return undefined;
  if (rings.toneShare > RIM_TONE_MAX) {
    throw new AppError(
      'chart-wrong',
      `found ${Math.round(100 * rings.toneShare)} % of the patches' contrast in the bare ways between them, needed ${100 * RIM_TONE_MAX} % or less: the patches do not lie where the tags put them; photograph a curved piece from farther away, or lay it flat`,
      { toneShare: rings.toneShare },
    );
  }
  const left = rejectOff(samples, rings, lit, reject);
  // A shadow or a reflection that ends within a patch is seen on one side of its rim only; where one is near, that counts.
  const near = ({ patch }: PatchSamples) =>
    left.some(
      ({ patch: other }) =>
        Math.abs(patch.xMm - other.xMm) < 1.6 * (patch.widthMm + layout.gapMm) &&
        Math.abs(patch.yMm - other.yMm) < 1.6 * (patch.heightMm + layout.gapMm),
    );
  const worst = samples.map((sample, at) =>
    near(sample) ? rings.offSides[at]!.reduce((most, side) => (Math.abs(side) > Math.abs(most) ? side : most), 0) : 0,
  );
  rejectOff(samples, { off: worst, scatter: 1.5 * rings.scatter }, lit, reject);
  return rings;
}

/** Patches near a reflection or shadow that it still touches say nothing about the camera. */
function keepCalm(samples: readonly PatchSamples[], rings: RingLight | undefined): readonly PatchSamples[] {
  if (!rings) return samples;
  const calm = Math.max(CALM_MIN, CALM_DEVIATIONS * rings.scatter);
  return samples.filter((_, at) => Math.abs(rings.off[at]!) <= calm);
}

/**
 * The same on a strip, whose patches lie between two bare fields each: a shadow over one end would otherwise be read as tone.
 */
function rejectBeside(
  samples: readonly PatchSamples[],
  margins: readonly FieldSamples[],
  lit: LitState,
  reject: Reject,
): void {
  if (margins.length === 0) return;
  const away = margins.map((margin) => Math.log(lit.lightOf(margin) / lit.surface.bareAt(margin.xMm, margin.yMm)));
  const off = samples.map(({ patch }) => {
    const x = patch.xMm + patch.widthMm / 2;
    const y = patch.yMm + patch.heightMm / 2;
    const beside = away.filter(
      (_, at) => Math.abs(margins[at]!.xMm - x) < 1e-6 || Math.abs(margins[at]!.yMm - y) < 1e-6,
    );
    const most = beside.reduce((worst, one) => (Math.abs(one) > Math.abs(worst) ? one : worst), 0);
    return Math.exp(most) - 1;
  });
  const points = margins.map(({ xMm, yMm }, at) => ({ xMm, yMm, value: away[at]! }));
  rejectOff(samples, { off, scatter: neighbourScatter(points) }, lit, reject);
}

/** The patches that were rejected for the light beside them. */
function rejectOff(
  samples: readonly PatchSamples[],
  { off: offs, scatter }: Pick<RingLight, 'off' | 'scatter'>,
  { surface, lightOf, layout, smoky }: LitState,
  reject: Reject,
): readonly PatchSamples[] {
  const noticed = Math.max(RING_MIN, RING_OUTLIER * scatter);
  const isSmoke = layout.kind === 'dose' ? tellSmoke(samples, offs, layout) : () => false;
  return samples.filter((sample, at) => {
    const off = offs[at]!;
    if (!(Math.abs(off) > noticed)) return false;
    if (off < 0 && isSmoke(at)) {
      if (-off > RING_ALWAYS) smoky.set(sample.patch.id, -off);
      return false;
    }
    const light = lightOf(sample);
    const without = off > 0 ? light - off * surface.bareAt(sample.xMm, sample.yMm) : light / (1 + off);
    const harm = Math.abs(lightnessOfReflectance(light) - lightnessOfReflectance(Math.max(0, without)));
    if (harm < RING_HARM && Math.abs(off) < RING_ALWAYS) return false;
    reject(
      sample,
      off > 0 ? 'glare' : 'shadow',
      `the bare way around it is ${(100 * off).toFixed(1)} % off, which moves it by ${harm.toFixed(1)} L*, needed ${RING_HARM} L* or less`,
    );
    return true;
  });
}

/**
 * Whether a dark rim can be smoke of its own cell, which is part of what a dose chart shows: then no cell of the same energy or
 * more has a rim that is far less dark. A shadow does not ask for the dose.
 */
function tellSmoke(
  samples: readonly PatchSamples[],
  offs: readonly number[],
  layout: ChartLayout,
): (at: number) => boolean {
  const doses = samples.map(({ patch }) => {
    if (patch.role === 'bare') return 0;
    const { powerW, passes, speedMmPerS, lineSpacingMm } = {
      lineSpacingMm: layout.grid.lineSpacingMm,
      ...layout.settings,
      ...patch.settings,
    };
    return (powerW * passes) / (speedMmPerS * lineSpacingMm);
  });
  return (at) => doses.every((dose, i) => i === at || dose < doses[at]! || !(offs[i]! > SMOKE_LIKE * offs[at]!));
}

interface LitState {
  readonly surface: LightSurface;
  readonly lightOf: (sample: FieldSamples) => number;
  readonly layout: ChartLayout;
  readonly blurMm: number;
  /** Gains the cells whose dark rim was taken for smoke, and how dark it is. */
  readonly smoky: Map<string, number>;
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

function refuseLowContrast(
  surface: LightSurface,
  { bareLab, count }: { readonly bareLab: Lab; readonly count: number },
): void {
  const bareY = Math.max(1e-4, cube((bareLab[0] + 16) / 116));
  const difference = Math.abs(lightnessOfReflectance(bareY * surface.solidRatio) - lightnessOfReflectance(bareY));
  const errors = Math.abs(Math.log(surface.solidRatio)) / Math.max(1e-6, surface.disagreement / Math.sqrt(count));
  if (difference >= CONTRAST_MIN && errors >= CONTRAST_MIN_ERRORS) return;
  throw new AppError(
    'contrast-too-low',
    `found ${difference.toFixed(1)} L* between bare and solid (${errors.toFixed(0)} times their error), needed ${CONTRAST_MIN} L* and ${CONTRAST_MIN_ERRORS} times; burn with a stronger setting`,
    { difference, errors },
  );
}

/** Standard deviation of replicates around their group's mean; undefined when nothing is repeated. */
function replicateScatter(readings: readonly Reading[]): number | undefined {
  let sum = 0;
  let freedom = 0;
  for (const group of groupReadings(readings).values()) {
    if (group.length < 2) continue;
    const scatter = standardDeviation(group.map(({ mean }) => mean));
    sum += scatter ** 2 * (group.length - 1);
    freedom += group.length - 1;
  }
  return freedom > 0 ? Math.sqrt(sum / freedom) : undefined;
}

function groupReadings(readings: readonly Reading[]): Map<string, Reading[]> {
  const groups = new Map<string, Reading[]>();
  for (const reading of readings) groups.set(reading.group, [...(groups.get(reading.group) ?? []), reading]);
  return groups;
}

/** By how much, L*, a reading differs from the median of three or more replicates beyond what they do among themselves. */
function disagreesBy(reading: Reading, readings: readonly Reading[], bareLightness: number): number | undefined {
  const group = readings.filter((other) => other.group === reading.group);
  if (group.length < 3 || reading.role === 'bare' || reading.role === 'solid') return undefined;
  const bareY = cube((bareLightness + 16) / 116);
  const lightness = (one: Reading) => lightnessOfReflectance(bareY * Math.max(0, one.mean));
  const values = group.map(lightness);
  const off = Math.abs(lightness(reading) - median(values));
  const all = [...groupReadings(readings).values()]
    .filter((others) => others.length > 1)
    .flatMap((others) => {
      const centre = median(others.map(lightness));
      return others.map((one) => Math.abs(lightness(one) - centre));
    });
  const typical = 1.4826 * median(all);
  return off > Math.max(REPLICATE_OUTLIER * typical, REPLICATE_OUTLIER_MIN) ? off : undefined;
}
