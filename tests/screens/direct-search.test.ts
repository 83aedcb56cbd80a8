import fc from 'fast-check';
import { beforeAll, describe, expect, test } from 'vitest';
import { assumeResponse, fillDotTable } from '../../src/material/index.ts';
import { createRandom } from '../../src/numeric/index.ts';
import { computeEyeBlurMm } from '../../src/optics/index.ts';
import { createDots, createPlane, type Dots, type DotTable, ONE, type Plane } from '../../src/plane/index.ts';
import { filterByEye, predictReflectance } from '../../src/proof/index.ts';
import {
  applyScreen,
  planDirectSearch,
  type SearchPlan,
  searchBand,
  searchDots,
  searchDotsInBands,
} from '../../src/screens/index.ts';
import { createEyeTaps, FULL, planSearch } from '../../src/screens/search-plan.ts';
import { constantPlane, mixedPlane } from './planes.ts';

const GRID = { pitchMm: 0.02, lineSpacingMm: 0.02 };
/** So near that the far look has cells of few dots and a small plane has several bands. */
const NEAR_BY = { viewingDistanceMm: 60 };

function fillTable(markDiameterUm: number, steepness = 8): DotTable {
  const mark = { markDiameterXUm: markDiameterUm, markDiameterYUm: 0.9 * markDiameterUm };
  const response = assumeResponse({ ...mark, steepness, drive: 2, yuleNielsenN: 1 }, GRID);
  return fillDotTable({ response, bare: [0, 0, 0], full: [100, 0, 0] });
}

let narrow: DotTable;
let wide: DotTable;
beforeAll(() => {
  narrow = fillTable(24);
  wide = fillTable(44, 3);
});

/** Strength of every cell minus what is wanted, in the plan's units, the slow way. */
function listErrors(plan: SearchPlan, dots: Uint8Array): Float64Array {
  const { width, height, wanted, strength, table } = plan;
  const [halfX, halfY] = [table.columns >> 1, table.rows >> 1];
  return Float64Array.from({ length: width * height }, (_, i) => {
    let index = 0;
    for (let dx = -halfX; dx <= halfX; dx++) {
      for (let dy = -halfY; dy <= halfY; dy++) {
        if (!table.corners && Math.abs(dx) === halfX && Math.abs(dy) === halfY) continue;
        const [x, y] = [(i % width) + dx, Math.floor(i / width) + dy];
        const fires = x >= 0 && x < width && y >= 0 && y < height && dots[y * width + x] === 1;
        index = 2 * index + (fires ? 1 : 0);
      }
    }
    return strength[index] - Math.floor((wanted[i] + 2) / 4);
  });
}

/** Σ a(m)·a(n)·near(m − n) of a plane of numbers. */
function sumPairs(values: Float64Array, width: number, weights: readonly [x: Tap, y: Tap]): number {
  const [along, across] = weights;
  let sum = 0;
  for (let i = 0; i < values.length; i++) {
    if (values[i] === 0) continue;
    const [x, y] = [i % width, Math.floor(i / width)];
    for (let j = 0; j < values.length; j++) {
      const [dx, dy] = [Math.abs((j % width) - x), Math.abs(Math.floor(j / width) - y)];
      if (dx > along.reach || dy > across.reach) continue;
      sum += values[i] * values[j] * along.taps[along.reach + dx] * across.taps[across.reach + dy];
    }
  }
  return sum;
}
type Tap = { readonly reach: number; readonly taps: ArrayLike<number> };

/** The energy of a plan by its definition, with the sums of the windows taken from the quadratic B-spline itself. */
function sumEnergy(plan: SearchPlan, dots: Uint8Array): { readonly near: number; readonly far: number } {
  const errors = listErrors(plan, dots);
  const { width, cellsX, cellsY } = plan;
  const spline = (t: number) =>
    Math.abs(t) >= 1.5 ? 0 : Math.abs(t) <= 0.5 ? 0.75 - t * t : (1.5 - Math.abs(t)) ** 2 / 2;
  const cells = new Float64Array(cellsX.count * cellsY.count);
  errors.forEach((error, i) => {
    const u = ((i % width) + 0.5) / cellsX.side;
    const v = (Math.floor(i / width) + 0.5) / cellsY.side;
    for (let row = 0; row < cellsY.count; row++) {
      for (let column = 0; column < cellsX.count; column++) {
        // Window k is centred on the middle of cell k − 1.
        cells[row * cellsX.count + column] += error * spline(u - column + 0.5) * spline(v - row + 0.5);
      }
    }
  });
  return {
    near: sumPairs(errors, width, [plan.nearX, plan.nearY]),
    far: sumPairs(cells, cellsX.count, [cellsX.far, cellsY.far]),
  };
}

/** Dots by chance where the plane leaves a choice. */
function randomDots({ width, height, data }: Plane<'coverage'>, seed: number): Dots {
  const random = createRandom(seed);
  const dots = Uint8Array.from(data, (value) => (value === 0 || value === ONE ? value & 1 : random.nextUint32() & 1));
  return createDots(width, height, 2, dots);
}

const tables = [
  { kind: 'linear', marks: () => narrow, response: 'linear' },
  { kind: 'narrow, 3 × 3', marks: () => narrow, response: 'table' },
  { kind: 'wide, 5 × 5', marks: () => wide, response: 'table' },
] as const;

describe.each(tables)('the energy of a search ($kind)', ({ marks, response }) => {
  test.each([1, 2])('falls by what the search says, recomputed from scratch, from random dots %i', (seed) => {
    const wanted = mixedPlane(41, 29, seed);
    const start = randomDots(wanted, seed);
    const options = { grid: GRID, eyeBlurMm: 0.05, table: marks(), response } as const;
    const plan = planSearch(wanted, start, options);
    const before = sumEnergy(plan, start.data);
    const cellsBefore = plan.cellSums.reduce((sum, value) => sum + Math.abs(value), 0);
    const result = searchBand(plan, { from: 0, to: 29 });
    const after = sumEnergy(plan, plan.dots);
    const fell = before.near + before.far - after.near - after.far;
    expect(result.toggles).toBeGreaterThan(5);
    expect(result.swaps).toBeGreaterThan(5);
    expect(Math.abs(result.gained / fell - 1)).toBeLessThan(1e-9);
    expect(after.near + after.far).toBeLessThan(0.2 * (before.near + before.far));
    // The sums that the next band goes on from are those of the dots as they are now.
    const again = planSearch(wanted, createDots(41, 29, 2, plan.dots), options).cellSums;
    expect(Math.max(...again.map((sum, i) => Math.abs(sum - plan.cellSums[i])))).toBeLessThan(1e-8 * cellsBefore);
  });

  test.each([
    [41, 29],
    [120, 33],
  ])('is searched the same by the kernels and plainly on %i × %i dots', (width, height) => {
    const wanted = mixedPlane(width, height, 4);
    const [fast, plain] = (['simd', 'scalar'] as const).map((arithmetic) => {
      const plan = planSearch(wanted, randomDots(wanted, 5), {
        grid: GRID,
        eyeBlurMm: 0.05,
        table: marks(),
        response,
      });
      const bands = [{ from: 0, to: 20 } as const, { from: 12, to: height } as const];
      const results = bands.map((band) => searchBand(plan, band, arithmetic));
      return { results, dots: plan.dots, cells: plan.cellSums };
    });
    expect(fast).toEqual(plain);
  });

  test('leaves nothing to gain to a second search but what the stop rule left', () => {
    const wanted = constantPlane(0.37, 60, 40);
    const options = { grid: GRID, eyeBlurMm: 0.05, table: marks(), response } as const;
    const plan = planSearch(wanted, randomDots(wanted, 3), options);
    const { toggles, swaps } = searchBand(plan, { from: 0, to: 40 });
    const second = searchBand(planSearch(wanted, createDots(60, 40, 2, plan.dots), options), { from: 0, to: 40 });
    expect(second.toggles + second.swaps).toBeLessThan(0.05 * (toggles + swaps));
  });
});

describe('the weights of the near look', () => {
  test.each([0.1, 0.5, 0.8, 1, 1.3, 1.5, 2, 2.7, 2.83, 3, 5])(
    'of deviation %d never reward an error and stay within 32 bits',
    (sigma) => {
      const { taps, reach, sum } = createEyeTaps(sigma);
      for (let f = 0; f <= 0.5; f += 0.01) {
        const power = taps.reduce((total, tap, i) => total + tap * Math.cos(2 * Math.PI * f * (i - reach)), 0);
        expect(power).toBeGreaterThanOrEqual(-1e-9);
      }
      expect(sum ** 2 * 1.6 * FULL).toBeLessThan(2 ** 31);
      const variance = taps.reduce((total, tap, i) => total + tap * (i - reach) ** 2, 0) / sum;
      // Twice the eye's, but for the rounding to whole numbers.
      if (sigma >= 0.8) expect(Math.sqrt(variance / 2) / sigma).toBeGreaterThan(0.8);
      expect(Math.sqrt(variance / 2) / Math.max(sigma, 0.5)).toBeLessThan(1.15);
    },
  );

  test('are 17 of an axis for square dots, and round on the work where dots are not square', () => {
    const plane = constantPlane(0.5, 20);
    const start = createDots(20, 20);
    const square = planSearch(plane, start, { grid: GRID, eyeBlurMm: computeEyeBlurMm(), response: 'linear' });
    expect(square.nearX.taps.length).toBe(17);
    const tall = { pitchMm: 0.02, lineSpacingMm: 0.04 };
    const { nearX, nearY } = planSearch(plane, start, {
      grid: tall,
      eyeBlurMm: computeEyeBlurMm(),
      response: 'linear',
    });
    const deviationMm = ({ taps, reach, sum }: SearchPlan['nearX'], stepMm: number) =>
      stepMm * Math.sqrt(taps.reduce((total, tap, i) => total + tap * (i - reach) ** 2, 0) / sum);
    expect(deviationMm(nearX, 0.02) / deviationMm(nearY, 0.04)).toBeCloseTo(1, 1);
  });
});

const meanStrength = (dots: Dots, table: DotTable) =>
  predictReflectance(dots, { table }).data.reduce((sum, value) => sum + value, 0) / dots.data.length;

test.each([0.03, 0.2, 0.5, 0.8, 0.97])(
  'the mean strength of %d is kept to a thousandth on narrow and wide marks',
  (share) => {
    const wanted = constantPlane(share, 200, 130);
    for (const marks of [narrow, wide]) {
      const dots = applyScreen(wanted, { name: 'direct-search', grid: GRID, response: 'table', marks });
      expect(Math.abs(meanStrength(dots, marks) - share)).toBeLessThan(0.0015);
    }
  },
);

/** Root mean square of what the eye still sees of the error, 0 … 1. */
function seenError(dots: Dots, { wanted, table, mm }: { wanted: Plane<'coverage'>; table: DotTable; mm: number }) {
  const error = predictReflectance(dots, { table });
  for (let i = 0; i < error.data.length; i++) error.data[i] -= wanted.data[i] / ONE;
  const seen = filterByEye(error, { cellXMm: GRID.pitchMm, cellYMm: GRID.lineSpacingMm, viewingDistanceMm: mm });
  return Math.sqrt(seen.data.reduce((sum, value) => sum + value * value, 0) / seen.data.length);
}

test('less than half of the error of model-based diffusion is left to the eye, from 300 mm and from 60', () => {
  const wanted = createPlane('coverage', 240, 160);
  for (let i = 0; i < wanted.data.length; i++) wanted.data[i] = Math.round(ONE * (0.05 + (0.9 * (i % 240)) / 240));
  const diffused = applyScreen(wanted, { name: 'floyd-steinberg', grid: GRID, errorOf: 'marks', marks: narrow });
  const searched = applyScreen(wanted, { name: 'direct-search', grid: GRID, response: 'table', marks: narrow });
  for (const [mm, ratio] of [
    [300, 0.5],
    [60, 0.7],
  ] as const) {
    const facts = { wanted, table: narrow, mm };
    expect(seenError(searched, facts)).toBeLessThan(ratio * seenError(diffused, facts));
  }
});

describe('bands', () => {
  const request = { name: 'direct-search', grid: GRID, ...NEAR_BY } as const;

  test('do not touch each other within a phase, so that their order and their number of threads change no dot', async () => {
    const wanted = mixedPlane(50, 500, 4);
    for (const given of [{ response: 'linear' }, { response: 'table', marks: narrow }] as const) {
      const expected = searchDots(planDirectSearch(wanted, { ...request, ...given }));
      const plan = planDirectSearch(wanted, { ...request, ...given, isShared: true });
      expect(plan.phases.map((bands) => bands.length)).toEqual([3, 2]);
      expect(plan.dots.buffer).toBeInstanceOf(SharedArrayBuffer);
      const shares: number[] = [];
      const { dots, facts } = await searchDotsInBands(plan, {
        // Two threads that read and write the same planes: bands last to first, their numbers read before the others'
        // are written.
        searchBands: async (shared, bands, done) => {
          const before = shared.cellSums.slice();
          const copies = bands.map(() => ({ ...shared, dots: shared.dots.slice(), cellSums: shared.cellSums.slice() }));
          const results = bands.map((band, i) => searchBand(copies[i]!, band)).reverse();
          bands.forEach((band, i) => {
            const { width } = shared;
            const rows = copies[i]!.dots.subarray(band.from * width, band.to * width);
            shared.dots.set(rows, band.from * width);
            copies[i]!.cellSums.forEach((sum, at) => {
              if (sum !== before[at]) shared.cellSums[at] = sum;
            });
            done();
          });
          return results;
        },
        progress: (share) => shares.push(share),
      });
      expect(Buffer.from(dots.data).equals(Buffer.from(expected.data))).toBe(true);
      expect(facts.swaps).toBeGreaterThan(100);
      expect(shares).toEqual([0.2, 0.4, 0.6, 0.8, 1]);
    }
  });
  test('leave no seam: the error beside their edges is that of other rows', () => {
    const wanted = constantPlane(0.3, 160, 480);
    const plan = planDirectSearch(wanted, { ...request, response: 'table', marks: narrow });
    const seams = plan.phases.flat().flatMap(({ from, to }) => [from, to]);
    searchDots(plan);
    const errors = listErrors(plan, plan.dots);
    const squareAt = (rows: readonly number[]) =>
      rows.reduce((sum, y) => sum + errors.subarray(y * 160, (y + 1) * 160).reduce((a, b) => a + b, 0) ** 2, 0) /
      rows.length;
    const inner = seams.filter((y) => y > 0 && y < 480);
    const beside = inner.flatMap((y) => [y - 2, y - 1, y, y + 1]);
    const others = Array.from({ length: 480 }, (_, y) => y).filter((y) =>
      inner.every((seam) => Math.abs(seam - y) > 6),
    );
    expect(inner.length).toBeGreaterThan(5);
    expect(squareAt(beside)).toBeLessThan(1.6 * squareAt(others));
  });
});

test('planes of any size and values are searched, twice the same, and what is bare or solid stays so', () => {
  fc.assert(
    fc.property(
      fc.integer({ min: 1, max: 24 }),
      fc.integer({ min: 1, max: 12 }),
      fc.constantFrom('linear', 'table'),
      fc.integer({ min: 0, max: 1e6 }),
      (width, height, response, seed) => {
        const random = createRandom(seed);
        const wanted = createPlane('coverage', width, height);
        for (let i = 0; i < wanted.data.length; i++) {
          const kind = random.nextUint32() % 4;
          wanted.data[i] = kind === 0 ? 0 : kind === 1 ? ONE : random.nextUint32() % (ONE + 1);
        }
        const screen = () => applyScreen(wanted, { name: 'direct-search', grid: GRID, response, marks: narrow });
        const dots = screen();
        expect(screen().data).toEqual(dots.data);
        wanted.data.forEach((value, i) => {
          if (value === 0 || value === ONE) expect(dots.data[i]).toBe(value & 1);
        });
      },
    ),
    { numRuns: 40, seed: 1 },
  );
});

test('levels of power and a missing table are refused', () => {
  const plane = constantPlane(0.5, 8);
  expect(() => applyScreen(plane, { name: 'direct-search', grid: GRID, levels: 4 })).toThrow(/needed 2/);
  expect(() => applyScreen(plane, { name: 'direct-search', grid: GRID, response: 'table' })).toThrow(RangeError);
  expect(() => applyScreen(plane, { name: 'direct-search', grid: GRID, viewingDistanceMm: 5 })).toThrow(/50 … 10000/);
});
