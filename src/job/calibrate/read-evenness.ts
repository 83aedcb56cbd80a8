import { type ChartLayout, fires, type Patch, type Reading } from '../../chart/index.ts';
import { lightnessOfReflectance, reflectanceOfLightness } from '../../colour/index.ts';
import { AppError } from '../../errors.ts';
import {
  EVENNESS_SURFACES,
  type EvennessMap,
  type EvennessSurface,
  evennessTerms,
  type FieldPart,
  homeTerms,
  listEvenness,
} from '../../machine/index.ts';
import { fillDotTable, type Profile } from '../../material/index.ts';
import { invertPositiveDefinite, NORMAL_95, robustDeviation } from '../../numeric/index.ts';
import { createDots, type Dots, type DotTable, EVEN_FIELDS, evenPlane } from '../../plane/index.ts';
import { predictLightness } from '../../proof/index.ts';
import { applyScreen, type ScreenName, takesStrength } from '../../screens/index.ts';
import { roundTo } from '../page/html.ts';
import { BETWEEN_TONES } from '../prepare/field-answers.ts';
import { type BeamLogs, tabulateBeams } from '../request/beam-shift.ts';

/** A field chart of a machine's field, read. */
export interface FieldChart {
  readonly layout: ChartLayout;
  readonly readings: readonly Reading[];
}

/**
 * What is believed before a chart is read. Standard deviations of logarithms of factors, of their slopes over half the
 * field's diagonal, and of what the response model is off by for a tone, ΔL*. Assumed: a field loses up to a third of
 * its dose and widens its spot by a tenth. What the chart's day differs by is not told apart from what tones are off
 * by.
 */
const PRIOR = {
  dose: 0.35,
  width: 0.1,
  toneL: 3,
  answerToDose: 0.3,
  answerToWidth: 0.5,
  light: 0.006,
} as const;
/**
 * What a capture's levelling may leave of its light, in logarithm, terms in halves of the chart's sides. Bare patches
 * carry grain, and the light that they tell is as far off in the corners.
 */
const LIGHT_TERMS: readonly ((x: number, y: number) => number)[] = [
  () => 1,
  (x) => x,
  (_x, y) => y,
  (x) => x * x,
  (x, y) => x * y,
  (_x, y) => y * y,
];
/** Change of L* by the logarithm of light, for L* and 16 together. By definition: CIE L* follows the cube root. */
const L_PER_LN = 1 / 3;
/** Tone of a bare patch: it tells of light alone. */
const BARE_TONE = -1;
/** Logarithms of factors that are looked through. Assumed: what loses half its dose marks nothing worth a map. */
const RANGE = { lnDose: [-0.7, 0.35], lnWidth: [-0.15, 0.35] } as const;
/**
 * Doses and widths for which tones are computed, counts. Measured (`benchmarks/field.ts`): with a third of the doses
 * the slope of a steep tone was a fifth off, and answers were measured against that.
 */
const RANGE_STEPS = { dose: 18, width: 5 } as const;
/** Scatter of patches at least, ΔL*. Measured (`benchmarks/field.ts`): 0.05 to 0.3 are left of a scan. */
const LEAST_NOISE_L = 0.08;
/** Rounds of Gauss and Newton, a count. Assumed: tones are nearly straight in both logarithms. */
const ROUNDS = 5;
/** Step of a numerical derivative, in the logarithm of a factor. Assumed: a hundredth is straight and no noise. */
const SLOPE_STEP = 0.01;
/** Patches that differ from the map by so many robust deviations are left out. Assumed: honest ones hardly ever do. */
const OUTLIER = 4.5;
/** Groups of patches that are left out in turn, a count. Assumed: each leaves all of the field with neighbours. */
const FOLDS = 6;
/** Patches that a map needs, a count. Assumed: three times the largest surface's terms of dose, and some spare. */
const LEAST_PATCHES = 45;
/** What a map may leave, ΔL* root mean square. Assumed: more is stock or capture, and corrects nothing. */
const MOST_LEFT_L = 1.5;
/** Width and height of the chart that a profile is learned from, mm. Assumed: a card in the middle of the field. */
const HOME_MM = [85.6, 54] as const;

interface Told {
  readonly id: string;
  readonly tone: number;
  readonly xMm: number;
  readonly yMm: number;
  readonly lightness: number;
  /** Which chart it is of, and the terms of what its light may be off by there. */
  readonly chart: number;
  readonly light: readonly number[];
}

/**
 * How dose and mark width differ over a machine's field, by charts that lie in it: at every patch the factors of both
 * are a smooth surface, and the profile's response model says what its tone becomes by them. How far the model is off
 * for a tone is one more unknown, the same everywhere; the surface is the simplest that foretells unseen patches as
 * well as any.
 * @throws AppError chart-wrong for other charts, field-unexplained where nothing smooth explains them
 */
export function readEvenness(
  charts: readonly FieldChart[],
  { profile, date }: { readonly profile: Profile; readonly date: string },
): EvennessMap {
  const [first] = charts;
  const place = first!.layout.inField;
  for (const { layout } of charts) refuseOtherChart(layout, first!.layout, profile);
  const fieldMm = [place!.widthMm, place!.heightMm] as const;
  const tones = [...new Set(charts.flatMap(({ readings }) => readings.flatMap((one) => keyOf(one) ?? [])))].sort();
  const all = charts.flatMap((chart, index) => listTold(chart, { profile, tones, index }));
  const bares = all.filter(({ tone }) => tone === BARE_TONE);
  const told = all.filter(({ tone }) => tone !== BARE_TONE);
  if (told.length < LEAST_PATCHES) {
    throw new AppError(
      'field-unexplained',
      `found ${told.length} patches that can be read, needed ${LEAST_PATCHES}; scan the chart again, or burn it larger`,
      { found: told.length, needed: LEAST_PATCHES },
    );
  }
  const toneAt = tabulateTones(tones, { profile, layout: first!.layout });
  const fit = (surface: EvennessSurface, some: readonly Told[]) =>
    fitSurface([...some, ...bares], { surface, fieldMm, tones, toneAt, charts: charts.length, bareL: profile.bare[0] });
  const surfaces = Object.keys(EVENNESS_SURFACES) as EvennessSurface[];
  const rough = fit('steep', told);
  const off = told.map((one) => one.lightness - rough.lightnessOf(one));
  const limit = OUTLIER * Math.max(LEAST_NOISE_L, robustDeviation(off));
  const kept = told.filter((_, at) => Math.abs(off[at]!) <= limit);
  const fits = surfaces.map((surface) => ({ surface, ...fit(surface, kept) }));
  const best = fits.reduce((a, b) => (b.evidence > a.evidence ? b : a));
  const { surface } = best;
  const crossL = rootMeanSquare(
    Array.from({ length: FOLDS }, (_, fold) => {
      const { lightnessOf } = fit(
        surface,
        kept.filter((__, at) => at % FOLDS !== fold),
      );
      return kept.filter((__, at) => at % FOLDS === fold).map((one) => one.lightness - lightnessOf(one));
    }).flat(),
  );
  const leftL = rootMeanSquare(kept.map((one) => one.lightness - best.lightnessOf(one)));
  const even = fits[surfaces.indexOf('even')]!;
  const unevenL = rootMeanSquare(kept.map((one) => one.lightness - even.lightnessOf(one)));
  if (leftL > MOST_LEFT_L) {
    throw new AppError(
      'field-unexplained',
      `found patches that differ by ${leftL.toFixed(1)} L* from any smooth field, needed ${MOST_LEFT_L} L* or less; look for uneven stock, a scrap that does not lie flat, or another profile than the chart was drawn through`,
      { leftL },
    );
  }
  const terms = EVENNESS_SURFACES[surface].length;
  const scale = Math.max(1, leftL / best.noiseL) ** 2;
  const covarianceOf = (list: readonly number[]) =>
    list.map((i) => list.map((j) => roundDigits(scale * best.covariance[i]![j]!)));
  const range = (from: number, count: number) => Array.from({ length: count }, (_, at) => from + at);
  const part = (from: number) => ({
    coefficients: best.unknowns.slice(from, from + terms),
    covariance: covarianceOf(range(from, terms)),
  });
  const answers = 2 * terms + tones.length;
  const shareOf = shareOfLightness(profile, toneAt);
  const map: EvennessMap = {
    schema: 'tonewright-evenness/1',
    machine: first!.layout.machine,
    fieldMm,
    charts: charts.map(({ layout }) => layout.hash),
    profile: profile.name,
    material: profile.material,
    date,
    covered: coveredBy(charts),
    home: homeIn(fieldMm),
    surface,
    lnDose: part(0),
    lnWidth: part(terms),
    answers: {
      steepness: profile.response.steepness,
      halfDose: profile.response.halfDose,
      tones: tones.map((_, tone) => ({
        share: shareOf(tone),
        dose: 1 + best.unknowns[answers + tone]!,
        width: 1 + best.unknowns[answers + tones.length + tone]!,
      })),
      covariance: covarianceOf([...range(0, 2 * terms), ...range(answers, 2 * tones.length)]),
    },
    patches: kept.length,
    unevenL,
    leftL,
    crossL,
    notes: [],
  };
  const reachL = Math.max(
    ...listEvenness(map, { columns: LOOKED_AT, rows: LOOKED_AT }).map(
      (place) => Math.sqrt(scale) * best.reachAt(place),
    ),
  );
  return { ...map, reachL, notes: writeNotes({ ...map, reachL }) };
}

/** ΔL* (95 %) from home that passes for alike. Assumed: what a careful eye sees side by side. */
const ALIKE_L = 1;
/** Places along a side of the covered field that notes look at, a count. Assumed: a smooth surface has no others. */
const LOOKED_AT = 9;

function writeNotes(map: EvennessMap & { readonly reachL: number }): string[] {
  const places = listEvenness(map, { columns: LOOKED_AT, rows: LOOKED_AT });
  const least = places.reduce((a, b) => (b.dose < a.dose ? b : a));
  const most = places.reduce((a, b) => (b.dose > a.dose ? b : a));
  const widest = places.reduce((a, b) => (b.width > a.width ? b : a));
  const say = ({ dose, doseReach, xMm, yMm }: (typeof places)[number]) =>
    `${roundTo(dose, 2)} times (95 %: ${roundTo(dose / doseReach, 2)} … ${roundTo(dose * doseReach, 2)}) at ${roundTo(xMm, 0)}, ${roundTo(yMm, 0)} mm`;
  return [
    map.surface === 'even'
      ? 'No place differs from the others by more than chance: the field needs no correction where the chart lay.'
      : `Against where the profile was learned the dose runs from ${say(least)} to ${say(most)}; the spot is widest, ${roundTo(widest.width, 2)} times, at ${roundTo(widest.xMm, 0)}, ${roundTo(widest.yMm, 0)} mm. Places are mm from the field’s upper left corner.`,
    `Patches were off by ${roundTo(map.unevenL, 2)} L* as if the beam were the same everywhere, and are by ${roundTo(map.leftL, 2)} L* with the map; patches that it had not seen, by ${roundTo(map.crossL, 2)} L* (root mean square).`,
    `Tones that are set by it are alike to ± ${roundTo(map.reachL, 2)} L* (95 %) over the field.${
      map.reachL > ALIKE_L
        ? ' That is more than a careful eye forgives between two pockets: burn the chart once more and learn both together, or give pieces that must match the same pocket.'
        : ''
    }`,
  ];
}

function refuseOtherChart(layout: ChartLayout, first: ChartLayout, profile: Profile): void {
  const fault = !layout.inField
    ? `a ${layout.kind} chart`
    : layout.machine !== first.machine || layout.machine !== profile.machine
      ? `machines ${[...new Set([first.machine, layout.machine, profile.machine])].join(' and ')}`
      : layout.inField.profile !== profile.name && layout.material !== profile.material
        ? `the profile ${profile.name} of ${profile.material}`
        : undefined;
  if (fault === undefined) return;
  throw new AppError(
    'chart-wrong',
    `found ${fault} for chart ${layout.hash}, needed field charts of one machine and the profile that they were drawn through${layout.inField ? ` (${layout.inField.profile})` : ''}`,
    { hash: layout.hash },
  );
}

/** Where a tone lies between bare and full at home, 0 … 1. */
const shareOfLightness =
  ({ bare, full }: Profile, toneAt: (beam: BeamLogs, tone: number) => number) =>
  (tone: number): number =>
    Math.min(1, Math.max(0, (toneAt({ lnDose: 0, lnWidth: 0 }, tone) - bare[0]) / (full[0] - bare[0])));

/** Digits of a covariance, a count. Assumed: more say nothing of an interval. */
const DIGITS = 6;
const roundDigits = (value: number) => Number(value.toPrecision(DIGITS));

/** What a patch is of: patches of the same are alike where the beam is; undefined for bare. */
function keyOf({ pattern, coverage }: Pick<Reading, 'pattern' | 'coverage'>): string | undefined {
  return pattern.kind === 'bare' ? undefined : JSON.stringify([pattern, coverage]);
}

function listTold(
  { layout, readings }: FieldChart,
  { profile, tones, index }: { readonly profile: Profile; readonly tones: readonly string[]; readonly index: number },
): readonly Told[] {
  const bareY = reflectanceOfLightness(profile.bare[0]);
  const { xMm, yMm } = layout.inField!;
  return readings.map((reading) => {
    const key = keyOf(reading);
    const tone = key === undefined ? BARE_TONE : tones.indexOf(key);
    const [x, y] = [(2 * reading.xMm) / layout.widthMm - 1, (2 * reading.yMm) / layout.heightMm - 1];
    const light = LIGHT_TERMS.map((term) => term(x, y));
    const lightness = lightnessOfReflectance(bareY * Math.max(0, reading.mean));
    const place = { xMm: xMm + reading.xMm, yMm: yMm + reading.yMm };
    return { id: reading.id, tone, ...place, lightness, chart: index, light };
  });
}

/** Lightness of every tone under a beam, by the response model of the profile. */
function tabulateTones(
  tones: readonly string[],
  { profile, layout }: { readonly profile: Profile; readonly layout: ChartLayout },
): (beam: BeamLogs, tone: number) => number {
  const { grid, screen } = layout;
  const named = { ...screen.options, name: screen.name as ScreenName, grid };
  const marks = takesStrength(named) ? { marks: fillDotTable(profile, grid) } : {};
  const { side, from, to } = EVEN_FIELDS.job;
  const rect = { x: from, y: from, width: to - from, height: to - from };
  const fields = tones.map((key): Dots => {
    const [pattern, coverage] = JSON.parse(key) as [Patch['pattern'], number];
    if (pattern.kind === 'screened') return applyScreen(evenPlane(coverage, side), { ...named, ...marks });
    const dots = createDots(side, side);
    for (let at = 0; at < dots.data.length; at++) {
      dots.data[at] = fires(pattern, at % side, Math.floor(at / side)) ? 1 : 0;
    }
    return dots;
  });
  const lightnessesOf = (table: DotTable) => fields.map((dots) => predictLightness(dots, { table, rect }));
  return tabulateBeams(profile, { grid, range: RANGE, steps: RANGE_STEPS, lightnessesOf });
}

interface FitOptions {
  readonly surface: EvennessSurface;
  readonly fieldMm: readonly [number, number];
  readonly tones: readonly string[];
  readonly toneAt: (beam: BeamLogs, tone: number) => number;
  /** How many charts there are, each with a light of its own, and L* of bare. */
  readonly charts: number;
  readonly bareL: number;
}

interface FieldFit {
  /** Dose, width: coefficients of the surface; what tones are off by; what they answer beside the model, to either. */
  readonly unknowns: readonly number[];
  readonly covariance: readonly (readonly number[])[];
  readonly lightnessOf: (one: Told) => number;
  readonly noiseL: number;
  /** How far tones at a place may be from those at home though they are set by the fit, ΔL* (95 %, mean of squares). */
  readonly reachAt: (place: { readonly xMm: number; readonly yMm: number }) => number;
  /** Logarithm of how likely the readings are by such a surface, whatever its coefficients. */
  readonly evidence: number;
}

/**
 * Dose and width as surfaces, what each tone is off by, and how much more or less than the model says it answers to
 * either: least squares with what is believed beforehand. Surfaces count from the home, so that a tone's answer does
 * not turn with what it is off by.
 */
function fitSurface(told: readonly Told[], { surface, fieldMm, tones, toneAt, charts, bareL }: FitOptions): FieldFit {
  const count = EVENNESS_SURFACES[surface].length;
  const at = {
    width: count,
    off: 2 * count,
    byDose: 2 * count + tones.length,
    byWidth: 2 * count + 2 * tones.length,
    light: 2 * count + 3 * tones.length,
    end: 2 * count + 3 * tones.length + charts * LIGHT_TERMS.length,
  } as const;
  const priors = Array.from({ length: at.end }, (_, index) => {
    if (index >= at.light) return PRIOR.light;
    if (index >= at.byWidth) return PRIOR.answerToWidth;
    if (index >= at.byDose) return PRIOR.answerToDose;
    if (index >= at.off) return PRIOR.toneL;
    return index < at.width ? PRIOR.dose : PRIOR.width;
  });
  const home = homeTerms(surface, { fieldMm, home: homeIn(fieldMm) });
  const termsOf = told.map((one) => termsFrom(one));
  const places = new Map(told.map((one, index) => [one, termsOf[index]!]));
  function termsFrom({ xMm, yMm }: Told): readonly number[] {
    return evennessTerms(surface, fieldMm, xMm, yMm).map((term, index) => term - home[index]!);
  }
  let unknowns: readonly number[] = new Array(at.end).fill(0);
  const beamAt = (terms: readonly number[]) => {
    let [lnDose, lnWidth] = [0, 0];
    for (let term = 0; term < count; term++) {
      lnDose += terms[term]! * unknowns[term]!;
      lnWidth += terms[term]! * unknowns[at.width + term]!;
    }
    return { lnDose: clampTo(RANGE.lnDose, lnDose), lnWidth: clampTo(RANGE.lnWidth, lnWidth) };
  };
  /** The beam of a place with the home's width, and the beam of the place: what the model says of them. */
  const sayOf = (one: Told, terms: readonly number[]) => {
    const there = beamAt(terms);
    return [{ ...there, lnWidth: 0 }, there].map((beam) => ({ beam, l: toneAt(beam, one.tone) }));
  };
  const homeL = tones.map((_, tone) => toneAt({ lnDose: 0, lnWidth: 0 }, tone));
  const answersOf = ({ tone }: Told) => [1 + unknowns[at.byDose + tone]!, 1 + unknowns[at.byWidth + tone]!] as const;
  /** Change of L* by what the light of a patch is off by. */
  const lightL = ({ chart, light }: Told, base: number) =>
    light.reduce((sum, term, k) => sum + term * unknowns[at.light + chart * LIGHT_TERMS.length + k]!, 0) *
    (base + 16) *
    L_PER_LN;
  const lightnessOf = (one: Told) => {
    if (one.tone === BARE_TONE) return bareL + lightL(one, bareL);
    const [weaker, there] = sayOf(one, places.get(one) ?? termsFrom(one));
    const [byDose, byWidth] = answersOf(one);
    const home = homeL[one.tone]!;
    const answered = byDose * (weaker!.l - home) + byWidth * (there!.l - weaker!.l);
    return unknowns[at.off + one.tone]! + home + answered + lightL(one, one.lightness);
  };
  const slopeOf = (beam: BeamLogs, key: keyof BeamLogs, tone: number) => {
    const by = (step: number) => toneAt({ ...beam, [key]: clampTo(RANGE[key], beam[key] + step) }, tone);
    return (by(SLOPE_STEP) - by(-SLOPE_STEP)) / (2 * SLOPE_STEP);
  };
  /** Derivatives of a reading's lightness by the unknowns that it hangs on. */
  const rowOf = (one: Told, terms: readonly number[]): (readonly [number, number])[] => {
    const { tone } = one;
    const perLight = (one.lightness + 16) * L_PER_LN;
    const byLight = one.light.map(
      (term, k) => [at.light + one.chart * LIGHT_TERMS.length + k, perLight * term] as const,
    );
    if (tone === BARE_TONE) return byLight;
    const [weaker, there] = sayOf(one, terms);
    const [gainDose, gainWidth] = answersOf(one);
    const byDose =
      gainDose * slopeOf(weaker!.beam, 'lnDose', tone) +
      gainWidth * (slopeOf(there!.beam, 'lnDose', tone) - slopeOf(weaker!.beam, 'lnDose', tone));
    const byWidth = gainWidth * slopeOf(there!.beam, 'lnWidth', tone);
    return [
      ...terms.map((term, k) => [k, byDose * term] as const),
      ...terms.map((term, k) => [at.width + k, byWidth * term] as const),
      [at.off + tone, 1],
      [at.byDose + tone, weaker!.l - homeL[tone]!],
      [at.byWidth + tone, there!.l - weaker!.l],
      ...byLight,
    ];
  };
  let noiseL = 0.5;
  let covariance: readonly (readonly number[])[] = [];
  let evidence = Number.NEGATIVE_INFINITY;
  for (let round = 0; round < ROUNDS; round++) {
    const normal = priors.map((prior, i) => priors.map((_, j) => (i === j ? 1 / prior ** 2 : 0)));
    const pull = priors.map((prior, i) => -unknowns[i]! / prior ** 2);
    const weight = 1 / noiseL ** 2;
    let squares = 0;
    for (const [index, one] of told.entries()) {
      const left = one.lightness - lightnessOf(one);
      squares += left * left;
      const row = rowOf(one, termsOf[index]!);
      for (const [i, a] of row) {
        pull[i] = pull[i]! + weight * a * left;
        for (const [j, b] of row) normal[i]![j] = normal[i]![j]! + weight * a * b;
      }
    }
    const inverted = invertPositiveDefinite(normal)!;
    covariance = inverted.inverse;
    const believed = unknowns.reduce((sum, value, i) => sum + (value / priors[i]!) ** 2 + 2 * Math.log(priors[i]!), 0);
    evidence = -(weight * squares + believed + inverted.logDeterminant) / 2 - told.length * Math.log(noiseL);
    unknowns = unknowns.map((value, i) => value + covariance[i]!.reduce((sum, one, j) => sum + one * pull[j]!, 0));
    noiseL = Math.max(LEAST_NOISE_L, Math.sqrt(squares / told.length));
  }
  const reachAt = (place: { readonly xMm: number; readonly yMm: number }) =>
    NORMAL_95 *
    rootMeanSquare(
      tones.map((_, tone) => {
        const one = { ...place, id: '', tone, lightness: 0, chart: 0, light: [] };
        const row = rowOf(one, termsFrom(one)).filter(([index]) => index !== at.off + tone);
        const variance = row.reduce(
          (sum, [i, a]) => sum + a * row.reduce((part, [j, b]) => part + b * covariance[i]![j]!, 0),
          0,
        );
        const byDose = row.find(([index]) => index === at.byDose + tone)![1];
        return Math.hypot(Math.sqrt(Math.max(0, variance)), BETWEEN_TONES * byDose);
      }),
    );
  return { unknowns, covariance, lightnessOf, noiseL, reachAt, evidence };
}

const clampTo = ([from, to]: readonly [number, number], value: number) => Math.min(to, Math.max(from, value));
const rootMeanSquare = (values: readonly number[]) =>
  Math.sqrt(values.reduce((sum, value) => sum + value * value, 0) / Math.max(1, values.length));

function coveredBy(charts: readonly FieldChart[]): FieldPart {
  const parts = charts.map(({ layout }) => ({
    left: layout.inField!.xMm,
    top: layout.inField!.yMm,
    right: layout.inField!.xMm + layout.widthMm,
    bottom: layout.inField!.yMm + layout.heightMm,
  }));
  const xMm = Math.min(...parts.map(({ left }) => left));
  const yMm = Math.min(...parts.map(({ top }) => top));
  return {
    xMm,
    yMm,
    widthMm: Math.max(...parts.map(({ right }) => right)) - xMm,
    heightMm: Math.max(...parts.map(({ bottom }) => bottom)) - yMm,
  };
}

/** Where the profile's own chart is taken to lie: a card in the middle, as much of it as the field has. */
function homeIn([width, height]: readonly [number, number]): FieldPart {
  const [widthMm, heightMm] = [Math.min(width, HOME_MM[0]), Math.min(height, HOME_MM[1])];
  return { xMm: (width - widthMm) / 2, yMm: (height - heightMm) / 2, widthMm, heightMm };
}
