import { reflectanceOfLightness } from '../../colour/index.ts';
import { DERIVED_COVERAGES, type HeatFit, knowsHeat, type TonePoint, toneCurveOf } from '../../material/index.ts';
import { createPchip, keepLatest } from '../../numeric/index.ts';
import { createPlane, type DotOrientation, ONE, type Plane } from '../../plane/index.ts';
import { tonesUnderDoses } from '../request/beam-shift.ts';
import type { JobSpec } from '../request/types.ts';

/** What a job's heat hangs on. */
export type HeatRequest = Pick<JobSpec, 'profile' | 'grid' | 'screen' | 'levels' | 'settings' | 'orientation'>;

/**
 * What heat that earlier dots leave does to each coverage, and what mends it. The curve holds the heat of an even
 * field; what is told here is a dot's dose against that, one number r for each dot: its warmth is what lies before it
 * on its line and in the lines above, faded, and r is 0 where all of that is as dark as itself.
 */
export interface HeatPlan {
  readonly heat: HeatFit;
  /** What is left of the heat one dot on, and one line on. */
  readonly keepAlong: number;
  readonly keepAcross: number;
  readonly scan: 'one-way' | 'two-way';
  readonly orientation: DotOrientation | undefined;
  /** By coverage 0 … ONE: the share of dots that fire, and 1 over its dose in an even field. */
  readonly share: Float32Array;
  readonly perDose: Float32Array;
  /** Change of coverage, in units of ONE, that mends r: so much for r and so much for its square. */
  readonly mend: readonly [first: Float32Array, second: Float32Array];
  /** Change of reflectance that r makes. */
  readonly seen: readonly [first: Float32Array, second: Float32Array];
}

/** What heat makes of a piece; on the ticket. */
export interface HeatFacts {
  /** Gain of dose in a solid, shares, and how far its heat reaches, mm. */
  readonly along: number;
  readonly across: number;
  readonly lengthMm: number;
  readonly note: string;
}

/** Places of a curve between which a table is straight, a count. Assumed: finer than a curve's own points. */
const NODES = 129;
/** By which part of the range a curve's end is taken to go on straight. Share. Assumed: the last points are steady. */
const END_SHARE = 0.02;
/** Halvings of a search for a coverage, a count. Exact: beyond the 15 bits of a coverage. */
const HALVINGS = 24;
/** Plans that are kept, a count. Assumed: a page looks at a photo again and again, and an order has few materials. */
const MOST_KEPT = 4;
const keepPlans = keepLatest<HeatPlan>(MOST_KEPT);

/** Undefined where the profile tells of no heat. @param points the job's own tone curve */
export function planHeat(spec: HeatRequest, points: readonly TonePoint[]): HeatPlan | undefined {
  const { profile, grid, screen, levels, settings, orientation } = spec;
  const { heat } = profile;
  if (!heat || !knowsHeat(profile)) return undefined;
  const { response, bare, full } = profile;
  const known = [heat, response, bare, full, grid, screen.name, screen.options, levels, settings.scan, orientation];
  return keepPlans(JSON.stringify([known, points]), () => computePlan(spec, { heat, points }));
}

function computePlan(
  spec: HeatRequest,
  { heat, points }: { readonly heat: HeatFit; readonly points: readonly TonePoint[] },
): HeatPlan {
  const { grid, settings, orientation } = spec;
  const total = heat.along + heat.across;
  // Half of the largest change there is to either side: what lies beyond goes on as a parabola.
  const step = total / 2;
  const { tones, shareAt } = tonesUnderDoses(spec, [1 - step, 1, 1 + step]);
  const share = tabulateCoverages(shareAt);
  const [weaker, stronger] = [tones[0]!, tones[2]!].map((one) =>
    createPchip(
      DERIVED_COVERAGES,
      one.map((lightness, at) => lightness - tones[1]![at]!),
    ),
  ) as [ReturnType<typeof createPchip>, ReturnType<typeof createPchip>];
  const curve = goOn(points);
  const mended = [weaker, stronger].map((shift) => findMends(curve, shift.valueAt));
  const seen = [weaker, stronger].map(
    (shift) => (coverage: number) =>
      reflectanceOfLightness(Math.max(0, curve.lightnessAt(coverage) + shift.valueAt(coverage))) -
      reflectanceOfLightness(Math.max(0, curve.lightnessAt(coverage))),
  );
  const parabola = (below: (coverage: number) => number, above: (coverage: number) => number, unit: number) =>
    [
      tabulateCoverages((coverage) => (unit * (above(coverage) - below(coverage))) / (2 * step)),
      tabulateCoverages((coverage) => (unit * (above(coverage) + below(coverage))) / (2 * step * step)),
    ] as const;
  return {
    heat,
    keepAlong: Math.exp(-grid.pitchMm / heat.lengthMm),
    keepAcross: Math.exp(-grid.lineSpacingMm / heat.lengthMm),
    scan: settings.scan,
    orientation,
    share,
    perDose: share.map((one) => 1 / (1 + total * one)),
    mend: parabola(mended[0]!, mended[1]!, ONE),
    seen: parabola(seen[0]!, seen[1]!, 1),
  };
}

/** A function of coverage at all its values, straight between some of them. */
function tabulateCoverages(valueAt: (coverage: number) => number): Float32Array {
  const nodes = Float64Array.from({ length: NODES }, (_, at) => valueAt(at / (NODES - 1)));
  return Float32Array.from({ length: ONE + 1 }, (_, value) => {
    const at = (value / ONE) * (NODES - 1);
    const node = Math.min(NODES - 2, Math.floor(at));
    return nodes[node]! + (at - node) * (nodes[node + 1]! - nodes[node]!);
  });
}

interface GoingOn {
  readonly end: number;
  readonly sign: number;
  readonly lightnessAt: (coverage: number) => number;
}

/** The tone curve, going on straight beyond its end: what cannot be reached is cut off when all is known. */
function goOn(points: readonly TonePoint[]): GoingOn {
  const { lightnessAt } = toneCurveOf({ points });
  const [first, last] = [points[0]!, points.at(-1)!];
  const end = last.coverage;
  const before = end - END_SHARE * (end - first.coverage);
  const slope = (last.lightness - lightnessAt(before)) / (end - before);
  return {
    end,
    sign: Math.sign(last.lightness - first.lightness),
    lightnessAt: (coverage) => (coverage <= end ? lightnessAt(coverage) : last.lightness + slope * (coverage - end)),
  };
}

/** Change of coverage that gives the lightness of an even field where the dose shifts all lightnesses. */
function findMends({ end, sign, lightnessAt }: GoingOn, shiftAt: (coverage: number) => number) {
  return (coverage: number): number => {
    const own = Math.min(coverage, end);
    if (own <= 0) return 0;
    const wanted = sign * lightnessAt(own);
    let [low, high] = [0, 1 + end];
    for (let step = 0; step < HALVINGS; step++) {
      const middle = (low + high) / 2;
      if (sign * (lightnessAt(middle) + shiftAt(Math.min(1, middle))) < wanted) low = middle;
      else high = middle;
    }
    return (low + high) / 2 - own;
  };
}

/**
 * Coverage that leaves the wanted tones where heat makes dots burn more or less than an even field of their own
 * coverage: fewer dots where the beam comes out of what is darker, more where it comes out of what is bare. Lines above
 * count as they are mended, the line itself as it is wanted. Bare stays bare, and no dot fires more than always.
 */
export function mendHeat(coverage: Plane<'coverage'>, plan: HeatPlan): Plane<'coverage'> {
  const out = createPlane('coverage', coverage.width, coverage.height);
  const [first, second] = plan.mend;
  walkHeat(coverage, {
    plan,
    warm: out,
    visit: (values, warmth, places) => {
      for (let i = 0; i < values.length; i++) {
        const value = values[i]!;
        const r = warmth[i]!;
        const mended = value + r * (first[value]! + r * second[value]!) + 0.5;
        out.data[places.from + i * places.step] = value === 0 || mended < 0 ? 0 : Math.min(ONE, mended | 0);
      }
    },
  });
  return out;
}

/** What is seen of dots of a coverage with the heat that they leave to one another, from what would be seen without. */
export function seeWithHeat(
  seen: Plane<'reflectance'>,
  heat: { readonly plan: HeatPlan; readonly coverage: Plane<'coverage'> } | undefined,
): Plane<'reflectance'> {
  if (!heat) return seen;
  const { plan, coverage } = heat;
  const { width, height, data } = seen;
  const sums = new Float32Array(data.length);
  const counts = new Float32Array(data.length);
  const columns = cellsAlong(coverage.width, width);
  const rows = cellsAlong(coverage.height, height);
  const [first, second] = plan.seen;
  walkHeat(coverage, {
    plan,
    warm: coverage,
    visit: (values, warmth, { from, step }) => {
      let x = from % coverage.width;
      let y = (from - x) / coverage.width;
      const [byX, byY] = Math.abs(step) < coverage.width ? [step, 0] : [0, step / coverage.width];
      for (let i = 0; i < values.length; i++, x += byX, y += byY) {
        const value = values[i]!;
        const r = warmth[i]!;
        const cell = rows[y]! * width + columns[x]!;
        sums[cell] = sums[cell]! + r * (first[value]! + r * second[value]!);
        counts[cell] = counts[cell]! + 1;
      }
    },
  });
  const out = createPlane('reflectance', width, height);
  for (let i = 0; i < data.length; i++) out.data[i] = Math.max(0, data[i]! + sums[i]! / Math.max(1, counts[i]!));
  return out;
}

const cellsAlong = (dots: number, cells: number) =>
  Uint32Array.from({ length: dots }, (_, at) => Math.min(cells - 1, Math.floor(((at + 0.5) * cells) / dots)));

interface Places {
  /** Where the line's first dot lies in the plane, and how far on the next. */
  readonly from: number;
  readonly step: number;
}

interface Walk {
  readonly plan: HeatPlan;
  /** Coverage by which lines that were visited leave heat. */
  readonly warm: Plane<'coverage'>;
  /** @param warmth r of each dot of the line */
  readonly visit: (values: Uint16Array, warmth: Float32Array, places: Places) => void;
}

/**
 * Goes over the lines as the machine burns them, whatever way the piece is looked at. Lines there and back are taken as
 * the mean of both: two neighbours are seen as one, and which of them runs back depends on what is bare above.
 */
function walkHeat(coverage: Plane<'coverage'>, { plan, warm, visit }: Walk): void {
  const { heat, keepAlong, keepAcross, scan, share, perDose } = plan;
  const { origin, along, across, count, lines } = layLines(coverage, plan.orientation);
  const values = new Uint16Array(count);
  const warmth = new Float32Array(count);
  const carried = new Float32Array(count);
  const both = scan === 'two-way';
  for (let line = 0; line < lines; line++) {
    const from = origin + line * across;
    for (let i = 0; i < count; i++) values[i] = coverage.data[from + i * along]!;
    passLine(warmth, { values, share, keep: keepAlong, gain: both ? heat.along / 2 : heat.along, back: false });
    if (both) passLine(warmth, { values, share, keep: keepAlong, gain: heat.along / 2, back: true });
    for (let i = 0; i < count; i++) {
      warmth[i] = (1 + warmth[i]! + heat.across * carried[i]!) * perDose[values[i]!]! - 1;
    }
    visit(values, warmth, { from, step: along });
    for (let i = 0; i < count; i++) {
      carried[i] = keepAcross * carried[i]! + (1 - keepAcross) * share[warm.data[from + i * along]!]!;
    }
  }
}

interface LinePass {
  readonly values: Uint16Array;
  readonly share: Float32Array;
  readonly keep: number;
  readonly gain: number;
  /** From the end to the beginning, added to what is there. */
  readonly back: boolean;
}

/** Gain of dose of each dot by those before it on its line. */
function passLine(warmth: Float32Array, { values, share, keep, gain, back }: LinePass): void {
  const fresh = gain * (1 - keep);
  let warm = 0;
  if (back) {
    for (let i = values.length - 1; i >= 0; i--) {
      warmth[i] = warmth[i]! + warm;
      warm = keep * warm + fresh * share[values[i]!]!;
    }
    return;
  }
  for (let i = 0; i < values.length; i++) {
    warmth[i] = warm;
    warm = keep * warm + fresh * share[values[i]!]!;
  }
}

/** Where the lines of the bitmap lie in the piece as it is looked at, see `orientDots`. */
function layLines({ width, height }: Plane<'coverage'>, orientation: DotOrientation | undefined) {
  let [origin, along, across, count, lines] = [0, 1, width, width, height];
  if (orientation?.mirrored) [origin, along] = [width - 1, -1];
  for (let deg = 0; deg < (orientation?.turnedDeg ?? 0); deg += 90) {
    [origin, along, across] = [origin + (lines - 1) * across, -across, along];
    [count, lines] = [lines, count];
  }
  return { origin, along, across, count, lines };
}
