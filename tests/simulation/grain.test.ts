import { expect, test } from 'vitest';
import { createChance, hash32, normalAt } from '../../src/simulation/chance.ts';
import { createGrainField } from '../../src/simulation/grain.ts';

/** Rows of a field of 10 µm columns and rows. */
function fieldOf(lengthXUm: number, lengthYUm: number, seed = 3): Float32Array[] {
  const field = createGrainField({
    layer: { lengthXUm, lengthYUm, thresholdSd: 0, reflectanceSd: 0 },
    seed,
    columns: 400,
    columnUm: 10,
  });
  return Array.from({ length: 400 }, (_, y) => {
    const line = new Float32Array(400);
    field.addLine(line, y * 10, 1);
    return line;
  });
}

function correlation(a: readonly number[], b: readonly number[]): number {
  const mean = (values: readonly number[]) => values.reduce((sum, value) => sum + value, 0) / values.length;
  const [ma, mb] = [mean(a), mean(b)];
  const cov = mean(a.map((value, i) => (value - ma) * (b[i]! - mb)));
  return cov / Math.sqrt(mean(a.map((value) => (value - ma) ** 2)) * mean(b.map((value) => (value - mb) ** 2)));
}

test('grain has mean 0 and variance 1, at lattice points and between them', () => {
  const rows = fieldOf(40, 40);
  const all = rows.flatMap((row) => [...row]);
  expect(all.reduce((a, b) => a + b, 0) / all.length).toBeCloseTo(0, 1);
  for (const phase of [0, 1, 2, 3]) {
    const some = rows.filter((_, y) => y % 4 === phase).flatMap((row) => [...row]);
    const variance = some.reduce((sum, value) => sum + value * value, 0) / some.length;
    expect(Math.abs(variance - 1)).toBeLessThan(0.08);
  }
});

test('grain of equal lengths is alike in both directions, streaks are long along x', () => {
  const alike = (rows: readonly Float32Array[], dx: number, dy: number) => {
    const [a, b]: [number[], number[]] = [[], []];
    for (let y = 0; y + dy < 400; y += 3) {
      for (let x = 0; x + dx < 400; x += 3) {
        a.push(rows[y]![x]!);
        b.push(rows[y + dy]![x + dx]!);
      }
    }
    return correlation(a, b);
  };
  const even = fieldOf(80, 80);
  expect(Math.abs(alike(even, 4, 0) - alike(even, 0, 4))).toBeLessThan(0.12);
  expect(Math.abs(alike(even, 20, 0))).toBeLessThan(0.15);
  const streaks = fieldOf(800, 40);
  expect(alike(streaks, 8, 0)).toBeGreaterThan(0.85);
  expect(Math.abs(alike(streaks, 0, 8))).toBeLessThan(0.2);
});

test('grain depends on the seed alone', () => {
  expect(fieldOf(40, 40, 3)[7]).toEqual(fieldOf(40, 40, 3)[7]);
  expect(fieldOf(40, 40, 3)[7]).not.toEqual(fieldOf(40, 40, 4)[7]);
});

test('chance is uniform, normal and repeatable', () => {
  const chance = createChance(42);
  const uniform = Array.from({ length: 20_000 }, () => chance.uniform());
  const normal = Array.from({ length: 20_000 }, () => chance.normal());
  const mean = (values: readonly number[]) => values.reduce((a, b) => a + b, 0) / values.length;
  expect(Math.abs(mean(uniform) - 0.5)).toBeLessThan(0.01);
  expect(Math.abs(mean(uniform.map((u) => u * u)) - 1 / 3)).toBeLessThan(0.01);
  expect(Math.abs(mean(normal))).toBeLessThan(0.03);
  expect(Math.abs(mean(normal.map((n) => n * n)) - 1)).toBeLessThan(0.04);
  // 68.27 % of a normal distribution lie within one standard deviation.
  expect(Math.abs(normal.filter((n) => Math.abs(n) < 1).length / normal.length - 0.6827)).toBeLessThan(0.012);
  expect(createChance(42).uniform()).toBe(uniform[0]);
  expect(createChance(43).uniform()).not.toBe(uniform[0]);
});

test('the chance of a place does not follow from its neighbours', () => {
  const here = Array.from({ length: 4000 }, (_, i) => normalAt(1, i % 50, Math.floor(i / 50)));
  const right = Array.from({ length: 4000 }, (_, i) => normalAt(1, (i % 50) + 1, Math.floor(i / 50)));
  const below = Array.from({ length: 4000 }, (_, i) => normalAt(1, i % 50, Math.floor(i / 50) + 1));
  expect(Math.abs(correlation(here, right))).toBeLessThan(0.06);
  expect(Math.abs(correlation(here, below))).toBeLessThan(0.06);
  expect(new Set(Array.from({ length: 1000 }, (_, i) => hash32(i))).size).toBe(1000);
});
