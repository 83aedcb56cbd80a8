import { decodeSrgb } from '../colour/index.ts';
import { tabulate } from '../numeric/index.ts';
import type { CaptureImage } from './types.ts';

/** Grey values 0 … 255 of a picture, coded as in the file: enough to find edges, not to measure light. */
export interface GreyPlane {
  readonly width: number;
  readonly height: number;
  readonly data: Float32Array;
}

/**
 * Weights of R, G, B: luminance of linear light by ITU-R BT.709 (source: 'itu709', item 3.2), used on coded values.
 * Published.
 */
const RED = 0.2126;
const GREEN = 0.7152;
const BLUE = 0.0722;

/** Grey plane of a capture, made smaller by a whole factor: each pixel the mean of factor × factor ones. */
export function shrinkToGrey(capture: CaptureImage, factor: number): GreyPlane {
  const { rgb, bits } = capture;
  const width = Math.floor(capture.width / factor);
  const height = Math.floor(capture.height / factor);
  const data = new Float32Array(width * height);
  const scale = (bits === 16 ? 255 / 65535 : 1) / factor ** 2;
  const stride = capture.width * 3;
  for (let y = 0; y < height; y++) {
    for (let dy = 0; dy < factor; dy++) {
      let from = (y * factor + dy) * stride;
      for (let x = 0; x < width; x++) {
        let sum = 0;
        for (let dx = 0; dx < factor; dx++, from += 3) {
          sum += RED * rgb[from] + GREEN * rgb[from + 1] + BLUE * rgb[from + 2];
        }
        data[y * width + x] += sum;
      }
    }
    for (let x = 0; x < width; x++) data[y * width + x] *= scale;
  }
  return { width, height, data };
}

/** Reads grey 0 … 255 between pixels, bilinear, pixel centres at +0.5; NaN outside. */
export type GreySampler = (x: number, y: number) => number;

export function sampleGrey({ width, height, data }: GreyPlane): GreySampler {
  return (px, py) => {
    const x = Math.floor(px - 0.5);
    const y = Math.floor(py - 0.5);
    if (!(x >= 0 && y >= 0 && x < width - 1 && y < height - 1)) return Number.NaN;
    const fx = px - 0.5 - x;
    const fy = py - 0.5 - y;
    const at = y * width + x;
    return (
      (data[at] * (1 - fx) + data[at + 1] * fx) * (1 - fy) +
      (data[at + width] * (1 - fx) + data[at + width + 1] * fx) * fy
    );
  };
}

/** The same straight from a capture, so that a full grey plane need not be made for a few thousand samples. */
export function sampleCapture({ width, height, rgb, bits }: CaptureImage): GreySampler {
  const scale = bits === 16 ? 255 / 65535 : 1;
  const grey = (at: number) => RED * rgb[at] + GREEN * rgb[at + 1] + BLUE * rgb[at + 2];
  return (px, py) => {
    const x = Math.floor(px - 0.5);
    const y = Math.floor(py - 0.5);
    if (!(x >= 0 && y >= 0 && x < width - 1 && y < height - 1)) return Number.NaN;
    const fx = px - 0.5 - x;
    const fy = py - 0.5 - y;
    const at = (y * width + x) * 3;
    const below = at + width * 3;
    return (
      scale *
      ((grey(at) * (1 - fx) + grey(at + 3) * fx) * (1 - fy) + (grey(below) * (1 - fx) + grey(below + 3) * fx) * fy)
    );
  };
}

/** Entries of the table from code to light, one a quarter of a step of 8 bits. A count. Exact: 4 · 255. */
const LIGHT_STEPS = 1020;
const LIGHT: Float32Array = /* @__PURE__ */ tabulate(
  new Float32Array(LIGHT_STEPS + 2),
  (i) => 255 * decodeSrgb(Math.min(1, i / LIGHT_STEPS)),
);

/**
 * The same in linear light, 0 … 255. Blur mixes light and not codes: halfway between ink and bare lies the edge of a
 * cell in light, but not in codes, where faint cells of light ink would fill up.
 */
export function sampleLight(sample: GreySampler): GreySampler {
  return (x, y) => {
    const code = sample(x, y);
    if (Number.isNaN(code)) return code;
    const at = Math.max(0, Math.min(LIGHT_STEPS, code * (LIGHT_STEPS / 255)));
    const low = Math.floor(at);
    return LIGHT[low] + (at - low) * (LIGHT[low + 1] - LIGHT[low]);
  };
}

/** Box blur of radius `radius` in both directions, edges by the mean of what lies inside, into `out`. */
export function blurBox(
  plane: GreyPlane,
  radius: number,
  { scratch, out }: { readonly scratch: Float32Array; readonly out: Float32Array },
): void {
  const { width, height, data } = plane;
  for (let y = 0; y < height; y++) {
    const row = y * width;
    let sum = 0;
    let count = 0;
    for (let x = 0; x < Math.min(radius, width); x++) {
      sum += data[row + x];
      count++;
    }
    for (let x = 0; x < width; x++) {
      if (x + radius < width) {
        sum += data[row + x + radius];
        count++;
      }
      if (x - radius > 0) {
        sum -= data[row + x - radius - 1];
        count--;
      }
      scratch[row + x] = sum / count;
    }
  }
  // Columns are summed a whole row at a time, in the order in which memory lies.
  const sums = new Float64Array(width);
  let count = 0;
  for (let y = 0; y < Math.min(radius, height); y++) {
    for (let x = 0; x < width; x++) sums[x] += scratch[y * width + x];
    count++;
  }
  for (let y = 0; y < height; y++) {
    if (y + radius < height) {
      const ahead = (y + radius) * width;
      for (let x = 0; x < width; x++) sums[x] += scratch[ahead + x];
      count++;
    }
    if (y - radius > 0) {
      const behind = (y - radius - 1) * width;
      for (let x = 0; x < width; x++) sums[x] -= scratch[behind + x];
      count--;
    }
    for (let x = 0; x < width; x++) out[y * width + x] = sums[x] / count;
  }
}
