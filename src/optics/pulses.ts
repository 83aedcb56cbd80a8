/** Pulses along a scan line. Standard definitions; the spot is the 1/e² diameter. */

export interface PulseTrain {
  /** Speed of the spot, mm/s. */
  readonly speedMmPerS: number;
  /** Pulse repetition rate, kHz. */
  readonly rateKHz: number;
}

/** Distance between pulses v/f, µm (mm/s over kHz is µm). */
export function computePulsePitchUm({ speedMmPerS, rateKHz }: PulseTrain): number {
  return speedMmPerS / rateKHz;
}

/** Overlap of neighbouring pulses 1 − v/(f·d): 0 when they touch, negative when bare gaps lie between them. */
export function computePulseOverlap(train: PulseTrain & { readonly spotDiameterUm: number }): number {
  return 1 - computePulsePitchUm(train) / train.spotDiameterUm;
}

/** Pulses that fall within one spot diameter, d·f/v. */
export function computePulsesPerSpot(train: PulseTrain & { readonly spotDiameterUm: number }): number {
  return train.spotDiameterUm / computePulsePitchUm(train);
}

/** Pulses per dot of the bitmap, pitch·f/v; dots look alike when it is a whole number. */
export function computePulsesPerDot(train: PulseTrain & { readonly pitchMm: number }): number {
  return (train.pitchMm * 1000) / computePulsePitchUm(train);
}

/** Energy of one pulse P/f, µJ. */
export function computePulseEnergyUJ({
  powerW,
  rateKHz,
}: {
  readonly powerW: number;
  readonly rateKHz: number;
}): number {
  return (1000 * powerW) / rateKHz;
}

/**
 * Peak fluence of one pulse, F0 = 2E/(πw²), J/cm²: twice the mean over the 1/e² circle. Source: liu1982.
 * For a Gaussian spot; a top-hat spot has the mean everywhere.
 */
export function computePeakFluenceJPerCm2({
  pulseEnergyUJ,
  spotDiameterUm,
}: {
  readonly pulseEnergyUJ: number;
  readonly spotDiameterUm: number;
}): number {
  const wCm = spotDiameterUm / 2 / 1e4;
  return (2 * pulseEnergyUJ * 1e-6) / (Math.PI * wCm * wCm);
}

/** Speed, mm/s, that gives each dot exactly `pulsesPerDot` pulses: v = pitch·f/k. */
export function computeLockedSpeedMmPerS({
  pitchMm,
  rateKHz,
  pulsesPerDot,
}: {
  readonly pitchMm: number;
  readonly rateKHz: number;
  readonly pulsesPerDot: number;
}): number {
  return (pitchMm * rateKHz * 1000) / pulsesPerDot;
}
