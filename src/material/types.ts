import type { BurnSettings } from '../optics/index.ts';
import type { DotGrid } from '../plane/index.ts';
import type { SourceKey } from '../sources.ts';

export type MarkDirection = 'lighter' | 'darker';

/** A surface colour as seen under D65: CIE L*, a*, b*. */
export type Lab = readonly [lightness: number, a: number, b: number];

/**
 * What one dot does to the surface. A dot deposits a Gaussian dose around its centre; doses add; the local strength of
 * the mark, 0 bare … 1 full, is a function of the local dose; the reflectance of a cell follows from its mean strength
 * by Yule and Nielsen's mixing between the bare and the full colour.
 */
export interface ResponseModel {
  /** 1/e² diameter of the dose of one dot, µm, along and across the scan. */
  readonly doseDiameterXUm: number;
  readonly doseDiameterYUm: number;
  /** Local dose at which half the strength is reached; 1 = the mean dose of a solid fill at this pitch and spacing. */
  readonly halfDose: number;
  /** Steepness of strength against log dose (Hill exponent): large is threshold-like, small is gradual. */
  readonly steepness: number;
  /** Share of strength lost at twice the solid's dose (fading or charring), 0 … 1. */
  readonly fading: number;
  /** Yule-Nielsen n ≥ 1: 1 no light spread in the material. */
  readonly yuleNielsenN: number;
  /** Pitch and line spacing that "solid" refers to, mm. */
  readonly reference: DotGrid;
}

export interface TonePoint {
  /** 0 bare … 1 solid. */
  readonly coverage: number;
  /** CIE L* of the patch. */
  readonly lightness: number;
  /** Standard deviation between replicates, ΔL*. */
  readonly spread: number;
}

/** What was learned about a material from captures, for one machine, lens, settings, pitch and screen. */
export interface Profile {
  readonly schema: 'tonewright-profile/1';
  readonly name: string;
  readonly title: string;
  readonly material: string;
  readonly machine: string;
  readonly grid: DotGrid;
  readonly settings: BurnSettings;
  readonly screen: { readonly name: string; readonly options: Readonly<Record<string, string | number>> };
  readonly direction: MarkDirection;
  readonly bare: Lab;
  readonly full: Lab;
  /** At least two points, coverage strictly rising from 0 to 1, lightness strictly monotone in the mark's direction. */
  readonly points: readonly TonePoint[];
  readonly response: ResponseModel;
  /** Standard deviation of one patch between places of the same piece, ΔL*. */
  readonly repeatability: number;
  /** `measured` from captures, `rehearsed` on the virtual engraver, or `assumed` (no measurement: a straight curve). */
  readonly origin: 'measured' | 'rehearsed' | 'assumed';
  /** ISO date of learning. */
  readonly date: string;
  readonly note: string;
}

/** A stock material: how its marks look by wavelength, and its cautions. */
export interface Material {
  readonly schema: 'tonewright-material/1';
  readonly name: string;
  readonly title: string;
  /** Other names by which a person may ask for it, lower case. */
  readonly aliases: readonly string[];
  readonly bare: Lab;
  readonly marks: readonly {
    /** Wavelengths for which this holds, nm. */
    readonly wavelengthNm: readonly [min: number, max: number];
    readonly direction: MarkDirection;
    readonly full: Lab;
    /** Typical diameter of what one dot changes relative to the spot, an assumed starting value. */
    readonly markToSpot: number;
    readonly note: string;
    readonly source: SourceKey;
  }[];
  readonly cautions: readonly { readonly text: string; readonly source: SourceKey }[];
}

/** A material that must never be lasered. */
export interface RefusedMaterial {
  readonly name: string;
  readonly aliases: readonly string[];
  readonly reason: string;
  readonly source: SourceKey;
}
