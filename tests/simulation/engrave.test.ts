import { describe, expect, test } from 'vitest';
import { createDots } from '../../src/plane/index.ts';
import { labToLinear, luminanceOf } from '../../src/simulation/colour.ts';
import {
  dirtyLens,
  engrave,
  type MaterialModel,
  meanLightness,
  meanReflectance,
  mirrorSurface,
} from '../../src/simulation/index.ts';
import { drawDots, PLAIN, readModel } from './models.ts';

const SQUARE = { pitchMm: 0.02, lineSpacingMm: 0.02 };
const luminanceFrom = (lightness: number) => luminanceOf(labToLinear([lightness, 0, 0]));

/** Diameter of the circle that holds all that one dot changes on a piece of 5 × 5, µm. */
function burnedDiameterUm(model: MaterialModel): number {
  const dots = drawDots(5, 5, (x, y) => x === 2 && y === 2);
  const surface = engrave(dots, { grid: SQUARE, model, seed: 1, pixelUm: 1 });
  const sideMm = 5 * SQUARE.pitchMm;
  const light = luminanceOf(meanReflectance(surface, { xMm: 0, yMm: 0, widthMm: sideMm, heightMm: sideMm }));
  const share = (light - luminanceFrom(20)) / (luminanceFrom(80) - luminanceFrom(20));
  return 2 * Math.sqrt((Math.max(0, share) * (1000 * sideMm) ** 2) / Math.PI);
}

describe('the mark of a lone dot', () => {
  // Constructed with Liu's relation D² = 2w²·ln(F0/Fth) (liu1982): w = 15 µm, Fth = 0.35 J/cm².
  test.each([
    [2, 14.703924],
    [4, 22.980897],
    [8, 28.983406],
    [16, 33.940449],
    [32, 38.260558],
  ])('of a pulse of %d µJ is %d µm wide', (energyUJ, diameterUm) => {
    const model: MaterialModel = {
      ...PLAIN,
      settings: { powerW: energyUJ * 1e-6 * 20_000, speedMmPerS: 400, rateKHz: 20, passes: 1, scan: 'one-way' },
      beam: { ...PLAIN.beam, emission: 'pulsed', spotDiameterXUm: 30, spotDiameterYUm: 30 },
      law: { ...PLAIN.law, halfDoseJPerCm2: 0.35, edge: 0.02 },
    };
    expect(burnedDiameterUm(model)).toBeCloseTo(diameterUm, 0);
  });

  test('is nothing when one dot stays below the half dose', () => {
    expect(burnedDiameterUm({ ...PLAIN, law: { ...PLAIN.law, halfDoseJPerCm2: 1000 } })).toBeLessThan(0.5);
  });
});

describe('a piece', () => {
  test('without dots is bare everywhere', () => {
    const surface = engrave(createDots(7, 5), { grid: SQUARE, model: PLAIN, seed: 1, marginMm: 0.1 });
    expect(meanLightness(surface, { xMm: -0.1, yMm: -0.1, widthMm: 0.34, heightMm: 0.3 })).toBeCloseTo(20, 1);
  });

  test('of one dot on one dot has at least one pixel', () => {
    const surface = engrave(createDots(1, 1), {
      grid: { pitchMm: 0.005, lineSpacingMm: 0.005 },
      model: PLAIN,
      seed: 1,
    });
    expect([surface.width, surface.height, surface.rgb.length]).toEqual([1, 1, 3]);
  });

  test('burned all over has the full colour', () => {
    const surface = engrave(
      drawDots(40, 40, () => true),
      { grid: SQUARE, model: PLAIN, seed: 1 },
    );
    expect(meanLightness(surface, { xMm: 0.2, yMm: 0.2, widthMm: 0.4, heightMm: 0.4 })).toBeCloseTo(80, 1);
  });

  // Murray and Davies: the mean reflectance of areas is the mean of their reflectances, weighted by area.
  test('of broad stripes reflects the mean of bare and full by area', () => {
    // Half the solid's dose lies exactly on the edge of a broad stripe: with the half dose there, edges do not grow.
    const model = { ...PLAIN, law: { ...PLAIN.law, halfDoseJPerCm2: 25 } };
    const dots = drawDots(240, 60, (x) => x % 80 >= 20 && x % 80 < 60);
    const surface = engrave(dots, { grid: SQUARE, model, seed: 1 });
    const mean = luminanceOf(meanReflectance(surface, { xMm: 1.6, yMm: 0.3, widthMm: 1.6, heightMm: 0.6 }));
    expect(mean).toBeCloseTo((luminanceFrom(20) + luminanceFrom(80)) / 2, 3);
  });

  test('of narrow stripes with light scatter is darker, as far as Yule and Nielsen with n = 2', () => {
    const dots = drawDots(240, 200, (x) => x % 16 >= 4 && x % 16 < 12);
    const law = { ...PLAIN.law, halfDoseJPerCm2: 25 };
    const meanWith = (share: number) => {
      const model = { ...PLAIN, law, lightSpread: { share, radiusUm: 400 } };
      const surface = engrave(dots, { grid: SQUARE, model, seed: 1, pixelUm: 40 });
      return luminanceOf(meanReflectance(surface, { xMm: 1.6, yMm: 1.4, widthMm: 1.6, heightMm: 1.2 }));
    };
    const [bare, full] = [luminanceFrom(20), luminanceFrom(80)];
    const none = meanWith(0);
    const half = meanWith(0.5);
    const all = meanWith(1);
    expect(none).toBeCloseTo((bare + full) / 2, 2);
    expect(all / ((Math.sqrt(bare) + Math.sqrt(full)) / 2) ** 2).toBeCloseTo(1, 1);
    expect(half).toBeCloseTo((none + all) / 2, 4);
  });

  test('has its dots where the pitch and the line spacing put them, when these differ', () => {
    const grid = { pitchMm: 0.03, lineSpacingMm: 0.08 };
    const dots = drawDots(100, 50, (x, y) => x >= 60 && x < 80 && y >= 10 && y < 30);
    const model = { ...PLAIN, settings: { ...PLAIN.settings, powerW: 40 } };
    const surface = engrave(dots, { grid, model, seed: 1, marginMm: 0.5 });
    expect([surface.leftMm, surface.topMm].map((mm) => Number(mm.toFixed(6)))).toEqual([-0.51, -0.56]);
    const at = (xMm: number, yMm: number) => meanLightness(surface, { xMm, yMm, widthMm: 0.05, heightMm: 0.05 });
    expect(at(1.9, 0.95)).toBeCloseTo(80, 1);
    expect(at(2.25, 2.2)).toBeCloseTo(80, 1);
    expect(at(1.65, 0.95)).toBeCloseTo(20, 1);
    expect(at(1.9, 0.6)).toBeCloseTo(20, 1);
    expect(at(2.55, 2.2)).toBeCloseTo(20, 1);
    expect(at(2.25, 2.55)).toBeCloseTo(20, 1);
  });

  test('is the same for the same seed and another one for another seed', () => {
    const model = readModel('slate');
    const dots = drawDots(50, 40, (x, y) => (x + y) % 3 === 0);
    const burn = (seed: number) => engrave(dots, { grid: model.reference, model, seed }).rgb;
    expect(burn(4)).toEqual(burn(4));
    expect(burn(4)).not.toEqual(burn(5));
  });

  test('has nearly the same tone whatever the pixel and the samples per dot', () => {
    const model: MaterialModel = { ...readModel('glass'), grain: [] };
    const grid = model.reference;
    const dots = drawDots(60, 60, (x, y) => (2 * x + y) % 5 === 0);
    const rect = { xMm: 0.75, yMm: 0.75, widthMm: 1.5, heightMm: 1.5 };
    const reference = meanLightness(engrave(dots, { grid, model, seed: 1, pixelUm: 8, oversample: 10 }), rect);
    for (const options of [{}, { pixelUm: 42.3 }, { pixelUm: 84.7 }, { oversample: 4 }]) {
      expect(
        Math.abs(meanLightness(engrave(dots, { grid, model, seed: 1, ...options }), rect) - reference),
      ).toBeLessThan(0.3);
    }
  });

  test('shows less under a dirty lens, and other marks where it is tilted out of focus', () => {
    const model = { ...readModel('anodised-black'), grain: [] };
    const grid = model.reference;
    const dots = drawDots(60, 300, (x, y) => (2 * x + y) % 5 === 0);
    const rect = { xMm: 0.2, yMm: 0.05, widthMm: 0.8, heightMm: 0.4 };
    const clean = meanLightness(engrave(dots, { grid, model, seed: 1 }), rect);
    const dirty = meanLightness(engrave(dots, { grid, model: dirtyLens(model), seed: 1 }), rect);
    expect(dirty).toBeLessThan(clean - 3);
    const tilted = engrave(dots, { grid, model, seed: 1, tilt: 0.4 });
    expect(meanLightness(tilted, { ...rect, yMm: 2.8 })).toBeCloseTo(clean, 0);
    expect(meanLightness(tilted, rect)).toBeLessThan(clean - 3);
  });

  test('seen from behind has left and right exchanged, and seen twice from behind is itself', () => {
    const dots = drawDots(60, 40, (x, y) => x < 20 && y < 20);
    const surface = engrave(dots, { grid: SQUARE, model: PLAIN, seed: 1, marginMm: 0.1 });
    const mirrored = mirrorSurface(surface);
    expect(meanLightness(mirrored, { xMm: 0.9, yMm: 0.1, widthMm: 0.2, heightMm: 0.2 })).toBeCloseTo(80, 1);
    expect(meanLightness(mirrored, { xMm: 0.1, yMm: 0.1, widthMm: 0.2, heightMm: 0.2 })).toBeCloseTo(20, 1);
    expect(mirrorSurface(mirrored).rgb).toEqual(surface.rgb);
  });

  test('fades beyond its best dose when the material does', () => {
    const model = { ...readModel('leather'), grain: [] };
    const dots = drawDots(40, 40, () => true);
    const rect = { xMm: 1, yMm: 1, widthMm: 1, heightMm: 1 };
    const tone = (powerW: number) =>
      meanLightness(
        engrave(dots, { grid: model.reference, model, seed: 1, settings: { ...model.settings, powerW } }),
        rect,
      );
    const [low, good, high] = [tone(7), tone(20), tone(90)];
    expect(good).toBeLessThan(low - 5);
    expect(high).toBeGreaterThan(good + 5);
  });

  test.each([{ oversample: 0 }, { oversample: 2.5 }, { pixelUm: 0 }, { marginMm: -1 }])(
    'is not burned with %o',
    (bad) => {
      expect(() => engrave(createDots(2, 2), { grid: SQUARE, model: PLAIN, seed: 1, ...bad })).toThrow(RangeError);
    },
  );

  test('has no mean where it is not', () => {
    const surface = engrave(createDots(10, 10), { grid: SQUARE, model: PLAIN, seed: 1 });
    expect(() => meanLightness(surface, { xMm: -0.1, yMm: 0, widthMm: 0.1, heightMm: 0.1 })).toThrow(RangeError);
    expect(() => meanLightness(surface, { xMm: 0, yMm: 0, widthMm: 0, heightMm: 0.1 })).toThrow(RangeError);
  });
});
