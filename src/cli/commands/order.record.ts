import { JOB_DEFAULTS, PICTURE_FORMAT_NAMES } from '../../tasks/index.ts';
import type { CommandRecord, OptionRecord } from '../command.ts';
import { FORCE, JIG_OPTIONS, MACHINE, OUT_FOLDER, POCKET, PROFILE } from '../option-records.ts';
import { PREPARE } from './photo.record.ts';

const NOT_OF_AN_ORDER = [
  ...['--out', '--prices', '--force', '--only', '--name', '--text', '--threads'],
  // Several bitmaps a piece, one after the other on a piece that does not move: a job of its own.
  ...['--marks', '--separate'],
  // Of one job.
  '--again',
];
const QUEUE = 'redis://host:port of a queue’s server';

/** The options of `prepare` that an order takes, too: as defaults on the command line, as columns of its CSV. */
export function pieceOptions(): readonly OptionRecord[] {
  return PREPARE.options.filter(({ flags }) => !NOT_OF_AN_ORDER.includes(flags.split(' ')[0]!));
}

/** Commands for whole orders. What a piece may say of itself is what `prepare` takes. */
export const ORDER_RECORDS: readonly CommandRecord[] = [
  {
    name: 'order',
    summary: 'Prepare a whole order: a folder of photos, or a CSV with one line a piece. Goes on where it was stopped.',
    args: '<folder-or-csv>',
    options: [
      OUT_FOLDER,
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
      ...pieceOptions().map(({ required: _, ...option }) => option),
    ],
    examples: [
      'order photos --size ID-1 --profile anodised-black --out ready/harbour-wedding',
      'order shared/shop/orders/spring-market.csv --out ready/spring-market --workers 2',
      'order order.csv --queue redis://127.0.0.1:6379 --out ready/cards',
    ],
    load: async () => (await import('./order.ts')).run,
  },
  {
    name: 'worker',
    summary: 'Make pieces of orders that come through a queue, until Ctrl-C. Needs no shop folder and no shared disk.',
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
    load: async () => (await import('./worker.ts')).run,
  },
  {
    name: 'plate',
    summary: 'Lay finished jobs onto plates: the jig to cut, bitmaps at exact dots, places and tickets.',
    args: '[jig]',
    options: [
      {
        flags: '--jobs <paths...>',
        help: 'finished jobs: the folder of an order or of tickets, or ticket files (default: none, the jig alone)',
      },
      { flags: '--count <n>', help: 'copies of every job, or by name: cat=3,dog=2 (default: as ordered, else 1)' },
      { flags: '--grid <CxR>', help: 'make a jig of columns × rows equal pockets, such as 4x3' },
      { ...POCKET, help: `${POCKET.help}; with --grid` },
      ...JIG_OPTIONS,
      { flags: '--name <name>', help: 'name of the jig, engraved on it (default: from its grid)' },
      { ...MACHINE, help: `${MACHINE.help} whose field bounds the jig (default: the jig’s, else the jobs’)` },
      {
        flags: '--bitmaps <way>',
        help: 'plate: one bitmap for all pieces of the same settings; piece: one each, with its place (default: plate)',
        choices: ['plate', 'piece'],
      },
      {
        flags: '--photos <folder>',
        help: 'where the photos of pieces lie that were prepared with --at: each is screened again for its place (default: beside the tickets)',
      },
      { flags: '--quarter-turns', help: 'pieces with square dots may lie turned by a quarter (default: never)' },
      { flags: '--strip', help: 'add a control strip on scrap beside the pieces of each plate' },
      { ...PROFILE, help: `${PROFILE.help} of the control strip (default: the tickets’ own)` },
      {
        flags: '--offset <x,y>',
        help: 'how far the first alignment mark came out right and down of its place, mm (default: 0,0)',
      },
      {
        flags: '--turn <degrees>',
        help: 'how far the marks came out turned clockwise, degrees, or fall/length such as 0.25/90 (default: 0)',
      },
      {
        flags: '--format <format>',
        help: `file of the bitmaps (default: ${JOB_DEFAULTS.format})`,
        choices: PICTURE_FORMAT_NAMES,
      },
      OUT_FOLDER,
      FORCE,
    ],
    examples: [
      'plate --grid 1x2 --pocket ID-1 --gap 1.5 --margin 0 --machine galvo-355-f210 --out jig',
      'plate cards-2x3 --jobs out --count 6 --out plates',
      'plate --jobs out --gap 6 --quarter-turns --strip --out plates',
    ],
    load: async () => (await import('./plate.ts')).run,
  },
];
