import type { BurnSettings } from '../optics/index.ts';
import type { DotGrid, Dots } from '../plane/index.ts';
import { findExtents, type ScanExtents } from './extents.ts';
import type { RunUp } from './motions/motion.ts';
import { motionRecord } from './motions/register.ts';
import { ASSUMED_ROTARY, computeTurnSeconds } from './rotary.ts';
import { type ScanPath, tracePath } from './scan-path.ts';
import type { BareHandling, Motion } from './types.ts';

export interface TimeOptions {
  readonly motion: Motion;
  /** Speed, passes and scan direction are used. */
  readonly settings: BurnSettings;
  readonly grid: DotGrid;
  /** Of a piece that a rotary turns from line to line; flat when absent. */
  readonly turn?: TurnedLines | undefined;
}

/** How far a rotary turns from line to line. */
export interface TurnedLines {
  readonly degreesPerLine: number;
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
export function estimateTimeOfPath(path: ScanPath, { motion, settings, grid, turn }: TimeOptions): TimeEstimate {
  const { speedMmPerS, passes } = settings;
  const { pitchMm, lineSpacingMm } = grid;
  const parts = computeParts(path, { motion, settings, grid, turn });
  return {
    seconds: sumParts(parts),
    parts,
    passes,
    scanLines: path.lines,
    emptyLines: path.emptyLines,
    markedLengthMm: path.firedDots * pitchMm,
    scannedLengthMm: (path.spanDots + path.bareDots) * pitchMm,
    runUpMm: computeRunUp(motion, speedMmPerS, path.bare).runUpMm,
    formula: describeFormula(motion, path.bare, turn),
    inputs: {
      widthDots: path.width,
      heightDots: path.height,
      pitchMm,
      lineSpacingMm,
      speedMmPerS,
      passes,
      scan: path.scan,
      ...(turn ? { ...ASSUMED_ROTARY, ...motion, degreesPerLine: turn.degreesPerLine } : motion),
      bare: path.bare,
    },
  };
}

/** The seconds of `estimateTimeOfPath` alone, for fits that try hundreds of motions. */
export function computeSecondsOfPath(path: ScanPath, options: TimeOptions): number {
  return sumParts(computeParts(path, options));
}

function computeParts(path: ScanPath, { motion, settings, grid, turn }: TimeOptions): TimeParts {
  const { speedMmPerS, passes } = settings;
  const { pitchMm, lineSpacingMm } = grid;
  if (!(speedMmPerS > 0 && pitchMm > 0 && lineSpacingMm > 0)) {
    throw new RangeError(
      `time needs speed, pitch and spacing above 0, got ${speedMmPerS} mm/s, ${pitchMm} mm, ${lineSpacingMm} mm`,
    );
  }
  if (!(Number.isInteger(passes) && passes >= 1)) throw new RangeError(`passes is a whole number ≥ 1, got ${passes}`);
  const { createMove, computeWaitS } = motionRecord(motion);
  const { runUpMm, runUpS } = computeRunUp(motion, speedMmPerS, path.bare);
  const move = createMove(motion);
  let movingS = 0;
  for (const { dots, runUps, rows, count } of path.moves) {
    const alongMm = dots * pitchMm + runUps * runUpMm;
    // The rotary turns while the spot goes back along the line; the slower of the two decides.
    movingS += turn
      ? count * Math.max(move(alongMm, 0), computeTurnSeconds(rows * turn.degreesPerLine, motion))
      : count * move(alongMm, rows * lineSpacingMm);
  }
  return {
    markingS: passes * markSeconds(path, { motion, settings, grid }),
    bareS: (passes * path.bareDots * pitchMm) / speedMmPerS,
    movingS: passes * movingS,
    turningS: passes * path.lines * 2 * runUpS,
    waitingS: passes * path.lines * computeWaitS(motion),
    overheadS: motion.jobOverheadS,
  };
}

/** Between the first and the last dot of each line, one pass, s. */
function markSeconds(
  { bare, spanDots, firedDots, gaps }: ScanPath,
  { motion, settings: { speedMmPerS }, grid: { pitchMm } }: TimeOptions,
): number {
  const { dotByDot } = motionRecord(motion);
  if (bare !== 'dot-by-dot' || !dotByDot) return (spanDots * pitchMm) / speedMmPerS;
  const { dotS, gapS, skipSpeedMmPerS } = dotByDot.computeTimes(motion);
  const firedS = firedDots * (pitchMm / speedMmPerS + dotS);
  return firedS + gaps * gapS + ((spanDots - firedDots) * pitchMm) / skipSpeedMmPerS;
}

function sumParts({ markingS, bareS, movingS, turningS, waitingS, overheadS }: TimeParts): number {
  return markingS + bareS + movingS + turningS + waitingS + overheadS;
}

/** Before and after each line. */
function computeRunUp(motion: Motion, speedMmPerS: number, bare: BareHandling): RunUp {
  // From dot to dot there is no scan speed to be gained; what a line takes beside its dots is in the delays.
  if (bare === 'dot-by-dot') return { runUpMm: 0, runUpS: 0 };
  return motionRecord(motion).computeRunUp(motion, speedMmPerS);
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

const ROTARY =
  ' On a rotary the way to the next line is a turn by its angle, by the same law with speed and acceleration in degrees, and the time in which it comes to rest; the spot goes along the line meanwhile, and the slower of both counts.';

function describeFormula(motion: Motion, bare: BareHandling, turn: TurnedLines | undefined): string {
  const sum = { skipped: 'marking + turning', 'dot-by-dot': 'marking' }[bare as string] ?? 'marking + bare + turning';
  return `${LINES[bare]} ${motionRecord(motion).describeFormula(motion, bare)}${turn ? ROTARY : ''} Each pass ends with the move back to where it began. Time = overhead + passes × (${sum} + moving + waiting).`;
}
