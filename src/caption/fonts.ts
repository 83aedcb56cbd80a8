import { readFileSync } from 'node:fs';
import { createRequire } from 'node:module';
import { join } from 'node:path';
import { findPackageRoot } from '../plane/index.ts';
import FILES from './font-files.json' with { type: 'json' };

/** Letter shapes that a caption may have, by what people call them: all under the SIL Open Font License 1.1. */
const CAPTION_FONTS = ['sans', 'serif', 'script'] as const;
export type CaptionFont = (typeof CAPTION_FONTS)[number];

/** Scripts that a family lacks are drawn from these, in this sequence. */
const OTHERS = ['sans', 'hebrew', 'arabic'] as const;

/** A glyph as the font library has it: outlines in font units, y up. */
export interface Glyph {
  readonly id: number;
  readonly codePoints: readonly number[];
  readonly path: {
    readonly commands: readonly { readonly command: string; readonly args: readonly number[] }[];
  };
  readonly bbox: { readonly minX: number; readonly minY: number; readonly maxX: number; readonly maxY: number };
}

/** A file of a font as the font library opens it; lengths in font units. */
export interface FontFile {
  readonly unitsPerEm: number;
  readonly capHeight: number;
  hasGlyphForCodePoint(point: number): boolean;
  layout(
    text: string,
    features: undefined,
    script: undefined,
    language: undefined,
    direction: 'ltr' | 'rtl',
  ): {
    readonly glyphs: readonly Glyph[];
    readonly positions: readonly {
      readonly xAdvance: number;
      readonly yAdvance: number;
      readonly xOffset: number;
      readonly yOffset: number;
    }[];
  };
}

/** What decides in which sequence letters stand that run both ways (source: 'uax9'). */
export interface Bidi {
  getEmbeddingLevels(text: string): { readonly levels: Uint8Array };
  getMirroredCharactersMap(text: string, levels: Uint8Array): ReadonlyMap<number, string>;
}

const distFolder = () => join(findPackageRoot() ?? '.', 'dist');

/** The one file that the build makes of what shapes letters: only jobs with a caption load it. */
function loadLibrary(): { readonly fontkit: { create(bytes: Buffer): FontFile }; readonly bidi: () => Bidi } {
  return createRequire(import.meta.url)(join(distFolder(), 'font-library.cjs'));
}

const opened = new Map<string, FontFile>();
let bidi: Bidi | undefined;

/** Files of a family, then those of the scripts that it lacks. Each is opened when it is first asked for a letter. */
export function listFontFiles(family: CaptionFont): readonly string[] {
  return [...new Set([family, ...OTHERS].flatMap((name) => FILES[name].files))];
}

export const titleOfFont = (family: CaptionFont): string => FILES[family].title;

/** What people call the font that a file is of. */
export const titleOfFile = (file: string): string =>
  Object.values(FILES).find(({ files }) => files.includes(file))!.title;

/** A font by the name of its file. The build copies all of them, with their licences, into dist/fonts. */
export function openFont(name: string): FontFile {
  const found = opened.get(name);
  if (found) return found;
  const font = loadLibrary().fontkit.create(readFileSync(join(distFolder(), 'fonts', `${name}.woff2`)));
  opened.set(name, font);
  return font;
}

export function loadBidi(): Bidi {
  bidi ??= loadLibrary().bidi();
  return bidi;
}
