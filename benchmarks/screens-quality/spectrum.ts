import { fillDotTable } from '../../src/material/index.ts';
import { createPlane, type Dots, ONE } from '../../src/plane/index.ts';
import { applyScreen, SCREENS, takesStrength } from '../../src/screens/index.ts';
import { frequencyOf, powerSpectrum } from '../common/spectrum.ts';
import type { BenchMaterial, Variant } from './materials.ts';

/**
 * Side of a periodogram, dots, and how many are averaged: −10 dB of anisotropy is then what an isotropic pattern has.
 */
const SIDE = 128;
const PERIODOGRAMS = 10;
const RING = 1 / 64;

export interface RadialSpectrum {
  /** Of the dots that fire. */
  readonly share: number;
  /** Middle of each ring, cycles per dot. */
  readonly frequencies: readonly number[];
  /** Radially averaged power, white noise of the same tone = 1 (source: 'ulichney1987', ch. 3, from memory). */
  readonly power: readonly number[];
  /** Variance within the ring over the squared mean, dB. */
  readonly anisotropyDb: readonly number[];
}

/**
 * Even tone, cut into fields that start away from the plane's border; of screens that take strengths, that strength.
 */
function screenFields({ name, options }: Variant, tone: number, { grid, surface }: BenchMaterial): Uint8Array[] {
  const marks = takesStrength({ ...options, name }) ? { marks: fillDotTable(surface, grid) } : {};
  const seeds = SCREENS[name].family === 'ordered' && SCREENS[name].uses.includes('seed');
  const border = seeds ? 0 : 32;
  const side = SIDE + 2 * border;
  // A mask repeats, so its fields are of different seeds; error diffusion never repeats, so they lie below each other.
  const count = seeds ? PERIODOGRAMS : 1;
  return Array.from({ length: count }, (_seed, seed) => {
    const height = seeds ? SIDE : PERIODOGRAMS * SIDE + border;
    const plane = createPlane('coverage', side, height);
    plane.data.fill(Math.round(tone * ONE));
    const dots = applyScreen(plane, { name, grid, ...options, ...marks, ...(seeds ? { seed: seed + 1 } : {}) });
    return seeds ? [dots.data] : cutFields(dots, border);
  }).flat();
}

function cutFields({ data, width }: Dots, border: number): Uint8Array[] {
  return Array.from({ length: PERIODOGRAMS }, (_, field) => {
    const bits = new Uint8Array(SIDE * SIDE);
    for (let y = 0; y < SIDE; y++) {
      const from = (border + field * SIDE + y) * width + border;
      bits.set(data.subarray(from, from + SIDE), y * SIDE);
    }
    return bits;
  });
}

function meanShare(fields: readonly Uint8Array[]): number {
  const sums = fields.map((bits) => bits.reduce((sum, bit) => sum + bit, 0) / bits.length);
  return sums.reduce((sum, mean) => sum + mean, 0) / sums.length;
}

/** Radially averaged power and anisotropy of a screen at one tone. */
export function radialSpectrum(variant: Variant, tone: number, material: BenchMaterial): RadialSpectrum {
  const fields = screenFields(variant, tone, material);
  const share = meanShare(fields);
  const power = new Float64Array(SIDE * SIDE);
  for (const bits of fields) {
    const spectrum = powerSpectrum(bits, SIDE, SIDE);
    for (let i = 0; i < power.length; i++) power[i] += spectrum[i] / fields.length;
  }
  const rings = Math.floor(Math.SQRT1_2 / RING) + 1;
  const [sums, squares, counts] = [0, 1, 2].map(() => new Array<number>(rings).fill(0)) as [
    number[],
    number[],
    number[],
  ];
  for (let ky = 0; ky < SIDE; ky++) {
    for (let kx = 0; kx < SIDE; kx++) {
      if (kx === 0 && ky === 0) continue;
      const ring = Math.min(rings - 1, Math.floor(Math.hypot(frequencyOf(kx, SIDE), frequencyOf(ky, SIDE)) / RING));
      const value = power[ky * SIDE + kx] / (share * (1 - share));
      sums[ring]! += value;
      squares[ring]! += value * value;
      counts[ring]!++;
    }
  }
  return {
    share,
    frequencies: sums.map((_, ring) => (ring + 0.5) * RING),
    power: sums.map((sum, ring) => sum / Math.max(1, counts[ring]!)),
    anisotropyDb: sums.map((sum, ring) => {
      const n = counts[ring]!;
      const mean = sum / Math.max(1, n);
      const variance = n > 1 ? (squares[ring]! - n * mean * mean) / (n - 1) : 0;
      return 10 * Math.log10(Math.max(1e-6, variance / Math.max(1e-12, mean * mean)));
    }),
  };
}

/**
 * Principal frequency of a blue-noise pattern, cycles per dot; held at ½ where dots cannot lie nearer
 * (source: 'ulichney1987', from memory).
 */
export function principalFrequency(share: number): number {
  return Math.min(0.5, Math.sqrt(Math.min(share, 1 - share)));
}

/** Where the power first peaks above white noise, coming from low frequencies, in means of three rings. */
export function peakFrequency({ frequencies, power }: RadialSpectrum): number {
  const smooth = power.map((_, ring) => {
    const near = power.slice(Math.max(0, ring - 1), ring + 2);
    return near.reduce((sum, value) => sum + value, 0) / near.length;
  });
  let ring = smooth.findIndex((value) => value > 1);
  while (ring < smooth.length - 1 && smooth[ring + 1]! > smooth[ring]!) ring++;
  return frequencies[ring]!;
}

/**
 * Greatest anisotropy of the rings that hold the pattern, dB: worms stand out of their ring by tens. The outermost
 * rings are left out, since a corner of the spectrum is no ring; a checkerboard lies there and nowhere else, and has
 * none.
 */
export function patternAnisotropyDb({ frequencies, power, anisotropyDb }: RadialSpectrum): number | undefined {
  const held = anisotropyDb.filter((_, ring) => ring > 2 && frequencies[ring]! < 0.68 && power[ring]! > 0.2);
  return held.length === 0 ? undefined : Math.max(...held);
}

/**
 * How much a pattern leans to one side: root mean square difference of its autocorrelation at (dx, dy) and (−dx, dy),
 * of the tone's variance, over the four nearest dots each way. A raster scan leans, a serpentine should not.
 */
export function leaning(variant: Variant, tone: number, material: BenchMaterial): number {
  const reach = 4;
  const fields = screenFields(variant, tone, material);
  const share = meanShare(fields);
  let sum = 0;
  let count = 0;
  for (let dy = 1; dy <= reach; dy++) {
    for (let dx = 1; dx <= reach; dx++) {
      let difference = 0;
      for (const bits of fields) difference += together(bits, dx, dy) - together(bits, -dx, dy);
      sum += (difference / fields.length / (share * (1 - share))) ** 2;
      count++;
    }
  }
  return Math.sqrt(sum / count);
}

/** Share of places where a dot and the one at (dx, dy) from it both fire. */
function together(bits: Uint8Array, dx: number, dy: number): number {
  let sum = 0;
  let count = 0;
  for (let y = 0; y < SIDE - dy; y++) {
    for (let x = Math.max(0, -dx); x < Math.min(SIDE, SIDE - dx); x++, count++) {
      sum += bits[y * SIDE + x]! & bits[(y + dy) * SIDE + x + dx]!;
    }
  }
  return sum / count;
}
