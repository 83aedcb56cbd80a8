import { ASSUMED_ROTARY, type Motion } from '../../machine/index.ts';
import { computeChordMm, placeOnRound } from '../../optics/index.ts';
import type { DotGrid } from '../../plane/index.ts';
import { roundTo } from '../page/html.ts';
import { coneOf, degreesPerLineOf } from '../request/around.ts';
import { growthAt } from '../request/round.ts';
import type { AroundSpec, RoundSpec } from '../request/types.ts';
import { spacingsOn } from './round.ts';
import type { AroundFacts, RoundFacts } from './types.ts';

/** What a ticket says of a round piece that lies still. */
export function describeRound(round: RoundSpec): RoundFacts {
  const { diameterMm, arcMm, usableArcMm, featherMm, toneErrorL, boundBy, focus, spread } = round;
  const edge = placeOnRound(computeChordMm(arcMm, round) / 2, round);
  const said =
    boundBy === undefined
      ? `; all of it is right to ${toneErrorL} L*`
      : `; tones are right to ${toneErrorL} L* over the middle ${roundTo(usableArcMm, 1)} mm, which the ${boundBy} bounds, and fade out over ${roundTo(featherMm, 1)} mm beyond`;
  const known =
    focus.origin === 'chart'
      ? `by a focus chart, ${roundTo(focus.lowMm, 2)} … ${roundTo(focus.highMm, 2)}`
      : 'by the optics, not measured';
  return {
    diameterMm,
    arcMm,
    usableArcMm,
    featherMm,
    toneErrorL,
    ...(boundBy === undefined ? {} : { boundBy }),
    spread,
    depthOfFocusMm: focus.depthMm,
    ...(focus.origin === 'chart' ? { focusChart: focus.chart } : {}),
    edgeSlantDeg: edge.slantDeg,
    edgeDepthMm: edge.depthMm,
    edgeSpotGrowth: growthAt(edge.depthMm, focus.depthMm),
    edgeDoseShare: edge.dose,
    note: `A round piece, Ø ${roundTo(diameterMm, 2)} mm, that lies still: its axis level and straight down the bitmap, below its middle; focus on the highest line. ${roundTo(arcMm, 2)} mm around the surface${said}. Corrected for its slant${spread === 'corrected' ? ' and for the wider spot out of focus' : ''}; depth of focus ${roundTo(focus.depthMm, 2)} mm (${known}).`,
  };
}

/** What a ticket says of a piece that a rotary turns. */
export function describeAround(
  around: AroundSpec,
  { grid, motion }: { readonly grid: DotGrid; readonly motion: Motion },
): AroundFacts {
  const { diametersMm, turnMm, gapMm, isClosed, overlapMm, steps } = around;
  const [upper, lower] = diametersMm;
  const { lineSpacingMm } = grid;
  const meanMm = (upper + lower) / 2;
  const degreesPerLine = degreesPerLineOf(around, grid);
  const { slantDeg } = coneOf(around);
  const cone =
    upper === lower
      ? `Ø ${roundTo(upper, 2)} mm`
      : `a cone of Ø ${roundTo(upper, 2)} mm at the upper and ${roundTo(lower, 2)} mm at the lower edge of the picture; tilt the rotary by ${roundTo(slantDeg, 2)} degrees, so that its highest line is level. Type in Ø ${roundTo(meanMm, 3)} mm, the one half-way`;
  const stepped = steps
    ? ` ${steps.line} ${steps.line === 1 ? 'step' : 'steps'} of the rotary’s ${steps.turn} from line to line.`
    : '';
  const seam = isClosed
    ? ` The picture goes all around${overlapMm > 0 ? `, its end blended into its beginning over ${roundTo(overlapMm, 2)} mm` : ''}; the last line lies ${roundTo(lineSpacingMm + gapMm, 3)} mm before the first.`
    : ` ${roundTo(gapMm, 1)} mm of its ${roundTo(turnMm, 1)} stay bare.`;
  const { rotarySpeedDegPerS: speed, rotaryAccelerationDegPerS2: ramp, rotarySettleMs: rest } = ASSUMED_ROTARY;
  const clock =
    motion.rotarySettleMs === undefined
      ? `, as assumed of any rotary: ${speed} degrees a second, gained by ${ramp} a second, ${rest} ms to rest; stopwatch readings of turned pieces tell yours`
      : `: ${roundTo(motion.rotarySettleMs, 1)} ms to rest`;
  return {
    diametersMm,
    turnMm,
    gapMm,
    isClosed,
    overlapMm,
    ...(steps ? { steps } : {}),
    degreesPerLine,
    lineSpacingsMm: spacingsOn(around, grid),
    tiltDeg: slantDeg,
    note: `On a rotary, its axis along the scan lines and below the middle of the field: ${cone}. ${degreesPerLine.toFixed(4)} degrees from line to line.${stepped}${seam} Times count each turn from line to line${clock}.`,
  };
}
