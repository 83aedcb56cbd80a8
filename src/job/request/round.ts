import * as v from 'valibot';
import { AppError } from '../../errors.ts';
import { type Machine, motionRecord } from '../../machine/index.ts';
import type { Profile, Shop } from '../../material/index.ts';
import { DERIVED_COVERAGES } from '../../material/index.ts';
import { createPchip } from '../../numeric/index.ts';
import { computeChordMm, computeRayleighRangeMm, type LyingRound, placeOnRound } from '../../optics/index.ts';
import { parseRecord } from '../../schema.ts';
import type { SizeMm } from '../../units.ts';
import { tonesUnderBeams } from './beam-shift.ts';
import { spotDiameterUm } from './grid.ts';
import type { FocusDepth, JobSpec, RoundRequest, RoundSpec } from './types.ts';

/** Tone error by focus and slant up to which a width of a round piece is used, L*. Assumed: about what is seen. */
export const ROUND_ERROR_L = 2;
/** Steepest slant that is burned, degrees. Assumed: beyond, what a surface reflects of the beam changes its dose. */
const STEEPEST_DEG = 60;
/** Width along the surface over which a picture fades out beyond the usable width, mm. Assumed: no edge is seen. */
const FEATHER_MM = 2;
/** Places from the middle to the edge at which the tones are worked out, a count. Assumed: smooth between them. */
const STEPS = 48;
/**
 * What a chart in focus tells of a wider spot: where the mark answers to dose as a threshold does, half of the change
 * by a wider spot is left after its correction; where it answers gradually, how pulses add up decides, and to correct
 * is no better than not to. Spot diameters over that in focus up to which a width is used, and the shares of the change
 * that are left. Measured (benchmarks/round.ts).
 */
const SPREAD = {
  corrected: { widestSpot: 1.3, left: 0.5 },
  uncorrected: { widestSpot: 1.1, left: 1 },
} as const;
/** Steepness of a threshold's response. Measured (benchmarks/round.ts): gradual ones have up to 4.5, others above 8. */
const THRESHOLD_STEEPNESS = 6;
/** Least share of a depth of focus that its interval may leave. Assumed: below, optics are as good a guess. */
const LEAST_KNOWN = 1 / 3;

/** What is taken of a read focus chart. */
const FOCUS = v.object({
  schema: v.literal('tonewright-focus/1', '"tonewright-focus/1", as a read focus chart is written'),
  chart: v.string(),
  machine: v.exactOptional(v.string()),
  material: v.exactOptional(v.string()),
  depthOfFocus: v.object({ valueMm: v.number(), lowMm: v.number(), highMm: v.number() }),
});

const pupilOf = (machine: Machine): Pick<LyingRound, 'pupilMm'> =>
  motionRecord(machine.motion).rays === 'upright' ? {} : { pupilMm: machine.focalLengthMm };

/**
 * The size of a round piece in the plane of focus, in which its dots lie.
 * @throws AppError option-invalid where it reaches round to steep sides
 */
export function flattenSize(size: SizeMm, { diameterMm }: RoundRequest, machine: Machine): SizeMm {
  const most = (diameterMm * STEEPEST_DEG * Math.PI) / 180;
  if (size.widthMm > most) {
    const slantDeg = (size.widthMm / diameterMm) * (180 / Math.PI);
    throw new AppError(
      'option-invalid',
      `round: found ${size.widthMm} mm around a piece of ${diameterMm} mm, whose edge slants by ${slantDeg.toFixed(0)} degrees, needed at most ${Math.floor(10 * most) / 10} mm (${STEEPEST_DEG} degrees); what goes round further needs a rotary`,
      { widthMm: size.widthMm, mostMm: most, options: ['around'] },
    );
  }
  return { ...size, widthMm: computeChordMm(size.widthMm, { diameterMm, ...pupilOf(machine) }) };
}

export interface RoundNeeds extends Pick<JobSpec, 'grid' | 'screen' | 'levels' | 'profile'> {
  readonly machine: Machine;
  /** Name of the material's record. */
  readonly material: string;
  readonly shop: Shop;
  /** Along the surface. */
  readonly arcMm: number;
  /** What was learned, for this very machine. */
  readonly learned: Profile | undefined;
  /** Whether the tone curve is the profile's own. */
  readonly isMeasured: boolean;
}

/**
 * What of a round piece can be used. The dose is less by the slant, which every column is corrected for as long as the
 * full mark is left; the beam is wider by how far the surface has left focus, w(z) = w0·√(1 + (z/zR)²), which bounds
 * the width.
 * @throws AppError profile-unusable without a learned response; option-invalid, name-unknown, file-invalid
 */
export function resolveRound(request: RoundRequest, needs: RoundNeeds): RoundSpec {
  const { diameterMm, toneErrorL = ROUND_ERROR_L } = request;
  const { machine, arcMm, learned, profile } = needs;
  if (!learned) {
    throw new AppError(
      'profile-unusable',
      `round: found no profile that was learned with ${machine.name}, needed one: only a learned response tells what a weaker dose leaves`,
      { machine: machine.name },
    );
  }
  const lying: LyingRound = { diameterMm, ...pupilOf(machine) };
  const focus = findDepth(request, needs);
  const isTold = focus.origin === 'chart' && profile.response.steepness >= THRESHOLD_STEEPNESS;
  const spread = isTold ? 'corrected' : 'uncorrected';
  const chordMm = computeChordMm(arcMm, lying);
  const { tones, range } = openTones(needs, { round: { ...lying, focus, spread }, chordMm });
  const flat = tones({ lnDose: 0, lnWidth: 0 });
  const end = needs.isMeasured ? profile.points.at(-1)!.coverage : 1;
  const sign = profile.direction === 'lighter' ? 1 : -1;
  const shift = (beam: { readonly lnDose: number; readonly lnWidth: number }) =>
    tones(beam).map((lightness, at) => lightness - flat[at]!);
  let usableMm = chordMm / 2;
  let boundBy: RoundSpec['boundBy'];
  for (let step = 1; step <= STEPS && boundBy === undefined; step++) {
    const offMm = (chordMm * step) / (2 * STEPS);
    const place = placeOnRound(offMm, lying);
    const growth = growthAt(place.depthMm, focus.depthMm);
    const lnDose = Math.max(range.lnDose[0], Math.log(place.dose));
    const lnWidth = Math.min(range.lnWidth[1], Math.log(growth));
    const shortBy = (beam: { readonly lnDose: number; readonly lnWidth: number }) =>
      -sign * createPchip(DERIVED_COVERAGES, shift(beam)).valueAt(end);
    const { widestSpot, left } = SPREAD[spread];
    const leftL = left * Math.max(...shift({ lnDose: 0, lnWidth }).map(Math.abs));
    if (growth > widestSpot || leftL > toneErrorL) boundBy = 'focus';
    else if (shortBy({ lnDose, lnWidth: 0 }) > toneErrorL) boundBy = 'slant';
    else if (shortBy({ lnDose, lnWidth }) > toneErrorL) boundBy = 'focus';
    if (boundBy !== undefined) usableMm = (chordMm * (step - 1)) / (2 * STEPS);
  }
  const usableArcMm = boundBy === undefined ? arcMm : 2 * placeOnRound(usableMm, lying).arcMm;
  return {
    ...lying,
    toneErrorL,
    arcMm,
    usableArcMm,
    featherMm: Math.min(FEATHER_MM, (arcMm - usableArcMm) / 2),
    ...(boundBy === undefined ? {} : { boundBy }),
    focus,
    spread,
  };
}

/** Spot diameter so far out of focus over that in focus: √(1 + (z/zR)²), zR half the depth (source: 'iso11146'). */
export const growthAt = (depthMm: number, depthOfFocusMm: number): number =>
  Math.hypot(1, (2 * depthMm) / depthOfFocusMm);

/** How the beam meets a round piece so far from its highest line: its dose, and its spot as far as that is used. */
export function roundBeam(
  offMm: number,
  round: LyingRound & Pick<RoundSpec, 'focus' | 'spread'>,
): { readonly dose: number; readonly width: number } {
  const { dose, depthMm } = placeOnRound(offMm, round);
  const { focus, spread } = round;
  return { dose, width: Math.min(SPREAD[spread].widestSpot, growthAt(depthMm, focus.depthMm)) };
}

function openTones(
  { profile, grid, screen, levels }: RoundNeeds,
  { round, chordMm }: { readonly round: Parameters<typeof roundBeam>[1]; readonly chordMm: number },
) {
  const edge = roundBeam(chordMm / 2, round);
  const range = { lnDose: [Math.log(edge.dose), 0], lnWidth: [0, Math.log(edge.width)] } as const;
  return { range, tones: tonesUnderBeams({ profile, grid, screen, levels }, range) };
}

/** As a focus chart of this machine and material told, else as the optics have it. */
function findDepth({ focusReading }: RoundRequest, { machine, material, shop }: RoundNeeds): FocusDepth {
  const kept = `${machine.name}.${material}`;
  const isKept = shop.list('focus').some(({ name }) => name === kept);
  if (focusReading === 'none' || (focusReading === undefined && !isKept)) {
    return {
      origin: 'optics',
      depthMm: 2 * computeRayleighRangeMm({ ...machine, spotDiameterUm: spotDiameterUm(machine) }),
    };
  }
  const { json, path } = shop.read('focus', focusReading ?? kept);
  const reading = parseRecord(FOCUS, { json, what: `depth of focus ${path}` });
  const { valueMm, lowMm, highMm } = reading.depthOfFocus;
  if (reading.machine !== machine.name || reading.material !== material) {
    throw new AppError(
      'option-invalid',
      `focus-reading: found the focus of ${reading.machine ?? 'an unnamed machine'} on ${reading.material ?? 'an unnamed material'}, needed that of ${machine.name} on ${material}`,
    );
  }
  if (lowMm < LEAST_KNOWN * valueMm) {
    throw new AppError(
      'option-invalid',
      `focus-reading: found a depth of ${valueMm.toFixed(2)} mm that is known to ${lowMm.toFixed(2)} … ${highMm.toFixed(2)} mm only, which carries no width; needed a closer one: burn the focus chart again, or leave the reading out (none)`,
      { valueMm, lowMm, highMm },
    );
  }
  return { origin: 'chart', chart: reading.chart, depthMm: valueMm, lowMm, highMm };
}
