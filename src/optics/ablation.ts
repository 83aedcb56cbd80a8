/** Ablation by single pulses of a Gaussian spot. */

/**
 * Spot diameter, µm, and threshold, J/cm², from craters of several pulse energies: the least-squares line of D² over
 * ln E has the slope 2w0² and meets D² = 0 at the threshold energy, D² = 2w0²·ln(E/Eth). Source: liu1982.
 * For a sharp threshold; heat that spreads (long pulses, good conductors) and imperfect beams bend the line.
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
