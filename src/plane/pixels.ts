import { decodeHeic } from './heic.ts';
import { loadSharp } from './kernels.ts';

/** How the image library is to decode a file; plain data, since it may go to another process. */
export interface PixelsRequest {
  /** 16 bits a sample, 8 otherwise. */
  readonly deep: boolean;
  readonly space: 'grey16' | 'rgb16' | 'b-w' | 'srgb';
  /** Turned upright by the file's orientation. */
  readonly isTurned: boolean;
  /** The file's colour profile is not applied. */
  readonly ignoreIcc: boolean;
  /** Samples that the library has converted to its own primaries are brought to sRGB. */
  readonly isConverted: boolean;
  /** By the decoder of HEIC, which the image library lacks. */
  readonly isHeic?: true;
  readonly hasAlpha?: boolean;
  /** Longest that it may take, whole seconds; kept by decoders that let themselves be asked in between. */
  readonly seconds: number;
}

/** Decoded samples, channels interleaved, as bytes. */
export interface Pixels {
  readonly width: number;
  readonly height: number;
  readonly channels: number;
  readonly data: Uint8Array;
  /** What the library says of a colour profile that it could not use. */
  readonly complaint?: string;
}

/** Pixels of a file by the image library. @throws Error with the library's own words */
export async function decodePixels(bytes: Uint8Array, request: PixelsRequest): Promise<Pixels> {
  if (request.isHeic) return decodeHeic(bytes, { hasAlpha: request.hasAlpha === true, deep: request.deep });
  const { deep, space, isTurned, ignoreIcc, isConverted, seconds } = request;
  // The limit was checked before; the library's own must not speak first with words of its own.
  let pipeline = loadSharp()(bytes, { limitInputPixels: false, failOn: 'warning', ignoreIcc }).timeout({ seconds });
  let complaint: string | undefined;
  pipeline.on('warning', (warning: string) => {
    if (/profile/i.test(warning)) complaint = warning;
  });
  if (isTurned) pipeline = pipeline.autoOrient();
  if (isConverted) pipeline = pipeline.withIccProfile('srgb');
  const { data, info } = await pipeline
    .toColourspace(space)
    .raw({ depth: deep ? 'ushort' : 'uchar' })
    .toBuffer({ resolveWithObject: true });
  const { width, height, channels } = info;
  return { width, height, channels, data, ...(complaint === undefined ? {} : { complaint }) };
}
