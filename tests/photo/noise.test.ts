import { describe, expect, test } from 'vitest';
import { noisyPhoto, seededChance } from '../../benchmarks/common/face-scenes.ts';
import { adjustTone, chooseTone, type PhotoPixels, photoNoise, TONE_DEFAULTS } from '../../src/photo/index.ts';
import {
  createPlane,
  decodePhoto,
  lightnessOfLuminance,
  luminanceOfLightness,
  type Plane,
  resampleLuminance,
} from '../../src/plane/index.ts';

const grid = { pitchMm: 0.02, lineSpacingMm: 0.02 };
const viewed = { grid, markDiameterUm: 40, viewingDistanceMm: 300 };
const SIDE = 420;

/** A sample photo of 420 pixels across, on 60 mm: each pixel is seven dots. Noise is the same in all three colours. */
async function take(name: string, { noise, quality }: { readonly noise: number; readonly quality: number }) {
  const photo = await decodePhoto(await noisyPhoto(name, { side: SIDE, noise, quality }), name);
  const { width, height } = photo;
  const size = { width: 3000, height: Math.round((3000 * height) / width) };
  const light = resampleLuminance(photo, { crop: { x: 0, y: 0, width, height }, ...size });
  const pixels: PhotoPixels = { width, height, left: 0, top: 0 };
  return { light, pixels };
}

/** Root mean square difference, L*, which is what noise and compression have done. */
function differenceOf(a: Plane<'luminance'>, b: Plane<'luminance'>): number {
  let sum = 0;
  for (let at = 3; at < a.data.length; at += 7) {
    sum += (lightnessOfLuminance(a.data[at]!) - lightnessOfLuminance(b.data[at]!)) ** 2;
  }
  return Math.sqrt(sum / Math.ceil((a.data.length - 3) / 7));
}

const NAMES = ['portrait.png', 'two-dogs.jpg', 'cup.png', 'cat.png'];

describe('noise of a small photo', () => {
  test.each(NAMES)(
    'of deviation 10 is found in %s, saved at quality 60, as what differs from the clean one',
    async (name) => {
      const [clean, noisy] = [
        await take(name, { noise: 0, quality: 100 }),
        await take(name, { noise: 10, quality: 60 }),
      ];
      const found = photoNoise(noisy.light, noisy.pixels);
      // Between pixels the enlarged picture is a mean of them, and a little less noisy than they are.
      const true_ = differenceOf(noisy.light, clean.light);
      expect(found).toBeGreaterThan(0.85 * true_);
      expect(found).toBeLessThan(1.4 * true_);
      expect(found).toBeGreaterThan(2.5);
    },
  );

  test.each(NAMES)('is little in a clean %s, compressed or not', async (name) => {
    for (const quality of [100, 60]) {
      const { light, pixels } = await take(name, { noise: 0, quality });
      expect(photoNoise(light, pixels)).toBeLessThan(1.1);
    }
  });

  test('is told wherever the crop begins', async () => {
    const photo = await decodePhoto(await noisyPhoto('cup.png', { side: SIDE, noise: 10, quality: 60 }), 'cup');
    const found = [0, 0.5, 3.25, 5].map((x) => {
      const crop = { x, y: x / 2, width: 380, height: 240 };
      const light = resampleLuminance(photo, { crop, width: 2700, height: 1705 });
      return photoNoise(light, { width: 380, height: 240, left: x % 1, top: (x / 2) % 1 });
    });
    // Pairs of pixels lie otherwise in the blocks of compression.
    expect(Math.max(...found) / Math.min(...found)).toBeLessThan(1.35);
  });
});

describe('automatic', () => {
  test.each(NAMES)('cleans %s, sharpens none of its noise, and keeps its edges', async (name) => {
    const [clean, noisy] = [await take(name, { noise: 0, quality: 100 }), await take(name, { noise: 10, quality: 60 })];
    const tone = chooseTone(noisy.light, { ...viewed, pixels: noisy.pixels });
    expect(tone.sharpenAmount).toBeLessThan(0.2);
    expect(tone.localContrast).toBeLessThan(0.12);
    expect(tone.noiseRadiusMm).toBeCloseTo((1.75 * 60) / SIDE, 1);
    // The filter by itself: nearer to the clean picture than the noisy one is.
    const { noiseL, noiseRadiusMm } = tone;
    const filtered = adjustTone(noisy.light, { ...TONE_DEFAULTS, noiseL, noiseRadiusMm }, { grid });
    expect(differenceOf(filtered, clean.light)).toBeLessThan(0.82 * differenceOf(noisy.light, clean.light));
  });

  test('a photo with more pixels than the work shows is judged by what the work shows', async () => {
    const { light, pixels } = await take('cup.png', { noise: 0, quality: 100 });
    const many = { ...pixels, width: 4000, height: 2700 };
    expect(chooseTone(light, { ...viewed, pixels: many })).toEqual(chooseTone(light, viewed));
  });
});

describe('noise under a strong lift', () => {
  /** An even dark grey with noise from dot to dot. */
  function paintNoisy(deviation: number): Plane<'luminance'> {
    const chance = seededChance(3);
    const plane = createPlane('luminance', 600, 600);
    for (let i = 0; i < plane.data.length; i++) plane.data[i] = luminanceOfLightness(30 + deviation * chance());
    return plane;
  }

  /** Deviation of squares of a tenth of a millimetre, L*. */
  function grainOf({ width, data }: Plane<'luminance'>): number {
    const means: number[] = [];
    for (let y = 50; y < 550; y += 5) {
      for (let x = 50; x < 550; x += 5) {
        let sum = 0;
        for (let k = 0; k < 25; k++) {
          sum += lightnessOfLuminance(data[(y + Math.floor(k / 5)) * width + x + (k % 5)]!);
        }
        means.push(sum / 25);
      }
    }
    const mean = means.reduce((sum, value) => sum + value, 0) / means.length;
    return Math.sqrt(means.reduce((sum, value) => sum + (value - mean) ** 2, 0) / means.length);
  }

  test.each([2, 6])('of deviation %d from dot to dot comes out less than it went in', (deviation) => {
    const noisy = paintNoisy(deviation);
    const chosen = chooseTone(noisy, viewed);
    const lift = { midtoneL: 20, contrast: 0.4, blackPointL: 0, whitePointL: 100 };
    const bent = adjustTone(noisy, { ...TONE_DEFAULTS, ...lift }, { grid });
    // The lift by itself makes it a third larger, which is what the filter is up against.
    expect(grainOf(bent)).toBeGreaterThan(1.3 * grainOf(noisy));
    expect(grainOf(adjustTone(noisy, { ...chosen, ...lift }, { grid }))).toBeLessThan(0.8 * grainOf(noisy));
  });
});
