import { existsSync, mkdirSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';

/** 24 megapixels, as a common full-frame camera gives. */
export const LARGE_PHOTO = { width: 6000, height: 4000 } as const;

/**
 * Path of a 24-megapixel baseline JPEG (quality 92, 4:2:0), made once from the dandelion photograph in the system's
 * temporary folder: enlarged, with seeded sensor noise so that it packs like a camera's file and not like a blur.
 */
export async function makeLargePhoto(): Promise<string> {
  const folder = join(tmpdir(), 'tonewright-bench');
  const path = join(folder, 'large-1.jpg');
  if (existsSync(path)) return path;
  mkdirSync(folder, { recursive: true });
  // Loaded only when the photo must be made: a run that measures memory does not pay for it.
  const { default: sharp } = await import('sharp');
  const { data, info } = await sharp('images/photos/dandelion.jpg')
    .resize({ ...LARGE_PHOTO, fit: 'fill' })
    .raw()
    .toBuffer({ resolveWithObject: true });
  let state = 0x2545f491;
  for (let at = 0; at < data.length; at++) {
    state ^= state << 13;
    state ^= state >>> 17;
    state ^= state << 5;
    const noise = ((state & 7) + ((state >>> 3) & 7) + ((state >>> 6) & 7) - 10.5) * 0.9;
    data[at] = Math.max(0, Math.min(255, data[at] + noise));
  }
  await sharp(data, { raw: { width: info.width, height: info.height, channels: 3 } })
    .jpeg({ quality: 92, chromaSubsampling: '4:2:0', progressive: false })
    .toFile(path);
  return path;
}
