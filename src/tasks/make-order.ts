import { realpathSync, statSync } from 'node:fs';
import { dirname } from 'node:path';
import {
  checkQueueUrl,
  createQueueMaker,
  createThreadMaker,
  identifyBuild,
  type Maker,
  type OrderProgress,
  type PieceOutcome,
  runOrder,
  THREAD_DEFAULTS,
} from '../batch/index.ts';
import { AppError } from '../errors.ts';
import {
  type OrderPieceRecord,
  type OrderRecord,
  type PriceList,
  recordOrder,
  renderCustomerPage,
  renderOrderCsv,
  renderOrderPage,
} from '../job/index.ts';
import { formatJson } from '../json.ts';
import { explainWriteError, makeFolder } from '../plane/index.ts';
import type { TaskContext } from './context.ts';
import { keepLayout } from './keep-layout.ts';
import type { PlannedPiece } from './plan-pieces.ts';
import { readPrices } from './prices.ts';

/** Where pieces are made: on threads of this process, or by workers behind a queue's server. */
export type MakerChoice =
  | {
      readonly kind: 'threads';
      /** Pieces at a time; one for each core, 8 at most, when absent. */
      readonly workers?: number;
      /** Photos and dots in memory at a time, megapixels. */
      readonly megapixels?: number;
    }
  | { readonly kind: 'queue'; readonly url: string };

export interface MakeOrderRequest {
  /** Folder for the results; made when it is not there. */
  readonly out: string;
  /** Folder that the order was read from, where it was read from one: its `order.json` are the defaults. */
  readonly from?: string;
  /** What the order is called on its contact sheet. */
  readonly title: string;
  /** Path of a price list, or `none`; the shop's own when absent. */
  readonly prices?: string;
  readonly maker: MakerChoice;
  /** `true` replaces what stands in the way, see `runOrder`. */
  readonly force: boolean;
  /** `true` takes away what was made of pieces that the order no longer has, see `runOrder`. */
  readonly prune?: boolean;
}

/** How an order that runs for hours is watched and ended. */
export interface OrderWatch {
  /** Ends the order after the pieces that are being made. */
  readonly signal: AbortSignal;
  readonly onProgress: (progress: OrderProgress) => void;
  readonly onSettled: (piece: PlannedPiece, outcome: PieceOutcome) => void;
}

export interface MadeOrder {
  readonly record: OrderRecord;
  /** One for each piece, in the sequence of the pieces. */
  readonly outcomes: readonly PieceOutcome[];
}

/**
 * Makes an order into its folder: the files of every piece, and the sums as `order.json`, `order.csv`,
 * `order.html` for the shop and `order.customer.html` for whoever ordered it.
 * @throws AppError option-invalid for a queue's address that is none and when the folder holds photos of the order;
 * those of `readPrices` and `runOrder`
 */
export async function makeOrder(
  pieces: readonly PlannedPiece[],
  request: MakeOrderRequest & OrderWatch,
  { shop, version, warn }: Pick<TaskContext, 'shop' | 'version' | 'warn'>,
): Promise<MadeOrder> {
  const { out, from, title, maker, force, prune = false, signal, onProgress, onSettled } = request;
  if (maker.kind === 'queue') checkQueueUrl(maker.url);
  const prices = readPrices(request.prices, shop);
  await makeFolder(out).catch((error) => {
    throw explainWriteError(error, out);
  });
  if (from !== undefined && identifyFolder(from) === identifyFolder(out)) {
    throw new AppError(
      'option-invalid',
      `found ${out}, which holds the order itself, needed a folder of its own for the results`,
      { out },
    );
  }
  refusePhotoFolder(pieces, out);
  const build = identifyBuild();
  let record: OrderRecord | undefined;
  const outcomes = await runOrder(pieces, {
    out,
    version,
    build,
    openMaker: () => openMaker(maker, { out, build, signal, warn }),
    force,
    prune,
    signal,
    onProgress,
    onSettled: (piece, outcome) => onSettled(piece as PlannedPiece, outcome),
    warn,
    keepStrip: async (layout) => {
      await keepLayout(layout, { shop, warn });
    },
    writeSums: (results) => {
      const proofs = listProofs(pieces, results);
      record = recordOrder({
        version,
        pieces: pieces.map((piece, at) => recordPiece(piece, results[at]!)),
        cautions: results.flatMap((result) => (result.status === 'done' ? result.cautions : [])),
        ...(prices ? { prices } : {}),
      });
      return [
        { name: 'order.json', bytes: formatJson(record, 'record') },
        { name: 'order.csv', bytes: renderOrderCsv(record) },
        { name: 'order.html', bytes: renderOrderPage(record, { title, proofs }) },
        { name: 'order.customer.html', bytes: renderCustomerPage(record, { title, proofs, ...shopTitleOf(prices) }) },
      ];
    },
  });
  return { record: record!, outcomes };
}

/** Opened when there is something to make; `build` tells the workers of this program from others. */
function openMaker(
  choice: MakerChoice,
  around: Pick<OrderWatch, 'signal'> & {
    readonly out: string;
    readonly build: string;
    readonly warn: (text: string) => void;
  },
): Promise<Maker> {
  if (choice.kind === 'queue') return createQueueMaker({ url: choice.url, ...around });
  const { workers = THREAD_DEFAULTS.workers(), megapixels = THREAD_DEFAULTS.megapixels } = choice;
  return createThreadMaker({ workers, megapixels });
}

/**
 * Results beside the photos could replace one of them, and would be taken for photos the next time. Folders are told
 * apart by what they are, not by their names: a link to the photos' folder is the photos' folder.
 */
function refusePhotoFolder(pieces: readonly PlannedPiece[], out: string): void {
  const here = identifyFolder(out);
  for (const { photo, photoPath } of pieces) {
    const folders = [dirname(photoPath), dirname(realOf(photoPath))];
    if (!folders.some((folder) => identifyFolder(folder) === here)) continue;
    throw new AppError(
      'option-invalid',
      `found ${out}, which holds the photo ${photo}, needed a folder without photos of the order for the results`,
      { out },
    );
  }
}

/** Device and number of a folder, which all its names share; its path where it is not there. */
function identifyFolder(path: string): string {
  try {
    const { dev, ino } = statSync(path, { bigint: true });
    return `${dev}:${ino}`;
  } catch {
    return path;
  }
}

function realOf(path: string): string {
  try {
    return realpathSync(path);
  } catch {
    return path;
  }
}

function recordPiece(piece: PlannedPiece, outcome: PieceOutcome): OrderPieceRecord {
  const { name, line, photo, count, text, blank } = piece;
  const base = { name, line, photo, count, text, blank };
  return outcome.status === 'done'
    ? { ...base, status: 'done', ...outcome.summary }
    : { ...base, status: 'failed', reason: outcome.reason };
}

const shopTitleOf = (prices: PriceList | undefined) => (prices ? { shopTitle: prices.title } : {});

function listProofs(pieces: readonly PlannedPiece[], outcomes: readonly PieceOutcome[]): ReadonlyMap<string, string> {
  return new Map(
    outcomes.flatMap((outcome, at) =>
      outcome.status === 'done'
        ? [
            [
              pieces[at]!.name,
              `data:image/jpeg;base64,${Buffer.from(outcome.smallProof.read()).toString('base64')}`,
            ] as const,
          ]
        : [],
    ),
  );
}
