import { expect, test } from 'vitest';
import { mapSamples, ONE } from '../../src/plane/index.ts';

const table = Uint16Array.from({ length: ONE + 1 }, (_, value) => (value * 40503) & 0xffff);

test('every sample goes through the table, by kernel and plainly, whatever the width', () => {
  for (const [width, height] of [
    [1, 1],
    [3, 2],
    [4, 3],
    [17, 5],
    [1000, 2],
  ] as const) {
    const from = Uint16Array.from({ length: width * height }, (_, at) => (at * 7919 + 13) % (ONE + 1));
    from[0] = ONE;
    const expected = from.map((value) => table[value]!);
    for (const arithmetic of ['fast', 'plain'] as const) {
      const to = new Uint16Array(from.length);
      mapSamples(from, to, { table, width, arithmetic });
      expect(to).toEqual(expected);
    }
  }
});

test('a table or a result of another length is refused', () => {
  const from = new Uint16Array(4);
  expect(() => mapSamples(from, new Uint16Array(4), { table: new Uint16Array(9), width: 4 })).toThrow(RangeError);
  expect(() => mapSamples(from, new Uint16Array(5), { table, width: 4 })).toThrow(RangeError);
});
