import * as v from 'valibot';

/**
 * A number within a range, both ends included.
 * @param unit for the message, such as `mm`; none for a pure number.
 */
export function within(min: number, max: number, unit = '') {
  const needed = `a number from ${min} to ${max}${unit && ` ${unit}`}`;
  return v.pipe(v.number(needed), v.minValue(min, needed), v.maxValue(max, needed));
}

/** A whole number within a range, both ends included. */
export function wholeWithin(min: number, max: number) {
  const needed = `a whole number from ${min} to ${max}`;
  return v.pipe(v.number(needed), v.integer(needed), v.minValue(min, needed), v.maxValue(max, needed));
}

/**
 * Quantities of engraving with the ranges that a file may give. Every bound is assumed: ten times or more beyond what
 * engravers, lenses and materials are sold with, so that it stops slips of the point and of the unit and nothing that
 * exists.
 */
export const QUANTITIES = {
  wavelengthNm: within(100, 20_000, 'nm'),
  beamQualityM2: within(1, 200),
  /** Of beams and apertures at the lens. */
  apertureMm: within(0.1, 1000, 'mm'),
  focalLengthMm: within(1, 5000, 'mm'),
  /** Of spots and marks. */
  diameterUm: within(0.1, 10_000, 'µm'),
  /** Of fields, boards, pieces. */
  sizeMm: within(0.01, 20_000, 'mm'),
  /** Places on a board or a piece. */
  placeMm: within(-20_000, 20_000, 'mm'),
  /** Margins, gaps, clearances, overtravel. */
  marginMm: within(0, 2000, 'mm'),
  pitchMm: within(0.0001, 50, 'mm'),
  powerW: within(1e-5, 100_000, 'W'),
  speedMmPerS: within(1e-4, 1_000_000, 'mm/s'),
  rateKHz: within(1e-6, 10_000_000, 'kHz'),
  pulseNs: within(1e-6, 1e9, 'ns'),
  passes: wholeWithin(1, 10_000),
  accelerationMmPerS2: within(0.1, 1e11, 'mm/s²'),
  delayUs: within(0, 1e7, 'µs'),
  delayMs: within(0, 1e5, 'ms'),
  overheadS: within(0, 86_400, 's'),
  /** Time of a job. */
  seconds: within(0, 1e8, 's'),
  lightness: within(0, 100),
} as const;

/** Fields of burn settings. */
export const SETTINGS_FIELDS = {
  powerW: QUANTITIES.powerW,
  speedMmPerS: QUANTITIES.speedMmPerS,
  rateKHz: v.exactOptional(QUANTITIES.rateKHz),
  pulseNs: v.exactOptional(QUANTITIES.pulseNs),
  passes: QUANTITIES.passes,
  scan: v.picklist(['one-way', 'two-way'], '"one-way" or "two-way"'),
} as const;

/** Fields of a dot grid. */
export const GRID_FIELDS = { pitchMm: QUANTITIES.pitchMm, lineSpacingMm: QUANTITIES.pitchMm } as const;
