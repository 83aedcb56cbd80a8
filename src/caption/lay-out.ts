import { AppError } from '../errors.ts';
import type { CaptionPlace, WordsOutline } from './types.ts';

/**
 * Where a caption stands, in heights of its first line's capitals, and how small it may become, mm. Assumed, by looking
 * at pieces: capitals of 3 mm are read at arm's length, of half a millimetre hardly.
 */
export const CAPTION_LAYOUT = {
  heightMm: 3,
  /** Of the piece's short side, where that is more, and at most. Share. */
  ofSide: 0.05,
  mostOfSide: 0.125,
  leastMm: 0.5,
  mostMm: 200,
  /** Height of the second line. Share of the first's. */
  second: 0.7,
  /** Least room for what letters have below the baseline, and between the lines. In heights of the line: a share. */
  below: 0.3,
  between: 0.5,
  /** Bare room above, below and beside the words. In heights of the first line: a share. */
  above: 0.7,
  under: 0.5,
  beside: 0.4,
  /**
   * The caption of a round piece may rise by so much of the piece's height before its letters shrink, and at most.
   * Share.
   */
  rise: 0.12,
  mostRise: 0.3,
  /** A strip of its own may take so much of the piece. Share. */
  mostOfPiece: 0.6,
} as const;

/** What of a piece decides where words fit; lengths in mm from its upper left corner. */
export interface CaptionPiece {
  readonly widthMm: number;
  readonly heightMm: number;
  readonly cornerRadiusMm: number;
  readonly safeMarginMm: number;
  /** Lower end of the picture; needed for the place `edge` alone. */
  readonly pictureBottomMm?: number;
}

export interface PlacedLine {
  readonly outline: WordsOutline;
  /** Height of the capitals. */
  readonly heightMm: number;
  /** Left end and baseline of the words' own lengths. */
  readonly xMm: number;
  readonly yMm: number;
}

export interface CaptionLayout {
  readonly lines: readonly PlacedLine[];
  /** From here down to the lower edge the caption has the piece. */
  readonly topMm: number;
  /** Whether the letters were made smaller than they would be by themselves. */
  readonly isShrunk: boolean;
}

/**
 * Places lines of words, centred, along the lower edge of a piece, inside its outline and margin. A height that is
 * given stands; one that is chosen gives way to the room.
 * @throws AppError caption-too-large with the height that would fit
 */
export function layOutCaption(
  outlines: readonly WordsOutline[],
  { place, heightMm }: { readonly place: CaptionPlace; readonly heightMm?: number },
  piece: CaptionPiece,
): CaptionLayout {
  const { heightMm: usual, ofSide, mostOfSide, leastMm } = CAPTION_LAYOUT;
  const side = Math.min(piece.widthMm, piece.heightMm);
  const chosen = Math.min(Math.max(usual, ofSide * side), mostOfSide * side);
  const wanted = heightMm ?? Math.max(leastMm, chosen);
  for (let height = wanted; height >= leastMm * 0.999; height = Math.min(height * 0.98, height - 0.01)) {
    const lines = tryHeight(outlines, { place, piece, heightMm: height });
    if (!lines) continue;
    if (heightMm === undefined || height === wanted) return { ...lines, isShrunk: height < wanted };
    throw tooLarge(outlines, heightMm, Math.floor(height * 20) / 20);
  }
  throw tooLarge(outlines, wanted, undefined);
}

function tooLarge(outlines: readonly WordsOutline[], heightMm: number, fits: number | undefined): AppError {
  const words = outlines.map(({ text }) => `“${text}”`).join(' and ');
  const longest = Math.max(...outlines.map(({ left, right }, line) => (right - left) * heightOf(line, heightMm)));
  const needed =
    fits === undefined
      ? 'a larger piece, another place, or fewer words'
      : `letters of at most ${fits} mm for this piece`;
  return new AppError(
    'caption-too-large',
    `the caption ${words}: found ${round(longest)} mm of words with capitals of ${round(heightMm)} mm and no room for them; needed ${needed}`,
    { heightMm, ...(fits === undefined ? {} : { fitsMm: fits }) },
  );
}

const heightOf = (line: number, heightMm: number) => (line === 0 ? heightMm : CAPTION_LAYOUT.second * heightMm);

/** Baselines of the lines below the upper end of the first one's letters, and the lower end of the last one's, mm. */
function stack(outlines: readonly WordsOutline[], heightMm: number) {
  const { below, between } = CAPTION_LAYOUT;
  const baselines: number[] = [];
  let y = 0;
  for (const [line, { top, bottom }] of outlines.entries()) {
    const height = heightOf(line, heightMm);
    if (line > 0) y += between * height;
    y += Math.max(1, -top) * height;
    baselines.push(y);
    y += Math.max(below, bottom) * height;
  }
  return { baselines, height: y };
}

function tryHeight(
  outlines: readonly WordsOutline[],
  { place, piece, heightMm }: { readonly place: CaptionPlace; readonly piece: CaptionPiece; readonly heightMm: number },
): Omit<CaptionLayout, 'isShrunk'> | undefined {
  const { above, under, rise, mostRise, mostOfPiece } = CAPTION_LAYOUT;
  const { heightMm: tall, safeMarginMm } = piece;
  const { baselines, height } = stack(outlines, heightMm);
  const put = (topMm: number) => {
    const lines = outlines.map((outline, line): PlacedLine => {
      const cap = heightOf(line, heightMm);
      const xMm = piece.widthMm / 2 - (cap * (outline.left + outline.right)) / 2;
      return { outline, heightMm: cap, xMm, yMm: topMm + baselines[line]! };
    });
    return lines.every((line) => fitsAcross(line, piece, heightMm)) ? lines : undefined;
  };
  if (place === 'edge') {
    const from = piece.pictureBottomMm ?? tall;
    const room = tall - safeMarginMm - from;
    if (room < height + under * heightMm) return undefined;
    const lines = put(from + (room - height) / 2);
    return lines && { lines, topMm: from };
  }
  const lowest = tall - safeMarginMm - under * heightMm - height;
  // A little higher a round piece is wider: smaller letters are the last resort.
  const most = heightMm > CAPTION_LAYOUT.leastMm * 1.02 ? rise : mostRise;
  for (let raised = 0; raised <= most * tall; raised += tall / 200) {
    const lines = put(lowest - raised);
    const topMm = lowest - raised - above * heightMm;
    if (lines && topMm >= (1 - mostOfPiece) * tall) return { lines, topMm };
  }
  return undefined;
}

/** Whether the ink of a line lies inside the outline and the margin, with a little air. */
function fitsAcross({ outline, heightMm, yMm }: PlacedLine, piece: CaptionPiece, firstMm: number): boolean {
  const { left, right, top, bottom } = outline;
  const ends = [yMm + top * heightMm, yMm + bottom * heightMm];
  const room = Math.min(...ends.map((y) => widthAt(y, piece)));
  return (right - left) * heightMm <= room - 2 * CAPTION_LAYOUT.beside * firstMm;
}

/** Width of the piece inside its margin at a height, mm; corners stay concentric. */
function widthAt(yMm: number, { widthMm, heightMm, cornerRadiusMm, safeMarginMm: margin }: CaptionPiece): number {
  const radius = Math.max(0, cornerRadiusMm - margin);
  const fromEdge = Math.min(yMm, heightMm - yMm) - margin;
  if (fromEdge < 0) return 0;
  const rise = Math.max(0, radius - fromEdge);
  return widthMm - 2 * (margin + radius - Math.sqrt(radius * radius - rise * rise));
}

const round = (mm: number) => Math.round(mm * 100) / 100;
