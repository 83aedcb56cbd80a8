import { encodeSrgb } from '../colour/index.ts';
import { tabulate } from '../numeric/index.ts';
import type { Photo } from './decode.ts';
import { type PhotoColour, tabulateCurve } from './photo-colour.ts';

/**
 * Steps of linear light in the table of sRGB codes: the steepest part of sRGB has 12.92 codes of 16 bits a step. Exact:
 * 2¹⁶, every 16-bit value of light.
 */
const LIGHT_STEPS = 65536;

/**
 * A photo in sRGB codes, what lies outside sRGB cut off; the same photo when it is in sRGB already. For pictures that
 * people look at and for captures of a chart: the light of a photo is taken from its own colours.
 */
export function convertToSrgb(photo: Photo): Photo {
  const { colour, ...rest } = photo;
  if (colour === undefined) return photo;
  const rgb = photo.rgb.slice();
  convertSamples(rgb, { colour, channels: photo.channels, full: photo.bits === 16 ? 65535 : 255 });
  return { ...rest, rgb };
}

export interface SampleCoding {
  readonly colour: PhotoColour;
  readonly channels: 1 | 3;
  /** The code of full light. */
  readonly full: 255 | 65535;
}

/** Writes samples of a photo's own colours anew as sRGB codes, in place. */
export function convertSamples(
  samples: Uint8Array | Uint16Array,
  { colour: { curves, toSrgb }, channels, full }: SampleCoding,
): void {
  const [red, green, blue] = [0, 1, 2].map((channel) => tabulateCurve(curves[channel] ?? curves[0], full + 1));
  const codes = tabulate(new Float64Array(LIGHT_STEPS), (step) => full * encodeSrgb(step / (LIGHT_STEPS - 1)));
  const codeOf = (light: number) => Math.round(codes[Math.round(Math.max(0, Math.min(1, light)) * (LIGHT_STEPS - 1))]!);
  if (channels === 1) {
    const greys = samples instanceof Uint16Array ? new Uint16Array(full + 1) : new Uint8Array(full + 1);
    for (let code = 0; code <= full; code++) greys[code] = codeOf(red![code]!);
    for (let at = 0; at < samples.length; at++) samples[at] = greys[samples[at]!]!;
    return;
  }
  const [rr, rg, rb, gr, gg, gb, br, bg, bb] = toSrgb;
  for (let at = 0; at < samples.length; at += 3) {
    const r = red![samples[at]!]!;
    const g = green![samples[at + 1]!]!;
    const b = blue![samples[at + 2]!]!;
    samples[at] = codeOf(rr * r + rg * g + rb * b);
    samples[at + 1] = codeOf(gr * r + gg * g + gb * b);
    samples[at + 2] = codeOf(br * r + bg * g + bb * b);
  }
}
