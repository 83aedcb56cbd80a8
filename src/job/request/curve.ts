import { lightnessOfReflectance } from '../../colour/index.ts';
import {
  DERIVED_COVERAGES,
  fillDotTable,
  levelsOfScreen,
  listLevelCoverages,
  longestRange,
  mixYuleNielsen,
  type Profile,
  type Surface,
  type TonePoint,
  toneCurveOf,
} from '../../material/index.ts';
import { createPchip, keepLatest, regressCentredIsotonic } from '../../numeric/index.ts';
import { averageField, type DotGrid, type Dots, type DotTable, EVEN_FIELDS, type Plane } from '../../plane/index.ts';
import { predictLightness } from '../../proof/index.ts';
import { applyScreen, type ScreenName, takesStrength } from '../../screens/index.ts';
import type { JobSpec } from './types.ts';

/**
 * Steps of lightness closer than this are one, so that the correction can be inverted. Assumed: far below what is
 * measured.
 */
const SMALLEST_STEP_L = 1e-3;
/** A curve that ends so far beyond its solid has turned back, ΔL*. Assumed: less is the curve's own error. */
const TURN_MIN_L = 1;

interface Halftone {
  readonly screen: { readonly name: string; readonly options: Readonly<Record<string, string | number>> };
  readonly grid: DotGrid;
}

type PointsRequest = Pick<JobSpec, 'profile' | 'grid'> & Pick<Halftone, 'screen'>;

/** So many curves are kept, a count. Assumed: an order has few materials, and each machine one grid for each. */
const MOST_KNOWN = 16;
/** Curves by what they were asked for: the pieces of an order ask for the same ones again and again. */
const keepPoints = keepLatest<readonly TonePoint[]>(MOST_KNOWN);

/**
 * The tone curve of this job's screen and grid from a profile that was learned with others.
 * The response model predicts both; what the profile measured of its own then corrects the prediction: places of the
 * same predicted lightness are taken to look the same, and to have the lightness that the profile's curve gives there.
 */
export function predictPoints({ profile, grid, screen }: PointsRequest): readonly TonePoint[] {
  return keepPoints(JSON.stringify([profile, grid, screen]), () => computePoints({ profile, grid, screen }));
}

function computePoints({ profile, grid, screen }: PointsRequest): readonly TonePoint[] {
  const mayTurn = turnsBack(profile);
  const own = predictCurve(profile, profile, { mayTurn });
  const other = predictCurve(profile, { screen, grid }, { mayTurn });
  const curve = toneCurveOf(profile);
  const correct = createCorrection(own.map(({ coverage, lightness }) => [lightness, curve.lightnessAt(coverage)]));
  const spread = Math.max(profile.repeatability, ...profile.points.map((point) => point.spread));
  return keepMonotone(other.map(({ coverage, lightness }) => ({ coverage, lightness: correct(lightness), spread })));
}

/** Whether more dots than at the curve's end have turned the lightness back: the solid then lies before that end. */
function turnsBack({ points, bare, full }: Profile): boolean {
  return Math.sign(full[0] - bare[0]) * (points.at(-1)!.lightness - full[0]) > TURN_MIN_L;
}

export interface PredictCurveOptions {
  /**
   * The lightness may turn back before the solid, and the curve then ends where it does; it is made monotone otherwise.
   */
  readonly mayTurn?: boolean;
  /** Dots of a constant coverage, where a caller keeps them; screened anew when absent. */
  readonly halftone?: (coverage: Plane<'coverage'>) => Dots;
}

/** Predicted lightness of constant coverages; between the ends made monotone in the mark's direction. */
export function predictCurve(
  surface: Surface,
  { screen, grid }: Halftone,
  { mayTurn = false, halftone }: PredictCurveOptions = {},
): { coverage: number; lightness: number }[] {
  const table = fillDotTable(surface, grid);
  if (takesStrength({ ...screen.options, name: screen.name as ScreenName })) return listMarkTones(table);
  const levels = levelsOfScreen(screen);
  const coverages = levels > 2 ? listLevelCoverages(levels) : DERIVED_COVERAGES;
  const tones = coverages.map((coverage) => {
    const lightness = averageField(coverage, EVEN_FIELDS.job, {
      halftone: halftone ?? ((plane) => screenPlane(plane, { screen, grid })),
      meanOf: (dots, rect) => predictLightness(dots, { table, rect }),
    });
    return { coverage, lightness, deviation: 0 };
  });
  const { from, to } = mayTurn ? longestRange(tones) : { from: 0, to: 1 };
  const used = tones.filter(({ coverage }) => coverage >= from && coverage <= to);
  const [first, last] = [used[0]!, used.at(-1)!];
  const sign = last.lightness > first.lightness ? 1 : -1;
  const inner = used.slice(1, -1);
  const { x, y } = regressCentredIsotonic(
    inner.map(({ coverage }) => coverage),
    inner.map(({ lightness }) => sign * lightness),
  );
  return [
    { coverage: first.coverage, lightness: first.lightness },
    ...Array.from(x, (coverage, i) => ({ coverage, lightness: sign * y[i]! })),
    { coverage: last.coverage, lightness: last.lightness },
  ];
}

function screenPlane(plane: Plane<'coverage'>, { screen, grid }: Halftone): Dots {
  return applyScreen(plane, { ...screen.options, name: screen.name as ScreenName, grid });
}

/** Screens each constant coverage once and keeps its dots: they do not change with the surface. */
export function keepHalftones(asked: Halftone): (coverage: Plane<'coverage'>) => Dots {
  const kept = new Map<number, Dots>();
  return (plane) => {
    const coverage = plane.data[0]!;
    const dots = kept.get(coverage) ?? screenPlane(plane, asked);
    kept.set(coverage, dots);
    return dots;
  };
}

/**
 * Screens that hold the tone of the marks take the wanted strength for coverage: their curve is the mixing, and no
 * dots.
 */
export function listMarkTones(table: DotTable): { coverage: number; lightness: number }[] {
  const { bareLuminance: bare, fullLuminance: full, yuleNielsenN: n, strength } = table;
  const solid = strength[strength.length - 1]!;
  return DERIVED_COVERAGES.map((coverage) => ({
    coverage,
    lightness: lightnessOfReflectance(mixYuleNielsen(coverage * solid, { bare, full, n })),
  }));
}

/** From predicted to measured lightness: a monotone cubic, with the end's offset beyond the ends. */
function createCorrection(
  pairs: readonly (readonly [predicted: number, measured: number])[],
): (predicted: number) => number {
  const rising = [...pairs].sort((a, b) => a[0] - b[0]);
  const apart = rising.filter(([predicted], i) => i === 0 || predicted - rising[i - 1]![0] > SMALLEST_STEP_L);
  const map = createPchip(
    apart.map(([predicted]) => predicted),
    apart.map(([, measured]) => measured),
  );
  const [low, high] = [apart[0]!, apart.at(-1)!];
  return (predicted) => {
    if (predicted <= low[0]) return predicted - low[0] + low[1];
    if (predicted >= high[0]) return predicted - high[0] + high[1];
    return map.valueAt(predicted);
  };
}

/** Drops points that do not go on in the direction of the ends; bare and solid stay. */
export function keepMonotone(points: readonly TonePoint[]): TonePoint[] {
  const sign = points.at(-1)!.lightness > points[0]!.lightness ? 1 : -1;
  const end = sign * points.at(-1)!.lightness;
  const kept = [points[0]!];
  for (const point of points.slice(1, -1)) {
    const value = sign * point.lightness;
    if (value > sign * kept.at(-1)!.lightness + SMALLEST_STEP_L && value < end - SMALLEST_STEP_L) kept.push(point);
  }
  return [...kept, points.at(-1)!];
}
