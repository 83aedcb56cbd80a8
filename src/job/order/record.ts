import type { ErrorCode } from '../../errors.ts';
import { type PriceList, type Quote, quoteOrder } from '../../price/index.ts';
import { mergeCautions } from '../prepare/cautions.ts';
import type { Caution, Ticket } from '../prepare/types.ts';

export const ORDER_SCHEMA = 'tonewright-order/1';

/** What the order says of a piece, whatever became of it. */
export interface OrderedPiece {
  /** Name of the piece and of its files, without ending; unique in the order. */
  readonly name: string;
  /** Line of the CSV; null for a folder. */
  readonly line: number | null;
  /** The photo, as the order names it. */
  readonly photo: string;
  /** How many are burned. */
  readonly count: number;
  /** What the customer or the shop wrote for the ticket. */
  readonly text: string | null;
  /** Whose the blank is: one that the customer brings is not charged. */
  readonly blank: 'shop' | 'customer';
}

/** Why a piece was not made; `bug` is no fault of the input. */
export interface PieceFault {
  readonly code: ErrorCode | 'bug';
  readonly message: string;
}

/** Between which times, s, 95 of 100 end. */
export interface TimeRange {
  readonly lowS: number;
  readonly highS: number;
}

/** What the ticket of a piece says, as far as the order repeats it. */
export interface PieceSummary {
  readonly ticket: string;
  readonly bitmap: string;
  readonly proof: string;
  readonly photoSha256: string;
  readonly bitmapSha256: string;
  readonly widthMm: number;
  readonly heightMm: number;
  readonly material: string;
  readonly materialTitle: string;
  /** Stock that is looked through: from which side, and over what. */
  readonly seen?: Pick<NonNullable<Ticket['seen']>, 'seen' | 'beneath'>;
  readonly machine: string;
  readonly profile: string;
  /** Of one copy, s. */
  readonly seconds: number;
  readonly interval: TimeRange;
  readonly meanDeltaL: number;
  readonly worstDeltaL: number;
  readonly warnings: readonly string[];
}

export type OrderPieceRecord = OrderedPiece &
  (({ readonly status: 'done' } & PieceSummary) | { readonly status: 'failed'; readonly reason: PieceFault });

/** Why a piece was not made, without the name of its photo, which stands beside it. */
export function sayReason({ photo, reason }: Extract<OrderPieceRecord, { status: 'failed' }>): string {
  const { message } = reason;
  return message.startsWith(`${photo}: `) ? message.slice(photo.length + 2) : message;
}

export type DonePiece = Extract<OrderPieceRecord, { status: 'done' }>;

/** A whole order, machine-readable. It holds no date, so that the same order gives the same bytes. */
export interface OrderRecord {
  readonly schema: typeof ORDER_SCHEMA;
  readonly version: string;
  readonly pieces: readonly OrderPieceRecord[];
  readonly totals: {
    readonly pieces: number;
    readonly done: number;
    readonly failed: number;
    /** Copies of the pieces that are done. */
    readonly copies: number;
    /**
     * Of all those copies, s. What is not known of a machine is wrong the same way each time, so the ends add up, too.
     */
    readonly seconds: number;
    readonly interval: TimeRange;
    readonly machines: readonly {
      readonly machine: string;
      readonly copies: number;
      readonly seconds: number;
      readonly interval: TimeRange;
    }[];
  };
  /** What the pieces that are done cost; null without a price list. */
  readonly quote: Quote | null;
  /** Of all machines and materials of the order, each once. */
  readonly cautions: readonly Caution[];
}

/** Names of the files of a piece. */
export function filesOfPiece(
  name: string,
  { format, strip }: { readonly format: string; readonly strip?: 'apart' | 'joined' },
): readonly string[] {
  const strips = strip ? [`${name}.strip.json`, ...(strip === 'apart' ? [`${name}.strip.${format}`] : [])] : [];
  return [`${name}.${format}`, `${name}.proof.png`, `${name}.ticket.json`, `${name}.ticket.html`, ...strips];
}

/** What the order repeats of a ticket. */
export function summarisePiece(ticket: Ticket): PieceSummary {
  const { name, bitmap, photo, piece, material, machine, profile, time, prediction, warnings, seen } = ticket;
  return {
    ticket: `${name}.ticket.json`,
    bitmap: bitmap.file,
    proof: `${name}.proof.png`,
    photoSha256: photo.sha256,
    bitmapSha256: bitmap.sha256,
    widthMm: piece.widthMm,
    heightMm: piece.heightMm,
    material: material.name,
    materialTitle: material.title,
    ...(seen ? { seen: { seen: seen.seen, ...(seen.beneath ? { beneath: seen.beneath } : {}) } } : {}),
    machine: machine.name,
    profile: profile.name,
    seconds: time.seconds,
    interval: { lowS: time.interval.lowS, highS: time.interval.highS },
    meanDeltaL: prediction.meanDeltaL,
    worstDeltaL: prediction.worstDeltaL,
    warnings,
  };
}

/** What a price depends on. */
export type PricedPiece = Pick<
  DonePiece,
  'name' | 'material' | 'machine' | 'seconds' | 'count' | 'blank' | 'widthMm' | 'heightMm'
>;

/** The price of pieces as one order. */
export function quotePieces(pieces: readonly PricedPiece[], prices: PriceList): Quote {
  return quoteOrder(
    prices,
    pieces.map(({ name, seconds, material, machine, count, blank, widthMm, heightMm }) => ({
      id: name,
      title: name,
      material,
      machine,
      machineSeconds: seconds,
      count,
      blank,
      widthMm,
      heightMm,
    })),
  );
}

export interface OrderFacts {
  readonly version: string;
  readonly pieces: readonly OrderPieceRecord[];
  readonly cautions: readonly Caution[];
  readonly prices?: PriceList;
}

/** The order as a record, with its sums and its price. */
export function recordOrder({ version, pieces, cautions, prices }: OrderFacts): OrderRecord {
  const done = pieces.filter((piece): piece is DonePiece => piece.status === 'done');
  const machines = [...new Set(done.map(({ machine }) => machine))].sort().map((machine) => {
    const own = done.filter((piece) => piece.machine === machine);
    return { machine, ...addUp(own) };
  });
  const quote = prices && done.length > 0 ? quotePieces(done, prices) : null;
  return {
    schema: ORDER_SCHEMA,
    version,
    pieces,
    totals: {
      pieces: pieces.length,
      done: done.length,
      failed: pieces.length - done.length,
      ...addUp(done),
      machines,
    },
    quote,
    cautions: mergeCautions([...new Map(cautions.map((caution) => [caution.text, caution])).values()]),
  };
}

function addUp(pieces: readonly DonePiece[]) {
  return {
    copies: sum(pieces, ({ count }) => count),
    seconds: sum(pieces, ({ seconds, count }) => seconds * count),
    interval: {
      lowS: sum(pieces, ({ interval, count }) => interval.lowS * count),
      highS: sum(pieces, ({ interval, count }) => interval.highS * count),
    },
  };
}

function sum<T>(items: readonly T[], read: (item: T) => number): number {
  return items.reduce((total, item) => total + read(item), 0);
}
