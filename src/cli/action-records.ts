import { SCREEN_NAMES } from '../tasks/index.ts';
import type { CommandRecord, OptionRecord, Run } from './command.ts';

const SCREENS = SCREEN_NAMES.join(', ');
const FORCE: OptionRecord = { flags: '--force', help: 'replace results that exist' };
const MACHINE: OptionRecord = {
  flags: '--machine <name>',
  help: 'machine: a name (see `machine list`) or a JSON file (default: the profile’s)',
};
const PROFILE = 'profile: a name (see `profile list`) or a JSON file';
const DIRECTION: OptionRecord = {
  flags: '--direction <way>',
  help: 'how the mark looks beside the bare surface (default: as known of the material)',
  choices: ['lighter', 'darker'],
};

/** What each group of commands is for, in the order of `--help`. */
export const GROUPS: Readonly<Record<string, string>> = {
  chart: 'Draw a chart to burn: spot, dose, tone, verify or check, with a page that says what to do.',
  machine: 'Your machines: list them, show one, or describe a new one.',
  material: 'Materials: list them, show one, or add your own.',
  profile: 'What was learned: list the profiles, show one, or compare two.',
  screen: 'Screens: list them with what each is good for.',
  palette: 'Palettes of several marks: list them, or show one.',
  jig: 'Jigs: list them, or show one.',
  price: 'Your prices: show the list, or write one.',
  simulate: 'Virtual engraver and scanner: try the whole loop without a laser; see what planted faults look like.',
};

const CHART_MATERIAL: readonly OptionRecord[] = [
  MACHINE,
  {
    flags: '--material <name>',
    help: 'material (see `material list`), or any name together with --direction',
  },
  DIRECTION,
];
const CHART_BURN: readonly OptionRecord[] = [
  { flags: '--size <size>', help: 'WIDTHxHEIGHT, mm, or ID-1, ID-2, ID-3 (default: 85.6x54; 60x8 for check)' },
  { flags: '--spacing <length>', help: 'line spacing, mm (default: the profile’s, else the recommended one)' },
  { flags: '--pitch <length>', help: 'distance between dots along a line, mm (default: as for --spacing)' },
  {
    flags: '--screen <name>',
    help: `${SCREENS}; auto: the one for this machine (default: the profile’s, else auto)`,
  },
  { flags: '--seed <n>', help: 'random seed of the places of the patches (default: 1)' },
  { flags: '--replicates <n>', help: 'how often each tone is repeated (default: 3 for tone, 2 elsewhere)' },
  {
    flags: '--settings <file>',
    help: 'settings that a dose chart recommends, as `learn` wrote them; options below go over it',
  },
  {
    flags: '--power <W>',
    help: 'mean power at the work, W, or as in 45% (default: the profile’s, else the machine’s)',
  },
  { flags: '--speed <mm/s>', help: 'speed along a scan line, mm/s, or as in 6000mm/min (default: as for --power)' },
  { flags: '--rate <kHz>', help: 'pulse repetition rate, kHz, or as in 20us (default: as for --power)' },
  { flags: '--pulse <ns>', help: 'pulse duration, ns (default: as for --power)' },
  { flags: '--passes <n>', help: 'how often the chart is burned over itself (default: as for --power)' },
  { flags: '--scan <way>', help: 'scan lines one way, or there and back', choices: ['one-way', 'two-way'] },
  { flags: '--out <dir>', help: 'folder for chart.png, chart.json and chart.html', required: true },
  FORCE,
];
const STEPS: OptionRecord = {
  flags: '--steps <n>',
  help: 'different tones between bare and solid (default: 15 for tone, 14 for verify)',
};
const THROUGH: OptionRecord = { flags: '--profile <name>', help: `${PROFILE}; its machine, grid and settings` };

const loadChart = async () => (await import('./commands/chart.ts')).run;

/** A command for each kind of chart. */
export const CHART_RECORDS: readonly CommandRecord[] = [
  {
    name: 'chart spot',
    summary: 'How wide the mark of the beam is: lines and dots that a scan can tell.',
    args: '',
    options: [...CHART_MATERIAL, THROUGH, ...CHART_BURN],
    examples: ['chart spot --machine galvo-355-f210 --material anodised-black --out spot'],
    load: loadChart,
  },
  {
    name: 'chart dose',
    summary: 'Which settings: cells that each burn with their own power and speed.',
    args: '',
    options: [
      ...CHART_MATERIAL,
      THROUGH,
      {
        flags: '--vary <setting...>',
        help: 'one (a ladder) or two (a grid) of power, speed, rate, pulse, passes, spacing: the word alone, FROM:TO:HOW MANY, :log for equal ratios, or a,b,c; units as in 10%:60%:8, 1200mm/min, 20us (default: 4 powers × 3 speeds, half to twice; a ladder of 8 powers in one bitmap where the machine takes power per dot)',
      },
      ...CHART_BURN,
    ],
    examples: [
      'chart dose --machine gantry-450 --material "painted steel" --direction darker --out dose',
      'chart dose --machine galvo-1064-f160 --material stainless-steel --vary speed --out dose',
      'chart dose --machine galvo-1064-f160 --material stainless-steel --vary power=2:16:6 --vary speed=500:2000:5:log --out dose',
    ],
    load: loadChart,
  },
  {
    name: 'chart tone',
    summary: 'Which coverage gives which lightness: what a profile is learned from.',
    args: '',
    options: [
      ...CHART_MATERIAL,
      THROUGH,
      {
        flags: '--after <profile>',
        help: 'a second chart whose steps go where the curve of this profile is steep and badly known',
      },
      STEPS,
      ...CHART_BURN,
    ],
    examples: [
      'chart tone --machine galvo-355-f210 --material anodised-black --out chart',
      'chart tone --after card.json --out second',
    ],
    load: loadChart,
  },
  {
    name: 'chart verify',
    summary: 'Do photos come out as promised: other tones than the profile was learned from, burned through it.',
    args: '',
    options: [...CHART_MATERIAL, THROUGH, STEPS, ...CHART_BURN],
    examples: ['chart verify --profile anodised-black --out verify'],
    load: loadChart,
  },
  {
    name: 'chart check',
    summary: 'Does a profile still hold: a strip of seven patches to burn on waste.',
    args: '',
    options: [...CHART_MATERIAL, THROUGH, ...CHART_BURN],
    examples: ['chart check --profile anodised-black --out strip'],
    load: loadChart,
  },
];

const loadMachine = async () => (await import('./commands/machine.ts')).run;
/** The kind of record is told before the action: one file serves several of them. */
const loadRecordsOf = (kind: string) => async (): Promise<Run> => {
  const { run } = await import('./commands/records.ts');
  return (args, options, surroundings) => run([kind, ...args], options, surroundings);
};
const loadProfile = async () => (await import('./commands/profile.ts')).run;

/** Commands that list, show and add what a shop has. */
export const SHOP_RECORDS: readonly CommandRecord[] = [
  {
    name: 'machine list',
    summary: 'All machines: your own and the built-in examples.',
    args: '',
    options: [],
    examples: ['machine list'],
    load: loadMachine,
  },
  {
    name: 'machine show',
    summary: 'One machine: beam, ranges, motion, and how its control software counts.',
    args: '<name>',
    options: [],
    examples: ['machine show galvo-355-f210'],
    load: loadMachine,
  },
  {
    name: 'machine new',
    summary: 'Describe your own machine: by questions on a terminal, or all by options.',
    args: '',
    makesShop: true,
    options: [
      { flags: '--title <words>', help: 'what you call it, such as "Big galvo, 210 mm lens"' },
      { flags: '--like <machine>', help: 'the one that is nearest: it lends what is not said (see `machine list`)' },
      { flags: '--name <name>', help: 'name of its record (default: of its title)' },
      { flags: '--focal-length <length>', help: 'focal length of the lens, mm' },
      { flags: '--field <size>', help: 'largest width and height that it can burn, such as 110x110' },
      { flags: '--full-power <W>', help: 'mean power at the work at full power, W' },
      { flags: '--top-speed <mm/s>', help: 'highest speed along a scan line, mm/s, or as in 6000mm/min' },
      { flags: '--rates <range>', help: 'pulse rates that can be set, kHz, such as 20:80' },
      { flags: '--spot <length>', help: 'spot diameter as measured, e.g. 32um (default: computed from the lens)' },
      { flags: '--power-unit <unit>', help: 'how its software takes power', choices: ['W', '%'] },
      { flags: '--speed-unit <unit>', help: 'how it takes speed', choices: ['mm/s', 'mm/min'] },
      {
        flags: '--rate-unit <unit>',
        help: 'how it takes the pulse rate: a frequency or a period',
        choices: ['kHz', 'us'],
      },
      { flags: '--fires <colour>', help: 'which pixels of a bitmap it burns', choices: ['black', 'white'] },
      {
        flags: '--origin <corner>',
        help: 'where it has its 0, 0',
        choices: ['top-left', 'top-right', 'bottom-left', 'bottom-right', 'centre'],
      },
      {
        flags: '--mirrors <way>',
        help: 'whether it burns bitmaps mirrored: no, left to right (x), top to bottom (y)',
        choices: ['no', 'x', 'y'],
      },
      FORCE,
    ],
    examples: [
      'machine new',
      'machine new --title "My galvo" --like galvo-1064-f160 --focal-length 160 --field 110x110 --full-power 20 --power-unit % --speed-unit mm/s --rate-unit kHz --fires black --origin bottom-left',
    ],
    load: loadMachine,
  },
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
];

const loadSimulate = async () => (await import('./commands/simulate.ts')).run;
const MODEL: OptionRecord = {
  flags: '--material-model <name>',
  help: 'what is engraved: a name (see `simulate list`) or a JSON file',
};
const SEED: OptionRecord = { flags: '--seed <n>', help: 'random seed: another piece, another picture (default: 1)' };
const BY_CHART = '(default: by the chart or ticket beside the bitmap, else the material model’s)';
const ENGRAVE: readonly OptionRecord[] = [
  MODEL,
  SEED,
  { flags: '--chart <file>', help: 'layout of a dose chart, whose cells burn with their own settings' },
  { flags: '--power <W>', help: `power, W ${BY_CHART}` },
  { flags: '--speed <mm/s>', help: `speed, mm/s ${BY_CHART}` },
  { flags: '--passes <n>', help: `passes ${BY_CHART}` },
  { flags: '--scan <way>', help: 'scan lines one way, or there and back', choices: ['one-way', 'two-way'] },
  { flags: '--pitch <length>', help: 'distance between dots, mm (default: as the file says)' },
  { flags: '--spacing <length>', help: 'line spacing, mm (default: as the file says)' },
  { flags: '--dpi <n>', help: 'pixels per inch of the piece (default: 1200 for .npy, 600 for .png)' },
  { flags: '--margin <length>', help: 'bare material around the bitmap, mm (default: 0)' },
];

/** The virtual engraver and scanner. */
export const SIMULATE_RECORDS: readonly CommandRecord[] = [
  {
    name: 'simulate list',
    summary: 'Materials and cameras that there are.',
    args: '',
    options: [],
    examples: ['simulate list'],
    load: loadSimulate,
  },
  {
    name: 'simulate engrave',
    summary: 'Burn a bitmap on a virtual material.',
    args: '<bitmap>',
    options: [
      ...ENGRAVE,
      { flags: '--faults <list>', help: 'some of tilt, dirty-lens, mirrored, with commas between (default: none)' },
      {
        flags: '--out <file>',
        help: '.npy (linear reflectance, with a .npy.json beside it) or .png (a picture)',
      },
      FORCE,
    ],
    examples: ['simulate engrave chart/chart.png --material-model anodised-black --out piece.npy'],
    load: loadSimulate,
  },
  {
    name: 'simulate capture',
    summary: 'Scan or photograph a virtual piece; a bitmap is engraved first.',
    args: '<file>',
    options: [
      { flags: '--camera <name>', help: 'flatbed-600, phone-straight … (see `simulate list`)' },
      ...ENGRAVE,
      {
        flags: '--faults <list>',
        help: 'some of tilt, dirty-lens, mirrored, clipped, glare, with commas between (default: none)',
      },
      { flags: '--pixel <length>', help: 'size of a pixel of a .npy without a .npy.json beside it, mm' },
      { flags: '--rotate <degrees>', help: 'turn of the piece, clockwise (default: the camera’s)' },
      {
        flags: '--paper <L*>',
        help: 'the piece lies on a sheet of white paper of that L*, 25 mm of it all around (default: none)',
      },
      { flags: '--quality <n>', help: 'of a .jpg, 1 to 100 (default: 90)' },
      { flags: '--out <file>', help: '.png or .jpg' },
      FORCE,
    ],
    examples: [
      'simulate capture piece.npy --camera flatbed-600 --out scan.png',
      'simulate capture chart/chart.png --material-model slate --camera phone-tilted --out photo.jpg',
    ],
    load: loadSimulate,
  },
  {
    name: 'simulate faults',
    summary: 'What planted faults look like, and what the program says of each.',
    args: '',
    options: [
      MODEL,
      SEED,
      {
        flags: '--faults <list>',
        help: 'some of tilt, dirty-lens, mirrored, clipped, glare, with commas between (default: all)',
      },
    ],
    examples: ['simulate faults --material-model anodised-black'],
    load: loadSimulate,
  },
];
