import { expect, test } from 'vitest';
import { seededChance } from '../../benchmarks/common/face-scenes.ts';
import type { Cells } from '../../src/photo/cells.ts';
import { layGuidedLines } from '../../src/photo/guided-filter.ts';

const EPSILON = 0.01;
const gainOf = ({ covariance, variance }: { covariance: number; variance: number }) =>
  covariance / (variance + EPSILON);

/** The filter as its paper writes it (eq. 5, 6 and 8), window by window. */
function filterByThePaper(guide: Cells, input: Cells, radius: number): Float64Array {
  const { width, height } = guide;
  const windowOf = (at: number) => {
    const [cx, cy] = [at % width, Math.floor(at / width)];
    const cells: number[] = [];
    for (let y = Math.max(0, cy - radius); y <= Math.min(height - 1, cy + radius); y++) {
      for (let x = Math.max(0, cx - radius); x <= Math.min(width - 1, cx + radius); x++) cells.push(y * width + x);
    }
    return cells;
  };
  const mean = (cells: readonly number[], of: (at: number) => number) =>
    cells.reduce((sum, at) => sum + of(at), 0) / cells.length;
  const lines = Array.from(guide.data, (_, at) => {
    const cells = windowOf(at);
    const [mu, p] = [mean(cells, (i) => guide.data[i]!), mean(cells, (i) => input.data[i]!)];
    const variance = mean(cells, (i) => (guide.data[i]! - mu) ** 2);
    const a = mean(cells, (i) => (guide.data[i]! - mu) * (input.data[i]! - p)) / (variance + EPSILON);
    return [a, p - a * mu] as const;
  });
  return Float64Array.from(guide.data, (value, at) => {
    const cells = windowOf(at);
    return mean(cells, (i) => lines[i]![0]) * value + mean(cells, (i) => lines[i]![1]);
  });
}

const chance = seededChance(4);
const cellsOf = (width: number, height: number): Cells => ({
  width,
  height,
  data: Float32Array.from(
    { length: width * height },
    (_, at) => (at % width > width / 2 ? 0.8 : 0.3) + 0.05 * chance(),
  ),
});

test.each([
  [11, 7, 1],
  [9, 12, 3],
  [1, 5, 2],
])(
  'on %d × %d cells with windows of %d it is the filter of the paper, guided by itself and by another',
  (width, height, radius) => {
    const guide = cellsOf(width, height);
    for (const input of [undefined, cellsOf(width, height)]) {
      const { gain, offset } = layGuidedLines(guide, { radius, gainOf, ...(input ? { input } : {}) });
      const wanted = filterByThePaper(guide, input ?? guide, radius);
      guide.data.forEach((value, at) => {
        expect(gain.data[at]! * value + offset.data[at]!).toBeCloseTo(wanted[at]!, 4);
      });
    }
  },
);

test('neither guide nor input is touched', () => {
  const [guide, input] = [cellsOf(8, 8), cellsOf(8, 8)];
  const before = [guide.data.slice(), input.data.slice()];
  layGuidedLines(guide, { radius: 2, input, gainOf });
  expect([guide.data, input.data]).toEqual(before);
});
