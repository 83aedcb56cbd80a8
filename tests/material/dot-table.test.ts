import { describe, expect, test } from 'vitest';
import { lightnessOfReflectance } from '../../src/colour/index.ts';
import { assumeResponse, fillDotTable, simulateStrength } from '../../src/material/index.ts';
import { createRandom } from '../../src/numeric/index.ts';
import type { DotTable } from '../../src/plane/index.ts';

const GRID = { pitchMm: 0.02, lineSpacingMm: 0.02 };
const COLOURS = { bare: [17, 0, 0], full: [80, 0, 0] } as const;

describe('the limit of hard discs', () => {
  /**
   * source: 'pappasNeuhoff1995', circular dot-overlap model: α, β, γ for dot radius ρT/√2. Printed for ρ = 1.25: 0.33,
   * 0.03, 0.10 (from memory); the digits of the other rows are computed from its formulas.
   */
  test.each([
    { rho: 1, alpha: 0.142699, beta: 0, gamma: 0 },
    { rho: 1.1, alpha: 0.220308, beta: 0.004858, gamma: 0.025982 },
    { rho: 1.25, alpha: 0.334172, beta: 0.02942, gamma: 0.098315 },
    { rho: Math.SQRT2, alpha: 0.456611, beta: 0.078787, gamma: 0.206611 },
  ])('ρ = $rho: overlaps α $alpha, β $beta, γ $gamma', ({ rho, alpha, beta, gamma }) => {
    const diameterUm = 20 * Math.SQRT2 * rho;
    // A dose far narrower than its mark: doses of neighbours no longer add up to anything, and marks are discs.
    const response = assumeResponse(
      {
        markDiameterXUm: diameterUm,
        markDiameterYUm: diameterUm,
        steepness: 4000,
        drive: Math.exp(200),
        yuleNielsenN: 1,
      },
      GRID,
    );
    const { strength, columns, rows } = fillDotTable({ response, ...COLOURS });
    expect([columns, rows]).toEqual([3, 3]);
    const [left, up, right, corner] = [0b010000000, 0b000100000, 0b000000010, 0b100000000];
    expect(strength[left]).toBeCloseTo(alpha, 2);
    expect(strength[up]).toBeCloseTo(alpha, 2);
    expect(strength[corner]).toBeCloseTo(beta, 2);
    expect(strength[up | right]).toBeCloseTo(2 * alpha - gamma, 2);
    const enclosed = Math.min(1, 4 * alpha - 4 * gamma);
    expect(Math.abs(strength[up | left | right | 0b000001000] - enclosed)).toBeLessThan(0.01);
    expect(strength[0b000010000]).toBeCloseTo(1, 2);
  });
});

const CASES = [
  { what: 'narrow marks, 3 × 3', x: 20, y: 18, steepness: 8, drive: 2, sides: [3, 3] },
  { what: 'gradual marks, 3 × 3', x: 22, y: 22, steepness: 2, drive: 1.4, sides: [3, 3] },
  { what: 'smeared along the scan, 5 × 3', x: 34, y: 20, steepness: 6, drive: 2, sides: [5, 3] },
  { what: 'heat carried across lines, 3 × 5', x: 20, y: 34, steepness: 6, drive: 2, sides: [3, 5] },
  { what: 'wide marks, 5 × 5', x: 32, y: 32, steepness: 4, drive: 2, sides: [5, 5] },
  { what: 'wide marks with an edge, 5 × 5', x: 44, y: 40, steepness: 20, drive: 3, sides: [5, 5] },
] as const;

describe.each(CASES)('$what', ({ x, y, steepness, drive, sides }) => {
  const response = assumeResponse({ markDiameterXUm: x, markDiameterYUm: y, steepness, drive, yuleNielsenN: 1 }, GRID);
  const table = fillDotTable({ response, ...COLOURS });

  test('the neighbourhood covers the dose that matters', () => {
    expect([table.columns, table.rows]).toEqual(sides);
    expect(table.strength.length).toBe(2 ** (table.corners ? table.columns * table.rows : 21));
  });

  test('bare and solid are exact', () => {
    expect(table.strength[0]).toBe(0);
    expect(table.strength[table.strength.length - 1]).toBeCloseTo(1, 6);
  });

  test.each([0.05, 0.2, 0.5, 0.8])('random dots of coverage %f have the tone of the fine simulation', (coverage) => {
    const random = createRandom(Math.round(coverage * 100));
    const side = 48;
    const data = Uint8Array.from({ length: side * side }, () => (random.nextUnit() < coverage ? 1 : 0));
    const rect = { x: 6, y: 6, width: 36, height: 36 };
    const dots = { width: side, height: side, levels: 2, data };
    const fine = simulateStrength(response, dots, { samplesX: 12, samplesY: 12, edge: 'bare', rect });
    const simulated = fine.data.reduce((sum, value) => sum + value, 0) / fine.data.length;
    let looked = 0;
    for (let cy = rect.y; cy < rect.y + rect.height; cy++) {
      for (let cx = rect.x; cx < rect.x + rect.width; cx++)
        looked += table.strength[indexAt(table, { data, side, cx, cy })];
    }
    const toLightness = (strength: number) =>
      lightnessOfReflectance(table.bareLuminance + strength * (table.fullLuminance - table.bareLuminance));
    expect(Math.abs(toLightness(looked / 36 ** 2) - toLightness(simulated))).toBeLessThan(0.2);
  });
});

test('a smaller line spacing than the reference gives more dose and a solid at least as strong', () => {
  const response = assumeResponse(
    { markDiameterXUm: 15, markDiameterYUm: 13, steepness: 4, drive: 1.2, yuleNielsenN: 1 },
    GRID,
  );
  const denser = fillDotTable({ response, ...COLOURS }, { pitchMm: 0.02, lineSpacingMm: 0.014 });
  const wider = fillDotTable({ response, ...COLOURS }, { pitchMm: 0.02, lineSpacingMm: 0.03 });
  expect(denser.strength.at(-1)).toBeGreaterThan(1);
  expect(wider.strength.at(-1)).toBeLessThan(1);
});

/** The slow way: the dots around a cell read one by one, columns from left to right, each from top to bottom. */
function indexAt(table: DotTable, of: { data: Uint8Array; side: number; cx: number; cy: number }): number {
  const [reachX, reachY] = [table.columns >> 1, table.rows >> 1];
  let index = 0;
  for (let dx = -reachX; dx <= reachX; dx++) {
    for (let dy = -reachY; dy <= reachY; dy++) {
      if (!table.corners && Math.abs(dx) === 2 && Math.abs(dy) === 2) continue;
      index = 2 * index + of.data[(of.cy + dy) * of.side + of.cx + dx];
    }
  }
  return index;
}
