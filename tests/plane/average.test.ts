import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { makeAlphaPng } from '../../benchmarks/common/odd-images.ts';
import {
  createDots,
  createPlane,
  decodePhoto,
  findAttention,
  meanOver,
  ONE,
  readColour,
  readPhoto,
} from '../../src/plane/index.ts';

const draw = (...rows: string[]) =>
  createDots(
    rows[0]!.length,
    rows.length,
    2,
    Uint8Array.from(rows.join(''), (mark) => (mark === '#' ? 1 : 0)),
  );

describe('means over areas', () => {
  test('whole factors are plain averages', () => {
    const dots = draw('##..', '#...', '....', '###.');
    expect([...meanOver(dots, { width: 2, height: 2 }).data]).toEqual([0.75, 0, 0.5, 0.25]);
  });

  test('a dot that a border cuts counts by its parts', () => {
    const means = meanOver(draw('#..'), { width: 2, height: 1 });
    expect(means.data[0]).toBeCloseTo(2 / 3, 6);
    expect(means.data[1]).toBe(0);
    const across = meanOver(draw('.#.', '...', '...'), { width: 2, height: 2 });
    [...across.data].forEach((value, at) => {
      expect(value).toBeCloseTo([2 / 9, 2 / 9, 0, 0][at]!, 6);
    });
  });

  test('the same size gives the values themselves', () => {
    const dots = draw('#.#', '..#');
    expect([...meanOver(dots, { width: 3, height: 2 }).data]).toEqual([1, 0, 1, 0, 0, 1]);
  });

  test('each scale counts from 0 to 1 of its own full value', () => {
    const size = { width: 1, height: 1 };
    expect(meanOver(createPlane('luminance', 2, 1, Uint16Array.of(0, ONE)), size).data[0]).toBe(0.5);
    expect(meanOver(createPlane('coverage', 2, 1, Uint16Array.of(ONE, ONE)), size).data[0]).toBe(1);
    expect(meanOver(createPlane('mask', 2, 1, Uint8Array.of(255, 0)), size).data[0]).toBe(0.5);
    expect(meanOver(createDots(2, 1, 5, Uint8Array.of(4, 1)), size).data[0]).toBe(0.625);
    expect(meanOver(createPlane('lightness', 2, 1, Float32Array.of(40, 60)), size).data[0]).toBe(50);
  });

  test('the whole keeps its mean, at any size', () => {
    const side = fc.integer({ min: 1, max: 60 });
    fc.assert(
      fc.property(side, side, side, side, fc.nat(), (width, height, toWidth, toHeight, seed) => {
        const plane = createDots(
          width,
          height,
          2,
          Uint8Array.from({ length: width * height }, (_, at) => Math.imul(at + seed, 0x9e3779b1) >>> 31),
        );
        const size = { width: Math.min(width, toWidth), height: Math.min(height, toHeight) };
        const { data } = meanOver(plane, size);
        const mean = plane.data.reduce((a, b) => a + b, 0) / plane.data.length;
        expect(data.reduce((a, b) => a + b, 0) / data.length).toBeCloseTo(mean, 5);
      }),
      { seed: 12, numRuns: 150 },
    );
  });

  test('a larger size, or none, is refused', () => {
    for (const width of [5, 0, 1.5]) expect(() => meanOver(draw('....'), { width, height: 1 })).toThrow(RangeError);
  });
});

describe('a small picture of a photo', () => {
  test('kernel and plain loop give the same small picture, enlarged and reduced, of any part', async () => {
    const photo = await readPhoto('images/photos/raccoon.jpg');
    for (const [width, height] of [
      [1, 1],
      [37, 20],
      [400, 900],
    ] as const) {
      const crop = { x: 13.4, y: 7.9, width: 301.5, height: 222.2 };
      const [fast, plain] = (['simd', 'scalar'] as const).map((arithmetic) =>
        readColour(photo, { crop, width, height, arithmetic }),
      );
      expect(fast).toEqual(plain);
    }
  });

  test('shows the part that was asked for', async () => {
    const photo = await decodePhoto(await makeAlphaPng(), 'photo');
    const image = readColour(photo, { crop: { x: 0, y: 0, width: 64, height: 32 }, width: 32, height: 16 });
    expect([image.width, image.height, image.rgb.length]).toEqual([32, 16, 1536]);
    // Transparent on the left shows white, opaque on the right the colour itself.
    expect(image.rgb[2]).toBeGreaterThan(250);
    expect(Math.abs(image.rgb[3 * 31 + 2]! - 50)).toBeLessThan(4);
    const right = readColour(photo, { crop: { x: 48, y: 0, width: 16, height: 32 }, width: 4, height: 8 });
    expect(right.rgb[2]).toBeLessThan(110);
  });

  test('a grey photo gives three equal channels', async () => {
    const photo = await readPhoto('images/photos/photographer.png');
    const { rgb } = readColour(photo, { crop: { x: 0, y: 0, width: 512, height: 512 }, width: 16, height: 16 });
    for (let at = 0; at < rgb.length; at += 3) expect([rgb[at + 1], rgb[at + 2]]).toEqual([rgb[at], rgb[at]]);
  });
});

describe('the point that draws the eye', () => {
  test('is in the face of a portrait, for wide and for tall crops', async () => {
    const photo = await readPhoto('images/photos/portrait.png');
    for (const aspect of [2.2, 0.5]) {
      const { x, y } = await findAttention(photo, aspect);
      expect(x > 0.3 && x < 0.6 && y > 0.08 && y < 0.4, `${x}, ${y}`).toBe(true);
    }
  });

  test('is the middle when nothing is cut off', async () => {
    const photo = await readPhoto('images/photos/portrait.png');
    expect(await findAttention(photo, 1)).toEqual({ x: 0.5, y: 0.5 });
  });
});
