import { describe, expect, test } from 'vitest';
import { assumeResponse, fillDotTable } from '../../src/material/index.ts';
import {
  applyScreen,
  chooseScreen,
  findLoneStrength,
  SCREENS,
  type ScreenFacts,
  shortestRun,
  smallestCluster,
} from '../../src/screens/index.ts';
import { constantPlane, meanOfDots } from './planes.ts';

const GRID = { pitchMm: 0.02, lineSpacingMm: 0.02 };
const STEADY: ScreenFacts = {
  grid: GRID,
  levels: 2,
  knowsMarks: true,
  loneStrength: 0.9,
  repeatability: 1,
  shortestRun: 1,
};

describe('a screen is chosen', () => {
  test.each([
    ['for known marks', {}, 'ostromoukhov', { errorOf: 'marks' }, 'most even grain'],
    ['for unknown marks', { knowsMarks: false }, 'ostromoukhov', {}, 'Nothing is known'],
    ['for modulated dots', { levels: 16 }, 'zhou-fang', {}, '16 power levels'],
    [
      'for modulated dots whose levels were measured',
      { levels: 16, knowsLevels: true },
      'ostromoukhov',
      { errorOf: 'marks' },
      'what 16 power levels per dot leave',
    ],
    ['for a slow beam', { shortestRun: 4 }, 'floyd-steinberg', { run: 4, errorOf: 'marks' }, '4 dots for on or off'],
    ['for a slow beam, marks unknown', { shortestRun: 3, knowsMarks: false }, 'floyd-steinberg', { run: 3 }, '3 dots'],
    ['for scatter', { repeatability: 3.9 }, 'green-noise', { cluster: 4 }, 'differ by 3.9 ΔL*'],
    ['for weak lone dots', { loneStrength: 0.25 }, 'green-noise', { cluster: 4 }, 'only 25 % of its share'],
    [
      'for scatter and a slow beam',
      { repeatability: 3.9, shortestRun: 3 },
      'green-noise',
      { cluster: 7 },
      'at least 4',
    ],
    ['for great scatter', { repeatability: 8 }, 'clustered-dot', { linesPerCm: 62.5 }, 'at least 16 dots'],
  ] as const)('%s', (_what, changed, name, options, words) => {
    const chosen = chooseScreen({ ...STEADY, ...changed });
    expect([chosen.name, chosen.options]).toEqual([name, options]);
    expect(chosen.reason).toContain(words);
    expect(Object.keys(chosen.options).filter((key) => !SCREENS[chosen.name].uses.includes(key as 'run'))).toEqual([]);
  });

  test('that the registry can run, whatever the facts', () => {
    const marks = fillDotTable(
      {
        response: assumeResponse(
          { markDiameterXUm: 26, markDiameterYUm: 26, steepness: 6, drive: 2, yuleNielsenN: 1 },
          GRID,
        ),
        bare: [20, 0, 0],
        full: [80, 0, 0],
      },
      GRID,
    );
    for (const repeatability of [0, 2.5, 5, 6.5, 16]) {
      for (const run of [1, 2, 5]) {
        for (const grid of [GRID, { pitchMm: 0.02, lineSpacingMm: 0.05 }]) {
          const { name, options } = chooseScreen({ ...STEADY, repeatability, shortestRun: run, grid });
          const mean = meanOfDots(applyScreen(constantPlane(0.4, 256), { ...options, name, grid, marks }));
          expect(mean).toBeGreaterThan(0.2);
          expect(mean).toBeLessThan(0.5);
        }
      }
    }
  });
});

test('the smallest cluster grows with the square of the scatter, and is 1 for a steady material', () => {
  const dots = [0, 1.9, 2, 2.1, 4, 6, 100].map((repeatability) => smallestCluster({ repeatability, loneStrength: 1 }));
  expect(dots).toEqual([1, 1, 1, 2, 4, 9, 64]);
});

test('a run is as long as the beam needs at the speed: 100 µs at 1000 mm/s are 0.1 mm', () => {
  expect(shortestRun(100, { speedMmPerS: 1000, pitchMm: 0.02 })).toBe(5);
  expect(shortestRun(100, { speedMmPerS: 1000, pitchMm: 0.1 })).toBe(1);
  expect(shortestRun(101, { speedMmPerS: 1000, pitchMm: 0.1 })).toBe(2);
  expect(shortestRun(1e6, { speedMmPerS: 1000, pitchMm: 0.01 })).toBe(32);
});

test('a lone dot that marks its own cell leaves all of its share; one that is helped by its neighbours, less', () => {
  expect(findLoneStrength({ columns: 1, rows: 1, corners: true, strength: [0, 1] })).toBe(1);
  const helped = { columns: 3, rows: 1, corners: true, strength: [0, 0, 0.3, 0.6, 0, 0, 0.6, 1] };
  expect(findLoneStrength(helped)).toBeCloseTo(0.3, 4);
});
