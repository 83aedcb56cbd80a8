import type { DotGrid } from '../plane/index.ts';
import { clusterSides } from './clusters.ts';
import { MAX_RUN } from './options.ts';
import type { ScreenName, ScreenOptions } from './types.ts';

/** What is known of a material and a machine when a screen is to be chosen. */
export interface ScreenFacts {
  readonly grid: DotGrid;
  /** Dose levels per dot. */
  readonly levels: number;
  /** Whether what levels leave was measured, and not taken in proportion. */
  readonly knowsLevels?: boolean;
  /** Whether the marks of dots are known from a profile, and not assumed. */
  readonly knowsMarks: boolean;
  /** Strength that a lone dot leaves, of what it would add to a solid. */
  readonly loneStrength: number;
  /** Standard deviation of one patch between places of a piece, ΔL*. */
  readonly repeatability: number;
  /** Fewest dots along a scan line for which the machine's beam can stay on, or off; 1: each dot. */
  readonly shortestRun: number;
}

export interface ChosenScreen {
  readonly name: ScreenName;
  readonly options: Partial<ScreenOptions>;
  /** In one or two sentences, with the numbers that decided. */
  readonly reason: string;
}

/** Assumed: scatter between places that is let pass before dots are put together, ΔL*. */
const STEADY_DELTA_L = 2;
/** Assumed: a lone dot that leaves less than this of its share comes and goes with the material. */
const LEAST_LONE = 0.4;
/**
 * Dots of a cluster from which on clusters are better in fixed places than spread. A count. Assumed: 3 × 3 dots still
 * spread evenly; larger clusters have few places to choose from.
 */
const LARGEST_SPREAD = 9;

/**
 * Dots that must lie together on a material, 1 … 64. The scatter of a tone is that of the marks' edges, and a cluster
 * of N dots has a √N of the edge per mark of N single dots, so its scatter is that much smaller: N = (scatter / 2
 * ΔL*)². And where a lone dot leaves less than two fifths of its share, four at least.
 */
export function smallestCluster({
  repeatability,
  loneStrength,
}: Pick<ScreenFacts, 'repeatability' | 'loneStrength'>): number {
  const steady = Math.ceil((repeatability / STEADY_DELTA_L) ** 2 - 1e-9);
  return Math.min(64, Math.max(1, steady, loneStrength < LEAST_LONE ? 4 : 1));
}

/** Fewest dots for which a beam that needs `switchingUs` for on or off can stay as it is at a speed; 1 … 32. */
export function shortestRun(
  switchingUs: number,
  { speedMmPerS, pitchMm }: { speedMmPerS: number; pitchMm: number },
): number {
  return Math.min(MAX_RUN, Math.max(1, Math.ceil((switchingUs * speedMmPerS) / 1e6 / pitchMm - 1e-9)));
}

/** What is taken where nothing asks for clusters, runs or levels of power. */
export const DISPERSED_SCREEN = 'ostromoukhov' satisfies ScreenName;

/**
 * The screen for a material on a machine, and why. In this order: modulated dots are counted where what they leave was
 * measured, and need no screen for their texture otherwise; what
 * cannot hold single dots gets clusters, spread while they are small, in fixed places when they are large; a beam that
 * is slow to switch gets runs; known marks are counted; with the screen whose ramps are the most even of those that
 * take one pass (benchmarks/ramps.ts).
 */
export function chooseScreen(facts: ScreenFacts): ChosenScreen {
  const { grid, levels, knowsLevels = false, knowsMarks, loneStrength, repeatability, shortestRun: run } = facts;
  if (levels > 2 && knowsLevels) {
    return {
      name: DISPERSED_SCREEN,
      options: { errorOf: 'marks' },
      reason: `The profile tells what ${levels} power levels per dot leave, so the error passed on is that of the marks.`,
    };
  }
  if (levels > 2) {
    return {
      name: 'zhou-fang',
      options: {},
      reason: `${levels} power levels per dot leave little texture: error diffusion without worms.`,
    };
  }
  const needed = smallestCluster(facts);
  if (needed > 1) {
    const scatter = `equal patches differ by ${round(repeatability)} ΔL* from place to place (more than ${STEADY_DELTA_L})`;
    const weak = `a lone dot leaves only ${Math.round(100 * loneStrength)} % of its share`;
    const why = `The material does not hold single dots: ${loneStrength < LEAST_LONE ? weak : scatter}, so at least ${needed} dots lie together.`;
    if (needed > LARGEST_SPREAD) {
      // At a quarter of the coverage each dot of the screen then has just so many dots.
      const periodMm = Math.sqrt(4 * needed * grid.pitchMm * grid.lineSpacingMm);
      return { name: 'clustered-dot', options: { linesPerCm: Number((10 / periodMm).toPrecision(3)) }, reason: why };
    }
    return { name: 'green-noise', options: { cluster: widen(needed, run, grid) }, reason: why };
  }
  const counted = knowsMarks ? { errorOf: 'marks' as const } : {};
  if (run > 1) {
    return {
      name: 'floyd-steinberg',
      options: { run, ...counted },
      reason: `The beam needs ${run} dots for on or off at this speed, so no run is shorter.`,
    };
  }
  return {
    name: DISPERSED_SCREEN,
    options: counted,
    reason: knowsMarks
      ? 'The profile tells what dots leave, so the error passed on is that of the marks, with the most even grain at every tone.'
      : 'Nothing is known of the marks: error diffusion with the most even grain at every tone.',
  };
}

/** Dots of a cluster that is also as wide as the shortest run. */
function widen(dots: number, run: number, grid: DotGrid): number {
  let cluster = dots;
  while (cluster < 64 && clusterSides(cluster, grid).width < run) cluster++;
  return cluster;
}

const round = (value: number) => Number(value.toFixed(1));
