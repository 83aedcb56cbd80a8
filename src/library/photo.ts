import type { NdArray } from 'ndarray';
import { type Frame, type FrameOptions, framePhoto as framePixels } from '../photo/index.ts';
import {
  type ChannelWeights,
  type DecodeLimits,
  decodePhoto as decodeBytes,
  type Photo,
  type PhotoColour,
  type PhotoFacts,
  resampleAlpha,
  resampleLuminance,
} from '../plane/index.ts';
import { gatherSamples, type Luminance, type Mask, requireView, viewPlane, viewSamples } from './views.ts';

/** A photograph as samples, turned upright. */
export interface DecodedPhoto {
  /**
   * Codes as in the file, height × width × 3 (red, green, blue) or × 1 (grey), 0 … 255 or 0 … 65535. A crop, a quarter
   * turn (`transpose(1, 0, 2)` and `step(-1, 1, 1)`) or a mirror image (`step(1, -1, 1)`) of it is a photo, too.
   */
  readonly pixels: NdArray<Uint8Array> | NdArray<Uint16Array>;
  /** Height × width, 0 transparent (bare material) … 255 opaque; absent where the photo has none. */
  readonly alpha?: NdArray<Uint8Array>;
  /** What the codes are where they are not sRGB's. */
  readonly colour?: PhotoColour;
  /** What the file says of itself. */
  readonly facts: PhotoFacts;
}

/**
 * Decodes the bytes of a JPEG, PNG, TIFF, WebP, AVIF or HEIC file: 8 or 16 bits, colour, grey or CMYK, any embedded
 * ICC profile, turned upright as EXIF says. Profiles of primaries and curves are kept as `colour`; inks and profiles of
 * tables become sRGB. A process that decodes on several threads decodes one photo, any, before it starts them: the
 * first sets which formats are opened at all, for the whole process, and until it has, none is.
 * @param name what messages call it
 * @throws AppError image-empty, image-unknown, image-broken, image-too-small, image-too-long, image-too-large,
 * image-too-slow, image-profile-broken, image-library-missing
 */
export async function decodePhoto(bytes: Uint8Array, name: string, limits: DecodeLimits = {}): Promise<DecodedPhoto> {
  const photo = await decodeBytes(Buffer.from(bytes.buffer, bytes.byteOffset, bytes.byteLength), name, limits);
  const { rgb, alpha, colour, facts } = photo;
  return {
    pixels: rgb instanceof Uint16Array ? viewSamples(rgb, photo) : viewSamples(rgb, photo),
    ...(alpha ? { alpha: viewPlane({ ...photo, scale: 'mask', data: alpha }) } : {}),
    ...(colour ? { colour } : {}),
    facts,
  };
}

/** The photo as the stages below take it; its memory is that of the views where they are whole. */
export function photoOf({ pixels, alpha, colour, facts }: DecodedPhoto): Photo {
  const bits = pixels.data.BYTES_PER_ELEMENT === 2 ? 16 : 8;
  requireView(pixels, { kind: bits === 16 ? Uint16Array : Uint8Array, dimensions: 3, what: 'pixels' });
  const [height, width, channels] = pixels.shape as [number, number, number];
  if (channels !== 1 && channels !== 3) throw new RangeError(`pixels: found ${channels} channels, needed 1 or 3`);
  if (alpha) {
    requireView(alpha, { kind: Uint8Array, dimensions: 2, what: 'alpha' });
    if (alpha.shape[0] !== height || alpha.shape[1] !== width) {
      throw new RangeError(`alpha: found ${alpha.shape.join(' × ')}, needed ${height} × ${width} as of the pixels`);
    }
  }
  return {
    width,
    height,
    bits,
    channels,
    rgb: gatherSamples<Uint8Array | Uint16Array>(pixels as NdArray<Uint8Array | Uint16Array>),
    ...(alpha ? { alpha: gatherSamples(alpha) } : {}),
    ...(colour ? { colour } : {}),
    facts,
  };
}

/**
 * Where the photo and the dots meet: the piece in whole dots, the crop in pixels of the photo, its place on the piece.
 * Lengths are mm; the aspect is matched on the work, so that unequal pitch and line spacing stretch nothing. `cover`
 * fills the piece about `focus` (shares of the photo, its middle unless told), `contain` shows all of the photo.
 * @throws AppError option-invalid
 */
export function framePhoto({ pixels }: Pick<DecodedPhoto, 'pixels'>, options: FrameOptions): Frame {
  return framePixels({ width: pixels.shape[1]!, height: pixels.shape[0]! }, options);
}

/**
 * Linear light of the crop at the dots, and how opaque the photo is there: decoded, weighted to luminance (ITU-R
 * BT.709 unless `weights` of the photo's red, green and blue are given, which sum to 1), resized in linear light by an
 * antialiased Lanczos-3 filter. Both have the size of `frame.place`, height × width.
 * @throws RangeError for a frame of a larger photo, or weights that do not sum to 1
 */
export function sampleLight(
  photo: DecodedPhoto,
  frame: Frame,
  { weights }: { readonly weights?: ChannelWeights | undefined } = {},
): { readonly light: Luminance; readonly opaque: Mask | undefined } {
  const source = photoOf(photo);
  const { crop, place } = frame;
  const placed = { crop, width: place.width, height: place.height, ...(weights ? { weights } : {}) };
  const opaque = resampleAlpha(source, placed);
  return { light: viewPlane(resampleLuminance(source, placed)), opaque: opaque && viewPlane(opaque) };
}
