import { AppError } from '../../errors.ts';
import type { Machine } from '../../machine/index.ts';
import {
  assignToPockets,
  type FrameOptions,
  frameJig,
  type Jig,
  type Packed,
  type PieceSize,
  type Pocket,
  packPlates,
  placeInPocket,
  type RectangleMm,
  refuseBeyondField,
  roundMm,
  type StripRoom,
} from '../../plate/index.ts';
import { isRoundSize } from '../../units.ts';
import type { PlateJob } from './jobs.ts';

/** Pieces are laid into the pockets of a jig that is there, or nested, which makes a jig for each layout. */
export type LayoutSource =
  | { readonly kind: 'jig'; readonly jig: Jig }
  | { readonly kind: 'packed'; readonly frame: FrameOptions; readonly strip?: StripRoom };

/** One copy of a piece in its place. */
export interface PlacedPiece {
  readonly job: PlateJob;
  /** Which of its copies, from 1. */
  readonly copy: number;
  readonly pocket: string;
  /** Turned by a quarter, clockwise. */
  readonly turned: boolean;
  /** Where it lies, in jig coordinates. */
  readonly place: RectangleMm;
}

export interface PlacedPlate {
  readonly machine: Machine;
  readonly jig: Jig;
  readonly pieces: readonly PlacedPiece[];
}

/** Pieces of one machine and one material: what may lie on one plate. */
export interface PieceBatch {
  readonly machine: string;
  readonly material: string;
  readonly pieces: number;
  readonly plates: number;
  /** Plates below which no layout exists. */
  readonly lowerBound: number;
  /** How the layout was found, and how good it is, in plain words. */
  readonly explanation: string;
}

export interface LayOptions {
  readonly source: LayoutSource;
  readonly quarterTurns: boolean;
  /** @throws AppError name-unknown */
  readonly readMachine: (name: string) => Machine;
}

export interface Layout {
  readonly plates: readonly PlacedPlate[];
  readonly batches: readonly PieceBatch[];
  /** What was not done and why, in plain words. */
  readonly notes: readonly string[];
}

/**
 * Lay the copies of all jobs onto the fewest plates, batch by batch, in the sequence of the jobs.
 * @throws AppError piece-fits-nowhere, jig-exceeds-field, name-unknown; option-invalid when a job is for another
 * machine than the jig
 */
export function layPieces(jobs: readonly PlateJob[], options: LayOptions): Layout {
  const plates: PlacedPlate[] = [];
  const batches: PieceBatch[] = [];
  const notes = options.quarterTurns ? listUnturned(jobs) : [];
  for (const own of groupBatches(jobs)) {
    const { machine: named, material } = own[0]!.ticket;
    const machine = options.readMachine(named.name);
    const copies = own.flatMap((job) => Array.from({ length: job.count }, (_, at) => ({ job, copy: at + 1 })));
    const sizes = copies.map(({ job }) => sizeOf(job, options.quarterTurns));
    const laid =
      options.source.kind === 'jig'
        ? layIntoPockets(copies, { sizes, jig: options.source.jig, machine })
        : nestPieces(copies, { sizes, source: options.source, machine, first: countJigs(plates) + 1 });
    plates.push(...laid.plates);
    const { lowerBound, explanation } = laid;
    batches.push({
      machine: machine.name,
      material: material.name,
      pieces: copies.length,
      plates: laid.plates.length,
      lowerBound,
      explanation,
    });
  }
  if (batches.length > 1) {
    notes.push(
      `Pieces of different machines or materials do not share a plate, since focus and fixture are set once a plate: ${batches.map(({ machine, material, plates: count }) => `${material} on ${machine} takes ${count}`).join(', ')}.`,
    );
  }
  return { plates, batches, notes };
}

/** Whether pitch and line spacing are one, so that a quarter turn moves whole dots to whole dots. */
function hasSquareDots({ ticket: { grid } }: PlateJob): boolean {
  return Math.abs(grid.pitchMm - grid.lineSpacingMm) <= 1e-9;
}

function listUnturned(jobs: readonly PlateJob[]): string[] {
  return jobs
    .filter((job) => !hasSquareDots(job))
    .map(
      ({ ticket: { name, grid } }) =>
        `${name} is not turned: its dots are ${grid.pitchMm} × ${grid.lineSpacingMm} mm, so that a quarter turn would need other dots. Prepare it upright instead.`,
    );
}

function groupBatches(jobs: readonly PlateJob[]): PlateJob[][] {
  const batches = new Map<string, PlateJob[]>();
  for (const job of jobs) {
    const key = JSON.stringify([job.ticket.machine.name, job.ticket.material.name]);
    batches.set(key, [...(batches.get(key) ?? []), job]);
  }
  return [...batches.values()];
}

function sizeOf(job: PlateJob, quarterTurns: boolean): PieceSize {
  const { name, piece } = job.ticket;
  return {
    name,
    widthMm: roundMm(piece.widthMm),
    heightMm: roundMm(piece.heightMm),
    mayTurn: quarterTurns && hasSquareDots(job),
    isRound: isRoundSize(piece),
  };
}

type Copy = Pick<PlacedPiece, 'job' | 'copy'>;

interface Placement {
  readonly plates: readonly PlacedPlate[];
  readonly lowerBound: number;
  readonly explanation: string;
}

function layIntoPockets(
  copies: readonly Copy[],
  { sizes, jig, machine }: { readonly sizes: readonly PieceSize[]; readonly jig: Jig; readonly machine: Machine },
): Placement {
  if (jig.machine !== undefined && jig.machine !== machine.name) {
    throw new AppError(
      'option-invalid',
      `${copies[0]!.job.ticket.name}: found a job for ${machine.name}, but the jig ${jig.name} lies under ${jig.machine}; prepare the photo for that machine, or take another jig`,
      { job: copies[0]!.job.ticket.name, machine: machine.name, jig: jig.machine },
    );
  }
  refuseBeyondField(jig, { fieldMm: machine.fieldMm, machine: machine.name });
  const pockets = jig.pockets.filter(({ use }) => use === 'piece');
  const { assignments, plates, lowerBound } = assignToPockets(sizes, pockets);
  const byName = new Map(pockets.map((pocket) => [pocket.name, pocket]));
  const laid = Array.from({ length: plates }, (_, plate) => ({
    machine,
    jig,
    pieces: assignments
      .filter((one) => one.plate === plate)
      .map(({ piece, pocket, turned }) => ({
        ...copies[piece]!,
        pocket,
        turned,
        place: placeInPocket(byName.get(pocket)!, turnSize(sizes[piece]!, turned)),
      })),
  }));
  return {
    plates: laid,
    lowerBound,
    explanation: `${say(copies.length, 'piece')} in ${say(pockets.length, 'pocket')} a plate: ${say(plates, 'plate')}, the fewest possible. Which sizes fit which pockets is a flow problem; its largest flow shows that ${plates - 1} would not hold them all. Tight pockets are taken before loose ones, pieces in the sequence of the order.`,
  };
}

function turnSize({ widthMm, heightMm }: PieceSize, turned: boolean) {
  return turned ? { widthMm: heightMm, heightMm: widthMm } : { widthMm, heightMm };
}

interface NestingOptions {
  readonly sizes: readonly PieceSize[];
  readonly source: Extract<LayoutSource, { kind: 'packed' }>;
  readonly machine: Machine;
  /** Number of the first jig, for its name. */
  readonly first: number;
}

function nestPieces(copies: readonly Copy[], { sizes, source, machine, first }: NestingOptions): Placement {
  const { frame, strip } = source;
  const { gapMm, marginMm } = frame;
  const room = {
    widthMm: roundMm(machine.fieldMm[0] - 2 * marginMm),
    // The strip lies below the pieces, wherever they end.
    heightMm: roundMm(machine.fieldMm[1] - 2 * marginMm - (strip ? strip.breadthMm + gapMm : 0)),
  };
  if (room.widthMm <= 0 || room.widthMm < (strip?.lengthMm ?? 0) || room.heightMm <= 0) {
    throw new AppError(
      'jig-exceeds-field',
      `found a field of ${machine.fieldMm[0]} × ${machine.fieldMm[1]} mm (${machine.name}) with a margin of ${marginMm} mm${strip ? ` and a control strip of ${strip.lengthMm} × ${strip.breadthMm} mm` : ''}; nothing is left for pieces, ${room.widthMm} × ${room.heightMm} mm`,
      { fieldMm: machine.fieldMm, marginMm },
    );
  }
  const { placed, plates, lowerBound } = packPlates(sizes, { ...room, gapMm });
  const cutAs = ({ piece }: Packed) => (sizes[piece]!.isRound ? { round: true as const } : {});
  const known: Jig[] = [];
  // Boards of one size have one place of the machine's stop.
  const roomMm = [room.widthMm, roundMm(machine.fieldMm[1] - 2 * marginMm)] as const;
  const laid = Array.from({ length: plates }, (_, plate) => {
    const own = placed.filter((one) => one.plate === plate).map((one) => ({ ...one, ...cutAs(one) }));
    const found = known.find((jig) => matchPockets(own, jig));
    const name = `${frame.name}-${first + known.length}`;
    const options = { ...frame, machine: machine.name, roomMm, name, title: `${frame.title} ${first + known.length}` };
    const jig = found ?? frameJig(pocketsOf(own, { frame, ...(strip ? { strip } : {}) }), options);
    if (!found) known.push(jig);
    const pockets = matchPockets(own, jig)!;
    const pieces = own.map(({ piece, turned }, at) => {
      const { name: pocket, xMm, yMm, widthMm, heightMm } = pockets[at]!;
      return { ...copies[piece]!, pocket, turned, place: { xMm, yMm, widthMm, heightMm } };
    });
    return { machine, jig, pieces };
  });
  const best =
    plates === lowerBound
      ? 'the fewest possible, as no packing needs less than the bound of Fekete and Schepers'
      : `the bound of Fekete and Schepers is ${lowerBound}, so at most ${say(plates - lowerBound, 'plate')} could be saved`;
  return {
    plates: laid,
    lowerBound,
    explanation: `${say(copies.length, 'piece')} packed into ${room.widthMm} × ${room.heightMm} mm a plate with gaps of ${gapMm} mm: ${say(plates, 'plate')}; ${best}. Largest pieces first into the first plate with room, by maximal rectangles; the best of several orders is kept. ${say(known.length, 'jig')} to cut.`,
  };
}

/** A packed piece, and whether its pocket is cut round: it takes the square of its diameter either way. */
type Cut = Packed & { readonly round?: true };

/** A pocket of exactly its size and shape for each piece, if the jig has them all: then it serves this plate, too. */
function matchPockets(own: readonly Cut[], jig: Jig): Pocket[] | undefined {
  const free = jig.pockets.filter(({ use }) => use === 'piece');
  const taken: Pocket[] = [];
  for (const { widthMm, heightMm, round } of own) {
    const at = free.findIndex(
      (pocket) => pocket.round === round && pocket.widthMm === widthMm && pocket.heightMm === heightMm,
    );
    if (at < 0) return undefined;
    taken.push(...free.splice(at, 1));
  }
  return taken;
}

function pocketsOf(
  own: readonly Cut[],
  { frame, strip }: { readonly frame: FrameOptions; readonly strip?: StripRoom },
): Pocket[] {
  const pockets: Pocket[] = own.map(({ xMm, yMm, widthMm, heightMm, round }, at) => ({
    name: `P${at + 1}`,
    xMm,
    yMm,
    widthMm,
    heightMm,
    stop: frame.stop,
    use: 'piece',
    ...(round ? { round } : {}),
  }));
  if (!strip) return pockets;
  const lowest = Math.max(...own.map(({ yMm, heightMm }) => yMm + heightMm));
  const { lengthMm, breadthMm } = strip;
  const yMm = roundMm(lowest + frame.gapMm);
  return [
    ...pockets,
    { name: 'STRIP', xMm: 0, yMm, widthMm: lengthMm, heightMm: breadthMm, stop: frame.stop, use: 'strip' },
  ];
}

const countJigs = (plates: readonly PlacedPlate[]) => new Set(plates.map(({ jig }) => jig)).size;
const say = (count: number, what: string) => `${count} ${what}${count === 1 ? '' : 's'}`;
