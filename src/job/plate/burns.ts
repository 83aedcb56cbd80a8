import { AppError } from '../../errors.ts';
import { type Machine, moveBackLines } from '../../machine/index.ts';
import { countFiring, type Dots, encodeDots, type PictureFormat, sha256 } from '../../plane/index.ts';
import { type Aim, type PointMm, type RectangleMm, roundMm, toControlPlace } from '../../plate/index.ts';
import type { PlacedPiece, PlacedPlate } from './batches.ts';
import { composeDots } from './dots.ts';
import type { JobTicket } from './jobs.ts';
import type { PlateBurn } from './ticket.ts';
import { type BitmapTime, timeBitmap } from './time.ts';

/** Most dots of a plate's bitmap, as for photos. Assumed: what a computer of the trade holds in memory. */
const MOST_DOTS = 268_435_456;

/** What lies in a bitmap: a piece or the strip, with its dots. */
export interface Part {
  readonly place: RectangleMm;
  readonly dots: Dots;
  /** Absent for the strip. */
  readonly piece?: PlacedPiece;
  /** Screened for this very place: no copy of it has the same dots. */
  readonly isOwn?: boolean;
  /** As a bitmap of its own. */
  readonly time: BitmapTime;
}

export interface Group {
  readonly ticket: JobTicket;
  readonly parts: Part[];
}

/** Pieces that may share a bitmap: the same dots apart, levels, settings and profile. */
export function groupBurns(parts: readonly Part[], bitmaps: 'plate' | 'piece'): Group[] {
  const groups = new Map<string, Group>();
  for (const [at, part] of parts.entries()) {
    const { ticket } = part.piece!.job;
    const { grid, settings, bitmap, profile } = ticket;
    const { powerW, speedMmPerS, rateKHz, pulseNs, passes, scan } = settings;
    const shared = [
      [grid.pitchMm, grid.lineSpacingMm, bitmap.levels],
      [powerW, speedMmPerS, rateKHz, pulseNs, passes, scan],
      [profile.name, profile.sha256],
    ];
    const key = bitmaps === 'piece' ? String(at) : JSON.stringify(shared);
    const group = groups.get(key) ?? { ticket, parts: [] };
    group.parts.push(part);
    groups.set(key, group);
  }
  return [...groups.values()];
}

/** The strip goes into the first bitmap, which is of its settings; or is a bitmap of its own. */
export function addStrip(
  groups: Group[],
  { strip, bitmaps }: { readonly strip: Part; readonly bitmaps: 'plate' | 'piece' },
): void {
  const [first] = groups;
  if (bitmaps === 'plate' && strip.dots.levels === first!.ticket.bitmap.levels) first!.parts.push(strip);
  else groups.push({ ticket: first!.ticket, parts: [strip] });
}

export interface BurnFacts {
  readonly aim: Aim;
  readonly machine: Machine;
  readonly format: PictureFormat;
  readonly bitmaps: 'plate' | 'piece';
  readonly sequence: number;
  readonly of: number;
  readonly name: string;
  readonly plate: PlacedPlate;
}

/**
 * One bitmap over the smallest rectangle that holds its parts; its upper left dot lies exactly at the outermost part.
 */
export function burnGroup({ ticket, parts }: Group, facts: BurnFacts) {
  const { aim, machine, format, sequence, name, plate } = facts;
  const { grid, settings } = ticket;
  const { pitchMm, lineSpacingMm } = grid;
  const xMm = Math.min(...parts.map(({ place }) => place.xMm));
  const yMm = Math.min(...parts.map(({ place }) => place.yMm));
  const placed = parts.map((part) => {
    const xDots = Math.round((part.place.xMm - xMm) / pitchMm);
    const yDots = Math.round((part.place.yMm - yMm) / lineSpacingMm);
    const off: PointMm = {
      xMm: roundMm(xMm + xDots * pitchMm - part.place.xMm),
      yMm: roundMm(yMm + yDots * lineSpacingMm - part.place.yMm),
    };
    return { part, dots: part.dots, xDots, yDots, off };
  });
  const width = Math.max(...placed.map(({ xDots, dots }) => xDots + dots.width));
  const height = Math.max(...placed.map(({ yDots, dots }) => yDots + dots.height));
  if (width * height > MOST_DOTS) {
    throw new AppError(
      'option-invalid',
      `${name}: found a bitmap of ${width} × ${height} dots, needed at most ${MOST_DOTS}; burn each piece by a bitmap of its own`,
      { width, height, most: MOST_DOTS, options: ['bitmaps'] },
    );
  }
  const composed = placed.length === 1 ? placed[0]!.dots : composeDots(placed, { width, height });
  // Lines turn otherwise than in the piece's own bitmap, so they are brought together here.
  const byDots = parts.find(({ piece }) => piece?.job.ticket.twoWay)?.piece?.job.ticket.twoWay?.movedDots ?? 0;
  const dots = moveBackLines(composed, { byDots, bare: machine.motion.bare });
  const bytes = encodeDots(dots, grid, { format });
  const [first] = parts;
  const file = { name: nameBitmap(first!, facts), bytes };
  const place = { xMm, yMm, widthMm: roundMm(width * pitchMm), heightMm: roundMm(height * lineSpacingMm) };
  const burn: PlateBurn = {
    sequence,
    file: file.name,
    sha256: sha256(bytes),
    format,
    widthDots: width,
    heightDots: height,
    // What a reader of the file cannot see is how many of 256 greys were meant.
    levels: first!.piece ? ticket.bitmap.levels : dots.levels,
    firing: countFiring(dots) / (width * height),
    grid,
    settings,
    profile: { name: ticket.profile.name, title: ticket.profile.title },
    pieces: parts.flatMap(({ piece }) => (piece ? [plate.pieces.indexOf(piece) + 1] : [])),
    strip: parts.some(({ piece }) => !piece),
    place,
    control: toControlPlace(place, aim),
    time: placed.length === 1 ? first!.time : timeBitmap(dots, { machine, settings, grid }),
  };
  return { file, burn, placed };
}

/** A bitmap of one piece is named after the piece, so that copies share it; one of a plate after the plate. */
function nameBitmap({ piece, isOwn }: Part, { name, sequence, of, format, bitmaps }: BurnFacts): string {
  if (!piece) return `${name}.strip.${format}`;
  if (bitmaps === 'piece' && isOwn) return `${name}.piece-${sequence}.${format}`;
  if (bitmaps === 'piece') return `piece-${piece.job.ticket.name}${piece.turned ? '.turned' : ''}.${format}`;
  return of === 1 ? `${name}.${format}` : `${name}.${sequence}.${format}`;
}
