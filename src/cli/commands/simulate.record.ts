import { PIECE_VIEWS, SEEN } from '../../tasks/index.ts';
import type { CommandRecord, OptionRecord } from '../command.ts';
import { FORCE } from '../option-records.ts';

const loadSimulate = async () => (await import('./simulate.ts')).run;
const MODEL: OptionRecord = {
  flags: '--material-model <name>',
  help: 'what is engraved: a name (see `simulate list`) or a JSON file (default: what behaves like the material of the chart)',
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
  {
    flags: '--field <name>',
    help: 'how the beam differs over the machine’s field: a name (see `simulate list`) or a JSON file (default: the same everywhere)',
  },
  {
    flags: '--at <x,y>',
    help: 'where the bitmap’s middle lies in that field, mm from its upper left corner (default: its middle)',
  },
  {
    flags: '--seen <side>',
    help: 'whether the burned piece is looked at where it was burned, or turned over, through the stock (default: as its chart was drawn)',
    choices: SEEN,
  },
  {
    flags: '--levels <name>',
    help: 'what the laser makes of levels of power per dot: a name (see `simulate list`) or a JSON file (default: power in proportion)',
  },
  { flags: '--focus <mm>', help: 'how far the beam focuses above where it was set, mm (default: 0)' },
  { flags: '--astigmatism <mm>', help: 'by how much more it does so along the scan than across it, mm (default: 0)' },
];

/** The virtual engraver and scanner. */
export const SIMULATE_RECORDS: readonly CommandRecord[] = [
  {
    name: 'simulate list',
    summary: 'Materials, cameras, fields and levels of power that there are.',
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
      { flags: '--round <diameter>', help: 'a round piece that lies still, its axis down the bitmap: diameter, mm' },
      {
        flags: '--around <diameters>',
        help: 'a piece that a rotary turns, its axis along the lines, whose right ends are its upper edge: diameter, mm, or upper,lower of a cone such as 73,65',
      },
      {
        flags: '--view <side>',
        help: 'with --around: its skin laid flat, or the piece from a side (default: unrolled)',
        choices: PIECE_VIEWS,
      },
      { flags: '--faults <list>', help: 'some of tilt, dirty-lens, mirrored, with commas between (default: none)' },
      {
        flags: '--out <file>',
        help: '.npy (linear reflectance, with a .npy.json beside it) or .png (a picture)',
      },
      FORCE,
    ],
    examples: [
      'simulate engrave chart/chart.png --material-model anodised-black --out piece.npy',
      'simulate engrave out/cone/cat.png --material-model glass --around 73,65 --view front --out front.png',
    ],
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
