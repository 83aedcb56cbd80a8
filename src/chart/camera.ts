import { decodeSrgb, lightnessOfReflectance, REC709 } from '../colour/index.ts';
import { fitLeastSquares, median, pooledStandardDeviation, power, tabulate } from '../numeric/index.ts';
import { fitLight, type ReferenceField } from './light.ts';
import type { FieldSamples, PatchSamples } from './samples.ts';
import type { Patch } from './types.ts';

/** How a camera codes light. `srgb` as the standard has it, `estimated` from the chart itself. */
export interface CameraCurve {
  readonly kind: 'srgb' | 'estimated';
  /** Exponent over sRGB's own curve; 1 for sRGB. */
  readonly gamma: number;
  /** Steepness of an S-curve around the middle code; 1 for sRGB, above 1 for more contrast. */
  readonly contrast: number;
  /** Linear light 0 … 1 of a code 0 … 1. */
  readonly linearOf: (code: number) => number;
  /** Standard error of L* that comes from not knowing the curve, at the darker of bare and solid; 0 for sRGB. */
  readonly errorLightness: number;
  /** Whether the estimate ran to the end of what is taken for a camera. */
  readonly atLimit?: boolean;
  /** Share by which coarse clusters differ from their known area, root mean square; 0 for sRGB. */
  readonly residual: number;
}

/** sRGB's own curve: factors and errors without unit. Exact: by definition nothing differs from it. */
export const SRGB_CURVE: CameraCurve = {
  kind: 'srgb',
  gamma: 1,
  contrast: 1,
  linearOf: decodeSrgb,
  errorLightness: 0,
  residual: 0,
};

/**
 * A camera curve of two numbers. Codes are first relieved of an S-curve, which in the logit of the code is a straight
 * line through the middle, then of a power, then of sRGB: monotone, 0 to 0 and 1 to 1.
 */
export function shapeCurve(contrast: number, gamma: number): (code: number) => number {
  return (code) => {
    if (code <= 0) return 0;
    if (code >= 1) return 1;
    const odds = power(code / (1 - code), 1 / contrast);
    return decodeSrgb(power(odds / (1 + odds), gamma));
  };
}

/** Linear luminance of a field under a curve given by level. */
export function luminanceOf({ histogram, pixels }: FieldSamples, byLevel: Float64Array): number {
  const levels = byLevel.length;
  let sum = 0;
  for (let channel = 0; channel < 3; channel++) {
    const weight = REC709.weights[channel]!;
    const from = channel * levels;
    let part = 0;
    for (let level = 0; level < levels; level++) part += histogram[from + level] * byLevel[level];
    sum += weight * part;
  }
  return pixels > 0 ? sum / pixels : Number.NaN;
}

/** Linear light by level of a curve. */
export function tabulateCurve(linearOf: (code: number) => number, levels: number): Float64Array {
  return tabulate(new Float64Array(levels), (level) => linearOf(level / (levels - 1)));
}

/**
 * Clusters and lines at least this many dots wide: the growth of their edges is small beside them. Assumed: growth of a
 * tenth of a dot changes a 4-dot cluster's area by a tenth at most.
 */
const COARSE_DOTS = 4;
/**
 * Expected spread of cameras around sRGB before the chart is read, logarithms of factors. Assumed: phones differ by a
 * quarter in contrast, a seventh in gamma; narrower pulls true curves to sRGB.
 */
const CONTRAST_PRIOR = 0.25;
const GAMMA_PRIOR = 0.15;
/** Beyond these, logarithms of factors, no camera is expected. Assumed: a factor of 2.5 in contrast, 1.8 in gamma. */
const CONTRAST_LIMIT = 0.9;
const GAMMA_LIMIT = 0.6;
/**
 * Least standard errors of a share between solid and bare, and of a reference's logarithm; larger where replicates say
 * so. Assumed: paper grain and 8-bit codes leave about half a percent.
 */
const SHARE_ERROR_MIN = 0.004;
const REFERENCE_ERROR_MIN = 0.005;
/**
 * The rest of a reflection or shadow leans the same way on many patches. Assumed: what they say counts as so many times
 * less certain.
 */
const DISTURBED_DOUBT = 3;
/** Growth of edges expected, dots on each side. Assumed: dots grow by up to their own width. */
const GROWTH_PRIOR = 0.5;
/**
 * Light that spreads in the material darkens a pattern as a growth of its dark part would, most at half coverage: by
 * this share where its features are far smaller than the reach of the light, [expected, standard deviation, most]; and
 * the logarithm of that reach, mm. Assumed: complete spread (n = 2) between reflectances of 1 and 0.1 is 0.13. Shares.
 */
const SPREAD_PRIOR = [0.06, 0.06, 0.25] as const;
const LN_REACH_PRIOR = [Math.log(0.3), 0.6] as const;
const LN_REACH_LIMITS = [Math.log(0.05), Math.log(2)] as const;
/**
 * What clusters do not tell. Between the power of the curve and light that spreads further than they are wide, in the
 * logarithm of the power: at least this, and this share of how far it is from sRGB's, which is as likely such light.
 * And how light the camera shows what is black, as a share of white. Assumed: less claims more than clusters tell.
 */
const POWER_DOUBT = [0.05, 0.8] as const;
const BLACK_DOUBT = 0.006;

type CurveNumbers = [logContrast: number, logGamma: number, gx: number, gy: number, spread: number, lnReach: number];

/** By how much spread light lowers the share of the lighter of bare and solid, for a full effect of 1. */
function spreadShare({ pattern, coverage, widthMm, widthDots, heightMm, heightDots }: Patch, reachMm: number): number {
  const dots = (pattern as { readonly dots: number }).dots;
  const featureMm = dots * Math.sqrt((widthMm / widthDots) * (heightMm / heightDots));
  return (4 * coverage * (1 - coverage)) / (1 + (featureMm / reachMm) ** 2);
}

/** Share of a coarse pattern that stays bare when each edge of its marks moves outwards by gx and gy dots. */
function bareShare({ pattern }: Patch, gx: number, gy: number): number | undefined {
  switch (pattern.kind) {
    case 'checker': {
      // Corners of neighbours overlap by 2gx × 2gy, each shared by two.
      const { dots } = pattern;
      return 1 - (dots * dots + 2 * dots * (gx + gy) - 4 * gx * gy) / (2 * dots * dots);
    }
    case 'squares':
      return 1 - ((pattern.dots + 2 * gx) * (pattern.dots + 2 * gy)) / (pattern.period * pattern.period);
    case 'lines-x':
      return 1 - (pattern.dots + 2 * gy) / pattern.period;
    case 'lines-y':
      return 1 - (pattern.dots + 2 * gx) / pattern.period;
    default:
      return undefined;
  }
}

function isCoarse({ pattern }: Patch): boolean {
  if (pattern.kind === 'checker') return pattern.dots >= COARSE_DOTS;
  if (pattern.kind === 'squares' || pattern.kind === 'lines-x' || pattern.kind === 'lines-y') {
    return pattern.dots >= COARSE_DOTS && pattern.period - pattern.dots >= COARSE_DOTS;
  }
  return false;
}

/**
 * Estimates a camera's curve from the chart alone. Under the right curve the mean light of coarse clusters lies between
 * solid and bare as their area says, once the growth of edges is allowed for, which falls with the size of the cluster
 * and so is found along with the curve, as is the loss by light that spreads in the material; replicates under unequal
 * light agree; and references follow one smooth light. Weak priors keep the curve near sRGB where the chart says
 * nothing; `errorLightness` tells how much is left open. Undefined when the chart carries no coarse clusters or
 * references. `disturbed`: a reflection or shadow lies over a part of the chart that was left out.
 */
export function estimateCameraCurve(
  samples: readonly PatchSamples[],
  chart: { readonly widthMm: number; readonly heightMm: number },
  { disturbed = false }: { readonly disturbed?: boolean } = {},
): CameraCurve | undefined {
  const usable = samples.filter(
    ({ pixels, clippedHigh, rejectedShare }) => pixels > 0 && clippedHigh < 0.02 && rejectedShare < 0.4,
  );
  const references = usable.filter(({ patch }) => patch.role === 'bare' || patch.role === 'solid');
  const coarse = usable.filter(({ patch }) => isCoarse(patch));
  const bares = references.filter(({ patch }) => patch.role === 'bare').length;
  if (coarse.length < 4 || bares < 4 || references.length - bares < 2) return undefined;
  const levels = usable[0]!.histogram.length / 3;
  const groups = new Map<string, number[]>();
  usable.forEach(({ patch }, at) => {
    if (patch.role === 'bare' || patch.role === 'solid') return;
    groups.set(patch.group, [...(groups.get(patch.group) ?? []), at]);
  });
  const repeated = [...groups.values()].filter((group) => group.length > 1);

  const sharesUnder = (contrast: number, gamma: number) => {
    const byLevel = tabulateCurve(shapeCurve(contrast, gamma), levels);
    const light = usable.map((sample) => Math.max(1e-6, luminanceOf(sample, byLevel)));
    const fields = usable.flatMap(({ patch, xMm, yMm }, at): ReferenceField[] =>
      patch.role === 'bare' || patch.role === 'solid' ? [{ kind: patch.role, xMm, yMm, light: light[at]! }] : [],
    );
    const surface = fitLight(fields, chart);
    const solid = surface.solidRatio;
    const shares = usable.map(({ xMm, yMm }, at) => (light[at]! / surface.bareAt(xMm, yMm) - solid) / (1 - solid));
    return { shares, surface };
  };
  const first = sharesUnder(1, 1);
  // Spread light takes from the lighter of the two: from the bare share of a darker mark, and adds to it of a lighter
  // one.
  const sign = first.surface.solidRatio < 1 ? 1 : -1;
  const doubt = disturbed ? DISTURBED_DOUBT : 1;
  const scatter = pooledStandardDeviation(repeated.map((group) => group.map((at) => first.shares[at]!))) ?? 0;
  const shareError = doubt * Math.max(SHARE_ERROR_MIN, scatter);
  const referenceError = doubt * Math.max(REFERENCE_ERROR_MIN, first.surface.disagreement);
  const residualsOf = (parameters: readonly number[]): Float64Array => {
    const [logContrast, logGamma, gx, gy, spread, lnReach] = parameters as CurveNumbers;
    const { shares, surface } = sharesUnder(Math.exp(logContrast), Math.exp(logGamma));
    const residuals: number[] = [];
    usable.forEach(({ patch }, at) => {
      if (!isCoarse(patch)) return;
      const dots = (patch.pattern as { readonly dots: number }).dots;
      const expected = bareShare(patch, gx, gy)! - sign * spread * spreadShare(patch, Math.exp(lnReach));
      residuals.push((shares[at]! - expected) / (shareError * Math.sqrt(8 / Math.min(8, dots))));
    });
    for (const group of repeated) {
      const mean = group.reduce((sum, at) => sum + shares[at]!, 0) / group.length;
      for (const at of group) residuals.push((shares[at]! - mean) / shareError);
    }
    for (const residual of surface.residuals) residuals.push(residual / referenceError);
    residuals.push(logContrast / CONTRAST_PRIOR, logGamma / GAMMA_PRIOR, gx / GROWTH_PRIOR, gy / GROWTH_PRIOR);
    residuals.push((spread - SPREAD_PRIOR[0]) / SPREAD_PRIOR[1]);
    residuals.push((lnReach - LN_REACH_PRIOR[0]) / LN_REACH_PRIOR[1]);
    return Float64Array.from(residuals);
  };
  const fit = fitLeastSquares(residualsOf, {
    start: [0, 0, 0, 0, SPREAD_PRIOR[0], LN_REACH_PRIOR[0]],
    lower: [-CONTRAST_LIMIT, -GAMMA_LIMIT, -1.5, -1.5, 0, LN_REACH_LIMITS[0]],
    upper: [CONTRAST_LIMIT, GAMMA_LIMIT, 1.5, 1.5, SPREAD_PRIOR[2], LN_REACH_LIMITS[1]],
    scales: [0.1, 0.1, 0.1, 0.1, 0.1, 0.1],
    huber: 3,
    maxIterations: 40,
    tolerance: 1e-8,
    leastVariance: 1,
  });
  const [logContrast, logGamma, gx, gy, spread, lnReach] = fit.parameters as CurveNumbers;
  const contrast = Math.exp(logContrast);
  const gamma = Math.exp(logGamma);
  const { shares } = sharesUnder(contrast, gamma);
  const misses = coarse.map((sample) => {
    const expected = bareShare(sample.patch, gx, gy)! - sign * spread * spreadShare(sample.patch, Math.exp(lnReach));
    return shares[usable.indexOf(sample)]! - expected;
  });
  const residual = Math.sqrt(misses.reduce((sum, miss) => sum + miss * miss, 0) / misses.length);
  return {
    kind: 'estimated',
    atLimit: Math.abs(logContrast) > 0.98 * CONTRAST_LIMIT || Math.abs(logGamma) > 0.98 * GAMMA_LIMIT,
    gamma,
    contrast,
    linearOf: shapeCurve(contrast, gamma),
    errorLightness: carryError(usable, {
      contrast,
      gamma,
      levels,
      covariance: fit.covariance,
    }),
    residual,
  };
}

/**
 * So many times more is open than the fit says, a factor: cameras bend their curves in other ways than the two numbers
 * here, which the chart does not tell. Measured (benchmarks/intervals.ts): of 1757 tones in 59 captures by cameras of
 * another kind 95 % lay within 1.57 times the band without it, 99 % within 2.
 */
const OTHER_KIND = 1.6;

interface CarryOptions {
  readonly contrast: number;
  readonly gamma: number;
  readonly levels: number;
  readonly covariance: readonly (readonly number[])[];
}

/**
 * Largest standard error of L* over the codes between bare and solid, counted from the lighter of the two as the
 * capture shows it: from the covariance of the curve, what is open beside, and cameras of another kind.
 */
function carryError(samples: readonly PatchSamples[], { contrast, gamma, levels, covariance }: CarryOptions): number {
  const meanCode = (role: string) =>
    median(
      samples
        .filter(({ patch }) => patch.role === role)
        .map((sample) =>
          luminanceOf(
            sample,
            tabulateCurve((code) => code, levels),
          ),
        ),
    );
  const [lightCode, darkCode] = [meanCode('bare'), meanCode('solid')].sort((a, b) => b - a) as [number, number];
  const lightest = Math.max(1e-6, shapeCurve(contrast, gamma)(lightCode));
  const lightnessAt = (code: number, c: number, g: number, black = 0) => {
    const curve = shapeCurve(c, g);
    const light = Math.max(0, curve(code) + black) / Math.max(1e-6, curve(lightCode) + black);
    return lightnessOfReflectance(Math.min(1, lightest) * light);
  };
  let worst = 0;
  const step = 1e-3;
  for (let i = 1; i <= 8; i++) {
    const code = lightCode + ((darkCode - lightCode) * i) / 8;
    const here = lightnessAt(code, contrast, gamma);
    const byContrast = (lightnessAt(code, contrast * (1 + step), gamma) - here) / step;
    const byGamma = (lightnessAt(code, contrast, gamma * (1 + step)) - here) / step;
    const byBlack = lightnessAt(code, contrast, gamma, BLACK_DOUBT) - here;
    const variance =
      byBlack ** 2 +
      (byGamma * Math.max(POWER_DOUBT[0], POWER_DOUBT[1] * Math.abs(Math.log(gamma)))) ** 2 +
      byContrast ** 2 * covariance[0]![0]! +
      byGamma ** 2 * covariance[1]![1]! +
      2 * byContrast * byGamma * covariance[0]![1]!;
    worst = Math.max(worst, Math.sqrt(Math.max(0, variance)));
  }
  return OTHER_KIND * worst;
}
