import { AppError } from '../errors.ts';

/** A drawing that was looked through. */
export interface Artwork {
  /** Own width over height. */
  readonly aspect: number;
  /** Own width, mm, where the drawing states one. */
  readonly widthMm?: number;
  /** The same drawing stretched to so many pixels. */
  readonly atSize: (width: number, height: number) => string;
}

/** Characters of a drawing, a count. Assumed: a traced photograph has fewer; more take minutes to draw. */
const MOST_ARTWORK_CHARACTERS = 2_000_000;

/**
 * First characters of a file in which bytes that are no text show. A count. Assumed: every format of pictures has some
 * there.
 */
const BYTES_CHARACTERS = 1024;

/** Elements that are no curves, or reach out of the drawing, with what to do about them. */
const REFUSED: Readonly<Record<string, string>> = {
  script: 'a script, needed a drawing without any',
  text: 'text, which looks different on every computer; needed its letters turned into curves',
  tspan: 'text, which looks different on every computer; needed its letters turned into curves',
  textpath: 'text, which looks different on every computer; needed its letters turned into curves',
  image: 'a picture of pixels inside, needed curves alone',
  feimage: 'a picture of pixels inside, needed curves alone',
  foreignobject: 'a part that is no SVG, needed curves alone',
  iframe: 'a part that is no SVG, needed curves alone',
  filter: 'an effect of pixels (a filter), needed curves alone',
};
/** Millimetres in the units of a drawing. Exact: by definition of CSS, where an inch has 96 pixels. */
const MM_OF: Readonly<Record<string, number>> = {
  mm: 1,
  cm: 10,
  in: 25.4,
  pt: 25.4 / 72,
  pc: 25.4 / 6,
  q: 0.25,
};
const TAG = /<(\/?)([A-Za-z_][\w.:-]*)((?:[^<>"']|"[^"]*"|'[^']*')*?)(\/?)>/g;
const ATTRIBUTE = /([\w.:-]+)\s*=\s*(?:"([^"]*)"|'([^']*)')/g;

/**
 * Look an SVG through: curves alone, nothing that runs, nothing from elsewhere.
 * @throws AppError artwork-unusable
 */
export function readArtwork(svg: string, name: string): Artwork {
  const fail = (found: string) => new AppError('artwork-unusable', `${name}: found ${found}`, { name });
  if (svg.length > MOST_ARTWORK_CHARACTERS) {
    throw fail(`${svg.length} characters, needed a drawing of at most ${MOST_ARTWORK_CHARACTERS}`);
  }
  const head = svg.slice(0, BYTES_CHARACTERS);
  if (head.includes('\0') || head.includes('\uFFFD')) {
    throw fail('what is no text, such as a picture of pixels, needed an SVG of curves');
  }
  const bare = svg.replace(/<!--[\s\S]*?-->/g, '').replace(/<!\[CDATA\[([\s\S]*?)\]\]>/g, '$1');
  if (/<!(?:DOCTYPE[^>]*\[|ENTITY)/i.test(bare)) throw fail('entities, needed a drawing that holds all it says');
  if (/<\?xml-stylesheet/i.test(bare))
    throw fail('a style sheet from elsewhere, needed a drawing that holds all of it');
  if (/@import|url\(\s*["']?\s*(?!["']?#)[^)\s]/i.test(decode(bare))) throw fail(OUTSIDE);
  let root: { readonly from: number; readonly to: number; readonly text: string } | undefined;
  for (const found of bare.matchAll(TAG)) {
    const [whole, closes, element, text] = found as unknown as [string, string, string, string];
    if (closes) continue;
    const kind = element.toLowerCase().replace(/^.*:/, '');
    if (REFUSED[kind]) throw fail(REFUSED[kind]);
    for (const [, attribute, one, other] of text.matchAll(ATTRIBUTE)) {
      const value = decode(one ?? other ?? '').trim();
      if (/^on/i.test(attribute!)) throw fail(REFUSED.script!);
      if (/(?:^|:)href$/i.test(attribute!) && kind !== 'a' && !value.startsWith('#')) throw fail(OUTSIDE);
    }
    if (!root) {
      if (kind !== 'svg') throw fail(`<${element}> as the outermost part, needed an SVG drawing`);
      root = { from: found.index, to: found.index + whole.length, text };
    }
  }
  if (!root) throw fail('no drawing, needed an SVG file of curves');
  return measureRoot(bare, root, fail);
}

const OUTSIDE = 'a reference to something outside the file, needed a drawing that holds all of it';

/** Numbers of characters as the characters, so that nothing hides behind them. */
function decode(text: string): string {
  return text
    .replace(/&#x([\da-f]{1,6});/gi, (_, code: string) =>
      String.fromCodePoint(Math.min(0x10ffff, Number.parseInt(code, 16))),
    )
    .replace(/&#(\d{1,7});/g, (_, code: string) => String.fromCodePoint(Math.min(0x10ffff, Number(code))))
    .replaceAll('&amp;', '&');
}

function measureRoot(
  svg: string,
  root: { readonly from: number; readonly to: number; readonly text: string },
  fail: (found: string) => AppError,
): Artwork {
  const attributes = new Map(
    [...root.text.matchAll(ATTRIBUTE)].map(([, key, one, other]) => [key!, one ?? other ?? '']),
  );
  const width = readLength(attributes.get('width'));
  const height = readLength(attributes.get('height'));
  const box = (attributes.get('viewBox') ?? '')
    .trim()
    .split(/[\s,]+/)
    .map(Number);
  const hasBox = box.length === 4 && box.every(Number.isFinite) && box[2]! > 0 && box[3]! > 0;
  if (!hasBox && !(width && height)) throw fail('neither a viewBox nor a width and height, needed its own size');
  const own = width && height ? width.px / height.px : box[2]! / box[3]!;
  if (!(own > 1 / 50 && own < 50)) throw fail(`sides of ${own.toPrecision(3)} : 1, needed at most 50 : 1`);
  const viewBox = hasBox ? attributes.get('viewBox')! : `0 0 ${width!.px} ${height!.px}`;
  const kept = [...root.text.matchAll(ATTRIBUTE)]
    .filter(([, key]) => !['width', 'height', 'x', 'y', 'viewBox', 'style'].includes(key!))
    .map(([whole]) => whole)
    .join(' ');
  const style = (attributes.get('style') ?? '').replace(/(?:^|;)\s*(?:width|height)\s*:[^;]*/gi, '');
  const isEmpty = /\/>$/.test(svg.slice(root.from, root.to));
  const inner = `<svg ${kept} style="${style}" viewBox="${viewBox}" width="${1000 * own}" height="1000">${isEmpty ? '</svg>' : svg.slice(root.to)}`;
  return {
    aspect: own,
    ...(width?.mm ? { widthMm: width.mm } : {}),
    // As it would be drawn at its own width and height, then stretched: parts of dots need not be square.
    atSize: (w, h) =>
      `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 ${1000 * own} 1000" width="${w}" height="${h}" preserveAspectRatio="none">${inner}</svg>`,
  };
}

interface Length {
  readonly number: number;
  /** In pixels of the drawing. */
  readonly px: number;
  /** Undefined where only pixels are said, whose size nobody knows. */
  readonly mm: number | undefined;
}

function readLength(text: string | undefined): Length | undefined {
  const found = /^\s*(\d+(?:\.\d*)?|\.\d+)\s*(mm|cm|in|pt|pc|q|px)?\s*$/i.exec(text ?? '');
  const number = Number(found?.[1]);
  if (!(number > 0)) return undefined;
  const factor = MM_OF[(found![2] ?? 'px').toLowerCase()];
  return { number, px: factor === undefined ? number : (number * factor * 96) / 25.4, mm: factor && number * factor };
}
