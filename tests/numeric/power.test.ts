import { readdirSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import fc from 'fast-check';
import { expect, test } from 'vitest';
import { cube, power } from '../../src/numeric/index.ts';

test('a power is the engine’s own but for its last bits', () => {
  const base = fc.double({ min: 1e-9, max: 1e6, noNaN: true });
  fc.assert(
    fc.property(base, fc.double({ min: -8, max: 8, noNaN: true }), (x, y) => {
      expect(Math.abs(power(x, y) / x ** y - 1)).toBeLessThan(5e-14);
      expect(Math.abs(cube(x) / x ** 3 - 1)).toBeLessThan(1e-15);
      expect(power(x, 1)).toBe(x);
    }),
  );
  expect([power(0, 2.4), power(0, 0), power(1, 7.3), power(9, 0.5)]).toEqual([0, 1, 1, 3]);
});

// Node 24 has another power than Node 22, from the sixteenth digit on; a fit carries that to the seventh.
test('nothing that is learned takes a power of the engine’s but the square, and of two', () => {
  for (const folder of ['chart', 'material', 'numeric', 'plane']) {
    for (const file of readdirSync(join('src', folder)).filter((name) => name.endsWith('.ts'))) {
      const code = readFileSync(join('src', folder, file), 'utf8').replace(/\/\*[\s\S]*?\*\/|\/\/.*/g, '');
      const odd = code.match(/Math\.pow|(?:\b2|\w|\)|\]) \*\* (?:[^2\s]|2[.\d])[^;\n]*/g) ?? [];
      expect([file, odd.filter((text) => !/^2 \*\* /.test(text))]).toEqual([file, []]);
    }
  }
});
