import type { CommandRecord, Run } from '../command.ts';
import { DIRECTION, FORCE } from '../option-records.ts';

/** The kind of record is told before the action: one file serves several of them. */
const loadRecordsOf = (kind: string) => async (): Promise<Run> => {
  const { run } = await import('./records.ts');
  return (args, options, commandContext) => run([kind, ...args], options, commandContext);
};
const loadProfile = async () => (await import('./profile.ts')).run;

/** Commands that list, show and add what a shop has beside machines. */
export const SHOP_RECORDS: readonly CommandRecord[] = [
  {
    name: 'material list',
    summary: 'All materials, how they mark, and which machines leave a known mark on them.',
    args: '',
    options: [],
    examples: ['material list'],
    load: loadRecordsOf('material'),
  },
  {
    name: 'material show',
    summary: 'One material: colours, what is done before and after the burn, cautions.',
    args: '<name>',
    options: [],
    examples: ['material show slate'],
    load: loadRecordsOf('material'),
  },
  {
    name: 'material new',
    summary: 'Add a material of your own: by questions on a terminal, or all by options.',
    args: '',
    makesShop: true,
    options: [
      { flags: '--title <words>', help: 'what you call it, such as "Painted steel, red"' },
      { flags: '--machine <name>', help: 'machine that marks it (see `machine list`)' },
      { ...DIRECTION, help: 'how the mark looks beside the bare surface' },
      { flags: '--bare <L*>', help: 'lightness of the bare surface, L* 0 to 100 (default: 20 dark, 80 light)' },
      { flags: '--full <L*>', help: 'lightness of the full mark, L* (default: 75 lighter, 25 darker)' },
      {
        flags: '--clear <way>',
        help: 'whether it is looked through: no, or like glass or acrylic (default: no)',
        choices: ['no', 'glass', 'acrylic'],
      },
      { flags: '--name <name>', help: 'name of its record (default: of its title)' },
      FORCE,
    ],
    examples: ['material new', 'material new --title "Painted steel, red" --machine gantry-450 --direction darker'],
    load: loadRecordsOf('material'),
  },
  {
    name: 'profile list',
    summary: 'All profiles, the one to trust most first.',
    args: '',
    options: [],
    examples: ['profile list'],
    load: loadProfile,
  },
  {
    name: 'profile show',
    summary: 'One profile: what it promises, how well it is known, how it has drifted.',
    args: '<name>',
    options: [],
    examples: ['profile show anodised-black'],
    load: loadProfile,
  },
  {
    name: 'profile compare',
    summary: 'Two profiles beside each other, tone by tone.',
    args: '<name> <other>',
    options: [],
    examples: ['profile compare anodised-black anodised-black-fine'],
    load: loadProfile,
  },
  {
    name: 'screen list',
    summary: 'All screens with what each is good for; with --out a page with a picture of each.',
    args: '',
    options: [{ flags: '--out <file>', help: 'a page (.html) with a picture of each screen' }, FORCE],
    examples: ['screen list', 'screen list --out screens.html'],
    load: loadRecordsOf('screen'),
  },
  {
    name: 'palette list',
    summary: 'All palettes of several marks.',
    args: '',
    options: [],
    examples: ['palette list'],
    load: loadRecordsOf('palette'),
  },
  {
    name: 'palette show',
    summary: 'One palette: its marks with settings and colours.',
    args: '<name>',
    options: [],
    examples: ['palette show stainless-oxides'],
    load: loadRecordsOf('palette'),
  },
  {
    name: 'jig list',
    summary: 'All jigs with their pockets.',
    args: '',
    options: [],
    examples: ['jig list'],
    load: loadRecordsOf('jig'),
  },
  {
    name: 'price show',
    summary: 'The price list in force.',
    args: '',
    options: [],
    examples: ['price show --shop shop'],
    load: loadRecordsOf('price'),
  },
  {
    name: 'price new',
    summary: 'Write your price list: by questions on a terminal, or all by options.',
    args: '',
    makesShop: true,
    options: [
      { flags: '--title <words>', help: 'name of the shop on a quote' },
      { flags: '--currency <code>', help: 'currency as ISO 4217 writes it, such as EUR' },
      { flags: '--locale <tag>', help: 'how numbers and money are written, such as en-IE (default: en-IE)' },
      { flags: '--per-minute <money>', help: 'a minute of the machine' },
      { flags: '--setup <money>', help: 'once an order' },
      { flags: '--per-piece <money>', help: 'once a different piece (default: 0)' },
      { flags: '--handling <money>', help: 'taking up, cleaning and wrapping, a copy (default: 0)' },
      { flags: '--minimum <money>', help: 'least price of an order (default: none)' },
      { flags: '--tax-name <word>', help: 'such as VAT (default: VAT)' },
      { flags: '--tax <percent>', help: 'of it, percent' },
      { flags: '--tax-included', help: 'the prices hold the tax already' },
      FORCE,
    ],
    examples: ['price new', 'price new --title "My shop" --currency EUR --per-minute 0.8 --setup 5 --tax 19'],
    load: loadRecordsOf('price'),
  },
  {
    name: 'warning list',
    summary: 'Warnings that a shop may put to rest, and those that are.',
    args: '',
    options: [],
    examples: ['warning list --shop shop'],
    load: loadRecordsOf('warning'),
  },
  {
    name: 'warning rest',
    summary: 'Put a warning that you know and accept to rest: tickets name it in one quiet line from then on.',
    args: '<code>',
    makesShop: true,
    options: [
      {
        flags: '--ticket <file>',
        help: 'only as on this ticket: it speaks again about anything else, or when half as large again',
      },
      { flags: '--note <words>', help: 'why, for whoever reads the list' },
    ],
    examples: ['warning rest photo-small', 'warning rest profile-simulated --ticket out/cat.ticket.json'],
    load: loadRecordsOf('warning'),
  },
  {
    name: 'warning wake',
    summary: 'Let a warning speak again.',
    args: '<code>',
    options: [],
    examples: ['warning wake photo-small --shop shop'],
    load: loadRecordsOf('warning'),
  },
];
