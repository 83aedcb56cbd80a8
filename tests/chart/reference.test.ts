import { describe, expect, test } from 'vitest';
import { drawOnce, LAYOUTS } from '../../benchmarks/common/example-charts.ts';
import { type CameraOptions, inkOf, simulateCapture } from '../../benchmarks/common/simulate-capture.ts';
import { locateChart, type NeutralReference, readPatches, WHITE_PAPER } from '../../src/chart/index.ts';
import { lightnessOfReflectance, reflectanceOfLightness } from '../../src/colour/index.ts';
import { AppError } from '../../src/errors.ts';

/** A smaller chart, so that a sheet beside it is in the picture. */
const layout = LAYOUTS.verify;
const { widthMm, heightMm } = layout;
const ink = inkOf(drawOnce(layout), layout);
const PAPER = reflectanceOfLightness(93);
const TABLE = 0.22;

type Place = (xMm: number, yMm: number) => boolean;
const right: Place = (xMm) => xMm > widthMm + 4 && xMm < widthMm + 26;
const around: Place = (xMm, yMm) => xMm > -20 && xMm < widthMm + 20 && yMm > -20 && yMm < heightMm + 20;
const sheet = (on: Place, reflectance = PAPER) => ({
  tableAt: (xMm: number, yMm: number) => (on(xMm, yMm) ? reflectance : TABLE),
});

const PHOTO: CameraOptions = {
  width: Math.round((widthMm + 70) * 8),
  height: Math.round((heightMm + 60) * 8),
  pxPerMm: 8,
  bare: 0.4,
  solid: 0.05,
  blurPx: 0.8,
  noise: 2,
  turnDeg: 6,
  rimMm: 2,
  exposure: 0.8,
  ...sheet(right),
};
const take = (camera: CameraOptions) => simulateCapture(ink, layout, camera).capture;
function read(camera: CameraOptions, reference: NeutralReference | 'none' = WHITE_PAPER) {
  const capture = take(camera);
  return readPatches(capture, locateChart(capture, [layout]), reference === 'none' ? {} : { reference });
}
function refusal(camera: CameraOptions, reference: NeutralReference = WHITE_PAPER): AppError {
  try {
    read(camera, reference);
  } catch (error) {
    if (error instanceof AppError) return error;
    throw error;
  }
  throw new Error('the capture was read');
}
const BARE_L = lightnessOfReflectance(0.4);

describe('white paper beside the chart tells how light the whole is', () => {
  test.each([
    ['on one side, in a picture that is a third too dark', { exposure: 0.67 }],
    ['on one side under light that falls off towards it', { lightX: -0.2, vignetting: 0.15 }],
    ['all around', { ...sheet(around), lightX: 0.3, lightY: 0.2, vignetting: 0.2 }],
    ['on lighter stock', { bare: 0.62, exposure: 0.9 }],
  ] as const)('%s', (_name, change) => {
    const camera = { ...PHOTO, ...change };
    const { bare, solid, solidRatio, reference } = read(camera);
    const truth = lightnessOfReflectance(camera.bare);
    // The paper is as it was said to be: what is left is the light between it and the chart.
    expect(Math.abs(bare[0] - truth)).toBeLessThan(1);
    expect(Math.abs(solid[0] - lightnessOfReflectance(camera.solid))).toBeLessThan(1.2);
    expect(reference!.factor).toBeGreaterThan(1.08);
    expect(reference!.factor).toBeLessThan(1.2);
    // The shape is not touched.
    expect(solidRatio).toBeCloseTo(read(camera, 'none').solidRatio, 9);
  });

  test('to within what is said where the paper is not as it was said to be', () => {
    for (const paperL of [90.5, 95.5]) {
      const { bare, reference } = read({ ...PHOTO, ...sheet(right, reflectanceOfLightness(paperL)) });
      const [low, high] = [1 / reference!.factor, reference!.factor].map((factor) =>
        lightnessOfReflectance(reflectanceOfLightness(bare[0]) * factor),
      );
      expect(BARE_L).toBeGreaterThan(low!);
      expect(BARE_L).toBeLessThan(high!);
    }
  });

  test('without it, lightness is as the picture codes it', () => {
    const capture = take({ ...PHOTO, exposure: 0.67 });
    const { bare, reference } = readPatches(capture, locateChart(capture, [layout]));
    expect(reference).toBeUndefined();
    expect(BARE_L - bare[0]).toBeGreaterThan(8);
  });
});

test('a grey card of known lightness does the same, where it lies or where it is said to lie', () => {
  // On a table with a pattern, which nobody takes for a card.
  const table = (xMm: number, yMm: number) => ((Math.floor(xMm) + Math.floor(yMm)) % 2 === 0 ? 0.1 : 0.3);
  const card = {
    ...PHOTO,
    tableAt: (xMm: number, yMm: number) => (right(xMm, yMm) ? reflectanceOfLightness(50) : table(xMm, yMm)),
    bare: 0.5,
  };
  const found = read(card, { lightness: 50, tolerance: 1 });
  expect(Math.abs(found.bare[0] - lightnessOfReflectance(0.5))).toBeLessThan(1);
  const given = read(card, { lightness: 50, tolerance: 1, box: found.reference!.box });
  expect(given.bare[0]).toBeCloseTo(found.bare[0], 0);
});

describe('a reference is refused', () => {
  test('when there is none beside the chart', () => {
    const bareRim = { ...PHOTO, tableAt: () => 0.4 };
    const { code, message } = refusal(bareRim);
    expect(code).toBe('reference-unusable');
    expect(message).toContain('not the piece itself');
  });

  test('when what lies there is far from as light as paper', () => {
    expect(refusal({ ...PHOTO, tableAt: () => TABLE }).message).toMatch(/shows at L\* 4\d, needed one near L\* 93/);
  });

  test('when it is cut off', () => {
    expect(refusal({ ...PHOTO, exposure: 1.3 }).message).toContain('cut off at the top of the scale');
  });

  test('when it is coloured', () => {
    const { code, message } = refusal({ ...PHOTO, tint: [1.25, 1, 0.6] });
    expect(code).toBe('reference-unusable');
    expect(message).toContain('no even, neutral area');
  });

  test('when a shadow lies over it', () => {
    const place = (xMm: number, yMm: number) => (right(xMm, yMm) ? PAPER * (0.55 + (0.45 * yMm) / heightMm) : TABLE);
    expect(refusal({ ...PHOTO, tableAt: place }).code).toBe('reference-unusable');
  });

  test('when the place that was given is not even, or not in the picture', () => {
    const box = { x: 10, y: PHOTO.height / 2, width: PHOTO.width - 20, height: 60 };
    expect(refusal(PHOTO, { ...WHITE_PAPER, box }).code).toBe('reference-unusable');
    expect(refusal(PHOTO, { ...WHITE_PAPER, box: { ...box, x: 1e4 } }).code).toBe('option-invalid');
  });

  test('when a card may be one of several grey things', () => {
    expect(
      refusal({ ...PHOTO, tableAt: sheet(right, 0.5).tableAt }, { lightness: 76, tolerance: 1 }).message,
    ).toContain('even neutral areas beside the chart');
  });
});
