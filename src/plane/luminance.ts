import { REC709 } from '../colour/index.ts';
import { tabulate } from '../numeric/index.ts';
import type { Photo } from './decode.ts';
import { type ChannelWeights, SRGB_CURVE, tabulateCurve } from './photo-colour.ts';
import { ONE } from './plane.ts';

/**
 * Samples are kept as luminance minus CENTRE in 16-bit integers: a filter that overshoots white or black by up to half
 * the range stays exact, and taps that sum to 1 pass the offset through unchanged. In 1/32767. Exact: half of the
 * 15-bit range, rounded up.
 */
export const CENTRE = 16384;

/**
 * A photo as rows of light for the resampler: which samples to read, and the tables from code (sRGB's, IEC 61966-2-1,
 * unless the photo has colours of its own) to 15-bit linear light. With `alpha` the light is multiplied by it row by
 * row.
 */
export interface LightSource {
  readonly width: number;
  readonly height: number;
  readonly kind: 'rgb8' | 'grey8' | 'rgb16' | 'grey16';
  readonly samples: Uint8Array | Uint16Array;
  /**
   * rgb8: 3 × 256 weighted values with 15 more fraction bits; grey8: 256 of the same. Empty for 16-bit samples.
   */
  readonly shares: Int32Array;
  /** 16-bit samples: 15-bit linear light of each of the 65536 codes; empty for 8-bit ones. */
  readonly light: Uint16Array;
  /** rgb16: weights with 15 fraction bits, sum exactly 1 << 15. */
  readonly weights: readonly [number, number, number];
  readonly alpha: Uint8Array | undefined;
}

/** 1 in fixed point of 15 bits. Exact: weights and shares sum to it. */
const FRACTION = 1 << 15;

/** 15-bit share of each 8-bit alpha. */
export const ALPHA_SHARES = tabulate(new Uint16Array(256), (alpha) => Math.round((alpha * ONE) / 255));

/**
 * The light of a photo; premultiplied by its alpha when it has one. The weights are of the photo's own red, green and
 * blue; its luminance unless told otherwise.
 */
export function lightOf(photo: Photo, asked?: ChannelWeights): LightSource {
  if (asked) checkWeights(asked);
  const { width, height, bits, channels, rgb, alpha, colour } = photo;
  const weights = asked ?? colour?.luminance ?? REC709.weights;
  const lightOfCodes = (count: number): readonly Float64Array[] =>
    (colour?.curves ?? [SRGB_CURVE]).map((curve) => tabulateCurve(curve, count));
  const base = { width, height, samples: rgb, alpha, weights: wholeWeights(weights) };
  if (bits === 16) {
    const codes = lightOfCodes(65536)[0]!;
    return {
      ...base,
      kind: channels === 3 ? 'rgb16' : 'grey16',
      shares: new Int32Array(0),
      light: tabulate(new Uint16Array(codes.length), (code) => Math.round(ONE * codes[code]!)),
    };
  }
  const curves = lightOfCodes(256);
  const parts = weights.map((weight, at) =>
    Array.from(curves[at] ?? curves[0]!, (light) => Math.round(weight * light * ONE * FRACTION)),
  );
  const shares =
    channels === 3
      ? Int32Array.from(parts.flat())
      : tabulate(new Int32Array(256), (code) => parts[0]![code] + parts[1]![code] + parts[2]![code]);
  return { ...base, kind: channels === 3 ? 'rgb8' : 'grey8', shares, light: new Uint16Array(0) };
}

/** The alpha of a photo as rows of 15-bit shares. */
export function alphaOf(photo: Photo, alpha: Uint8Array): LightSource {
  return {
    width: photo.width,
    height: photo.height,
    kind: 'grey8',
    samples: alpha,
    shares: tabulate(new Int32Array(ALPHA_SHARES.length), (at) => ALPHA_SHARES[at]! * FRACTION),
    light: new Uint16Array(0),
    weights: [FRACTION, 0, 0],
    alpha: undefined,
  };
}

/**
 * Convert columns first … first + out.length of row `y` to light minus CENTRE: the plain version of the kernels' rows.
 */
export function readLightRow(source: LightSource, y: number, first: number, out: Int16Array): void {
  const { kind, samples, shares, light, weights, alpha, width } = source;
  const pixel = y * width + first;
  const count = out.length;
  if (kind === 'rgb8') {
    for (let x = 0, at = 3 * pixel; x < count; x++, at += 3) {
      const sum = shares[samples[at]] + shares[256 + samples[at + 1]] + shares[512 + samples[at + 2]];
      out[x] = ((sum + 16384) >> 15) - CENTRE;
    }
  } else if (kind === 'grey8') {
    for (let x = 0; x < count; x++) out[x] = ((shares[samples[pixel + x]] + 16384) >> 15) - CENTRE;
  } else if (kind === 'rgb16') {
    const [red, green, blue] = weights;
    for (let x = 0, at = 3 * pixel; x < count; x++, at += 3) {
      const sum = red * light[samples[at]] + green * light[samples[at + 1]] + blue * light[samples[at + 2]];
      out[x] = ((sum + 16384) >> 15) - CENTRE;
    }
  } else {
    for (let x = 0; x < count; x++) out[x] = light[samples[pixel + x]] - CENTRE;
  }
  if (alpha === undefined) return;
  for (let x = 0; x < count; x++) {
    const share = ALPHA_SHARES[alpha[pixel + x]];
    out[x] = Math.trunc(((out[x] + CENTRE) * share + 16383) / 32767) - CENTRE;
  }
}

function checkWeights(weights: ChannelWeights): void {
  const sum = weights[0] + weights[1] + weights[2];
  if (weights.some((weight) => !(weight >= 0 && weight <= 1)) || Math.abs(sum - 1) > 1e-6) {
    throw new RangeError(`channel weights must be 0…1 and sum to 1, got ${weights.join(', ')}`);
  }
}

/** Weights with 15 fraction bits that sum to exactly 1: green takes what rounding leaves. */
function wholeWeights([red, green, blue]: ChannelWeights): readonly [number, number, number] {
  const wholes: [number, number, number] = [red, green, blue].map((weight) => Math.round(weight * FRACTION)) as [
    number,
    number,
    number,
  ];
  wholes[1] += FRACTION - wholes[0] - wholes[1] - wholes[2];
  return wholes;
}
