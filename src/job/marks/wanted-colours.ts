import {
  decodeSrgb,
  encodeSrgb,
  type Lab,
  labOfOpponent,
  lightnessOfReflectance,
  opponentOfLab,
  opponentOfRgb,
} from '../../colour/index.ts';
import { tabulate } from '../../numeric/index.ts';
import { convertToSrgb, ONE, type Photo, type Plane, resampleLuminance } from '../../plane/index.ts';
import { type LinearColour, mixNearest } from '../../screens/index.ts';
import type { Picture } from '../prepare/picture.ts';
import type { JobSpec } from '../request/types.ts';

/**
 * Lightness carries the picture: beyond the palette's colours a difference in L* counts so many times one in a* or b*.
 * Assumed, by eye on portraits: with 1 faces turn to the nearest colour and lose their shape.
 */
const LIGHTNESS_WEIGHT = 2;

/** From the photo's L* to that on the work. */
type Range = (lightness: number) => number;

export function rangeOf(range: JobSpec['range'], colours: readonly Lab[]): Range {
  if (range === 'absolute') return (lightness) => lightness;
  const tones = colours.map(([lightness]) => lightness);
  const [low, high] = [Math.min(...tones), Math.max(...tones)];
  return (lightness) => low + ((high - low) * lightness) / 100;
}

/** Writes the wanted colour of a dot of the picture into a row. */
export type WantedAt = (dot: number, row: Float64Array, to: number) => void;

interface Gamut {
  readonly linear: readonly LinearColour[];
  readonly range: Range;
}

const toEven = (colour: LinearColour): LinearColour => {
  const [lightness, a, b] = labOfOpponent(colour);
  return [LIGHTNESS_WEIGHT * lightness, a, b];
};

/** Wanted colours of lightness alone: one mixture for each of 1024 lightnesses. */
export function openTones(toned: Plane<'luminance'>, { linear, range }: Gamut): WantedAt {
  const steps = 1023;
  const mixtures = Float64Array.from(
    Array.from({ length: steps + 1 }, (_, step) =>
      mixNearest(opponentOfLab([range((100 * step) / steps), 0, 0]), { colours: linear, toEven }),
    ).flat(),
  );
  const stepOf = tabulate(new Uint16Array(ONE + 1), (level) =>
    Math.round((steps * lightnessOfReflectance(level / ONE)) / 100),
  );
  return (dot, row, to) => {
    const from = 3 * stepOf[toned.data[dot]!]!;
    row[to] = mixtures[from]!;
    row[to + 1] = mixtures[from + 1]!;
    row[to + 2] = mixtures[from + 2]!;
  };
}

/**
 * Nodes of the table of colours along one axis, which runs over sRGB codes so that steps look even. A count. Assumed:
 * straight between them to 1 ΔE; more cost time by their cube.
 */
const NODES = 17;

/**
 * Wanted colours of the photo: mixtures at the nodes of a cube of colours, found where the photo has them, linear
 * between.
 */
export function openColours(
  photo: Photo,
  { picture, toned, linear, range }: Gamut & { readonly picture: Picture; readonly toned: Plane<'luminance'> },
): WantedAt {
  const { crop, place } = picture.frame;
  const placed = { crop, width: place.width, height: place.height };
  const inSrgb = convertToSrgb(photo);
  const [red, green, blue] = (
    [
      [1, 0, 0],
      [0, 1, 0],
      [0, 0, 1],
    ] as const
  ).map((weights) => resampleLuminance(inSrgb, { ...placed, weights }).data) as [Uint16Array, Uint16Array, Uint16Array];
  const light = picture.light.data;
  const nodes = new Float64Array(3 * NODES ** 3).fill(Number.NaN);
  const codeOf = tabulate(new Float64Array(ONE + 1), (level) => (NODES - 1) * encodeSrgb(level / ONE));
  const nodeAt = (r: number, g: number, b: number): number => {
    const at = 3 * ((r * NODES + g) * NODES + b);
    if (Number.isNaN(nodes[at]!)) {
      const rgb = [r, g, b].map((node) => decodeSrgb(node / (NODES - 1))) as [number, number, number];
      const [lightness, a, bb] = labOfOpponent(opponentOfRgb(rgb));
      nodes.set(mixNearest(opponentOfLab([range(lightness), a, bb]), { colours: linear, toEven }), at);
    }
    return at;
  };
  const last = NODES - 2;
  return (dot, row, to) => {
    // The tone was set on luminance; the channels follow it.
    const gain = light[dot]! > 0 ? toned.data[dot]! / light[dot]! : 1;
    const r = codeOf[Math.min(ONE, Math.round(red[dot]! * gain))]!;
    const g = codeOf[Math.min(ONE, Math.round(green[dot]! * gain))]!;
    const b = codeOf[Math.min(ONE, Math.round(blue[dot]! * gain))]!;
    const [r0, g0, b0] = [Math.min(last, r | 0), Math.min(last, g | 0), Math.min(last, b | 0)];
    const [rs, gs, bs] = [r - r0, g - g0, b - b0];
    let [first, second, third] = [0, 0, 0];
    for (let corner = 0; corner < 8; corner++) {
      const [cr, cg, cb] = [corner >> 2, (corner >> 1) & 1, corner & 1];
      const share = (cr === 1 ? rs : 1 - rs) * (cg === 1 ? gs : 1 - gs) * (cb === 1 ? bs : 1 - bs);
      if (share === 0) continue;
      const at = nodeAt(r0 + cr, g0 + cg, b0 + cb);
      first += share * nodes[at]!;
      second += share * nodes[at + 1]!;
      third += share * nodes[at + 2]!;
    }
    row[to] = first;
    row[to + 1] = second;
    row[to + 2] = third;
  };
}
