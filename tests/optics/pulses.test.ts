import { describe, expect, test } from 'vitest';
import {
  computeLockedSpeedMmPerS,
  computePeakFluenceJPerCm2,
  computePulseEnergyUJ,
  computePulseOverlap,
  computePulsePitchUm,
  computePulsesPerDot,
  computePulsesPerSpot,
  fitCraters,
} from '../../src/optics/index.ts';

describe('pulses along a line', () => {
  const train = { speedMmPerS: 1000, rateKHz: 50 };

  test('1000 mm/s at 50 kHz: 20 µm from pulse to pulse', () => {
    // 1000 mm/s ÷ 50 000 /s = 0.02 mm.
    expect(computePulsePitchUm(train)).toBe(20);
  });

  test('a 40 µm spot then overlaps by half and sees two pulses', () => {
    expect(computePulseOverlap({ ...train, spotDiameterUm: 40 })).toBe(0.5);
    expect(computePulsesPerSpot({ ...train, spotDiameterUm: 40 })).toBe(2);
  });

  test('a 10 µm spot leaves gaps as wide as itself', () => {
    expect(computePulseOverlap({ ...train, spotDiameterUm: 10 })).toBe(-1);
  });

  test('the locked speed gives whole pulses per dot', () => {
    for (const pulsesPerDot of [1, 2, 3, 7]) {
      const speedMmPerS = computeLockedSpeedMmPerS({ pitchMm: 0.035, rateKHz: 62, pulsesPerDot });
      expect(computePulsesPerDot({ speedMmPerS, rateKHz: 62, pitchMm: 0.035 })).toBeCloseTo(pulsesPerDot, 12);
    }
  });

  test('2 W at 50 kHz are 40 µJ a pulse', () => {
    expect(computePulseEnergyUJ({ powerW: 2, rateKHz: 50 })).toBe(40);
  });

  test('1 mJ in w = 25 µm peaks at 101.859 J/cm²', () => {
    // Own calculation: 2·0.001/(π·0.0025²).
    expect(computePeakFluenceJPerCm2({ pulseEnergyUJ: 1000, spotDiameterUm: 50 })).toBeCloseTo(101.859, 3);
  });
});

/** Constructed from liu1982: w0 = 15 µm, Fth = 0.35 J/cm² (Eth = 1.237002 µJ). */
const CRATERS = [
  { pulseEnergyUJ: 2, fluence: 0.565884, diameterUm: 14.703924 },
  { pulseEnergyUJ: 4, fluence: 1.131768, diameterUm: 22.980897 },
  { pulseEnergyUJ: 8, fluence: 2.263537, diameterUm: 28.983406 },
  { pulseEnergyUJ: 16, fluence: 4.527074, diameterUm: 33.940449 },
  { pulseEnergyUJ: 32, fluence: 9.054148, diameterUm: 38.260558 },
];

describe('craters of a Gaussian spot', () => {
  test.each(CRATERS)('$pulseEnergyUJ µJ: $fluence J/cm²', ({ pulseEnergyUJ, fluence }) => {
    expect(computePeakFluenceJPerCm2({ pulseEnergyUJ, spotDiameterUm: 30 })).toBeCloseTo(fluence, 6);
  });

  test('the line of D² over ln E gives spot and threshold back', () => {
    // source: liu1982: slope 2w0² = 450 µm².
    const fit = fitCraters(CRATERS);
    expect(fit.spotDiameterUm ** 2 / 2).toBeCloseTo(450, 3);
    expect(fit.thresholdEnergyUJ).toBeCloseTo(1.237002, 5);
    expect(fit.thresholdJPerCm2).toBeCloseTo(0.35, 6);
  });

  test('one energy, no crater or shrinking craters are refused', () => {
    expect(() => fitCraters([])).toThrow(RangeError);
    expect(() => fitCraters([CRATERS[0]!, CRATERS[0]!])).toThrow(RangeError);
    expect(() =>
      fitCraters([
        { pulseEnergyUJ: 1, diameterUm: 20 },
        { pulseEnergyUJ: 2, diameterUm: 10 },
      ]),
    ).toThrow(RangeError);
  });
});
