import { readBmp, writeBmp } from './bmp.ts';
import {
  type PhotoFormat,
  type PixelsPerMetre,
  readBmpResolution,
  readPngResolution,
  readTiffResolution,
  type Sniffed,
} from './container.ts';
import {
  type DotProgram,
  isProgram,
  type ProgramCounts,
  readProgram,
  readProgramGrid,
  streamProgram,
} from './gcode.ts';
import type { Dots } from './plane.ts';
import { writePng } from './png.ts';
import { packDots } from './samples.ts';
import { writeTiff } from './tiff.ts';

/**
 * Files that dots are written to, by their ending; the first is the default. Apart from the register below, so that a
 * help text that lists them does not load what writes them.
 */
export const DOT_FORMAT_NAMES = ['png', 'tiff', 'bmp', 'gcode'] as const;

/** Those that are pictures of the dots; the others are programs that a machine's controller follows. */
export const PICTURE_FORMAT_NAMES = ['png', 'tiff', 'bmp'] as const satisfies readonly DotFormat[];

export type DotFormat = (typeof DOT_FORMAT_NAMES)[number];
export type PictureFormat = (typeof PICTURE_FORMAT_NAMES)[number];
export type ProgramFormat = Exclude<DotFormat, PictureFormat>;

/** Samples of a bitmap, 1 grey or 3 colour channels, top row first. */
export interface BitmapSamples {
  readonly width: number;
  readonly height: number;
  readonly channels: 1 | 3;
  readonly data: Uint8Array;
}

/** One kind of file for dots: how it is told, written and read. */
export interface DotFormatRecord {
  /** As messages call it. */
  readonly title: string;
  /** Type of its content on the web. */
  readonly mime: string;
  /** Whether a file is of this kind, by its first bytes and what `sniffFormat` says of them. */
  readonly sniff: (bytes: Uint8Array, sniffed: Sniffed) => boolean;
  readonly readResolution: (bytes: Uint8Array) => PixelsPerMetre | undefined;
  /** How its pixels are read: by a function, or by the image library, which knows it as this. */
  readonly pixels: PhotoFormat | ((bytes: Buffer, name: string) => BitmapSamples);
}

export interface PictureFormatRecord extends DotFormatRecord {
  readonly kind: 'picture';
  /** 1 bit grey for two levels, 8 bit grey for more, with the resolution of both axes. */
  readonly write: (dots: Dots, resolution: PixelsPerMetre) => Buffer;
}

/** A program says more than dots: at which places, how fast and with which power they are burned. */
export interface ProgramFormatRecord extends DotFormatRecord {
  readonly kind: 'program';
  /** In pieces, since a program is many times larger than a picture; counts what it holds. */
  readonly write: (program: DotProgram, counts?: ProgramCounts) => Iterable<Buffer>;
}

type FormatRecords = { readonly [F in PictureFormat]: PictureFormatRecord } & {
  readonly [F in ProgramFormat]: ProgramFormatRecord;
};

/** All kinds of files for dots. A new one is a name above, a record here, and the file that writes it. */
export const DOT_FORMATS: FormatRecords = {
  png: {
    kind: 'picture',
    title: 'PNG',
    mime: 'image/png',
    sniff: (_, { format }) => format === 'png',
    write: (dots, resolution) => writePng(dots.width, packDots(dots, { lead: 1 }), resolution),
    readResolution: readPngResolution,
    pixels: 'png',
  },
  tiff: {
    kind: 'picture',
    title: 'TIFF',
    mime: 'image/tiff',
    sniff: (_, { format }) => format === 'tiff',
    write: (dots, resolution) => writeTiff(dots.width, packDots(dots), resolution),
    readResolution: readTiffResolution,
    pixels: 'tiff',
  },
  bmp: {
    kind: 'picture',
    title: 'BMP',
    mime: 'image/bmp',
    sniff: (_, { format }) => format === 'bmp',
    write: (dots, resolution) => writeBmp(dots.width, packDots(dots), resolution),
    readResolution: readBmpResolution,
    pixels: (bytes, name) => {
      const { width, height, rgb } = readBmp(bytes, name);
      return { width, height, channels: 3, data: rgb };
    },
  },
  gcode: {
    kind: 'program',
    title: 'G-code',
    mime: 'text/plain; charset=us-ascii',
    sniff: isProgram,
    write: streamProgram,
    readResolution: (bytes) => {
      const grid = readProgramGrid(bytes);
      return grid && { x: 1000 / grid.pitchMm, y: 1000 / grid.lineSpacingMm };
    },
    pixels: (bytes, name) => {
      const { width, height, grey } = readProgram(bytes, name);
      return { width, height, channels: 1, data: grey };
    },
  },
};

/** What charts are written in for machines that read programs. */
export const PROGRAM_FORMAT: ProgramFormat = 'gcode';

/** Whether a format is no picture but what a controller follows. */
export function isProgramFormat(format: DotFormat): format is ProgramFormat {
  return DOT_FORMATS[format].kind === 'program';
}

/** The kinds of pictures in words, for messages: `PNG, TIFF or BMP`. */
export function nameDotFormats(): string {
  const titles = PICTURE_FORMAT_NAMES.map((name) => DOT_FORMATS[name].title);
  return `${titles.slice(0, -1).join(', ')} or ${titles.at(-1)}`;
}
