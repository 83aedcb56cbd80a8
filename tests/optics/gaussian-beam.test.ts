import { describe, expect, test } from 'vitest';
import {
  computeDefocusToleranceMm,
  computeDepthOfFocusMm,
  computeFullDivergenceMrad,
  computeMeniscusAberrationUm,
  computeNumericalAperture,
  computePassedShare,
  computePeakFluenceJPerCm2,
  computePeakIrradianceKWPerCm2,
  computeRayleighRangeMm,
  computeSpotDiameterUm,
  computeWaistRadiusUm,
} from '../../src/optics/index.ts';

describe('published spots', () => {
  test('1064 nm, 10 mm beam, 100 mm lens: spot, waist, Rayleigh range and depth of focus', () => {
    // source: onlyCalculatorsSpot: 13.547 µm, 6.774 µm, 135.473 µm, 270.945 µm.
    const beam = { wavelengthNm: 1064, beamQualityM2: 1, beamDiameterMm: 10, focalLengthMm: 100 };
    const spotDiameterUm = computeSpotDiameterUm(beam);
    expect(spotDiameterUm).toBeCloseTo(13.547, 3);
    expect(computeWaistRadiusUm(spotDiameterUm)).toBeCloseTo(6.774, 3);
    expect(1000 * computeRayleighRangeMm({ ...beam, spotDiameterUm })).toBeCloseTo(135.473, 3);
    expect(1000 * computeDepthOfFocusMm({ ...beam, spotDiameterUm })).toBeCloseTo(270.945, 3);
  });

  test.each([
    // source: prahlLaserbeamsize, test_gaussian.py.
    { focalLengthMm: 120, wavelengthNm: 532, beamDiameterMm: 10, beamQualityM2: 1.3, published: 10.567, digits: 3 },
    { focalLengthMm: 10, wavelengthNm: 1000, beamDiameterMm: 2, beamQualityM2: 1, published: 6.3661977, digits: 7 },
    { focalLengthMm: 20, wavelengthNm: 1000, beamDiameterMm: 2, beamQualityM2: 1, published: 12.732395, digits: 6 },
    { focalLengthMm: 10, wavelengthNm: 1000, beamDiameterMm: 4, beamQualityM2: 1, published: 3.18309886, digits: 8 },
  ])('$wavelengthNm nm, $beamDiameterMm mm beam, $focalLengthMm mm lens: $published µm', (row) => {
    expect(computeSpotDiameterUm(row)).toBeCloseTo(row.published, row.digits);
  });

  test.each([
    // source: prahlLaserbeamsize: w0 = 1 mm at 1 µm: zR = π m and π/2 m, Θ = 0.00063662 and 0.00127323 rad.
    { beamQualityM2: 1, rayleighM: Math.PI, divergenceRad: 0.00063662 },
    { beamQualityM2: 2, rayleighM: Math.PI / 2, divergenceRad: 0.00127323 },
  ])('a waist of 1 mm at 1 µm with M² = $beamQualityM2', ({ beamQualityM2, rayleighM, divergenceRad }) => {
    const focus = { wavelengthNm: 1000, beamQualityM2, spotDiameterUm: 2000 };
    expect(computeRayleighRangeMm(focus) / 1000).toBeCloseTo(rayleighM, 12);
    expect(computeFullDivergenceMrad(focus) / 1000).toBeCloseTo(divergenceRad, 7);
  });

  test('energy over the square of the half-maximum width exceeds the peak fluence by 1.133', () => {
    // source: xfelGaussian, π/(4 ln 2) = 1.133.
    const fwhmUm = 20;
    const spotDiameterUm = fwhmUm * Math.sqrt(2 / Math.LN2);
    const peak = computePeakFluenceJPerCm2({ pulseEnergyUJ: 5, spotDiameterUm });
    expect(5e-6 / (fwhmUm / 1e4) ** 2 / peak).toBeCloseTo(1.133, 3);
  });

  test('50 W in a 6 mm beam are 1.8 W/mm² in the mean, half the peak', () => {
    // source: parallaxFaq, 180 W/cm².
    const meanWPerCm2 = (1000 * computePeakIrradianceKWPerCm2({ powerW: 50, spotDiameterUm: 6000 })) / 2;
    expect(Math.round(meanWPerCm2 / 10)).toBe(18);
  });

  test('a 127 mm meniscus at 10.6 µm is best near a 25 mm beam, at about 85 µm', () => {
    // source: twoSixSpotSize; aberration constant from memory, so "about" is taken as 3 %.
    const total = (beamDiameterMm: number) =>
      computeSpotDiameterUm({ wavelengthNm: 10600, beamQualityM2: 1, beamDiameterMm, focalLengthMm: 127 }) +
      computeMeniscusAberrationUm({ beamDiameterMm, focalLengthMm: 127 });
    const diameters = Array.from({ length: 400 }, (_, at) => 5 + at / 10);
    const best = diameters.reduce((kept, diameter) => (total(diameter) < total(kept) ? diameter : kept));
    expect(Math.abs(best - 25)).toBeLessThan(2);
    expect(Math.abs(total(best) / 85 - 1)).toBeLessThan(0.03);
  });

  test('1 J in 1.9 cm peaks at about 0.7 J/cm²', () => {
    // From memory of an optics maker's tutorial; exactly 0.7054.
    expect(computePeakFluenceJPerCm2({ pulseEnergyUJ: 1e6, spotDiameterUm: 19000 })).toBeCloseTo(0.7054, 4);
  });
});

describe('identities of the Gaussian beam', () => {
  const focus = { wavelengthNm: 355, beamQualityM2: 1.5, spotDiameterUm: 31 };

  /** Diameter away from the focus, d(z) = d·√(1+(z/zR)²). */
  const diameterAt = (z: number) => 31 * Math.hypot(1, z / computeRayleighRangeMm(focus));

  test('at one Rayleigh range the spot has grown by √2', () => {
    expect(computeDefocusToleranceMm(focus, Math.SQRT2 - 1)).toBeCloseTo(computeRayleighRangeMm(focus), 10);
  });

  test('at the defocus tolerance the spot has grown by the stated share', () => {
    for (const growth of [0.01, 0.1, 0.5]) {
      const z = computeDefocusToleranceMm(focus, growth);
      expect(diameterAt(z) / 31).toBeCloseTo(1 + growth, 10);
    }
  });

  test('far from the focus the spot opens with the full divergence angle', () => {
    const farMm = 1e6 * computeRayleighRangeMm(focus);
    const mrad = diameterAt(farMm) / farMm;
    expect(mrad / computeFullDivergenceMrad(focus)).toBeCloseTo(1, 9);
  });

  test('the divergence is the cone of the lens', () => {
    const beam = { wavelengthNm: 1064, beamQualityM2: 1.5, beamDiameterMm: 7, focalLengthMm: 160 };
    const mrad = computeFullDivergenceMrad({ ...beam, spotDiameterUm: computeSpotDiameterUm(beam) });
    expect(mrad).toBeCloseTo((1000 * 7) / 160, 9);
    expect(computeNumericalAperture(beam)).toBeCloseTo(7 / 320, 4);
  });

  test('an aperture as wide as the beam passes 1 − e⁻², a wide one everything', () => {
    expect(computePassedShare({ apertureMm: 10, beamDiameterMm: 10 })).toBeCloseTo(0.864665, 6);
    expect(computePassedShare({ apertureMm: 100, beamDiameterMm: 10 })).toBe(1);
  });

  test('the passed share is the integral of the Gaussian over the aperture', () => {
    let sum = 0;
    const steps = 20000;
    for (let at = 0; at < steps; at++) {
      const r = ((at + 0.5) / steps) * 3.5;
      sum += (2 / (Math.PI * 25)) * Math.exp((-2 * r * r) / 25) * 2 * Math.PI * r * (3.5 / steps);
    }
    expect(computePassedShare({ apertureMm: 7, beamDiameterMm: 10 })).toBeCloseTo(sum, 7);
  });
});
