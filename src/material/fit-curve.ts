import { CholeskyDecomposition, Matrix } from 'ml-matrix';
import { NORMAL_95_ROUNDED, regressCentredIsotonic } from '../numeric/index.ts';

/** A tone that was measured: replicates brought together. */
export interface MeasuredTone {
  readonly coverage: number;
  readonly lightness: number;
  /** Standard error, ΔL*. */
  readonly error: number;
  /** What the response model says for the same dots. */
  readonly predicted: number;
}

/** A coverage at which the curve is wanted, and what the response model says there. */
export interface PredictedTone {
  readonly coverage: number;
  readonly predicted: number;
}

/** Lightness with its 95 % band. */
export interface BandPoint {
  readonly coverage: number;
  readonly lightness: number;
  readonly low: number;
  readonly high: number;
}

export interface FittedCurve {
  /** Coverage rising; lightness strictly monotone within `usable`. */
  readonly points: readonly BandPoint[];
  /** Stretch of coverage on which lightness goes one way. */
  readonly usable: { readonly from: number; readonly to: number };
  /** Whether the readings themselves turn back, beyond their band. */
  readonly turnsBack: boolean;
  /** Measured minus what the curve says without that tone, root mean square, ΔL*. */
  readonly leaveOneOut: number;
  /** The same of the response model alone, which has seen the tone. */
  readonly modelRms: number;
}

/**
 * Deviations τ of the model, ΔL*, and reaches ℓ, in shares of the way from bare to solid, that are tried. Assumed: from
 * finer than any reading to wider than any curve, by steps too small to matter.
 */
const DEVIATIONS = [0.1, 0.2, 0.35, 0.6, 1, 1.8, 3, 5];
const REACHES = [0.06, 0.12, 0.25, 0.5];
/**
 * A turn counts when it goes back by this, ΔL*, and by this many standard errors. Assumed: less is scatter; three
 * standard errors pass by chance once in hundreds.
 */
const TURN_MIN_L = 1;
const TURN_ERRORS = 3;
/**
 * Steps of lightness between points of the curve at least, so that it can be inverted. Assumed: far below what is
 * measured.
 */
const SMALLEST_STEP_L = 1e-3;

/**
 * Tone curve from readings and model together. The model's prediction is the expectation of a Gaussian process; the
 * readings, each weighted by its standard error, pull the curve away from it as far as they agree to:
 * L(c) = model(c) + kᵀ(K + N)⁻¹(readings − model), k a squared exponential of deviation τ and reach ℓ over the way
 * u(c) from bare to solid, half in coverage and half in lightness. τ and ℓ are those under which the readings are
 * likeliest (a small grid), so that where the model is right the curve is the model's, with its bends between the
 * tones of the chart, and where it is wrong the curve is the readings'. The band is the process' own.
 * Order is then kept by centred isotonic regression, weighted by the band.
 */
export function fitToneCurve(measured: readonly MeasuredTone[], wanted: readonly PredictedTone[]): FittedCurve {
  const ordered = [...wanted].sort((a, b) => a.coverage - b.coverage);
  const wayOf = createWay(ordered);
  const at = measured.map(({ coverage }) => wayOf(coverage));
  const off = measured.map(({ lightness, predicted }) => lightness - predicted);
  const noise = measured.map(({ error }) => error * error);
  const { process, deviation, reach } = chooseProcess(at, off, noise);

  const raw = ordered.map(({ coverage, predicted }) => {
    const k = at.map((u) => covarianceOf(u - wayOf(coverage), deviation, reach));
    const column = Matrix.columnVector(k);
    const mean = k.reduce((sum, value, i) => sum + value * process.solved[i], 0);
    const solved = process.factor.solve(column);
    const seen = k.reduce((sum, value, i) => sum + value * solved.get(i, 0), 0);
    // Replicates say how well a tone is known; the texture between tones is known as well as the tones around it.
    const variance = Math.max(deviation * deviation - seen, 1e-4);
    return { coverage, lightness: predicted + mean, deviation: Math.sqrt(variance) };
  });
  const usable = longestRange(raw);
  const inside = raw.filter(({ coverage }) => coverage >= usable.from && coverage <= usable.to);
  const inverse = process.factor.solve(Matrix.eye(at.length));
  const left = at.map((_, i) => process.solved[i] / inverse.get(i, i));
  return {
    points: keepOrder(inside),
    usable,
    turnsBack: usable.from > 0 || usable.to < 1,
    leaveOneOut: rootMeanSquare(left),
    modelRms: rootMeanSquare(off),
  };
}

function createWay(tones: readonly PredictedTone[]): (coverage: number) => number {
  let total = 0;
  const travelled = tones.map(({ predicted }, i) => {
    if (i > 0) total += Math.abs(predicted - tones[i - 1].predicted);
    return total;
  });
  return (coverage) => {
    let i = 1;
    while (i < tones.length - 1 && tones[i].coverage < coverage) i++;
    const [a, b] = [tones[i - 1], tones[i]];
    const share = Math.min(1, Math.max(0, (coverage - a.coverage) / (b.coverage - a.coverage)));
    const lightness = total > 0 ? (travelled[i - 1] + share * (travelled[i] - travelled[i - 1])) / total : coverage;
    return (coverage + lightness) / 2;
  };
}

const covarianceOf = (distance: number, deviation: number, reach: number) =>
  deviation * deviation * Math.exp(-(distance * distance) / (2 * reach * reach));

function chooseProcess(at: readonly number[], off: readonly number[], noise: readonly number[]) {
  const count = at.length;
  let best: { process: Process; deviation: number; reach: number; likelihood: number } | undefined;
  for (const deviation of DEVIATIONS) {
    for (const reach of REACHES) {
      const covariance = new Matrix(count, count);
      for (let i = 0; i < count; i++) {
        for (let j = 0; j < count; j++) {
          covariance.set(i, j, covarianceOf(at[i] - at[j], deviation, reach) + (i === j ? noise[i] + 1e-6 : 0));
        }
      }
      const factor = new CholeskyDecomposition(covariance);
      const solved = factor.solve(Matrix.columnVector([...off])).to1DArray();
      const triangle = factor.lowerTriangularMatrix;
      let likelihood = 0;
      for (let i = 0; i < count; i++) likelihood -= Math.log(triangle.get(i, i)) + 0.5 * off[i] * solved[i];
      if (!best || likelihood > best.likelihood) best = { process: { factor, solved }, deviation, reach, likelihood };
    }
  }
  return best!;
}

interface Process {
  readonly factor: CholeskyDecomposition;
  /** (K + N)⁻¹(readings − model). */
  readonly solved: readonly number[];
}

/** A point of a curve whose order nobody has kept yet. */
export interface RawPoint {
  readonly coverage: number;
  readonly lightness: number;
  /** Standard error, ΔL*; 0 for a prediction. */
  readonly deviation: number;
}

/** The stretch between turning points that spans most lightness; everything when no turn stands out of its errors. */
export function longestRange(points: readonly RawPoint[]): { from: number; to: number } {
  const everything = { from: points[0].coverage, to: points[points.length - 1].coverage };
  // Turning points: an extreme from which the curve goes back by more than its errors allow.
  const turns: number[] = [0];
  let extreme = 0;
  let sign = 0;
  points.forEach((point, i) => {
    const back = (point.lightness - points[extreme].lightness) * (sign === 0 ? 1 : sign);
    const limit = Math.max(TURN_MIN_L, TURN_ERRORS * Math.hypot(point.deviation, points[extreme].deviation));
    if (sign === 0) {
      if (Math.abs(back) > limit) {
        sign = Math.sign(point.lightness - points[0].lightness);
        extreme = i;
      }
    } else if (back > 0) extreme = i;
    else if (-back > limit) {
      turns.push(extreme);
      sign = -sign;
      extreme = i;
    }
  });
  turns.push(points.length - 1);
  if (turns.length === 2) return everything;
  let best = 1;
  const span = (i: number) => Math.abs(points[turns[i]].lightness - points[turns[i - 1]].lightness);
  for (let i = 2; i < turns.length; i++) if (span(i) > span(best)) best = i;
  return { from: points[turns[best - 1]].coverage, to: points[turns[best]].coverage };
}

/** Centred isotonic regression in the direction of the ends; the ends stay where they are. */
function keepOrder(points: readonly RawPoint[]): readonly BandPoint[] {
  const [first, last] = [points[0], points[points.length - 1]];
  const sign = last.lightness > first.lightness ? 1 : -1;
  const middle = points.slice(1, -1);
  const { x, y } = regressCentredIsotonic(
    middle.map(({ coverage }) => coverage),
    middle.map(({ lightness }) => sign * lightness),
    middle.map(({ deviation }) => 1 / (deviation * deviation)),
  );
  const bandAt = createDeviation(points);
  const ordered = [first.lightness * sign];
  const out: BandPoint[] = [withBand(first, first.deviation)];
  x.forEach((coverage, i) => {
    if (y[i] - ordered[ordered.length - 1] < SMALLEST_STEP_L || sign * last.lightness - y[i] < SMALLEST_STEP_L) return;
    ordered.push(y[i]);
    out.push(withBand({ coverage, lightness: sign * y[i] }, bandAt(coverage)));
  });
  out.push(withBand(last, last.deviation));
  return out;
}

function createDeviation(points: readonly RawPoint[]): (coverage: number) => number {
  return (coverage) => {
    let i = 1;
    while (i < points.length - 1 && points[i].coverage < coverage) i++;
    const [a, b] = [points[i - 1], points[i]];
    const share = (coverage - a.coverage) / (b.coverage - a.coverage);
    return a.deviation + share * (b.deviation - a.deviation);
  };
}

function withBand({ coverage, lightness }: { coverage: number; lightness: number }, deviation: number): BandPoint {
  const clamp = (value: number) => Math.min(100, Math.max(0, value));
  return {
    coverage,
    lightness: clamp(lightness),
    low: clamp(lightness - NORMAL_95_ROUNDED * deviation),
    high: clamp(lightness + NORMAL_95_ROUNDED * deviation),
  };
}

function rootMeanSquare(values: readonly number[]): number {
  return Math.sqrt(values.reduce((sum, value) => sum + value * value, 0) / Math.max(1, values.length));
}
