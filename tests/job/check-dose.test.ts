import { describe, expect, test } from 'vitest';
import { type ChartLayout, layoutChart, type Reading } from '../../src/chart/index.ts';
import { reflectanceOfLightness } from '../../src/colour/index.ts';
import { readDose } from '../../src/job/index.ts';
import { computeArealDoseJPerCm2, computePeakFluenceJPerCm2 } from '../../src/optics/index.ts';

const OPTIONS = {
  machine: 'any',
  direction: 'darker',
  settings: { powerW: 5, speedMmPerS: 100, rateKHz: 50, passes: 1, scan: 'one-way' },
  grid: { pitchMm: 0.1, lineSpacingMm: 0.1 },
} as const;
const layoutOf = (powers: readonly number[], speeds: readonly number[]) =>
  layoutChart('dose', {
    ...OPTIONS,
    columns: { setting: 'powerW', values: powers },
    rows: { setting: 'speedMmPerS', values: speeds },
  });
const LAYOUT = layoutOf([1, 2, 4, 8], [50, 100, 200]);
const BARE = 85;

/** What a material reads whose contrast to bare is a function of dose. */
function burn(contrastOf: (doseJPerCm2: number) => number, layout: ChartLayout = LAYOUT) {
  const bare = reflectanceOfLightness(BARE);
  const readings = layout.patches.map((patch): Reading => {
    const dose = patch.settings ? computeArealDoseJPerCm2(patch.settings) : 0;
    const lightness = patch.settings ? BARE - contrastOf(dose) : BARE;
    const mean = reflectanceOfLightness(lightness) / bare;
    return { ...patch, mean, colour: [lightness, 0, 0], spread: 0, pixels: 100, rejectedShare: 0 };
  });
  return { readings, bare: [BARE, 0, 0], direction: 'darker' } as const;
}

describe('a characteristic curve from a dose chart', () => {
  // Doses of the chart: 5 … 160 J/cm² in steps of two.
  const saturating = (dose: number) => 50 * (1 - Math.exp(-dose / 15));

  test('dose is P·passes/(v·s), and contrast comes back cell by cell', () => {
    const dose = readDose(burn(saturating), LAYOUT);
    expect(dose.points).toHaveLength(12);
    for (const { settings, doseJPerCm2, contrast } of dose.points) {
      expect(doseJPerCm2).toBeCloseTo((100 * settings.powerW) / (settings.speedMmPerS * 0.1), 9);
      expect(contrast).toBeCloseTo(saturating(doseJPerCm2), 6);
    }
    expect(dose.scatter).toBeCloseTo(0, 6);
  });

  test('usable range and enough are where the curve says, within the steps of the chart', () => {
    const { usableFromJPerCm2, usableToJPerCm2, enoughJPerCm2, overburnsFromJPerCm2, notes } = readDose(
      burn((dose) => 50 / (1 + (30 / dose) ** 3)),
      LAYOUT,
    );
    // 1/(1 + (30/D)³) = 0.1 at 30/∛9 and 0.9 at 30·∛9; between cells, the line over log dose is a little off.
    expect(Math.abs(usableFromJPerCm2! / (30 / 9 ** (1 / 3)) - 1)).toBeLessThan(0.15);
    expect(Math.abs(usableToJPerCm2! / (30 * 9 ** (1 / 3)) - 1)).toBeLessThan(0.15);
    expect(enoughJPerCm2).toBeGreaterThan(usableToJPerCm2!);
    expect(overburnsFromJPerCm2).toBeNull();
    expect(notes.join()).toMatch(/Extend the chart to more dose/);
  });

  test('a mark that fades again is found, and the recommended cell keeps away from there', () => {
    const fading = (dose: number) => (dose <= 40 ? dose : 40 - 0.15 * (dose - 40));
    const dose = readDose(burn(fading), LAYOUT);
    expect(dose.strongest.doseJPerCm2).toBeCloseTo(40, 6);
    expect(dose.overburnsFromJPerCm2).toBeCloseTo(80, 6);
    expect(dose.recommended.doseJPerCm2).toBeLessThanOrEqual(0.8 * 80);
    // Of equal dose, the fastest.
    expect(dose.recommended.settings.speedMmPerS).toBe(200);
  });

  test('a chart that starts too strong says so', () => {
    const { usableFromJPerCm2, notes } = readDose(
      burn(() => 40),
      LAYOUT,
    );
    expect(usableFromJPerCm2).toBeNull();
    expect(notes.join()).toMatch(/less dose/);
  });

  test('peak fluence threshold and spot by Liu’s line from craters made by his formula', () => {
    const layout = layoutOf([2, 4, 6], [100, 200]);
    const [spotDiameterUm, thresholdJPerCm2] = [40, 2.5];
    const diametersUm = Object.fromEntries(
      layout.patches.flatMap(({ id, settings }) => {
        if (!settings) return [];
        const pulseEnergyUJ = (1000 * settings.powerW) / settings.rateKHz!;
        const peakFluenceJPerCm2 = computePeakFluenceJPerCm2({ pulseEnergyUJ, spotDiameterUm });
        // source: liu1982, D² = 2w²·ln(F0/Fth); no crater below the threshold.
        const ratio = Math.max(1, peakFluenceJPerCm2 / thresholdJPerCm2);
        return [[id, spotDiameterUm * Math.sqrt(Math.log(ratio) / 2)]];
      }),
    );
    const { threshold } = readDose(burn(saturating, layout), layout, { diametersUm });
    expect(threshold!.spotDiameterUm).toBeCloseTo(spotDiameterUm, 6);
    expect(threshold!.thresholdJPerCm2).toBeCloseTo(thresholdJPerCm2, 6);
    const one = Object.fromEntries(Object.entries(diametersUm).slice(0, 1));
    expect(() => readDose(burn(saturating, layout), layout, { diametersUm: one })).toThrow(/two different/);
    const mistyped = { ...diametersUm, Z9: 20 };
    expect(() => readDose(burn(saturating, layout), layout, { diametersUm: mistyped })).toThrow(
      /no readable cell "Z9"/,
    );
  });

  test('another chart, or too few cells, is refused', () => {
    expect(() => readDose(burn(saturating), layoutChart('tone', OPTIONS))).toThrow(/needed a dose chart/);
    const { readings, ...rest } = burn(saturating);
    expect(() => readDose({ ...rest, readings: readings.slice(0, 1) }, LAYOUT)).toThrow(/at least 3/);
  });
});
