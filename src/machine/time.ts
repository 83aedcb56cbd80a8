import type { BurnSettings } from '../optics/index.ts';
import type { DotGrid, Dots } from '../plane/index.ts';
import { findExtents, type ScanExtents } from './extents.ts';
import { computeTrapezoidSeconds } from './trapezoid.ts';
import type { GalvoMotion, GantryMotion, Motion } from './types.ts';

export interface TimeOptions {
  readonly motion: Motion;
  /** Speed, passes and scan direction are used. */
  readonly settings: BurnSettings;
  readonly grid: DotGrid;
}

/** Where the time goes, s, all passes together. */
export interface TimeParts {
  /** Between the first and the last dot of each line, blanks between them included. */
  readonly markingS: number;
  /** From line to line with the beam off. */
  readonly movingS: number;
  /** Gaining and losing speed before and after each line, with the extra run of a gantry. */
  readonly turningS: number;
  /** Delays. */
  readonly waitingS: number;
  /** Start and end of the job. */
  readonly overheadS: number;
}

export interface TimeEstimate {
  readonly seconds: number;
  readonly parts: TimeParts;
  readonly passes: number;
  /** Lines with at least one dot, a pass. */
  readonly scanLines: number;
  /** Lines without a dot, which are skipped. */
  readonly emptyLines: number;
  /** Dots that fire times the pitch, one pass, mm. */
  readonly markedLengthMm: number;
  /** First to last dot of each line, one pass, mm. */
  readonly scannedLengthMm: number;
  /** Run before and after each line in which the spot gains and loses speed, mm. */
  readonly runUpMm: number;
  /** How it was computed, in plain words. */
  readonly formula: string;
  readonly inputs: Readonly<Record<string, string | number>>;
}

/**
 * Time to burn a bitmap by the exact kinematics of the motion over its dots. Lines without dots and the blank ends of
 * lines are skipped; blanks between the first and the last dot are crossed at scan speed, as scan controllers do.
 * Each pass ends with the move back to where it began, so that every pass takes the same time.
 * The line starts from rest and ends at rest; how well real drives do that is what the delays are for.
 * @throws RangeError when speed, pitch, spacing or passes are not above 0.
 */
export function estimateTime(dots: Dots, options: TimeOptions): TimeEstimate {
  return estimateTimeOfExtents(findExtents(dots), options);
}

/** The same from extents found before, for trying many motions or settings on one bitmap. */
export function estimateTimeOfExtents(extents: ScanExtents, { motion, settings, grid }: TimeOptions): TimeEstimate {
  const { speedMmPerS, passes, scan } = settings;
  const { pitchMm, lineSpacingMm } = grid;
  if (!(speedMmPerS > 0 && pitchMm > 0 && lineSpacingMm > 0)) {
    throw new RangeError(
      `time needs speed, pitch and spacing above 0, got ${speedMmPerS} mm/s, ${pitchMm} mm, ${lineSpacingMm} mm`,
    );
  }
  if (!(Number.isInteger(passes) && passes >= 1)) throw new RangeError(`passes is a whole number ≥ 1, got ${passes}`);

  const lines = extents.rows.length;
  const rampMm = speedMmPerS ** 2 / (2 * motion.accelerationMmPerS2);
  const runUpMm = rampMm + (motion.kind === 'gantry' ? motion.overtravelMm : 0);
  const { moveSeconds, turnSecondsPerLine, waitSecondsPerLine } = describeMotion(motion, speedMmPerS);

  let scannedDots = 0;
  let movingS = 0;
  // Where line `at` is entered from rest, and where it has come to rest again, mm.
  const leftwards = (at: number) => scan === 'two-way' && at % 2 === 1;
  const leftMm = (at: number) => extents.first[at]! * pitchMm - runUpMm;
  const rightMm = (at: number) => (extents.last[at]! + 1) * pitchMm + runUpMm;
  for (let at = 0; at < lines; at++) {
    scannedDots += extents.last[at]! + 1 - extents.first[at]!;
    const next = at + 1 < lines ? at + 1 : 0;
    const fromMm = leftwards(at) ? leftMm(at) : rightMm(at);
    const toMm = leftwards(next) ? rightMm(next) : leftMm(next);
    movingS += moveSeconds(toMm - fromMm, (extents.rows[next]! - extents.rows[at]!) * lineSpacingMm);
  }
  const scannedLengthMm = scannedDots * pitchMm;
  const parts = {
    markingS: (passes * scannedLengthMm) / speedMmPerS,
    movingS: passes * movingS,
    turningS: passes * lines * turnSecondsPerLine,
    waitingS: passes * lines * waitSecondsPerLine,
    overheadS: motion.jobOverheadS,
  };
  return {
    seconds: parts.markingS + parts.movingS + parts.turningS + parts.waitingS + parts.overheadS,
    parts,
    passes,
    scanLines: lines,
    emptyLines: extents.height - lines,
    markedLengthMm: extents.firedDots * pitchMm,
    scannedLengthMm,
    runUpMm,
    formula: FORMULAS[motion.kind],
    inputs: {
      widthDots: extents.width,
      heightDots: extents.height,
      pitchMm,
      lineSpacingMm,
      speedMmPerS,
      passes,
      scan,
      ...motion,
    },
  };
}

interface MotionTimes {
  /** From rest to rest over (dx, dy) mm. */
  readonly moveSeconds: (dxMm: number, dyMm: number) => number;
  readonly turnSecondsPerLine: number;
  readonly waitSecondsPerLine: number;
}

function describeMotion(motion: Motion, speedMmPerS: number): MotionTimes {
  return motion.kind === 'galvo' ? describeGalvo(motion, speedMmPerS) : describeGantry(motion, speedMmPerS);
}

/** A galvo jumps along the straight line: the controller sets speed and acceleration of the spot, not of each mirror. */
function describeGalvo(motion: GalvoMotion, speedMmPerS: number): MotionTimes {
  const { accelerationMmPerS2, jumpSpeedMmPerS } = motion;
  const delaysUs = motion.jumpDelayUs + motion.lineDelayUs + motion.beamOnDelayUs + motion.beamOffDelayUs;
  return {
    moveSeconds: (dxMm, dyMm) =>
      computeTrapezoidSeconds({
        distanceMm: Math.hypot(dxMm, dyMm),
        speedMmPerS: jumpSpeedMmPerS,
        accelerationMmPerS2,
      }),
    turnSecondsPerLine: (2 * speedMmPerS) / accelerationMmPerS2,
    waitSecondsPerLine: delaysUs / 1e6,
  };
}

/** The axes of a gantry travel at once, each by its own trapezoid: the slower one decides. */
function describeGantry(motion: GantryMotion, speedMmPerS: number): MotionTimes {
  const { accelerationMmPerS2, travelSpeedMmPerS, overtravelMm } = motion;
  const axisSeconds = (distanceMm: number) =>
    computeTrapezoidSeconds({
      distanceMm: Math.abs(distanceMm),
      speedMmPerS: travelSpeedMmPerS,
      accelerationMmPerS2,
    });
  return {
    moveSeconds: (dxMm, dyMm) => Math.max(axisSeconds(dxMm), axisSeconds(dyMm)),
    turnSecondsPerLine: 2 * (speedMmPerS / accelerationMmPerS2 + overtravelMm / speedMmPerS),
    waitSecondsPerLine: motion.turnDelayMs / 1000,
  };
}

const COMMON =
  'Lines without dots and the blank ends of lines are skipped. Marking: from the first to the last dot of each line at scan speed v, blanks between them included.';
const END =
  'Each pass ends with the move back to where it began. Time = overhead + passes × (marking + turning + moving + waiting).';

const FORMULAS: Readonly<Record<Motion['kind'], string>> = {
  galvo: `${COMMON} Turning: before and after each line the spot gains and loses its speed at acceleration a, 2v/a a line. Moving: the spot jumps straight to the next line; a jump of length d at jump speed j takes 2j/a + (d − j²/a)/j, or 2√(d/a) when it is shorter than j²/a. Waiting: jump, line, beam-on and beam-off delay, once a line. ${END}`,
  gantry: `${COMMON} Turning: before and after each line the head gains and loses its speed at acceleration a and runs on over the overtravel o at scan speed, 2v/a + 2o/v a line. Moving: both axes travel to the next line at once and the slower one counts; d at travel speed t takes 2t/a + (d − t²/a)/t, or 2√(d/a) when it is shorter than t²/a. Waiting: the turn delay, once a line. ${END}`,
};
