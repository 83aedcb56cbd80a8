import type { KnownControl } from '../../machine/index.ts';
import type { BurnSettings } from '../../optics/index.ts';
import type { DotGrid, PictureFormat } from '../../plane/index.ts';
import type { AlignmentMark, ControlPlace, Correction, Origin, PointMm, RectangleMm } from '../../plate/index.ts';
import type { Caution } from '../prepare/types.ts';

import type { BitmapTime } from './time.ts';

/** One bitmap of a plate: what is imported, where it is set and what is typed in for it. */
export interface PlateBurn {
  /** Place in the sequence of the burns, from 1. */
  readonly sequence: number;
  readonly file: string;
  readonly sha256: string;
  readonly format: PictureFormat;
  readonly widthDots: number;
  readonly heightDots: number;
  readonly levels: number;
  /** Share of its dots that fire, 0 … 1. */
  readonly firing: number;
  readonly grid: DotGrid;
  readonly settings: BurnSettings;
  readonly profile: { readonly name: string; readonly title: string };
  /** Numbers of the pieces that it burns. */
  readonly pieces: readonly number[];
  /** Whether the control strip is in it, too. */
  readonly strip: boolean;
  /** Where it lies, in jig coordinates. */
  readonly place: RectangleMm;
  readonly control: ControlPlace;
  readonly time: BitmapTime;
}

/** One copy of a piece on its plate. */
export interface PlatePiece {
  /** Place in the sequence in which pieces are laid in, from 1: by pocket. */
  readonly number: number;
  readonly name: string;
  readonly copy: number;
  readonly count: number;
  /** What the customer or the shop wrote for the ticket. */
  readonly text: string | null;
  readonly pocket: string;
  /** Turned by a quarter, clockwise. */
  readonly turned: boolean;
  /** Where it lies, in jig coordinates, as it lies. */
  readonly place: RectangleMm;
  readonly control: ControlPlace;
  /** The burn that burns it, and its upper left dot in that bitmap. */
  readonly burn: number;
  readonly xDots: number;
  readonly yDots: number;
  /** From where its corner should be to its first dot's, by rounding to whole dots: at most half a dot, mm. */
  readonly off: PointMm;
  /** Burned by itself, s. */
  readonly secondsAlone: number;
  /** What was corrected for where it lies, where it was screened again for that place. */
  readonly corrected?: { readonly xMm: number; readonly yMm: number; readonly note: string };
}

/**
 * Everything about one plate, machine-readable. Points in jig coordinates count from the jig's upper left corner, x
 * right, y down; `control` holds what is typed into the control software, from its own origin.
 */
export interface PlateTicket {
  readonly schema: 'tonewright-plate/1';
  readonly version: string;
  readonly name: string;
  readonly number: number;
  readonly of: number;
  readonly machine: {
    readonly name: string;
    readonly title: string;
    readonly fieldMm: readonly [number, number];
    readonly control?: KnownControl;
  };
  readonly material: { readonly name: string; readonly title: string };
  readonly jig: { readonly name: string; readonly title: string; readonly mark: string; readonly file: string };
  /** The point that the control software calls 0, 0. */
  readonly origin: Origin & PointMm;
  readonly correction: Correction & { readonly pivot: PointMm };
  readonly marks: readonly AlignmentMark[];
  readonly burns: readonly PlateBurn[];
  readonly pieces: readonly PlatePiece[];
  readonly strip: {
    readonly layout: string;
    readonly hash: string;
    readonly pocket: string;
    readonly burn: number;
    readonly place: RectangleMm;
    readonly control: ControlPlace;
  } | null;
  readonly time: BitmapTime & {
    /** Every piece and the strip as a bitmap of its own; null where they are burned so. */
    readonly secondsApart: number | null;
  };
  readonly price: {
    readonly amountMinor: number;
    readonly currency: string;
    readonly locale: string;
    readonly minorDigits: number;
  } | null;
  /** Why the plate is as it is, in plain words. */
  readonly notes: readonly string[];
  readonly cautions: readonly Caution[];
  readonly warnings: readonly string[];
  readonly assumptions: readonly string[];
}

/** All plates of a run, machine-readable. */
export interface PlatesRecord {
  readonly schema: 'tonewright-plates/1';
  readonly version: string;
  readonly bitmaps: 'plate' | 'piece';
  readonly batches: readonly {
    readonly machine: string;
    readonly material: string;
    readonly pieces: number;
    readonly plates: number;
    readonly lowerBound: number;
    readonly explanation: string;
  }[];
  readonly notes: readonly string[];
  readonly time: BitmapTime;
  readonly jigs: readonly string[];
  readonly plates: readonly PlateTicket[];
}

/** Endings of what a jig is written as, beside its alignment marks. Format: what `makeJigFiles` names. */
const JIG_ENDINGS = ['svg', 'engrave.svg', 'cut.svg', 'json', 'csv', 'html'] as const;
/** Files of all plates together. Format: what `makePlates` names. */
const SHARED_FILES = ['plates.csv', 'plates.json', 'plates.html'] as const;

/** Names of the files that were written along with a plate: its own, those of its jig and those of all plates. */
export function listPlateFiles({ name, jig, burns, strip }: PlateTicket): readonly string[] {
  const board = jig.file.replace(/\.json$/, '');
  return [
    ...burns.map(({ file }) => file),
    ...(strip ? [strip.layout] : []),
    `${name}.ticket.json`,
    `${name}.ticket.html`,
    ...JIG_ENDINGS.map((ending) => `${board}.${ending}`),
    ...burns.map(({ format }) => `${board}.align.${format}`),
    ...SHARED_FILES,
  ];
}

const HEAD = [
  'plate',
  'what',
  'number',
  'name',
  'copy',
  'pocket',
  'quarter_turn',
  'bitmap',
  'corner_x_mm',
  'corner_y_mm',
  'centre_x_mm',
  'centre_y_mm',
  'turn_deg_clockwise',
  'width_mm',
  'height_mm',
  'jig_x_mm',
  'jig_y_mm',
  'x_dots',
  'y_dots',
  'off_x_mm',
  'off_y_mm',
] as const;

/**
 * Bitmaps, pieces and strips of all plates as comma-separated values (RFC 4180). Corner and centre as they are typed
 * into the control software; `jig_…` from the jig's upper left corner.
 */
export function writePlacementTable(plates: readonly PlateTicket[]): string {
  const rows = plates.flatMap((plate) => [
    ...plate.burns.map((burn) => [
      plate.number,
      'bitmap',
      burn.sequence,
      burn.file,
      '',
      '',
      '',
      burn.file,
      ...cellsOf(burn),
      '',
      '',
      '',
      '',
    ]),
    ...plate.pieces.map((piece) => [
      plate.number,
      'piece',
      piece.number,
      piece.name,
      piece.copy,
      piece.pocket,
      piece.turned ? 1 : 0,
      plate.burns[piece.burn - 1]!.file,
      ...cellsOf(piece),
      piece.xDots,
      piece.yDots,
      piece.off.xMm,
      piece.off.yMm,
    ]),
    ...(plate.strip
      ? [
          [
            plate.number,
            'strip',
            '',
            plate.strip.hash,
            '',
            plate.strip.pocket,
            0,
            plate.burns[plate.strip.burn - 1]!.file,
            ...cellsOf(plate.strip),
            '',
            '',
            '',
            '',
          ],
        ]
      : []),
  ]);
  return `${[HEAD, ...rows].map((row) => row.map(quoteCell).join(',')).join('\r\n')}\r\n`;
}

function cellsOf({ place, control }: { readonly place: RectangleMm; readonly control: ControlPlace }) {
  const { corner, centre, angleDeg } = control;
  return [
    corner.xMm,
    corner.yMm,
    centre.xMm,
    centre.yMm,
    angleDeg,
    place.widthMm,
    place.heightMm,
    place.xMm,
    place.yMm,
  ];
}

/** Quoted where RFC 4180 wants it; a text that a spreadsheet would take for a formula is led by an apostrophe. */
export function quoteCell(cell: string | number): string {
  if (typeof cell === 'number') return String(cell);
  const text = /^[=+\-@\t\r]/.test(cell) ? `'${cell}` : cell;
  return /[",\r\n]/.test(text) ? `"${text.replaceAll('"', '""')}"` : text;
}
