import * as v from 'valibot';
import { AppError } from '../errors.ts';
import type { BurnSettings } from '../optics/index.ts';
import { GRID_FIELDS, QUANTITIES, SETTINGS_FIELDS, within } from '../quantities.ts';
import { parseRecord } from '../schema.ts';
import { SOURCES, type SourceKey } from '../sources.ts';
import type { LabColour } from './colour.ts';

/** How the beam lands: all lengths are on the work. */
export interface BeamModel {
  readonly emission: 'pulsed' | 'continuous';
  /** 1/e² intensity diameter along the scan (x) and across it (y), µm. */
  readonly spotDiameterXUm: number;
  readonly spotDiameterYUm: number;
  /** Distance from focus at which the spot has grown by √2, mm; used when the piece is tilted. */
  readonly rayleighLengthMm: number;
  /** Share of a dot's time for which the beam is on, above 0 … 1. */
  readonly duty: number;
  /** Standard deviation of where a dot lands along the scan, µm. */
  readonly jitterUm: number;
  /** Standard deviation of where a whole scan line lands across the scan, µm. */
  readonly lineWobbleUm: number;
  /** Relative standard deviation of the energy from dot to dot, and from line to line. */
  readonly dotEnergySd: number;
  readonly lineEnergySd: number;
  /** In two-way scanning, how far the returning lines land too far right, µm. */
  readonly returnOffsetUm: number;
  /** How late the beam starts and stops at each end, µs: moves the returning lines by twice its way; 0 when absent. */
  readonly returnDelayUs?: number;
}

/** Heat that earlier dots leave behind; it adds to the dose of the dots that follow. */
export interface HeatModel {
  /**
   * Added share of dose once the dots before it on the same line have all fired, and the length over which that fades,
   * µm.
   */
  readonly gainAlong: number;
  readonly lengthAlongUm: number;
  /** The same from the lines above. */
  readonly gainAcross: number;
  readonly lengthAcrossUm: number;
}

/** How strongly a place is marked for its dose. At the half dose the strength is ½ under both laws. */
export interface LawModel {
  /**
   * `threshold`: a layer opens between halfDose·e^−edge, bare below, and halfDose·e^edge, full above;
   * `gradual`: first-order change, strength 1 − 2^−(dose/halfDose)^order.
   */
  readonly kind: 'threshold' | 'gradual';
  readonly halfDoseJPerCm2: number;
  /** Half the width of the transition in ln dose; only for `threshold`. */
  readonly edge: number;
  /** Exponent of the dose; only for `gradual`. */
  readonly order: number;
  /**
   * 1 − S of the incubation law F_th(N) = F_th(1)·N^(S−1): 1 when doses simply add, towards 0 when only the strongest
   * single pulse counts.
   */
  readonly accumulation: number;
  /** At high dose the mark turns to another colour (ash, char, melt): half of it at this dose. */
  readonly fade?: { readonly halfDoseJPerCm2: number; readonly order: number };
}

/**
 * One layer of the surface's own unevenness; a place with a high value is dark and answers to less dose, or the other
 * way round.
 */
export interface GrainModel {
  /** Correlation length along x and y, µm; very unequal lengths give streaks. */
  readonly lengthXUm: number;
  readonly lengthYUm: number;
  /** Standard deviation of ln(half dose). */
  readonly thresholdSd: number;
  /** Standard deviation of ln(reflectance). */
  readonly reflectanceSd: number;
}

export interface ColourModel {
  readonly bare: LabColour;
  /** At half strength; the way from bare to full need not be straight. */
  readonly half: LabColour;
  readonly full: LabColour;
  /** Where fading leads; the same as `full` where nothing fades. */
  readonly faded: LabColour;
}

/** Light that enters the material beside the place where it leaves it again. */
export interface LightScatterModel {
  /** Share of the light that travels, 0 … 1. */
  readonly share: number;
  /** Standard deviation of how far it travels, µm. */
  readonly radiusUm: number;
}

/** Clear stock that the burned face is one side of; a piece of it can be turned over and looked at through it. */
export interface PaneModel {
  readonly refractiveIndex: number;
  readonly thicknessMm: number;
  /** Share of light that is left after once through it, straight, 0 … 1. */
  readonly transmittance: number;
}

/**
 * A surface and the beam that marks it, as the virtual engraver has them; all numbers of it are hidden from the fit.
 */
export interface MaterialModel {
  readonly schema: 'tonewright-simulation-material/1';
  readonly name: string;
  readonly title: string;
  readonly direction: 'lighter' | 'darker';
  /** Settings for which the material marks well at `reference`. */
  readonly settings: BurnSettings;
  readonly reference: { readonly pitchMm: number; readonly lineSpacingMm: number };
  readonly beam: BeamModel;
  readonly heat: HeatModel;
  readonly law: LawModel;
  readonly grain: readonly GrainModel[];
  readonly colour: ColourModel;
  readonly lightSpread: LightScatterModel;
  /** Absent for stock that nobody looks through. */
  readonly pane?: PaneModel;
  readonly origin: {
    readonly kind: 'published' | 'measured' | 'assumed';
    readonly source: SourceKey;
    readonly note: string;
  };
}

const positive = within(1e-6, 1e6);
const atLeastZero = within(0, 1e6);
const share = v.pipe(v.number(), v.minValue(0), v.maxValue(1));
const shareAboveZero = v.pipe(v.number(), v.gtValue(0), v.maxValue(1));
const lab = v.strictTuple([
  v.pipe(v.number(), v.minValue(0), v.maxValue(100)),
  v.pipe(v.number(), v.minValue(-128), v.maxValue(128)),
  v.pipe(v.number(), v.minValue(-128), v.maxValue(128)),
]);

const MATERIAL_MODEL = v.strictObject({
  schema: v.literal('tonewright-simulation-material/1'),
  name: v.pipe(v.string(), v.regex(/^[a-z0-9]+(-[a-z0-9]+)*$/)),
  title: v.pipe(v.string(), v.nonEmpty()),
  direction: v.picklist(['lighter', 'darker']),
  settings: v.strictObject(SETTINGS_FIELDS),
  reference: v.strictObject(GRID_FIELDS),
  beam: v.strictObject({
    emission: v.picklist(['pulsed', 'continuous']),
    spotDiameterXUm: QUANTITIES.diameterUm,
    spotDiameterYUm: QUANTITIES.diameterUm,
    rayleighLengthMm: positive,
    duty: shareAboveZero,
    jitterUm: atLeastZero,
    lineWobbleUm: atLeastZero,
    dotEnergySd: share,
    lineEnergySd: share,
    returnOffsetUm: within(-1e6, 1e6, 'µm'),
    returnDelayUs: v.exactOptional(within(-1e6, 1e6, 'µs')),
  }),
  heat: v.strictObject({
    gainAlong: atLeastZero,
    lengthAlongUm: positive,
    gainAcross: atLeastZero,
    lengthAcrossUm: positive,
  }),
  law: v.strictObject({
    kind: v.picklist(['threshold', 'gradual']),
    halfDoseJPerCm2: positive,
    edge: positive,
    order: positive,
    accumulation: shareAboveZero,
    fade: v.exactOptional(v.strictObject({ halfDoseJPerCm2: positive, order: positive })),
  }),
  grain: v.array(
    v.strictObject({ lengthXUm: positive, lengthYUm: positive, thresholdSd: share, reflectanceSd: share }),
  ),
  colour: v.strictObject({ bare: lab, half: lab, full: lab, faded: lab }),
  lightSpread: v.strictObject({ share, radiusUm: positive }),
  pane: v.exactOptional(
    v.strictObject({
      refractiveIndex: within(1, 3),
      thicknessMm: within(0.05, 50, 'mm'),
      transmittance: shareAboveZero,
    }),
  ),
  origin: v.strictObject({
    kind: v.picklist(['published', 'measured', 'assumed']),
    source: v.picklist(Object.keys(SOURCES) as SourceKey[], 'a key of the bibliography'),
    note: v.pipe(v.string(), v.nonEmpty()),
  }),
});

/**
 * A material model from parsed JSON.
 * @throws AppError file-invalid when a field is missing, unknown or out of range, or the colours contradict
 * `direction`.
 */
export function parseMaterialModel(json: unknown): MaterialModel {
  const model: MaterialModel = parseRecord(MATERIAL_MODEL, { json, what: 'material model' });
  const [bare, full] = [model.colour.bare[0], model.colour.full[0]];
  if (model.direction === 'lighter' ? full <= bare : full >= bare) {
    throw new AppError(
      'file-invalid',
      `material model ${model.name}: found L* ${bare} bare and ${full} full, needed a mark ${model.direction} than bare`,
      { bare, full, direction: model.direction },
    );
  }
  return model;
}
