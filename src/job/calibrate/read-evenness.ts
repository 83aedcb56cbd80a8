import { type ChartLayout, fires, type Patch, type Reading } from '../../chart/index.ts';
import { lightnessOfReflectance, reflectanceOfLightness } from '../../colour/index.ts';
import { AppError } from '../../errors.ts';
import {
  EVENNESS_SURFACES,
  type EvennessMap,
  type EvennessSurface,
  evennessTerms,
  type FieldPart,
  listEvenness,
} from '../../machine/index.ts';
import type { Profile } from '../../material/index.ts';
import { invertPositiveDefinite, robustDeviation } from '../../numeric/index.ts';
import { createDots, type Dots, type DotTable, EVEN_FIELDS, evenPlane } from '../../plane/index.ts';
import { predictLightness } from '../../proof/index.ts';
import { roundTo } from '../page/html.ts';
import { type BeamLogs, tabulateBeams } from '../request/beam-shift.ts';
import { keepHalftones } from '../request/curve.ts';

/** A field chart of a machine's field, read. */
export interface FieldChart {
  readonly layout: ChartLayout;
  readonly readings: readonly Reading[];
}

/**
 * What is believed before a chart is read. Standard deviations of logarithms of factors, of their slopes over half the
 * field's diagonal, and of what the response model is off by for a tone, ΔL*. Assumed: a field loses up to a third of
 * its dose and widens its spot by a tenth; a day moves the power by a fifth.
 */
const PRIOR = { doseDay: 0.2, widthDay: 0.05, doseSlope: 0.35, widthSlope: 0.1, toneL: 1 } as const;
/** Logarithms of factors that are looked through. Assumed: what loses half its dose marks nothing worth a map. */
const RANGE = { lnDose: [-0.7, 0.35], lnWidth: [-0.15, 0.35] } as const;
/** Scatter of patches at least, ΔL*. Assumed: a reading of a patch is no better. */
const LEAST_NOISE_L = 0.15;
/** Rounds of Gauss and Newton, a count. Assumed: tones are nearly straight in both logarithms. */
const ROUNDS = 5;
/** Step of a numerical derivative, in the logarithm of a factor. Assumed: a hundredth is straight and no noise. */
const SLOPE_STEP = 0.01;
/** Patches that differ from the map by so many robust deviations are left out. Assumed: honest ones hardly ever do. */
const OUTLIER = 4.5;
/** Groups of patches that are left out in turn, a count. Assumed: each leaves all of the field with neighbours. */
const FOLDS = 6;
/** A surface of more terms is taken when it foretells unseen patches better by this share. Assumed: less is chance. */
const BETTER = 0.03;
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
  const told = charts.flatMap((chart) => listTold(chart, { profile, tones }));
  if (told.length < LEAST_PATCHES) {
    throw new AppError(
      'field-unexplained',
      `found ${told.length} patches that can be read, needed ${LEAST_PATCHES}; scan the chart again, or burn it larger`,
      { found: told.length, needed: LEAST_PATCHES },
    );
  }
  const toneAt = tabulateTones(tones, { profile, layout: first!.layout });
  const fit = (surface: EvennessSurface, some: readonly Told[]) =>
    fitSurface(some, { surface, fieldMm, tones, toneAt });
  const surfaces = Object.keys(EVENNESS_SURFACES) as EvennessSurface[];
  const rough = fit('quadratic', told);
  const off = told.map((one) => one.lightness - rough.lightnessOf(one));
  const limit = OUTLIER * Math.max(LEAST_NOISE_L, robustDeviation(off));
  const kept = told.filter((_, at) => Math.abs(off[at]!) <= limit);
  const crossOf = (surface: EvennessSurface) =>
    rootMeanSquare(
      Array.from({ length: FOLDS }, (_, fold) => {
        const { lightnessOf } = fit(
          surface,
          kept.filter((__, at) => at % FOLDS !== fold),
        );
        return kept.filter((__, at) => at % FOLDS === fold).map((one) => one.lightness - lightnessOf(one));
      }).flat(),
    );
  const crossed = surfaces.map((surface) => ({ surface, crossL: crossOf(surface) }));
  const chosen = crossed.reduce((a, b) => (b.crossL < (1 - BETTER) * a.crossL ? b : a));
  const best = fit(chosen.surface, kept);
  const leftL = rootMeanSquare(kept.map((one) => one.lightness - best.lightnessOf(one)));
  const even = fit('even', kept);
  const unevenL = rootMeanSquare(kept.map((one) => one.lightness - even.lightnessOf(one)));
  if (leftL > MOST_LEFT_L) {
    throw new AppError(
      'field-unexplained',
      `found patches that differ by ${leftL.toFixed(1)} L* from any smooth field, needed ${MOST_LEFT_L} L* or less; look for uneven stock, a scrap that does not lie flat, or another profile than the chart was drawn through`,
      { leftL },
    );
  }
  const terms = EVENNESS_SURFACES[chosen.surface].length;
  const scale = Math.max(1, leftL / best.noiseL) ** 2;
  const part = (from: number) => ({
    coefficients: best.unknowns.slice(from, from + terms),
    covariance: best.covariance
      .slice(from, from + terms)
      .map((row) => row.slice(from, from + terms).map((one) => scale * one)),
  });
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
    surface: chosen.surface,
    lnDose: part(0),
    lnWidth: part(terms),
    patches: kept.length,
    unevenL,
    leftL,
    crossL: chosen.crossL,
    notes: [],
  };
  return { ...map, notes: writeNotes(map) };
}

/** Places along a side of the covered field that notes look at, a count. Assumed: a smooth surface has no others. */
const LOOKED_AT = 9;

function writeNotes(map: EvennessMap): string[] {
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

/** What a patch is of: patches of the same are alike where the beam is; undefined for bare. */
function keyOf({ pattern, coverage }: Pick<Reading, 'pattern' | 'coverage'>): string | undefined {
  return pattern.kind === 'bare' ? undefined : JSON.stringify([pattern, coverage]);
}

function listTold(
  { layout, readings }: FieldChart,
  { profile, tones }: { readonly profile: Profile; readonly tones: readonly string[] },
): readonly Told[] {
  const bareY = reflectanceOfLightness(profile.bare[0]);
  const { xMm, yMm } = layout.inField!;
  return readings.flatMap((reading) => {
    const key = keyOf(reading);
    if (key === undefined) return [];
    const lightness = lightnessOfReflectance(bareY * Math.max(0, reading.mean));
    const place = { xMm: xMm + reading.xMm, yMm: yMm + reading.yMm };
    return [{ id: reading.id, tone: tones.indexOf(key), ...place, lightness }];
  });
}

/** Lightness of every tone under a beam, by the response model of the profile. */
function tabulateTones(
  tones: readonly string[],
  { profile, layout }: { readonly profile: Profile; readonly layout: ChartLayout },
): (beam: BeamLogs) => readonly number[] {
  const { grid, screen } = layout;
  const halftone = keepHalftones({ screen, grid });
  const { side, from, to } = EVEN_FIELDS.job;
  const rect = { x: from, y: from, width: to - from, height: to - from };
  const fields = tones.map((key): Dots => {
    const [pattern, coverage] = JSON.parse(key) as [Patch['pattern'], number];
    if (pattern.kind === 'screened') return halftone(evenPlane(coverage, side));
    const dots = createDots(side, side);
    for (let at = 0; at < dots.data.length; at++) {
      dots.data[at] = fires(pattern, at % side, Math.floor(at / side)) ? 1 : 0;
    }
    return dots;
  });
  const lightnessesOf = (table: DotTable) => fields.map((dots) => predictLightness(dots, { table, rect }));
  return tabulateBeams(profile, { grid, range: RANGE, lightnessesOf });
}

interface FitOptions {
  readonly surface: EvennessSurface;
  readonly fieldMm: readonly [number, number];
  readonly tones: readonly string[];
  readonly toneAt: (beam: BeamLogs) => readonly number[];
}

/** Dose and width as surfaces, and what each tone is off by: least squares with what is believed beforehand. */
function fitSurface(told: readonly Told[], { surface, fieldMm, tones, toneAt }: FitOptions) {
  const count = EVENNESS_SURFACES[surface].length;
  const size = 2 * count + tones.length;
  const priors = Array.from({ length: size }, (_, at) => {
    if (at >= 2 * count) return PRIOR.toneL;
    if (at < count) return at === 0 ? PRIOR.doseDay : PRIOR.doseSlope;
    return at === count ? PRIOR.widthDay : PRIOR.widthSlope;
  });
  const termsOf = new Map(told.map((one) => [one.id + one.xMm, evennessTerms(surface, fieldMm, one.xMm, one.yMm)]));
  const termsAt = (one: Told) => termsOf.get(one.id + one.xMm) ?? evennessTerms(surface, fieldMm, one.xMm, one.yMm);
  let unknowns: readonly number[] = new Array(size).fill(0);
  const sumOf = (terms: readonly number[], from: number) =>
    terms.reduce((sum, term, at) => sum + term * unknowns[from + at]!, 0);
  const beamOf = (terms: readonly number[]): BeamLogs => ({
    lnDose: clampTo(RANGE.lnDose, sumOf(terms, 0)),
    lnWidth: clampTo(RANGE.lnWidth, sumOf(terms, count)),
  });
  const lightnessOf = (one: Told) => toneAt(beamOf(termsAt(one)))[one.tone]! + unknowns[2 * count + one.tone]!;
  let noiseL = 0.5;
  let covariance: readonly (readonly number[])[] = [];
  for (let round = 0; round < ROUNDS; round++) {
    const normal = priors.map((prior, i) => priors.map((_, j) => (i === j ? 1 / prior ** 2 : 0)));
    const pull = priors.map((prior, i) => -unknowns[i]! / prior ** 2);
    const weight = 1 / noiseL ** 2;
    let squares = 0;
    for (const one of told) {
      const terms = termsAt(one);
      const beam = beamOf(terms);
      const slope = (key: keyof BeamLogs) => {
        const at = (by: number) => toneAt({ ...beam, [key]: clampTo(RANGE[key], beam[key] + by) })[one.tone]!;
        return (at(SLOPE_STEP) - at(-SLOPE_STEP)) / (2 * SLOPE_STEP);
      };
      const left = one.lightness - lightnessOf(one);
      squares += left * left;
      const [byDose, byWidth] = [slope('lnDose'), slope('lnWidth')];
      const row: (readonly [number, number])[] = [
        ...terms.map((term, at) => [at, byDose * term] as const),
        ...terms.map((term, at) => [count + at, byWidth * term] as const),
        [2 * count + one.tone, 1],
      ];
      for (const [i, a] of row) {
        pull[i] = pull[i]! + weight * a * left;
        for (const [j, b] of row) normal[i]![j] = normal[i]![j]! + weight * a * b;
      }
    }
    covariance = invertPositiveDefinite(normal)!.inverse;
    unknowns = unknowns.map((value, i) => value + covariance[i]!.reduce((sum, one, j) => sum + one * pull[j]!, 0));
    noiseL = Math.max(LEAST_NOISE_L, Math.sqrt(squares / told.length));
  }
  return { unknowns, covariance, lightnessOf, noiseL };
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
