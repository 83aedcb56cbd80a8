import { CholeskyDecomposition, Matrix, SingularValueDecomposition } from 'ml-matrix';
import { cube } from './power.ts';

export interface LeastSquaresOptions {
  readonly start: readonly number[];
  /** Box that the parameters stay in; −∞ … ∞ when absent. */
  readonly lower?: readonly number[];
  readonly upper?: readonly number[];
  /**
   * Residuals beyond this many units count linearly instead of squared (Huber's weights; residuals should then be in
   * units of their standard deviation, 1.345 keeps 95 % efficiency). Absent: plain squares.
   */
  readonly huber?: number;
  /** Typical size of each parameter, for the step of the numerical derivative; the parameter's own size when absent. */
  readonly scales?: readonly number[];
  /**
   * Derivatives of the search: central (two evaluations a parameter; the default), or one-sided (one), which lead to
   * the same place at half the cost where residuals are smooth. Covariances are always from central ones.
   */
  readonly differences?: 'central' | 'one-sided';
  readonly maxIterations?: number;
  /** Relative change of cost and parameters below which the search has converged. */
  readonly tolerance?: number;
  /**
   * Least s² of the covariance; 0 when absent. 1 where residuals are in units of errors that are known beforehand,
   * priors among them: that a fit turned out close does not make what was only assumed any surer.
   */
  readonly leastVariance?: number;
}

/** Where a search ended. */
export interface LeastSquaresSearch {
  readonly parameters: readonly number[];
  /** Residuals at the parameters, without weights. */
  readonly residuals: Float64Array;
  /** Half the weighted sum of squares. */
  readonly cost: number;
  readonly iterations: number;
  readonly converged: boolean;
}

export interface LeastSquaresFit extends LeastSquaresSearch {
  /**
   * Covariance of the parameters, s²·(JᵀWJ)⁻¹ with s² = weighted sum of squares / (m − free n), or the least one asked
   * for. Rows of parameters held at a bound are 0; of those that the data do not determine, Infinity on the diagonal.
   */
  readonly covariance: readonly (readonly number[])[];
  readonly standardErrors: readonly number[];
  readonly atBound: readonly boolean[];
  /**
   * Ratio of the largest to the smallest singular value of the scaled Jacobian: above 1e6 some mix of parameters is
   * free.
   */
  readonly condition: number;
}

/**
 * Least squares of a vector of residuals by Levenberg's and Marquardt's damped Gauss–Newton steps
 * (source: 'marquardt1963' for the scaling by the diagonal of JᵀJ; gain ratio and smooth change of damping after
 * source: 'nielsen1999', both from memory). A step that raises the cost is never taken, so a wrong start cannot come
 * back as a result without `converged` being false. Derivatives are differences, held inside the box.
 * Parameters at a bound whose gradient points outwards are left out of the step.
 * @throws RangeError when lengths differ, the start is outside the box, or residuals at the start are not finite.
 */
export function fitLeastSquares(residualsOf: Residuals, options: LeastSquaresOptions): LeastSquaresFit {
  return judgeLeastSquares(searchLeastSquares(residualsOf, options), residualsOf, options);
}

type Residuals = (parameters: readonly number[]) => ArrayLike<number>;

/** How well the parameters of a search are known: two evaluations each, which a search among several may do without. */
export function judgeLeastSquares(
  search: LeastSquaresSearch,
  residualsOf: Residuals,
  options: LeastSquaresOptions,
): LeastSquaresFit {
  const evaluate = (parameters: readonly number[]) => new Float64Array(residualsOf(parameters));
  return { ...search, ...uncertainty(evaluate, search.parameters, search.residuals, options) };
}

/** The search of {@link fitLeastSquares} alone. @throws RangeError as there */
export function searchLeastSquares(residualsOf: Residuals, options: LeastSquaresOptions): LeastSquaresSearch {
  const { start, huber = Number.POSITIVE_INFINITY, maxIterations = 200, tolerance = 1e-12 } = options;
  const n = start.length;
  const lower = options.lower ?? start.map(() => Number.NEGATIVE_INFINITY);
  const upper = options.upper ?? start.map(() => Number.POSITIVE_INFINITY);
  if (lower.length !== n || upper.length !== n) throw new RangeError('bounds and start differ in length');
  for (let j = 0; j < n; j++) {
    if (!(start[j] >= lower[j] && start[j] <= upper[j])) {
      throw new RangeError(`parameter ${j} starts at ${start[j]}, outside ${lower[j]} … ${upper[j]}`);
    }
  }
  const evaluate = (parameters: readonly number[]) => new Float64Array(residualsOf(parameters));

  let parameters = [...start];
  let residuals = evaluate(parameters);
  if (!residuals.every(Number.isFinite)) throw new RangeError('residuals at the start are not finite');
  let cost = robustCost(residuals, huber);
  let damping = 1e-3;
  let growth = 2;
  let converged = false;
  let iterations = 0;

  while (iterations < maxIterations && !converged) {
    iterations++;
    const here = options.differences === 'one-sided' ? residuals : undefined;
    const jacobian = differentiate(evaluate, parameters, options, here);
    const { normal, gradient } = normalEquations(jacobian, residuals, huber);
    const free = freeParameters(parameters, gradient, lower, upper);
    if (free.length === 0 || free.every((j) => Math.abs(gradient[j]) <= 1e-14 * (1 + cost))) {
      converged = true;
      break;
    }
    for (let tries = 0; tries < 40; tries++) {
      const step = boxedStep({ normal, gradient, free, damping }, parameters, lower, upper);
      const next = parameters.map((value, j) => Math.min(upper[j], Math.max(lower[j], value + step[j])));
      const moved = next.map((value, j) => value - parameters[j]);
      const nextResiduals = evaluate(next);
      const nextCost = nextResiduals.every(Number.isFinite)
        ? robustCost(nextResiduals, huber)
        : Number.POSITIVE_INFINITY;
      const predicted = predictedDrop(normal, gradient, moved);
      const gain = (cost - nextCost) / Math.max(predicted, Number.MIN_VALUE);
      if (nextCost < cost) {
        const small =
          cost - nextCost <= tolerance * (cost + tolerance) &&
          moved.every(
            (value, j) => Math.abs(value) <= Math.sqrt(tolerance) * (Math.abs(next[j]) + Math.sqrt(tolerance)),
          );
        parameters = next;
        residuals = nextResiduals;
        cost = nextCost;
        damping *= Math.max(1 / 3, 1 - cube(2 * gain - 1));
        growth = 2;
        converged = small || cost === 0;
        break;
      }
      // The linear model expects nothing worth having any more: the bottom is reached within rounding.
      if (predicted >= 0 && predicted <= tolerance * (cost + tolerance)) {
        converged = true;
        break;
      }
      damping *= growth;
      growth *= 2;
    }
    if (damping > 1e30) break;
  }
  return { parameters, residuals, cost, iterations, converged };
}

function robustCost(residuals: Float64Array, huber: number): number {
  let sum = 0;
  for (const r of residuals) {
    const size = Math.abs(r);
    sum += size <= huber ? 0.5 * r * r : huber * (size - 0.5 * huber);
  }
  return sum;
}

/** @param here residuals at the parameters, for one-sided differences; central ones when absent. */
function differentiate(
  evaluate: (parameters: readonly number[]) => Float64Array,
  parameters: readonly number[],
  { lower, upper, scales }: LeastSquaresOptions,
  here?: Float64Array,
): Float64Array[] {
  return parameters.map((value, j) => {
    const h = 6e-6 * Math.max(scales ? scales[j] : 0, Math.abs(value), 1e-8);
    const above = Math.min(value + h, upper ? upper[j] : Number.POSITIVE_INFINITY);
    // At its upper bound a parameter can only be lowered.
    const oneSided = here !== undefined && above > value;
    const below = oneSided ? value : Math.max(value - h, lower ? lower[j] : Number.NEGATIVE_INFINITY);
    const column = evaluate(parameters.with(j, above));
    const other = oneSided ? here : evaluate(parameters.with(j, below));
    for (let i = 0; i < column.length; i++) column[i] = above > below ? (column[i] - other[i]) / (above - below) : 0;
    return column;
  });
}

function normalEquations(jacobian: readonly Float64Array[], residuals: Float64Array, huber: number) {
  const n = jacobian.length;
  const normal = Matrix.zeros(n, n);
  const gradient = new Float64Array(n);
  const weights = residuals.map((r) => (Math.abs(r) <= huber ? 1 : huber / Math.abs(r)));
  for (let j = 0; j < n; j++) {
    for (let i = 0; i < residuals.length; i++) gradient[j] += jacobian[j][i] * weights[i] * residuals[i];
    for (let k = 0; k <= j; k++) {
      let sum = 0;
      for (let i = 0; i < residuals.length; i++) sum += jacobian[j][i] * weights[i] * jacobian[k][i];
      normal.set(j, k, sum);
      normal.set(k, j, sum);
    }
  }
  return { normal, gradient };
}

function freeParameters(
  parameters: readonly number[],
  gradient: Float64Array,
  lower: readonly number[],
  upper: readonly number[],
): number[] {
  const all = parameters.map((_, j) => j);
  return all.filter(
    (j) =>
      upper[j] > lower[j] &&
      !(parameters[j] <= lower[j] && gradient[j] > 0) &&
      !(parameters[j] >= upper[j] && gradient[j] < 0),
  );
}

interface StepState {
  readonly normal: Matrix;
  readonly gradient: Float64Array;
  readonly free: readonly number[];
  readonly damping: number;
}

/**
 * A damped step that stays in the box: parameters that would leave it go to their bound, and the others are solved for
 * again with that given. Cutting the step off alone turns it away from where the cost falls.
 */
function boxedStep(
  { normal, gradient, free, damping }: StepState,
  parameters: readonly number[],
  lower: readonly number[],
  upper: readonly number[],
): Float64Array {
  const step = new Float64Array(gradient.length);
  let left = free;
  while (left.length > 0) {
    const slope = gradient.map((value, j) => {
      let sum = value;
      for (const k of free) if (!left.includes(k)) sum += normal.get(j, k) * step[k];
      return sum;
    });
    const solved = dampedStep(normal, slope, left, damping);
    const outside = left.filter(
      (j) => !(parameters[j] + solved[j] >= lower[j] && parameters[j] + solved[j] <= upper[j]),
    );
    for (const j of left) step[j] = solved[j];
    for (const j of outside) step[j] = (solved[j] < 0 ? lower[j] : upper[j]) - parameters[j];
    if (outside.length === 0) break;
    left = left.filter((j) => !outside.includes(j));
  }
  return step;
}

function dampedStep(normal: Matrix, gradient: Float64Array, free: readonly number[], damping: number): Float64Array {
  const step = new Float64Array(gradient.length);
  const system = normal.selection([...free], [...free]);
  const largest = Math.max(...free.map((j) => normal.get(j, j)), Number.MIN_VALUE);
  // A parameter that moves nothing has a diagonal of 0: the floor keeps the system solvable and its step at 0.
  for (let a = 0; a < free.length; a++) {
    system.set(a, a, system.get(a, a) + damping * Math.max(normal.get(free[a], free[a]), 1e-12 * largest));
  }
  const right = Matrix.columnVector(free.map((j) => -gradient[j]));
  const factor = new CholeskyDecomposition(system);
  const solution = factor.isPositiveDefinite()
    ? factor.solve(right)
    : new SingularValueDecomposition(system, { autoTranspose: true }).solve(right);
  free.forEach((j, a) => {
    step[j] = solution.get(a, 0);
  });
  return step;
}

function predictedDrop(normal: Matrix, gradient: Float64Array, moved: readonly number[]): number {
  let drop = 0;
  for (let j = 0; j < moved.length; j++) {
    drop -= gradient[j] * moved[j];
    for (let k = 0; k < moved.length; k++) drop -= 0.5 * moved[j] * normal.get(j, k) * moved[k];
  }
  return drop;
}

function uncertainty(
  evaluate: (parameters: readonly number[]) => Float64Array,
  parameters: readonly number[],
  residuals: Float64Array,
  options: LeastSquaresOptions,
) {
  const { huber = Number.POSITIVE_INFINITY, lower, upper, leastVariance = 0 } = options;
  const n = parameters.length;
  const { normal } = normalEquations(differentiate(evaluate, parameters, options), residuals, huber);
  const atBound = parameters.map(
    (value, j) => (lower !== undefined && value <= lower[j]) || (upper !== undefined && value >= upper[j]),
  );
  const free = parameters.map((_, j) => j).filter((j) => !atBound[j]);
  const covariance = parameters.map(() => new Array<number>(n).fill(0));
  let condition = 1;
  if (free.length > 0) {
    // Unit diagonal first, so that the condition number speaks of correlation and not of units.
    const size = free.map((j) => Math.sqrt(normal.get(j, j)));
    const scaled = normal.selection(free, free);
    for (let a = 0; a < free.length; a++) {
      for (let b = 0; b < free.length; b++)
        scaled.set(a, b, size[a] * size[b] > 0 ? scaled.get(a, b) / (size[a] * size[b]) : 0);
    }
    const { leftSingularVectors: u, diagonal } = new SingularValueDecomposition(scaled);
    const smallest = diagonal[diagonal.length - 1];
    condition = smallest > 0 ? Math.sqrt(diagonal[0] / smallest) : Number.POSITIVE_INFINITY;
    const weighted = residuals.reduce((sum, r) => sum + r * r * (Math.abs(r) <= huber ? 1 : huber / Math.abs(r)), 0);
    const variance = Math.max(leastVariance, weighted / Math.max(1, residuals.length - free.length));
    const floor = diagonal[0] * 1e-13;
    for (let a = 0; a < free.length; a++) {
      for (let b = 0; b < free.length; b++) {
        let sum = 0;
        for (let s = 0; s < diagonal.length; s++) {
          const product = u.get(a, s) * u.get(b, s);
          if (diagonal[s] > floor) sum += product / diagonal[s];
          else if (a === b && product > 1e-6) sum = Number.POSITIVE_INFINITY;
        }
        covariance[free[a]][free[b]] =
          size[a] * size[b] > 0 ? (variance * sum) / (size[a] * size[b]) : a === b ? Number.POSITIVE_INFINITY : 0;
      }
    }
  }
  return { covariance, standardErrors: covariance.map((row, j) => Math.sqrt(row[j])), atBound, condition };
}
