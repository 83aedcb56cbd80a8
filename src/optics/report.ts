import {
  computeDefocusToleranceMm,
  computeDepthOfFocusMm,
  computeFullDivergenceMrad,
  computeMeniscusAberrationUm,
  computeNumericalAperture,
  computePassedShare,
  computePeakIrradianceKWPerCm2,
  computeRayleighRangeMm,
  computeSpotDiameterUm,
  computeWaistRadiusUm,
  type LensBeam,
} from './gaussian-beam.ts';
import {
  approximateDoseRipple,
  computeArealDoseJPerCm2,
  computeDoseRipple,
  computeLineDoseJPerCm2,
  computeLineOverlap,
  computeMidLineDose,
  computeOnLineDose,
  findRippleSpacingMm,
} from './hatch.ts';
import {
  computeLockedSpeedMmPerS,
  computePeakFluenceJPerCm2,
  computePulseEnergyUJ,
  computePulseOverlap,
  computePulsePitchUm,
  computePulsesPerDot,
  computePulsesPerSpot,
} from './pulses.ts';
import { listBeyond, type SettingRanges } from './ranges.ts';
import { computeCylinderEdgeAngleDeg, computeCylinderWidthMm } from './round-piece.ts';
import type { BurnSettings } from './settings.ts';
import { chooseLineSpacingMm, SPACING_RULE } from './spacing.ts';

/** The facts of a laser with one lens that optics needs. */
export interface BeamFacts extends LensBeam, SettingRanges {
  readonly emission: 'pulsed' | 'continuous';
  /** Spot diameter as measured, µm; absent: computed from the lens. */
  readonly spotDiameterUm?: number;
  /** Clear aperture of the lens or of the scan mirrors, mm. */
  readonly lensApertureMm?: number;
}

/** Settings of one burn with what it is laid out on. */
export interface OpticsOptions extends BurnSettings {
  /** Distance between scan lines, mm; absent: the recommended one. */
  readonly lineSpacingMm?: number;
  /**
   * Distance between dots along a scan line, mm; absent: a given line spacing, or with a recommended one the largest
   * whole number of pulses within it.
   */
  readonly pitchMm?: number;
  /** Diameter of what one dot visibly changes, µm; absent: taken as the spot diameter. */
  readonly markDiameterUm?: number;
  /**
   * Line spacing to recommend, mm: what a measured solid supports, after which the dose ripple of the spot is no longer
   * judged, or what the rule gave for other settings. Absent: by the spot, for these settings.
   */
  readonly recommended?: { readonly lineSpacingMm: number; readonly by: OpticsReport['recommendedBy'] };
  /** Diameter of a round piece that lies under the lens and does not turn, mm. */
  readonly cylinderDiameterMm?: number;
}

/**
 * Limits, shares of the mean dose and of the waist's diameter. Assumed, nobody's published number: what counts as even
 * and as in focus; the report prints both.
 */
const OPTICS_LIMITS = { rippleLimit: SPACING_RULE.unevennessLimit, spotGrowth: 0.1 } as const;

export interface OpticsWarning {
  /** Name of the report's field, or of the setting, that is in doubt. */
  readonly about: string;
  readonly text: string;
}

/**
 * Everything about a spot and a burn, flat; null where it does not apply (pulses of a continuous beam, no cylinder).
 * Doses hold for a solid fill away from its edges.
 */
export interface OpticsReport {
  readonly wavelengthNm: number;
  readonly spotDiameterUm: number;
  readonly spotOrigin: 'measured' | 'computed';
  readonly waistRadiusUm: number;
  readonly rayleighRangeMm: number;
  /** 2 Rayleigh ranges: the spot within √2 of its smallest diameter. */
  readonly depthOfFocusMm: number;
  readonly fullDivergenceMrad: number;
  readonly numericalAperture: number;
  /** Growth of the spot's diameter for which `defocusToleranceMm` is given. */
  readonly spotGrowth: number;
  /** Defocus to either side. */
  readonly defocusToleranceMm: number;
  readonly pitchMm: number;
  readonly lineSpacingMm: number;
  readonly lineSpacingOrigin: 'given' | 'recommended';
  readonly markDiameterUm: number;
  readonly markOrigin: 'given' | 'spot';
  readonly pulsePitchUm: number | null;
  readonly pulseOverlap: number | null;
  readonly pulsesPerSpot: number | null;
  readonly pulsesPerDot: number | null;
  /** Dose ripple along a line, from pulse to pulse. */
  readonly pulseRipple: number | null;
  readonly pulseEnergyUJ: number | null;
  readonly peakFluenceJPerCm2: number | null;
  /** Whole pulses per dot nearest to the settings', and the speed that gives exactly them. */
  readonly lockedPulsesPerDot: number | null;
  readonly lockedSpeedMmPerS: number | null;
  readonly peakIrradianceKWPerCm2: number;
  /** Time in which the spot moves by its own diameter. */
  readonly dwellTimeUs: number;
  readonly lineOverlap: number;
  /** Peak dose of a single line, all passes. */
  readonly lineDoseJPerCm2: number;
  /** Mean areal dose P/(v·s)·passes. */
  readonly doseJPerCm2: number;
  readonly onLineDoseJPerCm2: number;
  readonly midLineDoseJPerCm2: number;
  readonly doseRipple: number;
  readonly doseRippleApproximate: number;
  readonly rippleLimit: number;
  /** What the rule for all charts and jobs gives (`chooseLineSpacingMm`), or what a measured solid supports. */
  readonly recommendedLineSpacingMm: number;
  readonly recommendedBy: 'spot' | 'measured';
  /** Largest line spacing whose dose ripples by no more than the limit. */
  readonly rippleLineSpacingMm: number;
  /** Largest spacing of a square grid of dots whose round marks, each alone, leave no bare corner: mark diameter/√2. */
  readonly coveringLineSpacingMm: number;
  /** Line spacing over mark diameter. */
  readonly lineSpacingPerMark: number;
  readonly cylinderDiameterMm: number | null;
  /** Focus on the highest line; the edges lie one Rayleigh range (half the depth of focus) below it. */
  readonly cylinderWidthMm: number | null;
  /** Focus one Rayleigh range below the highest line; the whole depth of focus is used. */
  readonly cylinderWidthLoweredMm: number | null;
  /** Slope of the surface at the edge of `cylinderWidthMm`. */
  readonly cylinderEdgeAngleDeg: number | null;
  readonly warnings: readonly OpticsWarning[];
}

/**
 * Describe the spot and the dose of a laser with a lens under given settings. Each formula is a function of this folder
 * that names its source; a warning says where one leaves its validity or a setting leaves the machine's range.
 * @throws RangeError when a length, speed, power, rate or number of passes is not above 0.
 */
export function describeOptics(beam: BeamFacts, options: OpticsOptions): OpticsReport {
  checkPositive({
    recommended: options.recommended?.lineSpacingMm,
    powerW: options.powerW,
    speedMmPerS: options.speedMmPerS,
    passes: options.passes,
    rateKHz: options.rateKHz,
    lineSpacingMm: options.lineSpacingMm,
    pitchMm: options.pitchMm,
    markDiameterUm: options.markDiameterUm,
    cylinderDiameterMm: options.cylinderDiameterMm,
  });
  const { powerW, speedMmPerS } = options;
  const { rippleLimit, spotGrowth } = OPTICS_LIMITS;
  const spotDiameterUm = beam.spotDiameterUm ?? computeSpotDiameterUm(beam);
  const focus = { ...beam, spotDiameterUm };
  const rayleighRangeMm = computeRayleighRangeMm(focus);
  const depthOfFocusMm = computeDepthOfFocusMm(focus);

  const markDiameterUm = options.markDiameterUm ?? spotDiameterUm;
  const rippleLineSpacingMm = findRippleSpacingMm({ spotDiameterUm, rippleLimit });
  const coveringLineSpacingMm = markDiameterUm / Math.SQRT2 / 1000;
  const { recommended } = options;
  const recommendedLineSpacingMm =
    recommended?.lineSpacingMm ?? recommendBySpot(options, { spotDiameterUm, rippleLimit });
  const lineSpacingMm = options.lineSpacingMm ?? recommendedLineSpacingMm;
  const pitchMm = options.pitchMm ?? options.lineSpacingMm ?? recommendPitchMm(beam, options, recommendedLineSpacingMm);
  const hatch = { spotDiameterUm, lineSpacingMm };
  const lineDoseJPerCm2 = computeLineDoseJPerCm2({ ...options, spotDiameterUm }, 0);

  const { cylinderDiameterMm = null } = options;
  const cylinderWidthMm =
    cylinderDiameterMm && computeCylinderWidthMm({ diameterMm: cylinderDiameterMm, depthMm: rayleighRangeMm });

  const numbers = {
    wavelengthNm: beam.wavelengthNm,
    spotDiameterUm,
    spotOrigin: beam.spotDiameterUm === undefined ? ('computed' as const) : ('measured' as const),
    waistRadiusUm: computeWaistRadiusUm(spotDiameterUm),
    rayleighRangeMm,
    depthOfFocusMm,
    fullDivergenceMrad: computeFullDivergenceMrad(focus),
    numericalAperture: computeNumericalAperture(beam),
    spotGrowth,
    defocusToleranceMm: computeDefocusToleranceMm(focus, spotGrowth),
    pitchMm,
    lineSpacingMm,
    lineSpacingOrigin: options.lineSpacingMm === undefined ? ('recommended' as const) : ('given' as const),
    markDiameterUm,
    markOrigin: options.markDiameterUm === undefined ? ('spot' as const) : ('given' as const),
    ...describePulses(beam, { ...options, spotDiameterUm, pitchMm }),
    peakIrradianceKWPerCm2: computePeakIrradianceKWPerCm2({ powerW, spotDiameterUm }),
    dwellTimeUs: (1000 * spotDiameterUm) / speedMmPerS,
    lineOverlap: computeLineOverlap(hatch),
    lineDoseJPerCm2,
    doseJPerCm2: computeArealDoseJPerCm2({ ...options, lineSpacingMm }),
    onLineDoseJPerCm2: lineDoseJPerCm2 * computeOnLineDose(hatch),
    midLineDoseJPerCm2: lineDoseJPerCm2 * computeMidLineDose(hatch),
    doseRipple: computeDoseRipple(hatch),
    doseRippleApproximate: approximateDoseRipple(hatch),
    rippleLimit,
    recommendedLineSpacingMm,
    recommendedBy: recommended?.by ?? ('spot' as const),
    rippleLineSpacingMm,
    coveringLineSpacingMm,
    lineSpacingPerMark: (1000 * lineSpacingMm) / markDiameterUm,
    cylinderDiameterMm,
    cylinderWidthMm,
    cylinderWidthLoweredMm:
      cylinderDiameterMm && computeCylinderWidthMm({ diameterMm: cylinderDiameterMm, depthMm: depthOfFocusMm }),
    cylinderEdgeAngleDeg:
      cylinderDiameterMm &&
      computeCylinderEdgeAngleDeg({ diameterMm: cylinderDiameterMm, widthMm: cylinderWidthMm ?? 0 }),
  };
  return {
    ...numbers,
    warnings: [
      ...warnOfLens(beam, numbers),
      ...warnOfRanges(beam, options),
      ...warnOfPulses(beam, numbers),
      ...warnOfLines(numbers),
      ...warnOfCylinder(numbers),
    ],
  };
}

/** Before anything is measured a solid is as even as its dose. */
function recommendBySpot(
  { speedMmPerS, passes }: BurnSettings,
  limits: { readonly spotDiameterUm: number; readonly rippleLimit: number },
): number {
  return chooseLineSpacingMm({
    speedMmPerS,
    passes,
    unevennessAt: (lineSpacingMm) => computeDoseRipple({ ...limits, lineSpacingMm }),
    widestMm: findRippleSpacingMm(limits),
    unevennessLimit: limits.rippleLimit,
  })!;
}

/** Whole pulses, rounded down: dots further apart than the lines would leave gaps along them. */
function recommendPitchMm({ emission }: BeamFacts, { speedMmPerS, rateKHz }: BurnSettings, withinMm: number): number {
  if (emission === 'continuous' || rateKHz === undefined) return withinMm;
  const pulsePitchMm = computePulsePitchUm({ speedMmPerS, rateKHz }) / 1000;
  return pulsePitchMm * Math.max(1, Math.floor(withinMm / pulsePitchMm + 1e-9));
}

type Numbers = Omit<OpticsReport, 'warnings'>;
type Pulses = Pick<
  OpticsReport,
  | 'pulsePitchUm'
  | 'pulseOverlap'
  | 'pulsesPerSpot'
  | 'pulsesPerDot'
  | 'pulseRipple'
  | 'pulseEnergyUJ'
  | 'peakFluenceJPerCm2'
  | 'lockedPulsesPerDot'
  | 'lockedSpeedMmPerS'
>;

const NO_PULSES: Pulses = {
  pulsePitchUm: null,
  pulseOverlap: null,
  pulsesPerSpot: null,
  pulsesPerDot: null,
  pulseRipple: null,
  pulseEnergyUJ: null,
  peakFluenceJPerCm2: null,
  lockedPulsesPerDot: null,
  lockedSpeedMmPerS: null,
};

function describePulses(
  { emission }: BeamFacts,
  {
    rateKHz,
    powerW,
    speedMmPerS,
    spotDiameterUm,
    pitchMm,
  }: BurnSettings & { readonly spotDiameterUm: number; readonly pitchMm: number },
): Pulses {
  if (emission === 'continuous' || rateKHz === undefined) return NO_PULSES;
  const train = { speedMmPerS, rateKHz };
  const pulseEnergyUJ = computePulseEnergyUJ({ powerW, rateKHz });
  const pulsesPerDot = computePulsesPerDot({ ...train, pitchMm });
  const lockedPulsesPerDot = Math.max(1, Math.round(pulsesPerDot));
  return {
    pulsePitchUm: computePulsePitchUm(train),
    pulseOverlap: computePulseOverlap({ ...train, spotDiameterUm }),
    pulsesPerSpot: computePulsesPerSpot({ ...train, spotDiameterUm }),
    pulsesPerDot,
    pulseRipple: computeDoseRipple({ spotDiameterUm, lineSpacingMm: computePulsePitchUm(train) / 1000 }),
    pulseEnergyUJ,
    peakFluenceJPerCm2: computePeakFluenceJPerCm2({ pulseEnergyUJ, spotDiameterUm }),
    lockedPulsesPerDot,
    lockedSpeedMmPerS: computeLockedSpeedMmPerS({ pitchMm, rateKHz, pulsesPerDot: lockedPulsesPerDot }),
  };
}

/**
 * Aperture below which more than 1 % of the power is cut off, in beam diameters: √(ln(100)/2). Exact: from the
 * Gaussian's own power integral.
 */
const OPEN_APERTURE = Math.sqrt(Math.log(100) / 2);
/**
 * Numerical aperture, a ratio, from which the paraxial spot is a few percent too small. Assumed: from memory; it only
 * decides whether a caution is printed.
 */
const PARAXIAL_APERTURE = 0.3;

function warnOfLens(beam: BeamFacts, { spotDiameterUm, numericalAperture }: Numbers): OpticsWarning[] {
  const warnings: OpticsWarning[] = [];
  const { lensApertureMm, beamDiameterMm, focalLengthMm, wavelengthNm } = beam;
  if (lensApertureMm !== undefined && lensApertureMm < OPEN_APERTURE * beamDiameterMm) {
    const lost = 1 - computePassedShare({ apertureMm: lensApertureMm, beamDiameterMm });
    warnings.push({
      about: 'spotDiameterUm',
      text: `the ${show(beamDiameterMm)} mm beam overfills the ${show(lensApertureMm)} mm aperture: ${show(100 * lost)} % of the power is cut off there and the spot is larger than computed`,
    });
  }
  if (numericalAperture > PARAXIAL_APERTURE) {
    warnings.push({
      about: 'spotDiameterUm',
      text: `numerical aperture ${show(numericalAperture)} is above ${PARAXIAL_APERTURE}: the formulas are paraxial and give too small a spot`,
    });
  }
  if (spotDiameterUm * 1000 < wavelengthNm) {
    warnings.push({
      about: 'spotDiameterUm',
      text: `a spot of ${show(spotDiameterUm)} µm is smaller than the wavelength, ${show(wavelengthNm / 1000)} µm: no lens in air makes it; check the lens and the beam`,
    });
  }
  const smallestUm = computeSpotDiameterUm({ ...beam, beamQualityM2: 1 });
  if (beam.spotDiameterUm !== undefined && beam.spotDiameterUm < 0.99 * smallestUm) {
    warnings.push({
      about: 'spotDiameterUm',
      text: `the measured spot, ${show(beam.spotDiameterUm)} µm, is below what a perfect beam would give, ${show(smallestUm)} µm: check beam diameter, focal length and the measurement`,
    });
  }
  const blurUm = computeMeniscusAberrationUm({ beamDiameterMm, focalLengthMm });
  if (beam.spotDiameterUm === undefined && wavelengthNm > 9000 && blurUm > 0.1 * spotDiameterUm) {
    warnings.push({
      about: 'spotDiameterUm',
      text: `a single zinc selenide meniscus adds about ${show(blurUm)} µm of aberration to the computed spot`,
    });
  }
  return warnings;
}

function warnOfRanges(beam: BeamFacts, settings: BurnSettings): OpticsWarning[] {
  return listBeyond(settings, beam).map(({ about, what, unit, value, min, max }) => ({
    about,
    text: `${what} ${show(value)} ${unit} is outside the machine's ${show(min)} to ${show(max)} ${unit}`,
  }));
}

/** Only what has a remedy is a warning; the rest stands in the report as numbers. */
function warnOfPulses({ emission }: BeamFacts, numbers: Numbers): OpticsWarning[] {
  const { pulsePitchUm, pulsesPerDot, spotDiameterUm, pitchMm, lockedPulsesPerDot } = numbers;
  if (pulsePitchUm === null || pulsesPerDot === null) {
    if (emission === 'continuous') return [];
    return [{ about: 'rateKHz', text: 'no pulse rate given: give one, or nothing can be said about single pulses' }];
  }
  const warnings: OpticsWarning[] = [];
  if (pulsePitchUm > spotDiameterUm) {
    warnings.push({
      about: 'pulseOverlap',
      text: `pulses lie ${show(pulsePitchUm)} µm apart, wider than the ${show(spotDiameterUm)} µm spot, so that a line falls apart into points: slow down or raise the pulse rate`,
    });
  }
  if (pulsesPerDot < 1 - 1e-9) {
    warnings.push({
      about: 'pulsesPerDot',
      text: `dots lie ${show(1000 * pitchMm)} µm apart but pulses ${show(pulsePitchUm)} µm: not every dot has a pulse of its own; slow down to ${show(numbers.lockedSpeedMmPerS ?? 0)} mm/s or raise the rate`,
    });
  } else if (pulsesPerDot < 5 && Math.abs(pulsesPerDot - Math.round(pulsesPerDot)) > 0.01) {
    // From about five pulses a dot on, one more or less no longer shows as a beat.
    warnings.push({
      about: 'pulsesPerDot',
      text: `${show(pulsesPerDot)} pulses per dot is not a whole number: dots take turns in size, a visible beat; ${show(numbers.lockedSpeedMmPerS ?? 0)} mm/s gives ${lockedPulsesPerDot}`,
    });
  }
  return warnings;
}

/** Where nothing is measured; a measured solid is judged by who knows its tones. */
function warnOfLines(numbers: Numbers): OpticsWarning[] {
  const { lineSpacingMm, doseRipple, recommendedBy, onLineDoseJPerCm2, midLineDoseJPerCm2 } = numbers;
  if (recommendedBy === 'measured' || doseRipple <= numbers.rippleLimit * (1 + 1e-9)) return [];
  const valley = Math.round((100 * midLineDoseJPerCm2) / onLineDoseJPerCm2);
  return [
    {
      about: 'lineSpacingMm',
      text: `lines ${show(1000 * lineSpacingMm)} µm apart leave stripes in a solid: between them the dose is ${valley} % of that on a line; ${show(numbers.recommendedLineSpacingMm)} mm is even`,
    },
  ];
}

function warnOfCylinder({ cylinderDiameterMm, cylinderWidthMm, cylinderEdgeAngleDeg }: Numbers): OpticsWarning[] {
  if (cylinderDiameterMm === null || cylinderWidthMm === null || cylinderEdgeAngleDeg === null) return [];
  const stretch = 1 / Math.cos((cylinderEdgeAngleDeg * Math.PI) / 180);
  if (stretch < 1.1) return [];
  return [
    {
      about: 'cylinderWidthMm',
      text: `at the edges the surface slopes by ${show(cylinderEdgeAngleDeg)}°: ${stretch > 100 ? 'the beam only grazes it' : `the picture is stretched there to ${show(stretch)} of its width and the dose falls as much`}`,
    },
  ];
}

/** Three significant digits. */
function show(value: number): string {
  return String(Number(value.toPrecision(3)));
}

function checkPositive(values: Readonly<Record<string, number | undefined>>): void {
  for (const [name, value] of Object.entries(values)) {
    if (value !== undefined && !(value > 0 && Number.isFinite(value))) {
      throw new RangeError(`${name} must be above 0, got ${value}`);
    }
  }
}
