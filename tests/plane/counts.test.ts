import { expect, test } from 'vitest';
import { createRandom } from '../../src/numeric/index.ts';
import { countFiring, countRuns, countValues, createDots, createPlane, isWhole, ONE } from '../../src/plane/index.ts';

test('values are counted, and under a mask only where at least half may be marked', () => {
  const plane = createPlane('luminance', 4, 1, Uint16Array.of(0, 7, 7, ONE));
  expect([0, 7, ONE].map((value) => countValues(plane)[value])).toEqual([1, 2, 1]);
  const counts = countValues(plane, { mask: createPlane('mask', 4, 1, Uint8Array.of(255, 128, 127, 0)) });
  expect([0, 7, ONE].map((value) => counts[value])).toEqual([1, 1, 0]);
  expect(() => countValues(plane, { mask: createPlane('mask', 1, 1) })).toThrow(RangeError);
});

test('the kernel counts the same as the plain loop, an odd number of dots and more than one block of them', () => {
  for (const width of [1, 2, 33, 70_001]) {
    const data = Uint16Array.from({ length: width }, (_, at) => Math.imul(at >> 2, 0x9e3779b1) >>> 17);
    const plane = createPlane('coverage', width, 1, data);
    expect(countValues(plane)).toEqual(countValues(plane, { arithmetic: 'scalar' }));
  }
});

test('dots fire at any level', () => {
  expect(countFiring(createDots(7, 1, 256, Uint8Array.of(0, 1, 255, 0, 128, 0, 3)))).toBe(4);
});

test('a mask is whole when each of its values is 255, wherever in its words the row begins and ends', () => {
  const bytes = new Uint8Array(20).fill(255);
  for (let from = 0; from < 5; from++) {
    for (let to = from; to <= 12; to++) {
      expect(isWhole(bytes.subarray(from, to))).toBe(true);
      for (let at = from; at < to; at++) {
        bytes[at] = 254;
        expect(isWhole(bytes.subarray(from, to))).toBe(false);
        bytes[at] = 255;
      }
    }
  }
});

test('runs of dots that fire are counted row by row, whatever the width and the place in memory', () => {
  const random = createRandom(5);
  for (let width = 1; width <= 21; width++) {
    for (const offset of [0, 1, 2, 3]) {
      const height = 6;
      const bytes = new Uint8Array(offset + width * height).subarray(offset);
      for (let i = 0; i < bytes.length; i++)
        bytes[i] = random.nextUnit() < 0.5 ? 0 : 1 + Math.floor(255 * random.nextUnit());
      let runs = 0;
      for (let y = 0; y < height; y++) {
        for (let x = 0; x < width; x++) {
          if (bytes[y * width + x]! > 0 && (x === 0 || bytes[y * width + x - 1] === 0)) runs++;
        }
      }
      expect(countRuns(createDots(width, height, 256, bytes))).toBe(runs);
    }
  }
});
