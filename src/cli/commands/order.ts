import { statSync } from 'node:fs';
import { basename, dirname, extname, resolve } from 'node:path';
import type { OrderProgress } from '../../batch/index.ts';
import type { OrderRecord } from '../../job/index.ts';
import {
  countBurned,
  formatMoney,
  LIST_OPTIONS,
  type MakerChoice,
  makeOrder,
  readOrderPieces,
  sayReason,
} from '../../tasks/index.ts';
import type { CommandContext, OptionValues, Run } from '../command.ts';
import { onInterrupt } from '../interrupt.ts';
import { numberOf, textOf } from '../options.ts';
import { readPricesOption } from '../prices.ts';
import { taskContext } from '../task-context.ts';
import { alignColumns, formatSeconds } from '../text.ts';

export const run: Run = async ([given], options, commandContext) => {
  const { io, warn } = commandContext;
  const path = resolve(io.cwd, given!);
  const out = resolve(io.cwd, textOf(options, 'out')!);
  const maker = readMaker(options);
  const defaultsPath = textOf(options, 'defaults');
  const context = taskContext(commandContext);
  const pieces = await readOrderPieces(
    {
      path,
      out,
      defaultsPath: defaultsPath === undefined ? undefined : resolve(io.cwd, defaultsPath),
      options: pickPieceOptions(options),
    },
    context,
  );
  const interrupt = onInterrupt(() =>
    io.stderr('\nstopping: the pieces at work are finished first; Ctrl-C again stops at once\n'),
  );
  let last: OrderProgress = { total: pieces.length, made: 0, kept: 0, failed: 0 };
  const showProgress = createOrderProgress(commandContext);
  try {
    const { record } = await makeOrder(
      pieces,
      {
        out,
        from: statSync(path).isDirectory() ? path : dirname(path),
        title: textOf(options, 'title') ?? basename(path, extname(path)),
        ...readPricesOption(options, io),
        maker,
        force: options.force === true,
        signal: interrupt.signal,
        onProgress: (progress) => {
          last = progress;
          showProgress(progress);
        },
        // Told once: as text, the list of what was not made stands at the end, where nothing scrolls it away.
        onSettled: ({ label }, outcome) => {
          if (options.json !== true || outcome.status === 'done') return;
          const { message } = outcome.reason;
          warn(message.includes(label) ? message : `${label}: ${message}`);
        },
      },
      context,
    );
    const burned = sumBurnedOf(record, countBurned(context.shop, out));
    return {
      json: burned.count + burned.scrap > 0 ? { ...record, burned } : record,
      text: sayOrder(record, { out, burned, ...last }),
      exit: record.totals.failed > 0 ? 1 : 0,
    };
  } finally {
    interrupt.dispose();
  }
};

function readMaker(options: OptionValues): MakerChoice {
  const workers = numberOf(options, 'workers', { min: 1, max: 64, whole: true });
  const megapixels = numberOf(options, 'megapixels', { min: 10, max: 10_000, unit: 'megapixels' });
  const url = textOf(options, 'queue');
  if (url !== undefined) return { kind: 'queue', url };
  return {
    kind: 'threads',
    ...(workers === undefined ? {} : { workers }),
    ...(megapixels === undefined ? {} : { megapixels }),
  };
}

/** Of the options of the command, those that are defaults of its pieces. */
function pickPieceOptions(options: OptionValues): OptionValues {
  const keys = [...LIST_OPTIONS.values()].map(({ key }) => key);
  return Object.fromEntries(keys.filter((key) => options[key] !== undefined).map((key) => [key, options[key]]));
}

/** A bar with the time left, from the pace of the pieces that this run has made. */
function createOrderProgress({ io, progress }: CommandContext): (state: OrderProgress) => void {
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

interface Burned {
  readonly count: number;
  readonly scrap: number;
}

/** What of the order is burned, by the record of the shop; a piece counts up to what was ordered of it. */
function sumBurnedOf({ pieces }: OrderRecord, counts: ReadonlyMap<string, Burned>): Burned {
  let count = 0;
  let scrap = 0;
  for (const piece of pieces) {
    const found = piece.status === 'done' ? counts.get(piece.bitmapSha256) : undefined;
    count += Math.min(piece.count, found?.count ?? 0);
    scrap += found?.scrap ?? 0;
  }
  return { count, scrap };
}

function sayOrder(
  record: OrderRecord,
  { out, made, kept, burned }: OrderProgress & { readonly out: string; readonly burned: Burned },
): string {
  const { totals, pieces, quote } = record;
  const faults = pieces.flatMap((piece) =>
    piece.status === 'failed'
      ? [[`  ${piece.line === null ? '' : `line ${piece.line}, `}${piece.photo}`, sayReason(piece)]]
      : [],
  );
  return [
    alignColumns([
      ['wrote', resolve(out, 'order.html')],
      ['customer', resolve(out, 'order.customer.html')],
      ['pieces', `${totals.done} of ${totals.pieces}: ${made} made now, ${kept} kept from before`],
      ['to burn', `${totals.copies}, ${formatSeconds(totals.seconds)} of machine time`],
      ...(burned.count + burned.scrap > 0
        ? [['burned', `${burned.count} of ${totals.copies}, ${burned.scrap} spoiled`]]
        : []),
      ...(quote ? [['to pay', formatMoney(quote.grossMinor, quote)]] : []),
      ...(faults.length > 0 ? [['not made', String(faults.length)]] : []),
    ]),
    ...(faults.length > 0 ? [alignColumns(faults)] : []),
  ].join('\n');
}
