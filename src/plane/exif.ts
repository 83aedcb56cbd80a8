/** What a camera wrote about how it took a picture (source: 'exif232', section 4.6.5, tags of the Exif IFD). */
export interface ExifFacts {
  /** Bit 0 of Flash (tag 9209). */
  readonly flashFired: boolean;
  /** DigitalZoomRatio (tag A404); 1 where it was not used. */
  readonly digitalZoom: number;
  /** CustomRendered (tag A401) says other than normal: pictures put together of several, effects. */
  readonly customRendered: boolean;
}

const EXIF_IFD = 0x8769;
const FLASH = 0x9209;
const CUSTOM_RENDERED = 0xa401;
const DIGITAL_ZOOM = 0xa404;
const SHORT = 3;
const LONG = 4;
const RATIONAL = 5;

/**
 * Reads the block of a file that starts with `Exif` or with the TIFF header that follows it. Undefined when it is not such a
 * block or is cut off: what a camera says of itself is never a reason to refuse its picture.
 */
export function readExifFacts(block: Uint8Array): ExifFacts | undefined {
  const named = block[0] === 0x45 && block[1] === 0x78;
  const tiff = block.subarray(named ? 6 : 0);
  const little = tiff[0] === 0x49 && tiff[1] === 0x49;
  if (!little && !(tiff[0] === 0x4d && tiff[1] === 0x4d)) return undefined;
  const view = new DataView(tiff.buffer, tiff.byteOffset, tiff.length);
  try {
    const pointer = readDirectory(view, view.getUint32(4, little), little).get(EXIF_IFD);
    if (pointer === undefined) return undefined;
    const fields = readDirectory(view, pointer, little);
    return {
      flashFired: ((fields.get(FLASH) ?? 0) & 1) === 1,
      // 0 stands for not used.
      digitalZoom: fields.get(DIGITAL_ZOOM) || 1,
      customRendered: (fields.get(CUSTOM_RENDERED) ?? 0) !== 0,
    };
  } catch (error) {
    if (error instanceof RangeError) return undefined;
    throw error;
  }
}

/** First value of every field of one directory that is a number. */
function readDirectory(view: DataView, at: number, little: boolean): ReadonlyMap<number, number> {
  const fields = new Map<number, number>();
  const count = view.getUint16(at, little);
  for (let i = 0; i < count; i++) {
    const entry = at + 2 + 12 * i;
    const tag = view.getUint16(entry, little);
    const type = view.getUint16(entry + 2, little);
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
