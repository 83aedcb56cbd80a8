import { describe, expect, test } from 'vitest';
import {
  type BeamFacts,
  computeCylinderEdgeAngleDeg,
  computeCylinderWidthMm,
  describeOptics,
  type OpticsOptions,
} from '../../src/optics/index.ts';

const BEAM: BeamFacts = {
  wavelengthNm: 1000,
  emission: 'pulsed',
  beamQualityM2: 1,
  beamDiameterMm: 4,
  focalLengthMm: 40 * Math.PI,
  powerW: { min: 1, max: 20 },
  speedMmPerS: { min: 10, max: 4000 },
  rateKHz: { min: 20, max: 200 },
};
const SETTINGS: OpticsOptions = {
  powerW: 4,
  speedMmPerS: 1000,
  rateKHz: 100,
  passes: 1,
  scan: 'one-way',
  lineSpacingMm: 0.02,
  pitchMm: 0.02,
};
const warned = (beam: Partial<BeamFacts>, settings: Partial<OpticsOptions> = {}) =>
  describeOptics({ ...BEAM, ...beam }, { ...SETTINGS, ...settings }).warnings.map(
    ({ about, text }) => `${about}: ${text}`,
  );

describe('a report', () => {
  test('agrees with the same numbers on paper', () => {
    const report = describeOptics(BEAM, SETTINGS);
    // d = 4·1 µm·40π/(π·4) = 40 µm, w0 = 20 µm, zR = π·400/1 µm = 1.256637 mm.
    expect(report.spotDiameterUm).toBeCloseTo(40, 10);
    expect(report.rayleighRangeMm).toBeCloseTo(1.256637, 6);
    expect(report.depthOfFocusMm).toBeCloseTo(2.513274, 6);
    // 1000 mm/s ÷ 100 kHz = 10 µm: a quarter of the spot, half a dot.
    expect([report.pulsePitchUm, report.pulsesPerDot, report.lockedSpeedMmPerS]).toEqual([10, 2, 1000]);
    expect(report.pulseOverlap).toBeCloseTo(0.75, 12);
    expect(report.lineOverlap).toBeCloseTo(0.5, 12);
    // 4 W ÷ 100 kHz = 40 µJ; 2·40e-6/(π·0.002²) = 6.3662 J/cm²; 4/(1000·0.02) = 0.2 J/mm² = 20 J/cm².
    expect(report.pulseEnergyUJ).toBeCloseTo(40, 12);
    expect(report.peakFluenceJPerCm2).toBeCloseTo(6.3662, 4);
    expect(report.doseJPerCm2).toBeCloseTo(20, 12);
    // s/w = 1: the row of the table of hatch sums; single line √(2/π)·4/(0.02·1000) = 0.159577 J/mm².
    expect(report.lineDoseJPerCm2).toBeCloseTo(15.9577, 4);
    expect(report.onLineDoseJPerCm2).toBeCloseTo(15.9577 * 1.271342, 3);
    expect(report.midLineDoseJPerCm2).toBeCloseTo(15.9577 * 1.235287, 3);
    expect(report.doseRipple).toBeCloseTo(0.014384, 6);
    expect(report.dwellTimeUs).toBeCloseTo(40, 9);
    expect(report.warnings).toEqual([]);
  });

  test('is plain JSON without holes', () => {
    const report = describeOptics({ ...BEAM, emission: 'continuous' }, { ...SETTINGS, cylinderDiameterMm: 70 });
    expect(JSON.parse(JSON.stringify(report))).toEqual(report);
    expect(Object.values(report)).not.toContain(undefined);
  });

  test('takes a measured spot over the computed one', () => {
    const report = describeOptics({ ...BEAM, spotDiameterUm: 55 }, SETTINGS);
    expect([report.spotDiameterUm, report.spotOrigin]).toEqual([55, 'measured']);
  });

  test('has no pulses for a continuous beam', () => {
    const { pulsePitchUm, peakFluenceJPerCm2, lockedSpeedMmPerS, warnings } = describeOptics(
      { ...BEAM, emission: 'continuous' },
      SETTINGS,
    );
    expect([pulsePitchUm, peakFluenceJPerCm2, lockedSpeedMmPerS, warnings]).toEqual([null, null, null, []]);
  });

  test('recommends whole micrometres that are even enough and worth their time, and uses them when no spacing is given', () => {
    const { lineSpacingMm: _s, pitchMm: _p, ...bare } = SETTINGS;
    const report = describeOptics(BEAM, bare);
    // q = exp(−π²w²/(2s²)), (2q + 2q⁹)/(1 + 2q⁴) = 0.4 at q = 0.20065: s = w·π/√(2·ln(1/0.20065)) = 35.06 µm.
    expect(report.rippleLineSpacingMm).toBeCloseTo(0.03506, 4);
    expect(report.coveringLineSpacingMm).toBeCloseTo(0.02828, 5);
    // 100/(1000·s) + 6·ripple, s in mm: 4.510 at 25 µm, 4.493 at 26 µm, 4.504 at 27 µm.
    expect([report.recommendedLineSpacingMm, report.lineSpacingMm]).toEqual([0.026, 0.026]);
    expect(report.lineSpacingOrigin).toBe('recommended');
    // Between two and three pulses of 10 µm: down, so that dots lie no further apart than lines.
    expect(report.pitchMm).toBeCloseTo(0.02, 12);
    expect(report.warnings).toEqual([]);
    // The mark of a lone dot has no say, and slow machines pay with evenness.
    expect(describeOptics(BEAM, { ...bare, markDiameterUm: 20 }).recommendedLineSpacingMm).toBe(0.026);
    expect(describeOptics(BEAM, { ...bare, speedMmPerS: 100 }).recommendedLineSpacingMm).toBe(0.035);
    expect(describeOptics(BEAM, { ...bare, passes: 10 }).recommendedLineSpacingMm).toBe(0.035);
  });

  test.each(['powerW', 'speedMmPerS', 'rateKHz', 'passes', 'lineSpacingMm', 'pitchMm', 'cylinderDiameterMm'] as const)(
    'refuses %s of 0',
    (name) => {
      expect(() => describeOptics(BEAM, { ...SETTINGS, [name]: 0 })).toThrow(name);
    },
  );
});

describe('a warning says', () => {
  test('that the lens is overfilled, from 1 % of lost power on', () => {
    // 1 − exp(−2) = 86.5 % pass an aperture as wide as the beam.
    expect(warned({ lensApertureMm: 4 })).toEqual([expect.stringMatching(/overfills the 4 mm aperture: 13.5 %/)]);
    expect(warned({ lensApertureMm: 6.1 })).toEqual([]);
  });

  test('that the aperture is too large for the paraxial formulas', () => {
    expect(warned({ focalLengthMm: 5, spotDiameterUm: 40 })).toEqual([expect.stringMatching(/paraxial/)]);
  });

  test('that no lens makes a spot below the wavelength', () => {
    expect(warned({ focalLengthMm: 2 }).join('\n')).toMatch(/smaller than the wavelength/);
  });

  test('that a measured spot is smaller than the perfect one', () => {
    expect(warned({ spotDiameterUm: 30 }).join('\n')).toMatch(/measured spot, 30 µm, is below .* 40 µm/);
  });

  test('that a meniscus blurs a wide far-infrared beam', () => {
    const beam = { wavelengthNm: 10600, beamDiameterMm: 20, focalLengthMm: 63.5 };
    expect(warned(beam).join('\n')).toMatch(/meniscus/);
    expect(warned({ ...beam, beamDiameterMm: 6 }).join('\n')).not.toMatch(/meniscus/);
  });

  test.each([
    [{ powerW: 30 }, "powerW: power 30 W is outside the machine's 1 to 20 W"],
    [{ speedMmPerS: 5, rateKHz: 20 }, "speedMmPerS: speed 5 mm/s is outside the machine's 10 to 4000 mm/s"],
    [{ rateKHz: 250, speedMmPerS: 2500 }, "rateKHz: pulse rate 250 kHz is outside the machine's 20 to 200 kHz"],
  ])('which setting leaves the range: %o', (settings, text) => {
    expect(warned({}, settings)).toEqual([text]);
  });

  test('that pulses leave gaps, and dots have no pulse of their own', () => {
    const all = warned({}, { speedMmPerS: 2000, rateKHz: 40 });
    expect(all.map((text) => text.split(':')[0])).toEqual(['pulseOverlap', 'pulsesPerDot']);
    expect(all[1]).toMatch(/dots lie 20 µm apart but pulses 50 µm.*slow down to 800 mm\/s/);
  });

  test('that pulses beat with the dots, and the speed that stops it', () => {
    expect(warned({}, { speedMmPerS: 1300 })).toEqual([
      expect.stringMatching(/1.54 pulses per dot.*1000 mm\/s gives 2/),
    ]);
    expect(warned({}, { speedMmPerS: 1000 })).toEqual([]);
  });

  test('that a pulse rate is missing', () => {
    const { rateKHz: _r, ...without } = SETTINGS;
    expect(describeOptics(BEAM, without).warnings.map(({ about }) => about)).toEqual(['rateKHz']);
  });

  test('that lines leave stripes, with the spacing that does not; a measured solid has the last word', () => {
    expect(warned({}, { lineSpacingMm: 0.05 })).toEqual([
      expect.stringMatching(/^lineSpacingMm: lines 50 µm apart leave stripes.*0\.0\d+ mm is even/),
    ]);
    expect(warned({}, { lineSpacingMm: 0.033 })).toEqual([]);
    expect(warned({}, { lineSpacingMm: 0.05, recommended: { lineSpacingMm: 0.06, by: 'measured' } })).toEqual([]);
  });

  test('nothing at the grid that the report itself chooses', () => {
    const { lineSpacingMm: _s, pitchMm: _p, ...bare } = SETTINGS;
    for (const speedMmPerS of [90, 700, 1000, 1300, 2000]) {
      for (const rateKHz of [70, 100, 150])
        expect(describeOptics(BEAM, { ...bare, speedMmPerS, rateKHz }).warnings).toEqual([]);
    }
  });
});

describe('a round piece that does not turn', () => {
  test('70 mm across and 1 mm deep in focus: 2√(1·69) = 16.613 mm', () => {
    expect(computeCylinderWidthMm({ diameterMm: 70, depthMm: 1 })).toBeCloseTo(16.613248, 6);
  });

  test('the edge of the width lies exactly the depth below the top', () => {
    for (const depthMm of [0.01, 0.5, 3, 20]) {
      const half = computeCylinderWidthMm({ diameterMm: 70, depthMm }) / 2;
      expect(35 - Math.sqrt(35 ** 2 - half ** 2)).toBeCloseTo(depthMm, 9);
    }
  });

  test('no more than the whole diameter is in focus', () => {
    expect(computeCylinderWidthMm({ diameterMm: 2, depthMm: 5 })).toBe(2);
    expect(computeCylinderEdgeAngleDeg({ diameterMm: 2, widthMm: 2 })).toBe(90);
  });

  test('is reported for the focus on its top, and lowered to use the whole depth of focus', () => {
    const report = describeOptics(BEAM, { ...SETTINGS, cylinderDiameterMm: 70 });
    // h = zR = 1.256637: 2√(1.256637·68.743363); h = 2zR = 2.513274: 2√(2.513274·67.486726).
    expect(report.cylinderWidthMm).toBeCloseTo(18.589, 3);
    expect(report.cylinderWidthLoweredMm).toBeCloseTo(26.047, 3);
    expect(report.cylinderEdgeAngleDeg).toBeCloseTo((Math.asin(18.589 / 70) * 180) / Math.PI, 2);
    expect(report.warnings).toEqual([]);
  });

  test('warns when the surface slopes so much that the picture stretches', () => {
    // w = 2√(1.256637·10.743363) = 7.3486; asin(7.3486/12) = 37.76°; 1/cos = 1.2649.
    expect(warned({}, { cylinderDiameterMm: 12 })).toEqual([
      expect.stringMatching(/^cylinderWidthMm: .*slopes by 37.8°.*1.26 /),
    ]);
    expect(warned({}, { cylinderDiameterMm: 2 })).toEqual([expect.stringMatching(/grazes/)]);
  });
});
