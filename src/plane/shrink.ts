import { loadSharp } from './kernels.ts';
import { isRegularFile } from './read-input.ts';

export interface ShrinkOptions {
  /** Longest side of the result, pixels. A smaller picture stays as it is. */
  readonly maxSide: number;
  /** Of the JPEG, 1…100. */
  readonly quality: number;
}

/** A small JPEG of a picture file, for a sheet of many. */
export async function shrinkToJpeg(bytes: Uint8Array, { maxSide, quality }: ShrinkOptions): Promise<Buffer> {
  return loadSharp()(bytes)
    .resize(maxSide, maxSide, { fit: 'inside', withoutEnlargement: true })
    .jpeg({ quality })
    .toBuffer();
}

/**
 * Pixels of a photo, from the header of its file alone; undefined where there is none to read. What is wrong with the
 * file is said when it is decoded.
 */
export async function countPhotoPixels(path: string): Promise<number | undefined> {
  if (!(await isRegularFile(path))) return undefined;
  const { width, height } = await loadSharp()(path, { limitInputPixels: false })
    .metadata()
    .catch(() => ({ width: Number.NaN, height: Number.NaN }));
  return width * height > 0 ? width * height : undefined;
}
