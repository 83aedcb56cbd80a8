import type {
  CameraOptions,
  FlatbedOptions,
  PaperOptions,
  PhoneOptions,
  SensorOptions,
  ToneCurveOptions,
} from './cameras.ts';
import { fillNormal, hash32, normalAt } from './chance.ts';
import { encodeSrgb, labToLinear } from './colour.ts';
import {
  applyHomography,
  type CaptureGeometry,
  composeHomographies,
  type Homography,
  invertHomography,
  type Point,
} from './geometry.ts';
import { gaussianTaps } from './light-scatter.ts';
import { startFastBlur, startPlainBlur } from './row-blur.ts';
import type { Surface } from './surface.ts';

/** A scan or photo: sRGB-sized code values, interleaved RGB, and the truth of where every place landed. */
export interface Capture {
  readonly width: number;
  readonly height: number;
  readonly rgb: Uint8Array;
  readonly geometry: CaptureGeometry;
}

export type Seeded<T> = T & { readonly seed: number };

/** Takes a picture of a piece with any of the virtual cameras. */
export function captureSurface(surface: Surface, camera: Seeded<CameraOptions>): Capture {
  return camera.kind === 'flatbed' ? captureFlatbed(surface, camera) : capturePhone(surface, camera);
}

/**
 * Scans a piece: exact scale, any rotation, a lamp that falls off to the sides.
 * @throws RangeError when the resolution or the margin is not above 0
 */
function captureFlatbed(surface: Surface, options: Seeded<FlatbedOptions>): Capture {
  const { dpi, rotationDeg, marginMm, unevenness } = options;
  if (!(dpi > 0 && marginMm >= 0)) throw new RangeError(`a scan needs dpi above 0, got ${dpi}, margin ${marginMm}`);
  const scale = dpi / 25.4;
  const turned = turn(rotationDeg);
  const { least, most } = boundsOf(
    framedCorners(surface, options.paper).map((corner) => applyHomography(turned, corner)),
  );
  const width = Math.ceil((most[0] - least[0] + 2 * marginMm) * scale);
  const height = Math.ceil((most[1] - least[1] + 2 * marginMm) * scale);
  const place: Homography = [
    scale,
    0,
    width / 2 - (scale * (least[0] + most[0])) / 2,
    0,
    scale,
    height / 2 - (scale * (least[1] + most[1])) / 2,
    0,
    0,
    1,
  ];
  const geometry: CaptureGeometry = { width, height, toPixels: composeHomographies(place, turned), k1: 0 };
  return expose(
    surface,
    geometry,
    options,
    (x) => 1 - unevenness * (2 * x - 1) ** 2,
    () => 0,
  );
}

/**
 * Photographs a piece with a pinhole camera of the given angle of view, turned and tilted against the piece and moved
 * so that the piece fills its share of the picture (4 : 3).
 * @throws RangeError when the picture has no pixels or the tilt lets the piece pass behind the camera
 */
function capturePhone(surface: Surface, options: Seeded<PhoneOptions>): Capture {
  const { megapixels, fill, viewDeg } = options;
  if (!(megapixels > 0 && fill > 0)) throw new RangeError('a photo needs megapixels and fill above 0');
  const height = Math.max(1, Math.round(Math.sqrt((megapixels * 1e6 * 3) / 4)));
  const width = Math.max(1, Math.round((height * 4) / 3));
  const focalPx = width / 2 / Math.tan((viewDeg * Math.PI) / 360);
  const corners = framedCorners(surface, options.paper);
  const sizeAt = (distanceMm: number) => {
    const view = lookAt(surface, options, focalPx, distanceMm);
    const bounds = boundsOf(corners.map((corner) => applyHomography(view, corner)));
    const share = Math.max((bounds.most[0] - bounds.least[0]) / width, (bounds.most[1] - bounds.least[1]) / height);
    return { view, bounds, share };
  };
  // The nearest distance at which the whole piece is before the camera, and one that is surely too far: halve between.
  let near = 0.51 * Math.hypot(surface.widthMm, surface.heightMm);
  let far = 1000 * near;
  for (let i = 0; i < 80; i++) {
    const middle = Math.sqrt(near * far);
    if (sizeAt(middle).share > fill) near = middle;
    else far = middle;
  }
  const { view, bounds } = sizeAt(far);
  const centre: Homography = [
    1,
    0,
    width / 2 - (bounds.least[0] + bounds.most[0]) / 2,
    0,
    1,
    height / 2 - (bounds.least[1] + bounds.most[1]) / 2,
    0,
    0,
    1,
  ];
  const geometry: CaptureGeometry = { width, height, toPixels: composeHomographies(centre, view), k1: options.k1 };
  const light = (x: number, y: number) => {
    const [u, v] = [2 * x - 1, 2 * y - 1];
    const gradient = 1 + options.lightGradientX * u + options.lightGradientY * v;
    return Math.max(0, gradient) * (1 - (options.vignetting * (u * u + v * v)) / 2);
  };
  const sigmaMm = options.glareSigma * surface.widthMm;
  const glare = (xMm: number, yMm: number) => {
    const dx = xMm - surface.leftMm - options.glareX * surface.widthMm;
    const dy = yMm - surface.topMm - options.glareY * surface.heightMm;
    return options.glareStrength * Math.exp(-(dx * dx + dy * dy) / (2 * sigmaMm * sigmaMm));
  };
  return expose(surface, geometry, options, light, options.glareStrength > 0 ? glare : () => 0);
}

const radians = (degrees: number) => (degrees * Math.PI) / 180;

function turn(degrees: number): Homography {
  const [cos, sin] = [Math.cos(radians(degrees)), Math.sin(radians(degrees))];
  return [cos, -sin, 0, sin, cos, 0, 0, 0, 1];
}

/** A pinhole's view of the plane of the piece: turn about its middle, tilt about x and then y, stand off, project. */
function lookAt(surface: Surface, options: PhoneOptions, focalPx: number, distanceMm: number): Homography {
  const [ax, ay] = [radians(options.tiltXDeg), radians(options.tiltYDeg)];
  const [cx, sx, cy, sy] = [Math.cos(ax), Math.sin(ax), Math.cos(ay), Math.sin(ay)];
  // Columns of Ry·Rx for a point (x, y, 0), then moved by the distance along the axis.
  const project: Homography = [focalPx * cy, focalPx * sy * sx, 0, 0, focalPx * cx, 0, -sy, cy * sx, distanceMm];
  const middle: Homography = [
    1,
    0,
    -(surface.leftMm + surface.widthMm / 2),
    0,
    1,
    -(surface.topMm + surface.heightMm / 2),
    0,
    0,
    1,
  ];
  return composeHomographies(project, composeHomographies(turn(options.rotationDeg), middle));
}

function cornersOf({ leftMm, topMm, widthMm, heightMm }: Surface): Point[] {
  const [right, bottom] = [leftMm + widthMm, topMm + heightMm];
  return [
    [leftMm, topMm],
    [right, topMm],
    [right, bottom],
    [leftMm, bottom],
  ];
}

/** Where the paper lies, mm: left, top, right, bottom. */
function paperBox({ leftMm, topMm, widthMm, heightMm }: Surface, { side, widthMm: reach }: PaperOptions) {
  const out = (one: PaperOptions['side']) => (side === 'around' || side === one ? reach : 0);
  const [right, bottom] = [leftMm + widthMm, topMm + heightMm];
  return [leftMm - out('left'), topMm - out('above'), right + out('right'), bottom + out('below')] as const;
}

/** Corners of what the picture is taken of: the piece, with the paper where there is one. */
function framedCorners(surface: Surface, paper: PaperOptions | undefined): Point[] {
  if (!paper) return cornersOf(surface);
  const [leftMm, topMm, right, bottom] = paperBox(surface, paper);
  return cornersOf({ ...surface, leftMm, topMm, widthMm: right - leftMm, heightMm: bottom - topMm });
}

function boundsOf(points: readonly Point[]): { least: Point; most: Point } {
  const xs = points.map(([x]) => x);
  const ys = points.map(([, y]) => y);
  return { least: [Math.min(...xs), Math.min(...ys)], most: [Math.max(...xs), Math.max(...ys)] };
}

/**
 * Each camera pixel is the mean of this many places in each direction. A count. Assumed: sixteenths of a pixel's edge
 * error are below the noise.
 */
const PLACES = 2;
/** How far the shadow of the piece's edge reaches. Assumed: about the thickness of a card. */
const SHADOW_MM = 0.8;
/**
 * Beyond this distance from the piece no neighbouring pixel can see it, mm. Exact enough for speed alone; assumed:
 * wider than blur and shadow.
 */
const AWAY_MM = 1;

type HomographyNumbers = readonly [number, number, number, number, number, number, number, number, number];
type Light = (shareX: number, shareY: number) => number;
type Glare = (xMm: number, yMm: number) => number;

/** Light from the scene through lens and sensor to code values. */
function expose(
  surface: Surface,
  geometry: CaptureGeometry,
  sensor: Seeded<SensorOptions>,
  light: Light,
  glare: Glare,
): Capture {
  const { width, height } = geometry;
  const linear = renderScene(surface, geometry, sensor, light, glare);
  if (sensor.blurPx > 0) blurInPlace(linear, width, height, sensor.blurPx);
  return { width, height, rgb: readSensor(linear, width, sensor), geometry };
}

function renderScene(
  surface: Surface,
  geometry: CaptureGeometry,
  sensor: Seeded<SensorOptions>,
  light: Light,
  glare: Glare,
): Float32Array {
  const { width, height, toPixels, k1 } = geometry;
  const back = invertHomography(toPixels);
  const level = chooseLevel(surface, smallestFootprintMm(surface, back, toPixels) / PLACES);
  const table = labToLinear(sensor.background);
  const sheet = sensor.paper && labToLinear(sensor.paper.colour);
  const [left, top, right, bottom] = sensor.paper ? paperBox(surface, sensor.paper) : [0, 0, 0, 0];
  const [middleX, middleY] = [width / 2, height / 2];
  const half = Math.hypot(width, height) / 2;
  const out = new Float32Array(width * height * 3);
  const distanceOutsideMm = createOutline(surface);
  const sample = createSampler(level);
  const [b0, b1, b2, b3, b4, b5, b6, b7, b8] = back as HomographyNumbers;
  for (let y = 0; y < height; y++) {
    let away = false;
    for (let x = 0; x < width; x++) {
      const at = (y * width + x) * 3;
      const lit = light((x + 0.5) / width, (y + 0.5) / height);
      // Only the piece has detail; the background needs one place a pixel.
      const places = away ? 1 : PLACES;
      const weight = 1 / (places * places);
      away = true;
      for (let placeY = 0; placeY < places; placeY++) {
        const dy = y + (placeY + 0.5) / places - middleY;
        for (let placeX = 0; placeX < places; placeX++) {
          const dx = x + (placeX + 0.5) / places - middleX;
          const stretch = 1 + (k1 * (dx * dx + dy * dy)) / (half * half);
          const px = dx * stretch + middleX;
          const py = dy * stretch + middleY;
          const w = b6 * px + b7 * py + b8;
          const xMm = (b0 * px + b1 * py + b2) / w;
          const yMm = (b3 * px + b4 * py + b5) / w;
          const outside = distanceOutsideMm(xMm, yMm);
          if (outside <= AWAY_MM) away = false;
          if (outside <= 0) {
            const seen = sample(xMm, yMm);
            const shine = glare(xMm, yMm) * weight;
            const share = weight * lit;
            out[at] = out[at] + share * seen[0] + shine;
            out[at + 1] = out[at + 1] + share * seen[1] + shine;
            out[at + 2] = out[at + 2] + share * seen[2] + shine;
          } else {
            const shadow = 1 - sensor.edgeShadow * Math.exp(-outside / SHADOW_MM);
            const onPaper = sheet && xMm > left && xMm < right && yMm > top && yMm < bottom;
            const under = onPaper ? sheet : table;
            const grain = onPaper ? 1 : 1 + sensor.backgroundGrain * tableGrain(sensor.seed, xMm, yMm);
            const shaded = weight * lit * shadow * Math.max(0, grain);
            for (let c = 0; c < 3; c++) out[at + c] = out[at + c] + shaded * under[c]!;
          }
        }
      }
    }
  }
  return out;
}

/** Smooth chance on a lattice of 3 × 0.4 mm: the grain of a table top. */
function tableGrain(seed: number, xMm: number, yMm: number): number {
  const [u, v] = [xMm / 3, yMm / 0.4];
  const [i, j] = [Math.floor(u), Math.floor(v)];
  const [s, t] = [u - i, v - j];
  const top = normalAt(seed, i, j) * (1 - s) + normalAt(seed, i + 1, j) * s;
  const bottom = normalAt(seed, i, j + 1) * (1 - s) + normalAt(seed, i + 1, j + 1) * s;
  return top * (1 - t) + bottom * t;
}

/** Distance from the piece by place, mm; 0 or below on it. Corners are rounded by the piece's radius. */
function createOutline({ cornerRadiusMm, leftMm, topMm, widthMm, heightMm }: Surface) {
  const [halfX, halfY] = [widthMm / 2, heightMm / 2];
  return (xMm: number, yMm: number): number => {
    const dx = Math.abs(xMm - leftMm - halfX) - halfX + cornerRadiusMm;
    const dy = Math.abs(yMm - topMm - halfY) - halfY + cornerRadiusMm;
    if (dx <= 0 || dy <= 0) return Math.max(dx, dy) - cornerRadiusMm;
    return Math.sqrt(dx * dx + dy * dy) - cornerRadiusMm;
  };
}

/** Smallest side of what one pixel sees of the piece, mm: of the corners and the middle. */
function smallestFootprintMm(surface: Surface, back: Homography, toPixels: Homography): number {
  const middle: Point = [surface.leftMm + surface.widthMm / 2, surface.topMm + surface.heightMm / 2];
  const sides = [...cornersOf(surface), middle].flatMap((place) => {
    const [x, y] = applyHomography(toPixels, place);
    const [x0, y0] = applyHomography(back, [x, y]);
    const [x1, y1] = applyHomography(back, [x + 1, y]);
    const [x2, y2] = applyHomography(back, [x, y + 1]);
    return [Math.hypot(x1 - x0, y1 - y0), Math.hypot(x2 - x0, y2 - y0)];
  });
  return Math.min(...sides);
}

/** A piece at the size at which a camera samples it. */
interface SurfaceLevel {
  readonly width: number;
  readonly height: number;
  readonly rgb: Float32Array;
  readonly leftMm: number;
  readonly topMm: number;
  /** From pixel to pixel, mm. */
  readonly stepX: number;
  readonly stepY: number;
}

/** The piece, halved until its pixels are just not larger than a footprint. */
function chooseLevel(surface: Surface, footprintMm: number): SurfaceLevel {
  let level: { width: number; height: number; rgb: Float32Array } = surface;
  let pixel = Math.max(surface.pixelWidthMm, surface.pixelHeightMm);
  while (pixel * 2 <= footprintMm * 1.0001 && level.width > 1 && level.height > 1) {
    level = halve(level);
    pixel *= 2;
  }
  const { width, height, rgb } = level;
  // Halving an odd side repeats its last pixel, so that a pixel is exactly a power of two of the surface's.
  const growth = pixel / Math.max(surface.pixelWidthMm, surface.pixelHeightMm);
  const [stepX, stepY] = [surface.pixelWidthMm * growth, surface.pixelHeightMm * growth];
  return { width, height, rgb, leftMm: surface.leftMm, topMm: surface.topMm, stepX, stepY };
}

/** Mean reflectance of about a footprint around a place, bilinear, in three channels that the next call replaces. */
function createSampler({ width, height, rgb, leftMm, topMm, stepX, stepY }: SurfaceLevel) {
  const seen = new Float32Array(3);
  const [lastX, lastY] = [width - 1, height - 1];
  return (xMm: number, yMm: number): Float32Array => {
    const x = Math.min(lastX, Math.max(0, (xMm - leftMm) / stepX - 0.5));
    const y = Math.min(lastY, Math.max(0, (yMm - topMm) / stepY - 0.5));
    const left = Math.floor(x);
    const top = Math.floor(y);
    const s = x - left;
    const t = y - top;
    const upper = (top * width + left) * 3;
    const right = left < lastX ? 3 : 0;
    const lower = upper + (top < lastY ? 3 * width : 0);
    for (let c = 0; c < 3; c++) {
      const above = rgb[upper + c] * (1 - s) + rgb[upper + right + c] * s;
      const below = rgb[lower + c] * (1 - s) + rgb[lower + right + c] * s;
      seen[c] = above * (1 - t) + below * t;
    }
    return seen;
  };
}

function halve(level: { readonly width: number; readonly height: number; readonly rgb: Float32Array }) {
  const width = Math.ceil(level.width / 2);
  const height = Math.ceil(level.height / 2);
  const rgb = new Float32Array(width * height * 3);
  for (let y = 0; y < height; y++) {
    const top = 2 * y * level.width;
    const bottom = Math.min(level.height - 1, 2 * y + 1) * level.width;
    for (let x = 0; x < width; x++) {
      const left = 2 * x;
      const right = Math.min(level.width - 1, left + 1);
      for (let c = 0; c < 3; c++) {
        rgb[(y * width + x) * 3 + c] =
          (level.rgb[(top + left) * 3 + c] +
            level.rgb[(top + right) * 3 + c] +
            level.rgb[(bottom + left) * 3 + c] +
            level.rgb[(bottom + right) * 3 + c]) /
          4;
      }
    }
  }
  return { width, height, rgb };
}

/** Gaussian blur of interleaved RGB, along x and then along y; the edge repeats. */
function blurInPlace(rgb: Float32Array, width: number, height: number, sigma: number): void {
  const taps = gaussianTaps(sigma);
  const reach = (taps.length - 1) / 2;
  const blur = startFastBlur(taps, width) ?? startPlainBlur(taps, width);
  const { row } = blur;
  for (let y = 0; y < height; y++) {
    const at = y * width * 3;
    for (let x = 0; x < width + 2 * reach; x++) {
      const from = at + Math.min(width - 1, Math.max(0, x - reach)) * 3;
      for (let c = 0; c < 3; c++) row[x * 3 + c] = rgb[from + c];
    }
    rgb.set(blur.along(), at);
  }
  const { ring } = blur;
  const load = (y: number) => {
    const from = Math.min(height - 1, Math.max(0, y)) * width * 3;
    ring[(y + reach) % taps.length]!.set(rgb.subarray(from, from + width * 3));
  };
  // Rows are read ahead of being overwritten; above the first the first itself is seen.
  for (let y = -reach; y < reach; y++) load(y);
  const lastRow = rgb.slice((height - 1) * width * 3);
  for (let y = 0; y < height; y++) {
    if (y + reach < height) load(y + reach);
    else ring[(y + 2 * reach) % taps.length]!.set(lastRow);
    rgb.set(blur.across(y), y * width * 3);
  }
}

/** Steps of the curve's table. Exact: 2¹⁶, so that no 8-bit code value is skipped in the shadows. */
const CURVE_STEPS = 65536;

function readSensor(linear: Float32Array, width: number, sensor: Seeded<SensorOptions>): Uint8Array {
  const codes = new Uint8Array(CURVE_STEPS);
  for (let i = 0; i < CURVE_STEPS; i++) {
    codes[i] = Math.round(Math.fround(255 * codeLight(i / (CURVE_STEPS - 1), sensor)));
  }
  const coded = new Uint8Array(linear.length);
  const chances = new Float32Array(width * 3);
  for (let start = 0, y = 0; start < linear.length; start += width * 3, y++) {
    if (sensor.noise > 0) fillNormal(chances, hash32(sensor.seed, 29, y));
    for (let c = 0; c < 3; c++) {
      const gain = sensor.exposure * sensor.whiteBalance[c]!;
      for (let x = 0, i = start + c; x < width; x++, i += 3) {
        const light = linear[i] * gain;
        // Photon noise, with a floor from reading out.
        const noise = sensor.noise > 0 ? sensor.noise * Math.sqrt(light + 0.01) * chances[c * width + x] : 0;
        const clipped = Math.min(1, Math.max(0, light + noise));
        coded[i] = codes[(clipped * (CURVE_STEPS - 1) + 0.5) | 0];
      }
    }
  }
  return coded;
}

/** Code value 0 … 1 of linear light 0 … 1. */
export function codeLight(linear: number, { toneCurve, gamma, contrast }: ToneCurveOptions): number {
  if (toneCurve === 'gamma') return linear ** (1 / gamma);
  const coded = encodeSrgb(linear);
  if (toneCurve === 'srgb' || contrast === 0) return coded;
  const logistic = (x: number) => 1 / (1 + Math.exp(-contrast * (x - 0.5)));
  return (logistic(coded) - logistic(0)) / (logistic(1) - logistic(0));
}
