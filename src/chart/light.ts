import { median, robustDeviation, tabulate } from '../numeric/index.ts';

/** A field of known kind: what it reads, and where. */
export interface ReferenceField {
  readonly kind: 'bare' | 'solid';
  readonly xMm: number;
  readonly yMm: number;
  /** Linear light, above 0. */
  readonly light: number;
}

/** Light over a chart as a polynomial in the logarithm of light. */
export interface LightSurface {
  /** Light that a bare surface gives at a place. */
  readonly bareAt: (xMm: number, yMm: number) => number;
  /** Light of solid relative to bare. */
  readonly solidRatio: number;
  /** Logarithms of references over the surface, in the order given. */
  readonly residuals: readonly number[];
  /**
   * Robust standard deviation of those residuals with the fit's degrees of freedom allowed for: the share by which
   * references disagree.
   */
  readonly disagreement: number;
  readonly degree: 0 | 1 | 2;
  /** Largest over smallest light within the chart. */
  readonly unevenness: number;
}

/**
 * Tukey's biweight: residuals beyond this many robust standard deviations count for nothing. Published (source:
 * 'beatonTukey1974'): 95 % efficiency for normal errors.
 */
const BIWEIGHT = 4.685;
/** Rounds of reweighting, a count. Assumed: weights settle in fewer. */
const ROUNDS = 12;

/** Terms of the polynomial, in halves of the chart's sides from its middle. */
export const LIGHT_TERMS: readonly ((x: number, y: number) => number)[] = [
  () => 1,
  (x) => x,
  (_x, y) => y,
  (x) => x * x,
  (x, y) => x * y,
  (_x, y) => y * y,
];
/** Terms of a polynomial of two variables by its degree, counts. Exact: (d + 1)(d + 2)/2. */
const TERMS_OF_DEGREE = [1, 3, 6] as const;

/**
 * Fits log(light) = polynomial(x, y) + [solid]·difference to the references, by iterated weights of Tukey's biweight
 * (source: 'beatonTukey1974'), so that one reference under a reflection does not bend the surface.
 * Light multiplies, so its logarithm adds: one surface serves bare and solid.
 * @throws RangeError when there is no bare reference.
 */
export function fitLight(
  references: readonly ReferenceField[],
  { widthMm, heightMm }: { readonly widthMm: number; readonly heightMm: number },
): LightSurface {
  const bares = references.filter(({ kind }) => kind === 'bare');
  if (bares.length === 0) throw new RangeError('levelling needs a bare reference');
  const solids = references.length - bares.length;
  const degree = references.length >= 10 ? 2 : references.length >= 5 ? 1 : 0;
  const terms = TERMS_OF_DEGREE[degree];
  const count = terms + (solids > 0 ? 1 : 0);
  const scaleX = (x: number) => (2 * x) / widthMm - 1;
  const scaleY = (y: number) => (2 * y) / heightMm - 1;
  const rows = references.map(({ kind, xMm, yMm }) => {
    const row = tabulate(new Float64Array(count), (k) =>
      k < terms ? LIGHT_TERMS[k]!(scaleX(xMm), scaleY(yMm)) : kind === 'solid' ? 1 : 0,
    );
    return row;
  });
  const { coefficients, residuals, scatter } = fitBiweight(
    rows,
    references.map(({ light }) => Math.log(light)),
  );
  const logAt = (xMm: number, yMm: number) => {
    let sum = 0;
    for (let k = 0; k < terms; k++) sum += coefficients[k] * LIGHT_TERMS[k]!(scaleX(xMm), scaleY(yMm));
    return sum;
  };
  let low = Number.POSITIVE_INFINITY;
  let high = Number.NEGATIVE_INFINITY;
  for (let i = 0; i <= 8; i++) {
    for (let j = 0; j <= 8; j++) {
      const value = logAt((i / 8) * widthMm, (j / 8) * heightMm);
      low = Math.min(low, value);
      high = Math.max(high, value);
    }
  }
  return {
    bareAt: (xMm, yMm) => Math.exp(logAt(xMm, yMm)),
    solidRatio: solids > 0 ? Math.exp(coefficients[terms]) : Number.NaN,
    residuals: [...residuals],
    disagreement: scatter,
    degree,
    unevenness: Math.exp(high - low),
  };
}

/**
 * Least squares with Tukey's biweight; `scatter` is the robust standard deviation of what is left, the fit's degrees of
 * freedom allowed for.
 */
function fitBiweight(rows: readonly Float64Array[], values: readonly number[]) {
  const count = rows[0]!.length;
  const weights = new Float64Array(values.length).fill(1);
  let coefficients = new Float64Array(count);
  let residuals = new Float64Array(values.length);
  let scatter = 0;
  const inflation = Math.sqrt(values.length / Math.max(1, values.length - count));
  for (let round = 0; round < ROUNDS; round++) {
    coefficients = solveWeighted(rows, values, weights);
    residuals = tabulate(new Float64Array(values.length), (i) => values[i]! - dot(rows[i]!, coefficients));
    scatter = robustDeviation(residuals) * inflation;
    for (let i = 0; i < weights.length; i++) {
      const u = residuals[i] / Math.max(1e-4, BIWEIGHT * scatter);
      weights[i] = Math.abs(u) < 1 ? Math.max(1e-6, (1 - u * u) ** 2) : 1e-6;
    }
  }
  return { coefficients, residuals, scatter };
}

/** A field of one unknown tone beside the chart, compared with the chart's bare surface. */
export interface BesideFit {
  /** Luminance of the field relative to bare. */
  readonly ratio: number;
  /** How far the ratio's logarithm moves between a plane and a curved surface of light: what the light leaves open. */
  readonly open: number;
  /** Robust standard deviation over the surface, logarithms: of the field, and of the chart's references. */
  readonly scatter: number;
  readonly strain: number;
}

/**
 * Fits one smooth light to the chart's references and to a field beside it, whose own tone is one more unknown:
 * log(light) = polynomial(x, y) + [solid]·a + [beside]·b, by the biweight as in `fitLight`. With the field on several
 * sides of the chart the light between is interpolated, with one side extrapolated, which the two degrees tell.
 */
export function fitBeside(
  references: readonly ReferenceField[],
  beside: readonly { readonly xMm: number; readonly yMm: number; readonly light: number }[],
  { widthMm, heightMm }: { readonly widthMm: number; readonly heightMm: number },
): BesideFit {
  const fields = [...references, ...beside.map((field) => ({ ...field, kind: 'beside' as const }))];
  const fit = (terms: number) => {
    const rows = fields.map(({ kind, xMm, yMm }) =>
      tabulate(new Float64Array(terms + 2), (k) => {
        if (k < terms) return LIGHT_TERMS[k]!((2 * xMm) / widthMm - 1, (2 * yMm) / heightMm - 1);
        return kind === (k === terms ? 'solid' : 'beside') ? 1 : 0;
      }),
    );
    return fitBiweight(
      rows,
      fields.map(({ light }) => Math.log(light)),
    );
  };
  const plane = fit(TERMS_OF_DEGREE[1]);
  const curved = references.length >= 10 ? fit(TERMS_OF_DEGREE[2]) : plane;
  const last = (coefficients: Float64Array) => coefficients.at(-1)!;
  return {
    ratio: Math.exp(last(curved.coefficients)),
    open: Math.abs(last(curved.coefficients) - last(plane.coefficients)),
    scatter: robustDeviation(curved.residuals.slice(references.length)),
    strain: robustDeviation(curved.residuals.slice(0, references.length)),
  };
}

/** A value at a place of the chart. */
export interface SurfacePoint {
  readonly xMm: number;
  readonly yMm: number;
  readonly value: number;
}

/** Quadratic surface through six or more points, by least squares. */
export function fitSurface(
  points: readonly SurfacePoint[],
  { widthMm, heightMm }: { readonly widthMm: number; readonly heightMm: number },
): (xMm: number, yMm: number) => number {
  const rowAt = (xMm: number, yMm: number) =>
    Float64Array.from(LIGHT_TERMS, (term) => term((2 * xMm) / widthMm - 1, (2 * yMm) / heightMm - 1));
  const coefficients = solveWeighted(
    points.map(({ xMm, yMm }) => rowAt(xMm, yMm)),
    points.map(({ value }) => value),
    new Float64Array(points.length).fill(1),
  );
  return (xMm, yMm) => dot(rowAt(xMm, yMm), coefficients);
}

function dot(a: Float64Array, b: Float64Array): number {
  let sum = 0;
  for (let i = 0; i < a.length; i++) sum += a[i] * b[i];
  return sum;
}

/** Weighted normal equations by Cholesky's decomposition, with a ridge of 1e-9 against references on one line. */
function solveWeighted(rows: readonly Float64Array[], values: readonly number[], weights: Float64Array) {
  const n = rows[0]!.length;
  const a = Array.from({ length: n }, () => new Float64Array(n));
  const b = new Float64Array(n);
  rows.forEach((row, r) => {
    for (let i = 0; i < n; i++) {
      b[i] += weights[r] * row[i] * values[r]!;
      for (let j = 0; j <= i; j++) a[i]![j] += weights[r] * row[i] * row[j];
    }
  });
  for (let i = 0; i < n; i++) a[i]![i] += 1e-9;
  for (let i = 0; i < n; i++) {
    for (let j = 0; j <= i; j++) {
      let sum = a[i]![j];
      for (let k = 0; k < j; k++) sum -= a[i]![k] * a[j]![k];
      a[i]![j] = i === j ? Math.sqrt(Math.max(sum, 1e-300)) : sum / a[j]![j];
    }
  }
  for (let i = 0; i < n; i++) {
    for (let k = 0; k < i; k++) b[i] -= a[i]![k] * b[k];
    b[i] /= a[i]![i];
  }
  for (let i = n - 1; i >= 0; i--) {
    for (let k = i + 1; k < n; k++) b[i] -= a[k]![i] * b[k];
    b[i] /= a[i]![i];
  }
  return b;
}

/** Light of a patch and of the bare gutter around it, in the same unit. */
export interface PatchLight {
  /** Patches of one group are of the same tone. */
  readonly group: string;
  readonly light: number;
  readonly bare: number;
}

/**
 * Least difference of two bare gutters, as a share, that tells added light from missing light; least contrast of a
 * patch to its gutter, since bare patches fit both; and pairs that must show it. Shares and a count. Assumed: weaker
 * ones tell neither, and nothing is said then.
 */
const LIGHT_STEP_MIN = 0.1;
const PATCH_CONTRAST_MIN = 0.2;
const LIGHT_PAIRS_MIN = 4;

/**
 * Whether the light over a chart differs because light was added, as a reflection adds the same to bare and mark, and
 * not because it is missing, as a shadow takes the same share of both: which of the two makes patches of one tone agree
 * better with each other. Undefined where the light hardly differs.
 */
export function isLightAdded(patches: readonly PatchLight[]): boolean | undefined {
  const offAdded: number[] = [];
  const offTaken: number[] = [];
  const marked = patches.filter(({ light, bare }) => Math.abs(Math.log(light / bare)) > PATCH_CONTRAST_MIN);
  marked.forEach((one, at) => {
    for (const other of marked.slice(at + 1)) {
      if (other.group !== one.group) continue;
      const [low, high] = one.bare < other.bare ? [one, other] : [other, one];
      if (!(high.bare > low.bare * (1 + LIGHT_STEP_MIN))) continue;
      offAdded.push(Math.abs(low.light + high.bare - low.bare - high.light));
      offTaken.push(Math.abs((low.light * high.bare) / low.bare - high.light));
    }
  });
  return offAdded.length < LIGHT_PAIRS_MIN ? undefined : median(offAdded) < median(offTaken);
}
