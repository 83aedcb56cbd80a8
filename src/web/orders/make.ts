import type { PieceOutcome } from '../../batch/index.ts';
import { AppError } from '../../errors.ts';
import type { OrderRecord, PieceFault } from '../../job/index.ts';
import {
  filesOfPiece,
  formatMoney,
  makeOrder,
  type PlannedPiece,
  planPieces,
  quoteOrderAhead,
  type TaskContext,
} from '../../tasks/index.ts';
import type { OrderAhead, OrderPiece, OrderTotals } from '../protocol.ts';
import { hintOf } from '../server-errors.ts';
import { optionsOf } from '../server-photo-settings.ts';
import { type KeptPiece, keyOf, LIST, profileOf, rowOf } from './lines.ts';
import { isWanted, OUTDATED, refreshStatuses, sumsKey } from './status.ts';
import { announceOrder, changePiece, folderOf, type OrderStore, saveOrder } from './store.ts';
import type { StoredOrder } from './types.ts';

/**
 * Workers, a count, and megapixels beside each other. Assumed: two cores are left to the page and its proofs where
 * there are more.
 */
const THREADS = { kind: 'threads', workers: 2, megapixels: 160 } as const;

interface Run {
  readonly stop: AbortController;
  readonly done: Promise<void>;
  /** Profiles that say something else since the run began. */
  readonly replaced: Set<string>;
}

/** The runs that are at work, by the order's id. */
export interface OrderRuns {
  readonly runs: Map<string, Run>;
  /** The server ends: what is waiting then goes on with the next one. */
  closing: boolean;
}

/** What the making of orders needs of the world. */
export interface OrderContext extends OrderRuns {
  readonly store: OrderStore;
  readonly context: TaskContext;
}

/** Pieces as they are asked for at this moment, each planned as the command plans a line. */
function plan(
  { store, context }: OrderContext,
  order: StoredOrder,
  pieces: readonly KeptPiece[],
): readonly PlannedPiece[] {
  return planPieces(
    pieces.map((piece) => ({ row: rowOf(order.wish, piece), where: piece.line ? LIST : undefined })),
    { folder: folderOf(store, order.id, 'in'), defaults: optionsOf(order.wish) },
    context,
  );
}

/** What is wrong with a piece is on its card as soon as it is known, not when somebody makes the order. */
export function markFaults(around: OrderContext, order: StoredOrder, pieces: readonly KeptPiece[]): void {
  const planned = plan(around, order, pieces);
  for (const [at, piece] of pieces.entries()) {
    const { plan: planOf, line } = planned[at]!;
    const fault =
      'fault' in planOf
        ? describeFault(planOf.fault)
        : piece.missing
          ? {
              reason: `${LIST}: line ${line}: found no photo "${piece.photo}" in this order, needed it dropped here, too`,
              hint: `Drop ${piece.photo} onto this page.`,
            }
          : undefined;
    if (fault === undefined) continue;
    changePiece(order, piece.id, { status: 'failed', ...fault, of: keyOf(order.wish, piece) });
  }
}

/** Why a piece is not made, and what to do about it. */
function describeFault({ code, message }: PieceFault): Pick<OrderPiece, 'reason' | 'hint'> {
  return { reason: message, ...(code === 'bug' ? {} : { hint: hintOf(code) }) };
}

/** What the order would take and cost by the times that are known of its pieces, s by their ids. */
export function quoteAhead(
  around: OrderContext,
  order: StoredOrder,
  seconds: Readonly<Record<string, number>>,
): OrderAhead {
  const counted = order.pieces.filter((piece) => isWanted(order, piece) && !piece.missing && piece.id in seconds);
  const planned = plan(around, order, counted);
  const timed = planned.map((one, at) => ({ planned: one, seconds: seconds[counted[at]!.id]! }));
  const quote = quoteOrderAhead(timed, around.context);
  return {
    counted: counted.map(({ id }) => id),
    seconds: counted.reduce((sum, piece) => sum + piece.count * seconds[piece.id]!, 0),
    price: quote ? formatMoney(quote.grossMinor, quote) : null,
  };
}

/** Begins to make what is not made as it is asked; the order tells when it is done. */
export function startRun(around: OrderContext, order: StoredOrder): void {
  const { runs, store } = around;
  const stop = new AbortController();
  order.running = true;
  order.problem = null;
  const replaced = new Set<string>();
  const done = make(around, order, { signal: stop.signal, replaced })
    .catch((error: unknown) => {
      order.problem = error instanceof AppError && error.code === 'order-interrupted' ? null : sayProblem(error);
      order.pieces = order.pieces.map((piece) => (piece.status === 'making' ? { ...piece, status: 'waiting' } : piece));
    })
    .then(async () => {
      runs.delete(order.id);
      order.running = around.closing && order.pieces.some(({ status }) => status === 'waiting');
      await saveOrder(store, order);
    });
  runs.set(order.id, { stop, done, replaced });
}

/** What is asked when a run begins is what it makes; whatever is asked meanwhile waits for the next one. */
async function make(
  around: OrderContext,
  order: StoredOrder,
  { signal, replaced }: { readonly signal: AbortSignal } & Pick<Run, 'replaced'>,
): Promise<void> {
  const { store, context } = around;
  const { id, wish } = order;
  const pieces = order.pieces.filter((piece) => isWanted(order, piece));
  const isReplaced = (piece: KeptPiece) => replaced.has(profileOf(wish, piece) ?? '');
  const keys = pieces.map((piece) => keyOf(wish, piece));
  const sums = sumsKey(order);
  const wanted = plan(around, order, pieces);
  const out = folderOf(store, id, 'out');
  order.totals = null;
  order.sumsOf = null;
  for (const [at, piece] of pieces.entries()) {
    changePiece(order, piece.id, { name: wanted[at]!.name, status: 'making', reason: null });
  }
  // What was made of pieces that are left out now goes, or it would be taken for the order's.
  for (const piece of order.pieces) {
    if (!isWanted(order, piece) && piece.files.length > 0)
      changePiece(order, piece.id, { status: 'waiting', reason: null, of: null, files: [] });
  }
  announceOrder(store, order);
  const settle = (at: number, outcome: PieceOutcome) =>
    settlePiece(
      order,
      { planned: wanted[at]!, id: pieces[at]!.id, of: isReplaced(pieces[at]!) ? OUTDATED : keys[at]! },
      outcome,
    );
  const { record, outcomes } = await makeOrder(
    wanted,
    {
      out,
      title: order.title,
      maker: THREADS,
      force: true,
      prune: true,
      signal,
      onProgress: () => announceOrder(store, order),
      onSettled: (piece, outcome) => settle(wanted.indexOf(piece), outcome),
    },
    context,
  );
  for (const [at, outcome] of outcomes.entries()) settle(at, outcome);
  order.totals = sumUp(record);
  order.sumsOf = pieces.some(isReplaced) ? null : sums;
}

function settlePiece(
  order: StoredOrder,
  { planned, id, of }: { readonly planned: PlannedPiece; readonly id: string; readonly of: string },
  outcome: PieceOutcome,
): void {
  if (outcome.status === 'failed') {
    const fault = describeFault(outcome.reason);
    changePiece(order, id, { status: 'failed', ...fault, of, seconds: null, worstDeltaL: null });
  } else {
    const { seconds, worstDeltaL } = outcome.summary;
    const files = 'spec' in planned.plan ? filesOfPiece(planned.name, planned.plan.spec) : [];
    changePiece(order, id, { status: 'done', reason: null, of, files, seconds, worstDeltaL });
  }
  refreshStatuses(order);
}

function sumUp({ totals, quote }: OrderRecord): OrderTotals {
  const { done, copies, failed, seconds } = totals;
  return { pieces: done, copies, failed, seconds, price: quote ? formatMoney(quote.grossMinor, quote) : null };
}

function sayProblem(error: unknown): string {
  if (error instanceof AppError) return `${error.message}. ${error.hint}`;
  return `This is a bug in Tonewright, not in your input: ${error instanceof Error ? error.message : String(error)}`;
}
