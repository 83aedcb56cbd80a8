import { adjustSurface, DERIVED_COVERAGES, fillDotTable, type Profile } from '../../material/index.ts';
import { createPchip, keepLatest, linearSteps } from '../../numeric/index.ts';
import { type DotGrid, type Dots, type DotTable, EVEN_FIELDS, evenPlane } from '../../plane/index.ts';
import { predictLightness } from '../../proof/index.ts';
import { applyScreen, SCREENS, type ScreenRequest, takesStrength } from '../../screens/index.ts';
import { requestScreen } from './screen.ts';
import type { JobSpec } from './types.ts';

/** Logarithms of the factors by which a beam differs from the one that a profile was learned with. */
export interface BeamLogs {
  readonly lnDose: number;
  readonly lnWidth: number;
}

export interface BeamRange {
  readonly lnDose: readonly [from: number, to: number];
  readonly lnWidth: readonly [from: number, to: number];
}

/**
 * Doses and widths for which a surface is computed, counts of steps. Assumed: between them a monotone cubic over dose
 * and a straight line over width leave less than a twentieth of an L* of what one beam gives.
 */
const STEPS = { dose: 6, width: 3 } as const;

/**
 * What a beam of other dose and width makes of one of some fields of dots. It is computed on a few beams of the range
 * and read between them.
 * @param lightnessesOf CIE L* of every field under a dot table
 */
export function tabulateBeams(
  profile: Profile,
  {
    grid,
    range,
    steps = STEPS,
    lightnessesOf,
  }: {
    readonly grid: DotGrid;
    readonly range: BeamRange;
    /** More than usual where the range is wide. */
    readonly steps?: { readonly dose: number; readonly width: number };
    readonly lightnessesOf: (table: DotTable) => readonly number[];
  },
): (beam: BeamLogs, field: number) => number {
  const doses = linearSteps(...widen(range.lnDose), steps.dose);
  const widths = linearSteps(...widen(range.lnWidth), steps.width);
  const rows = widths.map((lnWidth) => {
    const tones = doses.map((lnDose) => {
      const beam = { dose: Math.exp(lnDose), width: Math.exp(lnWidth) };
      return lightnessesOf(fillDotTable(adjustSurface(profile, beam), grid));
    });
    return tones[0]!.map((_, field) =>
      createPchip(
        doses,
        tones.map((one) => one[field]!),
      ),
    );
  });
  const last = widths.length - 1;
  return ({ lnDose, lnWidth }, field) => {
    const at = (last * (lnWidth - widths[0]!)) / (widths[last]! - widths[0]!);
    const row = Math.min(last - 1, Math.max(0, Math.floor(at)));
    const share = Math.min(1, Math.max(0, at - row));
    return (1 - share) * rows[row]![field]!.valueAt(lnDose) + share * rows[row + 1]![field]!.valueAt(lnDose);
  };
}

/** A range of some width, so that curves have distinct places. Logarithms of factors; a thousandth is no change. */
const widen = ([from, to]: readonly [number, number]): readonly [number, number] =>
  to - from < 1e-3 ? [from - 1e-3, to + 1e-3] : [from, to];

/** How many tables are kept, a count. Assumed: the pieces that a person works at by turns. */
const MOST_KEPT = 4;
/** Tables by what they hang on: a page asks for the same again with every look at a photo. */
const keepTones = keepLatest<(beam: BeamLogs) => readonly number[]>(MOST_KEPT);

/** Lightness of the job's own dots at `DERIVED_COVERAGES` under other beams. */
export function tonesUnderBeams(
  spec: Pick<JobSpec, 'profile' | 'grid' | 'screen' | 'levels'>,
  range: BeamRange,
): (beam: BeamLogs) => readonly number[] {
  const { profile, grid, screen, levels } = spec;
  const { response, bare, full } = profile;
  const key = JSON.stringify([response, bare, full, grid, screen.name, screen.options, levels, range]);
  return keepTones(key, () => computeTones(spec, range));
}

/** Line spacings for which a surface is computed, a count of steps. Assumed: a cubic between them leaves nothing. */
const GIRTH_STEPS = 7;
const keepGirths = keepLatest<(girth: number) => readonly number[]>(MOST_KEPT);

/**
 * The same where the job's lines lie further apart, or closer, by a factor, and each of its dots has the energy that it
 * has: on a cone that turns.
 */
export function tonesAtGirths(
  spec: Pick<JobSpec, 'profile' | 'grid' | 'screen' | 'levels'>,
  [from, to]: readonly [from: number, to: number],
): (girth: number) => readonly number[] {
  const { profile, grid, screen, levels } = spec;
  const { response, bare, full } = profile;
  const key = JSON.stringify([response, bare, full, grid, screen.name, screen.options, levels, from, to]);
  return keepGirths(key, () => {
    const lightnessesOf = sampleTones(spec);
    const girths = linearSteps(from, to, GIRTH_STEPS);
    const tones = girths.map((girth) =>
      lightnessesOf(fillDotTable(profile, { ...grid, lineSpacingMm: grid.lineSpacingMm * girth })),
    );
    const curves = tones[0]!.map((_, field) =>
      createPchip(
        girths,
        tones.map((one) => one[field]!),
      ),
    );
    return (girth) => curves.map((curve) => curve.valueAt(girth));
  });
}

/**
 * Lightness of the job's own dots at `DERIVED_COVERAGES` under each of some doses, factors; and the share of dots that
 * fire, by coverage: the same number but for screens that take strengths.
 */
export function tonesUnderDoses(
  spec: Pick<JobSpec, 'profile' | 'grid' | 'screen' | 'levels'>,
  doses: readonly number[],
): {
  readonly tones: readonly (readonly number[])[];
  readonly shareAt: (coverage: number) => number;
} {
  const request = requestScreen(spec);
  const dots = drawFields(request);
  const lightnessesOf = readTones(dots);
  const tones = doses.map((dose) =>
    lightnessesOf(fillDotTable(adjustSurface(spec.profile, { dose, width: 1 }), spec.grid)),
  );
  const shareAt = takesStrength(request)
    ? createPchip(DERIVED_COVERAGES, dots.map(shareOf)).valueAt
    : (coverage: number) => coverage;
  return { tones, shareAt };
}

/** Of its full level, by all dots of a field. */
function shareOf({ data, levels }: Dots): number {
  let sum = 0;
  for (let i = 0; i < data.length; i++) sum += data[i]!;
  return sum / (data.length * (levels - 1));
}

function computeTones(
  spec: Pick<JobSpec, 'profile' | 'grid' | 'screen' | 'levels'>,
  range: BeamRange,
): (beam: BeamLogs) => readonly number[] {
  const { profile, grid } = spec;
  const lightnessAt = tabulateBeams(profile, { grid, range, lightnessesOf: sampleTones(spec) });
  return (beam) => DERIVED_COVERAGES.map((_, field) => lightnessAt(beam, field));
}

/** Lightness of the job's own dots at `DERIVED_COVERAGES` under a dot table. */
function sampleTones(
  spec: Pick<JobSpec, 'profile' | 'grid' | 'screen' | 'levels'>,
): (table: DotTable) => readonly number[] {
  return readTones(drawFields(requestScreen(spec)));
}

function readTones(dots: readonly Dots[]): (table: DotTable) => readonly number[] {
  const { from, to } = EVEN_FIELDS.job;
  const rect = { x: from, y: from, width: to - from, height: to - from };
  return (table) => dots.map((field) => predictLightness(field, { table, rect }));
}

/** Dots of even fields of `DERIVED_COVERAGES`. */
function drawFields(request: ScreenRequest): readonly Dots[] {
  // A search aims at the same tones and takes seconds for each: its change with the beam is that of its first dots.
  const asked = SCREENS[request.name].family === 'search' ? { ...request, name: 'ostromoukhov' as const } : request;
  return DERIVED_COVERAGES.map((coverage) => applyScreen(evenPlane(coverage, EVEN_FIELDS.job.side), asked));
}
