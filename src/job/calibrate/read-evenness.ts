import { type ChartLayout, fires, LIGHT_TERMS, type Patch, type Reading } from '../../chart/index.ts';
import { lightnessOfReflectance, reflectanceOfLightness } from '../../colour/index.ts';
import { AppError } from '../../errors.ts';
import { type EvennessMap, type FieldPart, listEvenness } from '../../machine/index.ts';
import { fillDotTable, type Profile } from '../../material/index.ts';
import { createDots, type Dots, type DotTable, EVEN_FIELDS, evenPlane } from '../../plane/index.ts';
import { predictLightness } from '../../proof/index.ts';
import { applyScreen, type ScreenName, takesStrength } from '../../screens/index.ts';
import { roundTo } from '../page/html.ts';
import { type BeamLogs, tabulateBeams } from '../request/beam-shift.ts';
import { BARE_TONE, FIELD_RANGE, fitField, rootMeanSquare, sortOutliers, type Told } from './fit-evenness.ts';
import { homeIn } from './home-part.ts';

/** A field chart of a machine's field, read. */
export interface FieldChart {
  readonly layout: ChartLayout;
  readonly readings: readonly Reading[];
}

/**
 * Doses and widths for which tones are computed, counts. Measured (`benchmarks/field.ts`): with a third of the doses
 * the slope of a steep tone was a fifth off, and answers were measured against that.
 */
const RANGE_STEPS = { dose: 18, width: 5 } as const;
/** Patches that differ from the map by so many robust deviations are left out. Assumed: honest ones hardly ever do. */
const OUTLIER = 4.5;
/** Groups of patches that are left out in turn, a count. Assumed: each leaves all of the field with neighbours. */
const FOLDS = 6;
/** Patches that a map needs, a count. Assumed: three times the largest surface's terms of dose, and some spare. */
const LEAST_PATCHES = 45;
/** What a map may leave, ΔL* root mean square. Assumed: more is stock or capture, and corrects nothing. */
const MOST_LEFT_L = 1.5;
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
  const told = all.filter(({ tone }) => tone !== BARE_TONE);
  if (told.length < LEAST_PATCHES) {
    throw new AppError(
      'field-unexplained',
      `found ${told.length} patches that can be read, needed ${LEAST_PATCHES}; scan the chart again, or burn it larger`,
      { found: told.length, needed: LEAST_PATCHES },
    );
  }
  const toneAt = tabulateTones(tones, { profile, layout: first!.layout });
  const facts = { fieldMm, tones: tones.length, toneAt, charts: charts.length, bareL: profile.bare[0] };
  const { kept, noiseOf } = sortOutliers(all, { facts, deviations: OUTLIER });
  const fit = fitField(kept, { facts, noiseOf });
  const burned = kept.filter(({ tone }) => tone !== BARE_TONE);
  const crossL = rootMeanSquare(
    Array.from({ length: FOLDS }, (_, fold) => {
      const unseen = new Set(burned.filter((__, at) => at % FOLDS === fold));
      const seen = kept.filter((one) => !unseen.has(one));
      const { lightnessOf } = fitField(seen, { facts, noiseOf, weighed: fit.weighed });
      return [...unseen].map((one) => one.lightness - lightnessOf(one));
    }).flat(),
  );
  const leftL = rootMeanSquare(burned.map((one) => one.lightness - fit.lightnessOf(one)));
  const unevenL = rootMeanSquare(burned.map((one) => one.lightness - fit.evenLightnessOf(one)));
  if (leftL > MOST_LEFT_L) {
    throw new AppError(
      'field-unexplained',
      `found patches that differ by ${leftL.toFixed(1)} L* from any smooth field, needed ${MOST_LEFT_L} L* or less; look for uneven stock, a scrap that does not lie flat, or another profile than the chart was drawn through`,
      { leftL },
    );
  }
  const covariance = fit.covariance.map((row) => row.map(roundDigits));
  const terms = fit.lnDose.length;
  const part = (coefficients: readonly number[], from: number) => ({
    coefficients,
    covariance: covariance.slice(from, from + terms).map((row) => row.slice(from, from + terms)),
  });
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
    surface: fit.surface,
    lnDose: part(fit.lnDose, 0),
    lnWidth: part(fit.lnWidth, terms),
    answers: {
      steepness: profile.response.steepness,
      halfDose: profile.response.halfDose,
      tones: tones.map((_, tone) => ({
        share: shareOf(tone),
        ...fit.answers[tone]!,
      })),
      covariance,
    },
    patches: burned.length,
    unevenL,
    leftL,
    crossL,
    notes: [],
  };
  const reachL = Math.max(...listEvenness(map, { columns: LOOKED_AT, rows: LOOKED_AT }).map(fit.reachAt));
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
  const widestSaid =
    roundTo(widest.width, 2) === '1'
      ? 'the spot is as wide everywhere'
      : `the spot is widest, ${roundTo(widest.width, 2)} times, at ${roundTo(widest.xMm, 0)}, ${roundTo(widest.yMm, 0)} mm`;
  const isWithin = (factor: number, reach: number) => Math.max(factor, 1 / factor) <= reach;
  const isEven = places.every(
    ({ dose, doseReach, width, widthReach }) => isWithin(dose, doseReach) && isWithin(width, widthReach),
  );
  const open = 100 * (Math.max(...places.map(({ dose, doseReach }) => Math.max(dose, 1 / dose) * doseReach)) - 1);
  const say = ({ dose, doseReach, xMm, yMm }: (typeof places)[number]) =>
    `${roundTo(dose, 2)} times (95 %: ${roundTo(dose / doseReach, 2)} … ${roundTo(dose * doseReach, 2)}) at ${roundTo(xMm, 0)}, ${roundTo(yMm, 0)} mm`;
  return [
    isEven
      ? `No place differs from the others by more than chance where the chart lay; by as much as ${roundTo(open, 0)} % of the dose one still may (95 %).`
      : `Against where the profile was learned the dose runs from ${say(least)} to ${say(most)}; ${widestSaid}. Places are mm from the field’s upper left corner.`,
    `Patches were off by ${roundTo(map.unevenL, 2)} L* as if the beam were the same everywhere, and are by ${roundTo(map.leftL, 2)} L* with the map; patches that it had not seen, by ${roundTo(map.crossL, 2)} L* (root mean square).`,
    `Tones that are set by it are alike to ± ${roundTo(map.reachL, 2)} L* (95 %) over the field.${
      map.reachL > ALIKE_L
        ? ' That is more than a careful eye forgives between two pockets: burn the chart once more, on other stock, and give both pictures to be learned together, or give pieces that must match the same pocket.'
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
  return tabulateBeams(profile, { grid, range: FIELD_RANGE, steps: RANGE_STEPS, lightnessesOf });
}

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
