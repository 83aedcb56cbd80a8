// Pictures of one openly licensed portrait (NASA, no known copyright restrictions) made into others: its skin in the
// tones of an outside scale, before another backdrop, with less light, in haze, with a dark coat, noisy. All in linear
// light.
import sharp from 'sharp';
import { decodeSrgb, encodeSrgb, lightnessOfReflectance, reflectanceOfLightness } from '../../src/colour/index.ts';
import { decodePhoto, readColour } from '../../src/plane/index.ts';
import { findSubject, loadModels, readShare } from '../../src/subject/index.ts';

/**
 * Six of the ten tones of the Monk Skin Tone scale (E. Monk, 2019; sRGB codes as published at skintone.google, CC BY
 * 4.0): numbers 4 to 9, L* 88 to 21.
 */
export const MONK_TONES = {
  4: '#eadaba',
  5: '#d7bd96',
  6: '#a07e56',
  7: '#825c43',
  8: '#604134',
  9: '#3a312a',
} as const;
export type MonkTone = keyof typeof MONK_TONES;

/** Linear light of a picture, three numbers a pixel. */
export interface Scene {
  readonly width: number;
  readonly height: number;
  readonly rgb: Float32Array;
}

type Colour = readonly [number, number, number];

const linearOf = (hex: string): Colour => {
  const code = (at: number) => decodeSrgb(Number.parseInt(hex.slice(at, at + 2), 16) / 255);
  return [code(1), code(3), code(5)];
};
export const lightnessOf = ([r, g, b]: Colour): number => lightnessOfReflectance(0.2126 * r + 0.7152 * g + 0.0722 * b);
export const monkLightness = (tone: MonkTone): number => lightnessOf(linearOf(MONK_TONES[tone]));

/** A part of the portrait with the head in it, and what of each pixel is the person's and the skin's. */
export interface Sitter extends Scene {
  readonly person: Float32Array;
  readonly skin: Float32Array;
}

/** Part of the portrait, pixels; the face within it, shares: from the brows to the chin, as the model draws it. */
const PART = { left: 70, top: 0, side: 310 } as const;
export const FACE = {
  x: (174 - PART.left) / PART.side,
  y: 73.6 / PART.side,
  width: 104 / PART.side,
  height: 104 / PART.side,
} as const;

export async function sitPortrait(): Promise<Sitter> {
  const photo = await decodePhoto(await sharp('images/photos/portrait.png').png().toBuffer(), 'portrait');
  const whole = { crop: { x: 0, y: 0, width: photo.width, height: photo.height } };
  const { share } = findSubject(readColour(photo, { ...whole, width: 512, height: 512 }), loadModels()!).subject!;
  const { left, top, side } = PART;
  const { rgb: codes } = readColour(photo, {
    crop: { x: left, y: top, width: side, height: side },
    width: side,
    height: side,
  });
  const rgb = Float32Array.from(codes, (code) => decodeSrgb(code / 255));
  const person = new Float32Array(side * side);
  const skin = new Float32Array(side * side);
  for (let y = 0; y < side; y++) {
    for (let x = 0; x < side; x++) {
      const at = y * side + x;
      person[at] = readShare(share, { x: (left + x + 0.5) / photo.width, y: (top + y + 0.5) / photo.height });
      const [r, g, b] = [rgb[3 * at]!, rgb[3 * at + 1]!, rgb[3 * at + 2]!];
      // Skin and hair are warm; teeth, eyes and cloth are not. Head and neck lie in an ellipse.
      const warm = rise((r - b) / (r + g + b + 1e-4), 0.02, 0.09);
      const [dx, dy] = [(x / side - FACE.x - FACE.width / 2) / 0.27, (y / side - FACE.y - 0.42 * FACE.height) / 0.36];
      skin[at] = warm * person[at] * rise(1 - Math.hypot(dx, dy), 0, 0.15);
    }
  }
  return { width: side, height: side, rgb, person, skin };
}

const rise = (value: number, from: number, to: number): number =>
  Math.min(1, Math.max(0, (value - from) / (to - from)));

/** The sitter with skin of another tone: the middle of the face has the tone's colour, light and shade stay. */
export function tintSkin(sitter: Sitter, tone: MonkTone): Sitter {
  const target = linearOf(MONK_TONES[tone]);
  const middle = middleOfSkin(sitter);
  const rgb = sitter.rgb.map((value, i) => {
    const share = sitter.skin[Math.floor(i / 3)]!;
    const tinted = (value * target[i % 3]!) / middle[i % 3]!;
    return share * (tinted > 0.8 ? 0.8 + 0.2 * (1 - Math.exp((0.8 - tinted) / 0.2)) : tinted) + (1 - share) * value;
  });
  return { ...sitter, rgb };
}

/** Medians of the face, each channel by itself. */
function middleOfSkin({ width, rgb, skin }: Sitter): Colour {
  const channels: number[][] = [[], [], []];
  for (let at = 0; at < skin.length; at++) {
    const [x, y] = [(at % width) / width, Math.floor(at / width) / width];
    const [dx, dy] = [(x - FACE.x) / FACE.width - 0.5, (y - FACE.y) / FACE.height - 0.5];
    if (Math.hypot(dx, dy) > 0.42) continue;
    for (const [c, values] of channels.entries()) values.push(rgb[3 * at + c]!);
  }
  return channels.map((values) => values.sort((a, b) => a - b)[values.length >> 1]!) as unknown as Colour;
}

/** L* of a backdrop by the height in the picture, 0 above … 1 below. */
export type Backdrop = (y: number) => number;
export const WALL: Backdrop = (y) => 52 - 8 * y;
export const SKY: Backdrop = (y) => (y < 0.85 ? 96 - 8 * y : 62);
export const DUSK: Backdrop = (y) => 82 - 22 * y;

/** The person before another backdrop; with less light on it, EV. */
export function standBefore(sitter: Sitter, backdrop: Backdrop, ev = 0): Sitter {
  const { width, height, person } = sitter;
  const gain = 2 ** ev;
  const rgb = sitter.rgb.slice();
  for (let y = 0; y < height; y++) {
    const light = reflectanceOfLightness(backdrop((y + 0.5) / height));
    for (let x = 0; x < width; x++) {
      const at = y * width + x;
      const tint = [0.94, 1.0, 1.08];
      for (let c = 0; c < 3; c++) {
        rgb[3 * at + c] = person[at]! * gain * rgb[3 * at + c]! + (1 - person[at]!) * light * tint[c]!;
      }
    }
  }
  return { ...sitter, rgb };
}

/** Clothes so dark; skin stays. */
export function darkenCloth(sitter: Sitter, gain: number): Sitter {
  const { width, person, skin } = sitter;
  const rgb = sitter.rgb.map((value, i) => {
    const at = Math.floor(i / 3);
    const low = rise(Math.floor(at / width) / width, 0.6, 0.68);
    const cloth = person[at]! * (1 - skin[at]!) * low;
    return value * (1 - cloth * (1 - gain));
  });
  return { ...sitter, rgb };
}

/** Haze of such a lightness over all of it. */
export function layHaze<T extends Scene>(scene: T, share: number, lightness: number): T {
  const light = reflectanceOfLightness(lightness);
  return { ...scene, rgb: scene.rgb.map((value) => (1 - share) * value + share * light) };
}

/** Two of them side by side, each of half the width. */
export function seat(left: Sitter, right: Sitter): Scene & { readonly faces: readonly (typeof FACE)[] } {
  const { width, height } = left;
  const rgb = new Float32Array(3 * 2 * width * height);
  for (let y = 0; y < height; y++) {
    rgb.set(left.rgb.subarray(3 * y * width, 3 * (y + 1) * width), 3 * 2 * y * width);
    rgb.set(right.rgb.subarray(3 * y * width, 3 * (y + 1) * width), 3 * (2 * y + 1) * width);
  }
  const half = (x: number) => ({ ...FACE, x: (x + FACE.x) / 2, width: FACE.width / 2 }) as unknown as typeof FACE;
  return { width: 2 * width, height, rgb, faces: [half(0), half(1)] };
}

/** An even mixture of chance, the same for the same seed: mean 0, deviation 1. */
export function seededChance(seed: number): () => number {
  let state = seed;
  const uniform = () => {
    state = (Math.imul(state, 1664525) + 1013904223) >>> 0;
    return (state + 0.5) / 2 ** 32;
  };
  return () => Math.sqrt(-2 * Math.log(uniform())) * Math.cos(2 * Math.PI * uniform());
}

export interface FileOptions {
  /** Long side, pixels; as it is when absent. */
  readonly side?: number;
  /** Deviation of the noise, codes of 255, the same in all three colours. */
  readonly noise?: number;
  /** JPEG at this quality; PNG when absent. */
  readonly quality?: number;
}

/** The picture as a file. */
export async function fileOf(
  { width, height, rgb }: Scene,
  { side, noise = 0, quality }: FileOptions = {},
): Promise<Buffer> {
  const codes = Uint8Array.from(rgb, (value) => Math.round(255 * encodeSrgb(Math.min(1, Math.max(0, value)))));
  const raw = { raw: { width, height, channels: 3 as const } };
  const sized = sharp(codes, raw).resize(side ? { width: side } : {});
  const { data, info } = await sized.raw().toBuffer({ resolveWithObject: true });
  return addNoise(data, { width: info.width, height: info.height, noise, quality });
}

async function addNoise(
  codes: Uint8Array,
  { width, height, noise, quality }: { width: number; height: number; noise: number; quality: number | undefined },
): Promise<Buffer> {
  const chance = seededChance(77);
  const noisy = new Uint8Array(codes.length);
  for (let at = 0; at < codes.length; at += 3) {
    const by = noise * chance();
    for (let c = 0; c < 3; c++) noisy[at + c] = Math.min(255, Math.max(0, Math.round(codes[at + c]! + by)));
  }
  const image = sharp(noisy, { raw: { width, height, channels: 3 } });
  return quality === undefined ? image.png().toBuffer() : image.jpeg({ quality }).toBuffer();
}

/** A sample photo so wide, with noise, as a file. */
export async function noisyPhoto(name: string, options: Required<FileOptions>): Promise<Buffer> {
  const { data, info } = await sharp(`images/photos/${name}`)
    .resize({ width: options.side })
    .toColourspace('srgb')
    .removeAlpha()
    .raw()
    .toBuffer({ resolveWithObject: true });
  const rgb =
    info.channels === 3 ? data : Uint8Array.from({ length: 3 * data.length }, (_, i) => data[Math.floor(i / 3)]!);
  return addNoise(rgb, { width: info.width, height: info.height, noise: options.noise, quality: options.quality });
}

/** A sample photo in linear light, so wide. */
export async function readScene(name: string, side: number): Promise<Scene> {
  const { data, info } = await sharp(`images/photos/${name}`)
    .resize({ width: side })
    .toColourspace('srgb')
    .removeAlpha()
    .raw()
    .toBuffer({ resolveWithObject: true });
  const { width, height, channels } = info;
  const rgb = Float32Array.from({ length: 3 * width * height }, (_, i) =>
    decodeSrgb(data[channels === 3 ? i : Math.floor(i / 3)]! / 255),
  );
  return { width, height, rgb };
}
