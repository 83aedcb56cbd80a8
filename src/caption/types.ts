import type { CaptionFont } from './fonts.ts';

/** `solid`: the dots of the drawing fire. `bare`: they do not, whatever lies around them. */
export type Ink = 'solid' | 'bare';

/**
 * `below`: on a bare strip of its own, before which the picture ends. `band`: on a strip over the picture's lower part.
 * `picture`: on the picture itself. `edge`: on the bare edge that the picture leaves.
 */
export type CaptionPlace = 'below' | 'band' | 'picture' | 'edge';

/** Words on the piece, as they were asked for. */
export interface CaptionRequest {
  readonly text: string;
  /** A second line, smaller. */
  readonly text2?: string;
  readonly place?: CaptionPlace;
  /** Height of the capital letters of the first line, mm; chosen when absent. */
  readonly heightMm?: number;
  readonly font?: CaptionFont;
  readonly ink?: Ink;
}

/** A drawing on the piece, as it was asked for. */
export interface ArtworkRequest {
  /** Name of a drawing that the shop keeps, or the path of an SVG file. */
  readonly name: string;
  /** Width, mm; its own, or a quarter of the piece's, when absent. */
  readonly widthMm?: number;
  /** Its upper left corner, mm from the piece's; in the piece's upper right corner when absent. */
  readonly at?: { readonly xMm: number; readonly yMm: number };
  readonly ink?: Ink;
}

/** The same with what its file holds. */
export interface Drawing extends Omit<ArtworkRequest, 'name'> {
  /** What messages and tickets call it. */
  readonly file: string;
  readonly svg: string;
}

/**
 * A line of words as curves. Lengths in heights of the capital letters, x right, y down, from the baseline's left end.
 */
export interface WordsOutline {
  readonly text: string;
  /** What the fonts are called that its letters come from. */
  readonly fonts: readonly string[];
  /** Absolute path of M, L, Q, C and Z, to be filled by the non-zero rule. */
  readonly path: string;
  /** Where there is ink. */
  readonly left: number;
  readonly right: number;
  readonly top: number;
  readonly bottom: number;
}

/** A caption whose words are curves already. */
export interface Caption {
  readonly outlines: readonly WordsOutline[];
  readonly place: CaptionPlace;
  /** Height of the capitals of the first line, mm; chosen by the room when absent. */
  readonly heightMm?: number;
  readonly ink: Ink;
}

/**
 * Width of a burned line, in dots, by half dots: of none, half a dot, one, one and a half … Half a dot is one in every
 * other line. Beyond the list each dot adds one.
 */
export type LineWidths = readonly number[];

/**
 * What lines of dots measure once they are burned. `x`: lines that run down, by their columns; `y`: across, by rows.
 */
export interface MarkWidths {
  /** Lines of dots that fire, on bare surface. */
  readonly solid: { readonly x: LineWidths; readonly y: LineWidths };
  /** Lines of dots that do not, in a solid. */
  readonly bare: { readonly x: LineWidths; readonly y: LineWidths };
}
