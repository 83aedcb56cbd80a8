import fc from 'fast-check';
import { beforeAll, describe, expect, test } from 'vitest';
import { assumeResponse, fillDotTable, type LevelDose } from '../../src/material/index.ts';
import { createPlane, type Dots, type DotTable, ONE, type Plane } from '../../src/plane/index.ts';
import { openStrength } from '../../src/proof/strength.ts';
import {
  applyScreen,
  planDirectSearch,
  type SearchPlan,
  searchBand,
  searchDots,
  searchDotsInBands,
} from '../../src/screens/index.ts';
import { diffuseLevelMarks } from '../../src/screens/level-diffusion.ts';
import { eachStrengthRow, tabulateLevelMarks } from '../../src/screens/level-marks.ts';
import { OSTROMOUKHOV } from '../../src/screens/variable-kernels.ts';
import { constantPlane, mixedPlane } from './planes.ts';

const GRID = { pitchMm: 0.1, lineSpacingMm: 0.1 };
/** A tube: nothing below an eighth of the scale, flatter towards full. */
const TUBE: readonly LevelDose[] = [
  [0, 0],
  [0.12, 0],
  [0.34, 0.33],
  [0.56, 0.6],
  [0.78, 0.81],
  [1, 1],
];

function fill(steepness: number, markToPitch: number): DotTable {
  const um = 1000 * markToPitch * GRID.pitchMm;
  const mark = { markDiameterXUm: um, markDiameterYUm: 0.9 * um, steepness, drive: 2, yuleNielsenN: 1 };
  const response = { ...assumeResponse(mark, GRID), doseByLevel: TUBE };
  return fillDotTable({ response, bare: [70, 0, 0], full: [25, 0, 0] });
}

let gradual: DotTable;
let steep: DotTable;
beforeAll(() => {
  gradual = fill(2.5, 1.5);
  steep = fill(8, 1.6);
});

/** Strength of each cell by the deposit that proofs use, which shares no code with the screens. */
function predictStrength(dots: Dots, table: DotTable): Float32Array {
  const data = new Float32Array(dots.width * dots.height);
  const { addRow, close } = openStrength(dots, table);
  for (let y = 0; y < dots.height; y++) addRow(data.subarray(y * dots.width, (y + 1) * dots.width));
  close();
  return data;
}

/** Mean strength by that deposit, away from the edges. */
function meanOf(dots: Dots, table: DotTable): number {
  const strength = predictStrength(dots, table);
  const margin = 8;
  let sum = 0;
  let count = 0;
  for (let y = margin; y < dots.height - margin; y++) {
    for (let x = margin; x < dots.width - margin; x++, count++) sum += strength[y * dots.width + x]!;
  }
  return sum / count;
}

/** Standard deviation of strength over squares of 6 × 6 dots from what is wanted. */
function roughness(dots: Dots, table: DotTable, wanted: Plane<'coverage'>): number {
  const strength = predictStrength(dots, table);
  const side = 6;
  let squares = 0;
  let count = 0;
  for (let top = side; top + 2 * side <= dots.height; top += side) {
    for (let left = side; left + 2 * side <= dots.width; left += side, count++) {
      let sum = 0;
      for (let y = top; y < top + side; y++) {
        for (let x = left; x < left + side; x++) {
          sum += strength[y * dots.width + x]! - wanted.data[y * dots.width + x]! / ONE;
        }
      }
      squares += (sum / side ** 2) ** 2;
    }
  }
  return Math.sqrt(squares / count);
}

/** A bright disc with a soft shade on dark ground: edges and slow tones. */
function drawDisc(side: number): Plane<'coverage'> {
  const plane = createPlane('coverage', side, side);
  for (let i = 0; i < plane.data.length; i++) {
    const [x, y] = [(i % side) - side / 2, Math.floor(i / side) - side / 2];
    const share = Math.hypot(x, y) < side / 3 ? 0.75 + (0.2 * x) / side : 0.2 + (0.1 * y) / side;
    plane.data[i] = Math.round(share * ONE);
  }
  return plane;
}

const ways = [
  { way: 'floyd-steinberg', screen: { name: 'floyd-steinberg', errorOf: 'marks' } },
  { way: 'ostromoukhov', screen: { name: 'ostromoukhov', errorOf: 'marks' } },
  { way: 'zhou-fang', screen: { name: 'zhou-fang', errorOf: 'marks' } },
  { way: 'direct-search', screen: { name: 'direct-search', response: 'table' } },
] as const;

describe.each(ways)('$way on levels of power', ({ screen }) => {
  const apply = (wanted: Plane<'coverage'>, levels: number, marks: DotTable) =>
    applyScreen(wanted, { ...screen, levels, marks, grid: GRID });

  test.each([4, 16, 256])('keeps the strength of even tones with %i levels, by the proof’s own deposit', (levels) => {
    for (const share of [0.05, 0.2, 0.5, 0.8, 0.95]) {
      const dots = apply(constantPlane(share, 72), levels, gradual);
      expect(Math.abs(meanOf(dots, gradual) - share), `${share}`).toBeLessThan(0.012);
      expect(Math.max(...dots.data)).toBeLessThan(levels);
    }
  });

  test('where a steep law lies between few levels, too', () => {
    for (const share of [0.1, 0.5, 0.9]) {
      expect(Math.abs(meanOf(apply(constantPlane(share, 72), 4, steep), steep) - share)).toBeLessThan(0.03);
    }
  });

  test('leaves exactly bare dots bare and exactly solid ones solid, beside anything', () => {
    const plane = mixedPlane(90, 70, 1);
    const dots = apply(plane, 7, gradual);
    const wrong = dots.data.findIndex((level, i) => {
      return (plane.data[i] === 0 && level !== 0) || (plane.data[i] === ONE && level !== 6);
    });
    expect(wrong).toBe(-1);
  });

  test('gives dots of the plane’s size for any plane, however small, and the same ones again', () => {
    fc.assert(
      fc.property(
        fc.integer({ min: 1, max: 9 }),
        fc.integer({ min: 1, max: 9 }),
        fc.constantFrom(3, 16, 256),
        fc.infiniteStream(fc.integer({ min: 0, max: ONE })),
        (width, height, levels, values) => {
          const data = Uint16Array.from({ length: width * height }, () => values.next().value);
          const plane = createPlane('coverage', width, height, data);
          const dots = apply(plane, levels, gradual);
          expect([dots.width, dots.height, dots.levels]).toEqual([width, height, levels]);
          expect(apply(plane, levels, gradual).data).toEqual(dots.data);
        },
      ),
      { numRuns: 15, seed: 1 },
    );
  });

  test('follows a picture more closely than diffusion that knows nothing of what levels leave', () => {
    const wanted = drawDisc(96);
    const marks = tabulateLevelMarks(gradual.dose, 8);
    // The same strengths asked of plain diffusion by the levels of even fields: its curve, without error.
    const plain = createPlane('coverage', 96, 96);
    plain.data.set(
      wanted.data.map((strength) => {
        const level = marks.even.findIndex((value) => value >= strength);
        const [low, high] = [marks.even[level - 1]!, marks.even[level]!];
        return Math.round((ONE * (level - 1 + (strength - low) / (high - low))) / 7);
      }),
    );
    const unaware = applyScreen(plain, { name: 'zhou-fang', levels: 8, grid: GRID });
    const ratio = roughness(apply(wanted, 8, gradual), gradual, wanted) / roughness(unaware, gradual, wanted);
    expect(ratio).toBeLessThan(0.7);
  });
});

test.each([0.8, 1.05, 1.5, 2.4, 3.5])('an even field of the highest level is the solid, marks %d dots wide', (wide) => {
  const { even } = tabulateLevelMarks(fill(3.5, wide).dose, 16);
  expect(Math.abs(even[15]! / ONE - 1)).toBeLessThan(0.004);
});

test.each([0.8, 1.05, 1.5, 2.4])('strengths are those of the proof’s deposit, marks %d dots wide', (wide) => {
  const table = fill(3.5, wide);
  const dots = applyScreen(mixedPlane(48, 40, 3), { name: 'zhou-fang', levels: 16, grid: GRID });
  const exact = predictStrength(dots, table);
  let worst = 0;
  let sum = 0;
  eachStrengthRow(dots, tabulateLevelMarks(table.dose, 16), (row, y) => {
    row.forEach((strength, x) => {
      const off = strength / ONE - exact[y * 48 + x]!;
      worst = Math.max(worst, Math.abs(off));
      sum += off;
    });
  });
  expect(worst).toBeLessThan(0.03);
  expect(Math.abs(sum / dots.data.length)).toBeLessThan(0.004);
});

test('dots that are expected before they are chosen bring edges in time', () => {
  const wanted = drawDisc(96);
  const marks = tabulateLevelMarks(gradual.dose, 16);
  const how = { marks, kernel: OSTROMOUKHOV, scan: 'serpentine', seed: 1 } as const;
  const seen = (foresees: boolean) => roughness(diffuseLevelMarks(wanted, { ...how, foresees }), gradual, wanted);
  expect(seen(true)).toBeLessThan(0.8 * seen(false));
});

describe('a search over levels', () => {
  const request = { name: 'direct-search', grid: GRID, response: 'table', levels: 16 } as const;

  /** Energy by its definition: the near look's, from strengths reckoned anew. */
  function energyOf(plan: SearchPlan): number {
    const { width, height, wanted, nearX, nearY, cellsX, cellsY } = plan;
    const errors = new Float64Array(width * height);
    eachStrengthRow({ width, height, data: plan.dots }, plan.marks!, (row, y) => {
      for (let x = 0; x < width; x++) {
        errors[y * width + x] = ((row[x]! + 2) >> 2) - ((wanted[y * width + x]! + 2) >> 2);
      }
    });
    let energy = 0;
    for (let i = 0; i < errors.length; i++) {
      for (let dy = -nearY.reach; dy <= nearY.reach; dy++) {
        for (let dx = -nearX.reach; dx <= nearX.reach; dx++) {
          const [x, y] = [(i % width) + dx, Math.floor(i / width) + dy];
          if (x < 0 || x >= width || y < 0 || y >= height) continue;
          energy += errors[i]! * errors[y * width + x]! * nearX.taps[nearX.reach + dx]! * nearY.taps[nearY.reach + dy]!;
        }
      }
    }
    const cells = new Float64Array(cellsX.count * cellsY.count);
    for (let i = 0; i < errors.length; i++) {
      const [x, y] = [i % width, Math.floor(i / width)];
      for (let v = 0; v < 3; v++) {
        for (let u = 0; u < 3; u++) {
          const at = (cellsY.first[y]! + v) * cellsX.count + cellsX.first[x]! + u;
          cells[at]! += errors[i]! * cellsY.shares[3 * y + v]! * cellsX.shares[3 * x + u]!;
        }
      }
    }
    for (let k = 0; k < cells.length; k++) {
      for (let l = 0; l < cells.length; l++) {
        const dx = (l % cellsX.count) - (k % cellsX.count);
        const dy = Math.floor(l / cellsX.count) - Math.floor(k / cellsX.count);
        if (Math.abs(dx) > cellsX.far.reach || Math.abs(dy) > cellsY.far.reach) continue;
        energy +=
          cells[k]! * cells[l]! * cellsX.far.taps[cellsX.far.reach + dx]! * cellsY.far.taps[cellsY.far.reach + dy]!;
      }
    }
    return energy;
  }

  test.each([1, 2])('lowers the energy by what it says, reckoned from scratch (%i)', (seed) => {
    const plan = planDirectSearch(mixedPlane(41, 29, seed), { ...request, marks: gradual });
    const before = energyOf(plan);
    const result = searchBand(plan, { from: 0, to: 29 });
    const fell = before - energyOf(plan);
    expect(result.toggles).toBeGreaterThan(5);
    expect(result.swaps).toBeGreaterThan(5);
    expect(fell).toBeGreaterThan(0);
    expect(Math.abs(result.gained / fell - 1)).toBeLessThan(1e-6);
  });

  test('gives the same dots in bands, in whatever order those of a phase come', async () => {
    const wanted = mixedPlane(40, 420, 5);
    const plan = () => planDirectSearch(wanted, { ...request, viewingDistanceMm: 60, marks: gradual });
    const whole = searchDots(plan());
    expect(plan().phases[0]!.length).toBeGreaterThan(1);
    const { dots } = await searchDotsInBands(plan(), {
      searchBands: async (of, bands, done) => {
        const results = [...bands].reverse().map((band) => searchBand(of, band));
        for (const _ of bands) done();
        return results.reverse();
      },
    });
    expect(dots.data).toEqual(whole.data);
  });

  test('refuses the linear response, whose dots all leave the same', () => {
    const search = () => applyScreen(constantPlane(0.5, 8), { ...request, response: 'linear', marks: gradual });
    expect(search).toThrow('found 16, needed 2');
  });
});
