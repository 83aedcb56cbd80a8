import { decodeSrgb, lightnessOfReflectance, reflectanceOfLightness } from '../colour/index.ts';
import { median } from '../numeric/index.ts';
import type { ColourImage } from '../plane/index.ts';

/** What the middle of a face's skin looks like in a photo. */
export interface SkinColour {
  /** Middle lightness, L*. */
  readonly lightness: number;
  /** Linear red over linear blue; about 1 where a photo has no colour. */
  readonly redOverBlue: number | undefined;
}

/**
 * Skin in even light: linear red over blue, and L*. Melanin takes blue before red, so lighter skin is nearer to grey.
 * Published: tones 4, 5 and 6 of the Monk Skin Tone scale (source: 'monk2019', sRGB codes #eadaba, #d7bd96, #a07e56).
 * Changed: darker tones are left out, whose colour tells them neither from these nor from one another.
 */
const EVEN_SKIN = [
  { redOverBlue: 1.676, lightness: 87.56 },
  { redOverBlue: 2.228, lightness: 78 },
  { redOverBlue: 3.775, lightness: 55 },
] as const;
/** A ratio below which a photo is without colour, or one whose white is not known. Assumed: no skin is so grey. */
const LEAST_RATIO = 1.3;
/**
 * Skins of one colour differ by so much, EV: what lacks less is in even light, what lacks twice as much in the shade.
 * Assumed: by the tones of the scale, which lie a third of that beside a straight line.
 */
const SCATTER_EV = 0.25;
/**
 * Most light that a face before a sky or a window gets back, EV. Measured (tests/job/faces.test.ts): with more the sky
 * leaves so little room above the face that its own light and shade go flat.
 */
const MOST_SHADE_EV = 1.5;

/**
 * How much less light faces have than skin of their colours has in even light, EV, 0 … 1.5: of several, the least,
 * since one light falls on all. Undefined where no colour tells it. Shade changes how light skin is and hardly its
 * colour; melanin changes both.
 */
export function tellShadeEv(faces: readonly SkinColour[]): number | undefined {
  const missing = faces.flatMap(({ lightness, redOverBlue = 1 }) => {
    if (redOverBlue < LEAST_RATIO) return [];
    const [even, seen] = [evenLightnessOf(redOverBlue), Math.max(1, lightness)].map(reflectanceOfLightness);
    return [Math.log2(even! / seen!)];
  });
  if (missing.length === 0) return undefined;
  const least = Math.min(...missing);
  return Math.min(Math.max(0, Math.min(least, 2 * (least - SCATTER_EV))), MOST_SHADE_EV);
}

/** L* of skin of such a colour in even light: straight between the tones by the ratio's logarithm, level beyond. */
function evenLightnessOf(redOverBlue: number): number {
  const at = EVEN_SKIN.findIndex((tone) => tone.redOverBlue >= redOverBlue);
  if (at === 0) return EVEN_SKIN[0].lightness;
  if (at < 0) return EVEN_SKIN[EVEN_SKIN.length - 1]!.lightness;
  const [from, to] = [EVEN_SKIN[at - 1]!, EVEN_SKIN[at]!];
  const way = Math.log(redOverBlue / from.redOverBlue) / Math.log(to.redOverBlue / from.redOverBlue);
  return from.lightness + way * (to.lightness - from.lightness);
}

/**
 * Radius of the skin in the middle of a face, a share of its picture's sides. Assumed, by eye: without hair and beard.
 */
const CHEEKS = 0.3;

/** Linear red over blue of the middle of a face, by medians: eyes, lips and highlights are few. */
export function skinRatio({ width, height, rgb }: ColourImage): number {
  const [red, blue]: [number[], number[]] = [[], []];
  for (let y = 0; y < height; y++) {
    for (let x = 0; x < width; x++) {
      if (Math.hypot((x + 0.5) / width - 0.5, (y + 0.5) / height - 0.5) > CHEEKS) continue;
      const at = 3 * (y * width + x);
      red.push(decodeSrgb(rgb[at]! / 255));
      blue.push(decodeSrgb(rgb[at + 2]! / 255));
    }
  }
  return median(red) / Math.max(median(blue), LEAST_LIGHT);
}

/** Linear light below which a code tells no colour, a share. Exact: half of the first step of 8 bits. */
const LEAST_LIGHT = 0.5 / 255 / 12.92;

/** The same skin with so much more light, L*. */
export const lightenBy = (lightness: number, ev: number): number =>
  lightnessOfReflectance(Math.min(1, reflectanceOfLightness(lightness) * 2 ** ev));
