import type { CaptureImage, ChartLayout } from '../../src/chart/index.ts';
import type { Dots } from '../../src/plane/index.ts';

/** A camera or scanner for tests: written without the reader's geometry, so that a shared slip would show. */
export interface CameraOptions {
  readonly width: number;
  readonly height: number;
  /** Where the chart's middle lies, pixels; the picture's middle when absent. */
  readonly centre?: readonly [number, number];
  readonly pxPerMm: number;
  /** Turn of the chart, degrees clockwise in the picture. */
  readonly turnDeg?: number;
  /** Relative change of scale across the chart's half width and half height. */
  readonly tiltX?: number;
  readonly tiltY?: number;
  /** Barrel or pincushion: distance from the middle grows by k1·r², r in half diagonals. */
  readonly k1?: number;
  /** The same with r⁴. */
  readonly k2?: number;
  /**
   * Where the lens's axis meets the picture, shares of width and height: off the middle in a photo that was cropped.
   */
  readonly axis?: readonly [number, number];
  readonly mirrored?: boolean;
  /** Linear reflectance of bare, solid and of the table around the piece. */
  readonly bare: number;
  readonly solid: number;
  readonly table?: number;
  /** Bare rim of the piece around the chart, mm. */
  readonly rimMm?: number;
  /** Change of light from the left to the right edge, top to bottom, and towards the corners. */
  readonly lightX?: number;
  readonly lightY?: number;
  readonly vignetting?: number;
  /**
   * A reflection that adds light: place as a share of the picture, radius σ as a share of the width, strength linear.
   */
  readonly glare?: { readonly x: number; readonly y: number; readonly radius: number; readonly strength: number };
  /** Standard deviation of the blur, pixels. */
  readonly blurPx?: number;
  /** Standard deviation of the noise, steps of 255. */
  readonly noise?: number;
  readonly exposure?: number;
  /** Linear light to coded 0 … 1; sRGB when absent. */
  readonly encode?: (linear: number) => number;
  readonly bits?: 8 | 16;
  readonly seed?: number;
  /** Colour of the light or piece: factors of R, G, B. */
  readonly tint?: readonly [number, number, number];
  /** Reflectance of the table at a place, instead of `table`. */
  readonly tableAt?: (xMm: number, yMm: number) => number;
  /** Factor of the piece's reflectance at a place: the structure of its surface. */
  readonly grainAt?: (xMm: number, yMm: number) => number;
  /** Factor of the light at a place of the piece: shadows. */
  readonly shadeAt?: (xMm: number, yMm: number) => number;
  /** Lines within marks, one a scan line: amplitude of the share that is marked. */
  readonly lines?: number;
  /** Sideways colour of the lens: red lies so many pixels further out and blue further in at the corners. */
  readonly fringePx?: number;
  /** Noise of photons: its standard deviation at white in linear light, falling with the root of the light. */
  readonly shot?: number;
  /** Sharpening by the camera's software: share of the difference from a blur that is added to the code. */
  readonly sharpen?: { readonly radiusPx: number; readonly amount: number };
}

export interface Simulated {
  readonly capture: CaptureImage;
  /** Where a point of the chart, mm from its upper left, lies in the picture. */
  readonly place: (xMm: number, yMm: number) => readonly [number, number];
}

/** Ink at a finer grid than dots: share of each cell that is marked. */
export interface Ink {
  readonly width: number;
  readonly height: number;
  /** Cells a mm. */
  readonly perMmX: number;
  readonly perMmY: number;
  readonly data: ArrayLike<number>;
}

export function inkOf(dots: Dots, layout: ChartLayout): Ink {
  return {
    width: dots.width,
    height: dots.height,
    perMmX: 1 / layout.grid.pitchMm,
    perMmY: 1 / layout.grid.lineSpacingMm,
    data: dots.data,
  };
}

/** Dots whose marks reach `growth` dots beyond their edge, on a grid `fine` times as fine. */
export function growInk(dots: Dots, layout: ChartLayout, { growth, fine }: { growth: number; fine: number }): Ink {
  const width = dots.width * fine;
  const height = dots.height * fine;
  const data = new Uint8Array(width * height);
  const reach = Math.round(growth * fine);
  for (let y = 0; y < dots.height; y++) {
    for (let x = 0; x < dots.width; x++) {
      if (!dots.data[y * dots.width + x]) continue;
      const x0 = Math.max(0, x * fine - reach);
      const x1 = Math.min(width, (x + 1) * fine + reach);
      for (let fy = Math.max(0, y * fine - reach); fy < Math.min(height, (y + 1) * fine + reach); fy++) {
        data.fill(1, fy * width + x0, fy * width + x1);
      }
    }
  }
  return { width, height, perMmX: fine / layout.grid.pitchMm, perMmY: fine / layout.grid.lineSpacingMm, data };
}

const encodeSrgb = (linear: number) =>
  linear <= 0.0031308 ? 12.92 * Math.max(0, linear) : 1.055 * Math.min(1, linear) ** (1 / 2.4) - 0.055;

export function createNoise(seed: number): () => number {
  let state = (seed * 2654435761 + 12345) >>> 0;
  const next = () => {
    state ^= state << 13;
    state >>>= 0;
    state ^= state >>> 17;
    state ^= state << 5;
    state >>>= 0;
    return (state + 0.5) / 2 ** 32;
  };
  for (let i = 0; i < 8; i++) next();
  return next;
}

/** Sums over rectangles, exact for whole cells and linear between. */
function createAreaMean({ width, height, data }: Ink) {
  const stride = width + 1;
  const sums = new Float64Array(stride * (height + 1));
  for (let y = 0; y < height; y++) {
    let row = 0;
    for (let x = 0; x < width; x++) {
      row += data[y * width + x]!;
      sums[(y + 1) * stride + x + 1] = sums[y * stride + x + 1]! + row;
    }
  }
  const at = (px: number, py: number) => {
    const cx = Math.min(Math.max(px, 0), width);
    const cy = Math.min(Math.max(py, 0), height);
    const x = Math.min(Math.floor(cx), width - 1);
    const y = Math.min(Math.floor(cy), height - 1);
    const fx = cx - x;
    const fy = cy - y;
    const i = y * stride + x;
    return (
      (sums[i]! * (1 - fx) + sums[i + 1]! * fx) * (1 - fy) +
      (sums[i + stride]! * (1 - fx) + sums[i + stride + 1]! * fx) * fy
    );
  };
  return (x0: number, y0: number, x1: number, y1: number) =>
    (at(x1, y1) - at(x0, y1) - at(x1, y0) + at(x0, y0)) / ((x1 - x0) * (y1 - y0));
}

type Geometry = Pick<
  CameraOptions,
  'width' | 'height' | 'centre' | 'pxPerMm' | 'turnDeg' | 'tiltX' | 'tiltY' | 'k1' | 'k2' | 'axis' | 'mirrored'
>;

/**
 * Where the camera puts points of the chart, and back: the place on the chart and how many times smaller than in the
 * middle it looks.
 */
export function createGeometry(layout: ChartLayout, options: Geometry) {
  const { width, height, pxPerMm, turnDeg = 0, tiltX = 0, tiltY = 0 } = options;
  const { k1 = 0, k2 = 0, axis = [0.5, 0.5], mirrored = false } = options;
  const [cx, cy] = options.centre ?? [width / 2, height / 2];
  const cos = Math.cos((turnDeg * Math.PI) / 180);
  const sin = Math.sin((turnDeg * Math.PI) / 180);
  const halfX = layout.widthMm / 2;
  const halfY = layout.heightMm / 2;
  const halfDiagonal = Math.hypot(width, height) / 2;
  const [ax, ay] = [axis[0] * width, axis[1] * height];
  const stretchAt = (ux: number, uy: number) => {
    const r2 = ux * ux + uy * uy;
    return 1 + k1 * r2 + k2 * r2 * r2;
  };

  const place = (xMm: number, yMm: number): readonly [number, number] => {
    const x = (mirrored ? -1 : 1) * (xMm - halfX);
    const y = yMm - halfY;
    const depth = 1 + tiltX * (x / halfX) + tiltY * (y / halfY);
    const ux = (cx - ax + (pxPerMm * (x * cos - y * sin)) / depth) / halfDiagonal;
    const uy = (cy - ay + (pxPerMm * (x * sin + y * cos)) / depth) / halfDiagonal;
    const stretch = stretchAt(ux, uy) * halfDiagonal;
    return [ax + ux * stretch, ay + uy * stretch];
  };
  /** Into an array that is used again, since pictures have a million pixels. */
  const unplaceTo = (back: Float64Array, px: number, py: number): void => {
    const qx = (px - ax) / halfDiagonal;
    const qy = (py - ay) / halfDiagonal;
    let ux = qx;
    let uy = qy;
    for (let i = 0; (k1 !== 0 || k2 !== 0) && i < 8; i++) {
      const stretch = stretchAt(ux, uy);
      ux = qx / stretch;
      uy = qy / stretch;
    }
    const a = (ux * halfDiagonal - (cx - ax)) / pxPerMm;
    const b = (uy * halfDiagonal - (cy - ay)) / pxPerMm;
    const rx = a * cos + b * sin;
    const ry = -a * sin + b * cos;
    // rx = x / depth, ry = y / depth with depth linear in x and y.
    const depth = 1 / (1 - tiltX * (rx / halfX) - tiltY * (ry / halfY));
    back[0] = (mirrored ? -1 : 1) * rx * depth + halfX;
    back[1] = ry * depth + halfY;
    back[2] = depth;
  };
  const unplace = (px: number, py: number): readonly [number, number, number] => {
    const back = new Float64Array(3);
    unplaceTo(back, px, py);
    return [back[0]!, back[1]!, back[2]!];
  };
  return { place, unplace, unplaceTo };
}

export function simulateCapture(ink: Ink, layout: ChartLayout, options: CameraOptions): Simulated {
  const { width, height, pxPerMm, bare, solid, table = 0.05, rimMm = 4 } = options;
  const { lightX = 0, lightY = 0, vignetting = 0, blurPx = 0, noise = 0, exposure = 1, bits = 8, seed = 1 } = options;
  const { glare, tint = [1, 1, 1], encode = encodeSrgb } = options;
  const { tableAt, grainAt, shadeAt, lines = 0, fringePx = 0, shot = 0, sharpen } = options;
  const { place, unplaceTo } = createGeometry(layout, options);
  const halfDiagonal = Math.hypot(width, height) / 2;
  const back = new Float64Array(3);
  const mean = createAreaMean(ink);
  const light = new Float64Array(width * height);
  for (let y = 0; y < height; y++) {
    for (let x = 0; x < width; x++) {
      unplaceTo(back, x + 0.5, y + 0.5);
      const xMm = back[0]!;
      const yMm = back[1]!;
      const half = (back[2]! / pxPerMm) * 0.5;
      const onPiece = xMm > -rimMm && yMm > -rimMm && xMm < layout.widthMm + rimMm && yMm < layout.heightMm + rimMm;
      let reflectance = onPiece ? bare : tableAt ? tableAt(xMm, yMm) : table;
      if (onPiece) {
        if (xMm > 0 && yMm > 0 && xMm < layout.widthMm && yMm < layout.heightMm) {
          const { perMmX, perMmY } = ink;
          const share = mean(
            (xMm - half) * perMmX,
            (yMm - half) * perMmY,
            (xMm + half) * perMmX,
            (yMm + half) * perMmY,
          );
          const phase = (2 * Math.PI * yMm) / layout.grid.lineSpacingMm;
          // A pixel sees the mean over its own height; what is left of finer lines shows as moiré.
          const height = (2 * half) / layout.grid.lineSpacingMm;
          const left = lines > 0 ? Math.sin(Math.PI * height) / (Math.PI * height) : 0;
          const seen = share * (1 + lines * (left * Math.cos(phase) - 1));
          reflectance = bare + (solid - bare) * seen;
        }
        if (grainAt) reflectance *= grainAt(xMm, yMm);
      }
      const nx = (x + 0.5) / width - 0.5;
      const ny = (y + 0.5) / height - 0.5;
      const falloff = (1 + lightX * nx + lightY * ny) * (1 - vignetting * (nx * nx + ny * ny) * 2);
      let value = reflectance * falloff * exposure * (onPiece && shadeAt ? shadeAt(xMm, yMm) : 1);
      if (glare) {
        const r2 = ((x + 0.5 - glare.x * width) ** 2 + (y + 0.5 - glare.y * height) ** 2) / (glare.radius * width) ** 2;
        value += glare.strength * Math.exp(-r2 / 2);
      }
      light[y * width + x] = value;
    }
  }
  const blurred = blurPx > 0 ? blurGauss(light, width, height, blurPx) : light;
  const random = createNoise(seed);
  const normal = createNormal(seed);
  const codeOf = tabulate(encode);
  const max = bits === 16 ? 65535 : 255;
  const rgb = bits === 16 ? new Uint16Array(width * height * 3) : new Uint8Array(width * height * 3);
  const draw = () => normal[Math.floor(random() * normal.length)]!;
  for (let c = 0; c < 3; c++) {
    const fringed = fringePx > 0 && c !== 1;
    const seen = fringed
      ? scalePicture(blurred, { width, height, by: 1 + ((c === 0 ? 1 : -1) * fringePx) / halfDiagonal })
      : blurred;
    // A loop: Float64Array.from goes through an iterator, which took most of a capture's time.
    const coded = new Float64Array(seen.length);
    for (let i = 0; i < coded.length; i++) {
      const lit = seen[i]! * tint[c]!;
      coded[i] = codeOf(shot > 0 ? lit + shot * Math.sqrt(Math.max(0, lit)) * draw() : lit);
    }
    const soft = sharpen ? blurGauss(coded, width, height, sharpen.radiusPx) : coded;
    for (let i = 0; i < width * height; i++) {
      const grain = noise > 0 ? (noise / 255) * draw() : 0;
      const sharp = coded[i]! + (sharpen ? sharpen.amount * (coded[i]! - soft[i]!) : 0) + grain;
      rgb[i * 3 + c] = Math.round(Math.min(1, Math.max(0, sharp)) * max);
    }
  }
  return { capture: { width, height, rgb, bits }, place };
}

/** A picture larger or smaller by a factor about its middle, bilinear; the edge repeats. */
function scalePicture(
  data: Float64Array,
  { width, height, by }: { readonly width: number; readonly height: number; readonly by: number },
): Float64Array {
  const out = new Float64Array(width * height);
  for (let y = 0; y < height; y++) {
    const sy = Math.min(height - 1.001, Math.max(0, height / 2 + (y + 0.5 - height / 2) / by - 0.5));
    const top = Math.floor(sy);
    const v = sy - top;
    for (let x = 0; x < width; x++) {
      const sx = Math.min(width - 1.001, Math.max(0, width / 2 + (x + 0.5 - width / 2) / by - 0.5));
      const left = Math.floor(sx);
      const u = sx - left;
      const at = top * width + left;
      out[y * width + x] =
        (data[at]! * (1 - u) + data[at + 1]! * u) * (1 - v) +
        (data[at + width]! * (1 - u) + data[at + width + 1]! * u) * v;
    }
  }
  return out;
}

/** Normal deviates to draw from. */
function createNormal(seed: number): Float64Array {
  const random = createNoise(seed + 77);
  return Float64Array.from(
    { length: 1 << 14 },
    () => Math.sqrt(-2 * Math.log(random())) * Math.cos(2 * Math.PI * random()),
  );
}

/** A curve by table, linear between entries that lie denser in the shadows. */
function tabulate(encode: (linear: number) => number): (linear: number) => number {
  const size = 1 << 12;
  const table = Float64Array.from({ length: size + 2 }, (_, i) => encode((i / size) ** 2));
  return (linear) => {
    const at = Math.sqrt(Math.min(1, Math.max(0, linear))) * size;
    const low = Math.floor(at);
    return table[low]! + (at - low) * (table[low + 1]! - table[low]!);
  };
}

function blurGauss(data: Float64Array, width: number, height: number, sigma: number): Float64Array {
  const reach = Math.ceil(3 * sigma);
  const taps = Array.from({ length: 2 * reach + 1 }, (_, i) => Math.exp(-((i - reach) ** 2) / (2 * sigma * sigma)));
  const total = taps.reduce((sum, tap) => sum + tap, 0);
  const rows = new Float64Array(width * height);
  const out = new Float64Array(width * height);
  const padded = new Float64Array(width + 2 * reach);
  for (let y = 0; y < height; y++) {
    padded.set(data.subarray(y * width, (y + 1) * width), reach);
    padded.fill(padded[reach]!, 0, reach);
    padded.fill(padded[reach + width - 1]!, reach + width);
    for (let x = 0; x < width; x++) {
      let sum = 0;
      for (let k = 0; k < taps.length; k++) sum += taps[k]! * padded[x + k]!;
      rows[y * width + x] = sum / total;
    }
  }
  for (let k = -reach; k <= reach; k++) {
    for (let y = 0; y < height; y++) {
      const from = Math.min(height - 1, Math.max(0, y + k)) * width;
      const tap = taps[k + reach]! / total;
      for (let x = 0; x < width; x++) out[y * width + x]! += tap * rows[from + x]!;
    }
  }
  return out;
}
