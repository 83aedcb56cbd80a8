import { AppError } from '../errors.ts';
import { type Notice, notice } from '../notices.ts';
import { type DotGrid, drawSvg } from '../plane/index.ts';
import { type Artwork, readArtwork } from './artwork.ts';
import { type FittedInk, fitDots, growthOf, type InkOnDots, listThicknesses } from './fit-dots.ts';
import { type CaptionLayout, layOutCaption, type PlacedLine } from './lay-out.ts';
import { fillPath } from './outline.ts';
import type { Caption, CaptionPlace, Drawing, Ink, LineWidths, MarkWidths } from './types.ts';

/** The piece that words and drawings stand on. */
export interface LetteredPiece {
  /** Whole dots. */
  readonly width: number;
  readonly height: number;
  readonly grid: DotGrid;
  readonly widthMm: number;
  readonly heightMm: number;
  readonly cornerRadiusMm: number;
  readonly safeMarginMm: number;
  /** Where the picture lies, dots. */
  readonly place: { readonly x: number; readonly y: number; readonly width: number; readonly height: number };
}

/** What becomes of the dots of a rectangle: 0 as they are, 1 they fire, 2 they do not. */
export interface DotPatch {
  readonly x: number;
  readonly y: number;
  readonly width: number;
  readonly height: number;
  readonly values: Uint8Array;
}

/** Words and drawings as dots, in the sequence in which they are laid over the picture's. */
export interface Lettering {
  readonly patches: readonly DotPatch[];
  readonly facts: LetteringFacts;
  readonly notices: readonly Notice[];
}

/** What a ticket says of words and drawings; lengths in mm from the piece's upper left corner. */
export interface LetteringFacts {
  readonly caption?: {
    readonly lines: readonly { readonly text: string; readonly heightMm: number; readonly baselineMm: number }[];
    readonly font: string;
    readonly place: CaptionPlace;
    readonly ink: Ink;
  };
  readonly artwork?: {
    readonly file: string;
    readonly xMm: number;
    readonly yMm: number;
    readonly widthMm: number;
    readonly heightMm: number;
    readonly ink: Ink;
  };
  /** What a wide stroke's mark measures beyond its dots, across and down, µm: it was taken off beforehand. */
  readonly growthUm: { readonly x: number; readonly y: number };
}

export interface DrawLetteringOptions {
  readonly piece: LetteredPiece;
  readonly widths: MarkWidths;
  readonly caption?: Caption;
  readonly artwork?: Drawing;
}

/** Parts along a dot's side, and most of them in one drawing. Counts. Assumed: an eighth of a dot is not seen. */
const MOST_SAMPLES = 8;
const MOST_PARTS = 36e6;
/** Bare dots around a drawing that growth may need. Assumed: no mark grows by three of its dots. */
const MARGIN_DOTS = 4;
/**
 * Share of a drawing that may be finer than any mark before it is said: the tips of serifs are. Assumed: no more are
 * seen.
 */
const FINE_SHARE = 0.05;
/**
 * Room between a drawing and the piece's edge, where nobody says its place. Share of the short side. Assumed: it looks
 * right.
 */
const CORNER_SHARE = 0.05;
/** Width of a drawing that says none, a share of the piece's. Assumed: a mark in a corner. */
const ARTWORK_SHARE = 0.25;
/** Shares of a drawing in light paint, and beyond the piece, that are said. Assumed: less is the rim of a curve. */
const SAID_SHARE = 0.01;

/**
 * Draws words and a drawing at the dots of a piece, with what marks grow taken off.
 * @throws AppError caption-too-large, artwork-unusable
 */
export async function drawLettering(options: DrawLetteringOptions): Promise<Lettering> {
  const { piece, widths, caption, artwork } = options;
  const words = caption && drawCaption(caption, options);
  const drawing = artwork && (await drawArtwork(artwork, options));
  const growth = (list: LineWidths, mm: number) => Math.round(1e4 * mm * growthOf(list)) / 10;
  return {
    patches: [...(words?.patches ?? []), ...(drawing?.patches ?? [])],
    notices: [...(words?.notices ?? []), ...(drawing?.notices ?? [])],
    facts: {
      ...(words ? { caption: words.facts } : {}),
      ...(drawing ? { artwork: drawing.facts } : {}),
      growthUm: {
        x: growth(widths.solid.x, piece.grid.pitchMm),
        y: growth(widths.solid.y, piece.grid.lineSpacingMm),
      },
    },
  };
}

function drawCaption(caption: Caption, { piece, widths }: DrawLetteringOptions) {
  const { place, ink, outlines } = caption;
  const layout = placeCaption(caption, piece);
  const patches: DotPatch[] = [];
  const isStrip = place === 'band' || (place === 'below' && ink === 'bare');
  if (isStrip) patches.push(drawStrip(layout, { piece, ink: ink === 'bare' ? 'solid' : 'bare' }));
  const thin: Thin[] = [];
  for (const line of layout.lines) {
    const box = boxOf(line, piece);
    const samples = chooseSamples(box);
    const { pitchMm, lineSpacingMm } = piece.grid;
    const drawn = fillPath(line.outline.path, {
      width: box.width * samples,
      height: box.height * samples,
      scaleX: (line.heightMm / pitchMm) * samples,
      scaleY: (line.heightMm / lineSpacingMm) * samples,
      left: (line.xMm / pitchMm - box.x) * samples,
      top: (line.yMm / lineSpacingMm - box.y) * samples,
    });
    const inked = { ...drawn, samples };
    patches.push(toPatch(fitDots(inked, widths[ink]), box, ink));
    const fine = judgeThin(inked, { piece, widths: widths[ink] });
    if (fine) thin.push(fine);
  }
  const finest = thin.sort((a, b) => a.finestMm - b.finestMm)[0];
  const what = outlines.map(({ text }) => `“${text}”`).join(', ');
  return {
    patches,
    notices: [
      ...(finest ? [notice('caption-too-fine', { what: `the words ${what}`, ...finest })] : []),
      ...(layout.isShrunk ? [notice('caption-shrunk', { what, heightMm: layout.lines[0]!.heightMm })] : []),
    ],
    facts: {
      lines: layout.lines.map(({ outline, heightMm, yMm }) => ({
        text: outline.text,
        heightMm: round3(heightMm),
        baselineMm: round3(yMm),
      })),
      font: [...new Set(outlines.flatMap(({ fonts }) => fonts))].join(', '),
      place,
      ink,
    },
  };
}

/** Where the words of a caption stand on a piece. @throws AppError caption-too-large */
export function placeCaption(
  { outlines, place, heightMm }: Caption,
  piece: Pick<LetteredPiece, 'widthMm' | 'heightMm' | 'cornerRadiusMm' | 'safeMarginMm'> &
    Partial<Pick<LetteredPiece, 'place' | 'grid'>>,
): CaptionLayout {
  const bottom = piece.place && piece.grid && (piece.place.y + piece.place.height) * piece.grid.lineSpacingMm;
  return layOutCaption(
    outlines,
    { place, ...(heightMm === undefined ? {} : { heightMm }) },
    { ...piece, ...(bottom === undefined ? {} : { pictureBottomMm: bottom }) },
  );
}

/** A strip over the whole width, from the top of the caption down. */
function drawStrip({ topMm }: CaptionLayout, { piece, ink }: { piece: LetteredPiece; ink: Ink }): DotPatch {
  const { width, height, grid } = piece;
  const y = Math.max(0, Math.min(height - 1, Math.round(topMm / grid.lineSpacingMm)));
  const values = new Uint8Array(width * (height - y)).fill(ink === 'solid' ? 1 : 2);
  return { x: 0, y, width, height: height - y, values };
}

interface Box {
  readonly x: number;
  readonly y: number;
  readonly width: number;
  readonly height: number;
}

function boxOf({ outline, heightMm, xMm, yMm }: PlacedLine, { grid }: LetteredPiece): Box {
  const { pitchMm, lineSpacingMm } = grid;
  const x = Math.floor((xMm + outline.left * heightMm) / pitchMm) - MARGIN_DOTS;
  const y = Math.floor((yMm + outline.top * heightMm) / lineSpacingMm) - MARGIN_DOTS;
  return {
    x,
    y,
    width: Math.ceil((xMm + outline.right * heightMm) / pitchMm) + MARGIN_DOTS - x,
    height: Math.ceil((yMm + outline.bottom * heightMm) / lineSpacingMm) + MARGIN_DOTS - y,
  };
}

/** Even, so that the middle of a dot lies between two parts and each has its own side. */
function chooseSamples({ width, height }: Pick<Box, 'width' | 'height'>): number {
  return Math.max(2, Math.min(MOST_SAMPLES, 2 * Math.floor(Math.sqrt(MOST_PARTS / (width * height)) / 2)));
}

function toPatch({ width, height, data }: FittedInk, { x, y }: Box, ink: Ink): DotPatch {
  const value = ink === 'solid' ? 1 : 2;
  return { x, y, width, height, values: data.map((dot) => dot * value) };
}

interface Thin {
  readonly finestMm: number;
  readonly markMm: number;
}

/** The finest strokes, where a good part of a drawing is finer than the finest line that can be burned. */
function judgeThin(
  ink: InkOnDots,
  {
    piece: { grid },
    widths,
  }: { readonly piece: LetteredPiece; readonly widths: { readonly x: LineWidths; readonly y: LineWidths } },
): Thin | undefined {
  const finestOf = (list: LineWidths, mm: number) =>
    mm * (list.find((width, halves) => width > 0 && halves % 2 === 0) ?? list.length);
  const markMm = Math.max(finestOf(widths.x, grid.pitchMm), finestOf(widths.y, grid.lineSpacingMm));
  const limit = markMm - Math.max(grid.pitchMm, grid.lineSpacingMm) / 2;
  const thicknesses = listThicknesses(ink, grid);
  const finestMm = thicknesses[Math.floor(thicknesses.length * FINE_SHARE)];
  return finestMm !== undefined && finestMm < limit ? { finestMm, markMm } : undefined;
}

async function drawArtwork(request: Drawing, { piece, widths }: DrawLetteringOptions) {
  const { file, ink = 'solid' } = request;
  const artwork = readArtwork(request.svg, file);
  const placed = placeArtwork(request, { artwork, piece });
  const { grid, width, height } = piece;
  const x = Math.round(placed.xMm / grid.pitchMm);
  const y = Math.round(placed.yMm / grid.lineSpacingMm);
  const size = {
    width: Math.max(1, Math.round(placed.widthMm / grid.pitchMm)),
    height: Math.max(1, Math.round(placed.heightMm / grid.lineSpacingMm)),
  };
  if (x >= width || y >= height || x + size.width <= 0 || y + size.height <= 0) {
    throw new AppError(
      'artwork-unusable',
      `${file}: found its place at ${round3(placed.xMm)}, ${round3(placed.yMm)} mm, beyond the piece of ${round3(piece.widthMm)} × ${round3(piece.heightMm)} mm; needed one on it`,
      { ...placed },
    );
  }
  const samples = chooseSamples(size);
  const drawn = await drawSvg(artwork.atSize(size.width * samples, size.height * samples), file);
  const found = inkOf(drawn, file);
  const box = {
    x: x - MARGIN_DOTS,
    y: y - MARGIN_DOTS,
    width: size.width + 2 * MARGIN_DOTS,
    height: size.height + 2 * MARGIN_DOTS,
  };
  const inked = surround({ ...found.ink, samples });
  const patch = toPatch(fitDots(inked, widths[ink]), box, ink);
  const thin = judgeThin(inked, { piece, widths: widths[ink] });
  const cut = shareBeyond(patch, piece);
  return {
    patches: [patch],
    notices: [
      ...(thin ? [notice('caption-too-fine', { what: `the drawing ${file}`, ...thin })] : []),
      ...(found.paleShare > SAID_SHARE ? [notice('artwork-pale', { file, share: found.paleShare })] : []),
      ...(cut > SAID_SHARE ? [notice('artwork-cut', { file, share: cut })] : []),
    ],
    facts: {
      file,
      xMm: round3(placed.xMm),
      yMm: round3(placed.yMm),
      widthMm: round3(placed.widthMm),
      heightMm: round3(placed.heightMm),
      ink,
    },
  };
}

/** Size and corner of a drawing on the piece, mm. */
function placeArtwork(
  { widthMm, at }: Drawing,
  { artwork, piece }: { readonly artwork: Artwork; readonly piece: LetteredPiece },
) {
  const wide = widthMm ?? artwork.widthMm ?? ARTWORK_SHARE * piece.widthMm;
  const air = piece.safeMarginMm + CORNER_SHARE * Math.min(piece.widthMm, piece.heightMm);
  const { xMm, yMm } = at ?? { xMm: piece.widthMm - air - wide, yMm: air };
  return { xMm, yMm, widthMm: wide, heightMm: wide / artwork.aspect };
}

/** Dark paint is ink, light paint bare; a drawing in light paint alone is ink where it is painted. */
function inkOf({ width, height, grey, painted }: Awaited<ReturnType<typeof drawSvg>>, file: string) {
  let dark = 0;
  let pale = 0;
  for (let i = 0; i < grey.length; i++) {
    if (grey[i]! < 128) dark++;
    else if (painted[i]! >= 128) pale++;
  }
  if (dark + pale === 0) {
    throw new AppError('artwork-unusable', `${file}: found nothing painted, needed a drawing`, { file });
  }
  const data = dark > 0 ? grey.map((value) => (value < 128 ? 1 : 0)) : painted.map((value) => (value >= 128 ? 1 : 0));
  return { ink: { width, height, data }, paleShare: dark > 0 ? pale / (dark + pale) : 0 };
}

/** The same ink with bare dots all around. */
function surround({ width, height, data, samples }: InkOnDots): InkOnDots {
  const margin = MARGIN_DOTS * samples;
  const wide = width + 2 * margin;
  const out = new Uint8Array(wide * (height + 2 * margin));
  for (let y = 0; y < height; y++) out.set(data.subarray(y * width, (y + 1) * width), (y + margin) * wide + margin);
  return { width: wide, height: height + 2 * margin, data: out, samples };
}

function shareBeyond({ x, y, width, values }: DotPatch, piece: LetteredPiece): number {
  let inked = 0;
  let beyond = 0;
  for (let at = 0; at < values.length; at++) {
    if (!values[at]) continue;
    inked++;
    const column = x + (at % width);
    const row = y + Math.floor(at / width);
    if (!isOnPiece(column, row, piece)) beyond++;
  }
  return inked === 0 ? 0 : beyond / inked;
}

/** Whether the middle of a dot lies inside the outline and the margin. */
function isOnPiece(column: number, row: number, piece: LetteredPiece): boolean {
  const { grid, widthMm, heightMm, cornerRadiusMm, safeMarginMm: margin } = piece;
  const radius = Math.max(0, cornerRadiusMm - margin);
  const x = (column + 0.5) * grid.pitchMm;
  const y = (row + 0.5) * grid.lineSpacingMm;
  const across = Math.min(x, widthMm - x) - margin;
  const down = Math.min(y, heightMm - y) - margin;
  if (across <= 0 || down <= 0) return false;
  if (across >= radius || down >= radius) return true;
  return Math.hypot(radius - across, radius - down) <= radius;
}

/** Lays words and drawings over values of the piece, dot by dot; what lies beyond the outline stays as it is. */
export function layOver(lettering: Lettering, piece: LetteredPiece, write: (at: number, fires: boolean) => void): void {
  for (const { x, y, width, height, values } of lettering.patches) {
    for (let row = Math.max(0, -y); row < height && y + row < piece.height; row++) {
      for (let column = Math.max(0, -x); column < width && x + column < piece.width; column++) {
        const value = values[row * width + column]!;
        if (value !== 0 && isOnPiece(x + column, y + row, piece))
          write((y + row) * piece.width + x + column, value === 1);
      }
    }
  }
}

const round3 = (mm: number) => Math.round(mm * 1000) / 1000;
