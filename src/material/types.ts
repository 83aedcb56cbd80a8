import type { Lab } from '../colour/index.ts';
import type { BurnSettings } from '../optics/index.ts';
import type { DotGrid } from '../plane/index.ts';
import type { SourceKey } from '../sources.ts';

export type MarkDirection = 'lighter' | 'darker';

/** How a piece is looked at: at the face that the beam burned, or from the other side, through clear stock. */
export const SEEN = ['face', 'through'] as const;
export type Seen = (typeof SEEN)[number];

/** What lies beneath clear stock where it is looked at. */
export const BENEATH = ['dark', 'light'] as const;
export type Beneath = (typeof BENEATH)[number];

/**
 * What one dot does to the surface, in seven numbers that patch averages can determine.
 *
 * A dot deposits a Gaussian dose around its centre; doses add; the local strength of the mark follows from the local
 * dose D by Hill's law with fading, S(D) = Dᵐ/(Dᵐ + hᵐ) · (1 − fading)^(D²); strengths are divided by the mean strength
 * of a solid fill, so that 1 is the full colour *by definition*; the reflectance of an area follows from its mean
 * strength by Yule and Nielsen's mixing between the bare and the full colour.
 *
 * Why these. Hill's law is a logistic curve over log dose, the axis on which characteristic curves are drawn: m near 1
 * is gradual charring, m above 10 is the threshold of a coating that comes off, and nothing between needs another
 * formula. Dividing by the solid makes bare and full, the two best measured patches, exact, and takes the one number
 * out of the fit that no chart can see (how strong the mark could become with more dose than was ever given). Fading
 * acts below the solid's dose too, because that is where a chart can see it. With `fading` above 0 some strengths
 * exceed 1: a lighter screen may mark more strongly than the solid does.
 *
 * What the data determine. The *mark* diameter is pinned by isolated dots against clusters; the dose diameter and the
 * half dose apart from each other only by how far neighbours help each other over the threshold, which is a
 * second-order effect. The record keeps doses because they predict other pitches; a fit should run in
 * `toFitCoordinates`, where the well and the badly known numbers are separate.
 */
export interface ResponseModel {
  /** 1/e² diameter of the dose of one dot, µm, along the scan (the smear over one pitch included) and across it. */
  readonly doseDiameterXUm: number;
  readonly doseDiameterYUm: number;
  /** Local dose h at which half the strength is reached; 1 = the mean dose of a solid fill on the reference grid. */
  readonly halfDose: number;
  /** Hill exponent m: steepness of strength against log dose. 1 … 3 gradual, above 10 threshold-like. */
  readonly steepness: number;
  /** Share of strength lost to fading or charring at the solid's mean dose, 0 … 0.9. */
  readonly fading: number;
  /** Yule-Nielsen n ≥ 1: 1 no light scatter in the material, 2 complete. */
  readonly yuleNielsenN: number;
  /** Pitch and line spacing on which the solid fill was burned, mm. */
  readonly reference: DotGrid;
  /**
   * Dose of a dot by its level, both as shares of the full one: rising from [0, 0] to [1, 1]. Only where dots have
   * levels of power and a chart has measured what becomes of them; in proportion when absent.
   */
  readonly doseByLevel?: readonly LevelDose[];
}

/** Share of the full level that the bitmap says, and share of the full level's dose that arrives. */
export type LevelDose = readonly [level: number, dose: number];

/** A response with the colours that it runs between. `full` is the colour of a solid fill on the reference grid. */
export interface Surface {
  readonly response: ResponseModel;
  readonly bare: Lab;
  readonly full: Lab;
}

export interface TonePoint {
  /** 0 bare … 1 solid. */
  readonly coverage: number;
  /** CIE L* of the patch. */
  readonly lightness: number;
  /** Standard deviation between replicates, ΔL*; 0 where the point was computed. */
  readonly spread: number;
}

/** How a photograph's lightness is laid onto the work. */
export interface AimCurve {
  /** Equal steps of the photograph's L* become equal steps of L*, or of optical density −log₁₀ Y. */
  readonly scale: 'lightness' | 'density';
  /** CIE L* at the two ends; the material's own where absent. */
  readonly darkest?: number;
  readonly lightest?: number;
  /** Names of the profiles whose range it is. */
  readonly follows?: readonly string[];
}

/**
 * Limits of the print error, |ΔL*| of the tones of a verification chart: up to them it passes, or is worth a warning.
 */
export interface VerifyLimits {
  readonly passMean: number;
  readonly passWorst: number;
  readonly warnMean: number;
  readonly warnWorst: number;
}

/** What was learned about a material from captures, for one machine, lens, settings, pitch and screen. */
export interface Profile extends Surface {
  readonly schema: 'tonewright-profile/1';
  readonly name: string;
  readonly title: string;
  /** Name of the material's record. */
  readonly material: string;
  /** Name of the machine's record: a laser with one lens. */
  readonly machine: string;
  readonly grid: DotGrid;
  readonly settings: BurnSettings;
  readonly screen: ScreenChoice;
  readonly direction: MarkDirection;
  /**
   * At least two points, coverage strictly rising within 0 … 1, lightness strictly monotone in the mark's direction. A
   * learned profile may end short of 1, to keep something in hand or because lightness turns back there.
   */
  readonly points: readonly TonePoint[];
  /** Standard deviation of one patch between places of the same piece, ΔL*. */
  readonly repeatability: number;
  /** `measured` from captures, `simulated` on the virtual engraver, or `assumed` (no measurement behind it). */
  readonly origin: 'measured' | 'simulated' | 'assumed';
  /** ISO date of learning. */
  readonly date: string;
  readonly note: string;
  /** What it was learned from: captures, and whether their tone curve was known; absent where it was not. */
  readonly captures?: { readonly count: number; readonly camera: 'known' | 'unknown' };
  /** Aim curve of every picture that goes through it; straight in L* over its own range when absent. */
  readonly aim?: AimCurve;
  /** What its verification charts are judged by. */
  readonly limits?: VerifyLimits;
  /** How well the shape of the curve is known; only profiles that were learned from captures have it. */
  readonly fit?: FitQuality;
  /**
   * How well it is known how light the whole is. Absent where nothing was measured and in profiles of before it was
   * asked; the last field, so that those keep their hash.
   */
  readonly exposure?: ExposureBand;
  /** Made of another profile by a control strip of the day; after all others, for the same reason. */
  readonly adjusted?: ProfileAdjustment;
  /** Its captures were taken through the stock; at the burned face when absent. After all others, too. */
  readonly seen?: 'through';
  /** What lay beneath clear stock while its captures were taken; absent where nobody said. */
  readonly beneath?: Beneath;
  /** Power per dot, where a chart has measured it; after all others, for the same reason. */
  readonly levels?: LevelRoad;
  /** Heat that dots leave to later ones, where a chart was asked for it; after all others, for the same reason. */
  readonly heat?: HeatFit;
}

/**
 * By how much dots burn more because of those before them, as a chart tells it. It is taken into account only where
 * there surely is some: where the interval of the whole lies above 0.
 */
export interface HeatFit {
  /** Share of dose that a dot of a solid gains by the dots before it on its line, and by the lines before; ≥ 0. */
  readonly along: number;
  readonly across: number;
  /** Distance over which it fades to 1/e, mm. */
  readonly lengthMm: number;
  /** Both gains together as fitted, with the 95 % interval; may lie below 0. */
  readonly total: readonly [value: number, low: number, high: number];
}

/**
 * The road of dots that have levels of power, beside the profile's own of dots that fire or not. What lies between a
 * level in the bitmap and the dose on the work (the control software, the driver, the tube) is in its numbers.
 */
export interface LevelRoad {
  /** Levels per dot with bare and full, 3 … 256, as the chart had them. */
  readonly count: number;
  /** Its screen; `levels` is among the options. */
  readonly screen: ScreenChoice;
  /** As those of the profile, over the mean level of the dots. */
  readonly points: readonly TonePoint[];
  /** Dose by level, see `ResponseModel`. */
  readonly doseByLevel: readonly LevelDose[];
  readonly fit: Pick<FitQuality, 'band' | 'leaveOneOut' | 'modelRms'>;
}

/** How a control strip changed a profile. */
export interface ProfileAdjustment {
  /** Name of the profile that was learned. */
  readonly from: string;
  /** ISO date. */
  readonly date: string;
  /** Hash of the strip. */
  readonly chart: string;
  /** Dose of the same settings and width of a dot's dose, today over then, each with its 95 % interval. */
  readonly doseFactor: readonly [value: number, low: number, high: number];
  readonly widthFactor: readonly [value: number, low: number, high: number];
}

/**
 * A capture tells the luminance of tones relative to one another, which is the curve's shape; by which one factor all
 * of them are off together, its exposure, it tells only by something of known lightness.
 */
export interface ExposureBand {
  /** `reference`: a neutral field of known L* in the captures; `scanner`: a scanner's own white; `none`: neither. */
  readonly basis: 'reference' | 'scanner' | 'none';
  /** 95 %: true luminances lie, all together, between 1/factor and factor times those of the profile; at least 1. */
  readonly factor: number;
  /** The reference's L* and half the 95 % interval of it; only with `reference`. */
  readonly lightness?: number;
  readonly tolerance?: number;
}

/** How well a learned profile is known. */
export interface FitQuality {
  /** Where 95 % of patches burned later should lie, CIE L*: the curve's own error and the scatter of one patch. */
  readonly band: readonly { readonly coverage: number; readonly low: number; readonly high: number }[];
  /** 95 % intervals of the mark diameters of an isolated dot, µm. */
  readonly markDiameterXUm: readonly [low: number, high: number];
  readonly markDiameterYUm: readonly [low: number, high: number];
  /** Root mean square error of a tone predicted without its own readings, ΔL*. */
  readonly leaveOneOut: number;
  /** Root mean square of what the response model leaves over of all patches, ΔL*. */
  readonly modelRms: number;
  /** What to distrust, in sentences. */
  readonly warnings: readonly string[];
}

export interface ScreenChoice {
  readonly name: string;
  readonly options: Readonly<Record<string, string | number>>;
}

/** How marks look for a range of wavelengths. */
export interface MaterialMark {
  /** Wavelengths for which this holds, nm. */
  readonly wavelengthNm: readonly [min: number, max: number];
  readonly direction: MarkDirection;
  /** Colour of a solid fill. */
  readonly full: Lab;
  /** Typical diameter of what one dot changes relative to the spot, an assumed starting value. */
  readonly markToSpot: number;
  /** Typical Hill exponent and Yule-Nielsen n, assumed starting values. */
  readonly steepness: number;
  readonly yuleNielsenN: number;
  readonly note: string;
  readonly source: SourceKey;
  /** What has to lie beneath clear stock for it to look so; absent where it does not matter. */
  readonly beneath?: Beneath;
  /** Colour of the bare surface over that, where it is not the material's own. */
  readonly bare?: Lab;
}

/** Stock that is looked through. */
export interface ClearStock {
  /** Wavelengths of which millimetres of it let most through, nm. */
  readonly passesNm: readonly (readonly [min: number, max: number])[];
  readonly refractiveIndex: number;
  readonly source: SourceKey;
}

/** A stock material: how its marks look by wavelength, and its cautions. */
export interface Material {
  readonly schema: 'tonewright-material/1';
  readonly name: string;
  readonly title: string;
  /** Other names by which a person may ask for it, lower case. */
  readonly aliases: readonly string[];
  readonly bare: Lab;
  readonly marks: readonly MaterialMark[];
  /** What is done to the piece before the burn, in the order of doing. */
  readonly before?: readonly { readonly text: string; readonly source: SourceKey }[];
  /** What is done after it: cleaning, sealing. */
  readonly after?: readonly { readonly text: string; readonly source: SourceKey }[];
  readonly cautions: readonly { readonly text: string; readonly source: SourceKey }[];
  /** What the colours rest on. */
  readonly origin: { readonly kind: 'published' | 'measured' | 'assumed'; readonly note: string };
  /** Absent for stock that nobody looks through. */
  readonly clear?: ClearStock;
  /** It is burned from behind unless somebody says otherwise, and its colours are as seen through it. */
  readonly seen?: 'through';
}

/** A material that must never be lasered. */
export interface RefusedMaterial {
  readonly name: string;
  readonly title: string;
  /** Other names, lower case; a name matches when all its words stand in the text, in order and together. */
  readonly aliases: readonly string[];
  readonly reason: string;
  readonly source: SourceKey;
}
