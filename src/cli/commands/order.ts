import { basename, dirname, extname, resolve } from 'node:path';
import {
  checkQueueUrl,
  createQueueMaker,
  createThreadMaker,
  identifyBuild,
  type OrderProgress,
  type PieceOutcome,
  runOrder,
  THREAD_DEFAULTS,
} from '../../batch/index.ts';
import { AppError } from '../../errors.ts';
import {
  formatMoney,
  type OrderPieceRecord,
  type OrderRecord,
  recordOrder,
  renderOrderCsv,
  renderOrderPage,
  resolveJob,
  sayReason,
} from '../../job/index.ts';
import type { OptionValues, Run, Surroundings } from '../command.ts';
import { onInterrupt } from '../interrupt.ts';
import { numberOf, textOf } from '../options.ts';
import { type PlannedPiece, readOrderPieces } from '../order-pieces.ts';
import { pieceOptions } from '../order-records.ts';
import { readPrices } from '../prices.ts';
import { readRefused } from '../refused.ts';
import { alignColumns, formatSeconds } from '../text.ts';
import { version } from '../version.ts';
import { COMMANDS } from './index.ts';
import { readRequest } from './prepare.ts';

export const run: Run = async ([given], options, surroundings) => {
  const { io, shop, warn } = surroundings;
  const path = resolve(io.cwd, given!);
  const out = resolve(io.cwd, textOf(options, 'out')!);
  const columns = pieceOptions(COMMANDS.find(({ name }) => name === 'prepare')!);
  const refused = readRefused(shop);
  const defaultsPath = textOf(options, 'defaults');
  const workers = numberOf(options, 'workers', { min: 1, max: 64, whole: true }) ?? THREAD_DEFAULTS.workers();
  const megapixels =
    numberOf(options, 'megapixels', { min: 10, max: 10_000, unit: 'megapixels' }) ?? THREAD_DEFAULTS.megapixels;
  const prices = readPrices(options, { io, shop });
  const pieces = readOrderPieces({
    path,
    defaultsPath: defaultsPath === undefined ? undefined : resolve(io.cwd, defaultsPath),
    options: pickPieceOptions(options, columns),
    columns,
    readRequest,
    resolveJob: (request) => resolveJob(request, { shop, refused }),
    warn,
  });
  refuseOwnFolder(pieces, { path, out });
  for (const { plan } of pieces) if ('spec' in plan) for (const text of plan.spec.warnings) warn(text);

  const title = textOf(options, 'title') ?? basename(path, extname(path));
  const queue = textOf(options, 'queue');
  if (queue !== undefined) checkQueueUrl(queue);
  const interrupt = onInterrupt(() =>
    io.stderr('\nstopping: the pieces at work are finished first; Ctrl-C again stops at once\n'),
  );
  const build = identifyBuild();
  let record: OrderRecord | undefined;
  let last: OrderProgress = { total: pieces.length, made: 0, kept: 0, failed: 0 };
  const showProgress = createOrderProgress(surroundings);
  try {
    await runOrder(pieces, {
      out,
      version,
      build,
      openMaker: () =>
        queue === undefined
          ? createThreadMaker({ workers, megapixels })
          : createQueueMaker({ url: queue, out, build, warn }),
      force: options.force === true,
      signal: interrupt.signal,
      onProgress: (progress) => {
        last = progress;
        showProgress(progress);
      },
      onFault: ({ label }, { message }) => warn(message.includes(label) ? message : `${label}: ${message}`),
      warn,
      keepStrip: async (layout) => {
        if (shop.shopDir !== undefined) await shop.write('charts', layout.hash, layout, { force: true });
      },
      writeSums: (outcomes) => {
        record = recordOrder({
          version,
          pieces: pieces.map((piece, at) => recordPiece(piece, outcomes[at]!)),
          cautions: outcomes.flatMap((outcome) => (outcome.status === 'done' ? outcome.cautions : [])),
          ...(prices ? { prices } : {}),
        });
        return [
          { name: 'order.json', bytes: `${JSON.stringify(record, null, 2)}\n` },
          { name: 'order.csv', bytes: renderOrderCsv(record) },
          { name: 'order.html', bytes: renderOrderPage(record, { title, proofs: listProofs(pieces, outcomes) }) },
        ];
      },
    });
  } finally {
    interrupt.dispose();
  }
  return { json: record, text: sayOrder(record!, { out, ...last }), exit: record!.totals.failed > 0 ? 1 : 0 };
};

function pickPieceOptions(options: OptionValues, columns: readonly { readonly flags: string }[]): OptionValues {
  const keys = columns.map(({ flags }) =>
    /^--([a-z-]+)/.exec(flags)![1]!.replace(/-([a-z])/g, (_, letter: string) => letter.toUpperCase()),
  );
  return Object.fromEntries(keys.filter((key) => options[key] !== undefined).map((key) => [key, options[key]]));
}

/**
 * Results beside the photos could replace one of them, and would be taken for photos the next time; `order.json` is the
 * defaults' name beside the order, and the sums' among the results.
 */
function refuseOwnFolder(pieces: readonly PlannedPiece[], { path, out }: { path: string; out: string }): void {
  const isCsv = pieces[0]!.line !== null;
  if (out === (isCsv ? dirname(path) : path)) {
    throw new AppError(
      'option-invalid',
      `--out: found ${out}, which holds the order itself, needed a folder of its own`,
      {
        out,
      },
    );
  }
  const among = pieces.find(({ photoPath }) => dirname(photoPath) === out);
  if (among) {
    throw new AppError(
      'option-invalid',
      `--out: found ${out}, which holds the photo ${among.photo}, needed a folder without photos of the order`,
      { out },
    );
  }
}

function recordPiece(piece: PlannedPiece, outcome: PieceOutcome): OrderPieceRecord {
  const { name, line, photo, count, text, blank } = piece;
  const base = { name, line, photo, count, text, blank };
  return outcome.status === 'done'
    ? { ...base, status: 'done', ...outcome.summary }
    : { ...base, status: 'failed', reason: outcome.reason };
}

function listProofs(pieces: readonly PlannedPiece[], outcomes: readonly PieceOutcome[]): ReadonlyMap<string, string> {
  return new Map(
    outcomes.flatMap((outcome, at) =>
      outcome.status === 'done'
        ? [[pieces[at]!.name, `data:image/jpeg;base64,${Buffer.from(outcome.smallProof).toString('base64')}`] as const]
        : [],
    ),
  );
}

/** A bar with the time left, from the pace of the pieces that this run has made. */
function createOrderProgress({ io, progress }: Surroundings): (state: OrderProgress) => void {
  const width = 24;
  const start = io.clock();
  return ({ total, made, kept, failed }) => {
    const past = made + kept + failed;
    const full = Math.round((width * past) / total);
    const left =
      made > 0 && past < total ? `, about ${formatSeconds(((io.clock() - start) / made) * (total - past))} left` : '';
    const faults = failed > 0 ? `, ${failed} not made` : '';
    progress(`[${'█'.repeat(full)}${'░'.repeat(width - full)}] ${past} of ${total} pieces${faults}${left}`);
  };
}

function sayOrder(record: OrderRecord, { out, made, kept }: OrderProgress & { readonly out: string }): string {
  const { totals, pieces, quote } = record;
  const faults = pieces.flatMap((piece) =>
    piece.status === 'failed'
      ? [[`  ${piece.line === null ? '' : `line ${piece.line}, `}${piece.photo}`, sayReason(piece)]]
      : [],
  );
  return [
    alignColumns([
      ['wrote', resolve(out, 'order.html')],
      ['pieces', `${totals.done} of ${totals.pieces}: ${made} made now, ${kept} kept from before`],
      ['to burn', `${totals.copies}, ${formatSeconds(totals.seconds)} of machine time`],
      ...(quote ? [['to pay', formatMoney(quote.grossMinor, quote)]] : []),
      ...(faults.length > 0 ? [['not made', String(faults.length)]] : []),
    ]),
    ...(faults.length > 0 ? [alignColumns(faults)] : []),
  ].join('\n');
}
