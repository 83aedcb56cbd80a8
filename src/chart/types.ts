import type { Notice } from '../notices.ts';
import type { BurnSettings } from '../optics/index.ts';
import type { DotGrid } from '../plane/index.ts';

/** Kinds of charts; apart from the register, so that a help text that lists them does not load them. */
export const CHART_KIND_NAMES = ['spot', 'focus', 'dose', 'tone', 'field', 'verify', 'check'] as const;

export type ChartKind = (typeof CHART_KIND_NAMES)[number];

export type PatchRole =
  | 'bare'
  | 'solid'
  | 'step'
  | 'cluster'
  | 'line-x'
  | 'line-y'
  | 'ladder'
  | 'vernier'
  | 'isolated'
  | 'control'
  | 'dose'
  | 'level';

/**
 * What fires inside a patch. All but `screened` and `levels` are exact: counted in dots from the patch's upper left
 * corner.
 *
 * | kind       | dots that fire                                                            | coverage        |
 * |------------|---------------------------------------------------------------------------|-----------------|
 * | `bare`     | none                                                                      | 0               |
 * | `solid`    | all                                                                       | 1               |
 * | `screened` | what the screen makes of a constant coverage                              | any             |
 * | `checker`  | squares of `dots` × `dots`, every other one                               | 1/2             |
 * | `squares`  | one square of `dots` × `dots` in every `period` × `period`                | (dots/period)²  |
 * | `lines-x`  | `dots` whole scan lines in every `period`: lines that run along x         | dots/period     |
 * | `lines-y`  | `dots` neighbouring dots in every `period` of each scan line: lines along y | dots/period   |
 * | `vernier`  | the same, every other scan line moved by `shift` dots                     | dots/period     |
 * | `level`    | all, with the power of one level                                          | level/(count−1) |
 * | `levels`   | what the screen of levels makes of a constant mean level                  | any             |
 */
export type PatchPattern =
  | { readonly kind: 'bare' }
  | { readonly kind: 'solid' }
  | { readonly kind: 'screened' }
  | { readonly kind: 'checker'; readonly dots: number }
  | { readonly kind: 'squares'; readonly dots: number; readonly period: number }
  | { readonly kind: 'lines-x'; readonly dots: number; readonly period: number }
  | { readonly kind: 'lines-y'; readonly dots: number; readonly period: number }
  | { readonly kind: 'vernier'; readonly dots: number; readonly period: number; readonly shift: number }
  | { readonly kind: 'level'; readonly level: number }
  | { readonly kind: 'levels' };

/** Settings of one dose cell: those of the chart with the two swept ones replaced. */
export interface CellSettings extends BurnSettings {
  readonly lineSpacingMm: number;
}

/** One field of a chart. Positions count from the chart's upper left corner. */
export interface Patch {
  /** Row letter and column number on the chart, such as `C7`; unique. */
  readonly id: string;
  readonly role: PatchRole;
  readonly pattern: PatchPattern;
  /** Share of dots asked for, 0 … 1. */
  readonly coverage: number;
  /** Patches with the same group are replicates of one another. */
  readonly group: string;
  readonly xDots: number;
  readonly yDots: number;
  readonly widthDots: number;
  readonly heightDots: number;
  readonly xMm: number;
  readonly yMm: number;
  readonly widthMm: number;
  readonly heightMm: number;
  /** Place in the burn order, top to bottom and left to right, from 0. */
  readonly order: number;
  /** Lightness aimed at, L*: `verify` and `check` charts burned through a profile. */
  readonly aimLightness?: number;
  /** Dose charts only. */
  readonly settings?: CellSettings;
}

/** Place of a tag: 0 upper left, 1 upper right, 2 lower right, 3 lower left, 4 and 5 the spare ones between. */
export type TagPosition = 0 | 1 | 2 | 3 | 4 | 5;

export interface LayoutTag {
  readonly id: number;
  readonly position: TagPosition;
  /** Upper left dot of the tag with its bare ring. */
  readonly xDots: number;
  readonly yDots: number;
  /** Dots along one cell. A tag is TAG_CELLS cells wide and high. */
  readonly cellDotsX: number;
  readonly cellDotsY: number;
}

export interface LayoutLabel {
  readonly text: string;
  /** Upper left dot of the text. */
  readonly xDots: number;
  readonly yDots: number;
  /** Dots along one of the 5 × 7 points of a letter. */
  readonly pointDotsX: number;
  readonly pointDotsY: number;
}

/** A chart before burning: all that a later reader needs to know. Plain JSON. */
export interface ChartLayout {
  readonly schema: 'tonewright-chart/1';
  readonly kind: ChartKind;
  /** Ten hexadecimal digits over everything below but labels and tag ids; the tags carry it. */
  readonly hash: string;
  readonly machine: string;
  /** Name of the material; empty when only the direction was given. */
  readonly material: string;
  readonly direction: 'lighter' | 'darker';
  readonly settings: BurnSettings;
  readonly screen: { readonly name: string; readonly options: Readonly<Record<string, string | number>> };
  readonly grid: DotGrid;
  readonly seed: number;
  readonly widthMm: number;
  readonly heightMm: number;
  readonly widthDots: number;
  readonly heightDots: number;
  /** Border of each patch that is not read, mm. */
  readonly borderMm: number;
  /** Bare gutter between two patches, mm. */
  readonly gapMm: number;
  readonly tags: readonly LayoutTag[];
  readonly labels: readonly LayoutLabel[];
  readonly patches: readonly Patch[];
  /** Dose charts with room for the grid of another software: where it lies, mm. After all older fields. */
  readonly field?: FieldPlace;
  /** Charts that are burned on a piece that leans. After all older fields. */
  readonly ramp?: Ramp;
  /** Charts that tell how even the machine's field is: where they are burned in it. After all older fields. */
  readonly inField?: PlaceInField;
  /** Charts that are burned from behind, mirrored: their tags read through the stock. After all older fields. */
  readonly seen?: 'through';
  /** What lies beneath clear stock where its picture is taken. After all older fields. */
  readonly beneath?: 'dark' | 'light';
  /** Tone charts of dots that have levels of power, too. After all older fields. */
  readonly levels?: ChartLevels;
}

/** Power per dot: how many levels with bare and full, and the screen of those patches that mix them. */
export interface ChartLevels {
  readonly count: number;
  readonly screen: ChartLayout['screen'];
}

/** Where a chart's upper left corner lies in a machine's field, mm from the field's; x right, y down. */
export interface PlaceInField {
  readonly xMm: number;
  readonly yMm: number;
  /** Of the field. */
  readonly widthMm: number;
  readonly heightMm: number;
  /** Name of the profile through which the chart is read. */
  readonly profile: string;
}

/** How a piece leans under the lens; its middle lies at the height at which it would lie flat. */
export interface Ramp {
  /** How far the chart's upper edge stands above its lower edge, towards the lens, mm. */
  readonly riseMm: number;
}

export interface FieldPlace {
  readonly xMm: number;
  readonly yMm: number;
  readonly widthMm: number;
  readonly heightMm: number;
}

/** A scan or photo: sRGB-coded values as stored in the file, interleaved R G B, upright as a person sees it. */
export interface CaptureImage {
  readonly width: number;
  readonly height: number;
  /** Length width · height · 3; 0 … 255 or 0 … 65535. */
  readonly rgb: Uint8Array | Uint16Array;
  readonly bits: 8 | 16;
  /** What is known of the taking that a reader should distrust. */
  readonly cautions?: readonly Notice[];
}

export type Point = readonly [x: number, y: number];
export type Corners = readonly [Point, Point, Point, Point];
