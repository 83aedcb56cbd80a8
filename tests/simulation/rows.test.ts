import { describe, expect, test } from 'vitest';
import { createRandom } from '../../src/numeric/index.ts';
import { startFastRows, startPlainRows } from '../../src/simulation/engrave-rows.ts';
import { startFastBlur, startPlainBlur } from '../../src/simulation/row-blur.ts';
import { startFastSum, startPlainSum } from '../../src/simulation/row-sum.ts';

const random = createRandom(3);
const draw = (length: number, most = 1) => new Float32Array(length).map(() => most * (random.nextUint32() / 2 ** 32));

describe('the kernels give the bits of the plain rows', () => {
  test.each([1, 2, 3, 4, 7, 64, 101])('weighted rows of %i samples onto one, whole and in part', (samples) => {
    const all = [startPlainSum(samples, 3), startFastSum(samples, 3)!];
    const rows = [draw(samples), draw(samples, 1e-3), draw(samples, 40)];
    const sums = all.map(({ sum, spare, clear, add }) => {
      sum.fill(9);
      clear();
      rows.forEach((row, at) => {
        spare[at]!.set(row);
        add(spare[at]!, Math.fround(0.1 + 0.3 * at), at % 2, samples);
      });
      return new Float32Array(sum);
    });
    expect(sums[1]).toEqual(sums[0]);
    expect(sums[0]!.at(-1)).toBeGreaterThan(0);
  });

  test.each([
    { columns: 5, perDot: 3, pixels: 5 },
    { columns: 40, perDot: 3, pixels: 113 },
    { columns: 7, perDot: 2, pixels: 3 },
    { columns: 31, perDot: 12, pixels: 97 },
  ])('colours by dose, and their means over pixels: $columns × $perDot samples on $pixels pixels', (shape) => {
    const colours = { perRatio: 10, count: 50, rgb: draw(150, 1.2) };
    const [plain, fast] = [startPlainRows(shape, colours), startFastRows(shape, colours)!];
    // Some doses lie beyond the table.
    const [dose, answer, shade] = [
      draw(shape.columns * shape.perDot, 8),
      draw(shape.columns, 9),
      draw(shape.columns, 2),
    ];
    const rows = [plain, fast].map((passes) => new Float32Array(passes.colour(dose, answer, shade)));
    expect(rows[1]).toEqual(rows[0]);
    expect(new Float32Array(fast.average(fast.colour(dose, answer, shade)))).toEqual(plain.average(rows[0]!));
    // Light that was scattered comes from another memory.
    const other = draw(rows[0]!.length);
    expect(new Float32Array(fast.average(other))).toEqual(plain.average(other));
  });

  test.each([1, 2, 5, 33])('a blur along and across rows of %i pixels', (width) => {
    const taps = Float32Array.of(0.1, 0.2, 0.4, 0.2, 0.1);
    const all = [startPlainBlur(taps, width), startFastBlur(taps, width)!];
    const row = draw(3 * (width + 4));
    const rows = Array.from(taps, () => draw(3 * width));
    const made = all.map((blur) => {
      blur.row.set(row);
      blur.ring.forEach((one, at) => {
        one.set(rows[at]!);
      });
      return [new Float32Array(blur.along()), new Float32Array(blur.across(7))];
    });
    expect(made[1]).toEqual(made[0]);
  });
});
