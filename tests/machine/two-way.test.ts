import { describe, expect, test } from 'vitest';
import {
  expectOffset,
  listBackLines,
  moveBackLines,
  rememberOffset,
  splitOffset,
  type TwoWayRecord,
} from '../../src/machine/index.ts';
import { createDots, type Dots } from '../../src/plane/index.ts';

const draw = (...rows: readonly string[]): Dots =>
  createDots(
    rows[0]!.length,
    rows.length,
    2,
    Uint8Array.from(rows.join(''), (sign) => (sign === '#' ? 1 : 0)),
  );
const show = ({ data, width }: Dots) =>
  Array.from({ length: data.length / width }, (_, y) =>
    Array.from(data.subarray(y * width, (y + 1) * width), (dot) => (dot > 0 ? '#' : '.')).join(''),
  );

describe('lines that run back', () => {
  const PICTURE = draw('..##..', '..##..', '......', '..##..', '#.....');

  test('are each second one that fires, where bare lines are passed over', () => {
    expect([...listBackLines(PICTURE)]).toEqual([0, 1, 0, 0, 1]);
    expect([...listBackLines(PICTURE, 'line-ends-scanned')]).toEqual([0, 1, 0, 0, 1]);
    expect([...listBackLines(PICTURE, 'all-scanned')]).toEqual([0, 1, 0, 1, 0]);
  });

  test('move by whole dots, and one of which nothing would be left stays', () => {
    expect(show(moveBackLines(PICTURE, { byDots: -1 }))).toEqual(['..##..', '.##...', '......', '..##..', '#.....']);
    expect(show(moveBackLines(PICTURE, { byDots: 3 }))).toEqual(['..##..', '.....#', '......', '..##..', '...#..']);
    expect(moveBackLines(PICTURE, { byDots: 0 })).toBe(PICTURE);
  });
});

/** Offsets of a machine with a fixed part and a delay, read at some speeds. */
function measure(speeds: readonly number[], { fixedUm = 0, delayUs = 0, reachUm = 0.5 } = {}): TwoWayRecord {
  return speeds.reduce<TwoWayRecord | undefined>((known, speedMmPerS) => {
    const offsetUm = fixedUm - (2 * delayUs * speedMmPerS) / 1000;
    const interval = { lowUm: offsetUm - reachUm, highUm: offsetUm + reachUm };
    return rememberOffset(known, {
      machine: 'any',
      reading: { chart: 'c', date: '2026-01-01', speedMmPerS, offsetUm, ...interval },
    });
  }, undefined)!;
}

describe('offsets at several speeds', () => {
  test('tell a delay from a fixed offset', () => {
    const parts = splitOffset(measure([800, 2000], { fixedUm: 12, delayUs: 9 }))!;
    expect(parts.fixedUm.value).toBeCloseTo(12, 6);
    expect(parts.delayUs.value).toBeCloseTo(9, 6);
    expect(parts.delayUs.high - parts.delayUs.low).toBeCloseTo((2 * 0.5 * Math.SQRT2 * 500) / 1200, 3);
    expect(splitOffset(measure([800, 800], { fixedUm: 12 }))).toBeUndefined();
  });

  test('say what to expect between and a little beyond them, and less surely there', () => {
    const record = measure([800, 2000], { fixedUm: 12, delayUs: 9 });
    const [own, between, beyond] = [2000, 1400, 2900].map((speed) => expectOffset(record, speed)!);
    expect(own).toMatchObject({ by: 'this-speed', offsetUm: 12 - 36 });
    expect(between!.offsetUm).toBeCloseTo(12 - 25.2, 6);
    expect(beyond!.highUm - beyond!.lowUm).toBeGreaterThan(2 * (between!.highUm - between!.lowUm));
    expect(expectOffset(record, 3100)).toBeUndefined();
    expect(expectOffset(measure([800], { fixedUm: 12 }), 1000)).toBeUndefined();
  });

  test('are kept one a speed, the newest', () => {
    const again = rememberOffset(measure([800, 2000]), {
      machine: 'any',
      reading: { chart: 'd', date: '2026-02-02', speedMmPerS: 2001, offsetUm: 1, lowUm: 0, highUm: 2 },
    });
    expect(again.measured.map(({ chart }) => chart)).toEqual(['c', 'd']);
  });
});
