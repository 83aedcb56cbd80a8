import { describe, expect, test } from 'vitest';
import type { Dots } from '../../src/plane/index.ts';
import { depositLines } from '../../src/simulation/deposit.ts';
import type { MaterialModel } from '../../src/simulation/index.ts';
import { SUB_POSITIONS, spotKernel } from '../../src/simulation/spot.ts';
import { drawDots, PLAIN } from './models.ts';

interface Burn {
  readonly dots: Dots;
  readonly model: MaterialModel;
  readonly grid: { readonly pitchMm: number; readonly lineSpacingMm: number };
  readonly perDot: { readonly x: number; readonly y: number };
  readonly seed?: number;
  readonly tilt?: number;
}

/** All rows of dose^power, J/cm², one array a row of samples. */
function depositOf({ dots, model, grid, perDot, seed = 1, tilt = 0 }: Burn): Float32Array[] {
  const deposit = depositLines(dots, { grid, model, seed, settings: model.settings, tilt, perDot, marginX: 0 });
  return Array.from({ length: dots.height * perDot.y }, (_, row) => {
    const dose = new Float32Array(dots.width * perDot.x);
    deposit.readRow(dose, row);
    return dose;
  });
}

const solid = (width: number, height: number) => drawDots(width, height, () => true);
/** Mean of the rows and samples between shares `from` and `to` of both sides. */
function meanWithin(rows: readonly Float32Array[], from = 0.4, to = 0.6): number {
  const inner = rows.slice(Math.round(rows.length * from), Math.round(rows.length * to));
  const values = inner.flatMap((row) => [...row.subarray(Math.round(row.length * from), Math.round(row.length * to))]);
  return values.reduce((sum, value) => sum + value, 0) / values.length;
}

describe('the dose', () => {
  // P/(v·s): 10 W, 1000 mm/s, 0.05 mm → 0.2 J/mm² = 20 J/cm² (own calculation).
  test.each([
    [0.05, 0.05, 20],
    [0.02, 0.05, 20],
    [0.05, 0.025, 40],
    [0.08, 0.1, 10],
  ])('of a solid at pitch %d and line spacing %d mm is P/(v·s)', (pitchMm, lineSpacingMm, expected) => {
    const rows = depositOf({
      dots: solid(40, 40),
      model: PLAIN,
      grid: { pitchMm, lineSpacingMm },
      perDot: { x: 4, y: 4 },
    });
    expect(meanWithin(rows)).toBeCloseTo(expected, 1);
  });

  test('of passes, duty and level multiplies', () => {
    const grid = PLAIN.reference;
    const model = {
      ...PLAIN,
      settings: { ...PLAIN.settings, passes: 3 },
      beam: { ...PLAIN.beam, duty: 0.5 },
    };
    const dots = { ...drawDots(40, 40, () => 2), levels: 5 };
    expect(meanWithin(depositOf({ dots, model, grid, perDot: { x: 4, y: 4 } }))).toBeCloseTo(20 * 3 * 0.5 * 0.5, 1);
  });

  test('of one dot is the energy that was sent, wherever it lands between samples', () => {
    const dots = drawDots(15, 15, (x, y) => x === 7 && y === 7);
    for (const jitterUm of [0, 9]) {
      const model = { ...PLAIN, beam: { ...PLAIN.beam, jitterUm, lineWobbleUm: jitterUm } };
      const rows = depositOf({ dots, model, grid: PLAIN.reference, perDot: { x: 5, y: 3 }, seed: 9 });
      const sampleCm2 = (0.005 / 5) * (0.005 / 3);
      const energyJ = rows.reduce((sum, row) => sum + row.reduce((a, b) => a + b, 0), 0) * sampleCm2;
      // 10 W for 0.05 mm at 1000 mm/s.
      expect(energyJ / 5e-4).toBeCloseTo(1, 5);
    }
  });

  // Gibson, Rosen, Stucker, ch. 4 eq. (4.26): s/W0 = 1.2 → 1.1123 on a line; 0.976572 between lines by the same sum.
  test('of parallel lines has the published ripple (gibsonRosenStucker2015 eq. 4.26)', () => {
    const lineSpacingMm = 0.048;
    const rows = depositOf({
      dots: solid(30, 11),
      model: PLAIN,
      grid: { pitchMm: 0.02, lineSpacingMm },
      perDot: { x: 2, y: 31 },
    });
    // Emax = √(2/π)·P/(W0·v) of a single line, eq. 4.11, J/cm².
    const emax = (100 * Math.sqrt(2 / Math.PI) * 10) / (0.04 * 1000);
    const onLine = rows[5 * 31 + 15]![30]! / emax;
    const between = rows[6 * 31]![30]! / emax;
    expect(onLine).toBeCloseTo(1.1123, 2);
    expect(between).toBeCloseTo(0.976572, 2);
  });

  test('at the middle of a lone pulse is 2E/(πw²)', () => {
    const model: MaterialModel = {
      ...PLAIN,
      settings: { ...PLAIN.settings, powerW: 20, rateKHz: 20 },
      beam: { ...PLAIN.beam, emission: 'pulsed', spotDiameterXUm: 50, spotDiameterYUm: 50 },
    };
    // 20 W at 20 kHz: 1 mJ a pulse; w = 25 µm → 101.859 J/cm² (own calculation).
    const dots = drawDots(5, 5, (x, y) => x === 2 && y === 2);
    const rows = depositOf({ dots, model, grid: { pitchMm: 0.05, lineSpacingMm: 0.05 }, perDot: { x: 31, y: 31 } });
    expect(rows[77]![77]! / 101.859).toBeCloseTo(1, 2);
  });

  test('of the returning lines is shifted by the offset', () => {
    const model: MaterialModel = {
      ...PLAIN,
      settings: { ...PLAIN.settings, scan: 'two-way' },
      beam: { ...PLAIN.beam, returnOffsetUm: 30, spotDiameterXUm: 20, spotDiameterYUm: 20 },
    };
    const dots = drawDots(9, 4, (x) => x === 4);
    const rows = depositOf({ dots, model, grid: { pitchMm: 0.05, lineSpacingMm: 0.05 }, perDot: { x: 10, y: 5 } });
    const centre = (row: Float32Array) =>
      row.reduce((sum, value, i) => sum + value * (i + 0.5), 0) / row.reduce((a, b) => a + b, 0);
    expect(centre(rows[2]!)).toBeCloseTo(45, 1);
    expect(centre(rows[7]!)).toBeCloseTo(51, 1);
  });

  test('rises with the heat of the dots before, along and across, up to the gains', () => {
    const along = { ...PLAIN, heat: { gainAlong: 0.3, lengthAlongUm: 150, gainAcross: 0, lengthAcrossUm: 1 } };
    const across = { ...PLAIN, heat: { gainAlong: 0, lengthAlongUm: 1, gainAcross: 0.2, lengthAcrossUm: 150 } };
    const grid = PLAIN.reference;
    const wide = depositOf({ dots: solid(60, 9), model: along, grid, perDot: { x: 2, y: 2 } });
    expect(wide[8]![110]! / wide[8]![60]!).toBeCloseTo(1, 2);
    expect(wide[8]![60]! / 20).toBeCloseTo(1.3, 1);
    expect(wide[8]![10]!).toBeLessThan(wide[8]![60]!);
    const tall = depositOf({ dots: solid(9, 60), model: across, grid, perDot: { x: 2, y: 2 } });
    expect(tall[60]![8]! / 20).toBeCloseTo(1.2, 1);
    expect(tall[10]![8]!).toBeLessThan(tall[60]![8]!);
  });

  test('of a returning line is warm where the line before has landed, not where it is drawn', () => {
    const model: MaterialModel = {
      ...PLAIN,
      settings: { ...PLAIN.settings, scan: 'two-way' },
      heat: { gainAlong: 0, lengthAlongUm: 1, gainAcross: 0.4, lengthAcrossUm: 150 },
      // Narrower than a line, so that each line's dose is its own.
      beam: { ...PLAIN.beam, spotDiameterXUm: 20, spotDiameterYUm: 20 },
    };
    const drawn = (shift: number) => drawDots(21, 3, (x, y) => x === 10 + (y === 1 ? shift : 0));
    const middleOf = (shift: number, offsetUm: number) => {
      const beam = { ...model.beam, returnOffsetUm: offsetUm };
      const grid = { pitchMm: 0.05, lineSpacingMm: 0.05 };
      const rows = depositOf({ dots: drawn(shift), model: { ...model, beam }, grid, perDot: { x: 10, y: 5 } });
      return [1, 2].map((line) => rows[5 * line + 2]!.reduce((sum, value) => sum + value, 0));
    };
    const [cold] = middleOf(6, 0) as [number, number];
    const [warm, next] = middleOf(0, 0) as [number, number];
    expect(warm / cold).toBeGreaterThan(1.05);
    // Three dots off, taken back by a drawn move: the picture, and so its heat, is that of lines that meet.
    const [landed, after] = middleOf(-3, 150) as [number, number];
    expect(landed).toBeCloseTo(warm, 4);
    expect(after).toBeCloseTo(next, 4);
    // Between two dots each of them warms by how near it lies.
    const [half] = middleOf(-3, 125) as [number, number];
    expect((half - cold) / (warm - cold)).toBeCloseTo(0.5, 2);
    // Drawn on one another and landed three dots apart, they do not warm each other.
    expect(middleOf(0, 150)[0]).toBeCloseTo(cold, 4);
  });

  test('of a tilted piece is lower and wider at its edges than at its middle line', () => {
    const dots = drawDots(9, 101, (x, y) => x === 4 && y % 50 === 0);
    const rows = depositOf({ dots, model: PLAIN, grid: PLAIN.reference, perDot: { x: 3, y: 3 }, tilt: 1 });
    // 2.5 mm off focus at a Rayleigh length of 2 mm: w grows by √(1 + 1.25²) = 1.601, the peak falls by its square.
    expect(rows[151]![13]! / rows[1]![13]!).toBeGreaterThan(1.9);
    expect(rows[1]![13]!).toBeCloseTo(rows[301]![13]!, 3);
  });
});

describe('accumulation', () => {
  // F_th(N) = F_th(1)·N^(S−1) (lenznerIncubation): N equal pulses count as one of N^(1−S) times the fluence.
  test.each([1, 0.5, 0.2])('of N pulses with 1 − S = %d counts as one pulse of N^(1−S) times the fluence', (share) => {
    const dots = drawDots(5, 5, (x, y) => x === 2 && y === 2);
    const peakOf = (passes: number) => {
      const model: MaterialModel = {
        ...PLAIN,
        settings: { ...PLAIN.settings, passes },
        law: { ...PLAIN.law, accumulation: share },
      };
      return depositOf({ dots, model, grid: PLAIN.reference, perDot: { x: 3, y: 3 } })[7]![7]! ** share;
    };
    expect(peakOf(16) / peakOf(1)).toBeCloseTo(16 ** share, 3);
  });
});

test('a kernel holds all energy at every place between samples', () => {
  const kernel = spotKernel({ radiusMm: 0.02, sampleMm: 0.007, pulsesMm: [-0.01, 0.01], power: 1 });
  const size = 2 * kernel.reach + 1;
  for (let sub = 0; sub < SUB_POSITIONS; sub++) {
    const row = kernel.values.subarray(sub * size, (sub + 1) * size);
    expect(row.reduce((a, b) => a + b, 0) * 0.007).toBeCloseTo(1, 5);
    const centre = row.reduce((sum, value, i) => sum + value * 0.007 * (i + 0.5), 0);
    expect(centre).toBeCloseTo(kernel.reach + (sub + 0.5) / SUB_POSITIONS, 1);
  }
});
