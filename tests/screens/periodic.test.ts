import { describe, expect, test } from 'vitest';
import { frequencyOf, powerSpectrum } from '../../benchmarks/common/spectrum.ts';
import { AppError } from '../../src/errors.ts';
import { applyScreen, type ScreenOptions } from '../../src/screens/index.ts';
import { generateClusteredDot, generateLines, type PeriodicTile, periodOf } from '../../src/screens/periodic.ts';
import { constantPlane, drawDots } from './planes.ts';

const SQUARE = { pitchMm: 0.02, lineSpacingMm: 0.02 };
const GRIDS = [SQUARE, { pitchMm: 0.02, lineSpacingMm: 0.035 }, { pitchMm: 0.05, lineSpacingMm: 0.0254 }];

function isPermutation(ranks: Uint32Array): boolean {
  const seen = new Uint8Array(ranks.length);
  for (const rank of ranks) seen[rank] = 1;
  return seen.every((value) => value === 1);
}

/** The strongest frequency of a tile at a quarter of coverage: periods per mm on the work, and its direction. */
function strongestWave({ width, height, ranks }: PeriodicTile, { pitchMm, lineSpacingMm }: typeof SQUARE) {
  const bits = Float64Array.from(ranks, (rank) => (rank < ranks.length / 4 ? 1 : 0));
  const power = powerSpectrum(bits, width, height);
  power[0] = 0;
  const at = power.indexOf(Math.max(...power));
  const [x, y] = [
    frequencyOf(at % width, width) / pitchMm,
    frequencyOf(Math.floor(at / width), height) / lineSpacingMm,
  ];
  return { perMm: Math.hypot(x, y), angleDeg: (Math.atan2(y, x) * 180) / Math.PI };
}

/** Difference of two directions that are alike after `turn` degrees. */
function turnedBy(a: number, b: number, turn: number): number {
  const rest = (((a - b) % turn) + turn) % turn;
  return Math.min(rest, turn - rest);
}

describe.each(GRIDS)('with dots of %o', (grid) => {
  test.each([0, 15, 45, 75, 90, -22.5])('both screens at %d° have the ruling and the angle on the work', (angleDeg) => {
    const linesPerCm = 30;
    const lines = generateLines({ linesPerCm, angleDeg }, grid);
    expect(isPermutation(lines.ranks)).toBe(true);
    const wave = strongestWave(lines, grid);
    // 0.5 % of the ruling and half a degree: what moving to whole periods in a tile may cost.
    expect(Math.abs(wave.perMm / 3 - 1)).toBeLessThan(0.005);
    // The wave runs square to the lines.
    expect(turnedBy(wave.angleDeg, angleDeg + 90, 180)).toBeLessThan(0.5);

    const dots = generateClusteredDot({ linesPerCm, angleDeg, shape: 'round' }, grid);
    expect(isPermutation(dots.ranks)).toBe(true);
    const dotWave = strongestWave(dots, grid);
    expect(Math.abs(dotWave.perMm / 3 - 1)).toBeLessThan(0.005);
    expect(turnedBy(dotWave.angleDeg, angleDeg, 90)).toBeLessThan(0.5);
  });

  test('a ruling that the dots cannot carry is refused with the range that they can', () => {
    for (const linesPerCm of [5000, 0.2]) {
      const screen = () => applyScreen(constantPlane(0.5, 8), { name: 'clustered-dot', grid, linesPerCm });
      expect(screen).toThrow(AppError);
      expect(screen).toThrow(/needed [\d.]+ … [\d.]+ for dots of/);
    }
    const { pitchMm, lineSpacingMm } = grid;
    const finest = 10 / (2 * Math.max(pitchMm, lineSpacingMm));
    expect(periodOf({ linesPerCm: finest }, grid)).toBeCloseTo(2 * Math.max(pitchMm, lineSpacingMm), 12);
  });
});

describe('dot shapes at no angle and a period of eight dots', () => {
  const draw = (shape: ScreenOptions['shape'], coverage: number) =>
    drawDots(applyScreen(constantPlane(coverage, 8), { name: 'clustered-dot', grid: SQUARE, angleDeg: 0, shape }));

  test('round', () => {
    expect(draw('round', 12 / 64)).toEqual([
      '........',
      '........',
      '...##...',
      '..####..',
      '..####..',
      '...##...',
      '........',
      '........',
    ]);
  });

  test('square', () => {
    expect(draw('square', 16 / 64)).toEqual([
      '........',
      '........',
      '..####..',
      '..####..',
      '..####..',
      '..####..',
      '........',
      '........',
    ]);
  });

  test('diamond', () => {
    expect(draw('diamond', 24 / 64)).toEqual([
      '........',
      '...##...',
      '..####..',
      '.######.',
      '.######.',
      '..####..',
      '...##...',
      '........',
    ]);
  });

  test('ellipse, longer across its angle', () => {
    const rows = draw('ellipse', 20 / 64);
    const height = rows.filter((row) => row.includes('#')).length;
    const width = Math.max(...rows.map((row) => row.replaceAll('.', '').length));
    expect(height).toBeGreaterThan(width);
  });
});

test('lines at no angle are rows of dots that thicken with the coverage', () => {
  const draw = (coverage: number) =>
    drawDots(applyScreen(constantPlane(coverage, 8), { name: 'line', grid: SQUARE, angleDeg: 0 }));
  const [bare, full] = ['........', '########'];
  expect(draw(2 / 8)).toEqual([bare, bare, bare, full, full, bare, bare, bare]);
  expect(draw(4 / 8)).toEqual([bare, bare, full, full, full, full, bare, bare]);
});

test('a tile of many periods has many more tones than one period has dots', () => {
  const { ranks } = generateClusteredDot({ linesPerCm: 'auto', angleDeg: 45, shape: 'round' }, SQUARE);
  expect(ranks.length).toBeGreaterThan(4000);
});
