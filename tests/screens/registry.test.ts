import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import { AppError } from '../../src/errors.ts';
import { createPlane, ONE } from '../../src/plane/index.ts';
import {
  applyScreen,
  DEFAULT_OPTIONS,
  SCREEN_NAMES,
  SCREEN_OPTIONS,
  SCREENS,
  type ScreenName,
  type ScreenOptions,
} from '../../src/screens/index.ts';
import { constantPlane, drawDots, meanOfDots, mixedPlane } from './planes.ts';

const SQUARE = { pitchMm: 0.02, lineSpacingMm: 0.02 };
const TALL = { pitchMm: 0.02, lineSpacingMm: 0.035 };
const NINE = [0.03, 0.125, 0.25, 0.4, 0.5, 0.6, 0.753, 0.875, 0.97];
const diffusions = SCREEN_NAMES.filter((name) => SCREENS[name].family === 'diffusion');
const keepers = SCREEN_NAMES.filter((name) => SCREENS[name].weightSum === 1);

function toleranceOf(name: ScreenName, given: Partial<ScreenOptions>, grid: typeof SQUARE) {
  return SCREENS[name].toneTolerance({ ...DEFAULT_OPTIONS, ...SCREENS[name].defaults, ...given }, grid);
}

/** The option sets under which a screen must keep its tone. */
function variantsOf(name: ScreenName): Partial<ScreenOptions>[] {
  const { uses } = SCREENS[name];
  const variants: Partial<ScreenOptions>[] = [{}];
  if (uses.includes('levels')) variants.push({ levels: 4 }, { levels: 16 }, { levels: 256 });
  if (uses.includes('scan')) variants.push({ scan: 'raster' }, { scan: 'raster', levels: 4 });
  if (uses.includes('size')) variants.push({ size: 64 });
  if (uses.includes('angleDeg')) {
    variants.push({ angleDeg: 0 }, { angleDeg: 90 }, { angleDeg: -22.5, linesPerCm: 40 }, { linesPerCm: 33.3 });
  }
  if (uses.includes('shape')) variants.push({ shape: 'ellipse' }, { shape: 'square' }, { shape: 'diamond' });
  return variants;
}

describe.each(keepers)('%s', (name) => {
  test.each(variantsOf(name))('keeps the tone of nine constant planes with %o, square and tall dots', (given) => {
    for (const grid of [SQUARE, TALL]) {
      for (const share of NINE) {
        // A multiple of every mask's side.
        const plane = constantPlane(share, 256);
        const mean = meanOfDots(applyScreen(plane, { name, grid, ...given }));
        const tolerance = toleranceOf(name, given, grid);
        expect(Math.abs(mean - plane.data[0] / ONE), `${share} came out as ${mean}`).toBeLessThanOrEqual(tolerance);
      }
    }
  });

  test('gives no more than its tolerance away: half a percent for diffusion, half a level for a mask', () => {
    const tolerance = toleranceOf(name, {}, SQUARE);
    expect(tolerance).toBeLessThanOrEqual(name === 'line' ? 0.0636 : 0.0089);
  });
});

test('atkinson loses tone as it declares: within a quarter of half a level, and really towards the ends', () => {
  expect(SCREENS.atkinson.weightSum).toBe(0.75);
  for (const scan of ['raster', 'serpentine'] as const) {
    for (const share of NINE) {
      const mean = meanOfDots(applyScreen(constantPlane(share, 256), { name: 'atkinson', grid: SQUARE, scan }));
      expect(Math.abs(mean - share)).toBeLessThanOrEqual(toleranceOf('atkinson', { scan }, SQUARE));
      if (share <= 0.125) expect(mean).toBeLessThan(share - 0.02);
      if (share >= 0.875) expect(mean).toBeGreaterThan(share + 0.02);
    }
  }
});

test.each(SCREEN_NAMES)('%s: exactly bare stays bare and exactly solid stays solid, beside anything', (name) => {
  for (const levels of SCREENS[name].uses.includes('levels') ? [2, 4, 7, 256] : [2]) {
    for (const scan of ['raster', 'serpentine'] as const) {
      for (const seed of [1, 2]) {
        const plane = mixedPlane(230, 170, seed);
        const dots = applyScreen(plane, { name, grid: SQUARE, levels, scan });
        const wrong = dots.data.findIndex((level, i) => {
          const wanted = plane.data[i];
          return (wanted === 0 && level !== 0) || (wanted === ONE && level !== levels - 1);
        });
        expect(wrong).toBe(-1);
      }
    }
  }
});

test.each(SCREEN_NAMES)('%s: any plane, however small, gives dots of its size and its levels', (name) => {
  fc.assert(
    fc.property(
      fc.integer({ min: 1, max: 9 }),
      fc.integer({ min: 1, max: 9 }),
      fc.constantFrom(...(SCREENS[name].uses.includes('levels') ? [2, 3, 16, 256] : [2])),
      fc.infiniteStream(fc.integer({ min: 0, max: ONE })),
      (width, height, levels, values) => {
        const data = Uint16Array.from({ length: width * height }, () => values.next().value);
        const before = data.slice();
        const dots = applyScreen(createPlane('coverage', width, height, data), { name, grid: SQUARE, levels });
        expect([dots.width, dots.height, dots.levels, dots.data.length]).toEqual([width, height, levels, data.length]);
        expect(Math.max(...dots.data)).toBeLessThan(levels);
        expect(data.join()).toBe(before.join());
      },
    ),
    { numRuns: 25, seed: 1 },
  );
});

test.each(SCREEN_NAMES)('%s: the same plane and options give the same dots', (name) => {
  const plane = mixedPlane(97, 61);
  const [first, second] = [1, 2].map(() => applyScreen(plane, { name, grid: TALL, seed: 5 }));
  expect(first!.data).toEqual(second!.data);
});

test.each(['zhou-fang', 'blue-noise'] as const)('%s follows its seed', (name) => {
  const plane = constantPlane(0.4, 64);
  const draw = (seed: number) => drawDots(applyScreen(plane, { name, grid: SQUARE, seed })).join('\n');
  expect(draw(1)).not.toEqual(draw(2));
});

test.each(SCREEN_NAMES)('%s: a ramp rises, in means of sixteen columns', (name) => {
  if (name === 'atkinson') return expectAtkinsonRamp();
  expect(largestFall(name)).toBeLessThan(0.02);
});

/** Largest fall between neighbouring means of 16 columns over a ramp of 512 × 256 dots. */
function largestFall(name: ScreenName): number {
  const [width, height] = [512, 256];
  const plane = createPlane('coverage', width, height);
  for (let i = 0; i < plane.data.length; i++) plane.data[i] = Math.round(((i % width) / (width - 1)) * ONE);
  const { data } = applyScreen(plane, { name, grid: SQUARE });
  const means = new Array<number>(width / 16).fill(0);
  for (let i = 0; i < data.length; i++) means[Math.floor((i % width) / 16)] += data[i] / (16 * height);
  return Math.max(...means.slice(1).map((mean, i) => means[i]! - mean));
}

function expectAtkinsonRamp() {
  // Its plateaus at the ends are what it is for; in between it rises like the others.
  expect(largestFall('atkinson')).toBeLessThan(0.02);
}

test.each(diffusions)('%s: a serpentine scan differs from a raster one', (name) => {
  const plane = constantPlane(0.3, 64);
  const draw = (scan: 'raster' | 'serpentine') => applyScreen(plane, { name, grid: SQUARE, scan }).data;
  expect(draw('raster')).not.toEqual(draw('serpentine'));
});

test('the registry names its records by their keys, and a record reads only options that exist', () => {
  for (const name of SCREEN_NAMES) {
    const record = SCREENS[name];
    expect(record.name).toBe(name);
    expect(record.uses.includes('levels')).toBe(record.family !== 'search');
    for (const option of [...record.uses, ...Object.keys(record.defaults)]) {
      expect(Object.keys(SCREEN_OPTIONS)).toContain(option);
    }
    expect(Object.keys(record.defaults).sort()).toEqual([...record.uses].sort());
  }
});

test.each([
  [{ levels: 300 }, 'dose levels per dot: found 300, needed a whole number 2 … 256'],
  [{ levels: 2.5 }, 'found 2.5'],
  [{ levels: Number.NaN }, 'found NaN'],
  [{ size: 48 }, 'needed a power of two 2 … 256'],
  [{ size: 16 }, 'blue noise needed a power of two 32 … 256'],
  [{ seed: -1 }, 'found -1'],
  [{ angleDeg: 400 }, 'found 400, needed a number -360 … 360'],
  [{ scan: 'zigzag' as 'raster' }, 'needed one of serpentine, raster'],
  [{ shape: 'star' as 'round' }, 'needed one of round, ellipse, square, diamond'],
  [{ linesPerCm: 'fine' as 'auto' }, 'needed a number 0.1 … 10000, or auto'],
])('the option %o is refused with what was needed', (given, message) => {
  const screen = () => applyScreen(constantPlane(0.5, 8), { name: 'blue-noise', grid: SQUARE, ...given });
  expect(screen).toThrow(AppError);
  expect(screen).toThrow(message);
  try {
    screen();
  } catch (error) {
    expect((error as AppError).code).toBe('option-invalid');
  }
});

test('an unknown screen is refused with the names that exist', () => {
  for (const name of ['sepia', 'toString']) {
    expect(() => applyScreen(constantPlane(0.5, 8), { name: name as 'line', grid: SQUARE })).toThrow(
      'needed one of floyd-steinberg, jarvis-judice-ninke',
    );
  }
});

test('dots without a size are a programmer’s mistake', () => {
  const grid = { pitchMm: 0, lineSpacingMm: 0.02 };
  expect(() => applyScreen(constantPlane(0.5, 8), { name: 'line', grid })).toThrow(RangeError);
});
