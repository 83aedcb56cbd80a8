import { converter } from 'culori';
import { describe, expect, test } from 'vitest';
import { createNoise } from '../../benchmarks/common/simulate-capture.ts';
import {
  applyHomography,
  boxCorners,
  fitHomography,
  fitPlane,
  invertHomography,
  signedArea,
} from '../../src/chart/geometry.ts';
import { blurBox, sampleCapture, sampleGrey, shrinkToGrey } from '../../src/chart/grey.ts';
import type { Point } from '../../src/chart/index.ts';
import { fitLight, type ReferenceField } from '../../src/chart/light.ts';
import { labOfLinearRgb } from '../../src/colour/index.ts';

describe('a homography', () => {
  const truth = [1.1, 0.2, 30, -0.15, 0.9, 12, 0.0004, -0.0002, 1];
  const from: Point[] = [
    [0, 0],
    [100, 3],
    [95, 80],
    [2, 77],
    [50, 40],
  ];
  const to = from.map(([x, y]): Point => applyHomography(truth, x, y));

  test('is found from points that it made, and inverted', () => {
    const found = fitHomography(from, to)!;
    const back = invertHomography(found);
    for (const [x, y] of [
      [10, 70],
      [99, 1],
      [-20, 30],
    ] as const) {
      const [px, py] = applyHomography(found, x, y);
      const [tx, ty] = applyHomography(truth, x, y);
      expect(Math.hypot(px - tx, py - ty)).toBeLessThan(1e-8);
      const [bx, by] = applyHomography(back, px, py);
      expect(Math.hypot(bx - x, by - y)).toBeLessThan(1e-8);
    }
  });

  test('is not made up from points on one line, and needs four', () => {
    const line: Point[] = [
      [0, 0],
      [1, 1],
      [2, 2],
      [3, 3],
    ];
    expect(fitHomography(line, boxCorners(0, 0, 1, 1))).toBeUndefined();
    expect(() => fitHomography(line.slice(1), line.slice(1))).toThrow(RangeError);
  });
});

test('a plane is found through values on it, and a constant from one point', () => {
  const plane = fitPlane([
    [0, 0, 1],
    [1, 0, 3],
    [0, 1, 0],
    [2, 2, 3],
  ]);
  expect(plane(3, 1)).toBeCloseTo(6, 9);
  expect(fitPlane([[5, 5, 7]])(0, 0)).toBe(7);
});

test('corners that run clockwise as seen have an area above 0', () => {
  expect(signedArea(boxCorners(1, 2, 3, 4))).toBe(12);
  expect(signedArea([...boxCorners(1, 2, 3, 4)].reverse())).toBe(-12);
});

describe('grey', () => {
  test.each([
    [1, 1, 2],
    [7, 5, 1],
    [9, 6, 3],
    [4, 4, 0],
    [5, 3, 9],
  ])('blurred on %i × %i pixels with radius %i is the mean of the box inside the picture', (width, height, radius) => {
    const random = createNoise(width + height);
    const data = Float32Array.from({ length: width * height }, () => random() * 255);
    const out = new Float32Array(data.length);
    blurBox({ width, height, data }, radius, { scratch: new Float32Array(data.length), out });
    for (let y = 0; y < height; y++) {
      for (let x = 0; x < width; x++) {
        // Separable means, as rows are averaged first.
        let sum = 0;
        let rows = 0;
        for (let v = Math.max(0, y - radius); v <= Math.min(height - 1, y + radius); v++) {
          let row = 0;
          let n = 0;
          for (let u = Math.max(0, x - radius); u <= Math.min(width - 1, x + radius); u++) {
            row += data[v * width + u]!;
            n++;
          }
          sum += row / n;
          rows++;
        }
        expect(out[y * width + x]!).toBeCloseTo(sum / rows, 3);
      }
    }
  });

  test('made smaller is the mean of whole squares, the same for 8 and 16 bits', () => {
    const rgb = Uint8Array.from(
      [10, 20, 30, 30, 20, 10, 0, 0, 0, 50, 50, 50, 70, 70, 70, 1, 1, 1].concat(new Array(18).fill(9)),
    );
    const small = shrinkToGrey({ width: 6, height: 2, rgb, bits: 8 }, 2);
    expect([small.width, small.height]).toEqual([3, 1]);
    const wide = Uint16Array.from(rgb, (value) => value * 257);
    const wideSmall = shrinkToGrey({ width: 6, height: 2, rgb: wide, bits: 16 }, 2);
    for (let i = 0; i < 3; i++) expect(wideSmall.data[i]!).toBeCloseTo(small.data[i]!, 3);
    expect(small.data[2]!).toBeCloseTo((70 + 1 + 9 + 9) / 4, 4);
  });

  test('read between pixels is linear, has pixel centres at +0.5 and nothing outside', () => {
    const rgb = Uint8Array.from([0, 0, 0, 100, 100, 100, 40, 40, 40, 140, 140, 140]);
    const capture = { width: 2, height: 2, rgb, bits: 8 } as const;
    const grey = sampleGrey(shrinkToGrey(capture, 1));
    for (const sample of [sampleCapture(capture), grey]) {
      expect(sample(0.5, 0.5)).toBeCloseTo(0, 4);
      expect(sample(1, 1)).toBeCloseTo(70, 4);
      expect(sample(0.75, 1)).toBeCloseTo(45, 4);
      expect(sample(1.6, 1)).toBeNaN();
      expect(sample(Number.NaN, 1)).toBeNaN();
    }
  });
});

describe('light', () => {
  const chart = { widthMm: 80, heightMm: 50 };
  const lightAt = (x: number, y: number) => 0.5 * Math.exp(0.2 * (x / 40 - 1) - 0.1 * (y / 25 - 1) ** 2);
  const references: ReferenceField[] = [];
  for (let x = 8; x < 80; x += 16) {
    for (let y = 5; y < 50; y += 13) {
      const kind = (x + y) % 3 === 0 ? 'solid' : 'bare';
      references.push({ kind, xMm: x, yMm: y, light: lightAt(x, y) * (kind === 'solid' ? 0.12 : 1) });
    }
  }

  test('is found from bare and solid references together', () => {
    const surface = fitLight(references, chart);
    expect(surface.degree).toBe(2);
    expect(surface.solidRatio).toBeCloseTo(0.12, 6);
    expect(surface.bareAt(33, 20)).toBeCloseTo(lightAt(33, 20), 6);
    expect(surface.disagreement).toBeLessThan(1e-6);
  });

  test('is not bent by one reference under a reflection, which stands out', () => {
    const spoilt = references.map((one, at) => (at === 7 ? { ...one, light: one.light * 1.5 } : one));
    const surface = fitLight(spoilt, chart);
    expect(surface.bareAt(33, 20)).toBeCloseTo(lightAt(33, 20), 2);
    expect(surface.residuals[7]!).toBeCloseTo(Math.log(1.5), 1);
  });

  test('is flat when there are few references, and needs a bare one', () => {
    const two: ReferenceField[] = [
      { kind: 'bare', xMm: 10, yMm: 10, light: 0.4 },
      { kind: 'solid', xMm: 70, yMm: 40, light: 0.1 },
    ];
    const surface = fitLight(two, chart);
    expect([surface.degree, surface.unevenness]).toEqual([0, 1]);
    expect(surface.solidRatio).toBeCloseTo(0.25, 6);
    expect(() => fitLight(two.slice(1), chart)).toThrow(RangeError);
  });
});

test('colours have the L*a*b* that culori gives them', () => {
  const toLab = converter('lab65');
  for (const [r, g, b] of [
    [1, 1, 1],
    [0.18, 0.18, 0.18],
    [1, 0, 0],
    [0.1, 0.5, 0.3],
    [0.002, 0.001, 0.003],
  ] as const) {
    const { l, a, b: yellow } = toLab({ mode: 'lrgb', r, g, b });
    const [lightness, ours, theirs] = labOfLinearRgb([r, g, b]);
    // culori has sRGB's matrix to more places than the standard prints.
    expect(Math.abs(lightness - l)).toBeLessThan(0.02);
    expect(Math.abs(ours - a)).toBeLessThan(0.06);
    expect(Math.abs(theirs - yellow)).toBeLessThan(0.06);
  }
});
