import { AppError } from '../errors.ts';
import {
  type CaptionFont,
  type FontFile,
  listFontFiles,
  loadBidi,
  openFont,
  titleOfFile,
  titleOfFont,
} from './fonts.ts';
import type { Caption, CaptionRequest, WordsOutline } from './types.ts';

/** What a caption is where nothing is said of it. */
const CAPTION_DEFAULTS = { place: 'below', font: 'sans', ink: 'solid' } as const;

/**
 * A caption's words as curves, with what it says nothing of.
 * @throws AppError option-invalid, letter-missing
 */
export function shapeCaption({ text, text2, heightMm, ...asked }: CaptionRequest): Caption {
  const { place, font, ink } = { ...CAPTION_DEFAULTS, ...asked };
  if (place === 'edge' && ink === 'bare') {
    throw new AppError(
      'option-invalid',
      'the caption: found bare letters on the bare edge, needed solid ones to be seen',
    );
  }
  return {
    outlines: [text, ...(text2 === undefined ? [] : [text2])].map((words, line) =>
      shapeWords(words, font, line === 0 ? 'the caption' : 'the second line of the caption'),
    ),
    place,
    ...(heightMm === undefined ? {} : { heightMm }),
    ink,
  };
}

/** Most letters of a line. A count. Assumed: more are no caption, and no piece is as long. */
const MOST_LETTERS = 200;
/** Signs that are never drawn themselves: joiners, marks of direction, choices of variants. */
const UNSEEN = /\p{Default_Ignorable_Code_Point}/u;
/** Signs between words take the font of the word before them. */
const BETWEEN = /^[\p{Z}\p{P}]+$/u;

/**
 * Words as curves: composed (NFC), each letter from the first font that has it, shaped by its script's rules, and in
 * the sequence in which people read it (source: 'uax9').
 * @throws AppError option-invalid for no words or too many; letter-missing for a letter that no font here has
 */
export function shapeWords(written: string, family: CaptionFont, what: string): WordsOutline {
  const text = written.normalize('NFC').trim();
  const letters = [...text].length;
  if (letters === 0 || letters > MOST_LETTERS) {
    throw new AppError('option-invalid', `${what}: found ${letters} letters, needed 1 to ${MOST_LETTERS}`);
  }
  if (/\p{Cc}|\u2028|\u2029/u.test(text)) {
    throw new AppError('option-invalid', `${what}: found a line break or a tab, needed one line of words`);
  }
  const { levels } = loadBidi().getEmbeddingLevels(text);
  const mirrored = loadBidi().getMirroredCharactersMap(text, levels);
  const runs = splitIntoRuns(text, { family, levels, mirrored, what });
  return drawRuns(orderForEye(runs), { text, family, what });
}

interface Run {
  readonly text: string;
  readonly font: string;
  /** Even: from left to right; odd: from right to left. */
  readonly level: number;
}

/** Stretches of one font and one direction, in the sequence in which they were written. */
function splitIntoRuns(
  text: string,
  {
    family,
    levels,
    mirrored,
    what,
  }: {
    readonly family: CaptionFont;
    readonly levels: Uint8Array;
    readonly mirrored: ReadonlyMap<number, string>;
    readonly what: string;
  },
): readonly Run[] {
  const files = listFontFiles(family);
  const runs: Run[] = [];
  for (const { segment, index } of new Intl.Segmenter('und', { granularity: 'grapheme' }).segment(text)) {
    const last = runs.at(-1);
    const level = levels[index]!;
    const seen = [...segment].filter((sign) => !UNSEEN.test(sign));
    const wished = last && BETWEEN.test(segment) ? [last.font, ...files] : files;
    const font = seen.length === 0 && last ? last.font : wished.find((file) => hasAll(openFont(file), seen));
    if (font === undefined) throw missing(what, segment, family);
    const drawn = mirrored.get(index) ?? segment;
    if (last && last.font === font && last.level === level)
      runs[runs.length - 1] = { ...last, text: last.text + drawn };
    else runs.push({ text: drawn, font, level });
  }
  return runs;
}

const hasAll = (font: FontFile, signs: readonly string[]) =>
  signs.every((sign) => font.hasGlyphForCodePoint(sign.codePointAt(0)!));

function missing(what: string, letter: string, family: CaptionFont): AppError {
  const codes = [...letter].map((sign) => `U+${sign.codePointAt(0)!.toString(16).toUpperCase().padStart(4, '0')}`);
  return new AppError(
    'letter-missing',
    `${what}: found “${letter}” (${codes.join(' ')}), which neither ${titleOfFont(family)} nor another font here has; needed letters of the Latin, Greek, Cyrillic, Hebrew, Arabic or Devanagari script`,
    { letter, codes, font: family },
  );
}

/**
 * Rule L2 of the algorithm (source: 'uax9'): from the highest level down to the lowest odd one, what is at or above it
 * is turned round.
 */
function orderForEye(runs: readonly Run[]): readonly Run[] {
  const out = [...runs];
  const highest = Math.max(...runs.map(({ level }) => level));
  for (let level = highest; level >= 1; level--) {
    for (let from = 0; from < out.length; from++) {
      if (out[from]!.level < level) continue;
      let to = from;
      while (to < out.length && out[to]!.level >= level) to++;
      out.splice(from, to - from, ...out.slice(from, to).reverse());
      from = to;
    }
  }
  return out;
}

function drawRuns(
  runs: readonly Run[],
  { text, family, what }: { readonly text: string; readonly family: CaptionFont; readonly what: string },
): WordsOutline {
  const own = openFont(listFontFiles(family)[0]!);
  const emsPerCap = own.unitsPerEm / own.capHeight;
  const parts: string[] = [];
  const ink = { left: Infinity, right: -Infinity, top: Infinity, bottom: -Infinity };
  let pen = 0;
  for (const run of runs) {
    const font = openFont(run.font);
    const scale = emsPerCap / font.unitsPerEm;
    const { glyphs, positions } = font.layout(
      run.text,
      undefined,
      undefined,
      undefined,
      run.level % 2 === 1 ? 'rtl' : 'ltr',
    );
    for (const [at, glyph] of glyphs.entries()) {
      const { xAdvance, xOffset, yOffset } = positions[at]!;
      if (glyph.id === 0) throw missing(what, String.fromCodePoint(...glyph.codePoints), family);
      const toX = (x: number) => pen + scale * (x + xOffset);
      const toY = (y: number) => -scale * (y + yOffset);
      const path = drawGlyph(glyph.path.commands, toX, toY);
      if (path !== '') {
        const { minX, minY, maxX, maxY } = glyph.bbox;
        ink.left = Math.min(ink.left, toX(minX));
        ink.right = Math.max(ink.right, toX(maxX));
        ink.top = Math.min(ink.top, toY(maxY));
        ink.bottom = Math.max(ink.bottom, toY(minY));
        parts.push(path);
      }
      pen += scale * xAdvance;
    }
  }
  if (parts.length === 0) throw new AppError('option-invalid', `${what}: found nothing to see, needed letters`);
  const fonts = [...new Set(runs.map(({ font }) => titleOfFile(font)))];
  return { text, fonts, path: parts.join(''), ...ink };
}

const LETTER_OF: Readonly<Record<string, string>> = {
  moveTo: 'M',
  lineTo: 'L',
  quadraticCurveTo: 'Q',
  bezierCurveTo: 'C',
  closePath: 'Z',
};

function drawGlyph(
  commands: readonly { readonly command: string; readonly args: readonly number[] }[],
  toX: (x: number) => number,
  toY: (y: number) => number,
): string {
  return commands
    .map(({ command, args }) => {
      const points = args.map((value, at) => Number((at % 2 === 0 ? toX(value) : toY(value)).toFixed(5)));
      return `${LETTER_OF[command]}${points.join(' ')}`;
    })
    .join('');
}
