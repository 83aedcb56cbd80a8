import { expect, test } from 'vitest';
import { mapSamples, ONE } from '../../src/plane/index.ts';

const table = Uint16Array.from({ length: ONE + 1 }, (_, value) => (value * 40503) & 0xffff);

test('every sample goes through the table, by kernel and plainly, however many', () => {
  for (const length of [1, 6, 12, 85, 2000, (1 << 15) - 1, 1 << 15, 100_003]) {
    const from = Uint16Array.from({ length }, (_, at) => (at * 7919 + 13) % (ONE + 1));
    from[0] = ONE;
    const expected = from.map((value) => table[value]!);
    for (const arithmetic of ['simd', 'scalar'] as const) {
      const to = new Uint16Array(length);
      mapSamples(from, to, { table, arithmetic });
      expect(to).toEqual(expected);
      const inPlace = from.slice();
      mapSamples(inPlace, inPlace, { table, arithmetic });
      expect(inPlace).toEqual(expected);
    }
  }
});

test('a table or a result of another length is refused', () => {
  const from = new Uint16Array(4);
  expect(() => mapSamples(from, new Uint16Array(4), { table: new Uint16Array(9) })).toThrow(RangeError);
  expect(() => mapSamples(from, new Uint16Array(5), { table })).toThrow(RangeError);
});
