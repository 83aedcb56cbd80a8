import { compareSettings, type Profile, tellMarkDiametersUm, toneCurveOf } from '../../material/index.ts';

/** Two profiles at one coverage. */
export interface ToneDifference {
  readonly coverage: number;
  readonly lightnessA: number;
  readonly lightnessB: number;
  /** B less A, ΔL*. */
  readonly delta: number;
  /** Coverage with which B gives the lightness that A has here; null where B cannot. */
  readonly coverageInB: number | null;
}

export interface ProfileComparison {
  readonly a: string;
  readonly b: string;
  readonly rows: readonly ToneDifference[];
  /** Mean of |ΔL*| along coverage, and the largest with its coverage. */
  readonly meanDelta: number;
  readonly worstDelta: number;
  readonly worstCoverage: number;
  /** The same after both are drawn onto the range 0 … 1 from bare to full: what differs in shape alone, in ΔL* of A. */
  readonly meanShapeDelta: number;
  readonly worstShapeDelta: number;
  /** Standard deviation of a difference that scatter alone explains, ΔL*. */
  readonly scatter: number;
  readonly bareDelta: number;
  readonly fullDelta: number;
  readonly markWidthUm: { readonly a: readonly [number, number]; readonly b: readonly [number, number] };
  /** What else differs: machine, grid, screen, settings. */
  readonly notes: readonly string[];
}

/**
 * Steps in which means and worst are taken, and rows of the table. Counts. Assumed: a percent of coverage is finer than
 * curves bend; 21 rows are read at a glance.
 */
const FINE = 100;
const ROWS = 20;

/** How two profiles differ along coverage. */
export function compareProfiles(a: Profile, b: Profile): ProfileComparison {
  const curveA = toneCurveOf(a);
  const curveB = toneCurveOf(b);
  const [bareA, fullA] = [curveA.lightnessAt(0), curveA.lightnessAt(1)];
  const [bareB, fullB] = [curveB.lightnessAt(0), curveB.lightnessAt(1)];
  const at = (coverage: number): ToneDifference => {
    const lightnessA = curveA.lightnessAt(coverage);
    const lightnessB = curveB.lightnessAt(coverage);
    const within = lightnessA >= curveB.darkest - 1e-9 && lightnessA <= curveB.lightest + 1e-9;
    return {
      coverage,
      lightnessA,
      lightnessB,
      delta: lightnessB - lightnessA,
      coverageInB: within ? curveB.coverageAt(lightnessA) : null,
    };
  };
  const fine = Array.from({ length: FINE + 1 }, (_, i) => at(i / FINE));
  const worst = fine.reduce((one, other) => (Math.abs(other.delta) > Math.abs(one.delta) ? other : one));
  const shape = fine.map(({ lightnessA, lightnessB }) =>
    Math.abs(((lightnessB - bareB) / (fullB - bareB)) * (fullA - bareA) + bareA - lightnessA),
  );
  const marksA = tellMarkDiametersUm(a);
  const marksB = tellMarkDiametersUm(b);
  return {
    a: a.name,
    b: b.name,
    rows: fine.filter((_, i) => i % (FINE / ROWS) === 0),
    meanDelta: fine.reduce((sum, { delta }) => sum + Math.abs(delta), 0) / fine.length,
    worstDelta: Math.abs(worst.delta),
    worstCoverage: worst.coverage,
    meanShapeDelta: shape.reduce((sum, delta) => sum + delta, 0) / shape.length,
    worstShapeDelta: Math.max(...shape),
    scatter: Math.hypot(a.repeatability, b.repeatability),
    bareDelta: bareB - bareA,
    fullDelta: fullB - fullA,
    markWidthUm: { a: [marksA.xUm, marksA.yUm], b: [marksB.xUm, marksB.yUm] },
    notes: listDifferences(a, b),
  };
}

function listDifferences(a: Profile, b: Profile): string[] {
  const machine = { name: b.machine, wavelengthNm: 0, focalLengthMm: 0 };
  const words = { uses: `"${b.name}" uses`, now: 'there' };
  const { grid, screen, settings } = b;
  const notes = compareSettings(a, { machine, grid, screen, settings, words }).map(({ message }) => message);
  if (a.material !== b.material) notes.push(`The materials differ: ${a.material} and ${b.material}`);
  if (a.direction !== b.direction)
    notes.push(`The marks run in opposite directions: ${a.direction} and ${b.direction}`);
  return notes;
}
