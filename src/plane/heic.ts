import { createRequire } from 'node:module';

/**
 * What is used of libheif-js (LGPL-3.0): an optional package, loaded when a HEIC comes, in a process that can be ended.
 */
interface Libheif {
  readonly HeifDecoder: new () => { decode(bytes: Uint8Array): readonly HeifImage[] };
  readonly heif_colorspace: { readonly heif_colorspace_RGB: unknown };
  readonly heif_chroma: {
    readonly heif_chroma_interleaved_RRGGBB_LE: unknown;
    readonly heif_chroma_interleaved_RRGGBBAA_LE: unknown;
  };
  heif_js_decode_image2(handle: unknown, space: unknown, chroma: unknown): { channels?: readonly DeepSamples[] };
}

/** Samples of more than 8 bits: two bytes each, the lower one first, in rows of `stride` bytes. */
interface DeepSamples {
  readonly width: number;
  readonly height: number;
  readonly stride: number;
  readonly bits_per_pixel: number;
  readonly data: Uint8Array;
}

interface HeifImage {
  readonly handle: unknown;
  get_width(): number;
  get_height(): number;
  is_primary(): boolean;
  display(
    target: { data: Uint8ClampedArray; width: number; height: number },
    done: (filled: { data: Uint8ClampedArray } | null) => void,
  ): void;
}

/** A picture's samples, three or, with alpha, four channels, row-major; those of 16 bits as two bytes each. */
export interface HeicPixels {
  readonly width: number;
  readonly height: number;
  readonly channels: 3 | 4;
  readonly data: Uint8Array;
}

const LIBRARY = 'libheif-js/wasm-bundle';

/** Whether the optional package is installed. */
export function hasHeicDecoder(): boolean {
  try {
    createRequire(import.meta.url).resolve(LIBRARY);
    return true;
  } catch {
    return false;
  }
}

/**
 * The main picture of a HEIC, turned as its boxes say, in the colours of the file: 8 bits a channel, or 16, of which
 * the file's own bits are spread over the whole range.
 * @throws Error with the library's own words, or in the words of the image library for a file that is cut off
 */
export async function decodeHeic(
  bytes: Uint8Array,
  { hasAlpha, deep }: { readonly hasAlpha: boolean; readonly deep: boolean },
): Promise<HeicPixels> {
  const library = createRequire(import.meta.url)(LIBRARY) as Libheif;
  const images = new library.HeifDecoder().decode(bytes);
  const image = images.find((one) => one.is_primary()) ?? images[0];
  if (!image) throw new Error('no picture inside that can be decoded');
  if (deep) return decodeDeep(library, image, hasAlpha);
  const [width, height] = [image.get_width(), image.get_height()];
  const filled = await new Promise<{ data: Uint8ClampedArray } | null>((done) => {
    image.display({ data: new Uint8ClampedArray(4 * width * height), width, height }, done);
  });
  if (!filled) throw new Error('its pixels are damaged');
  const samples = new Uint8Array(filled.data.buffer, filled.data.byteOffset, filled.data.length);
  if (hasAlpha) return { width, height, channels: 4, data: samples };
  for (let from = 0, to = 0; from < samples.length; from += 4, to += 3) samples.copyWithin(to, from, from + 3);
  return { width, height, channels: 3, data: samples.subarray(0, 3 * width * height) };
}

/** All bits of a picture that has more than 8 a channel, as 10 are of phones. */
function decodeDeep(library: Libheif, { handle }: HeifImage, hasAlpha: boolean): HeicPixels {
  const { heif_chroma_interleaved_RRGGBB_LE: opaque, heif_chroma_interleaved_RRGGBBAA_LE: alpha } = library.heif_chroma;
  const space = library.heif_colorspace.heif_colorspace_RGB;
  const [samples] = library.heif_js_decode_image2(handle, space, hasAlpha ? alpha : opaque).channels ?? [];
  if (!samples) throw new Error('its pixels are damaged');
  const { width, height, stride, bits_per_pixel: bits } = samples;
  const from = new DataView(samples.data.buffer, samples.data.byteOffset, samples.data.byteLength);
  const channels = hasAlpha ? 4 : 3;
  const data = new Uint16Array(width * height * channels);
  const most = 2 ** bits - 1;
  const spread = Uint16Array.from({ length: most + 1 }, (_, code) => Math.round((code * 65535) / most));
  for (let y = 0, to = 0; y < height; y++) {
    for (let at = y * stride; at < y * stride + 2 * width * channels; at += 2) {
      data[to++] = spread[from.getUint16(at, true)]!;
    }
  }
  return { width, height, channels, data: new Uint8Array(data.buffer) };
}
