import { AppError } from '../errors.ts';
import type { Pocket } from './types.ts';

/** One piece to be placed; copies are pieces of their own. */
export interface PieceSize {
  /** What messages call it. */
  readonly name: string;
  readonly widthMm: number;
  readonly heightMm: number;
  /** Whether it may lie turned by a quarter. */
  readonly mayTurn: boolean;
  /** A round piece, which alone lies in a round pocket. */
  readonly isRound?: boolean;
}

export interface Assignment {
  /** Index of the piece. */
  readonly piece: number;
  /** From 0. */
  readonly plate: number;
  readonly pocket: string;
  readonly turned: boolean;
}

export interface Assigned {
  /** By plate, and within a plate in the order of the pockets. */
  readonly assignments: readonly Assignment[];
  readonly plates: number;
  /** Plates below which no assignment exists. */
  readonly lowerBound: number;
}

/** Whole micrometres, so that sizes compare exactly. */
const toUm = (mm: number) => Math.round(mm * 1000);

/**
 * Pieces into pockets on the fewest plates. Pieces of one size are one class, pockets of one size another; a class of
 * pieces may go where it fits. How many pieces a number of plates can hold is the largest flow through these classes,
 * and the number is raised from its bound until all pieces are held: so it is the least possible. Of all such flows the
 * one with the least spare room is taken, by shortest augmenting paths (source: 'ahujaMagnantiOrlin1993', successive
 * shortest paths). Within a class, pieces go to pockets in their order, plate by plate: the same list gives the same
 * plates.
 * @param pockets of one plate, for pieces
 * @throws AppError piece-fits-nowhere, with how much is missing in the pocket that comes nearest
 */
export function assignToPockets(pieces: readonly PieceSize[], pockets: readonly Pocket[]): Assigned {
  if (pieces.length === 0) return { assignments: [], plates: 0, lowerBound: 0 };
  const sizes = groupBy(
    pieces,
    ({ widthMm, heightMm, mayTurn, isRound }) => `${toUm(widthMm)} ${toUm(heightMm)} ${mayTurn} ${isRound === true}`,
  );
  const slots = groupBy(
    pockets,
    ({ widthMm, heightMm, round }) => `${toUm(widthMm)} ${toUm(heightMm)} ${round === true}`,
  );
  const fits = sizes.map((group) => slots.map((slot) => fitInto(pieces[group[0]!]!, pockets[slot[0]!]!)));
  for (const [at, row] of fits.entries()) {
    if (row.every((fit) => fit === undefined)) throw fitsNowhere(pieces[sizes[at]![0]!]!, pockets);
  }
  const supplies = sizes.map((group) => group.length);
  const spare = fits.map((row) => row.map((fit) => fit?.spareUm2));
  const holds = (plates: number) =>
    sendCheapest(
      supplies,
      slots.map((slot) => slot.length * plates),
      spare,
    );
  const lowerBound = boundFromClasses(fits, { supplies, slots });
  let plates = lowerBound;
  let flow = holds(plates);
  while (flow.sent < pieces.length) {
    plates++;
    flow = holds(plates);
  }
  const takers = slots.map(() => [] as { readonly piece: number; readonly turned: boolean }[]);
  for (const [size, group] of sizes.entries()) {
    let from = 0;
    for (const [slot, taken] of flow.amounts[size]!.entries()) {
      for (const piece of group.slice(from, from + taken))
        takers[slot]!.push({ piece, turned: fits[size]![slot]!.turned });
      from += taken;
    }
  }
  const assignments = slots.flatMap((slot, at) =>
    takers[at]!.sort((a, b) => a.piece - b.piece).map(({ piece, turned }, rank) => ({
      piece,
      plate: Math.floor(rank / slot.length),
      pocket: slot[rank % slot.length]!,
      turned,
    })),
  );
  assignments.sort((a, b) => a.plate - b.plate || a.pocket - b.pocket);
  return {
    assignments: assignments.map((one) => ({ ...one, pocket: pockets[one.pocket]!.name })),
    plates,
    // The flow shows that one plate less does not hold them all.
    lowerBound: plates,
  };
}

interface FitInto {
  readonly turned: boolean;
  /** Area of the pocket less that of the piece. */
  readonly spareUm2: number;
}

function fitInto(piece: PieceSize, pocket: Pocket): FitInto | undefined {
  const [width, height] = [toUm(piece.widthMm), toUm(piece.heightMm)];
  const [across, down] = [toUm(pocket.widthMm), toUm(pocket.heightMm)];
  if (pocket.round && !piece.isRound) return undefined;
  const spareUm2 = across * down - width * height;
  if (width <= across && height <= down) return { turned: false, spareUm2 };
  return piece.mayTurn && height <= across && width <= down ? { turned: true, spareUm2 } : undefined;
}

function fitsNowhere(piece: PieceSize, pockets: readonly Pocket[]): AppError {
  const short = (width: number, height: number, pocket: Pocket) => ({
    pocket: pocket.name,
    widthMm: Math.max(0, toUm(width) - toUm(pocket.widthMm)) / 1000,
    heightMm: Math.max(0, toUm(height) - toUm(pocket.heightMm)) / 1000,
  });
  const nearest = pockets
    .map((pocket) => short(piece.widthMm, piece.heightMm, pocket))
    .reduce((best, one) => (one.widthMm + one.heightMm < best.widthMm + best.heightMm ? one : best));
  if (nearest.widthMm === 0 && nearest.heightMm === 0) {
    return new AppError(
      'piece-fits-nowhere',
      `${piece.name}: found a piece of ${piece.widthMm} × ${piece.heightMm} mm with corners, but the pocket that comes nearest, ${nearest.pocket}, is round; needed a round piece, prepared in a size such as ⌀${piece.widthMm}, or a jig with other pockets`,
      { ...nearest, fitsTurned: false },
    );
  }
  const missing = [
    ...(nearest.widthMm > 0 ? [`${nearest.widthMm} mm in width`] : []),
    ...(nearest.heightMm > 0 ? [`${nearest.heightMm} mm in height`] : []),
  ];
  const turns = pockets.some((pocket) => fitInto({ ...piece, mayTurn: true }, pocket)?.turned);
  return new AppError(
    'piece-fits-nowhere',
    `${piece.name}: found a piece of ${piece.widthMm} × ${piece.heightMm} mm, but the pocket that comes nearest, ${nearest.pocket}, lacks ${missing.join(' and ')}${turns ? '; turned by a quarter it would fit' : ''}`,
    { ...nearest, fitsTurned: turns },
  );
}

/** Each class of pieces by itself, and all together. */
function boundFromClasses(
  fits: readonly (readonly (FitInto | undefined)[])[],
  { supplies, slots }: { readonly supplies: readonly number[]; readonly slots: readonly (readonly number[])[] },
): number {
  const alone = supplies.map((count, size) => {
    const places = slots.reduce((sum, slot, at) => sum + (fits[size]![at] ? slot.length : 0), 0);
    return Math.ceil(count / places);
  });
  const all = supplies.reduce((sum, count) => sum + count, 0) / slots.reduce((sum, slot) => sum + slot.length, 0);
  return Math.max(...alone, Math.ceil(all));
}

/** Indices by key, in the order in which the keys appear. */
function groupBy<T>(items: readonly T[], keyOf: (item: T) => string): readonly (readonly number[])[] {
  const groups = new Map<string, number[]>();
  for (const [at, item] of items.entries()) {
    const key = keyOf(item);
    const group = groups.get(key);
    if (group) group.push(at);
    else groups.set(key, [at]);
  }
  return [...groups.values()];
}

interface Flow {
  readonly sent: number;
  /** From supply to sink. */
  readonly amounts: readonly (readonly number[])[];
}

/**
 * Largest flow from supplies to sinks at least cost; an undefined cost is no way. Successive shortest paths found by
 * Bellman and Ford's relaxation, since ways back have negative cost.
 */
function sendCheapest(
  supplies: readonly number[],
  sinks: readonly number[],
  costs: readonly (readonly (number | undefined)[])[],
): Flow {
  const amounts = supplies.map(() => sinks.map(() => 0));
  const left = [...supplies];
  const room = [...sinks];
  let sent = 0;
  for (;;) {
    const path = findCheapestPath({ left, room, costs, amounts });
    if (!path) return { sent, amounts };
    const back = path.steps.map(({ from, to }) => ({ from, to }));
    const most = Math.min(
      left[path.start]!,
      room[path.end]!,
      ...back.slice(1).map(({ from: supply }, at) => amounts[supply]![back[at]!.to]!),
    );
    for (const [at, { from, to }] of back.entries()) {
      amounts[from]![to]! += most;
      if (at > 0) amounts[from]![back[at - 1]!.to]! -= most;
    }
    left[path.start]! -= most;
    room[path.end]! -= most;
    sent += most;
  }
}

interface Network {
  readonly left: readonly number[];
  readonly room: readonly number[];
  readonly costs: readonly (readonly (number | undefined)[])[];
  readonly amounts: readonly (readonly number[])[];
}

/**
 * Steps from a supply with something left to a sink with room; each further step leads back from the sink before it.
 */
function findCheapestPath({ left, room, costs, amounts }: Network) {
  const supplyCost = left.map((amount) => (amount > 0 ? 0 : Number.POSITIVE_INFINITY));
  const sinkCost = room.map(() => Number.POSITIVE_INFINITY);
  const cameToSink = room.map(() => -1);
  const cameToSupply = left.map(() => -1);
  for (let changed = true; changed; ) {
    changed = false;
    for (const [supply, row] of costs.entries()) {
      for (const [sink, cost] of row.entries()) {
        if (cost === undefined) continue;
        const there = supplyCost[supply]! + cost;
        if (there < sinkCost[sink]!) {
          sinkCost[sink] = there;
          cameToSink[sink] = supply;
          changed = true;
        }
        const back = sinkCost[sink]! - cost;
        if (amounts[supply]![sink]! > 0 && back < supplyCost[supply]!) {
          supplyCost[supply] = back;
          cameToSupply[supply] = sink;
          changed = true;
        }
      }
    }
  }
  let end = -1;
  for (const [sink, free] of room.entries()) {
    if (free > 0 && Number.isFinite(sinkCost[sink]) && (end < 0 || sinkCost[sink]! < sinkCost[end]!)) end = sink;
  }
  if (end < 0) return undefined;
  const steps: { from: number; to: number }[] = [];
  for (let sink = end; sink >= 0; ) {
    const from = cameToSink[sink]!;
    steps.unshift({ from, to: sink });
    sink = cameToSupply[from]!;
  }
  return { start: steps[0]!.from, end, steps };
}
