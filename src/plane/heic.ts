import { createRequire } from 'node:module';

/**
 * What is used of libheif-js (LGPL-3.0): an optional package, loaded when a HEIC comes, in a process that can be ended.
 */
interface Libheif {
  readonly HeifDecoder: new () => { decode(bytes: Uint8Array): readonly HeifImage[] };
}

interface HeifImage {
  get_width(): number;
  get_height(): number;
  is_primary(): boolean;
  display(
    target: { data: Uint8ClampedArray; width: number; height: number },
    done: (filled: { data: Uint8ClampedArray } | null) => void,
  ): void;
}

/** A picture's samples of 8 bits, three or, with alpha, four channels, row-major. */
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
 * The main picture of a HEIC, turned as its boxes say, 8 bits a channel in the colours of the file.
 * @throws Error with the library's own words, or in the words of the image library for a file that is cut off
 */
export async function decodeHeic(bytes: Uint8Array, { hasAlpha }: { readonly hasAlpha: boolean }): Promise<HeicPixels> {
  const { HeifDecoder } = createRequire(import.meta.url)(LIBRARY) as Libheif;
  const images = new HeifDecoder().decode(bytes);
  const image = images.find((one) => one.is_primary()) ?? images[0];
  if (!image) throw new Error('no picture inside that can be decoded');
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
