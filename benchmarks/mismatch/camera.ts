// A second camera, on purpose unlike those of src/simulation and benchmarks/common: it looks through a colour mosaic
// and what a phone makes of it. Light first, then the lens, the sensor and the camera's software, in the sequence of
// the real thing.
import { createOtherRandom } from './engraver.ts';
import type { Lens } from './lens.ts';
import type { Rgb, Thing } from './table.ts';

export interface PhoneOptions {
  readonly width: number;
  readonly height: number;
  readonly seed: number;
  /** Colour of the light, and the share of it that white balance takes away. */
  readonly light: Rgb;
  readonly balanced: number;
  /** Place of a lamp over the table, mm, and its height: light falls off with the square of the distance. */
  readonly lamp: readonly [xMm: number, yMm: number, heightMm: number];
  /** Share of the light that comes from everywhere. */
  readonly ambient: number;
  /**
   * A window mirrored in a glossy part: its middle and half sides, mm, the light it adds, and the softness of its edge.
   */
  readonly window?: {
    readonly at: readonly [number, number];
    readonly half: readonly [number, number];
    readonly adds: number;
  };
  /** Exponent of the cosine by which light falls towards the corners; 4 by nature. */
  readonly falloff: number;
  readonly focalPx: number;
  /** Radius of the disc of defocus and length and direction of the shake, pixels and degrees. */
  readonly discPx: number;
  readonly shakePx: number;
  readonly shakeDeg: number;
  /** Spread of red and blue against green at the edge of the picture, pixels. */
  readonly lateralPx: number;
  /** Electrons of a full pixel, and of the noise of reading. */
  readonly wellElectrons: number;
  readonly readElectrons: number;
  /** Exponent of the light's smooth part: 1 leaves it, less lifts shadows locally as phones do. */
  readonly localTone: number;
  /** Contrast of an S-curve over sRGB: 1 is sRGB alone. */
  readonly contrast: number;
  /** Radius of smoothing by the noise filter: of colour, and of what differs little in light, pixels. */
  readonly smearPx: number;
  readonly sharpenPx: number;
  readonly sharpenAmount: number;
}

/** One plane of linear light for each colour. */
type Planes = readonly [Float32Array, Float32Array, Float32Array];

/** Coded sRGB as the camera stores it, R G B. */
export interface Shot {
  readonly width: number;
  readonly height: number;
  readonly rgb: Uint8Array;
}

/** Two rays a pixel, on a diagonal; defocus averages over more. */
const RAYS = [
  [0.25, 0.3],
  [0.75, 0.7],
] as const;

function expose(things: readonly Thing[], lens: Lens, options: PhoneOptions): Planes {
  const { width, height, light, lamp, ambient, window, falloff, focalPx, lateralPx } = options;
  const planes: Planes = [0, 1, 2].map(() => new Float32Array(width * height)) as unknown as Planes;
  const place = new Float64Array(2);
  const seen = new Float64Array(3);
  const edge = Math.hypot(width, height) / 2;
  const channels = lateralPx === 0 ? [[0, 1, 2]] : [[0], [1], [2]];
  for (const together of channels) {
    const outwards = together.length > 1 ? 0 : together[0]! - 1;
    const spread = 1 + (outwards * lateralPx) / edge;
    for (let y = 0; y < height; y++) {
      for (let x = 0; x < width; x++) {
        const angle2 = ((x - width / 2) ** 2 + (y - height / 2) ** 2) / focalPx ** 2;
        const natural = (1 + angle2) ** (-falloff / 2);
        for (let ray = 0; ray < RAYS.length; ray++) {
          lens.toTable(x + RAYS[ray]![0], y + RAYS[ray]![1], spread, place);
          const xMm = place[0]!;
          const yMm = place[1]!;
          for (let i = 0; i < things.length; i++) if (things[i]!(xMm, yMm, seen)) break;
          const away = (xMm - lamp[0]) ** 2 + (yMm - lamp[1]) ** 2;
          const lit = natural * (ambient + (1 - ambient) * (1 + away / lamp[2] ** 2) ** -1.5);
          const mirrored = window ? natural * mirrorWindow(window, xMm, yMm) : 0;
          for (let i = 0; i < together.length; i++) {
            const k = together[i]!;
            planes[k]![y * width + x]! += light[k]! * (lit * seen[k]! + mirrored) * (1 / RAYS.length);
          }
        }
      }
    }
  }
  return planes;
}

/** Light that a window adds: soft at its rim, with a bar in its middle. */
function mirrorWindow({ at, half, adds }: NonNullable<PhoneOptions['window']>, xMm: number, yMm: number): number {
  const wx = (half[0] - Math.abs(xMm - at[0])) / 1.5;
  const wy = (half[1] - Math.abs(yMm - at[1])) / 1.5;
  const bar = Math.abs(xMm - at[0]) < 1 ? 0.4 : 1;
  return (adds * bar) / ((1 + Math.exp(-wx)) * (1 + Math.exp(-wy)));
}

/** Weighted sum of shifted copies; shifts are whole pixels. */
function gather(
  plane: Float32Array,
  width: number,
  taps: readonly (readonly [number, number, number])[],
): Float32Array {
  const height = plane.length / width;
  const out = new Float32Array(plane.length);
  for (const [dx, dy, weight] of taps) {
    for (let y = 0; y < height; y++) {
      const from = Math.min(height - 1, Math.max(0, y + dy)) * width;
      const row = y * width;
      const first = Math.max(0, -dx);
      const last = Math.min(width, width - dx);
      for (let x = 0; x < first; x++) out[row + x] += weight * plane[from];
      for (let x = first; x < last; x++) out[row + x] += weight * plane[from + x + dx];
      for (let x = last; x < width; x++) out[row + x] += weight * plane[from + width - 1];
    }
  }
  return out;
}

/** Shares of whole pixels under a disc moved along a line. */
function tapsOf({ discPx, shakePx, shakeDeg }: PhoneOptions): readonly (readonly [number, number, number])[] {
  const sums = new Map<string, number>();
  const direction = (shakeDeg * Math.PI) / 180;
  const radius = Math.max(discPx, 0.3);
  const fine = 8;
  const reach = Math.ceil(radius * fine);
  for (let step = 0; step < 9; step++) {
    const along = shakePx * (step / 8 - 0.5);
    for (let j = -reach; j <= reach; j++) {
      for (let i = -reach; i <= reach; i++) {
        if (i * i + j * j > (radius * fine) ** 2) continue;
        const x = Math.round(i / fine + along * Math.cos(direction));
        const y = Math.round(j / fine + along * Math.sin(direction));
        sums.set(`${x},${y}`, (sums.get(`${x},${y}`) ?? 0) + 1);
      }
    }
  }
  const total = [...sums.values()].reduce((sum, one) => sum + one, 0);
  return [...sums].map(([key, count]) => {
    const [x, y] = key.split(',').map(Number);
    return [x!, y!, count / total] as const;
  });
}

/**
 * What the sensor counts behind a mosaic of red, green, green, blue, 1 at the top of its scale, and the colours guessed
 * between.
 */
function sense(planes: Planes, options: PhoneOptions): Planes {
  const { width, height, light, balanced, wellElectrons, readElectrons, seed } = options;
  const random = createOtherRandom(seed);
  const normal = Float32Array.from(
    { length: 1 << 15 },
    () => Math.sqrt(-2 * Math.log(1 - random())) * Math.cos(2 * Math.PI * random()),
  );
  const colourAt = (x: number, y: number) => (y % 2 === 0 ? (x % 2 === 0 ? 0 : 1) : x % 2 === 0 ? 1 : 2);
  const gains = light.map((part) => (light[1] / part) ** balanced);
  // The 99.7th percentile of the strongest colour comes to lie at 0.85: a careful automatic exposure.
  const tops = planes.map((plane, k) => {
    const sorted = plane.filter((_, at) => at % 61 === 0).sort();
    return sorted[Math.floor(0.997 * sorted.length)]! * Math.max(1, gains[k]!);
  });
  const exposure = 0.85 / Math.max(1e-3, ...tops);
  const raw = new Float32Array(width * height);
  for (let y = 0; y < height; y++) {
    for (let x = 0; x < width; x++) {
      const at = y * width + x;
      const channel = colourAt(x, y);
      const electrons = planes[channel]![at]! * exposure * wellElectrons;
      const noise =
        Math.sqrt(Math.max(0, electrons) + readElectrons ** 2) * normal[Math.floor(random() * normal.length)]!;
      const counted = Math.round(((electrons + noise) / wellElectrons) * 4095) / 4095;
      raw[at] = Math.min(1, counted) * gains[channel]!;
    }
  }
  const out: Planes = [0, 1, 2].map(() => new Float32Array(width * height)) as unknown as Planes;
  const rawAt = (x: number, y: number) =>
    raw[Math.min(height - 1, Math.max(0, y)) * width + Math.min(width - 1, Math.max(0, x))]!;
  // Green along the direction in which it changes less, red and blue by their difference from green.
  for (let y = 0; y < height; y++) {
    for (let x = 0; x < width; x++) {
      const at = y * width + x;
      if (colourAt(x, y) === 1) {
        out[1][at] = raw[at]!;
        continue;
      }
      const across =
        Math.abs(rawAt(x - 1, y) - rawAt(x + 1, y)) + Math.abs(2 * raw[at]! - rawAt(x - 2, y) - rawAt(x + 2, y));
      const down =
        Math.abs(rawAt(x, y - 1) - rawAt(x, y + 1)) + Math.abs(2 * raw[at]! - rawAt(x, y - 2) - rawAt(x, y + 2));
      const level = (rawAt(x - 1, y) + rawAt(x + 1, y)) / 2;
      const upright = (rawAt(x, y - 1) + rawAt(x, y + 1)) / 2;
      out[1][at] = across < down ? level : down < across ? upright : (level + upright) / 2;
    }
  }
  for (const channel of [0, 2] as const) {
    for (let y = 0; y < height; y++) {
      for (let x = 0; x < width; x++) {
        let sum = 0;
        let count = 0;
        for (let dy = -1; dy <= 1; dy++) {
          for (let dx = -1; dx <= 1; dx++) {
            const nx = Math.min(width - 1, Math.max(0, x + dx));
            const ny = Math.min(height - 1, Math.max(0, y + dy));
            if (colourAt(nx, ny) !== channel) continue;
            const own = dx === 0 && dy === 0 ? 8 : 1;
            sum += own * (raw[ny * width + nx]! - out[1][ny * width + nx]!);
            count += own;
          }
        }
        out[channel][y * width + x] = Math.max(0, out[1][y * width + x]! + sum / count);
      }
    }
  }
  return out;
}

/** Mean over squares of the given radius. */
function boxMean(plane: Float32Array, width: number, radius: number): Float32Array {
  const height = plane.length / width;
  let from = plane;
  for (const [step, length, lines, next] of [
    [1, width, height, width],
    [width, height, width, 1],
  ] as const) {
    const to = new Float32Array(plane.length);
    for (let line = 0; line < lines; line++) {
      const start = line * next;
      let sum = 0;
      const at = (i: number) => from[start + Math.min(length - 1, Math.max(0, i)) * step]!;
      for (let i = -radius; i <= radius; i++) sum += at(i);
      for (let i = 0; i < length; i++) {
        to[start + i * step] = sum / (2 * radius + 1);
        sum += at(i + radius + 1) - at(i - radius);
      }
    }
    from = to;
  }
  return from;
}

/** Colour made smooth, and light where it differs little from what is around it. */
function smear(planes: Planes, { width, smearPx }: PhoneOptions): Planes {
  const light = lightOf(planes);
  const soft = boxMean(light, width, smearPx);
  const threshold = 0.012;
  const calm = light.map((value, at) => {
    const off = value - soft[at]!;
    const limit = threshold + 0.04 * soft[at]!;
    return soft[at]! + off * Math.min(1, (off / limit) ** 2);
  });
  return planes.map((plane) => {
    const colour = boxMean(
      plane.map((value, at) => value - light[at]!),
      width,
      2 * smearPx,
    );
    return calm.map((value, at) => Math.max(0, value + colour[at]!));
  }) as unknown as Planes;
}

const lightOf = ([r, g, b]: Planes) => r.map((red, at) => 0.2126 * red + 0.7152 * g[at]! + 0.0722 * b[at]!);

/** Compresses the smooth part of the light, as phones do for scenes of much contrast. */
function evenOut(planes: Planes, { width, localTone }: PhoneOptions): void {
  const logs = lightOf(planes).map((value) => Math.log(Math.max(0.002, value)));
  const radius = Math.round(width / 14);
  const base = boxMean(boxMean(logs, width, radius), width, radius);
  const middle = base.reduce((sum, value) => sum + value, 0) / base.length;
  const gains = base.map((value) => Math.exp((localTone - 1) * (value - middle)));
  for (const plane of planes) for (let at = 0; at < plane.length; at++) plane[at]! *= gains[at]!;
}

/** The camera's tone by table, whose steps are finer in the dark. */
function tabulateTone(contrast: number): (linear: number) => number {
  const steps = 8192;
  const table = Float32Array.from({ length: steps + 1 }, (_, at) => encodeTone((at / steps) ** 2, contrast));
  return (linear) => table[Math.round(steps * Math.sqrt(Math.min(1, Math.max(0, linear))))]!;
}

function encodeTone(linear: number, contrast: number): number {
  const value = Math.min(1, Math.max(0, linear));
  const coded = value <= 0.0031308 ? 12.92 * value : 1.055 * value ** (1 / 2.4) - 0.055;
  if (contrast === 1) return coded;
  // An S through 0, the middle and 1.
  const half = coded < 0.5 ? coded : 1 - coded;
  const bent = 0.5 * (2 * half) ** contrast;
  return coded < 0.5 ? bent : 1 - bent;
}

/** Takes a picture of things on a table, the uppermost first. */
export function takeShot(things: readonly Thing[], lens: Lens, options: PhoneOptions): Shot {
  const { width, height, contrast, sharpenPx, sharpenAmount } = options;
  const taps = tapsOf(options);
  const seen = expose(things, lens, options).map((plane) => gather(plane, width, taps)) as unknown as Planes;
  let planes = sense(seen, options);
  if (options.smearPx > 0) planes = smear(planes, options);
  if (options.localTone !== 1) evenOut(planes, options);
  const tone = tabulateTone(contrast);
  const coded = planes.map((plane) => plane.map(tone)) as unknown as Planes;
  const light = lightOf(coded);
  const soft = sharpenAmount > 0 ? boxMean(boxMean(light, width, sharpenPx), width, sharpenPx) : light;
  const rgb = new Uint8Array(width * height * 3);
  for (let at = 0; at < light.length; at++) {
    const added = sharpenAmount * (light[at]! - soft[at]!);
    for (let k = 0; k < 3; k++) rgb[3 * at + k] = Math.round(255 * Math.min(1, Math.max(0, coded[k]![at]! + added)));
  }
  return { width, height, rgb };
}

export interface ScannerOptions {
  readonly width: number;
  readonly height: number;
  readonly seed: number;
  /** Way by which the rows of red and blue lie off those of green, pixels. */
  readonly offPx: number;
  /** Share of light that the lamp lacks at the end of its tube. */
  readonly tiredShare: number;
  readonly noise: number;
}

/**
 * Linear light 0 … 1 of R G B under the bar of a flatbed scanner: even but for the lamp's end, rows of colours slightly
 * off one another.
 */
export function scanTable(things: readonly Thing[], lens: Lens, options: ScannerOptions): Float32Array {
  const { width, height, seed, offPx, tiredShare, noise } = options;
  const random = createOtherRandom(seed);
  const place = new Float64Array(2);
  const seen = new Float64Array(3);
  const out = new Float32Array(width * height * 3);
  for (let y = 0; y < height; y++) {
    for (let x = 0; x < width; x++) {
      const lamp = 1 - tiredShare * (x / width) ** 3;
      for (let channel = 0; channel < 3; channel++) {
        const rows = (channel - 1) * offPx;
        for (let ray = 0; ray < RAYS.length; ray++) {
          // Each ray falls somewhere within 0.6 pixels of its place: the softness of a scanner's optics.
          const [rx, ry] = [RAYS[ray]![0] + 1.2 * (random() - 0.5), RAYS[ray]![1] + 1.2 * (random() - 0.5)];
          lens.toTable(x + rx, y + ry + rows, 1, place);
          for (let i = 0; i < things.length; i++) if (things[i]!(place[0]!, place[1]!, seen)) break;
          const at = 3 * (y * width + x);
          out[at + channel]! += (lamp * seen[channel]!) / RAYS.length;
        }
      }
    }
  }
  for (let at = 0; at < out.length; at++) out[at]! += noise * (random() + random() + random() - 1.5);
  return out;
}
