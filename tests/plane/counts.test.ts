import { expect, test } from 'vitest';
import { createRandom } from '../../src/numeric/index.ts';
import { countFiring, countValues, createDots, createPlane, isWhole, ONE, scanRows } from '../../src/plane/index.ts';

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

test('rows of dots are told the same by the kernel and dot by dot, whatever the width and the place in memory', () => {
  const random = createRandom(5);
  for (let width = 1; width <= 70; width++) {
    for (const offset of [0, 1, 2, 3]) {
      const height = 6;
      const bytes = new Uint8Array(offset + width * height).subarray(offset);
      // The first row stays bare, the last fires throughout.
      for (let i = width; i < bytes.length; i++) {
        const fires = i >= 5 * width || random.nextUnit() < 0.5;
        bytes[i] = fires ? 1 + Math.floor(255 * random.nextUnit()) : 0;
      }
      const dots = createDots(width, height, 256, bytes);
      const found = scanRows(dots);
      expect(found).toEqual(scanRows(dots, { arithmetic: 'scalar' }));
      expect([found.first[0], found.last[0], found.firing[0], found.runs[0]]).toEqual([-1, -1, 0, 0]);
      expect([found.first[5], found.last[5], found.firing[5], found.runs[5]]).toEqual([0, width - 1, width, 1]);
    }
  }
});

test('a row is told as one counts it by hand', () => {
  const { first, last, firing, runs } = scanRows(createDots(8, 1, 2, Uint8Array.of(0, 1, 1, 0, 1, 0, 0, 0)));
  expect([...first, ...last, ...firing, ...runs]).toEqual([1, 4, 3, 2]);
});
