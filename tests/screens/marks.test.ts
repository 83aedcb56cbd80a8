import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { lightnessOfReflectance } from '../../src/colour/index.ts';
import { AppError } from '../../src/errors.ts';
import {
  assumeResponse,
  fillDotTable,
  mixYuleNielsen,
  predictMeanStrength,
  type Surface,
} from '../../src/material/index.ts';
import { createRandom } from '../../src/numeric/index.ts';
import { createPlane, type Dots, ONE, type StrengthTable } from '../../src/plane/index.ts';
import { predictLightness } from '../../src/proof/index.ts';
import { applyScreen, SCREEN_NAMES, SCREENS, type ScreenName, takesStrength } from '../../src/screens/index.ts';
import { FLOYD_STEINBERG } from '../../src/screens/kernels.ts';
import { diffuseMarks } from '../../src/screens/mark-diffusion.ts';
import { coverageOfStrengths, tabulateMarkSteps } from '../../src/screens/mark-steps.ts';
import { diffuseVariable } from '../../src/screens/variable-diffusion.ts';
import { OSTROMOUKHOV } from '../../src/screens/variable-kernels.ts';
import { diffuseVariableMarks } from '../../src/screens/variable-marks.ts';
import { listWarmUpRows } from '../../src/screens/warm-up-rows.ts';
import { constantPlane, drawDots, mixedPlane } from './planes.ts';

const GRID = { pitchMm: 0.02, lineSpacingMm: 0.02 };
const ONE_DOT: StrengthTable = { columns: 1, rows: 1, corners: true, strength: [0, 1] };
const NINE = [0.03, 0.125, 0.25, 0.4, 0.5, 0.6, 0.753, 0.875, 0.97];
const modelBased = SCREEN_NAMES.filter((name) => SCREENS[name].uses.includes('errorOf'));
const keepers = modelBased.filter((name) => SCREENS[name].weightSum === 1);

/** A lighter mark of a width in dots along and across the scan; wider ones have wider tables. */
function surfaceOf(width: number, height = width): Surface {
  const response = assumeResponse(
    { markDiameterXUm: 20 * width, markDiameterYUm: 20 * height, steepness: 6, drive: 2, yuleNielsenN: 1 },
    GRID,
  );
  return { response, bare: [20, 0, 0], full: [80, 0, 0] };
}

const tableOf = (width: number, height = width) => fillDotTable(surfaceOf(width, height), GRID);

const narrow = tableOf(1.2);
const flat = tableOf(2, 1);
const wide = tableOf(2);

test('the tables of these tests are of the three kinds that there are', () => {
  const shapes = [narrow, flat, wide].map(({ columns, rows, corners }) => [columns, rows, corners]);
  expect(shapes).toEqual([
    [3, 3, true],
    [5, 3, true],
    [5, 5, false],
  ]);
});

describe('steps of strength', () => {
  test('of a dot that marks its own cell are one, whatever is around it', () => {
    const { rightward, leftward, largest, solid } = tabulateMarkSteps(ONE_DOT);
    expect([...new Set([...rightward, ...leftward])]).toEqual([ONE]);
    expect([largest, solid]).toEqual([ONE, 1]);
  });

  test.each(['rightward', 'leftward'] as const)('%s add up to the strength of the finished work', (direction) => {
    const steps = tabulateMarkSteps(narrow);
    const side = 24;
    const random = createRandom(7);
    const dots = Uint8Array.from({ length: side * side }, () => (random.nextUnit() < 0.4 ? 1 : 0));
    const bitAt = (x: number, y: number) => (x < 0 || y < 0 || x >= side || y >= side ? 0 : dots[y * side + x]!);
    const ahead = direction === 'rightward' ? 1 : -1;
    let added = 0;
    for (let y = 0; y < side; y++) {
      for (let x = 0; x < side; x++) {
        if (bitAt(x, y) === 0) continue;
        let index = 0;
        for (let i = -2; i <= 2; i++)
          index = (index << 2) | (bitAt(x + i * ahead, y - 1) << 1) | bitAt(x + i * ahead, y - 2);
        index = (index << 2) | (bitAt(x - 2 * ahead, y) << 1) | bitAt(x - ahead, y);
        added += steps[direction][index]! / ONE;
      }
    }
    let strength = 0;
    for (let y = -1; y <= side; y++) {
      for (let x = -1; x <= side; x++) {
        let index = 0;
        for (let dx = -1; dx <= 1; dx++) for (let dy = -1; dy <= 1; dy++) index = (index << 1) | bitAt(x + dx, y + dy);
        strength += narrow.strength[index]!;
      }
    }
    expect(added).toBeCloseTo(strength, 1);
  });

  test('dots at random show a strength that rises with their share, and that is found again', () => {
    const shares = coverageOfStrengths(wide, [0, 0.1, 0.5, 0.9, 1]);
    expect(shares[0]).toBeCloseTo(0, 6);
    expect(shares[4]).toBeCloseTo(1, 6);
    expect(shares[2]).toBeLessThan(0.35);
    expect(coverageOfStrengths(ONE_DOT, [0.3])[0]).toBeCloseTo(0.3, 6);
  });
});

describe.each(modelBased)('%s with the error of the marks', (name) => {
  test.each(['raster', 'serpentine'] as const)(
    '%s: is the plain screen, bit for bit, where a dot marks its own cell',
    (scan) => {
      const plane = mixedPlane(131, 73);
      const plain = applyScreen(plane, { name, grid: GRID, scan });
      const marked = applyScreen(plane, { name, grid: GRID, scan, errorOf: 'marks', marks: ONE_DOT });
      expect(drawDots(marked)).toEqual(drawDots(plain));
    },
  );

  test('leaves bare what is bare and fills what is solid', () => {
    const plane = mixedPlane(190, 140, 3);
    for (const marks of [narrow, flat]) {
      const { data } = applyScreen(plane, { name, grid: GRID, errorOf: 'marks', marks });
      const wrong = data.findIndex(
        (bit, i) => (plane.data[i] === 0 && bit === 1) || (plane.data[i] === ONE && bit === 0),
      );
      expect(wrong).toBe(-1);
    }
  });

  test('gives dots of the plane’s size for any plane, however small, and the same ones again', () => {
    fc.assert(
      fc.property(
        fc.integer({ min: 1, max: 7 }),
        fc.integer({ min: 1, max: 7 }),
        fc.constantFrom(narrow, flat),
        fc.infiniteStream(fc.integer({ min: 0, max: ONE })),
        (width, height, marks, values) => {
          const plane = createPlane(
            'coverage',
            width,
            height,
            Uint16Array.from({ length: width * height }, () => values.next().value),
          );
          const [first, second] = [1, 2].map(() => applyScreen(plane, { name, grid: GRID, errorOf: 'marks', marks }));
          expect([first!.width, first!.height, first!.levels]).toEqual([width, height, 2]);
          expect(Math.max(...first!.data)).toBeLessThan(2);
          expect(first!.data).toEqual(second!.data);
        },
      ),
      { numRuns: 15, seed: 2 },
    );
  });
});

describe.each([
  { kind: '1.2 × 1.2', table: narrow, within: 0.1, names: keepers },
  { kind: '2 × 1', table: flat, within: 0.35, names: ['floyd-steinberg', 'zhou-fang'] as const },
  { kind: '2 × 2', table: wide, within: 0.7, names: ['floyd-steinberg', 'zhou-fang'] as const },
])('marks of $kind dots', ({ table, within, names }) => {
  test.each(names)('%s holds the lightness of nine even tones without a curve', (name) => {
    for (const share of NINE) {
      const dots = applyScreen(constantPlane(share, 160), { name, grid: GRID, errorOf: 'marks', marks: table });
      expect(Math.abs(missedLightness(dots, table, share)), `strength ${share}`).toBeLessThanOrEqual(within);
    }
  });
});

test.each(['raster', 'serpentine'] as const)(
  '%s: the kernel gives the bits of the plain version, on any width and table',
  (scan) => {
    for (const table of [ONE_DOT, narrow, flat, wide]) {
      const steps = tabulateMarkSteps(table);
      for (const [width, height] of [
        [1, 5],
        [2, 9],
        [3, 4],
        [7, 30],
        [133, 71],
      ] as const) {
        const plane = mixedPlane(width, height, 5);
        const options = { kernel: FLOYD_STEINBERG, scan, steps, start: listWarmUpRows(plane) };
        const plain = diffuseMarks(plane, { ...options, arithmetic: 'scalar' });
        expect(drawDots(diffuseMarks(plane, options))).toEqual(drawDots(plain));
      }
    }
  },
);

test.each(['raster', 'serpentine'] as const)(
  '%s: so does the kernel of weights by tone, on dots and on marks',
  (scan) => {
    for (const [width, height] of [
      [1, 5],
      [2, 9],
      [7, 30],
      [133, 71],
    ] as const) {
      const plane = mixedPlane(width, height, 6);
      const known = { kernel: OSTROMOUKHOV, scan, seed: 1, start: listWarmUpRows(plane) };
      const both = (halftone: (arithmetic: 'simd' | 'scalar') => Dots) =>
        expect(drawDots(halftone('simd'))).toEqual(drawDots(halftone('scalar')));
      both((arithmetic) => diffuseVariable(plane, { ...known, levels: 2, arithmetic }));
      for (const table of [ONE_DOT, narrow, flat, wide]) {
        const steps = tabulateMarkSteps(table);
        both((arithmetic) => diffuseVariableMarks(plane, { ...known, table, steps, arithmetic }));
        const levels = Uint16Array.from({ length: ONE + 1 }, (_, i) => Math.round(ONE * (i / ONE) ** 1.1));
        both((arithmetic) => diffuseVariableMarks(plane, { ...known, table, steps, levels, arithmetic }));
      }
    }
  },
);

test('the short way for four shares gives the bits of the general one', () => {
  const steps = tabulateMarkSteps(narrow);
  const plane = mixedPlane(120, 90, 4);
  const general = { ...FLOYD_STEINBERG, source: 'ditherPunk' as const };
  const options = { scan: 'serpentine', steps } as const;
  const short = diffuseMarks(plane, { ...options, kernel: FLOYD_STEINBERG });
  expect(drawDots(short)).toEqual(drawDots(diffuseMarks(plane, { ...options, kernel: general })));
});

/** L* of the middle of a field, predicted, less what the wanted strength gives. */
function missedLightness(dots: Dots, table: ReturnType<typeof tableOf>, share: number): number {
  const rect = { x: 12, y: 12, width: dots.width - 24, height: dots.height - 24 };
  const { bareLuminance: bare, fullLuminance: full, yuleNielsenN: n } = table;
  return predictLightness(dots, { table, rect }) - lightnessOfReflectance(mixYuleNielsen(share, { bare, full, n }));
}

test('the tone holds in the deposit of doses itself, which knows no table', () => {
  for (const width of [1.2, 2]) {
    const surface = surfaceOf(width);
    const marks = fillDotTable(surface, GRID);
    for (const share of [0.125, 0.4, 0.753]) {
      const dots = applyScreen(constantPlane(share, 144), {
        name: 'floyd-steinberg',
        grid: GRID,
        errorOf: 'marks',
        marks,
      });
      const rect = { x: 32, y: 32, width: 80, height: 80 };
      const strength = predictMeanStrength(surface.response, dots, { samplesX: 6, samplesY: 6, edge: 'bare', rect });
      expect(Math.abs(strength - share), `${share}`).toBeLessThanOrEqual(0.012);
    }
  }
});

test('without the marks the same tone is off by many L*: the test can tell', () => {
  const dots = applyScreen(constantPlane(0.5, 192), { name: 'floyd-steinberg', grid: GRID });
  expect(missedLightness(dots, wide, 0.5)).toBeGreaterThan(10);
});

test('marks leave no shadow below a solid block: the tone behind it is that of the tone beside it', () => {
  const plane = constantPlane(0.3, 160);
  for (let y = 20; y < 60; y++) plane.data.fill(ONE, y * 160 + 40, y * 160 + 120);
  const { data } = applyScreen(plane, { name: 'floyd-steinberg', grid: GRID, errorOf: 'marks', marks: wide });
  const share = (x0: number, x1: number, y0: number, y1: number) => {
    let sum = 0;
    for (let y = y0; y < y1; y++) for (let x = x0; x < x1; x++) sum += data[y * 160 + x]!;
    return sum / ((x1 - x0) * (y1 - y0));
  };
  const behind = share(45, 115, 62, 90);
  const beside = share(8, 35, 62, 90);
  expect(Math.abs(behind - beside)).toBeLessThan(0.03);
});

test.each(modelBased)('%s counts marks by their table, and those of levels by their doses', (name: ScreenName) => {
  const plane = constantPlane(0.5, 8);
  const { dose: _, ...undosed } = wide;
  const screen = () => applyScreen(plane, { name, grid: GRID, errorOf: 'marks', levels: 4, marks: undosed });
  expect(screen).toThrow(AppError);
  expect(screen).toThrow('found 4 and nothing that was measured');
  expect(() => applyScreen(plane, { name, grid: GRID, errorOf: 'marks' })).toThrow(RangeError);
});

test('a screen says whether it takes strengths for shares', () => {
  expect(takesStrength({ name: 'stucki' })).toBe(false);
  expect(takesStrength({ name: 'stucki', errorOf: 'marks' })).toBe(true);
  expect(takesStrength({ name: 'bayer', errorOf: 'marks' })).toBe(false);
});
