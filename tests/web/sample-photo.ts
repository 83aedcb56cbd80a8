import { encodeJpeg } from '../../src/plane/index.ts';

/** A photo-like JPEG of any size: soft gradients, edges and texture, the same for the same size. */
export function sampleJpeg(width: number, height: number): Promise<Buffer> {
  const rgb = new Uint8Array(3 * width * height);
  let state = 1;
  for (let y = 0, at = 0; y < height; y++) {
    for (let x = 0; x < width; x++, at += 3) {
      state = (Math.imul(state, 1664525) + 1013904223) >>> 0;
      const u = x / width;
      const v = y / height;
      const disc = Math.hypot(u - 0.45, v - 0.5) < 0.25 ? 70 : 0;
      const tone = 40 + 120 * u + 40 * Math.sin(9 * v) + disc + (state >>> 29);
      rgb[at] = Math.min(255, Math.max(0, tone));
      rgb[at + 1] = Math.min(255, Math.max(0, tone * 0.92));
      rgb[at + 2] = Math.min(255, Math.max(0, tone * 0.8));
    }
  }
  return encodeJpeg({ width, height, rgb }, { quality: 85 });
}
