import { decodePhoto, encodeJpeg, type Photo, readColour, readPhotoFile } from '../plane/index.ts';

export interface OpenPhotoRequest {
  readonly path: string;
  /** What messages call it. */
  readonly name: string;
  /** More are refused from the header. */
  readonly maxPixels: number;
  /** Longest that it may take to decode. */
  readonly seconds: number;
  /** Long side of the picture to show, pixels; VIEW_PX when absent. */
  readonly viewPx?: number;
}

export interface OpenedPhoto {
  readonly photo: Photo;
  /** JPEG of the whole photo, small. */
  readonly view: Uint8Array;
}

/** Long side of the picture of the whole photo that a face shows, pixels. Assumed: sharp on common screens. */
const VIEW_PX = 1600;
/** Quality of that picture, percent. Assumed: no edge is seen to suffer. */
const VIEW_QUALITY = 85;

/**
 * A photo or a capture that somebody sent, and a picture of it to show.
 * @throws AppError path-*, image-*
 */
export async function openPhoto(request: OpenPhotoRequest): Promise<OpenedPhoto> {
  const { path, name, maxPixels, seconds, viewPx = VIEW_PX } = request;
  const photo = await decodePhoto(await readPhotoFile(path, name), name, { maxPixels, seconds });
  const scale = Math.min(1, viewPx / Math.max(photo.width, photo.height));
  const crop = { x: 0, y: 0, width: photo.width, height: photo.height };
  const width = Math.max(1, Math.round(photo.width * scale));
  const height = Math.max(1, Math.round(photo.height * scale));
  const view = await encodeJpeg(readColour(photo, { crop, width, height }), { quality: VIEW_QUALITY });
  return { photo, view };
}
