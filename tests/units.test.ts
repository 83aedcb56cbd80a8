import { describe, expect, test } from 'vitest';
import { parseLengthMm, parseSizeMm } from '../src/units.ts';

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
  ])('%s is %d mm', (text, mm) => {
    expect(parseLengthMm(text, '--pitch')).toBeCloseTo(mm, 12);
  });

  test.each(['', 'abc', '0', '-1', '1ft', '0x10', '1 2', 'Infinity'])(
    '%j is refused by the name of its option',
    (text) => {
      expect(() => parseLengthMm(text, '--pitch')).toThrow(/--pitch: found/);
    },
  );
});

describe('sizes', () => {
  test('take a unit at the end for both, or one each', () => {
    const { widthMm, heightMm } = parseSizeMm('3.37x2.125in', '--size');
    expect(widthMm).toBeCloseTo(85.598, 9);
    expect(heightMm).toBeCloseTo(53.975, 9);
    expect(parseSizeMm('1in x 20mm', '--size')).toMatchObject({ widthMm: 25.4, heightMm: 20 });
    expect(parseSizeMm('85.6×54', '--size')).toMatchObject({ widthMm: 85.6, heightMm: 54, cornerRadiusMm: 0 });
  });

  test('ID-1 is 85.60 × 53.98 mm, 3.370 × 2.125 in, with a corner of 2.88 to 3.48 mm (ISO/IEC 7810)', () => {
    const { widthMm, heightMm, cornerRadiusMm } = parseSizeMm('ID-1', '--size');
    expect([widthMm, heightMm]).toEqual([85.6, 53.98]);
    expect(widthMm / 25.4).toBeCloseTo(3.37, 3);
    expect(heightMm / 25.4).toBeCloseTo(2.125, 3);
    expect(cornerRadiusMm).toBeGreaterThanOrEqual(2.88);
    expect(cornerRadiusMm).toBeLessThanOrEqual(3.48);
  });

  test.each(['', '85', 'x', '85x', '1x2x3', 'card'])('%j is refused', (text) => {
    expect(() => parseSizeMm(text, '--size')).toThrow(/--size/);
  });
});
