import sharp from 'sharp';
import { describe, expect, test } from 'vitest';
import { drawOnce, EXAMPLE, LAYOUTS } from '../../benchmarks/common/example-charts.ts';
import {
  type CameraOptions,
  inkOf,
  type Simulated,
  simulateCapture,
} from '../../benchmarks/common/simulate-capture.ts';
import {
  type CaptureImage,
  type ChartLayout,
  type Corners,
  type Located,
  type LocateOptions,
  layoutChart,
  locateChart,
  locateTags,
  outerCorners,
  placeOnCapture,
} from '../../src/chart/index.ts';
import { reflectanceOfLightness } from '../../src/colour/index.ts';
import { AppError } from '../../src/errors.ts';

const known = Object.values(LAYOUTS);
const take = (layout: ChartLayout, camera: CameraOptions) =>
  simulateCapture(inkOf(drawOnce(layout), layout), layout, camera);

/** Largest distance of a patch's middle from where the camera put it, mm. */
function worstPlace({ place }: Simulated, { layout, map, pxPerMm }: Located): number {
  return Math.max(
    ...layout.patches.map(({ xMm, yMm, widthMm, heightMm }) => {
      const [x, y] = [xMm + widthMm / 2, yMm + heightMm / 2];
      const [tx, ty] = place(x, y);
      const [px, py] = placeOnCapture(map, x, y);
      return Math.hypot(px - tx, py - ty) / pxPerMm;
    }),
  );
}

function refusal(capture: CaptureImage, layouts: readonly ChartLayout[], options?: LocateOptions): AppError {
  try {
    locateChart(capture, layouts, options);
  } catch (error) {
    if (error instanceof AppError) return error;
    throw error;
  }
  throw new Error('the chart was located');
}

const SCAN: CameraOptions = { width: 1060, height: 700, pxPerMm: 11.81, bare: 0.6, solid: 0.06, blurPx: 0.7, noise: 1 };
const PHOTO: CameraOptions = { width: 1100, height: 825, pxPerMm: 7.4, bare: 0.6, solid: 0.06, blurPx: 1.2, noise: 3 };

describe('a chart is located', () => {
  test.each([
    ['in a scan at 300 dpi', 'tone', { ...SCAN, turnDeg: 1.5 }],
    ['upside down', 'tone', { ...SCAN, turnDeg: 181 }],
    ['turned by 45°', 'verify', { ...PHOTO, turnDeg: 45 }],
    ['turned by 118° and seen at a slant', 'tone', { ...PHOTO, pxPerMm: 6, turnDeg: 118, tiltX: 0.15, tiltY: -0.1 }],
    ['under unequal light', 'spot', { ...PHOTO, turnDeg: -20, lightX: 0.5, lightY: -0.3, vignetting: 0.3 }],
    ['through a bent lens', 'tone', { ...PHOTO, turnDeg: 10, k1: -0.04 }],
    ['blurred over two pixels', 'tone', { ...PHOTO, turnDeg: 300, blurPx: 1.8 }],
    ['with marks lighter than the surface', 'tone', { ...PHOTO, turnDeg: 200, bare: 0.04, solid: 0.4, table: 0.5 }],
    [
      'with 8 L* between bare and solid',
      'tone',
      { ...PHOTO, turnDeg: 70, bare: reflectanceOfLightness(60), solid: reflectanceOfLightness(52) },
    ],
    [
      'with 8 L* the other way on a dark stock',
      'dose',
      { ...PHOTO, turnDeg: 5, bare: reflectanceOfLightness(20), solid: reflectanceOfLightness(28), noise: 2 },
    ],
    ['as a strip', 'check', { ...PHOTO, pxPerMm: 12, turnDeg: 33, tiltX: 0.1 }],
    ['as a strip that fills the scan', 'check', { ...SCAN, width: 720, height: 110 }],
  ] as const)('%s', (_name, kind, camera) => {
    const simulated = take(LAYOUTS[kind], camera);
    const located = locateChart(simulated.capture, known);
    expect(located.layout.kind).toBe(kind);
    expect(located.direction).toBe(camera.solid > camera.bare ? 'lighter' : 'darker');
    expect(worstPlace(simulated, located)).toBeLessThan(0.1);
    expect(located.missing).toEqual([]);
  });

  test('after a JPEG of quality 60', async () => {
    const simulated = take(LAYOUTS.tone, { ...PHOTO, turnDeg: 25 });
    const { width, height, rgb } = simulated.capture;
    const file = await sharp(rgb, { raw: { width, height, channels: 3 } })
      .jpeg({ quality: 60 })
      .toBuffer();
    const data = new Uint8Array(await sharp(file).raw().toBuffer());
    const located = locateChart({ width, height, rgb: data, bits: 8 }, known);
    expect(worstPlace(simulated, located)).toBeLessThan(0.1);
  });

  test('in 16 bits as in 8', () => {
    const eight = locateChart(take(LAYOUTS.tone, { ...SCAN, noise: 0 }).capture, known);
    const sixteen = locateChart(take(LAYOUTS.tone, { ...SCAN, noise: 0, bits: 16 }).capture, known);
    expect(sixteen.pxPerMm).toBeCloseTo(eight.pxPerMm, 2);
  });

  test('in a picture that is searched on a smaller copy, to the pixels of the full one', () => {
    const simulated = take(LAYOUTS.tone, { ...SCAN, width: 2100, height: 1700, pxPerMm: 22, turnDeg: 12 });
    const located = locateChart(simulated.capture, known);
    expect(worstPlace(simulated, located) * 22).toBeLessThan(0.5);
  });

  test('without a tag that lies elsewhere than the layout has it', () => {
    const moved = {
      ...LAYOUTS.tone,
      tags: LAYOUTS.tone.tags.map((tag) => (tag.position === 2 ? { ...tag, xDots: tag.xDots - 11 } : tag)),
    };
    const simulated = take(LAYOUTS.tone, PHOTO);
    const located = locateChart(simulated.capture, [moved]);
    expect(located.missing).toEqual([2]);
    expect(worstPlace(simulated, located)).toBeLessThan(0.15);
  });

  test('with two tags covered, which are named', () => {
    const simulated = take(LAYOUTS.tone, { ...PHOTO, turnDeg: 15 });
    for (const position of [0, 5] as const) coverTag(simulated, LAYOUTS.tone, position);
    const located = locateChart(simulated.capture, known);
    expect(located.missing).toEqual([0, 5]);
    expect(worstPlace(simulated, located)).toBeLessThan(0.15);
  });

  test('seen from behind when that was said', () => {
    const simulated = take(LAYOUTS.tone, { ...PHOTO, turnDeg: 40, mirrored: true });
    const located = locateChart(simulated.capture, known, { mirrored: true });
    expect(worstPlace(simulated, located)).toBeLessThan(0.1);
    expect(located.mirrored).toBe(true);
  });

  test('by corners given by hand, within a few pixels, when tags are spoilt', () => {
    const simulated = take(LAYOUTS.tone, { ...PHOTO, turnDeg: 15 });
    for (const position of [0, 1, 2, 5] as const) spoilTag(simulated, LAYOUTS.tone, position);
    expect(refusal(simulated.capture, known).code).toBe('chart-corner-missing');
    const corners = outerCorners(LAYOUTS.tone).map(([x, y], at) => {
      const [px, py] = simulated.place(x, y);
      return [px + (at % 2 ? 2 : -2), py + (at > 1 ? 2 : -1)];
    }) as unknown as Corners;
    const located = locateChart(simulated.capture, [LAYOUTS.tone], { corners });
    expect(located.byHand).toBe(true);
    expect(worstPlace(simulated, located)).toBeLessThan(0.1);
  });
});

/** Paints a tag over with the colour of its ring. */
function coverTag({ capture, place }: Simulated, layout: ChartLayout, position: number): void {
  paintTag({ capture, place }, layout, { position, from: -0.5, to: 10.5 });
}

/** Paints the code of a tag over, and leaves its border. */
function spoilTag({ capture, place }: Simulated, layout: ChartLayout, position: number): void {
  paintTag({ capture, place }, layout, { position, from: 2, to: 8 });
}

function paintTag(
  { capture, place }: Simulated,
  layout: ChartLayout,
  { position, from, to }: { position: number; from: number; to: number },
): void {
  const tag = layout.tags.find((one) => one.position === position)!;
  const cell = tag.cellDotsX * layout.grid.pitchMm;
  const [bareX, bareY] = place(
    tag.xDots * layout.grid.pitchMm + cell / 2,
    tag.yDots * layout.grid.lineSpacingMm + cell / 2,
  );
  const bare = capture.rgb.slice((Math.floor(bareY) * capture.width + Math.floor(bareX)) * 3).slice(0, 3);
  const steps = 400;
  for (let i = 0; i <= steps; i++) {
    for (let j = 0; j <= steps; j++) {
      const x = tag.xDots * layout.grid.pitchMm + (from + ((to - from) * i) / steps) * cell;
      const y = tag.yDots * layout.grid.lineSpacingMm + (from + ((to - from) * j) / steps) * cell;
      const [px, py] = place(x, y);
      capture.rgb.set(bare, (Math.floor(py) * capture.width + Math.floor(px)) * 3);
    }
  }
}

describe('a capture is refused', () => {
  test('when nothing is in it', () => {
    for (const [width, height] of [
      [1, 1],
      [7, 900],
      [400, 300],
    ] as const) {
      const rgb = new Uint8Array(width * height * 3).fill(180);
      expect(refusal({ width, height, rgb, bits: 8 }, known).code).toBe('chart-not-found');
    }
  });

  test('when too few tags are in the frame, naming those that are missing', () => {
    const error = refusal(take(LAYOUTS.tone, { ...PHOTO, width: 550, centre: [550, 412] }).capture, known);
    expect(error.code).toBe('chart-corner-missing');
    expect(error.message).toMatch(/found 2 of 6 tags \(missing: upper right, lower right/);
  });

  test('as overexposed where the missing tags are white all over, not as covered', () => {
    const simulated = take(LAYOUTS.tone, { ...PHOTO, turnDeg: 15 });
    const { capture, place } = simulated;
    for (const position of [1, 2, 4] as const) {
      const tag = LAYOUTS.tone.tags.find((one) => one.position === position)!;
      const { pitchMm, lineSpacingMm } = LAYOUTS.tone.grid;
      const sideMm = 10 * tag.cellDotsX * pitchMm;
      const [x, y] = place(tag.xDots * pitchMm + sideMm / 2, tag.yDots * lineSpacingMm + sideMm / 2);
      const reach = Math.ceil(0.75 * sideMm * 7.4);
      for (let dy = -reach; dy <= reach; dy++) {
        const at = 3 * (Math.round(y + dy) * capture.width + Math.round(x));
        capture.rgb.fill(255, at - 3 * reach, at + 3 * reach);
      }
    }
    const error = refusal(capture, known);
    expect(error.code).toBe('capture-clipped');
    expect(error.message).toMatch(/white all over/);
  });

  test('when it is another chart than the one that was named', () => {
    const other = layoutChart('tone', { ...EXAMPLE, seed: 7 });
    const error = refusal(take(LAYOUTS.tone, PHOTO).capture, [other]);
    expect(error.code).toBe('chart-wrong');
    expect(error.message).toContain(other.hash);
  });

  test('when it is seen from behind and that was not said, and the other way round', () => {
    expect(refusal(take(LAYOUTS.tone, { ...PHOTO, mirrored: true }).capture, known).code).toBe('chart-mirrored');
    expect(refusal(take(LAYOUTS.tone, PHOTO).capture, known, { mirrored: true }).code).toBe('chart-mirrored');
  });

  test('when corners given by hand lie on one line', () => {
    const corners: Corners = [
      [10, 10],
      [20, 20],
      [30, 30],
      [40, 40],
    ];
    expect(refusal(take(LAYOUTS.tone, SCAN).capture, [LAYOUTS.tone], { corners }).code).toBe('option-invalid');
  });

  test('a programmer who asks for no layout is told so', () => {
    expect(() => locateChart(take(LAYOUTS.check, SCAN).capture, [])).toThrow(RangeError);
  });
});

test('pictures without charts show no tags that could pass for one', () => {
  // Patches and letters of a chart whose tags are painted over are all the squares that mislead a detector.
  const simulated = take(LAYOUTS.spot, { ...PHOTO, turnDeg: 8 });
  for (const position of [0, 1, 2, 3, 4, 5]) coverTag(simulated, LAYOUTS.spot, position);
  expect(locateTags(simulated.capture).length).toBeLessThanOrEqual(1);
  expect(refusal(simulated.capture, known).code).toBe('chart-not-found');
});
