import { describe, expect, test } from 'vitest';
import { decodeSrgb } from '../../src/colour/index.ts';
import { lightnessOf, luminanceOf } from '../../src/simulation/colour.ts';
import {
  applyHomography,
  CAMERAS,
  type CameraOptions,
  type Capture,
  type CaptureGeometry,
  captureSurface,
  codeLight,
  engrave,
  type FlatbedOptions,
  meanReflectance,
  type PhoneOptions,
  type Point,
  type Surface,
} from '../../src/simulation/index.ts';
import { scatterLight } from '../../src/simulation/light-scatter.ts';
import { drawDots, PLAIN } from './models.ts';

/** A dark piece of 40 × 25 mm with bright squares around known places, mm. */
const MARKS = [
  [5, 4],
  [34, 6],
  [20, 12.5],
  [6, 20],
  [33, 21],
] as const;
const PIECE: Surface = engrave(
  drawDots(380, 230, (x, y) =>
    MARKS.some(([mx, my]) => Math.abs(x / 10 + 0.05 - mx) < 0.4 && Math.abs(y / 10 + 0.05 - my) < 0.4),
  ),
  {
    grid: { pitchMm: 0.1, lineSpacingMm: 0.1 },
    model: { ...PLAIN, settings: { ...PLAIN.settings, powerW: 20 } },
    seed: 1,
    marginMm: 1,
    pixelUm: 50,
    cornerRadiusMm: 2,
  },
);

const flatbed = CAMERAS['flatbed-300']!.options as FlatbedOptions;
const phone = CAMERAS['phone-straight']!.options as PhoneOptions;
const QUIET = { noise: 0, exposure: 1, whiteBalance: [1, 1, 1] } as const;
const DARK = { background: [0, 0, 0], edgeShadow: 0, backgroundGrain: 0 } as const;

/** The pixel of a place in mm. */
function projectToCapture(geometry: CaptureGeometry, placeMm: Point): Point {
  const { width, height, toPixels, k1 } = geometry;
  const [x, y] = applyHomography(toPixels, placeMm);
  const half = Math.hypot(width, height) / 2;
  const [ux, uy] = [(x - width / 2) / half, (y - height / 2) / half];
  // Fixed-point steps converge within a few rounds for the small k1 of a real lens.
  let [dx, dy] = [ux, uy];
  for (let i = 0; i < 30; i++) {
    const stretch = 1 + k1 * (dx * dx + dy * dy);
    [dx, dy] = [ux / stretch, uy / stretch];
  }
  return [dx * half + width / 2, dy * half + height / 2];
}

/** Centre of light of a window around a pixel, above the level of the dark piece. */
function centreOfLight({ width, height, rgb }: Capture, [px, py]: readonly [number, number], reach: number) {
  let [sum, sx, sy] = [0, 0, 0];
  for (let y = Math.max(0, Math.floor(py - reach)); y < Math.min(height, py + reach); y++) {
    for (let x = Math.max(0, Math.floor(px - reach)); x < Math.min(width, px + reach); x++) {
      const light = Math.max(0, decodeSrgb(rgb[(y * width + x) * 3 + 1]! / 255) - 0.1);
      sum += light;
      sx += light * (x + 0.5);
      sy += light * (y + 0.5);
    }
  }
  return [sx / sum, sy / sum] as const;
}

const SCENES: readonly (readonly [string, CameraOptions])[] = [
  ['a flatbed', { ...flatbed, ...QUIET, ...DARK, dpi: 300, rotationDeg: 0 }],
  ['a turned flatbed', { ...flatbed, ...QUIET, ...DARK, dpi: 150, rotationDeg: 137 }],
  ['a phone', { ...phone, ...QUIET, ...DARK, megapixels: 1.2 }],
  [
    'a tilted phone with a bent lens',
    { ...phone, ...QUIET, ...DARK, megapixels: 1.2, tiltXDeg: 25, tiltYDeg: -18, rotationDeg: 200, k1: -0.03 },
  ],
];

describe.each(SCENES)('%s', (_, options) => {
  const capture = captureSurface(PIECE, { ...options, seed: 2 });
  const { geometry } = capture;

  test.each(MARKS)('shows the mark at %d, %d mm where its geometry says', (xMm, yMm) => {
    const [px, py] = projectToCapture(geometry, [xMm, yMm]);
    // A window of 1.2 mm: the mark and some dark piece around it, no edge. The mark is small, because perspective
    // moves the middle of a large one.
    const [ex, ey] = projectToCapture(geometry, [xMm + 1.2, yMm]);
    const [cx, cy] = centreOfLight(capture, [px, py], Math.hypot(ex - px, ey - py));
    expect(Math.hypot(cx - px, cy - py)).toBeLessThan(0.2);
  });

  test('has the whole piece in the picture', () => {
    for (const corner of [
      [-1, -1],
      [39, -1],
      [39, 24],
      [-1, 24],
    ] as const) {
      const [x, y] = projectToCapture(geometry, corner);
      expect(Math.min(x, y, capture.width - x, capture.height - y)).toBeGreaterThan(0);
    }
  });

  test('is the same for the same seed', () => {
    const take = (seed: number) => Buffer.from(captureSurface(PIECE, { ...options, noise: 0.02, seed }).rgb);
    const first = take(2);
    expect(first.equals(take(2))).toBe(true);
    expect(first.equals(take(3))).toBe(false);
  });
});

test('a scan has the scale of its resolution', () => {
  const { geometry } = captureSurface(PIECE, { ...flatbed, dpi: 600, rotationDeg: 30, seed: 1 });
  const [x0, y0] = projectToCapture(geometry, [0, 0]);
  const [x1, y1] = projectToCapture(geometry, [25.4, 0]);
  expect(Math.hypot(x1 - x0, y1 - y0)).toBeCloseTo(600, 6);
  expect((Math.atan2(y1 - y0, x1 - x0) * 180) / Math.PI).toBeCloseTo(30, 6);
});

test('a quiet scan gives the reflectance back to a tenth of L*', () => {
  const dots = drawDots(200, 200, (x, y) => (x * 3 + y) % 7 === 0);
  const surface = engrave(dots, { grid: { pitchMm: 0.05, lineSpacingMm: 0.05 }, model: PLAIN, seed: 1 });
  const rect = { xMm: 2.5, yMm: 2.5, widthMm: 5, heightMm: 5 };
  for (const dpi of [150, 300, 600]) {
    const options = { ...flatbed, ...QUIET, dpi, rotationDeg: 0, unevenness: 0 };
    const { rgb, width, geometry } = captureSurface(surface, { ...options, seed: 1 });
    const [left, top] = projectToCapture(geometry, [2.5, 2.5]);
    const [right, bottom] = projectToCapture(geometry, [7.5, 7.5]);
    let [sum, count] = [0, 0];
    for (let y = Math.ceil(top); y < Math.floor(bottom); y++) {
      for (let x = Math.ceil(left); x < Math.floor(right); x++) {
        const at = (y * width + x) * 3;
        sum += luminanceOf([0, 1, 2].map((c) => decodeSrgb(rgb[at + c]! / 255)) as unknown as [number, number, number]);
        count++;
      }
    }
    const expected = lightnessOf(luminanceOf(meanReflectance(surface, rect)));
    expect(Math.abs(lightnessOf(sum / count) - expected)).toBeLessThan(0.2);
  }
});

describe('planted faults', () => {
  const brightest = (capture: Capture) => capture.rgb.filter((value) => value === 255).length / capture.rgb.length;

  test('a scan set too bright is clipped, a proper one is not', () => {
    expect(brightest(captureSurface(PIECE, { ...CAMERAS['flatbed-clipped']!.options, seed: 1 }))).toBeGreaterThan(0.05);
    expect(brightest(captureSurface(PIECE, { ...CAMERAS['flatbed-300']!.options, seed: 1 }))).toBeLessThan(0.001);
  });

  test('a glare brightens the piece around its middle and not the far corner', () => {
    const options = { ...phone, ...QUIET, megapixels: 0.3 };
    const plain = captureSurface(PIECE, { ...options, seed: 1 });
    const glare = captureSurface(PIECE, {
      ...options,
      glareX: 0.3,
      glareY: 0.3,
      glareSigma: 0.1,
      glareStrength: 0.5,
      seed: 1,
    });
    const green = (capture: Capture, place: readonly [number, number]) => {
      const [x, y] = projectToCapture(capture.geometry, place);
      return capture.rgb[(Math.floor(y) * capture.width + Math.floor(x)) * 3 + 1]!;
    };
    expect(green(glare, [11, 6.5]) - green(plain, [11, 6.5])).toBeGreaterThan(60);
    expect(Math.abs(green(glare, [37, 23]) - green(plain, [37, 23]))).toBeLessThan(3);
  });

  test('blur, uneven light and white balance do what they say', () => {
    const even = {
      ...flatbed,
      ...QUIET,
      dpi: 100,
      rotationDeg: 0,
      backgroundGrain: 0,
      edgeShadow: 0,
      unevenness: 0,
      blurPx: 0,
    };
    const at = (capture: Capture, x: number, y: number, c: number) => capture.rgb[(y * capture.width + x) * 3 + c]!;
    const sharp = captureSurface(PIECE, { ...even, seed: 1 });
    const soft = captureSurface(PIECE, { ...even, blurPx: 4, seed: 1 });
    const lamp = captureSurface(PIECE, { ...even, unevenness: 0.3, seed: 1 });
    const warm = captureSurface(PIECE, { ...even, whiteBalance: [1, 1, 0.5], seed: 1 });
    // The background is even: blur does not change it away from the piece, the lamp and the balance do.
    expect(at(soft, 2, 2, 1)).toBe(at(sharp, 2, 2, 1));
    expect(at(lamp, 1, 2, 1)).toBeLessThan(at(sharp, 1, 2, 1) - 20);
    expect(at(warm, 2, 2, 2)).toBeLessThan(at(sharp, 2, 2, 2) - 50);
    const steepest = (capture: Capture) => {
      const y = Math.floor(capture.height / 2);
      let most = 0;
      for (let x = 1; x < capture.width; x++)
        most = Math.max(most, Math.abs(at(capture, x, y, 1) - at(capture, x - 1, y, 1)));
      return most;
    };
    expect(steepest(soft)).toBeLessThan(steepest(sharp) / 3);
  });
});

test('tone curves keep black and white and rise between', () => {
  for (const curve of [
    { toneCurve: 'srgb', gamma: 2.2, contrast: 0 },
    { toneCurve: 'gamma', gamma: 1.8, contrast: 0 },
    { toneCurve: 's-curve', gamma: 2.2, contrast: 5 },
  ] as const) {
    const codes = Array.from({ length: 101 }, (_, i) => codeLight(i / 100, curve));
    expect(codes[0]).toBeCloseTo(0, 9);
    expect(codes[100]).toBeCloseTo(1, 9);
    expect(codes).toEqual([...codes].sort((a, b) => a - b));
  }
  // IEC 61966-2-1: linear 0.18 → 0.461356 (colour-science, tests of sRGB).
  expect(codeLight(0.18, { toneCurve: 'srgb', gamma: 2.2, contrast: 0 })).toBeCloseTo(0.461356129500442, 12);
});

// R0 = 0.80, Rs = 0.05, half covered: 0.425 without spread, 0.3125 with Yule and Nielsen's n = 2 (own calculation).
test.each([
  [0, 0.425],
  [0.5, 0.36875],
  [1, 0.3125],
])('a share %d of spread light turns a mean of 0.425 into %d', (share, expected) => {
  const rows: Float32Array[] = [];
  const sink = scatterLight((row) => rows.push(row.slice()), {
    spread: { share, radiusUm: 200 },
    samples: 240,
    rows: 90,
    sampleXUm: 10,
    sampleYUm: 20,
  });
  const row = new Float32Array(240 * 3).map((_, i) => (Math.floor(i / 3 / 2) % 2 === 0 ? 0.8 : 0.05));
  for (let y = 0; y < 90; y++) sink(row);
  expect(rows.length).toBe(90);
  const inner = [...rows[45]!.subarray(100 * 3, 140 * 3)];
  expect(inner.reduce((a, b) => a + b, 0) / inner.length).toBeCloseTo(expected, 2);
});

test('every camera preset says that its numbers are assumed', () => {
  expect(Object.keys(CAMERAS)).toEqual(
    expect.arrayContaining(['flatbed-300', 'flatbed-600', 'phone-straight', 'phone-tilted', 'phone-contrasty']),
  );
  for (const { origin } of Object.values(CAMERAS)) expect(origin.kind).toBe('assumed');
});
