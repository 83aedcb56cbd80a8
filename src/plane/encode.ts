import type { PixelsPerMetre } from './container.ts';
import { DOT_FORMATS, type PictureFormat } from './dot-formats.ts';
import { loadSharp } from './kernels.ts';
import type { DotGrid, Dots } from './plane.ts';
import { setPngResolution } from './png.ts';

export interface EncodeDotsOptions {
  readonly format: PictureFormat;
}

/**
 * The bitmap file of dots: 1 bit grey for two levels, 8 bit grey for more (0 full dose, 255 bare), black fires, the
 * pitch and the line spacing as the resolution of the two axes (PNG and BMP in whole pixels per metre). The bytes
 * depend on the arguments alone.
 */
export function encodeDots(dots: Dots, grid: DotGrid, { format }: EncodeDotsOptions): Buffer {
  return DOT_FORMATS[format].write(dots, resolutionOf(grid));
}

/** @throws RangeError for a pitch or line spacing that is not above 0 */
function resolutionOf({ pitchMm, lineSpacingMm }: DotGrid): PixelsPerMetre {
  if (!(pitchMm > 0 && lineSpacingMm > 0)) {
    throw new RangeError(`pitch and line spacing must be above 0, got ${pitchMm} and ${lineSpacingMm}`);
  }
  return { x: 1000 / pitchMm, y: 1000 / lineSpacingMm };
}

/** A colour picture for people: sRGB-coded, 8 bit, channels interleaved. */
export interface ColourImage {
  readonly width: number;
  readonly height: number;
  /** 3 × width × height. */
  readonly rgb: Uint8Array;
}

export interface EncodeColourOptions {
  readonly format: 'png';
  /** Deflate level 0…9; 6 unless told otherwise. */
  readonly compression?: number;
  /** How large a pixel is on the work; written as the resolution of both axes. */
  readonly grid?: DotGrid;
}

/** A colour picture as PNG. */
export async function encodeColour(
  image: ColourImage,
  { compression = 6, grid }: EncodeColourOptions,
): Promise<Buffer> {
  const png = await openColour(image).png({ compressionLevel: compression }).toBuffer();
  return grid === undefined ? png : setPngResolution(png, resolutionOf(grid));
}

/** A colour picture as JPEG, for thumbnails in documents; `quality` 1…100. */
export async function encodeJpeg(image: ColourImage, { quality }: { readonly quality: number }): Promise<Buffer> {
  return openColour(image).jpeg({ quality, chromaSubsampling: '4:4:4' }).toBuffer();
}

function openColour({ width, height, rgb }: ColourImage) {
  if (rgb.length !== 3 * width * height) {
    throw new RangeError(`a ${width} × ${height} picture needs ${3 * width * height} samples, got ${rgb.length}`);
  }
  return loadSharp()(rgb, { raw: { width, height, channels: 3 } });
}
