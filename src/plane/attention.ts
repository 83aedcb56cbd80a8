import { readColour } from './average.ts';
import type { Photo } from './decode.ts';
import { loadSharp } from './kernels.ts';

/** A point of a photo, as shares of its width and height. */
export interface FocusPoint {
  readonly x: number;
  readonly y: number;
}

/**
 * Longest side of the copy that is searched, pixels. Assumed: subjects that a crop must keep are many pixels wide at
 * that size; larger costs time.
 */
const SEARCHED = 400;

/**
 * The point of a photo that draws the eye, by the image library's attention strategy (edges, skin tones, saturation),
 * for a crop of the given aspect (width over height). The middle when there is nothing to cut off.
 */
export async function findAttention(photo: Photo, aspect: number): Promise<FocusPoint> {
  const scale = Math.min(1, SEARCHED / Math.max(photo.width, photo.height));
  const width = Math.max(1, Math.round(photo.width * scale));
  const height = Math.max(1, Math.round(photo.height * scale));
  const { rgb } = readColour(photo, { crop: { x: 0, y: 0, width: photo.width, height: photo.height }, width, height });
  const wide = width / height > aspect;
  const cut = {
    width: wide ? Math.max(1, Math.round(height * aspect)) : width,
    height: wide ? height : Math.max(1, Math.round(width / aspect)),
  };
  if (cut.width === width && cut.height === height) return { x: 0.5, y: 0.5 };
  const { info } = await loadSharp()(rgb, { raw: { width, height, channels: 3 } })
    .resize({ ...cut, fit: 'cover', position: 'attention' })
    .raw()
    .toBuffer({ resolveWithObject: true });
  const { attentionX, attentionY } = info;
  if (attentionX === undefined || attentionY === undefined) return { x: 0.5, y: 0.5 };
  return { x: (attentionX + 0.5) / width, y: (attentionY + 0.5) / height };
}
