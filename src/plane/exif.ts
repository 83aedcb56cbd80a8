/** What a camera wrote about how it took a picture (source: 'exif232', section 4.6.5, tags of the Exif IFD). */
export interface ExifFacts {
  /** Bit 0 of Flash (tag 9209). */
  readonly flashFired: boolean;
  /** DigitalZoomRatio (tag A404); 1 where it was not used. */
  readonly digitalZoom: number;
  /** CustomRendered (tag A401) says other than normal: pictures put together of several, effects. */
  readonly customRendered: boolean;
  /** ExposureTime or FNumber (tags 829A, 829D) stand there, which cameras write and scanners do not. */
  readonly isExposed: boolean;
}

/** Tag numbers and field types. Format: Exif (source: 'exif232', 4.6), types of TIFF 6.0. */
const EXIF_IFD = 0x8769;
const EXPOSURE_TIME = 0x829a;
const F_NUMBER = 0x829d;
const FLASH = 0x9209;
const CUSTOM_RENDERED = 0xa401;
const DIGITAL_ZOOM = 0xa404;
const INTEROP_IFD = 0xa005;
const INTEROP_INDEX = 1;
const ASCII = 2;
const SHORT = 3;
const LONG = 4;
const RATIONAL = 5;

/**
 * Reads the block of a file that starts with `Exif` or with the TIFF header that follows it. Undefined when it is not
 * such a block or is cut off: what a camera says of itself is never a reason to refuse its picture.
 */
export function readExifFacts(block: Uint8Array): ExifFacts | undefined {
  return readFields(block, (fields) => ({
    flashFired: ((fields.get(FLASH) ?? 0) & 1) === 1,
    // 0 stands for not used.
    digitalZoom: fields.get(DIGITAL_ZOOM) || 1,
    customRendered: (fields.get(CUSTOM_RENDERED) ?? 0) !== 0,
    isExposed: fields.has(EXPOSURE_TIME) || fields.has(F_NUMBER),
  }));
}

/**
 * "R03": a camera's file in Adobe RGB (source: 'dcf2', optional colour space), which then often bears no profile.
 * Format: the tag's four bytes.
 */
const ADOBE_RGB = 0x52303300;

/** Whether a camera says that its colours are Adobe RGB. */
export function saysAdobeRgb(block: Uint8Array): boolean {
  const index = readFields(block, (fields, read) => {
    const pointer = fields.get(INTEROP_IFD);
    return pointer === undefined ? undefined : read(pointer).get(INTEROP_INDEX);
  });
  return index === ADOBE_RGB;
}

/** What is made of the fields of the Exif IFD; `read` gives another directory. Undefined where there is none. */
function readFields<T>(
  block: Uint8Array,
  make: (fields: ReadonlyMap<number, number>, read: (at: number) => ReadonlyMap<number, number>) => T,
): T | undefined {
  const named = block[0] === 0x45 && block[1] === 0x78;
  const tiff = block.subarray(named ? 6 : 0);
  const little = tiff[0] === 0x49 && tiff[1] === 0x49;
  if (!little && !(tiff[0] === 0x4d && tiff[1] === 0x4d)) return undefined;
  const view = new DataView(tiff.buffer, tiff.byteOffset, tiff.length);
  const read = (at: number) => readDirectory(view, at, little);
  try {
    const pointer = read(view.getUint32(4, little)).get(EXIF_IFD);
    return pointer === undefined ? undefined : make(read(pointer), read);
  } catch (error) {
    if (error instanceof RangeError) return undefined;
    throw error;
  }
}

/**
 * First value of every field of one directory that is a number; up to four letters as one number, first letter highest.
 */
function readDirectory(view: DataView, at: number, little: boolean): ReadonlyMap<number, number> {
  const fields = new Map<number, number>();
  const count = view.getUint16(at, little);
  for (let i = 0; i < count; i++) {
    const entry = at + 2 + 12 * i;
    const tag = view.getUint16(entry, little);
    const type = view.getUint16(entry + 2, little);
    if (type === ASCII && view.getUint32(entry + 4, little) <= 4) fields.set(tag, view.getUint32(entry + 8));
    if (type === SHORT) fields.set(tag, view.getUint16(entry + 8, little));
    if (type === LONG) fields.set(tag, view.getUint32(entry + 8, little));
    if (type === RATIONAL) {
      const place = view.getUint32(entry + 8, little);
      const over = view.getUint32(place + 4, little);
      fields.set(tag, over === 0 ? 0 : view.getUint32(place, little) / over);
    }
  }
  return fields;
}
