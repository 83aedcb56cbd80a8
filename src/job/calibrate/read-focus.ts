import type { ChartLayout, Reading, Readings } from '../../chart/index.ts';
import { AppError } from '../../errors.ts';
import { fitLeastSquares, type LeastSquaresFit, mean, NORMAL_95_ROUNDED, power } from '../../numeric/index.ts';
import { roundTo } from '../page/html.ts';

/** A height or a length with its 95 % confidence interval, mm. */
export interface MeasuredMm {
  readonly valueMm: number;
  readonly lowMm: number;
  readonly highMm: number;
}

/** The beam as it is computed, to compare with. */
export interface ExpectedFocus {
  readonly spotDiameterUm: number;
  readonly depthOfFocusMm: number;
}

/**
 * What a focus chart says. Heights count from the middle of the piece as it lay, up towards the lens.
 */
export interface FocusReading {
  readonly schema: 'tonewright-focus/1';
  readonly chart: string;
  readonly machine?: string;
  readonly material?: string;
  readonly direction: 'lighter' | 'darker';
  readonly riseMm: number;
  /** Best focus: the middle between that along x and that along y. */
  readonly best: MeasuredMm;
  /** Where lines that run along y are finest, whose width lies along the scan; and lines along x, across it. */
  readonly bestX: MeasuredMm;
  readonly bestY: MeasuredMm;
  /** `bestX` above `bestY`. */
  readonly astigmatism: MeasuredMm;
  /** Two Rayleigh ranges, the mean of both directions. */
  readonly depthOfFocus: MeasuredMm;
  /** As the optics of the machine have it; null where they are not known. */
  readonly expected: ExpectedFocus | null;
  /** Each patch of lines: its height, and the marked share of its area as read and as fitted. */
  readonly lines: readonly {
    readonly id: string;
    readonly along: 'x' | 'y';
    readonly dots: number;
    readonly heightMm: number;
    readonly share: number;
    readonly expected: number;
  }[];
  readonly notes: readonly string[];
}

/** One patch of lines, as the fit needs it. */
interface Lines {
  readonly id: string;
  readonly along: 'x' | 'y';
  readonly dots: number;
  readonly period: number;
  /** Height of its middle, and from there to where its read part ends, mm. */
  readonly heightMm: number;
  readonly halfMm: number;
  /** Luminance relative to bare. */
  readonly ratio: number;
}

/** Samples across one dot's step, a count. Assumed: a line's width is then right to a hundredth of a dot. */
const SAMPLES = 4;
/** Gauss and Legendre's three places and weights from −1 to 1. Exact: √(3/5), 5/18 and 8/18. */
const PLACES: readonly (readonly [at: number, weight: number])[] = [
  [-Math.sqrt(0.6), 5 / 18],
  [0, 8 / 18],
  [Math.sqrt(0.6), 5 / 18],
];
/**
 * Standard deviations of ln: how well spot and Rayleigh range are known from a machine's optics; where a line's middle
 * lies against the half dose (from faint to three times), how steep a mark answers (Hill's exponent about 6); of the
 * light scatter n; how much further columns of dots are driven than lines, by pulses and heat. Of the focus against
 * where it was set, rises of the ramp, and of the astigmatism, Rayleigh ranges. Assumed: wide enough for any laser and
 * stock that marks at all; the chart itself tells the rest.
 */
const PRIOR = {
  spot: { sd: 0.4, usualUm: 60 },
  range: { sd: 1, usualMm: 1.5 },
  drive: { at: Math.log(2.5), sd: 0.8 },
  steepness: { at: Math.log(6), sd: 1.2 },
  scatter: { at: 1.4, sd: 0.5 },
  columns: { sd: 0.3 },
  focus: { rises: 0.3 },
  astigmatism: { ranges: 1 },
} as const;
/** Noise of a patch's luminance against bare, a share of the contrast: first guess and least. Assumed: a flatbed's. */
const NOISE = { first: 0.01, least: 0.002 } as const;
/** Least change of the marked share over the ramp, a share of the area. Assumed: below it the lines tell no focus. */
const LEAST_CHANGE = 0.03;
/**
 * The interval of the depth is so many times wider than the patches alone say, a factor, since it hangs on how the
 * material answers to dose. Measured (benchmarks/focus.ts): virtual materials with laws unlike Hill's.
 */
const LAW_LEAVES = 2;
/** Steps of a fit, counts. Assumed: the first ones only tell which height is worth going on from. */
const ITERATIONS = { first: 10, last: 40 } as const;
/** How far outside the ramp a best focus is looked for, a share of the rise. Assumed: farther is a guess. */
const BEYOND = 0.5;

/**
 * Best focus, depth of focus and astigmatism from lines that were burned on a leaning piece.
 *
 * The radius of the beam is w(z) = w0·√(1 + ((z − z0)/zR)²) (source: 'iso11146': the caustic of any beam with M² in
 * zR = πw0²/(M²λ)). A line's dose is the sum of its dots' Gaussians, whose peak falls as 1/w, so that away from focus
 * lines first widen and then fade; how strongly a dose marks follows Hill's law, as in a profile. A patch's marked
 * share is the mean of that over its lines and over the heights that it spans, and its luminance follows by Yule and
 * Nielsen's mixing (source: 'yuleNielsen1951'). Whatever the law, the share is the same above and below focus, so that
 * where the focus lies hardly depends on it; how deep it is, does, and its interval says so.
 * @throws AppError chart-wrong for another chart, contrast-too-low where the lines do not change over the ramp
 */
export function readFocus(
  { readings, solidRatio, direction }: Pick<Readings, 'readings' | 'solidRatio' | 'direction'>,
  layout: ChartLayout,
  { beam }: { readonly beam?: ExpectedFocus } = {},
): FocusReading {
  const { ramp } = layout;
  if (!ramp) {
    throw new AppError('chart-wrong', `found a ${layout.kind} chart (${layout.hash}), needed a focus chart`);
  }
  const lines = listLines(readings, layout, ramp.riseMm);
  refuseFlat(lines, solidRatio);
  const fit = fitLines(lines, { layout, solidRatio, riseMm: ramp.riseMm, beam });
  const { parameters, covariance } = fit;
  const measure = (weights: readonly (readonly [at: number, weight: number])[], valueMm: number): MeasuredMm => {
    let variance = 0;
    for (const [i, a] of weights) for (const [j, b] of weights) variance += a * b * covariance[i]![j]!;
    const reach = NORMAL_95_ROUNDED * Math.sqrt(Math.max(0, variance));
    return { valueMm, lowMm: valueMm - reach, highMm: valueMm + reach };
  };
  const [x, y] = [parameters[AT.x]!, parameters[AT.y]!];
  const depths = [AT.rangeX, AT.rangeY].map((at) => 2 * Math.exp(parameters[at]!));
  const best = measure(
    [
      [AT.x, 0.5],
      [AT.y, 0.5],
    ],
    (x + y) / 2,
  );
  const astigmatism = measure(
    [
      [AT.x, 1],
      [AT.y, -1],
    ],
    x - y,
  );
  const depthOfFocus = measure(
    [
      [AT.rangeX, (LAW_LEAVES * depths[0]!) / 2],
      [AT.rangeY, (LAW_LEAVES * depths[1]!) / 2],
    ],
    mean(depths),
  );
  const shareOf = (ratio: number) => toShare(ratio, solidRatio, parameters[AT.scatter]!);
  const modelled = predictRatios(lines, parameters, { layout, solidRatio });
  return {
    schema: 'tonewright-focus/1',
    chart: layout.hash,
    machine: layout.machine,
    ...(layout.material === '' ? {} : { material: layout.material }),
    direction,
    riseMm: ramp.riseMm,
    best,
    bestX: measure([[AT.x, 1]], x),
    bestY: measure([[AT.y, 1]], y),
    astigmatism,
    depthOfFocus: { ...depthOfFocus, lowMm: Math.max(0, depthOfFocus.lowMm) },
    expected: beam ?? null,
    lines: lines.map(({ id, along, dots, heightMm, ratio }, at) => ({
      id,
      along,
      dots,
      heightMm,
      share: shareOf(ratio),
      expected: shareOf(modelled[at]!),
    })),
    notes: sayFocus({ best, astigmatism, depthOfFocus, beam, riseMm: ramp.riseMm, converged: fit.converged }),
  };
}

/** How many are fitted, a count. By definition: those of `AT`. */
const PARAMETERS = 10;

/** Places of the parameters, counts from 0. By definition: the order of the vector that is fitted. */
const AT = {
  x: 0,
  y: 1,
  rangeX: 2,
  rangeY: 3,
  spotX: 4,
  spotY: 5,
  drive: 6,
  steepness: 7,
  scatter: 8,
  columns: 9,
} as const;

function listLines(
  readings: readonly Reading[],
  { patches, heightMm, borderMm }: ChartLayout,
  riseMm: number,
): Lines[] {
  const byId = new Map(patches.map((patch) => [patch.id, patch]));
  return readings.flatMap(({ id, role, pattern, mean: ratio }): Lines[] => {
    const patch = byId.get(id);
    if (role !== 'ladder' || !patch || (pattern.kind !== 'lines-x' && pattern.kind !== 'lines-y')) return [];
    const middle = patch.yMm + patch.heightMm / 2;
    return [
      {
        id,
        along: pattern.kind === 'lines-x' ? 'x' : 'y',
        dots: pattern.dots,
        period: pattern.period,
        heightMm: riseMm * (0.5 - middle / heightMm),
        halfMm: (riseMm * (patch.heightMm / 2 - borderMm)) / heightMm,
        ratio,
      },
    ];
  });
}

/** Marked share of an area by its luminance, Yule and Nielsen's mixing turned round. */
const toShare = (ratio: number, solidRatio: number, n: number) =>
  (power(Math.max(1e-6, ratio), 1 / n) - 1) / (power(solidRatio, 1 / n) - 1);

function refuseFlat(lines: readonly Lines[], solidRatio: number): void {
  for (const along of ['x', 'y'] as const) {
    const shares = lines.filter((one) => one.along === along).map(({ ratio }) => toShare(ratio, solidRatio, 1));
    const change = shares.length === 0 ? 0 : Math.max(...shares) - Math.min(...shares);
    if (change >= LEAST_CHANGE) continue;
    throw new AppError(
      'contrast-too-low',
      `found lines along ${along} whose mark changes by ${(100 * change).toFixed(1)} % of the area over the ramp, needed ${100 * LEAST_CHANGE} %: lean the piece more, or burn with less dose so that lines fade out of focus`,
      { change, along },
    );
  }
}

interface Around {
  readonly layout: ChartLayout;
  readonly solidRatio: number;
}

interface FitOptions extends Around {
  readonly riseMm: number;
  readonly beam: ExpectedFocus | undefined;
}

/** From several heights, since lines that fade have two sides; the closest fit counts, with its own noise. */
function fitLines(lines: readonly Lines[], { riseMm, beam, ...around }: FitOptions): LeastSquaresFit {
  const contrast = Math.abs(around.solidRatio - 1);
  const lnSpot = Math.log(beam?.spotDiameterUm ?? PRIOR.spot.usualUm);
  const lnRange = Math.log(beam ? beam.depthOfFocusMm / 2 : PRIOR.range.usualMm);
  const priors = [
    ...[AT.rangeX, AT.rangeY].map((at) => [at, lnRange, PRIOR.range.sd] as const),
    ...[AT.spotX, AT.spotY].map((at) => [at, lnSpot, PRIOR.spot.sd] as const),
    [AT.drive, PRIOR.drive.at, PRIOR.drive.sd] as const,
    [AT.steepness, PRIOR.steepness.at, PRIOR.steepness.sd] as const,
    [AT.scatter, PRIOR.scatter.at, PRIOR.scatter.sd] as const,
    [AT.columns, 0, PRIOR.columns.sd] as const,
  ];
  const limit = riseMm * (0.5 + BEYOND);
  const fitWith = (noise: number, start: readonly number[], maxIterations: number) =>
    fitLeastSquares(
      (parameters) => [
        ...predictRatios(lines, parameters, around).map((ratio, at) => (ratio - lines[at]!.ratio) / (noise * contrast)),
        ...priors.map(([at, centre, sd]) => (parameters[at]! - centre) / sd),
        (parameters[AT.x]! + parameters[AT.y]!) / (2 * PRIOR.focus.rises * riseMm),
        (parameters[AT.x]! - parameters[AT.y]!) / (PRIOR.astigmatism.ranges * Math.exp(lnRange)),
      ],
      {
        start,
        lower: [-limit, -limit, lnRange - 3, lnRange - 3, lnSpot - 1.5, lnSpot - 1.5, -2, 0, 1, -2],
        upper: [limit, limit, lnRange + 3, lnRange + 3, lnSpot + 1.5, lnSpot + 1.5, 4, 4, 4, 2],
        scales: [riseMm / 10, riseMm / 10, 0.3, 0.3, 0.3, 0.3, 0.3, 0.3, 0.3, 0.3],
        maxIterations,
        tolerance: 1e-6,
        huber: 2.5,
        leastVariance: 1,
      },
    );
  const startAt = (z: number) => [
    ...[z, z, lnRange, lnRange, lnSpot, lnSpot],
    ...[PRIOR.drive.at, PRIOR.steepness.at, PRIOR.scatter.at, 0],
  ];
  const tried = [-0.25, 0, 0.25].map((share) => fitWith(NOISE.first, startAt(share * riseMm), ITERATIONS.first));
  const first = tried.reduce((a, b) => (b.cost < a.cost ? b : a));
  const off = predictRatios(lines, first.parameters, around).map((ratio, at) => (ratio - lines[at]!.ratio) / contrast);
  const spread = Math.sqrt(off.reduce((sum, value) => sum + value * value, 0) / Math.max(1, off.length - PARAMETERS));
  return fitWith(Math.max(NOISE.least, spread), first.parameters, ITERATIONS.last);
}

/** Luminance of each patch relative to bare, by the parameters. */
function predictRatios(
  lines: readonly Lines[],
  parameters: readonly number[],
  { layout, solidRatio }: Around,
): number[] {
  const { pitchMm, lineSpacingMm } = layout.grid;
  const n = parameters[AT.scatter]!;
  const steepness = Math.exp(parameters[AT.steepness]!);
  // The dose of one scan line in focus, in half doses, and by it energy a length of line: peak = energy·√(2/π)/w.
  const energy = Math.exp(parameters[AT.drive]! + parameters[AT.spotY]!);
  // Solids lie in the middle of the ramp.
  const middle = Math.hypot(1, parameters[AT.y]! / Math.exp(parameters[AT.rangeY]!));
  const ofSolid = Math.exp(parameters[AT.spotY]!) * middle;
  const all = { dots: 1, period: 1, stepUm: 1000 * lineSpacingMm, diameterUm: ofSolid };
  const solid = meanStrength({ ...all, peak: energy / ofSolid, steepness });
  const root = power(solidRatio, 1 / n) - 1;
  return lines.map(({ along, dots, period, heightMm, halfMm }) => {
    const isX = along === 'x';
    const stepUm = 1000 * (isX ? lineSpacingMm : pitchMm);
    const z0 = parameters[isX ? AT.y : AT.x]!;
    const range = Math.exp(parameters[isX ? AT.rangeY : AT.rangeX]!);
    const spotUm = Math.exp(parameters[isX ? AT.spotY : AT.spotX]!);
    // Along the scan a dot is smeared over its pitch: a box of that length adds 16·pitch²/12 to the squared diameter.
    const smear = isX ? 0 : (4 / 3) * (1000 * pitchMm) ** 2;
    // A column has the energy of a pitch in every line spacing.
    const own = isX ? energy : (energy * Math.exp(parameters[AT.columns]!) * pitchMm) / lineSpacingMm;
    let share = 0;
    for (const [place, weight] of PLACES) {
      const off = (heightMm + place * halfMm - z0) / range;
      const diameterUm = Math.sqrt(spotUm * spotUm * (1 + off * off) + smear);
      share += weight * meanStrength({ dots, period, stepUm, diameterUm, peak: own / diameterUm, steepness });
    }
    return power(Math.max(1e-6, 1 + Math.min(1.2, share / solid) * root), n);
  });
}

/** Least logarithm of a dose, in half doses. Assumed: nothing is marked long before it. */
const LN_NOTHING = -40;

/** Integral of Hill's law over the logarithm of dose: ln(1 + dose^steepness)/steepness. */
function integrateHill(lnDose: number, steepness: number): number {
  const x = steepness * lnDose;
  return (x > 0 ? x + Math.log1p(Math.exp(-x)) : Math.log1p(Math.exp(x))) / steepness;
}

/**
 * Mean of Hill's law where the logarithm of dose runs straight from one value to another: exact, so that even a hard
 * threshold changes smoothly with every parameter.
 */
function meanHill(from: number, to: number, steepness: number): number {
  if (Math.abs(to - from) < 1e-6) return 1 / (1 + Math.exp(-steepness * from));
  return (integrateHill(to, steepness) - integrateHill(from, steepness)) / (to - from);
}

/** Mean strength over one period of lines, each of several dots side by side. */
function meanStrength({
  dots,
  period,
  stepUm,
  diameterUm,
  peak,
  steepness,
}: Pick<Lines, 'dots' | 'period'> & {
  readonly stepUm: number;
  readonly diameterUm: number;
  readonly peak: number;
  readonly steepness: number;
}): number {
  const perUm2 = -8 / (diameterUm * diameterUm);
  // From the middle of a line to the middle of a gap: the other half is the same.
  const count = Math.ceil((period * SAMPLES) / 2);
  const length = (period * stepUm) / 2;
  const reach = 1.5 * diameterUm;
  const lines = Math.ceil((reach + dots * stepUm) / (period * stepUm));
  let sum = 0;
  let before = 0;
  for (let i = 0; i <= count; i++) {
    const at = (i / count) * length;
    let dose = 0;
    for (let line = -lines; line <= lines; line++) {
      for (let dot = 0; dot < dots; dot++) {
        const away = at - (line * period + dot - (dots - 1) / 2) * stepUm;
        if (away < reach && away > -reach) dose += Math.exp(perUm2 * away * away);
      }
    }
    const lnDose = Math.max(LN_NOTHING, Math.log(peak * dose));
    if (i > 0) sum += meanHill(before, lnDose, steepness);
    before = lnDose;
  }
  return sum / count;
}

interface FocusFacts extends Pick<FocusReading, 'best' | 'astigmatism' | 'depthOfFocus' | 'riseMm'> {
  readonly beam: ExpectedFocus | undefined;
  readonly converged: boolean;
}

/** What it means, and what to do. */
function sayFocus({ best, astigmatism, depthOfFocus, beam, riseMm, converged }: FocusFacts): string[] {
  const mm = (value: number) => roundTo(value, 2);
  const known = ({ lowMm, highMm }: MeasuredMm) => `95 %: ${mm(lowMm)} … ${mm(highMm)}`;
  const { valueMm } = best;
  const isThere = best.lowMm <= 0 && best.highMm >= 0;
  const isAside = Math.abs(valueMm) > riseMm / 5;
  const notes = [
    isThere
      ? `The focus lies where it was set, within what the chart tells (${mm(valueMm)} mm, ${known(best)}).`
      : `The best focus lies ${mm(Math.abs(valueMm))} mm ${valueMm > 0 ? 'above' : 'below'} where it was set (${known(best)}): ${valueMm > 0 ? 'shorten' : 'lengthen'} the distance from lens to work by that.`,
    `Depth of focus ${mm(depthOfFocus.valueMm)} mm (${known(depthOfFocus)}): within half of it to either side the spot stays within √2 of its smallest.`,
  ];
  if (isAside) {
    notes.push(
      `That lies well off the middle of the ramp${Math.abs(valueMm) > riseMm / 2 ? ', and beyond its end' : ''}: set the focus there and burn the chart once more; depth and astigmatism are sure only from the middle.`,
    );
  }
  if (astigmatism.lowMm > 0 || astigmatism.highMm < 0) {
    notes.push(
      `Lines along and across focus ${mm(Math.abs(astigmatism.valueMm))} mm apart (${known(astigmatism)}): between the two heights the spot is roundest. Have lens and mirrors looked at if that is much of the depth of focus.`,
    );
  }
  if (beam) {
    const { depthOfFocusMm } = beam;
    const agrees = depthOfFocusMm >= depthOfFocus.lowMm && depthOfFocusMm <= depthOfFocus.highMm;
    notes.push(
      agrees
        ? `The optics of the machine have ${mm(depthOfFocusMm)} mm, which agrees.`
        : `The optics of the machine have ${mm(depthOfFocusMm)} mm: ${depthOfFocusMm > depthOfFocus.highMm ? 'the spot is smaller, or the beam worse, than its record says' : 'the spot is larger than its record says'}; a spot chart tells the width of its mark.`,
    );
  }
  if (!converged) notes.push('The fit did not settle: look at the patches one by one, and burn the chart again.');
  return notes;
}
