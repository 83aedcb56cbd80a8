import { type ChartLayout, drawChart, type Reading } from '../../chart/index.ts';
import { type BareHandling, delayOfOffset, listBackLines } from '../../machine/index.ts';
import { invertPositiveDefinite, student95 } from '../../numeric/index.ts';

/** How far lines burned back land from those burned there, along the scan: to the right is above 0. */
export interface TwoWayOffset {
  readonly offsetUm: number;
  /** 95 % interval. */
  readonly lowUm: number;
  readonly highUm: number;
  /** Speed of the chart: what comes of a delay grows with it, what comes of the mechanics does not. */
  readonly speedMmPerS: number;
  /** How late the beam would fire to give the offset, µs: both ways it then lands too far along its own way. */
  readonly delayUs: number;
}

/**
 * Readings, and harmonics, that an interval needs beside its unknowns, a count. Assumed: fewer do not show their own
 * scatter.
 */
const LEAST_SPARE = 3;
/** Scatter of a tone over bare, a share. Assumed: no scan of eight bits tells a patch's mean more finely than this. */
const LEAST_DEVIATION = 1e-6;
/**
 * Harmonics that are read, a share of the period in dots. Measured on eleven virtual materials and offsets an eighth of
 * a dot apart (`benchmarks/two-way.ts`): the higher ones of a sharp threshold alias into these by less than a tenth of
 * a dot.
 */
const HARMONICS_OF_PERIOD = 1 / 4;
/**
 * Dots either way that a reading may be off. Measured (`benchmarks/two-way.ts`): a centre that is none, found where
 * something beside the offset shapes the tone, was 0.4 dots off and told with 0.37 and more; right ones with less than
 * 0.36, but for a law that saturates.
 */
const MOST_REACH = 0.35;
/** Steps of the search for the centre, dots. Assumed: a hundredth of what is to be told. */
const SEARCH_STEP = 0.002;
/**
 * How far from even the change of tone must lie to tell a centre from half a period on, a share. Measured
 * (`benchmarks/two-way.ts`): 0.23 and more where a material tells it, less where its grain hides it.
 */
const LEAST_CONCENTRATION = 0.2;
/**
 * Dots that a reading may be off, 95 %, for each part of the tone's change that the harmonics beyond those read hold:
 * they go on beyond what moves of whole dots tell apart. Measured (`benchmarks/two-way.ts`): without it the intervals
 * of six readings in sixty were too narrow, all but one at sharp thresholds; with it none.
 */
const UNSEEN_DOTS = 1.15;
/** Points a dot at which the shape is looked at. Assumed: no harmonic that is read turns within one. */
const SHAPE_STEP = 0.25;

interface Told {
  /** How far the lines that run back are moved, dots. */
  readonly moved: number;
  readonly mean: number;
}

/**
 * The offset by a vernier: narrow columns of which every other line is moved by a whole number of dots. Lines there and
 * back with their ways exchanged are the same picture, so that the mean tone over the moves is symmetric about the move
 * that takes the offset back, whatever the material's law. The centre is where the harmonics of the tone are most
 * nearly all cosines. Half a period on they are so, too: columns that stand far apart do not touch each other, so the
 * centre is the one about which the tone changes, and the other lies within the even part.
 * Offsets of half a period (8 dots) and more are taken for smaller ones. Undefined where the chart has no vernier, or
 * it does not tell.
 */
export function readTwoWay(
  readings: readonly Reading[],
  layout: ChartLayout,
  bare?: BareHandling,
): TwoWayOffset | undefined {
  const told = readVernier(readings, layout, bare);
  return typeof told === 'string' ? undefined : told;
}

/** Why a chart whose vernier tells nothing does not. Undefined where it has no vernier, or tells. */
export function explainTwoWay(
  readings: readonly Reading[],
  layout: ChartLayout,
  bare?: BareHandling,
): WhyUntold | undefined {
  const told = readVernier(readings, layout, bare);
  return typeof told === 'string' ? told : undefined;
}

/**
 * The chart was drawn without one of the moves, one of them could not be read, scatter hides how the tone changes, or
 * it changes otherwise than by the offset alone.
 */
export type WhyUntold = 'drawn-without' | 'unread' | 'hidden' | 'disagreeing';

function readVernier(
  readings: readonly Reading[],
  layout: ChartLayout,
  bare: BareHandling | undefined,
): TwoWayOffset | WhyUntold | undefined {
  const drawn = layout.patches.filter(({ pattern }) => pattern.kind === 'vernier');
  const [first] = drawn;
  if (first?.pattern.kind !== 'vernier') return undefined;
  const { period } = first.pattern;
  const runsBack = findRunsBack(layout, bare);
  // Without all moves the higher harmonics are taken for lower ones: measured, a centre up to 0.45 dots off.
  if (countMoves(drawn, { period, runsBack }) < period) return 'drawn-without';
  const verniers = readings.filter(({ pattern }) => pattern.kind === 'vernier');
  if (countMoves(verniers, { period, runsBack }) < period) return 'unread';
  const told = verniers.map(({ mean, ...one }): Told => ({ moved: movedOf(one, runsBack), mean }));
  const count = Math.floor(period * HARMONICS_OF_PERIOD);
  const spare = told.length - 2 * count - 1;
  // Of the sines, one goes into the centre.
  const spareSines = count - 1;
  const measured = Math.min(spare, spareSines) < LEAST_SPARE ? undefined : measureHarmonics(told, { count, period });
  if (!measured) return 'hidden';
  const { harmonics } = measured;
  const scatter = scatterOf(told, { ...measured, period, spare });
  const centre = findCentre(harmonics, period);
  if (centre === undefined) return 'hidden';
  // How fast the sines grow beside the centre, in their own errors: what one reading's scatter moves it by.
  const growth = sumOf(
    harmonics,
    (one) => (phaseRate(one, period) * cosineAt(one, { centre, period })) ** 2 / one.variance,
  );
  // What is not symmetric by more than scatter is no vernier's fault alone: it widens the interval by as much. So few
  // sines tell it that their own chance counts, by Student's distribution.
  const odd = Math.sqrt(oddOf(harmonics, { centre, period }) / spareSines);
  const deviation = Math.max(scatter.deviation, LEAST_DEVIATION);
  const scatterDots = (student95(scatter.degrees) * deviation) / Math.sqrt(growth);
  const oddDots = (student95(spareSines) * odd) / Math.sqrt(growth);
  const reachDots = Math.hypot(Math.max(scatterDots, oddDots), UNSEEN_DOTS * measureTail(told, { count, period }));
  if (!(reachDots <= MOST_REACH)) return scatterDots <= MOST_REACH ? 'disagreeing' : 'hidden';
  const dotUm = layout.grid.pitchMm * 1000;
  const offsetUm = 0 - centre * dotUm;
  const reach = reachDots * dotUm;
  const { speedMmPerS } = layout.settings;
  const delayUs = delayOfOffset(offsetUm, speedMmPerS);
  return { offsetUm, lowUm: offsetUm - reach, highUm: offsetUm + reach, speedMmPerS, delayUs };
}

type VernierPatch = Pick<Reading, 'id' | 'pattern'>;

/** In a patch that begins with a line that runs back, the moved lines are those that run there. */
function movedOf({ id, pattern }: VernierPatch, runsBack: (id: string) => boolean): number {
  if (pattern.kind !== 'vernier') throw new RangeError(`${id} is no vernier`);
  return runsBack(id) ? -pattern.shift : pattern.shift;
}

const countMoves = (
  patches: readonly VernierPatch[],
  { period, runsBack }: { readonly period: number; readonly runsBack: (id: string) => boolean },
): number => new Set(patches.map((one) => modulo(movedOf(one, runsBack), period))).size;

/** Whether the first line of a patch runs back: lines turn at each that fires, or at every one. */
function findRunsBack(layout: ChartLayout, bare: BareHandling | undefined): (id: string) => boolean {
  const back = listBackLines(
    drawChart(layout, () => {
      throw new RangeError('a chart with a vernier has no screened patches');
    }),
    bare,
  );
  const rowOf = new Map(layout.patches.map(({ id, yDots }) => [id, yDots]));
  return (id) => back[rowOf.get(id)!] === 1;
}

interface Harmonic {
  readonly order: number;
  readonly cosine: number;
  readonly sine: number;
  /** Of either, in variances of a reading. */
  readonly variance: number;
}

const modulo = (value: number, by: number) => ((value % by) + by) % by;
const phaseRate = ({ order }: Harmonic, period: number) => (2 * Math.PI * order) / period;
const sumOf = <T>(list: readonly T[], of: (one: T, at: number) => number) =>
  list.reduce((sum, one, at) => sum + of(one, at), 0);

/**
 * Harmonics of the tone over the moves by least squares: where a patch begins with a line that runs back is chance, so
 * that a move may have more readings than another, or none.
 */
function measureHarmonics(
  told: readonly Told[],
  { count, period }: { readonly count: number; readonly period: number },
): { readonly level: number; readonly harmonics: readonly Harmonic[] } | undefined {
  const rows = told.map(({ moved }) => [
    1,
    ...Array.from({ length: count }, (_, at) => (2 * Math.PI * (at + 1) * moved) / period).flatMap((angle) => [
      Math.cos(angle),
      Math.sin(angle),
    ]),
  ]);
  const inverse = invertPositiveDefinite(
    rows[0]!.map((_, i) => rows[0]!.map((_, j) => sumOf(rows, (row) => row[i]! * row[j]!))),
  )?.inverse;
  if (!inverse) return undefined;
  const projected = rows[0]!.map((_, at) => sumOf(told, ({ mean }, of) => mean * rows[of]![at]!));
  const solved = inverse.map((row) => sumOf(row, (value, at) => value * projected[at]!));
  const harmonics = Array.from({ length: count }, (_, at) => {
    const [cosine, sine] = [2 * at + 1, 2 * at + 2] as const;
    return {
      order: at + 1,
      cosine: solved[cosine]!,
      sine: solved[sine]!,
      variance: (inverse[cosine]![cosine]! + inverse[sine]![sine]!) / 2,
    };
  });
  return { level: solved[0]!, harmonics };
}

/** Size of the harmonics beyond those that are read, by how fast the tone changes in these. */
function measureTail(
  told: readonly Told[],
  { count, period }: { readonly count: number; readonly period: number },
): number {
  // All but the last, whose sine no move tells.
  const all = measureHarmonics(told, { count: period / 2 - 1, period })?.harmonics ?? [];
  const meanOf = (list: readonly Harmonic[], weigh: (one: Harmonic) => number) =>
    Math.sqrt(sumOf(list, (one) => weigh(one) ** 2 * (one.cosine ** 2 + one.sine ** 2)) / list.length);
  const read = meanOf(all.slice(0, count), ({ order }) => order);
  return meanOf(all.slice(count), () => 1) / read;
}

interface About {
  readonly centre: number;
  readonly period: number;
}

/** Parts of a harmonic that are symmetric and antisymmetric about a centre. */
function cosineAt(one: Harmonic, { centre, period }: About): number {
  const angle = phaseRate(one, period) * centre;
  return one.cosine * Math.cos(angle) + one.sine * Math.sin(angle);
}

function sineAt(one: Harmonic, { centre, period }: About): number {
  const angle = phaseRate(one, period) * centre;
  return one.sine * Math.cos(angle) - one.cosine * Math.sin(angle);
}

/** How much is antisymmetric about a centre, in variances of a reading. */
const oddOf = (harmonics: readonly Harmonic[], about: About): number =>
  sumOf(harmonics, (one) => sineAt(one, about) ** 2 / one.variance);

/** Dots from no move, within half a period either way; undefined where it could as well be half a period on. */
function findCentre(harmonics: readonly Harmonic[], period: number): number | undefined {
  const half = period / 2;
  let best = { centre: 0, odd: Number.POSITIVE_INFINITY };
  for (let centre = 0; centre < half; centre += SEARCH_STEP) {
    const odd = oddOf(harmonics, { centre, period });
    if (odd < best.odd) best = { centre, odd };
  }
  const share = concentrate(harmonics, { centre: best.centre, period });
  if (Math.abs(share) < LEAST_CONCENTRATION) return undefined;
  return share > 0 ? best.centre : best.centre - half;
}

/** Where the tone changes: 1 all about the centre, −1 all half a period on. */
function concentrate(harmonics: readonly Harmonic[], about: About): number {
  const { period } = about;
  let sum = 0;
  let all = 0;
  for (let from = -period / 2; from < period / 2; from += SHAPE_STEP) {
    const rate = sumOf(harmonics, (one) => {
      const speed = phaseRate(one, period);
      return speed * cosineAt(one, about) * Math.sin(speed * from);
    });
    sum += rate ** 2 * Math.cos((2 * Math.PI * from) / period);
    all += rate ** 2;
  }
  return all > 0 ? sum / all : 0;
}

interface Scatter {
  readonly deviation: number;
  /** Degrees of freedom that tell it. */
  readonly degrees: number;
}

/**
 * Scatter of one reading: of replicates about their mean where every move has some, else of all about the harmonics.
 */
function scatterOf(
  told: readonly Told[],
  {
    level,
    harmonics,
    period,
    spare,
  }: {
    readonly level: number;
    readonly harmonics: readonly Harmonic[];
    readonly period: number;
    readonly spare: number;
  },
): Scatter {
  const groups = new Map<number, number[]>();
  for (const { moved, mean } of told) {
    const key = modulo(moved, period);
    groups.set(key, [...(groups.get(key) ?? []), mean]);
  }
  const free = told.length - groups.size;
  if (free >= period / 2) {
    const average = (list: readonly number[]) => sumOf(list, (one) => one) / list.length;
    const squares = sumOf([...groups.values()], (list) => sumOf(list, (one) => (one - average(list)) ** 2));
    return { deviation: Math.sqrt(squares / free), degrees: free };
  }
  const squares = sumOf(told, ({ moved, mean }) => {
    const expected = sumOf(harmonics, (one) => {
      const angle = phaseRate(one, period) * moved;
      return one.cosine * Math.cos(angle) + one.sine * Math.sin(angle);
    });
    return (mean - level - expected) ** 2;
  });
  return { deviation: Math.sqrt(squares / spare), degrees: spare };
}
