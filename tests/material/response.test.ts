import fc from 'fast-check';
import { describe, expect, test } from 'vitest';
import {
  assumeResponse,
  computeMarkDiametersUm,
  computeRawStrength,
  fromFitCoordinates,
  mixYuleNielsen,
  type Profile,
  predictMeanStrength,
  type ResponseModel,
  tellMarkDiametersUm,
  toFitCoordinates,
} from '../../src/material/index.ts';

const GRID = { pitchMm: 0.02, lineSpacingMm: 0.025 };
const model = (change: Partial<Parameters<typeof assumeResponse>[0]> = {}) =>
  assumeResponse(
    { markDiameterXUm: 26, markDiameterYUm: 22, steepness: 8, drive: 2.2, yuleNielsenN: 1.2, ...change },
    GRID,
  );

describe('the one mark width that a profile tells', () => {
  const response = model();
  const fit = { markDiameterXUm: [20, 24.2], markDiameterYUm: [18, 21.78] } as unknown as NonNullable<Profile['fit']>;
  const wider = { pitchMm: 0.03, lineSpacingMm: 0.03 };

  test('is what was measured, and on another grid changes as the model does', () => {
    const { xUm, yUm } = tellMarkDiametersUm({ response, grid: GRID, fit });
    expect([xUm, yUm].map((um) => um.toFixed(6))).toEqual(['22.000000', '19.800000']);
    const [own, other] = [computeMarkDiametersUm(response, GRID), computeMarkDiametersUm(response, wider)];
    const there = tellMarkDiametersUm({ response, grid: GRID, fit }, wider);
    expect(there.xUm).toBeCloseTo((22 * other.xUm) / own.xUm, 9);
    expect(there.yUm).toBeCloseTo((19.8 * other.yUm) / own.yUm, 9);
  });

  test('is the model’s where nothing was measured', () => {
    expect(tellMarkDiametersUm({ response, grid: GRID }, wider)).toEqual(computeMarkDiametersUm(response, wider));
  });
});

describe('mixing of bare and full', () => {
  /** Murray and Davies: a = ½ on paper of density 0, solids of density 3.0 and 1.33 (published on a process list). */
  test.each([
    { solid: 3.0, density: 0.3006 },
    { solid: 1.33, density: 0.2812 },
  ])('half coverage of a solid of density $solid has density $density', ({ solid, density }) => {
    expect(-Math.log10(mixYuleNielsen(0.5, { bare: 1, full: 10 ** -solid, n: 1 }))).toBeCloseTo(density, 4);
  });

  /** Computed by hand from the formula, not published. */
  test.each([
    { n: 1, reflectance: 0.425 },
    { n: 1.7, reflectance: 0.333676 },
    { n: 2, reflectance: 0.3125 },
  ])('n = $n gives $reflectance between 0.80 and 0.05', ({ n, reflectance }) => {
    expect(mixYuleNielsen(0.5, { bare: 0.8, full: 0.05, n })).toBeCloseTo(reflectance, 6);
  });

  test('bare and full come out whatever n is, and overshoot never turns negative', () => {
    for (const n of [1, 1.5, 2, 10]) {
      expect(mixYuleNielsen(0, { bare: 0.7, full: 0.1, n })).toBeCloseTo(0.7, 12);
      expect(mixYuleNielsen(1, { bare: 0.7, full: 0.1, n })).toBeCloseTo(0.1, 12);
      expect(mixYuleNielsen(1.4, { bare: 0.7, full: 0.01, n })).toBeGreaterThanOrEqual(0);
    }
  });
});

describe('strength', () => {
  test('half the strength is reached at the half dose, and none without dose', () => {
    const response = model();
    expect(computeRawStrength(response, response.halfDose)).toBeCloseTo(0.5, 12);
    expect(computeRawStrength(response, 0)).toBe(0);
  });

  test('fading takes its share at the dose of a solid', () => {
    const plain = model();
    expect(computeRawStrength({ ...plain, fading: 0.3 }, 1)).toBeCloseTo(0.7 * computeRawStrength(plain, 1), 12);
  });

  test('a solid field has strength 1, a bare one 0, also where dots leave gaps and where strength fades', () => {
    for (const response of [model(), model({ markDiameterXUm: 10, markDiameterYUm: 9 }), { ...model(), fading: 0.4 }]) {
      const dots = (value: number) => ({ width: 4, height: 4, levels: 2, data: new Uint8Array(16).fill(value) });
      const options = { samplesX: 8, samplesY: 8, edge: 'repeat' } as const;
      expect(predictMeanStrength(response, dots(1), options)).toBeCloseTo(1, 6);
      expect(predictMeanStrength(response, dots(0), options)).toBe(0);
    }
  });
});

describe('mark diameter and the coordinates of a fit', () => {
  test('the mark diameter that was asked for comes back', () => {
    const { xUm, yUm } = computeMarkDiametersUm(model(), GRID);
    expect(xUm).toBeCloseTo(26, 3);
    expect(yUm).toBeCloseTo(22, 3);
  });

  test('the strength at the edge of the mark is half of the strength at its centre', () => {
    const response = model({ steepness: 2, drive: 0.6 });
    const { xUm } = computeMarkDiametersUm(response, GRID);
    const peak =
      (8 * GRID.pitchMm * GRID.lineSpacingMm * 1e6) / (Math.PI * response.doseDiameterXUm * response.doseDiameterYUm);
    const edge = peak * Math.exp((-8 * (xUm / 2) ** 2) / response.doseDiameterXUm ** 2);
    expect(computeRawStrength(response, edge) / computeRawStrength(response, peak)).toBeCloseTo(0.5, 4);
  });

  test('a wide range of models survives the way into coordinates and back', () => {
    fc.assert(
      fc.property(
        fc.record({
          markDiameterXUm: fc.double({ min: 3, max: 300, noNaN: true }),
          markDiameterYUm: fc.double({ min: 3, max: 300, noNaN: true }),
          steepness: fc.double({ min: 0.7, max: 60, noNaN: true }),
          drive: fc.double({ min: 0.2, max: 20, noNaN: true }),
          yuleNielsenN: fc.double({ min: 1, max: 3, noNaN: true }),
          fading: fc.double({ min: 0, max: 0.8, noNaN: true }),
        }),
        (mark) => {
          const response = assumeResponse(mark, GRID);
          const back = fromFitCoordinates(toFitCoordinates(response), GRID);
          for (const key of ['doseDiameterXUm', 'doseDiameterYUm', 'halfDose', 'steepness'] as const) {
            expect(back[key] / response[key]).toBeCloseTo(1, 9);
          }
          if (mark.fading === 0) {
            expect(computeMarkDiametersUm(response, GRID).xUm / mark.markDiameterXUm).toBeCloseTo(1, 3);
          }
        },
      ),
      { seed: 5, numRuns: 200 },
    );
  });
});

describe('clusters', () => {
  const tile = (cluster: number): { width: number; height: number; levels: number; data: Uint8Array } => {
    const side = 2 * cluster;
    const data = new Uint8Array(side * side);
    for (let y = 0; y < cluster; y++) for (let x = 0; x < cluster; x++) data[y * side + x] = 1;
    return { width: side, height: side, levels: 2, data };
  };
  const strengthOf = (response: ResponseModel, cluster: number) =>
    predictMeanStrength(response, tile(cluster), { samplesX: 8, samplesY: 8, edge: 'repeat' });

  test('equal coverage in coarser clusters comes nearer to its coverage, from above for wide marks', () => {
    const strengths = [1, 2, 4, 8].map((cluster) =>
      strengthOf(model({ markDiameterXUm: 34, markDiameterYUm: 36 }), cluster),
    );
    for (let i = 1; i < 4; i++) expect(strengths[i]).toBeLessThan(strengths[i - 1]);
    expect(strengths[3]).toBeGreaterThan(0.25);
    expect(strengths[3]).toBeLessThan(0.32);
  });

  test('a mark wider by a tenth moves fine clusters by more than a per cent: what makes the width readable', () => {
    const change = strengthOf(model({ markDiameterXUm: 28.6, markDiameterYUm: 24.2 }), 1) - strengthOf(model(), 1);
    expect(change).toBeGreaterThan(0.03);
  });

  test('strength is smooth in every coordinate, as a fit needs it', () => {
    const start = toFitCoordinates(model());
    start.forEach((value, j) => {
      const at = (h: number) =>
        strengthOf(
          fromFitCoordinates(
            start.map((v, k) => (k === j ? value + h : v)),
            GRID,
          ),
          2,
        );
      const coarse = (at(1e-3) - at(-1e-3)) / 2e-3;
      const fine = (at(1e-5) - at(-1e-5)) / 2e-5;
      expect(Math.abs(coarse - fine)).toBeLessThan(1e-3 * (1 + Math.abs(coarse)));
    });
  });
});
