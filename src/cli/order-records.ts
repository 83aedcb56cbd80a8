import type { CommandRecord, OptionRecord } from './command.ts';

const NOT_OF_AN_ORDER = [
  ...['--out', '--prices', '--force', '--only', '--name', '--text', '--threads'],
  // Several bitmaps a piece, one after the other on a piece that does not move: a job of its own.
  ...['--marks', '--separate'],
  // Of one job.
  '--again',
];
const QUEUE = 'redis://host:port of a queue’s server';

/** The options of `prepare` that an order takes, too: as defaults on the command line, as columns of its CSV. */
export function pieceOptions(prepare: CommandRecord): readonly OptionRecord[] {
  return prepare.options.filter(({ flags }) => !NOT_OF_AN_ORDER.includes(flags.split(' ')[0]!));
}

/** The commands for whole orders. What a piece may say of itself is what `prepare` takes. */
export function orderRecords(prepare: CommandRecord): readonly CommandRecord[] {
  return [
    {
      name: 'order',
      summary:
        'Prepare a whole order: a folder of photos, or a CSV with one line a piece. Goes on where it was stopped.',
      args: '<folder-or-csv>',
      options: [
        { flags: '--out <dir>', help: 'folder for the results; made when it is not there', required: true },
        {
          flags: '--defaults <file>',
          help: 'defaults for every piece, JSON (default: order.json beside the photos or the CSV)',
        },
        { flags: '--prices <file>', help: 'price list, or none (default: prices.json of the shop folder)' },
        { flags: '--title <words>', help: 'what the order is called (default: the name of the folder or the CSV)' },
        { flags: '--workers <n>', help: 'pieces at a time, 1 to 64 (default: one for each core, 8 at most)' },
        {
          flags: '--megapixels <n>',
          help: 'photos and dots in memory at a time, 10 to 10000 megapixels (default: 160); a larger piece goes alone',
        },
        { flags: '--queue <url>', help: `${QUEUE}: pieces are made by \`tonewright worker\`s on any computers` },
        {
          flags: '--force',
          help: 'replace what is in the way: files of others, another order, pieces that would come out otherwise',
        },
        ...pieceOptions(prepare).map(({ required: _, ...option }) => option),
      ],
      examples: [
        'order photos --size ID-1 --profile anodised-black --out ready/harbour-wedding',
        'order shared/shop/orders/spring-market.csv --out ready/spring-market --workers 2',
        'order order.csv --queue redis://127.0.0.1:6379 --out ready/cards',
      ],
      load: async () => (await import('./commands/order.ts')).run,
    },
    {
      name: 'worker',
      summary:
        'Make pieces of orders that come through a queue, until Ctrl-C. Needs no shop folder and no shared disk.',
      args: '',
      options: [
        { flags: '--queue <url>', help: QUEUE, required: true },
        { flags: '--workers <n>', help: 'pieces at a time, 1 to 64 (default: one for each core, 8 at most)' },
        {
          flags: '--lease <seconds>',
          help: 'a piece goes to another worker when this one was silent for so long, 1 to 600 s (default: 15)',
        },
      ],
      examples: ['worker --queue redis://127.0.0.1:6379 --workers 2'],
      load: async () => (await import('./commands/worker.ts')).run,
    },
  ];
}
