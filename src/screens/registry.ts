import { AppError } from '../errors.ts';
import { keepLatest } from '../numeric/index.ts';
import { computeEyeBlurMm } from '../optics/index.ts';
import { type Dots, keepBytes, ONE, type Plane, type StrengthTable } from '../plane/index.ts';
import { generateBayer } from './bayer.ts';
import { clusterSides, widenMask } from './clusters.ts';
import { diffuseFixed } from './diffusion.ts';
import { searchDots } from './direct-search.ts';
import { createEdgeEnhancement } from './edge-enhancement.ts';
import { diffuseFloydSteinberg } from './floyd-steinberg.ts';
import {
  ATKINSON,
  BURKES,
  type DiffusionKernel,
  FLOYD_STEINBERG,
  JARVIS_JUDICE_NINKE,
  SIERRA,
  SIERRA_LITE,
  SIERRA_TWO_ROW,
  STUCKI,
} from './kernels.ts';
import { diffuseLevelMarks } from './level-diffusion.ts';
import { type LevelMarks, tabulateLevelMarks } from './level-marks.ts';
import { diffuseMarks } from './mark-diffusion.ts';
import { levelStrengths } from './mark-levels.ts';
import { type MarkSteps, tabulateMarkSteps } from './mark-steps.ts';
import { DEFAULT_OPTIONS, fillOptions } from './options.ts';
import { generateClusteredDot, generateLines, type PeriodicTile, periodOf } from './periodic.ts';
import { planSearch, type SearchPlan } from './search-plan.ts';
import { applyMask, createMask, type ThresholdMask } from './threshold-mask.ts';
import {
  type MarkTable,
  SCREEN_NAMES,
  type ScreenName,
  type ScreenOptions,
  type ScreenRecord,
  type ScreenRequest,
} from './types.ts';
import { diffuseVariable } from './variable-diffusion.ts';
import { OSTROMOUKHOV, type VariableKernel, ZHOU_FANG } from './variable-kernels.ts';
import { diffuseVariableMarks } from './variable-marks.ts';
import { generateVoidAndCluster } from './void-and-cluster.ts';
import { listWarmUpRows } from './warm-up-rows.ts';

type Named = Pick<ScreenRecord, 'name' | 'title' | 'goodFor'>;

/**
 * What a search may leave of the tone where the eye does not see it, coverage. Assumed: a bound that it keeps
 * (tests/screens/registry.test.ts).
 */
const SEARCH_TOLERANCE = 0.001;

/**
 * What the error lost at the edges may cost on a large plane, coverage. Assumed: a bound that every kernel keeps
 * (tests/screens/registry.test.ts).
 */
const DIFFUSION_TOLERANCE = 0.005;

const takesByError = ({ errorOf }: Partial<ScreenOptions>) => (errorOf === 'marks' ? 'strength' : 'coverage');

function fixedScreen({ name, title, goodFor }: Named, kernel: DiffusionKernel): ScreenRecord {
  return {
    name,
    title,
    goodFor,
    family: 'diffusion',
    source: kernel.source,
    uses: ['scan', 'levels', 'errorOf', 'edges', 'run'],
    defaults: { scan: 'serpentine', levels: 2, errorOf: 'dots', edges: 0, run: 1 },
    weightSum: kernel.weightSum,
    takes: takesByError,
    // What is not carried is at most half a level of error for every dot.
    toneTolerance: ({ levels }) => DIFFUSION_TOLERANCE + (1 - kernel.weightSum) / (2 * (levels - 1)),
    screen(coverage, { scan, levels: doses, errorOf, edges, run }, _grid, { marks }) {
      const start = listWarmUpRows(coverage);
      if (errorOf === 'marks' && doses > 2) {
        refuseLevels(edges > 0 || run > 1 ? doses : 2);
        return diffuseLevels(coverage, { kernel, scan, seed: 1, levels: doses }, marks);
      }
      if (errorOf === 'marks' || edges > 0 || run > 1) {
        refuseLevels(doses);
        const table = errorOf === 'marks' ? needMarks(marks) : ONE_DOT;
        const known = { kernel, scan, steps: stepsOf(table), run };
        const levels = levelsOf(table, [name, scan, run], (plane) =>
          diffuseMarks(plane, { ...known, start: listWarmUpRows(plane) }),
        );
        const enhancement = edges > 0 ? { modulationOf: createEdgeEnhancement(coverage, edges) } : {};
        return diffuseMarks(coverage, { ...known, start, ...levels, ...enhancement });
      }
      return kernel === FLOYD_STEINBERG && doses === 2
        ? diffuseFloydSteinberg(coverage, { scan, start })
        : diffuseFixed(coverage, { kernel, scan, levels: doses, start });
    },
  };
}

function variableScreen({ name, title, goodFor }: Named, kernel: VariableKernel): ScreenRecord {
  const isModulated = kernel.modulation.some(([, percent]) => percent > 0);
  return {
    name,
    title,
    goodFor,
    family: 'diffusion',
    source: kernel.source,
    uses: ['scan', 'levels', 'errorOf', ...(isModulated ? (['seed'] as const) : [])],
    defaults: { scan: 'serpentine', levels: 2, errorOf: 'dots', ...(isModulated ? { seed: 1 } : {}) },
    weightSum: kernel.weightSum,
    takes: takesByError,
    toneTolerance: () => DIFFUSION_TOLERANCE,
    screen(coverage, { scan, levels, seed, errorOf }, _grid, { marks }) {
      const start = listWarmUpRows(coverage);
      if (errorOf === 'dots') return diffuseVariable(coverage, { kernel, scan, levels, seed, start });
      if (levels > 2) return diffuseLevels(coverage, { kernel, scan, seed, levels }, marks);
      const table = needMarks(marks);
      const known = { kernel, scan, seed, table, steps: stepsOf(table) };
      const asked = levelsOf(table, [name, scan, seed], (plane) =>
        diffuseVariableMarks(plane, { ...known, start: listWarmUpRows(plane) }),
      );
      return diffuseVariableMarks(coverage, { ...known, start, ...asked });
    },
  };
}

/** A dot that marks its own cell and no other. Exact: strength is the dot itself; sides are counts of dots. */
const ONE_DOT: StrengthTable = { columns: 1, rows: 1, corners: true, strength: [0, 1] };

function needMarks(marks: StrengthTable | undefined): StrengthTable {
  if (!marks) throw new RangeError('a screen that passes on the error of marks needs a table of them');
  return marks;
}

/** What was found of a table of marks: a batch screens every photo with the same one. */
const stepsFound = new WeakMap<StrengthTable, MarkSteps>();
const levelsFound = new WeakMap<StrengthTable, Map<string, Uint16Array>>();

function stepsOf(table: StrengthTable): MarkSteps {
  const steps = stepsFound.get(table) ?? tabulateMarkSteps(table);
  stepsFound.set(table, steps);
  return steps;
}

/** Nothing for a neighbourhood of 3 × 3 dots or fewer, whose steps are exact. */
function levelsOf(
  table: StrengthTable,
  key: readonly unknown[],
  halftone: (wanted: Plane<'coverage'>) => Dots,
): { levels?: Uint16Array } {
  if (table.columns <= 3 && table.rows <= 3) return {};
  const found = levelsFound.get(table) ?? new Map<string, Uint16Array>();
  levelsFound.set(table, found);
  const levels = found.get(key.join()) ?? levelStrengths(table, halftone);
  found.set(key.join(), levels);
  return { levels };
}

/** The same for dots that have levels of power. */
function diffuseLevels(
  wanted: Plane<'coverage'>,
  {
    levels,
    ...how
  }: { readonly kernel: DiffusionKernel | VariableKernel; readonly levels: number } & Pick<
    ScreenOptions,
    'scan' | 'seed'
  >,
  marks: MarkTable | undefined,
): Dots {
  return diffuseLevelMarks(wanted, { ...how, marks: needDoses(marks, levels), start: listWarmUpRows(wanted) });
}

function needDoses(marks: MarkTable | undefined, levels: number): LevelMarks {
  if (!marks?.dose) {
    throw new AppError(
      'option-invalid',
      `dose levels per dot: found ${levels} and nothing that was measured of what they leave, needed a profile whose tone chart had levels, for a screen that counts marks`,
      { option: 'levels', found: levels },
    );
  }
  return tabulateLevelMarks(marks.dose, levels);
}

function refuseLevels(levels: number): void {
  if (levels === 2) return;
  throw new AppError(
    'option-invalid',
    `dose levels per dot: found ${levels}, needed 2 for a screen that follows edges, keeps runs or searches without what dots leave`,
    { option: 'levels', found: levels },
  );
}

/** Half a level of a mask whose ranks are even, plus the step of the coverage itself. */
const halfLevel = (ranks: number, levels: number) => 0.5 / ranks / (levels - 1) + 1 / ONE;

/**
 * What periods that the plane's edges cut may cost, coverage, for screens whose tile does not divide the plane.
 * Assumed: a bound that they keep (tests/screens/registry.test.ts).
 */
const CUT_TOLERANCE = 0.001;

/** Masks kept, a count. Assumed: more than a batch uses at once. */
const MASKS_KEPT = 16;
/** A batch asks for the same mask for every photo. */
const keepMask = keepLatest<ThresholdMask>(MASKS_KEPT);
const remember = (key: readonly unknown[], make: () => ThresholdMask) => keepMask(JSON.stringify(key), make);

const maskOfTile = ({ width, height, ranks }: PeriodicTile) => createMask(width, height, ranks);

/**
 * Deviation of the void-and-cluster filter, dots (source: 'ulichney1993', as read in C. Peters' program). Published.
 */
const VOID_SIGMA = 1.5;
/**
 * Most unequal dots that the filter follows, ratio of pitch to line spacing. Assumed: beyond it the filter would be
 * narrower than 0.4 dot and reach no neighbour.
 */
const MAX_ASPECT = 16;

const clampAspect = (aspect: number) => Math.min(MAX_ASPECT, Math.max(1 / MAX_ASPECT, aspect));

interface BlueNoise {
  readonly size: number;
  readonly seed: number;
  /** Height of a dot to its width. */
  readonly aspect: number;
  readonly dotSize: number;
}

/**
 * Blue noise is even on the work, so where dots are not square the filter is not round in dots. And it is what lies on
 * the work that has to be even: for wide marks the filter is wider, by their radius in quadrature, which takes a tenth
 * to a fifth off what the eye sees of the grain of marks of 1.7 to 2 dots.
 */
function blueNoise({ size, seed, aspect, dotSize }: BlueNoise): ThresholdMask {
  const sigma = Math.hypot(VOID_SIGMA, dotSize / 2);
  const [sigmaX, sigmaY] = [sigma * Math.sqrt(aspect), sigma / Math.sqrt(aspect)].map((value) => value.toFixed(6));
  // The one in the name stands for the generator: another one that gives other ranks needs another number.
  const name = `blue-noise-1-${size}-${sigmaX}-${sigmaY}-${seed}`;
  return remember([name], () => {
    const bytes = keepBytes(name, () => {
      const ranks = generateVoidAndCluster({ size, sigmaX: Number(sigmaX), sigmaY: Number(sigmaY), seed });
      return new Uint8Array(ranks.buffer);
    });
    return createMask(size, size, new Uint16Array(bytes.buffer, bytes.byteOffset, size * size));
  });
}

/**
 * Clusters along a side of the green-noise mask: 4096 tones. A count. Assumed: tones finer than a photo of 256 levels,
 * ranked in a moment.
 */
const CLUSTERS = 64;

/** Shortest side of a blue-noise matrix, dots. Assumed: shorter ones repeat visibly and have too few tones. */
const BLUE_NOISE_MIN = 32;

/**
 * All screens by name, in the order in which they are listed. Defaults in the units of `SCREEN_OPTIONS`, chosen as in
 * `DEFAULT_OPTIONS`; weightSum is a share, exact: 1 keeps the tone. What each is good for is common practice
 * and the families' known properties, no source.
 */
export const SCREENS: Readonly<Record<ScreenName, ScreenRecord>> = {
  'floyd-steinberg': fixedScreen(
    {
      name: 'floyd-steinberg',
      title: 'Floyd and Steinberg 1976',
      goodFor: 'fine detail; smooth skies may show arcs and worms',
    },
    FLOYD_STEINBERG,
  ),
  'jarvis-judice-ninke': fixedScreen(
    {
      name: 'jarvis-judice-ninke',
      title: 'Jarvis, Judice and Ninke 1976',
      goodFor: 'crisp edges on large pieces; light and dark ends are rough',
    },
    JARVIS_JUDICE_NINKE,
  ),
  stucki: fixedScreen(
    { name: 'stucki', title: 'Stucki 1981', goodFor: 'crisp edges on large pieces, a little cleaner' },
    STUCKI,
  ),
  burkes: fixedScreen(
    { name: 'burkes', title: 'Burkes 1988', goodFor: 'detail in less time than Stucki’s, slightly rougher' },
    BURKES,
  ),
  sierra: fixedScreen(
    { name: 'sierra', title: 'Sierra, three rows', goodFor: 'even mid-tones on large pieces' },
    SIERRA,
  ),
  'sierra-two-row': fixedScreen(
    { name: 'sierra-two-row', title: 'Sierra, two rows', goodFor: 'much like Sierra’s three rows, coarser' },
    SIERRA_TWO_ROW,
  ),
  'sierra-lite': fixedScreen(
    { name: 'sierra-lite', title: 'Sierra, three shares', goodFor: 'quick trials' },
    SIERRA_LITE,
  ),
  atkinson: fixedScreen(
    {
      name: 'atkinson',
      title: 'Atkinson (loses tone on purpose)',
      goodFor: 'contrasty line-like pictures: light tones go bare and dark ones solid',
    },
    ATKINSON,
  ),
  ostromoukhov: variableScreen(
    {
      name: 'ostromoukhov',
      title: 'Ostromoukhov 2001',
      goodFor: 'faces and skies: the most even grain at every tone, what auto takes',
    },
    OSTROMOUKHOV,
  ),
  'zhou-fang': variableScreen(
    {
      name: 'zhou-fang',
      title: 'Zhou and Fang 2003',
      goodFor: 'faces and skies, with a little more grain than Ostromoukhov’s',
    },
    ZHOU_FANG,
  ),
  bayer: {
    name: 'bayer',
    title: 'Bayer 1973, dispersed dots',
    goodFor: 'patterns and trials; its crosses are seen in faces',
    family: 'ordered',
    source: 'bayer1973',
    uses: ['size', 'levels'],
    defaults: { size: 8, levels: 2 },
    weightSum: 1,
    toneTolerance: ({ size, levels }) => halfLevel(size * size, levels),
    screen: (coverage, { size, levels }) =>
      applyMask(coverage, {
        mask: remember(['bayer', size], () => createMask(size, size, generateBayer(size))),
        levels,
      }),
  },
  'blue-noise': {
    name: 'blue-noise',
    title: 'Blue noise by void and cluster, Ulichney 1993',
    goodFor: 'soft pictures without worms; grain is the same everywhere',
    family: 'ordered',
    source: 'ulichney1993',
    uses: ['size', 'seed', 'levels', 'dotSize'],
    defaults: { size: 128, seed: 1, levels: 2, dotSize: 0 },
    weightSum: 1,
    toneTolerance: ({ size, levels }) => halfLevel(size * size, levels),
    screen(coverage, options, grid) {
      if (options.size < BLUE_NOISE_MIN) {
        throw new AppError(
          'option-invalid',
          `side of the threshold matrix: found ${options.size}, blue noise needed a power of two ${BLUE_NOISE_MIN} … 256`,
          { option: 'size', found: options.size },
        );
      }
      const aspect = clampAspect(grid.lineSpacingMm / grid.pitchMm);
      return applyMask(coverage, { mask: blueNoise({ ...options, aspect }), levels: options.levels });
    },
  },
  'green-noise': {
    name: 'green-noise',
    title: 'Green noise: clusters spread by void and cluster',
    goodFor: 'wood, slate and leather, which do not hold single dots',
    family: 'ordered',
    clusters: true,
    source: 'lauArceGallagher1999',
    uses: ['cluster', 'seed', 'levels'],
    defaults: { cluster: 4, seed: 1, levels: 2 },
    weightSum: 1,
    toneTolerance: ({ levels }) => CUT_TOLERANCE + halfLevel(CLUSTERS * CLUSTERS, levels),
    screen(coverage, { cluster, seed, levels }, grid) {
      const mask = remember(['green-noise', cluster, grid.lineSpacingMm / grid.pitchMm, seed], () => {
        const { width, height } = clusterSides(cluster, grid);
        const aspect = clampAspect((height * grid.lineSpacingMm) / (width * grid.pitchMm));
        return widenMask(blueNoise({ size: CLUSTERS, seed, aspect, dotSize: 0 }), { width, height });
      });
      return applyMask(coverage, { mask, levels });
    },
  },
  'clustered-dot': {
    name: 'clustered-dot',
    title: 'Clustered dot',
    goodFor: 'coarse material and large pieces seen from afar',
    family: 'clustered',
    clusters: true,
    source: 'ulichney1987',
    uses: ['linesPerCm', 'angleDeg', 'shape', 'levels'],
    defaults: { linesPerCm: 'auto', angleDeg: 45, shape: 'round', levels: 2 },
    weightSum: 1,
    toneTolerance: (options, grid) =>
      CUT_TOLERANCE + halfLevel(periodOf(options, grid) ** 2 / (grid.pitchMm * grid.lineSpacingMm), options.levels),
    screen(coverage, { linesPerCm, angleDeg, shape, levels }, grid) {
      const key = ['clustered-dot', linesPerCm, angleDeg, shape, grid.pitchMm, grid.lineSpacingMm];
      const mask = remember(key, () => maskOfTile(generateClusteredDot({ linesPerCm, angleDeg, shape }, grid)));
      return applyMask(coverage, { mask, levels });
    },
  },
  line: {
    name: 'line',
    title: 'Lines',
    goodFor: 'machines that are slow at switching; strokes instead of dots',
    family: 'clustered',
    clusters: true,
    source: 'ulichney1987',
    uses: ['linesPerCm', 'angleDeg', 'levels'],
    defaults: { linesPerCm: 'auto', angleDeg: 45, levels: 2 },
    weightSum: 1,
    toneTolerance: (options, grid) =>
      CUT_TOLERANCE + halfLevel(periodOf(options, grid) / Math.max(grid.pitchMm, grid.lineSpacingMm), options.levels),
    screen(coverage, { linesPerCm, angleDeg, levels }, grid) {
      const key = ['line', linesPerCm, angleDeg, grid.pitchMm, grid.lineSpacingMm];
      const mask = remember(key, () => maskOfTile(generateLines({ linesPerCm, angleDeg }, grid)));
      return applyMask(coverage, { mask, levels });
    },
  },
  'direct-search': {
    name: 'direct-search',
    title: 'Direct binary search, Analoui and Allebach 1992',
    goodFor: 'portraits: the least grain, in several times the time',
    family: 'search',
    source: 'analouiAllebach1992',
    uses: ['response', 'viewingDistanceMm'],
    defaults: { response: 'linear', viewingDistanceMm: 300 },
    weightSum: 1,
    takes: ({ response }) => (response === 'table' ? 'strength' : 'coverage'),
    toneTolerance: () => SEARCH_TOLERANCE,
    screen: (coverage, options, grid, context) =>
      searchDots(planDirectSearch(coverage, { ...options, name: 'direct-search', grid, ...context })),
  },
};

/** Whether the screen takes wanted strengths for its plane, and the table of marks that goes with them. */
export function takesStrength({ name, ...options }: Pick<ScreenRequest, 'name'> & Partial<ScreenOptions>): boolean {
  return SCREENS[name].takes?.(options) === 'strength';
}

/**
 * A search for the dots of `direct-search`, begun: the first dots are diffused, by what they leave where that is known.
 * @throws AppError option-invalid; RangeError when the table of marks is needed and missing.
 */
export function planDirectSearch(
  wanted: Plane<'coverage'>,
  { name, grid, marks, isShared = false, ...given }: ScreenRequest & { readonly isShared?: boolean },
): SearchPlan {
  const { levels, response, viewingDistanceMm } = fillOptions(given, SCREENS[name].defaults);
  const eyeBlurMm = computeEyeBlurMm({ viewingDistanceMm });
  if (levels > 2) {
    refuseLevels(response === 'table' ? 2 : levels);
    const ofLevels = needDoses(marks, levels);
    const kernel = OSTROMOUKHOV;
    const start = diffuseLevels(wanted, { kernel, scan: 'serpentine', seed: 1, levels }, marks);
    return planSearch(wanted, start, { grid, eyeBlurMm, response, isShared, marks: ofLevels });
  }
  const table = marks ? { table: marks } : {};
  // Not Floyd and Steinberg's dots: at a quarter they lie in a lattice that no toggle and no swap of neighbours leaves.
  const start = SCREENS.ostromoukhov.screen(
    wanted,
    { ...DEFAULT_OPTIONS, errorOf: response === 'table' ? 'marks' : 'dots' },
    grid,
    marks ? { marks } : {},
  );
  return planSearch(wanted, start, { grid, eyeBlurMm, response, isShared, ...table });
}

/**
 * Screen a coverage plane by name; options that are not given come from the screen's record.
 * @returns dots of the same size, 0 … levels − 1.
 * @throws AppError name-unknown, option-invalid
 */
export function applyScreen(coverage: Plane<'coverage'>, { name, grid, marks, ...given }: ScreenRequest): Dots {
  const record = Object.hasOwn(SCREENS, name) ? SCREENS[name] : undefined;
  if (!record) {
    throw new AppError('name-unknown', `screen: found "${name}", needed one of ${SCREEN_NAMES.join(', ')}`, { name });
  }
  if (!(grid.pitchMm > 0 && grid.lineSpacingMm > 0)) {
    throw new RangeError(`dots need a pitch and line spacing above 0, got ${grid.pitchMm} × ${grid.lineSpacingMm} mm`);
  }
  return record.screen(coverage, fillOptions(given, record.defaults), grid, marks ? { marks } : {});
}
