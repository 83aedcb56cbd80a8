/**
 * Dose of scan lines: a Gaussian spot drawn along parallel lines (gibsonRosenStucker2015, ch. 4). The line is taken as
 * drawn by a continuous beam; for pulses this is the mean along the line, see `computeDoseRipple` with the pulse pitch.
 * 1 J/mm² = 100 J/cm². Heat that stays from line to line is not counted.
 */

export interface LineBurn {
  readonly powerW: number;
  readonly speedMmPerS: number;
  /** How often the same line is burned, ≥ 1. */
  readonly passes: number;
}

/** Parallel lines of a Gaussian spot. */
export interface Hatch {
  /** 1/e² diameter, µm. */
  readonly spotDiameterUm: number;
  /** Distance between lines, mm. */
  readonly lineSpacingMm: number;
}

/** Mean areal dose of a solid fill P/(v·s)·passes, J/cm², away from its edges. Source: commonPractice. */
export function computeArealDoseJPerCm2({
  powerW,
  speedMmPerS,
  passes,
  lineSpacingMm,
}: LineBurn & { readonly lineSpacingMm: number }): number {
  return (100 * passes * powerW) / (speedMmPerS * lineSpacingMm);
}

/**
 * Dose of a single line at a distance y from its centre, J/cm²: √(2/π)·P/(w·v)·exp(−2y²/w²)·passes.
 * Source: gibsonRosenStucker2015, eq. 4.11. Holds a spot diameter or more away from the line's ends.
 */
export function computeLineDoseJPerCm2(burn: LineBurn & { readonly spotDiameterUm: number }, offsetUm: number): number {
  const w = burn.spotDiameterUm / 2;
  const peak = (100 * Math.sqrt(2 / Math.PI) * burn.passes * burn.powerW) / ((w / 1000) * burn.speedMmPerS);
  return peak * Math.exp(-2 * (offsetUm / w) ** 2);
}

/** Spacing over waist radius, s/w. */
function relateSpacing({ spotDiameterUm, lineSpacingMm }: Hatch): number {
  return (2000 * lineSpacingMm) / spotDiameterUm;
}

/**
 * Sum of exp(−2((n+shift)·s/w)²) over all whole n. For lines closer than w the sum is taken in the frequency domain
 * (Poisson's summation formula), where a few terms give it to the last digit; both are exact.
 */
function sumLines(ratio: number, shift: 0 | 0.5): number {
  let sum = 0;
  if (ratio >= 1) {
    for (let n = 0; ; n++) {
      const term = Math.exp(-2 * ((n + shift) * ratio) ** 2);
      sum += n === 0 && shift === 0 ? term : 2 * term;
      if (term < 1e-17) return sum;
    }
  }
  sum = 1;
  for (let m = 1; ; m++) {
    const term = 2 * Math.exp(-((Math.PI * m) ** 2) / (2 * ratio ** 2));
    sum += shift === 0.5 && m % 2 === 1 ? -term : term;
    if (term < 1e-17) return (sum * Math.sqrt(Math.PI / 2)) / ratio;
  }
}

/**
 * Dose on the centre of a line of a wide solid fill, relative to the peak of a single line:
 * 1 + 2Σexp(−2(n·s/w)²) over all lines. Source: gibsonRosenStucker2015, eq. 4.26 (there for nine lines).
 */
export function computeOnLineDose(hatch: Hatch): number {
  return sumLines(relateSpacing(hatch), 0);
}

/** Dose midway between two lines of a wide solid fill, relative to the peak of a single line: the same sum, shifted. */
export function computeMidLineDose(hatch: Hatch): number {
  return sumLines(relateSpacing(hatch), 0.5);
}

/**
 * Dose ripple of a solid fill, (max−min)/(max+min), exactly: 0 even, 1 separate lines.
 * From the same sums by Poisson's formula: 2Σq^(odd m)²/(1+2Σq^(even m)²), q = exp(−π²w²/(2s²)), which keeps its digits
 * where the difference of two nearly equal sums would not.
 */
export function computeDoseRipple(hatch: Hatch): number {
  const ratio = relateSpacing(hatch);
  if (ratio >= 1) {
    const on = sumLines(ratio, 0);
    const mid = sumLines(ratio, 0.5);
    return (on - mid) / (on + mid);
  }
  let odd = 0;
  let even = 1;
  for (let m = 1; ; m++) {
    const term = 2 * Math.exp(-((Math.PI * m) ** 2) / (2 * ratio ** 2));
    if (m % 2 === 1) odd += term;
    else even += term;
    // `<=`, as very close lines ripple by less than the smallest number: 0.
    if (term <= odd * 1e-17) return odd / even;
  }
}

/**
 * Dose ripple by its first term, 2·exp(−π²w²/(2s²)): within 1 % up to s = 1.9 w, more than 1 and so absurd from s =
 * 2.7 w.
 */
export function approximateDoseRipple(hatch: Hatch): number {
  return 2 * Math.exp(-((Math.PI / relateSpacing(hatch)) ** 2) / 2);
}

/** Overlap of neighbouring lines, 1 − s/d: negative when bare gaps lie between them. */
export function computeLineOverlap({ spotDiameterUm, lineSpacingMm }: Hatch): number {
  return 1 - (1000 * lineSpacingMm) / spotDiameterUm;
}

/**
 * Largest line spacing, mm, whose solid fill ripples by no more than `rippleLimit` (0 … 1, exclusive).
 * The exact ripple only rises with the spacing, so it is bisected.
 */
export function findRippleSpacingMm({
  spotDiameterUm,
  rippleLimit,
}: {
  readonly spotDiameterUm: number;
  readonly rippleLimit: number;
}): number {
  if (!(rippleLimit > 0 && rippleLimit < 1))
    throw new RangeError(`a ripple limit lies between 0 and 1, got ${rippleLimit}`);
  let low = 0;
  let high = 20 * spotDiameterUm;
  while (high - low > 1e-12 * high) {
    const middle = (low + high) / 2;
    if (computeDoseRipple({ spotDiameterUm, lineSpacingMm: middle / 1000 }) <= rippleLimit) low = middle;
    else high = middle;
  }
  return low / 1000;
}
