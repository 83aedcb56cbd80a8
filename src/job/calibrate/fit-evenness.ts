import { LIGHT_TERMS } from '../../chart/index.ts';
import { EVENNESS_SURFACES, type EvennessSurface, evennessTerms, homeTerms } from '../../machine/index.ts';
import { invertPositiveDefinite, NORMAL_95, robustDeviation } from '../../numeric/index.ts';
import { BETWEEN_TONES } from '../prepare/field-answers.ts';
import type { BeamLogs } from '../request/beam-shift.ts';
import { homeIn } from './home-part.ts';

/** A patch of a field chart, read. */
export interface Told {
  readonly id: string;
  /** Which of the tones, or `BARE_TONE`. */
  readonly tone: number;
  readonly xMm: number;
  readonly yMm: number;
  readonly lightness: number;
  /** Which chart it is of, and the terms of what its light may be off by there. */
  readonly chart: number;
  readonly light: readonly number[];
}

/** Index of bare among the tones: it tells of light alone. By definition: the others count from 0. */
export const BARE_TONE = -1;

/** Logarithms of factors that are looked through. Assumed: what loses half its dose marks nothing worth a map. */
export const FIELD_RANGE = { lnDose: [-0.7, 0.35], lnWidth: [-0.15, 0.35] } as const;

/**
 * What is believed before a chart is read. Standard deviations of what the response model is off by for a tone, ΔL*,
 * and of what a capture's light may be off by, in logarithm. Assumed: little is believed of the light, since bare
 * patches lie all over the chart and tell of it by their own scatter.
 */
const PRIOR = { toneL: 3, light: 0.05 } as const;
/**
 * The same of how many times the model's change a tone changes: all tones together, and each beside. Assumed: a model
 * that is too steep is so for all tones.
 */
const ANSWER_PRIOR = {
  dose: { all: 0.25, each: 0.2 },
  width: { all: 0.4, each: 0.4 },
} as const;
/**
 * The same of the logarithm of dose over half the field's diagonal, of slopes and of bends each. Assumed: machines are
 * from hardly uneven to losing a third; which this one is, is told by the readings.
 */
const DOSE_SCALES = [0.04, 0.12, 0.36] as const;
/**
 * By how much of itself dose or width may be taken for answers, or the other way, beside what was believed of them,
 * standard deviations of shares. Measured (`benchmarks/field.ts`): without it 70 % of the 95 % intervals held the dose.
 */
const MODEL_OFF = { dose: 0.25, width: 0.4 } as const;
/** Of width against dose, a factor. Assumed: a beam that loses a third of its dose is a tenth wider. */
const WIDTH_OF_DOSE = 0.3;

/** Change of L* by the logarithm of light, for L* and 16 together. By definition: CIE L* follows the cube root. */
const L_PER_LN = 1 / 3;
/** L* that is added before. By definition: CIE L* = 116 f − 16. */
const L_OFFSET = 16;

/** Scatter of patches at least, ΔL*. Measured (`benchmarks/field.ts`): 0.05 to 0.3 are left of a scan. */
const LEAST_NOISE_L = 0.08;
/** Scatter of the first round, ΔL*. Assumed: any will do, the second has its own. */
const FIRST_NOISE_L = 0.5;
/**
 * Patches of all tones that count for the scatter of one beside its own, a count. Assumed: sixteen of a tone tell its
 * own to a fifth.
 */
const POOLED = 8;
/** Rounds of Gauss and Newton, a count. Assumed: tones are nearly straight in both logarithms. */
const ROUNDS = 5;
/** The same from what a belief like it has found, a count. Assumed: the last is a check of the one before. */
const LATER_ROUNDS = 3;
/** Step of a numerical derivative, in the logarithm of a factor. Assumed: a hundredth is straight and no noise. */
const SLOPE_STEP = 0.01;

/** The terms of a surface that all others are made of. */
const LARGEST = 'steep' satisfies EvennessSurface;
const TERMS = EVENNESS_SURFACES[LARGEST].length;
/** Which terms of the largest surface every term of another is the sum of. Exact: indices of its terms. */
const WITHIN: Readonly<Record<EvennessSurface, readonly (readonly number[])[]>> = {
  even: [[0]],
  tilt: [[0], [1], [2]],
  round: [[0], [1], [2], [3, 5]],
  quadratic: [[0], [1], [2], [3], [4], [5]],
  steep: [[0], [1], [2], [3], [4], [5], [6], [7], [8]],
};

export interface FieldFacts {
  readonly fieldMm: readonly [number, number];
  /** How many tones there are besides bare, and their lightness under a beam by the response model. */
  readonly tones: number;
  readonly toneAt: (beam: BeamLogs, tone: number) => number;
  /** How many charts there are, each with a light of its own, and L* of bare. */
  readonly charts: number;
  readonly bareL: number;
}

/** Dose and width as surfaces with the terms of `surface`, and how tones answer to them. */
export interface FieldFit {
  readonly surface: EvennessSurface;
  readonly lnDose: readonly number[];
  readonly lnWidth: readonly number[];
  readonly answers: readonly { readonly dose: number; readonly width: number }[];
  /** Of `lnDose`, `lnWidth`, the answers to dose, and those to width. */
  readonly covariance: readonly (readonly number[])[];
  readonly weighed: readonly Weighed[];
  readonly lightnessOf: (one: Told) => number;
  /** L* as if the beam were the same everywhere: of the same light, with what tones are off by. */
  readonly evenLightnessOf: (one: Told) => number;
  /** How far tones at a place may be from those at home though they are set by the fit, ΔL* (95 %, mean of squares). */
  readonly reachAt: (place: { readonly xMm: number; readonly yMm: number }) => number;
}

/** What is unknown of a field, in a list: where each kind begins. */
function listUnknowns({ tones, charts }: FieldFacts) {
  const off = 2 * TERMS;
  const light = off + 3 * tones;
  return {
    width: TERMS,
    off,
    byDose: off + tones,
    byWidth: off + 2 * tones,
    light,
    end: light + charts * LIGHT_TERMS.length,
  } as const;
}

type Row = readonly (readonly [unknown: number, slope: number])[];

/**
 * Lightness of patches by the unknowns, and its derivatives: dose and width as surfaces, what each tone is off by, how
 * much more or less than the model says it answers to either, and what the light is off by. Surfaces count from the
 * home, so that a tone's answer does not turn with what it is off by.
 */
function createModel(facts: FieldFacts) {
  const { fieldMm, tones, toneAt, bareL } = facts;
  const at = listUnknowns(facts);
  const home = homeTerms(LARGEST, { fieldMm, home: homeIn(fieldMm) });
  const known = new Map<Told, readonly number[]>();
  const termsOf = (one: Told): readonly number[] => {
    const terms = known.get(one) ?? evennessTerms(LARGEST, fieldMm, one.xMm, one.yMm).map((term, k) => term - home[k]!);
    known.set(one, terms);
    return terms;
  };
  const beamAt = (unknowns: readonly number[], terms: readonly number[]) => {
    let [lnDose, lnWidth] = [0, 0];
    for (let term = 0; term < TERMS; term++) {
      lnDose += terms[term]! * unknowns[term]!;
      lnWidth += terms[term]! * unknowns[at.width + term]!;
    }
    return { lnDose: clampTo(FIELD_RANGE.lnDose, lnDose), lnWidth: clampTo(FIELD_RANGE.lnWidth, lnWidth) };
  };
  const homeL = Array.from({ length: tones }, (_, tone) => toneAt({ lnDose: 0, lnWidth: 0 }, tone));
  /** The beam of a place with the home's width, and the beam of the place: what the model says of them. */
  const sayOf = (unknowns: readonly number[], one: Told) => {
    const there = beamAt(unknowns, termsOf(one));
    const weaker = { ...there, lnWidth: 0 };
    return [
      { beam: weaker, l: toneAt(weaker, one.tone) },
      { beam: there, l: toneAt(there, one.tone) },
    ] as const;
  };
  const perLight = (lightness: number) => (lightness + L_OFFSET) * L_PER_LN;
  const lightFrom = ({ chart }: Told) => at.light + chart * LIGHT_TERMS.length;
  const lightL = (unknowns: readonly number[], one: Told) =>
    one.light.reduce((sum, term, k) => sum + term * unknowns[lightFrom(one) + k]!, 0) *
    perLight(one.tone === BARE_TONE ? bareL : one.lightness);
  const slopeOf = (beam: BeamLogs, key: keyof BeamLogs, tone: number) => {
    const by = (step: number) => toneAt({ ...beam, [key]: clampTo(FIELD_RANGE[key], beam[key] + step) }, tone);
    return (by(SLOPE_STEP) - by(-SLOPE_STEP)) / (2 * SLOPE_STEP);
  };
  return {
    at,
    tones,
    lightnessOf(unknowns: readonly number[], one: Told): number {
      const { tone } = one;
      if (tone === BARE_TONE) return bareL + lightL(unknowns, one);
      const [weaker, there] = sayOf(unknowns, one);
      const base = homeL[tone]!;
      const byDose = (1 + unknowns[at.byDose + tone]!) * (weaker.l - base);
      const byWidth = (1 + unknowns[at.byWidth + tone]!) * (there.l - weaker.l);
      return base + unknowns[at.off + tone]! + byDose + byWidth + lightL(unknowns, one);
    },
    rowOf(unknowns: readonly number[], one: Told): Row {
      const { tone } = one;
      const byLight = one.light.map((term, k) => {
        return [lightFrom(one) + k, perLight(tone === BARE_TONE ? bareL : one.lightness) * term] as const;
      });
      if (tone === BARE_TONE) return byLight;
      const terms = termsOf(one);
      const [weaker, there] = sayOf(unknowns, one);
      const [gainDose, gainWidth] = [1 + unknowns[at.byDose + tone]!, 1 + unknowns[at.byWidth + tone]!];
      const weakerSlope = slopeOf(weaker.beam, 'lnDose', tone);
      const byDose = gainDose * weakerSlope + gainWidth * (slopeOf(there.beam, 'lnDose', tone) - weakerSlope);
      const byWidth = gainWidth * slopeOf(there.beam, 'lnWidth', tone);
      return [
        ...terms.map((term, k) => [k, byDose * term] as const),
        ...terms.map((term, k) => [at.width + k, byWidth * term] as const),
        [at.off + tone, 1],
        [at.byDose + tone, weaker.l - homeL[tone]!],
        [at.byWidth + tone, there.l - weaker.l],
        ...byLight,
      ];
    },
  };
}

type Model = ReturnType<typeof createModel>;

/** One way in which a field may be uneven, by what is believed before of slopes and of bends. */
interface Belief {
  readonly surface: EvennessSurface;
  readonly slope: number;
  readonly bend: number;
}

/** Terms of a surface that are slopes or constant, a count; the others are bends. By definition. */
const SLOPES = EVENNESS_SURFACES.tilt.length;

/**
 * All of them alike. That a field is even is none: no machine's is, and with it one interval of nine did not hold the
 * dose of a field that is nearly even (`tests/job/fit-evenness.test.ts`).
 */
const BELIEFS: readonly Belief[] = (['tilt', 'round', 'quadratic', 'steep'] as const).flatMap((surface) => {
  const bends = surface === 'tilt' ? DOSE_SCALES.slice(0, 1) : DOSE_SCALES;
  return DOSE_SCALES.flatMap((slope) => bends.map((bend): Belief => ({ surface, slope, bend })));
});
const WIDEST: Belief = { surface: LARGEST, slope: Math.max(...DOSE_SCALES), bend: Math.max(...DOSE_SCALES) };

interface Solved {
  readonly unknowns: readonly number[];
  readonly covariance: readonly (readonly number[])[];
  /** Logarithm of how likely the readings are under the belief, whatever the unknowns. */
  readonly evidence: number;
  /** What the readings tell, a count of unknowns. */
  readonly told: number;
}

interface SolveOptions {
  readonly model: Model;
  readonly belief: Belief;
  /** Scatter of a tone, ΔL*. */
  readonly noiseOf: (tone: number) => number;
  /** Unknowns to begin with. */
  readonly from?: readonly number[];
}

/** Precision of unknowns that belong together, and the logarithm of the determinant of their covariance. */
interface Block {
  readonly count: number;
  /** Of one, and of any two. */
  readonly own: number;
  readonly shared: number;
  readonly logVariance: number;
}

const independent = (count: number, deviation: number): Block => {
  return { count, own: 1 / deviation ** 2, shared: 0, logVariance: 2 * count * Math.log(deviation) };
};

/** Unknowns that have one part in common. The inverse by Sherman and Morrison. */
function together(count: number, { all, each }: { readonly all: number; readonly each: number }): Block {
  const shared = -(all ** 2) / (each ** 2 * (each ** 2 + count * all ** 2));
  const logVariance = 2 * (count - 1) * Math.log(each) + Math.log(each ** 2 + count * all ** 2);
  return { count, own: 1 / each ** 2 + shared, shared, logVariance };
}

/** What is believed of the unknowns that are free under a belief. */
function listBlocks({ at, tones }: Model, { surface, slope, bend }: Belief): readonly Block[] {
  const bends = Math.max(0, WITHIN[surface].length - SLOPES);
  const slopes = WITHIN[surface].length - bends;
  return [
    independent(slopes, slope),
    independent(bends, bend),
    independent(slopes, WIDTH_OF_DOSE * slope),
    independent(bends, WIDTH_OF_DOSE * bend),
    independent(tones, PRIOR.toneL),
    together(tones, ANSWER_PRIOR.dose),
    together(tones, ANSWER_PRIOR.width),
    independent(at.end - at.light, PRIOR.light),
  ];
}

/** Precision of what is believed, as a matrix. */
function precisionOf(blocks: readonly Block[]): number[][] {
  const size = blocks.reduce((sum, { count }) => sum + count, 0);
  const matrix = Array.from({ length: size }, () => new Array<number>(size).fill(0));
  let from = 0;
  for (const { count, own, shared } of blocks) {
    for (let i = from; i < from + count; i++) {
      for (let j = from; j < from + count; j++) matrix[i]![j] = i === j ? own : shared;
    }
    from += count;
  }
  return matrix;
}

/** Where each unknown of the list belongs among those that are free under a belief; −1 for a term that is not. */
function placeUnknowns({ at }: Model, { surface }: Belief): readonly number[] {
  const within = WITHIN[surface];
  return Array.from({ length: at.end }, (_, full) => {
    if (full >= at.off) return full - at.off + 2 * within.length;
    const term = within.findIndex((parts) => parts.includes(full % TERMS));
    return term < 0 ? -1 : term + (full >= at.width ? within.length : 0);
  });
}

/** Least squares with what is believed before. */
function solve(told: readonly Told[], { model, belief, noiseOf, from }: SolveOptions): Solved {
  const blocks = listBlocks(model, belief);
  const prior = precisionOf(blocks);
  const placeOf = placeUnknowns(model, belief);
  const spread = (values: readonly number[]) => placeOf.map((place) => (place < 0 ? 0 : values[place]!));
  const timesPrior = (values: readonly number[], i: number) =>
    prior[i]!.reduce((sum, one, j) => sum + one * values[j]!, 0);
  let values: readonly number[] = prior.map((_, i) => from?.[placeOf.indexOf(i)] ?? 0);
  let inverted = { inverse: [] as number[][], logDeterminant: 0 };
  for (let round = 0; round < (from ? LATER_ROUNDS : ROUNDS); round++) {
    const unknowns = spread(values);
    const normal = prior.map((row) => row.slice());
    const pull = prior.map((_, i) => -timesPrior(values, i));
    for (const one of told) {
      const weight = 1 / noiseOf(one.tone) ** 2;
      const left = one.lightness - model.lightnessOf(unknowns, one);
      const row = reduceRow(model.rowOf(unknowns, one), placeOf);
      for (const [i, a] of row) {
        pull[i] = pull[i]! + weight * a * left;
        for (const [j, b] of row) normal[i]![j] = normal[i]![j]! + weight * a * b;
      }
    }
    inverted = invertPositiveDefinite(normal)!;
    values = values.map((value, i) => value + inverted.inverse[i]!.reduce((sum, one, j) => sum + one * pull[j]!, 0));
  }
  const unknowns = spread(values);
  const misfit = told.reduce((sum, one) => {
    const noise = noiseOf(one.tone);
    return sum + ((one.lightness - model.lightnessOf(unknowns, one)) / noise) ** 2 + 2 * Math.log(noise);
  }, 0);
  const believed =
    values.reduce((sum, value, i) => sum + value * timesPrior(values, i), 0) +
    blocks.reduce((sum, { logVariance }) => sum + logVariance, 0);
  const { inverse, logDeterminant } = inverted;
  const believedAlone = inverse.reduce(
    (sum, row, i) => sum + row.reduce((part, one, j) => part + one * prior[i]![j]!, 0),
    0,
  );
  return {
    unknowns,
    covariance: placeOf.map((i) => placeOf.map((j) => (i < 0 || j < 0 ? 0 : inverse[i]![j]!))),
    evidence: -(misfit + believed + logDeterminant) / 2,
    told: inverse.length - believedAlone,
  };
}

/** Slopes by the unknowns that are free. */
function reduceRow(row: Row, placeOf: readonly number[]): Row {
  const slopes = new Map<number, number>();
  for (const [full, slope] of row) {
    const place = placeOf[full]!;
    if (place >= 0) slopes.set(place, (slopes.get(place) ?? 0) + slope);
  }
  return [...slopes];
}

/** Scatter of the patches of each tone about a fit, ΔL*, tones that are burned together with the mean of all. */
function measureNoise(told: readonly Told[], { model, solved }: { readonly model: Model; readonly solved: Solved }) {
  const free = Math.max(1 / 3, 1 - solved.told / told.length);
  const squaresOf = (some: readonly Told[]) =>
    some.reduce((sum, one) => sum + (one.lightness - model.lightnessOf(solved.unknowns, one)) ** 2, 0);
  const burned = told.filter(({ tone }) => tone !== BARE_TONE);
  const pooled = squaresOf(burned) / (free * burned.length);
  const noises = new Map(
    [...new Set(told.map(({ tone }) => tone))].map((tone) => {
      const own = told.filter((one) => one.tone === tone);
      const shared = tone === BARE_TONE ? 0 : POOLED;
      const variance = (squaresOf(own) + shared * pooled) / (free * own.length + shared);
      return [tone, Math.max(LEAST_NOISE_L, Math.sqrt(variance))] as const;
    }),
  );
  return (tone: number): number => noises.get(tone)!;
}

/** Rounds of leaving patches out, each by what the one before kept, a count. Assumed: the third changes nothing. */
const SORTINGS = 3;

const isBare = ({ tone }: Told): boolean => tone === BARE_TONE;

/**
 * Patches without those that lie further from any smooth field than `deviations` robust ones, bare and burned each by
 * their own, since their grain differs; and how patches of a tone scatter.
 */
export function sortOutliers(
  told: readonly Told[],
  { facts, deviations }: { readonly facts: FieldFacts; readonly deviations: number },
): { readonly kept: readonly Told[]; readonly noiseOf: (tone: number) => number } {
  const model = createModel(facts);
  // What is spoilt bends the first fit, so that honest patches beside it seem to be off.
  let kept = told;
  let noiseOf: (tone: number) => number = () => FIRST_NOISE_L;
  for (let round = 0; round < SORTINGS; round++) {
    const solved = solve(kept, { model, belief: WIDEST, noiseOf });
    const offOf = (one: Told) => Math.abs(one.lightness - model.lightnessOf(solved.unknowns, one));
    const limitOf = (some: readonly Told[]) =>
      deviations * Math.max(LEAST_NOISE_L, robustDeviation(some.length > 0 ? some.map(offOf) : [0]));
    const [bare, burned] = [kept.filter(isBare), kept.filter((one) => !isBare(one))];
    const [bareLimit, burnedLimit] = [limitOf(bare), limitOf(burned)];
    kept = told.filter((one) => offOf(one) <= (isBare(one) ? bareLimit : burnedLimit));
    noiseOf = measureNoise(kept, { model, solved });
  }
  return { kept, noiseOf: measureNoise(kept, { model, solved: solve(kept, { model, belief: WIDEST, noiseOf }) }) };
}

/** How likely a belief is among all, by the readings. */
interface Weighed {
  readonly belief: Belief;
  readonly share: number;
}

/** Share of all from which on a belief counts. Assumed: a thousandth moves no interval. */
const LEAST_SHARE = 1e-3;

interface FitOptions {
  readonly facts: FieldFacts;
  /** Scatter of the patches of a tone, ΔL*. */
  readonly noiseOf: (tone: number) => number;
  /** As more readings have told; by these alone when absent. */
  readonly weighed?: readonly Weighed[];
}

/**
 * Dose and width of a field by the mean of all that is believed possible, each as likely as it makes the readings: so
 * a field that looks even is known to as much as the readings would have shown.
 */
export function fitField(told: readonly Told[], { facts, noiseOf, weighed }: FitOptions): FieldFit {
  const model = createModel(facts);
  const { unknowns: from } = solve(told, { model, belief: WIDEST, noiseOf });
  const beliefs = weighed?.map(({ belief }) => belief) ?? BELIEFS;
  const solved = beliefs.map((belief) => solve(told, { model, belief, noiseOf, from }));
  const shares = weighed?.map(({ share }) => share) ?? shareOut(solved.map(({ evidence }) => evidence));
  return {
    ...describeFit(model, mix(solved, shares)),
    weighed: beliefs.flatMap((belief, k) => (shares[k]! < LEAST_SHARE ? [] : [{ belief, share: shares[k]! }])),
  };
}

/** Shares of 1 by logarithms of likelihoods. */
function shareOut(evidences: readonly number[]): readonly number[] {
  const most = Math.max(...evidences);
  const odds = evidences.map((evidence) => Math.exp(evidence - most));
  const all = odds.reduce((sum, one) => sum + one, 0);
  return odds.map((one) => one / all);
}

/** Mean and covariance of a mixture: what each has, and how far they are from one another. */
function mix(solved: readonly Solved[], shares: readonly number[]): Pick<Solved, 'unknowns' | 'covariance'> {
  const meanOf = (value: (one: Solved) => number) => solved.reduce((sum, one, k) => sum + shares[k]! * value(one), 0);
  const unknowns = solved[0]!.unknowns.map((_, i) => meanOf((one) => one.unknowns[i]!));
  const covariance = unknowns.map((mean, i) =>
    unknowns.map((other, j) =>
      meanOf((one) => one.covariance[i]![j]! + (one.unknowns[i]! - mean) * (one.unknowns[j]! - other)),
    ),
  );
  return { unknowns, covariance };
}

function describeFit(
  model: Model,
  { unknowns, covariance }: Pick<Solved, 'unknowns' | 'covariance'>,
): Omit<FieldFit, 'weighed'> {
  const { at, tones } = model;
  const range = (from: number, count: number) => Array.from({ length: count }, (_, k) => from + k);
  const given = [...range(0, 2 * TERMS), ...range(at.byDose, 2 * tones)];
  // Along these dose and answers are told apart by what is usual alone: tones stay as they are.
  const swaps = [
    { from: 0, answers: at.byDose, share: MODEL_OFF.dose },
    { from: at.width, answers: at.byWidth, share: MODEL_OFF.width },
  ].map(({ from, answers, share }) =>
    unknowns.map((value, i) => {
      if (i >= from && i < from + TERMS) return share * value;
      return i >= answers && i < answers + tones ? -share * (1 + value) : 0;
    }),
  );
  const swap = (i: number, j: number) => swaps.reduce((sum, way) => sum + way[i]! * way[j]!, 0);
  const evenly = unknowns.map((value, i) => (i < 2 * TERMS ? 0 : value));
  return {
    surface: LARGEST,
    lnDose: unknowns.slice(0, TERMS),
    lnWidth: unknowns.slice(at.width, at.width + TERMS),
    answers: range(0, tones).map((tone) => ({
      dose: 1 + unknowns[at.byDose + tone]!,
      width: 1 + unknowns[at.byWidth + tone]!,
    })),
    covariance: given.map((i) => given.map((j) => covariance[i]![j]! + swap(i, j))),
    lightnessOf: (one) => model.lightnessOf(unknowns, one),
    evenLightnessOf: (one) => model.lightnessOf(evenly, one),
    reachAt: (place) =>
      NORMAL_95 *
      rootMeanSquare(
        range(0, tones).map((tone) => {
          const row = model
            .rowOf(unknowns, { ...place, id: '', tone, lightness: 0, chart: 0, light: [] })
            .filter(([index]) => index !== at.off + tone);
          const variance = row.reduce(
            (sum, [i, a]) => sum + a * row.reduce((part, [j, b]) => part + b * covariance[i]![j]!, 0),
            0,
          );
          const byDose = row.find(([index]) => index === at.byDose + tone)![1];
          return Math.hypot(Math.sqrt(Math.max(0, variance)), BETWEEN_TONES * byDose);
        }),
      ),
  };
}

const clampTo = ([from, to]: readonly [number, number], value: number) => Math.min(to, Math.max(from, value));
export const rootMeanSquare = (values: readonly number[]): number =>
  Math.sqrt(values.reduce((sum, value) => sum + value * value, 0) / Math.max(1, values.length));
