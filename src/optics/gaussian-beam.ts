/**
 * The focused Gaussian beam. w is always the 1/e² radius of intensity, a diameter twice that.
 * All of it is paraxial and for a round beam: near a numerical aperture of 0.3 the spot is some percent larger than
 * computed here, and astigmatic or ring-shaped beams need a measured spot.
 */

/** A lens with the beam that enters it. */
export interface LensBeam {
  readonly wavelengthNm: number;
  /** Beam quality M², ≥ 1; 1 is a perfect Gaussian beam. */
  readonly beamQualityM2: number;
  /** 1/e² diameter of the beam at the lens, mm. */
  readonly beamDiameterMm: number;
  readonly focalLengthMm: number;
}

/** A focus: its size with the beam that made it. */
export interface Focus {
  readonly wavelengthNm: number;
  /** Beam quality M², ≥ 1. */
  readonly beamQualityM2: number;
  /** 1/e² diameter at the focus, µm, > 0. */
  readonly spotDiameterUm: number;
}

/**
 * Spot diameter d = 4M²λf/(πD), µm, of a lens that neither cuts off nor distorts the beam.
 * Source: prahlLaserbeamsize (the same formula and its test values). Too small when the lens is overfilled, when its
 * aberration counts (`computeMeniscusAberrationUm`), or above a numerical aperture of about 0.3.
 */
export function computeSpotDiameterUm({
  wavelengthNm,
  beamQualityM2,
  beamDiameterMm,
  focalLengthMm,
}: LensBeam): number {
  return (4 * beamQualityM2 * (wavelengthNm / 1000) * focalLengthMm) / (Math.PI * beamDiameterMm);
}

/** Waist radius w0, µm: half the spot diameter. */
export function computeWaistRadiusUm(spotDiameterUm: number): number {
  return spotDiameterUm / 2;
}

/**
 * Rayleigh range zR = πw0²/(M²λ), mm: the defocus at which the spot's area has doubled.
 * Source: prahlLaserbeamsize. With a measured spot that aberration has widened, zR comes out too long.
 */
export function computeRayleighRangeMm({ wavelengthNm, beamQualityM2, spotDiameterUm }: Focus): number {
  const w0 = computeWaistRadiusUm(spotDiameterUm);
  return (Math.PI * w0 * w0) / (beamQualityM2 * (wavelengthNm / 1000)) / 1000;
}

/** Depth of focus 2zR, mm: the spot's diameter stays within √2 of the smallest. Source: onlyCalculatorsSpot. */
export function computeDepthOfFocusMm(focus: Focus): number {
  return 2 * computeRayleighRangeMm(focus);
}

/**
 * Defocus, mm to either side, at which the spot has grown by `growth` (0.1: to 1.1 of its smallest diameter):
 * d(z) = d·√(1+(z/zR)²) solved for z, zR·√((1+growth)²−1).
 */
export function computeDefocusToleranceMm(focus: Focus, growth: number): number {
  return computeRayleighRangeMm(focus) * Math.sqrt((1 + growth) ** 2 - 1);
}

/** Full divergence angle Θ = 2M²λ/(πw0) behind the focus, mrad; small angles. Source: prahlLaserbeamsize. */
export function computeFullDivergenceMrad({ wavelengthNm, beamQualityM2, spotDiameterUm }: Focus): number {
  return (1000 * 2 * beamQualityM2 * (wavelengthNm / 1000)) / (Math.PI * computeWaistRadiusUm(spotDiameterUm));
}

/** Numerical aperture of the focused cone, sin(atan(D/2f)). */
export function computeNumericalAperture({ beamDiameterMm, focalLengthMm }: LensBeam): number {
  return Math.sin(Math.atan(beamDiameterMm / (2 * focalLengthMm)));
}

/**
 * Share of the power inside a centred circle, 1−exp(−2r²/w²) with r/w = aperture/beam diameter: 0.8647 when both
 * are equal. The rest is cut off, and the spot grows by diffraction at the rim, which no formula here counts.
 */
export function computePassedShare({
  apertureMm,
  beamDiameterMm,
}: {
  readonly apertureMm: number;
  readonly beamDiameterMm: number;
}): number {
  return -Math.expm1(-2 * (apertureMm / beamDiameterMm) ** 2);
}

/**
 * Blur k of a zinc selenide meniscus at 10.6 µm, without unit (blur and lengths in mm). Assumed: the value is from
 * memory.
 */
const MENISCUS_ABERRATION = 0.0187;

/**
 * Blur by spherical aberration of a single zinc selenide meniscus at 10.6 µm, kD³/f² in µm, to be added to the
 * diffraction spot. Source of the form: twoSixSpotSize; its k is from memory. Of no use for other glass or wavelengths.
 */
export function computeMeniscusAberrationUm({
  beamDiameterMm,
  focalLengthMm,
}: Pick<LensBeam, 'beamDiameterMm' | 'focalLengthMm'>): number {
  return (1000 * MENISCUS_ABERRATION * beamDiameterMm ** 3) / focalLengthMm ** 2;
}

/** Peak irradiance 2P/(πw²) of the mean power, kW/cm². Source: gibsonRosenStucker2015, eq. 4.6. */
export function computePeakIrradianceKWPerCm2({
  powerW,
  spotDiameterUm,
}: {
  readonly powerW: number;
  readonly spotDiameterUm: number;
}): number {
  const wCm = spotDiameterUm / 2 / 1e4;
  return (2 * powerW) / (Math.PI * wCm * wCm) / 1000;
}
