import { type Lab, lightnessOfReflectance, reflectanceOfLightness } from '../colour/index.ts';
import { AppError } from '../errors.ts';
import { fitLight, type LightSurface, type ReferenceField } from './light.ts';
import { addRejections, type RejectedPatch, type Rejections, rejectPatch } from './readings.ts';
import type { FieldSamples, PatchSamples } from './samples.ts';
import type { ChartLayout, Patch } from './types.ts';

/**
 * References may disagree by this share, or by this part of the logarithm of the contrast where that is less. Shares.
 * Assumed: what is open between references is open in every patch between them.
 */
const DISAGREE_MAX = 0.06;
const DISAGREE_CONTRAST = 0.12;

/**
 * A reference beyond this many robust standard deviations and this share is left out. Assumed: honest references pass
 * five once in millions.
 */
const REFERENCE_OUTLIER = 5;
const REFERENCE_OUTLIER_MIN = 0.03;

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

export interface LevelOptions {
  readonly layout: ChartLayout;
  readonly samples: readonly PatchSamples[];
  /** Bare fields beside a strip. */
  readonly margins: readonly FieldSamples[];
  /** Patches that are left out by now: they are no references. */
  readonly rejected: Rejections;
  readonly lightOf: (sample: FieldSamples) => number;
  /** Whether light was added to a part of the chart; undefined where the patches cannot tell. */
  readonly added: boolean | undefined;
}

/** The light on the chart by its references. */
export interface LevelledLight {
  readonly surface: LightSurface;
  readonly fields: readonly ReferenceField[];
  /** With the references that are outliers. */
  readonly rejected: Rejections;
}

interface Gathered {
  readonly references: readonly PatchSamples[];
  readonly fields: readonly ReferenceField[];
}

/** Whether a patch is a reference for the light: bare or solid. */
const isReference = ({ patch: { role } }: { readonly patch: Pick<Patch, 'role'> }) =>
  role === 'bare' || role === 'solid';

/**
 * Light on the chart by all references that are not left out, before any is judged.
 * @throws AppError capture-glare, capture-uneven when too many are lost
 */
export function fitReferences(options: LevelOptions): LightSurface {
  return fitLight(gatherReferences(options).fields, options.layout);
}

/**
 * The same, with the references left out that differ from the light that the others show.
 * @throws AppError capture-glare, capture-uneven when too many are lost, or disagree
 */
export function levelLight(options: LevelOptions): LevelledLight {
  const gathered = gatherReferences(options);
  const surface = fitLight(gathered.fields, options.layout);
  const outlying = findOutlyingReferences(surface, gathered, options);
  return { surface, fields: gathered.fields, rejected: addRejections(options.rejected, outlying) };
}

function gatherReferences(options: LevelOptions): Gathered {
  const { samples, margins, rejected, lightOf } = options;
  const references = samples.filter((sample) => isReference(sample) && !rejected.has(sample.patch.id));
  const fieldOf = (kind: 'bare' | 'solid', field: FieldSamples): ReferenceField => {
    return { kind, xMm: field.xMm, yMm: field.yMm, light: lightOf(field) };
  };
  const fields: ReferenceField[] = [
    ...references.map((sample) => fieldOf(sample.patch.role === 'solid' ? 'solid' : 'bare', sample)),
    ...margins.map((margin) => fieldOf('bare', margin)),
  ];
  refuseLost(options, { references, fields });
  return { references, fields };
}

/** Refuses a capture that has lost too many references to level the light by. */
function refuseLost({ samples, rejected, added }: LevelOptions, { references, fields }: Gathered): void {
  const asked = samples.filter(isReference).length;
  const none = !fields.some(({ kind }) => kind === 'bare') || !fields.some(({ kind }) => kind === 'solid');
  if (!none && asked - references.length <= REFERENCES_LOST_MAX * asked) return;
  const lost = samples.flatMap(({ patch }) => {
    const one = rejected.get(patch.id);
    return one && isReference({ patch }) ? [one] : [];
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

/** References that differ from the light that the others show; refuses a capture whose references disagree too much. */
function findOutlyingReferences(
  surface: LightSurface,
  { references, fields }: Gathered,
  { samples, added }: LevelOptions,
): RejectedPatch[] {
  const asked = samples.filter(isReference).length;
  const rejected: RejectedPatch[] = [];
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
    rejected.push(rejectPatch(sample, residual > 0 ? 'glare' : 'shadow', percent));
  });
  const lost = asked - references.length + bright + dark;
  const enough = (['bare', 'solid'] as const).every((role) => {
    const of = references.filter(({ patch }) => patch.role === role).length;
    return lostOf[role] <= REFERENCES_LOST_MAX * of;
  });
  if (disagreement <= limit && enough) return rejected;
  const disagreeing = `${(100 * disagreement).toFixed(1)} %`;
  if (added ?? bright > dark) {
    throw new AppError(
      'capture-glare',
      `found references that differ by ${disagreeing} with ${lost} of ${asked} too bright or unreadable, needed ${(100 * limit).toFixed(1)} % or less; turn the piece 30° against the lamp`,
      { disagreement, limit, lost },
    );
  }
  throw new AppError(
    'capture-uneven',
    `found references that differ by ${disagreeing} after levelling (${lost} of ${asked} left out, ${fields.length} read), needed ${(100 * limit).toFixed(1)} % or less; use even light from two sides`,
    { disagreement, limit, lost },
  );
}

/** @throws AppError contrast-too-low */
export function refuseLowContrast(
  surface: LightSurface,
  { bareLab, count }: { readonly bareLab: Lab; readonly count: number },
): void {
  const bareY = Math.max(1e-4, reflectanceOfLightness(bareLab[0]));
  const difference = Math.abs(lightnessOfReflectance(bareY * surface.solidRatio) - lightnessOfReflectance(bareY));
  const errors = Math.abs(Math.log(surface.solidRatio)) / Math.max(1e-6, surface.disagreement / Math.sqrt(count));
  if (difference >= CONTRAST_MIN && errors >= CONTRAST_MIN_ERRORS) return;
  throw new AppError(
    'contrast-too-low',
    `found ${difference.toFixed(1)} L* between bare and solid (${errors.toFixed(0)} times their error), needed ${CONTRAST_MIN} L* and ${CONTRAST_MIN_ERRORS} times; burn with a stronger setting`,
    { difference, errors },
  );
}
