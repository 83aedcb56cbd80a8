/** Ablation by single and repeated pulses of a Gaussian spot. */

/**
 * Crater diameter, µm, by Liu: D² = 2w0²·ln(F0/Fth); 0 at or below the threshold. Source: liu1982.
 * For a sharp threshold; heat that spreads (long pulses, good conductors) and imperfect beams bend the line.
 */
export function computeCraterDiameterUm({
  peakFluenceJPerCm2,
  thresholdJPerCm2,
  spotDiameterUm,
}: {
  readonly peakFluenceJPerCm2: number;
  readonly thresholdJPerCm2: number;
  readonly spotDiameterUm: number;
}): number {
  if (peakFluenceJPerCm2 <= thresholdJPerCm2) return 0;
  return spotDiameterUm * Math.sqrt(Math.log(peakFluenceJPerCm2 / thresholdJPerCm2) / 2);
}

/**
 * Spot diameter, µm, and threshold, J/cm², from craters of several pulse energies: the least-squares line of D² over
 * ln E has the slope 2w0² and meets D² = 0 at the threshold energy. Source: liu1982.
 * @throws RangeError with fewer than two different energies, or when diameters do not grow with energy.
 */
export function fitCraters(craters: readonly { readonly pulseEnergyUJ: number; readonly diameterUm: number }[]): {
  readonly spotDiameterUm: number;
  readonly thresholdEnergyUJ: number;
  readonly thresholdJPerCm2: number;
} {
  const x = craters.map((crater) => Math.log(crater.pulseEnergyUJ));
  const y = craters.map((crater) => crater.diameterUm ** 2);
  const meanX = x.reduce((sum, value) => sum + value, 0) / x.length;
  const meanY = y.reduce((sum, value) => sum + value, 0) / y.length;
  const sumOfSquares = x.reduce((sum, value) => sum + (value - meanX) ** 2, 0);
  if (!(sumOfSquares > 0)) throw new RangeError('craters need at least two different pulse energies');
  const slope = x.reduce((sum, value, at) => sum + (value - meanX) * (y[at]! - meanY), 0) / sumOfSquares;
  if (!(slope > 0)) throw new RangeError('crater diameters must grow with pulse energy');
  const thresholdEnergyUJ = Math.exp(meanX - meanY / slope);
  return {
    spotDiameterUm: 2 * Math.sqrt(slope / 2),
    thresholdEnergyUJ,
    // F0 = 2E/(πw0²) with w0² = slope/2: 4E/(π·slope), µJ/µm² → 100 J/cm².
    thresholdJPerCm2: (100 * 4 * thresholdEnergyUJ) / (Math.PI * slope),
  };
}

/**
 * Threshold after N pulses on one place, Fth(N) = Fth(1)·N^(S−1), 0 < S ≤ 1; S = 1: no incubation.
 * Source: lenznerIncubation. It falls without limit, where real thresholds level off after some hundred pulses.
 */
export function computeIncubatedThresholdJPerCm2({
  thresholdJPerCm2,
  pulses,
  incubation,
}: {
  readonly thresholdJPerCm2: number;
  readonly pulses: number;
  /** S of the formula. */
  readonly incubation: number;
}): number {
  return thresholdJPerCm2 * pulses ** (incubation - 1);
}
