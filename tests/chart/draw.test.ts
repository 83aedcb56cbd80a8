import { createRequire } from 'node:module';
import { describe, expect, test } from 'vitest';
import { drawOnce, EXAMPLE, LAYOUTS, screenByChance } from '../../benchmarks/common/example-charts.ts';
import { drawText } from '../../src/chart/font.ts';
import { drawChart, drawDoseCells, drawWithoutDoseCells, fires, layoutChart } from '../../src/chart/index.ts';
import { createDots, type Dots } from '../../src/plane/index.ts';

const require = createRequire(import.meta.url);
const { AprilTagFamily } = require('apriltag') as {
  AprilTagFamily: new (family: unknown) => { render: (id: number) => string[][] };
};
const family = new AprilTagFamily(require('apriltag/families/36h11.json'));

const share = (dots: Dots, x: number, y: number, width: number, height: number) => {
  let sum = 0;
  for (let row = y; row < y + height; row++)
    for (let at = x; at < x + width; at++) sum += dots.data[row * dots.width + at]!;
  return sum / (width * height);
};

describe('a drawn chart', () => {
  const layout = LAYOUTS.tone;
  const dots = drawOnce(layout);

  test('has the dots that its layout says', () => {
    expect([dots.width, dots.height]).toEqual([layout.widthDots, layout.heightDots]);
  });

  test('gives every patch the coverage it names', () => {
    for (const { xDots, yDots, widthDots, heightDots, coverage, pattern } of layout.patches) {
      const exact = pattern.kind === 'bare' || pattern.kind === 'solid';
      const period = 'period' in pattern ? pattern.period : 'dots' in pattern ? 2 * pattern.dots : 1;
      const width = widthDots - (widthDots % period);
      const height = heightDots - (heightDots % period);
      expect(Math.abs(share(dots, xDots, yDots, width, height) - coverage)).toBeLessThanOrEqual(
        exact ? 0 : pattern.kind === 'screened' ? 0.03 : 1e-12,
      );
    }
  });

  test('draws its tags cell by cell as the npm package apriltag does', () => {
    for (const tag of layout.tags) {
      const cells = family.render(tag.id);
      for (let y = 0; y < 10; y++) {
        for (let x = 0; x < 10; x++) {
          const seen = share(
            dots,
            tag.xDots + x * tag.cellDotsX,
            tag.yDots + y * tag.cellDotsY,
            tag.cellDotsX,
            tag.cellDotsY,
          );
          expect(seen).toBe(cells[y]![x] === 'b' ? 1 : 0);
        }
      }
    }
  });

  test('leaves the gap around each patch bare', () => {
    for (const { xDots, yDots, widthDots, heightDots } of layout.patches) {
      expect(share(dots, xDots - 6, yDots, 6, heightDots)).toBe(0);
      expect(share(dots, xDots, yDots + heightDots, widthDots, 6)).toBe(0);
    }
  });

  test('keeps the levels of a screen that modulates power', () => {
    const grey = drawChart(layout, (coverage) => {
      const out = createDots(coverage.width, coverage.height, 16);
      out.data.fill(Math.round(coverage.data[0]! / 2184.5));
      return out;
    });
    const solid = layout.patches.find(({ role }) => role === 'solid')!;
    expect(grey.levels).toBe(16);
    expect(grey.data[solid.yDots * grey.width + solid.xDots]).toBe(15);
  });

  test('refuses a screen that changes the size', () => {
    expect(() => drawChart(layout, () => createDots(1, 1))).toThrow(RangeError);
  });
});

describe('exact patterns', () => {
  const draw = (pattern: Parameters<typeof fires>[0]) =>
    Array.from({ length: 4 }, (_, y) =>
      Array.from({ length: 8 }, (_x, x) => (fires(pattern, x, y) ? '#' : '.')).join(''),
    );

  test.each([
    [{ kind: 'checker', dots: 2 }, ['##..##..', '##..##..', '..##..##', '..##..##']],
    [{ kind: 'squares', dots: 1, period: 3 }, ['#..#..#.', '........', '........', '#..#..#.']],
    [{ kind: 'lines-x', dots: 1, period: 2 }, ['########', '........', '########', '........']],
    [{ kind: 'lines-y', dots: 3, period: 4 }, ['###.###.', '###.###.', '###.###.', '###.###.']],
    [{ kind: 'bare' }, ['........', '........', '........', '........']],
    [{ kind: 'solid' }, ['########', '########', '########', '########']],
  ] as const)('%j', (pattern, picture) => {
    expect(draw(pattern)).toEqual(picture);
  });
});

describe('dose cells', () => {
  const options = { ...EXAMPLE, rows: { setting: 'lineSpacingMm', values: [0.02, 0.05, 0.1] } } as const;
  const layout = layoutChart('dose', options);

  test('each has a solid bitmap at its own line spacing and its own settings', () => {
    const cells = drawDoseCells(layout);
    expect(cells.length).toBe(15);
    for (const { dots, grid, settings, heightMm } of cells) {
      expect(grid.lineSpacingMm).toBe(settings.lineSpacingMm);
      expect(Math.abs(dots.height * grid.lineSpacingMm - heightMm)).toBeLessThanOrEqual(grid.lineSpacingMm / 2 + 1e-9);
      expect(dots.data.every((dot) => dot === 1)).toBe(true);
    }
  });

  test('are left out of what burns with the chart’s own settings', () => {
    const rest = drawWithoutDoseCells(layout, screenByChance);
    for (const { xDots, yDots, widthDots, heightDots } of layout.patches.filter(({ settings }) => settings)) {
      expect(share(rest, xDots, yDots, widthDots, heightDots)).toBe(0);
    }
  });
});

test('letters are drawn point by point, small ones as capitals, unknown signs as spaces', () => {
  const { width, points } = drawText('h1~');
  const rows = Array.from({ length: 7 }, (_, y) =>
    [...points.slice(y * width, (y + 1) * width)].map((p) => '.#'[p]).join(''),
  );
  expect(rows).toEqual([
    '#...#...#.........',
    '#...#..##.........',
    '#...#...#.........',
    '#####...#.........',
    '#...#...#.........',
    '#...#...#.........',
    '#...#..###........',
  ]);
});
