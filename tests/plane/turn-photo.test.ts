import { describe, expect, test } from 'vitest';
import { type Photo, turnPhoto } from '../../src/plane/index.ts';

const grey = (rows: readonly (readonly number[])[], channels: 1 | 3 = 1): Photo =>
  ({
    width: rows[0]!.length,
    height: rows.length,
    bits: 8,
    channels,
    rgb: Uint8Array.from(rows.flat().flatMap((value) => Array.from({ length: channels }, (_, c) => value + c))),
    facts: {},
  }) as unknown as Photo;
const show = ({ width, height, channels, rgb }: Photo) =>
  Array.from({ length: height }, (_, y) => Array.from({ length: width }, (_, x) => rgb[(y * width + x) * channels]));

describe('quarters are exact', () => {
  const photo = grey([
    [1, 2, 3],
    [4, 5, 6],
  ]);

  test.each([
    [
      90,
      [
        [4, 1],
        [5, 2],
        [6, 3],
      ],
    ],
    [
      180,
      [
        [6, 5, 4],
        [3, 2, 1],
      ],
    ],
    [
      -90,
      [
        [3, 6],
        [2, 5],
        [1, 4],
      ],
    ],
  ] as const)('clockwise by %i°', (deg, turned) => {
    expect(show(turnPhoto(photo, deg))).toEqual(turned);
  });

  test('all channels and the transparency go along, and four of them are none', () => {
    const colour = { ...grey([[10, 20]], 3), alpha: Uint8Array.of(1, 2) };
    const turned = turnPhoto(colour, 90);
    expect([[...turned.rgb], [...turned.alpha!]]).toEqual([
      [10, 11, 12, 20, 21, 22],
      [1, 2],
    ]);
    const back = [1, 2, 3].reduce((photo) => turnPhoto(photo, 90), turned);
    expect([[...back.rgb], back.width, back.height]).toEqual([[...colour.rgb], 2, 1]);
  });
});

test('a straightened photo has its shape, no empty corner, and stands straight', () => {
  // A black line that falls by 5° to the right, on white.
  const [width, height] = [240, 160];
  const slope = Math.tan((5 * Math.PI) / 180);
  const rows = Array.from({ length: height }, (_, y) =>
    Array.from({ length: width }, (_, x) => (Math.abs(y - 80 - (x - 120) * slope) < 2 ? 0 : 255)),
  );
  const straight = turnPhoto(grey(rows), -5);
  expect(straight.width / straight.height).toBeCloseTo(1.5, 1);
  expect(straight.width).toBeGreaterThan(190);
  const darkest = (x: number) => {
    const column = show(straight).map((row) => row[x]!);
    return column.indexOf(Math.min(...column));
  };
  expect(Math.abs(darkest(5) - darkest(straight.width - 6))).toBeLessThanOrEqual(3);
});
