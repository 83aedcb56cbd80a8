import type { BurnSettings } from '../optics/index.ts';
import type { DotGrid, Dots } from '../plane/index.ts';
import { findExtents, type ScanExtents } from './extents.ts';
import { waitSecondsPerLine } from './parameters.ts';
import { type ScanPath, tracePath } from './scan-path.ts';
import { computeMoveSeconds, computeRamp, type Drive } from './trapezoid.ts';
import type { BareHandling, GalvoMotion, GantryMotion, Motion } from './types.ts';

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
  /** Scanning over the bare ends of lines and over lines without dots, where the machine does not skip them. */
  readonly bareS: number;
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
  /** Lines that are run, a pass. */
  readonly scanLines: number;
  /** Lines that are skipped. */
  readonly emptyLines: number;
  /** Dots that fire times the pitch, one pass, mm. */
  readonly markedLengthMm: number;
  /** All that is run at scan speed but for the run-ups, one pass, mm. */
  readonly scannedLengthMm: number;
  /** Run before and after each line in which the spot gains and loses speed, mm. */
  readonly runUpMm: number;
  /** How it was computed, in plain words. */
  readonly formula: string;
  readonly inputs: Readonly<Record<string, string | number>>;
}

/**
 * Time to burn a bitmap by the exact kinematics of the motion over its dots. Lines without dots and the blank ends of
 * lines are skipped unless the motion says otherwise; blanks between the first and the last dot are crossed at scan
 * speed, as scan controllers do. Each pass ends with the move back to where it began, so that every pass takes the same
 * time. The line starts from rest and ends at rest; how well real drives do that is what the delays are for.
 * @throws RangeError when speed, pitch, spacing or passes are not above 0.
 */
export function estimateTime(dots: Dots, options: TimeOptions): TimeEstimate {
  return estimateTimeOfExtents(findExtents(dots), options);
}

/** The same from extents found before, for trying many motions or settings on one bitmap. */
export function estimateTimeOfExtents(extents: ScanExtents, options: TimeOptions): TimeEstimate {
  const { motion, settings } = options;
  return estimateTimeOfPath(tracePath(extents, { scan: settings.scan, bare: motion.bare }), options);
}

/**
 * The same from a path traced before; its scan direction and its way with bare places count, not those of the options.
 */
export function estimateTimeOfPath(path: ScanPath, { motion, settings, grid }: TimeOptions): TimeEstimate {
  const { speedMmPerS, passes } = settings;
  const { pitchMm, lineSpacingMm } = grid;
  const parts = computeParts(path, { motion, settings, grid });
  return {
    seconds: sumParts(parts),
    parts,
    passes,
    scanLines: path.lines,
    emptyLines: path.emptyLines,
    markedLengthMm: path.firedDots * pitchMm,
    scannedLengthMm: (path.spanDots + path.bareDots) * pitchMm,
    runUpMm: computeRunUp(motion, speedMmPerS, path.bare).runUpMm,
    formula: describeFormula(motion, path.bare),
    inputs: {
      widthDots: path.width,
      heightDots: path.height,
      pitchMm,
      lineSpacingMm,
      speedMmPerS,
      passes,
      scan: path.scan,
      ...motion,
      bare: path.bare,
    },
  };
}

/** The seconds of `estimateTimeOfPath` alone, for fits that try hundreds of motions. */
export function computeSecondsOfPath(path: ScanPath, options: TimeOptions): number {
  return sumParts(computeParts(path, options));
}

function computeParts(path: ScanPath, { motion, settings, grid }: TimeOptions): TimeParts {
  const { speedMmPerS, passes } = settings;
  const { pitchMm, lineSpacingMm } = grid;
  if (!(speedMmPerS > 0 && pitchMm > 0 && lineSpacingMm > 0)) {
    throw new RangeError(
      `time needs speed, pitch and spacing above 0, got ${speedMmPerS} mm/s, ${pitchMm} mm, ${lineSpacingMm} mm`,
    );
  }
  if (!(Number.isInteger(passes) && passes >= 1)) throw new RangeError(`passes is a whole number ≥ 1, got ${passes}`);
  const { runUpMm, runUpS } = computeRunUp(motion, speedMmPerS, path.bare);
  const move = motion.kind === 'galvo' ? openJump(motion) : openTravel(motion);
  let movingS = 0;
  for (const { dots, runUps, rows, count } of path.moves) {
    movingS += count * move(dots * pitchMm + runUps * runUpMm, rows * lineSpacingMm);
  }
  return {
    markingS: passes * markSeconds(path, { motion, settings, grid }),
    bareS: (passes * path.bareDots * pitchMm) / speedMmPerS,
    movingS: passes * movingS,
    turningS: passes * path.lines * 2 * runUpS,
    waitingS: passes * path.lines * waitSecondsPerLine(motion),
    overheadS: motion.jobOverheadS,
  };
}

/** Between the first and the last dot of each line, one pass, s. */
function markSeconds(
  { bare, spanDots, firedDots, gaps }: ScanPath,
  { motion, settings: { speedMmPerS }, grid: { pitchMm } }: TimeOptions,
): number {
  if (motion.kind !== 'galvo' || bare !== 'dot-by-dot') return (spanDots * pitchMm) / speedMmPerS;
  const { dotDelayUs = 0, gapDelayUs = 0, skipSpeedMmPerS = motion.jumpSpeedMmPerS } = motion;
  const firedS = firedDots * (pitchMm / speedMmPerS + dotDelayUs / 1e6);
  return firedS + gaps * (gapDelayUs / 1e6) + ((spanDots - firedDots) * pitchMm) / skipSpeedMmPerS;
}

function sumParts({ markingS, bareS, movingS, turningS, waitingS, overheadS }: TimeParts): number {
  return markingS + bareS + movingS + turningS + waitingS + overheadS;
}

/** Before and after each line; a gantry runs on over its overtravel at scan speed. */
function computeRunUp(
  motion: Motion,
  speedMmPerS: number,
  bare: BareHandling,
): { readonly runUpMm: number; readonly runUpS: number } {
  // From dot to dot there is no scan speed to be gained; what a line takes beside its dots is in the delays.
  if (bare === 'dot-by-dot') return { runUpMm: 0, runUpS: 0 };
  const { distanceMm, seconds } = computeRamp(driveOf(motion, speedMmPerS));
  const overtravelMm = motion.kind === 'gantry' ? motion.overtravelMm : 0;
  return { runUpMm: distanceMm + overtravelMm, runUpS: seconds + overtravelMm / speedMmPerS };
}

function driveOf(motion: Motion, speedMmPerS: number): Drive {
  const riseS = motion.kind === 'gantry' ? (motion.accelerationRiseMs ?? 0) / 1000 : 0;
  return { speedMmPerS, accelerationMmPerS2: motion.accelerationMmPerS2, riseS };
}

type Move = (dxMm: number, dyMm: number) => number;

/** A jump of this length settles within a time constant times ln 2. Assumed: about what a mark forgives. */
const SETTLED_MM = 0.01;

/**
 * A galvo jumps along the straight line: the controller sets speed and acceleration of the spot, not of each mirror.
 * What is left of the way when the jump has been told dies away exponentially, until it is no more than SETTLED_MM.
 */
function openJump(motion: GalvoMotion): Move {
  const drive = driveOf(motion, motion.jumpSpeedMmPerS);
  const settlingS = (motion.settlingUs ?? 0) / 1e6;
  return (dxMm, dyMm) => {
    const distanceMm = Math.hypot(dxMm, dyMm);
    const settling = settlingS > 0 ? settlingS * Math.log1p(distanceMm / SETTLED_MM) : 0;
    return computeMoveSeconds(distanceMm, drive) + settling;
  };
}

/** The axes of a gantry travel at once, each by itself: the slower one decides. */
function openTravel(motion: GantryMotion): Move {
  const drive = driveOf(motion, motion.travelSpeedMmPerS);
  return (dxMm, dyMm) => Math.max(computeMoveSeconds(Math.abs(dxMm), drive), computeMoveSeconds(Math.abs(dyMm), drive));
}

const LINES: Readonly<Record<BareHandling, string>> = {
  skipped:
    'Lines without dots and the blank ends of lines are skipped. Marking: from the first to the last dot of each line at scan speed v, blanks between them included.',
  'line-ends-scanned':
    'Lines without dots are skipped; all others are scanned over the whole width of the bitmap. Marking: from the first to the last dot of each line at scan speed v, blanks between them included. Bare: the rest of the width, at the same speed.',
  'all-scanned':
    'Every line is scanned over the whole width of the bitmap. Marking: from the first to the last dot of each line at scan speed v, blanks between them included. Bare: the rest of the width, and lines without dots, at the same speed.',
  'dot-by-dot':
    'Each dot is burned by itself. Marking: every dot that fires takes its pitch at scan speed v and the dot delay; every gap between the dots of a line takes the gap delay and its length at the skip speed. Lines without dots and the blank ends of lines are skipped.',
};

const MOTIONS: Readonly<Record<Motion['kind'], string>> = {
  galvo:
    'Moving: the spot jumps straight to the next line; a jump of length d at jump speed j takes 2j/a + (d − j²/a)/j, or 2√(d/a) when it is shorter than j²/a. Waiting: jump, line, beam-on and beam-off delay, once a line.',
  gantry:
    'Turning: before and after each line the head gains and loses its speed at acceleration a and runs on over the overtravel o at scan speed, 2v/a + 2o/v a line. Moving: both axes travel to the next line at once and the slower one counts; d at travel speed t takes 2t/a + (d − t²/a)/t, or 2√(d/a) when it is shorter than t²/a. Waiting: the turn delay, once a line.',
};

const GALVO_TURNING =
  'Turning: before and after each line the spot gains and loses its speed at acceleration a, 2v/a a line.';

const RISE =
  'Acceleration rises and falls in the time r: gaining the speed v takes v/a + r, or 2√(v·r/a) below v = a·r; a move that does not reach its speed takes r + √(r² + 4d/a), or 4·∛(d·r/2a) below d = 2a·r².';
const SETTLING = `After a jump of length d the mirrors settle for τ·ln(1 + d/${SETTLED_MM} mm), counted with the move.`;

function describeFormula(motion: Motion, bare: BareHandling): string {
  const rises = motion.kind === 'gantry' && (motion.accelerationRiseMs ?? 0) > 0;
  const settles = motion.kind === 'galvo' && (motion.settlingUs ?? 0) > 0;
  const more = rises ? ` ${RISE}` : settles ? ` ${SETTLING}` : '';
  const sum = { skipped: 'marking + turning', 'dot-by-dot': 'marking' }[bare as string] ?? 'marking + bare + turning';
  const turning = motion.kind === 'galvo' && bare !== 'dot-by-dot' ? `${GALVO_TURNING} ` : '';
  return `${LINES[bare]} ${turning}${MOTIONS[motion.kind]}${more} Each pass ends with the move back to where it began. Time = overhead + passes × (${sum} + moving + waiting).`;
}
