import { describe, expect, test } from 'vitest';
import { sayHeadroom } from '../../src/job/index.ts';

const point = (coverage: number, lightness: number) => ({ coverage, lightness, spread: 0 });

describe('the headroom of a learned curve', () => {
  test('is what lies between its end and the solid, for either direction of the mark', () => {
    const darker = { bare: [70, 0, 0], full: [24, 0, 0], points: [point(0, 70), point(0.97, 24.25)] } as const;
    expect(sayHeadroom(darker)).toBe('0.25 L*: the curve ends so far below the strongest mark, at 97 % of the dots');
    const lighter = { bare: [25, 0, 0], full: [85, 0, 0], points: [point(0, 25), point(0.992, 84.5)] } as const;
    expect(sayHeadroom(lighter)).toBe('0.5 L*: the curve ends so far below the strongest mark, at 99.2 % of the dots');
  });

  test('is nothing where lightness turns back: the end of the curve is a stronger mark than the solid', () => {
    const turning = { bare: [70, 0, 0], full: [46.7, 0, 0], points: [point(0, 70), point(0.478, 37.1)] } as const;
    expect(sayHeadroom(turning)).toBe(
      'nothing: more dots turn the lightness back, so the curve ends at 47.8 % of the dots, 9.6 L* beyond the solid',
    );
  });
});
