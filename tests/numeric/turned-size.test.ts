import { expect, test } from 'vitest';
import { sizeTurned, splitTurn } from '../../src/numeric/index.ts';

test.each([
  [0, 0, 0],
  [90, 1, 0],
  [-90, 3, 0],
  [180, 2, 0],
  [-180, 2, 0],
  [93, 1, 3],
  [-2.5, 0, -2.5],
  [270, 3, 0],
])('%s degrees are %s quarters and %s', (deg, quarters, restDeg) => {
  const found = splitTurn(deg);
  expect(found.quarters).toBe(quarters);
  expect(found.restDeg).toBeCloseTo(restDeg, 12);
});

test('quarters keep every pixel and exchange the sides', () => {
  expect(sizeTurned({ width: 30, height: 20 }, 0)).toEqual({ width: 30, height: 20 });
  expect(sizeTurned({ width: 30, height: 20 }, 90)).toEqual({ width: 20, height: 30 });
  expect(sizeTurned({ width: 30, height: 20 }, 180)).toEqual({ width: 30, height: 20 });
});

// Literal: a square turned by 45 degrees holds a square of 1/√2 of its side.
test('a square that is turned by an eighth keeps 1/√2 of its side', () => {
  expect(sizeTurned({ width: 1000, height: 1000 }, 45)).toEqual({ width: 707, height: 707 });
});

test.each([1, 5, 20, 44, 93, 137])(
  'the corners of what is kept at %s degrees lie in the photo, and touch its edge',
  (deg) => {
    const photo = { width: 3000, height: 2000 };
    const kept = sizeTurned(photo, deg);
    const angle = (-deg * Math.PI) / 180;
    const reach = [1, -1].map((sign) => {
      const [x, y] = [kept.width / 2, (sign * kept.height) / 2];
      return {
        x: Math.abs(x * Math.cos(angle) - y * Math.sin(angle)),
        y: Math.abs(x * Math.sin(angle) + y * Math.cos(angle)),
      };
    });
    const [x, y] = [Math.max(...reach.map((at) => at.x)), Math.max(...reach.map((at) => at.y))];
    expect(x).toBeLessThanOrEqual(1500 + 1e-6);
    expect(y).toBeLessThanOrEqual(1000 + 1e-6);
    // Whole pixels: at most two are lost on the way down.
    expect(Math.min(1500 - x, 1000 - y)).toBeLessThan(2);
  },
);
