import { AppError } from '../../errors.ts';
import { sha256 } from '../../tasks/index.ts';
import { photoSettingsOf } from '../piece-settings.ts';
import type { OrderView } from '../protocol.ts';
import { outdateYes, viewYes } from '../server-agreed.ts';
import { type KeptPiece, keyOf, profileOf } from './lines.ts';
import type { StoredOrder } from './types.ts';

/*
 * What is asked of an order against what was made of it. A piece and the sums know what they were made of, as a key;
 * while the key is that of what is asked now, they hold.
 */

const agreedOf = ({ wish }: StoredOrder, piece: KeptPiece) => viewYes(piece.yes, photoSettingsOf(wish, piece.own));

const awaitsYes = (order: StoredOrder, piece: KeptPiece) =>
  order.onlyAgreed && !piece.excluded && !agreedOf(order, piece)?.holds;

/** Whether a run makes it: it is not left out, and agreed where the order asks for that. */
export const isWanted = (order: StoredOrder, piece: KeptPiece): boolean => !piece.excluded && !awaitsYes(order, piece);

/** Tells what the sums of an order are of from every other order: its pieces, what is asked of each, and how many. */
export function sumsKey(order: StoredOrder): string {
  const { wish } = order;
  const wanted = order.pieces.filter((piece) => isWanted(order, piece));
  return sha256(JSON.stringify(wanted.map((piece) => [piece.id, keyOf(wish, piece), piece.count]))).slice(0, 16);
}

/** @throws AppError option-invalid while something is asked that the sums do not hold */
export function assertSums(order: StoredOrder): void {
  if (order.totals && order.sumsOf === sumsKey(order)) return;
  throw new AppError('option-invalid', 'found pieces that are not made yet as they are asked, needed all made first');
}

/** Statuses that fit what is asked now: what was made of something else is changed, until it is asked for again. */
export function refreshStatuses(order: StoredOrder): void {
  order.pieces = order.pieces.map((piece) => {
    const { of, status, missing } = piece;
    if (of === null || status === 'making' || missing) return piece;
    const same = of === keyOf(order.wish, piece);
    if (status === 'done' && !same) return { ...piece, status: 'changed' };
    if (status === 'changed' && same) return { ...piece, status: 'done' };
    if (status === 'failed' && !same) return { ...piece, status: 'waiting', reason: null, of: null };
    return piece;
  });
}

/**
 * Stands for a key of what can no longer be asked for: a profile that says something else now. It is the key of
 * nothing.
 */
export const OUTDATED = '';

/** Takes what was made through a profile for outdated. @returns whether the order has such a piece */
export function outdate(order: StoredOrder, profile: string): boolean {
  const isMade = ({ status }: KeptPiece) => status === 'done' || status === 'changed';
  const through = order.pieces.filter(
    (piece) => (isMade(piece) || piece.yes) && profileOf(order.wish, piece) === profile,
  );
  if (through.length === 0) return false;
  order.pieces = order.pieces.map((piece) => {
    if (!through.includes(piece)) return piece;
    return { ...piece, ...(isMade(piece) ? { of: OUTDATED } : {}), yes: outdateYes(piece.yes) };
  });
  order.sumsOf = null;
  return true;
}

/** By the lines of the list, then by photo. */
export function sortPieces(pieces: readonly KeptPiece[]): readonly KeptPiece[] {
  const rank = ({ line }: KeptPiece) => line?.line ?? Number.POSITIVE_INFINITY;
  return [...pieces].sort((a, b) => {
    const [x, y] = [rank(a), rank(b)];
    return x === y ? (a.photo < b.photo ? -1 : a.photo > b.photo ? 1 : 0) : x - y;
  });
}

/** Files in the order's folder of results: its sums, and those of every piece that is made. */
export function listResults(order: StoredOrder): readonly string[] {
  const isMade = ({ status }: KeptPiece) => status === 'done' || status === 'changed';
  const made = order.pieces.filter((piece) => isWanted(order, piece) && isMade(piece));
  return ['order.json', 'order.csv', 'order.html', 'order.customer.html', ...made.flatMap(({ files }) => files)];
}

/** What the page shows of an order: sums and plates only while they are of what is asked. */
export function viewOf(order: StoredOrder): OrderView {
  const { plateFiles: _, sumsOf, platesOf, ...rest } = order;
  const key = sumsKey(order);
  const laid = platesOf === key;
  return {
    ...rest,
    pieces: order.pieces.map((piece) => {
      const { line: _line, of: _of, files: _files, yes: _yes, ...shown } = piece;
      return { ...shown, agreed: agreedOf(order, piece), awaitsYes: awaitsYes(order, piece) };
    }),
    totals: sumsOf === key ? order.totals : null,
    plates: laid ? order.plates : [],
    plateNotes: laid ? order.plateNotes : [],
  };
}
