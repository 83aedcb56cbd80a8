import sharp from 'sharp';
import { describe, expect, test } from 'vitest';
import { createPlane, decodePhoto, meanOver, readPhoto, resampleLuminance } from '../../src/plane/index.ts';
import { applyScreen } from '../../src/screens/index.ts';

const grid = { pitchMm: 0.02, lineSpacingMm: 0.02 };

/** sRGB decoding by IEC 61966-2-1 and Rec. 709 weights, written out here and not taken from the code under test. */
function meanLinearLuminance(rgb: ArrayLike<number>): number {
  const linear = (code: number) => (code / 255 <= 0.04045 ? code / 255 / 12.92 : ((code / 255 + 0.055) / 1.055) ** 2.4);
  let sum = 0;
  for (let i = 0; i < rgb.length; i += 3) {
    sum += 0.2126 * linear(rgb[i]!) + 0.7152 * linear(rgb[i + 1]!) + 0.0722 * linear(rgb[i + 2]!);
  }
  return sum / (rgb.length / 3);
}

describe('from the photo to the dots the tone is kept', () => {
  test.each(['images/photos/raccoon.jpg', 'images/photos/portrait.png', 'images/photos/two-dogs.jpg'])(
    'the mean of the dots of %s is the mean of its linear light within 0.0005',
    async (file) => {
      const photo = await readPhoto(file);
      const crop = { x: 0, y: 0, width: photo.width, height: photo.height };
      const light = resampleLuminance(photo, {
        crop,
        width: 2140,
        height: Math.round((2140 * photo.height) / photo.width),
      });
      // Dots that fire where the photo is light: coverage = luminance.
      const coverage = createPlane('coverage', light.width, light.height, light.data);
      const dots = applyScreen(coverage, { name: 'floyd-steinberg', grid });
      const mean = meanOver(dots, { width: 1, height: 1 }).data[0]!;
      expect(Math.abs(mean - meanLinearLuminance(photo.rgb))).toBeLessThanOrEqual(0.0005);
    },
  );

  test('a black and white checkerboard of single pixels halves to linear 0.5, not to coded 0.5', async () => {
    const size = 128;
    const board = Buffer.from(
      Uint8Array.from({ length: size * size }, (_, i) => (((i % size) + Math.floor(i / size)) % 2) * 255),
    );
    const png = await sharp(board, { raw: { width: size, height: size, channels: 1 } })
      .png()
      .toBuffer();
    const photo = await decodePhoto(png, 'board');
    const light = resampleLuminance(photo, {
      crop: { x: 0, y: 0, width: size, height: size },
      width: size / 2,
      height: size / 2,
    });
    const { data } = meanOver(light, { width: 16, height: 16 });
    for (const value of data) expect(Math.abs(value - 0.5)).toBeLessThanOrEqual(0.002);
  });
});
