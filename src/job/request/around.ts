import { AppError } from '../../errors.ts';
import { type UnrolledCone, unrollCone } from '../../optics/index.ts';
import type { DotGrid } from '../../plane/index.ts';
import type { SizeMm } from '../../units.ts';
import type { AroundRequest, AroundSpec, JobSpec } from './types.ts';

/** How far a width may be from a whole turn and still be meant as one, mm. Assumed: nobody wants so narrow a gap. */
const MEANT_MM = 1;
/** Largest share of a turn that its end is blended into its beginning over. Assumed: more hides the picture. */
const MOST_BLENDED = 0.25;
/** How far a spacing in whole steps may be from the wanted one, a share. Assumed: a first chart's grid is no closer. */
const MOST_OFF = 0.25;
/** How far from the wanted spacing one may be that closes the turn, a share. Assumed: tones change as little. */
const CLOSING_OFF = 0.1;
/** Degrees of a turn. Exact: by definition. */
const TURN_DEG = 360;
/** Steepest cone, degrees between surface and axis. Assumed: beyond, a piece slips in any rotary. */
const STEEPEST_DEG = 30;

/** What the clock needs of a job. */
export function timingOf({
  machine,
  settings,
  grid,
  around,
}: Pick<JobSpec, 'machine' | 'settings' | 'grid' | 'around'>) {
  const turn = around && { degreesPerLine: degreesPerLineOf(around, grid) };
  return { motion: machine.motion, settings, grid, ...(turn ? { turn } : {}) };
}

/** How far the rotary turns from line to line. */
export const degreesPerLineOf = ({ turnMm }: Pick<AroundSpec, 'turnMm'>, { lineSpacingMm }: DotGrid): number =>
  (TURN_DEG * lineSpacingMm) / turnMm;

export const coneOf = ({ diametersMm, heightMm }: Pick<AroundSpec, 'diametersMm' | 'heightMm'>): UnrolledCone =>
  unrollCone(diametersMm, heightMm);

/** Diameter so far below the upper edge over that in the middle; share of the height, 0 … 1. */
export const girthAt = ({ diametersMm: [upper, lower] }: Pick<AroundSpec, 'diametersMm'>, share: number): number =>
  (2 * (upper + share * (lower - upper))) / (upper + lower);

/**
 * The grid whose lines lie whole steps of the rotary apart; the same one where no steps were said.
 * @throws AppError option-invalid where its steps are too coarse
 */
export function stepGrid<G extends DotGrid>(
  { diametersMm: [upper, lower], stepsPerTurn }: AroundRequest,
  { grid, widthMm }: { readonly grid: G; readonly widthMm: number },
): { readonly grid: G; readonly steps?: { readonly turn: number; readonly line: number } } {
  if (stepsPerTurn === undefined) return { grid };
  const turnMm = (Math.PI * (upper + lower)) / 2;
  const stepMm = turnMm / stepsPerTurn;
  const wanted = grid.lineSpacingMm / stepMm;
  const nearest = Math.max(1, Math.round(wanted));
  if (Math.abs(nearest / wanted - 1) > MOST_OFF) {
    throw new AppError(
      'option-invalid',
      `steps-per-turn: found ${stepsPerTurn}, which are ${stepMm.toFixed(4)} mm on the surface, needed ${grid.lineSpacingMm} mm or whole parts of it; take a finer rotary or this line spacing`,
      { stepMm, options: ['spacing'] },
    );
  }
  const near = Array.from({ length: 2 * nearest }, (_, at) => at + 1).filter(
    (steps) => stepsPerTurn % steps === 0 && Math.abs(steps / wanted - 1) <= CLOSING_OFF,
  );
  const isClosed = widthMm > turnMm - MEANT_MM;
  const line =
    isClosed && near.length > 0
      ? near.reduce((a, b) => (Math.abs(b - wanted) < Math.abs(a - wanted) ? b : a))
      : nearest;
  const spacingMm = line * stepMm;
  return { grid: { ...grid, pitchMm: spacingMm, lineSpacingMm: spacingMm }, steps: { turn: stepsPerTurn, line } };
}

/**
 * A piece around whose whole or part a picture goes.
 * @throws AppError option-invalid for a width beyond a turn, a cone too steep, or an overlap without a whole turn
 */
export function resolveAround(
  { diametersMm, overlapMm = 0 }: AroundRequest,
  {
    size,
    grid,
    steps,
  }: { readonly size: SizeMm; readonly grid: DotGrid; readonly steps?: AroundSpec['steps'] | undefined },
): { readonly size: SizeMm; readonly around: AroundSpec } {
  const [upper, lower] = diametersMm;
  const { widthMm, heightMm } = size;
  const turnMm = (Math.PI * (upper + lower)) / 2;
  const steepest = 2 * heightMm * Math.sin((STEEPEST_DEG * Math.PI) / 180);
  if (Math.abs(upper - lower) > steepest) {
    throw new AppError(
      'option-invalid',
      `around: found diameters of ${upper} and ${lower} mm at the edges of a picture ${heightMm} mm high, needed at most ${steepest.toFixed(1)} mm of difference (${STEEPEST_DEG} degrees)`,
    );
  }
  if (widthMm > turnMm + Math.max(MEANT_MM, overlapMm)) {
    throw new AppError(
      'option-invalid',
      `size: found ${widthMm} mm around a piece that measures ${turnMm.toFixed(2)} mm around, needed at most that`,
      { turnMm, options: ['size', 'around'] },
    );
  }
  const isClosed = widthMm > turnMm - MEANT_MM;
  if (overlapMm > 0 && !isClosed) {
    throw new AppError(
      'option-invalid',
      `overlap: found a picture that covers ${widthMm} of ${turnMm.toFixed(2)} mm, needed one all around: its end and beginning do not meet`,
    );
  }
  if (overlapMm > MOST_BLENDED * turnMm) {
    throw new AppError(
      'option-invalid',
      `overlap: found ${overlapMm} mm, needed at most ${(MOST_BLENDED * turnMm).toFixed(1)} mm, a quarter of a turn`,
    );
  }
  const lines = isClosed && steps ? Math.round(steps.turn / steps.line) : Math.round(turnMm / grid.lineSpacingMm);
  const laidMm = isClosed ? lines * grid.lineSpacingMm : widthMm;
  return {
    size: { ...size, widthMm: laidMm },
    around: { diametersMm, heightMm, turnMm, gapMm: turnMm - laidMm, isClosed, overlapMm, ...(steps ? { steps } : {}) },
  };
}
