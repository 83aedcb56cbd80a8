import { computeEyeBlurMm, type ViewingOptions } from '../optics/index.ts';
import { createPlane, type DotGrid, lightnessOfReflectance, type Plane } from '../plane/index.ts';

export interface EyeOptions extends ViewingOptions {
  /** Size of a cell of the plane, mm. */
  readonly cellXMm: number;
  readonly cellYMm: number;
}

/** What is left of a picture after the eye's blur, in linear light. Beyond the border nothing is assumed: weights are renormalised. */
export function filterByEye(plane: Plane<'reflectance'>, options: EyeOptions): Plane<'reflectance'> {
  const { width, height } = plane;
  const sigma = computeEyeBlurMm(options);
  const along = gaussianTaps(sigma / options.cellXMm);
  const across = gaussianTaps(sigma / options.cellYMm);
  const wide = blurRows(plane.data, { width, height, taps: along });
  return createPlane('reflectance', width, height, blurColumns(wide, { width, height, taps: across }));
}

interface BlurOptions {
  readonly width: number;
  readonly height: number;
  /** Weights of distance 0, 1, 2 …; the whole kernel sums to 1. */
  readonly taps: Float64Array;
}

function gaussianTaps(sigmaCells: number): Float64Array {
  const radius = Math.ceil(3 * sigmaCells);
  const taps = Float64Array.from({ length: radius + 1 }, (_, i) =>
    sigmaCells > 0 ? Math.exp(-(i * i) / (2 * sigmaCells * sigmaCells)) : 1,
  );
  const sum = taps.reduce((total, tap, i) => total + (i === 0 ? tap : 2 * tap), 0);
  return taps.map((tap) => tap / sum);
}

function blurRows(data: Float32Array, { width, height, taps }: BlurOptions): Float32Array {
  const radius = taps.length - 1;
  const out = new Float32Array(data.length);
  const near = weightInside(width, taps);
  for (let y = 0; y < height; y++) {
    const from = y * width;
    for (let x = 0; x < width; x++) {
      let sum = taps[0] * data[from + x];
      if (x >= radius && x + radius < width) {
        for (let i = 1; i <= radius; i++) sum += taps[i] * (data[from + x - i] + data[from + x + i]);
        out[from + x] = sum;
        continue;
      }
      for (let i = 1; i <= radius; i++) {
        if (x >= i) sum += taps[i] * data[from + x - i];
        if (x + i < width) sum += taps[i] * data[from + x + i];
      }
      out[from + x] = sum / near[x];
    }
  }
  return out;
}

function blurColumns(data: Float32Array, { width, height, taps }: BlurOptions): Float32Array {
  const radius = taps.length - 1;
  const out = new Float32Array(data.length);
  const near = weightInside(height, taps);
  for (let y = 0; y < height; y++) {
    const at = y * width;
    for (let dy = -radius; dy <= radius; dy++) {
      if (y + dy < 0 || y + dy >= height) continue;
      const tap = taps[Math.abs(dy)] / near[y];
      const from = at + dy * width;
      for (let x = 0; x < width; x++) out[at + x] += tap * data[from + x];
    }
  }
  return out;
}

/** Sum of the weights that fall inside, for each place along a side. */
function weightInside(length: number, taps: Float64Array): Float64Array {
  return Float64Array.from({ length }, (_, x) => {
    let sum = taps[0];
    for (let i = 1; i < taps.length; i++) sum += (x >= i ? taps[i] : 0) + (x + i < length ? taps[i] : 0);
    return sum;
  });
}

export interface EyeCells {
  readonly width: number;
  readonly height: number;
  readonly cellXMm: number;
  readonly cellYMm: number;
}

/**
 * Size of a plane whose cells are as large as the eye allows: half of its blur, 0.11 mm at 300 mm, which widens
 * the blur by 1 %. Never more cells than dots.
 */
export function planEyeCells(
  dots: { readonly width: number; readonly height: number },
  { grid, ...viewing }: { readonly grid: DotGrid } & ViewingOptions,
): EyeCells {
  const cell = computeEyeBlurMm(viewing) / 2;
  const widthMm = dots.width * grid.pitchMm;
  const heightMm = dots.height * grid.lineSpacingMm;
  const width = Math.max(1, Math.min(dots.width, Math.ceil(widthMm / cell)));
  const height = Math.max(1, Math.min(dots.height, Math.ceil(heightMm / cell)));
  return { width, height, cellXMm: widthMm / width, cellYMm: heightMm / height };
}

/** CIE L* of each cell. */
export function convertToLightness(plane: Plane<'reflectance'>): Plane<'lightness'> {
  return createPlane('lightness', plane.width, plane.height, plane.data.map(lightnessOfReflectance));
}
