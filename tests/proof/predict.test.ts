import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { lightnessOfReflectance, reflectanceOfLightness } from '../../src/colour/index.ts';
import {
  assumeResponse,
  coverageTable,
  DERIVED_COVERAGES,
  fillDotTable,
  invertProfile,
  sampleMarks,
  simulateStrength,
  toneCurveOf,
} from '../../src/material/index.ts';
import { createRandom, regressCentredIsotonic } from '../../src/numeric/index.ts';
import { createDots, createPlane, meanOver, ONE } from '../../src/plane/index.ts';
import {
  averageAreas,
  createAverager,
  drawMarks,
  openStrength,
  predictLightness,
  predictReflectance,
} from '../../src/proof/index.ts';
import { applyScreen } from '../../src/screens/index.ts';

const GRID = { pitchMm: 0.02, lineSpacingMm: 0.02 };
const COLOURS = { bare: [17, 0, -1], full: [80, -1, 3] } as const;
const tableOf = (x: number, y: number, n = 1) =>
  fillDotTable({
    response: assumeResponse({ markDiameterXUm: x, markDiameterYUm: y, steepness: 6, drive: 2, yuleNielsenN: n }, GRID),
    ...COLOURS,
  });
const TABLES = {
  '3 × 3': tableOf(20, 18),
  '5 × 3': tableOf(34, 20),
  '3 × 5': tableOf(20, 34),
  '5 × 5': tableOf(34, 32),
};

const randomDots = (width: number, height: number, seed: number, levels = 2) => {
  const random = createRandom(seed);
  return createDots(
    width,
    height,
    levels,
    Uint8Array.from({ length: width * height }, () => random.nextBelow(levels)),
  );
};

describe.each(Object.entries(TABLES))('a table of %s dots', (_, table) => {
  test('gives what looking up the dots around each cell one by one gives', () => {
    fc.assert(
      fc.property(fc.integer({ min: 1, max: 40 }), fc.integer({ min: 1, max: 9 }), fc.nat(), (width, height, seed) => {
        const dots = randomDots(width, height, seed);
        const { addRow } = openStrength(dots, table);
        const { addRow: addPlainly } = openStrength(dots, table, 'scalar');
        for (let y = 0; y < height; y++) {
          const row = new Float32Array(width).fill(2);
          const plain = row.slice();
          addRow(row);
          addPlainly(plain);
          expect(row).toEqual(plain);
          for (let x = 0; x < width; x++) expect(row[x]).toBeCloseTo(2 + lookUp(dots, table, x, y), 5);
        }
      }),
      { seed: 7, numRuns: 60 },
    );
  });

  test('bare dots show bare, and inside a solid the solid', () => {
    const bare = predictReflectance(createDots(12, 12), { table });
    expect(bare.data.every((value) => Math.abs(value - table.bareLuminance) < 1e-6)).toBe(true);
    const solid = predictReflectance(createDots(12, 12, 2, new Uint8Array(144).fill(1)), { table });
    expect(solid.data[6 * 12 + 6]).toBeCloseTo(table.fullLuminance, 5);
  });

  test('dots of many levels at their two ends are the same dots', () => {
    const dots = randomDots(40, 40, 3);
    const many = createDots(
      40,
      40,
      256,
      dots.data.map((dot) => 255 * dot),
    );
    const rect = { x: 6, y: 6, width: 28, height: 28 };
    const difference = predictLightness(many, { table, rect }) - predictLightness(dots, { table, rect });
    expect(Math.abs(difference)).toBeLessThan(0.6);
  });
});

test('dots of many levels follow the fine simulation', () => {
  const response = assumeResponse(
    { markDiameterXUm: 24, markDiameterYUm: 20, steepness: 4, drive: 1.8, yuleNielsenN: 1 },
    GRID,
  );
  const table = fillDotTable({ response, ...COLOURS });
  const dots = randomDots(40, 40, 9, 16);
  const rect = { x: 6, y: 6, width: 28, height: 28 };
  const fine = simulateStrength(response, dots, { samplesX: 10, samplesY: 10, edge: 'bare', rect });
  const mean = fine.data.reduce((sum, value) => sum + value, 0) / fine.data.length;
  const simulated = lightnessOfReflectance(table.bareLuminance + mean * (table.fullLuminance - table.bareLuminance));
  expect(predictLightness(dots, { table, rect })).toBeCloseTo(simulated, 0);
});

describe('averages', () => {
  test('are those of a plain average over whole dots, at any size', () => {
    fc.assert(
      fc.property(
        fc.integer({ min: 1, max: 40 }),
        fc.integer({ min: 1, max: 40 }),
        fc.double({ min: 0, max: 1, noNaN: true }),
        fc.double({ min: 0, max: 1, noNaN: true }),
        (width, height, a, b) => {
          const to = { width: 1 + Math.floor(a * (width - 1)), height: 1 + Math.floor(b * (height - 1)) };
          const random = createRandom(width * 41 + height);
          const data = Float32Array.from({ length: width * height }, () => random.nextUnit());
          const averager = createAverager({ from: { width, height }, to });
          for (let y = 0; y < height; y++) {
            averager.add((target) => {
              for (let x = 0; x < width; x++) target[x] += data[y * width + x];
            });
          }
          const sums = new Float64Array(to.width * to.height);
          const counts = new Uint32Array(sums.length);
          const borders = (dots: number, cells: number) =>
            Array.from({ length: cells + 1 }, (_, cell) => Math.round((cell * dots) / cells));
          const [columns, rows] = [borders(width, to.width), borders(height, to.height)];
          data.forEach((value, i) => {
            const cellX = columns.findLastIndex((start) => start <= i % width);
            const cellY = rows.findLastIndex((start) => start <= Math.floor(i / width));
            sums[cellY * to.width + cellX] += value;
            counts[cellY * to.width + cellX]++;
          });
          expect(Math.min(...counts)).toBeGreaterThan(0);
          averager.means.forEach((value, i) => {
            expect(value).toBeCloseTo(sums[i] / counts[i], 5);
          });
        },
      ),
      { seed: 8, numRuns: 150 },
    );
  });

  test('are exact area averages where the sizes divide', () => {
    const plane = createPlane(
      'dose',
      12,
      6,
      Float32Array.from({ length: 72 }, (_, i) => (i * 37) % 11),
    );
    const to = { width: 4, height: 3 };
    const averager = createAverager({ from: plane, to });
    for (let y = 0; y < 6; y++) {
      averager.add((target) => {
        for (let x = 0; x < 12; x++) target[x] += plane.data[y * 12 + x];
      });
    }
    const expected = meanOver(plane, to).data;
    averager.means.forEach((value, i) => {
      expect(value).toBeCloseTo(expected[i], 5);
    });
  });

  test('cannot have more cells than there are dots', () => {
    expect(() => predictReflectance(createDots(4, 4), { table: TABLES['3 × 3'], width: 5 })).toThrow(RangeError);
  });

  test('mix after averaging, so that light scatter darkens a lighter mark between dots', () => {
    const dots = randomDots(60, 60, 5);
    const plain = predictReflectance(dots, { table: tableOf(20, 18, 1), width: 1, height: 1 }).data[0];
    const spread = predictReflectance(dots, { table: tableOf(20, 18, 2), width: 1, height: 1 }).data[0];
    expect(spread).toBeLessThan(plain - 0.02);
  });
});

describe('a wedge of eleven equal steps through a profile derived from the model', () => {
  const side = 96;
  const rect = { x: 24, y: 24, width: 64, height: 64 };
  const screens = ['floyd-steinberg', 'blue-noise', 'clustered-dot'] as const;
  test.each(screens)('comes out straight when the profile knows the screen: %s', (name) => {
    const response = assumeResponse(
      { markDiameterXUm: 24, markDiameterYUm: 20, steepness: 8, drive: 2.2, yuleNielsenN: 1.2 },
      GRID,
    );
    const screen = (coverage: ReturnType<typeof invertProfile>) => applyScreen(coverage, { name, grid: GRID });
    const table = fillDotTable({ response, ...COLOURS });
    const toneOf = (coverage: number) => {
      const plane = createPlane('coverage', side, side);
      plane.data.fill(Math.round(coverage * ONE));
      return predictLightness(screen(plane), { table, rect });
    };
    const inner = DERIVED_COVERAGES.slice(1, -1);
    const rising = regressCentredIsotonic(inner, inner.map(toneOf));
    const profile = {
      ...COLOURS,
      points: [0, ...rising.x, 1].map((coverage, at, { length }) => ({
        coverage,
        lightness: at === 0 ? COLOURS.bare[0] : at === length - 1 ? COLOURS.full[0] : rising.y[at - 1],
        spread: 0,
      })),
    };
    const tones = coverageTable(profile, { range: 'scale' });
    const { darkest, lightest } = toneCurveOf(profile);
    const samples = Array.from({ length: 11 }, (_, step) => {
      const luminance = createPlane('luminance', side, side);
      luminance.data.fill(Math.round(reflectanceOfLightness(step * 10) * ONE));
      return { coverage: step / 10, dots: screen(invertProfile(luminance, { table: tones })) };
    });
    const errors = samples.map(({ coverage, dots }) =>
      Math.abs(predictLightness(dots, { table, rect }) - (darkest + coverage * (lightest - darkest))),
    );
    expect(errors.reduce((sum, error) => sum + error, 0) / 11).toBeLessThanOrEqual(0.5);
    expect(Math.max(...errors)).toBeLessThanOrEqual(1.5);
  });
});

/** The slow way: each neighbour asked for by its place, bare outside. */
function lookUp(dots: ReturnType<typeof createDots>, table: (typeof TABLES)['3 × 3'], x: number, y: number): number {
  const [reachX, reachY] = [table.columns >> 1, table.rows >> 1];
  let index = 0;
  for (let dx = -reachX; dx <= reachX; dx++) {
    for (let dy = -reachY; dy <= reachY; dy++) {
      if (!table.corners && Math.abs(dx) === 2 && Math.abs(dy) === 2) continue;
      const inside = x + dx >= 0 && x + dx < dots.width && y + dy >= 0 && y + dy < dots.height;
      index = 2 * index + (inside ? dots.data[(y + dy) * dots.width + x + dx] : 0);
    }
  }
  return table.strength[index];
}

describe('marks from near', () => {
  test.each(Object.keys(TABLES))('have over each field the mean of the %s table', (name) => {
    const table = TABLES[name as keyof typeof TABLES];
    const [x, y] = { '3 × 3': [20, 18], '5 × 3': [34, 20], '3 × 5': [20, 34], '5 × 5': [34, 32] }[name]!;
    const model = assumeResponse(
      { markDiameterXUm: x!, markDiameterYUm: y!, steepness: 6, drive: 2, yuleNielsenN: 1 },
      GRID,
    );
    const dots = randomDots(40, 30, 5);
    const { addRow, close } = openStrength(dots, table);
    const row = new Float32Array(dots.width);
    for (let line = 0; line < dots.height; line++) addRow(row);
    close();
    const mean = row.reduce((sum, value) => sum + value, 0) / (40 * 30);
    for (const samples of [2, 5, 8]) {
      const marks = drawMarks(dots, sampleMarks(table, model, samples));
      expect([marks.width, marks.height]).toEqual([40 * samples, 30 * samples]);
      const near = marks.data.reduce((sum, value) => sum + value, 0) / marks.data.length;
      expect(Math.abs(near - mean), `${samples} samples`).toBeLessThan(0.015);
    }
  });

  test('one dot alone is round: as wide as high, and weaker in the corners of its box', () => {
    const model = assumeResponse(
      { markDiameterXUm: 24, markDiameterYUm: 24, steepness: 6, drive: 2, yuleNielsenN: 1 },
      GRID,
    );
    const dots = createDots(7, 7, 2);
    dots.data[24] = 1;
    const { width, data } = drawMarks(dots, sampleMarks(fillDotTable({ response: model, ...COLOURS }), model, 9));
    const at = (x: number, y: number) => data[(31 + y) * width + 31 + x]!;
    expect(at(0, 0)).toBeGreaterThan(0.5);
    for (let far = 1; far < 8; far++) {
      expect(at(far, 0)).toBeCloseTo(at(0, far), 4);
      expect(at(far, 0)).toBeCloseTo(at(-far, 0), 4);
    }
    const rim = [1, 2, 3, 4, 5, 6, 7, 8].find((far) => at(far, 0) < 0.5)!;
    expect(rim).toBeLessThan(9);
    expect(at(rim - 1, rim - 1)).toBeLessThan(at(rim - 1, 0));
  });
});

describe('averages over areas', () => {
  test('cut cells and keep the mean', () => {
    const cells = { width: 3, height: 2, data: Float32Array.of(0, 3, 6, 6, 3, 0) };
    expect([...averageAreas(cells, { width: 2, height: 1 })]).toEqual([3, 3]);
    expect([...averageAreas(cells, { width: 2, height: 2 })]).toEqual([1, 5, 5, 1]);
    expect([...averageAreas(cells, { width: 3, height: 2 })]).toEqual([...cells.data]);
    expect(() => averageAreas(cells, { width: 4, height: 2 })).toThrow(RangeError);
    const random = createRandom(3);
    const data = Float32Array.from({ length: 101 * 67 }, () => random.nextUnit());
    const out = averageAreas({ width: 101, height: 67, data }, { width: 43, height: 40 });
    const mean = (values: Float32Array) => values.reduce((sum, value) => sum + value, 0) / values.length;
    expect(mean(out)).toBeCloseTo(mean(data), 5);
  });
});
