/** What a file says about itself in its first bytes, before anything is decoded. */

export type PhotoFormat = 'jpeg' | 'png' | 'tiff' | 'webp' | 'avif' | 'heic';

export interface Sniffed {
  /** The format when it is one that can be read; undefined otherwise. */
  readonly format: PhotoFormat | 'bmp' | undefined;
  /** What was found, in words for a message: "a HEIC photo", "a camera's raw file", "no known picture format". */
  readonly found: string;
}

const text = (bytes: Uint8Array, from: number, to: number) => String.fromCharCode(...bytes.subarray(from, to));

/** Names for what people hand in by mistake; first match wins. */
const OTHERS: readonly (readonly [test: (bytes: Uint8Array) => boolean, found: string])[] = [
  [(bytes) => text(bytes, 0, 4) === 'GIF8', 'a GIF'],
  [(bytes) => text(bytes, 0, 4) === '%PDF', 'a PDF'],
  [(bytes) => text(bytes, 0, 4) === '8BPS', 'a layered PSD picture'],
  [(bytes) => bytes[0] === 0xff && bytes[1] === 0x0a, 'a JPEG XL picture'],
  [(bytes) => text(bytes, 4, 8) === 'JXL ', 'a JPEG XL picture'],
  [(bytes) => text(bytes, 0, 15) === 'FUJIFILMCCD-RAW', "a camera's raw file"],
  [(bytes) => ['IIRO', 'IIRS', 'IIU\0', 'MMOR'].includes(text(bytes, 0, 4)), "a camera's raw file"],
  [(bytes) => text(bytes, 0, 2) === 'PK', 'a ZIP archive'],
  [(bytes) => /^\s*(<\?xml[\s\S]*)?<svg/.test(text(bytes, 0, 400)), 'an SVG drawing'],
];

/** Tell a file's format by its content; its name is not asked. */
export function sniffFormat(bytes: Uint8Array): Sniffed {
  const head = text(bytes, 0, 4);
  if (bytes[0] === 0xff && bytes[1] === 0xd8 && bytes[2] === 0xff) return { format: 'jpeg', found: 'a JPEG' };
  if (head === '\x89PNG') return { format: 'png', found: 'a PNG' };
  if (head === 'RIFF' && text(bytes, 8, 12) === 'WEBP') return { format: 'webp', found: 'a WebP' };
  if (head === 'II*\0' || head === 'MM\0*') {
    return isRaw(bytes) ? { format: undefined, found: "a camera's raw file" } : { format: 'tiff', found: 'a TIFF' };
  }
  if (text(bytes, 4, 8) === 'ftyp') return sniffBoxes(bytes);
  if (head.startsWith('BM') && bytes.length >= 26 && readUint32(bytes, 6, true) === 0) {
    return { format: 'bmp', found: 'a BMP' };
  }
  const other = OTHERS.find(([test]) => test(bytes));
  return { format: undefined, found: other ? other[1] : 'no known picture format' };
}

/** ISO base media files name their brands: those of AVIF, and those of HEIC (source: 'iso23008', annex B). */
function sniffBoxes(bytes: Uint8Array): Sniffed {
  const length = Math.min(bytes.length, readUint32(bytes, 0, false));
  const brands = [text(bytes, 8, 12)];
  for (let at = 16; at + 4 <= length; at += 4) brands.push(text(bytes, at, at + 4));
  if (brands.some((brand) => brand === 'avif' || brand === 'avis')) return { format: 'avif', found: 'an AVIF' };
  if (brands[0] === 'crx ') return { format: undefined, found: "a camera's raw file" };
  const heic = brands.some((brand) => /^(hei|hev|mif1|msf1)/.test(brand));
  return heic
    ? { format: 'heic', found: 'a HEIC photo' }
    : { format: undefined, found: 'a video or another ISO media file' };
}

/** Raw files that dress as TIFF: Canon's mark, a DNG version, or a first picture that is only a preview. */
function isRaw(bytes: Uint8Array): boolean {
  if (text(bytes, 8, 10) === 'CR') return true;
  const tags = readTiffTags(bytes);
  const preview = ((tags.get(254)?.[0] ?? 0) & 1) === 1;
  return tags.has(50706) || (preview && tags.has(330));
}

export function readUint16(bytes: Uint8Array, at: number, littleEndian: boolean): number {
  const [low, high] = littleEndian ? [bytes[at], bytes[at + 1]] : [bytes[at + 1], bytes[at]];
  return (low ?? 0) + (high ?? 0) * 256;
}

export function readUint32(bytes: Uint8Array, at: number, littleEndian: boolean): number {
  const [low, high] = littleEndian ? [at, at + 2] : [at + 2, at];
  return readUint16(bytes, low, littleEndian) + readUint16(bytes, high, littleEndian) * 65536;
}

/** Bytes of one value of each field type: byte, text, short, long, rational. Format: TIFF 6.0, section 2. */
const TIFF_BYTES: Readonly<Record<number, number>> = { 1: 1, 2: 1, 3: 2, 4: 4, 5: 8 };

/**
 * Tags of a TIFF's first picture, each as a list of numbers; rationals as quotients. Tags of other types and what lies
 * outside the file are left out.
 */
export function readTiffTags(bytes: Uint8Array): Map<number, readonly number[]> {
  const little = bytes[0] === 0x49;
  const tags = new Map<number, readonly number[]>();
  const start = readUint32(bytes, 4, little);
  const count = readUint16(bytes, start, little);
  for (let entry = start + 2; entry < start + 2 + 12 * count && entry + 12 <= bytes.length; entry += 12) {
    const type = readUint16(bytes, entry + 2, little);
    const length = readUint32(bytes, entry + 4, little);
    const step = TIFF_BYTES[type];
    if (step === undefined) continue;
    const from = length * step <= 4 ? entry + 8 : readUint32(bytes, entry + 8, little);
    if (from + length * step > bytes.length) continue;
    const values: number[] = [];
    for (let at = from; at < from + Math.min(length, 16) * step; at += step) {
      if (step === 1) values.push(bytes[at]);
      else if (step === 2) values.push(readUint16(bytes, at, little));
      else if (step === 4) values.push(readUint32(bytes, at, little));
      else values.push(readUint32(bytes, at, little) / readUint32(bytes, at + 4, little));
    }
    tags.set(readUint16(bytes, entry, little), values);
  }
  return tags;
}

/** Pixels per metre across and down as the file states them; undefined when it states none. */
export interface PixelsPerMetre {
  readonly x: number;
  readonly y: number;
}

/** Data of a PNG's chunks before its pixels, by type; of several of one type the first. */
export function readPngChunks(bytes: Uint8Array): ReadonlyMap<string, Uint8Array> {
  const chunks = new Map<string, Uint8Array>();
  for (let at = 8; at + 12 <= bytes.length; ) {
    const length = readUint32(bytes, at, false);
    const type = text(bytes, at + 4, at + 8);
    if (type === 'IDAT' || type === 'IEND') break;
    if (!chunks.has(type)) chunks.set(type, bytes.subarray(at + 8, at + 8 + length));
    at += 12 + length;
  }
  return chunks;
}

/** Resolution of a PNG (pHYs chunk, unit 1). */
export function readPngResolution(bytes: Uint8Array): PixelsPerMetre | undefined {
  const chunk = readPngChunks(bytes).get('pHYs');
  if (chunk?.length !== 9 || chunk[8] !== 1) return undefined;
  return positive({ x: readUint32(chunk, 0, false), y: readUint32(chunk, 4, false) });
}

/** Whether a file says that it has a colour profile, damaged or not. */
export function hasProfileMark(bytes: Uint8Array, format: PhotoFormat): boolean {
  if (format === 'png') return readPngChunks(bytes).has('iCCP');
  if (format === 'jpeg') return hasJpegProfile(bytes);
  if (format === 'tiff') return hasTiffTag(bytes, 34675);
  if (format === 'webp') return text(bytes, 12, 16) === 'VP8X' && (bytes[20]! & 0x20) !== 0;
  return false;
}

/** Segments of application 2 named ICC_PROFILE, before the pixels begin (ICC.1, annex B.4). */
function hasJpegProfile(bytes: Uint8Array): boolean {
  for (let at = 2; at + 4 <= bytes.length && bytes[at] === 0xff; ) {
    const marker = bytes[at + 1];
    if (marker === 0xda) return false;
    if (marker === 0xe2 && text(bytes, at + 4, at + 15) === 'ICC_PROFILE') return true;
    at += 2 + readUint16(bytes, at + 2, false);
  }
  return false;
}

function hasTiffTag(bytes: Uint8Array, wanted: number): boolean {
  const little = bytes[0] === 0x49;
  const start = readUint32(bytes, 4, little);
  const count = readUint16(bytes, start, little);
  for (let entry = start + 2; entry < start + 2 + 12 * count && entry + 12 <= bytes.length; entry += 12) {
    if (readUint16(bytes, entry, little) === wanted) return true;
  }
  return false;
}

/** Resolution of a TIFF (tags 282, 283, and 296 for the unit: 2 inch, 3 centimetre). */
export function readTiffResolution(bytes: Uint8Array): PixelsPerMetre | undefined {
  const tags = readTiffTags(bytes);
  const unit = tags.get(296)?.[0] ?? 2;
  const perMetre = unit === 2 ? 1 / 0.0254 : unit === 3 ? 100 : Number.NaN;
  return positive({ x: (tags.get(282)?.[0] ?? 0) * perMetre, y: (tags.get(283)?.[0] ?? 0) * perMetre });
}

/** Resolution of a BMP (BITMAPINFOHEADER, pixels per metre). */
export function readBmpResolution(bytes: Uint8Array): PixelsPerMetre | undefined {
  if (readUint32(bytes, 14, true) < 40) return undefined;
  return positive({ x: readUint32(bytes, 38, true), y: readUint32(bytes, 42, true) });
}

function positive({ x, y }: PixelsPerMetre): PixelsPerMetre | undefined {
  return x > 0 && y > 0 && Number.isFinite(x) && Number.isFinite(y) ? { x, y } : undefined;
}

/** Name of an ICC profile: its description tag (ICC.1, 'desc' as text or as localised Unicode). */
export function readIccName(profile: Uint8Array): string | undefined {
  const count = readUint32(profile, 128, false);
  for (let at = 132; at < 132 + 12 * count && at + 12 <= profile.length; at += 12) {
    if (text(profile, at, at + 4) !== 'desc') continue;
    const from = readUint32(profile, at + 4, false);
    const type = text(profile, from, from + 4);
    if (type === 'desc') {
      const length = readUint32(profile, from + 8, false);
      return text(profile, from + 12, from + 11 + Math.min(length, 256)) || undefined;
    }
    if (type === 'mluc') {
      const length = Math.min(readUint32(profile, from + 20, false), 512);
      const start = from + readUint32(profile, from + 24, false);
      let name = '';
      for (let letter = start; letter < start + length; letter += 2) {
        name += String.fromCharCode(readUint16(profile, letter, false));
      }
      return name.replaceAll('\0', '') || undefined;
    }
  }
  return undefined;
}
