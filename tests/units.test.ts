import { describe, expect, test } from 'vitest';
import { numberOf } from '../src/options.ts';
import { parseLengthMm, parseLengthOrZeroMm, parsePlaceMm, parseSizeMm } from '../src/units.ts';

describe('lengths', () => {
  test.each([
    ['0.02', 0.02],
    ['0.02mm', 0.02],
    ['80um', 0.08],
    ['80 µm', 0.08],
    ['0.5in', 12.7],
    ['2 cm', 20],
    ['.5', 0.5],
    ['1e-2', 0.01],
    ['0,02', 0.02],
    ['85,6 mm', 85.6],
    ['0,125', 0.125],
    ['3.37"', 85.598],
    ['3 3/8 in', 85.725],
    ['1/2”', 12.7],
    ['1.5 inches', 38.1],
    ['80 μm', 0.08],
  ])('%s is %d mm', (text, mm) => {
    expect(parseLengthMm(text, '--pitch')).toBeCloseTo(mm, 12);
  });

  test.each(['', 'abc', '0', '-1', '1ft', '0x10', '1 2', 'Infinity', '1,2,3', '1/0', '1.5/2', 'mm'])(
    '%j is refused by the name of its option',
    (text) => {
      expect(() => parseLengthMm(text, '--pitch')).toThrow(/--pitch: found/);
    },
  );
});

test('a comma before three digits is told to mean two things, and none is taken', () => {
  expect(() => parseLengthMm('1,250 mm', '--pitch')).toThrow(/--pitch: found "1,250 mm".*write 1\.250 or 1250$/);
  expect(() => parseSizeMm('1,250x2', '--size')).toThrow(/write 1\.250 or 1250/);
  expect(() => numberOf({ seed: '1,250' }, 'seed')).toThrow(/seed: found "1,250".*write 1\.250 or 1250/);
  expect(numberOf({ contrast: '-0,25' }, 'contrast')).toBe(-0.25);
});

test.each(['0', '0,0', '0.00 mm', '0"'])('%s is no length, where none is allowed', (text) => {
  expect(parseLengthOrZeroMm(text, '--margin')).toBe(0);
  expect(() => parseLengthMm(text, '--margin')).toThrow(/--margin/);
});

describe('sizes', () => {
  test('take a unit at the end for both, or one each', () => {
    const { widthMm, heightMm } = parseSizeMm('3.37x2.125in', '--size');
    expect(widthMm).toBeCloseTo(85.598, 9);
    expect(heightMm).toBeCloseTo(53.975, 9);
    expect(parseSizeMm('1in x 20mm', '--size')).toMatchObject({ widthMm: 25.4, heightMm: 20 });
    expect(parseSizeMm('85.6×54', '--size')).toMatchObject({ widthMm: 85.6, heightMm: 54, cornerRadiusMm: 0 });
  });

  test.each(['⌀80', 'Ø 80 mm', 'ø8cm', 'd80', 'D 80mm', 'dia 80', 'dia. 80', 'diameter 80', 'round80', 'round 80'])(
    '%s is a round piece',
    (text) => {
      expect(parseSizeMm(text, '--size')).toEqual({ widthMm: 80, heightMm: 80, cornerRadiusMm: 40 });
    },
  );

  test('a diameter below one needs no zero', () => {
    for (const text of ['d.5in', '⌀.5in', 'round .5in', 'dia. .5in']) {
      expect(parseSizeMm(text, '--size').widthMm).toBeCloseTo(12.7, 9);
    }
  });

  test('ID-1 is 85.60 × 53.98 mm, 3.370 × 2.125 in, with a corner of 2.88 to 3.48 mm (ISO/IEC 7810)', () => {
    const { widthMm, heightMm, cornerRadiusMm } = parseSizeMm('ID-1', '--size');
    expect([widthMm, heightMm]).toEqual([85.6, 53.98]);
    expect(widthMm / 25.4).toBeCloseTo(3.37, 3);
    expect(heightMm / 25.4).toBeCloseTo(2.125, 3);
    expect(cornerRadiusMm).toBeGreaterThanOrEqual(2.88);
    expect(cornerRadiusMm).toBeLessThanOrEqual(3.48);
  });

  test.each([
    ['85,6x54', 85.6, 54],
    ['85,6 × 53,98 mm', 85.6, 53.98],
    ['85.6 by 54', 85.6, 54],
    ['3.37"x2.125"', 85.598, 53.975],
    ['3 3/8 x 2 1/8 in', 85.725, 53.975],
    ['80', 80, 80],
    ['2in', 50.8, 50.8],
    ['ID1', 85.6, 53.98],
    ['id 1', 85.6, 53.98],
    ['Card', 85.6, 53.98],
    ['id_000', 25, 15],
  ])('%s is %d × %d mm', (text, width, height) => {
    const { widthMm, heightMm } = parseSizeMm(text, '--size');
    expect(widthMm).toBeCloseTo(width, 9);
    expect(heightMm).toBeCloseTo(height, 9);
  });

  test.each(['', '-85', '0', 'x', '85x', '1x2x3', 'id-9', 'baby', 'constructor'])('%j is refused', (text) => {
    expect(() => parseSizeMm(text, '--size')).toThrow(/--size/);
  });
});

test('a place is two lengths from a corner, with points or commas in them', () => {
  expect(parsePlaceMm('20,35.5', 'at')).toEqual({ xMm: 20, yMm: 35.5 });
  expect(parsePlaceMm('2cm; 35,5', 'at')).toEqual({ xMm: 20, yMm: 35.5 });
  expect(parsePlaceMm('0,0', 'at')).toEqual({ xMm: 0, yMm: 0 });
  for (const text of ['20', '20,', '-1,5', '1,2,3', 'a,b']) {
    expect(() => parsePlaceMm(text, 'at')).toThrow('at: found');
  }
});
