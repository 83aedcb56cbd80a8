import { tabulate } from '../numeric/index.ts';
import type { ScanExtents } from './extents.ts';
import type { BareHandling } from './types.ts';

/** The moves of one kind from the end of a scan line to the start of the next, by the beam's off. */
export interface MoveGroup {
  /** Along the scan line, from the last dot of the one line to the first of the other, dots, ≥ 0 or < 0. */
  readonly dots: number;
  /** Run-ups that come on top, in the same sense: −2, 0 or 2. */
  readonly runUps: number;
  /** Across the scan lines, rows, ≥ 0. */
  readonly rows: number;
  readonly count: number;
}

/** The way of the spot over a bitmap, without speeds: all that the clock needs, in few numbers. */
export interface ScanPath {
  readonly width: number;
  readonly height: number;
  readonly scan: 'one-way' | 'two-way';
  readonly bare: BareHandling;
  /** Scan lines that are run, and lines that are left out. */
  readonly lines: number;
  readonly emptyLines: number;
  readonly firedDots: number;
  /** Between dots that fire, within lines. */
  readonly gaps: number;
  /** From the first to the last dot of each line, dots. */
  readonly spanDots: number;
  /** What is scanned beside, at the ends of lines and in lines without dots, dots. */
  readonly bareDots: number;
  readonly moves: readonly MoveGroup[];
}

/**
 * Follow the spot over the lines and gather like moves: a picture of thousands of lines has some dozens of them, so
 * that a fit can try hundreds of motions on it.
 */
export function tracePath(
  extents: ScanExtents,
  { scan, bare = 'skipped' }: { readonly scan: 'one-way' | 'two-way'; readonly bare?: BareHandling | undefined },
): ScanPath {
  const { width, height, firedDots, runs } = extents;
  let spanDots = 0;
  for (let at = 0; at < extents.rows.length; at++) spanDots += extents.last[at]! + 1 - extents.first[at]!;
  const scanned = widenExtents(extents, bare);
  const lines = scanned.rows.length;
  let scannedDots = 0;
  for (let at = 0; at < lines; at++) scannedDots += scanned.last[at]! + 1 - scanned.first[at]!;
  return {
    width,
    height,
    scan,
    bare,
    lines,
    emptyLines: height - lines,
    firedDots,
    gaps: runs - extents.rows.length,
    spanDots,
    bareDots: scannedDots - spanDots,
    moves: groupMoves(scanned, scan),
  };
}

type Lines = Pick<ScanExtents, 'rows' | 'first' | 'last'>;

function widenExtents({ rows, first, last, width, height }: ScanExtents, bare: BareHandling): Lines {
  if (bare === 'skipped' || bare === 'dot-by-dot' || rows.length === 0) return { rows, first, last };
  const all = bare === 'all-scanned' ? tabulate(new Int32Array(height), (y) => y) : rows;
  return { rows: all, first: new Int32Array(all.length), last: new Int32Array(all.length).fill(width - 1) };
}

/** Each pass ends with the move back to where it began, so that every pass takes the same time. */
function groupMoves({ rows, first, last }: Lines, scan: 'one-way' | 'two-way'): MoveGroup[] {
  const groups = new Map<number, { dots: number; runUps: number; rows: number; count: number }>();
  const lines = rows.length;
  const leftwards = (at: number) => scan === 'two-way' && at % 2 === 1;
  for (let at = 0; at < lines; at++) {
    const next = at + 1 < lines ? at + 1 : 0;
    const [from, to] = [leftwards(at), leftwards(next)];
    const dots = (to ? last[next]! + 1 : first[next]!) - (from ? first[at]! : last[at]! + 1);
    const runUps = (to ? 1 : -1) - (from ? -1 : 1);
    const across = Math.abs(rows[next]! - rows[at]!);
    // One number for the three: dots and rows are below 2²¹, run-ups one of −2, 0 and 2.
    const key = ((dots + 2 ** 21) * 3 + runUps / 2 + 1) * 2 ** 22 + across;
    const known = groups.get(key);
    if (known) known.count++;
    else groups.set(key, { dots, runUps, rows: across, count: 1 });
  }
  return [...groups.values()];
}
