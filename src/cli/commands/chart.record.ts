import { BENEATH, SEEN } from '../../tasks/index.ts';
import type { CommandRecord, OptionRecord } from '../command.ts';
import { DIRECTION, FORCE, MACHINE, PROFILE, SCREENS, SETTINGS_FILE } from '../option-records.ts';

const CHART_MATERIAL: readonly OptionRecord[] = [
  { ...MACHINE, help: `${MACHINE.help} (default: the profile’s)` },
  {
    flags: '--material <name>',
    help: 'material (see `material list`), or any name together with --direction',
  },
  DIRECTION,
];
/** What a software burned into the empty field of a dose chart. */
const FIELD_GRID: readonly OptionRecord[] = [
  {
    flags: '--columns <setting>',
    help: 'dose with an empty field: what your grid sweeps from left to right, such as power=10%:60%:6',
  },
  { flags: '--rows <setting>', help: 'and from top to bottom, such as speed=500:2000:4, or speed=1000 for one row' },
  { flags: '--cell-gap <length>', help: 'bare distance between two of its cells, mm (default: 1)' },
];
const CHART_BURN: readonly OptionRecord[] = [
  {
    flags: '--size <size>',
    help: 'WIDTHxHEIGHT, mm, or ID-1, ID-2, ID-3 (default: 85.6x54; 60x8 for check; the field, up to an A4 sheet, for field)',
  },
  { flags: '--spacing <length>', help: 'line spacing, mm (default: the profile’s, else the recommended one)' },
  { flags: '--pitch <length>', help: 'distance between dots along a line, mm (default: as for --spacing)' },
  {
    flags: '--screen <name>',
    help: `${SCREENS}; auto: the one for this machine (default: the profile’s, else auto)`,
  },
  { flags: '--seed <n>', help: 'random seed of the places of the patches (default: 1)' },
  { flags: '--replicates <n>', help: 'how often each tone is repeated (default: 3 for tone, 2 elsewhere)' },
  SETTINGS_FILE,
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
/** Charts of tones on clear stock. */
const CHART_SIDE: readonly OptionRecord[] = [
  {
    flags: '--seen <side>',
    help: 'how clear stock is looked at: at the burned face, or through it; the bitmap is then mirrored, and the picture taken through the stock (default: as the profile was learned, else as the material usually is)',
    choices: SEEN,
  },
  {
    flags: '--beneath <ground>',
    help: 'what lies beneath clear stock while its picture is taken (default: as for --seen)',
    choices: BENEATH,
  },
];
const STEPS: OptionRecord = {
  flags: '--steps <n>',
  help: 'different tones between bare and solid (default: 15 for tone, 14 for verify)',
};
const LEVELS: OptionRecord = {
  flags: '--levels <n>',
  help: 'power levels per dot, 3 to what the machine states: measured beside dots that fire or not (default: 2, dots fire or not)',
};
const THROUGH_LEVELS: OptionRecord = {
  flags: '--levels <n>',
  help: 'burned with power levels per dot, as a profile has learned them (default: 2, dots fire or not)',
};
const THROUGH: OptionRecord = { flags: '--profile <name>', help: `${PROFILE.help}; its machine, grid and settings` };

const loadChart = async () => (await import('./chart.ts')).run;

/** What `learn` and `check` are told of light and marks. */
const CAPTURE_LIGHT: readonly OptionRecord[] = [
  {
    flags: '--reference <what>',
    help: 'what tells how light the whole is: paper (white office paper within 60 mm of the chart, L* 93 ± 3), the L* of a neutral card there with its tolerance (such as 50,1), or scanner (a scan without automatics) (default: nothing; the exposure stands open)',
  },
  {
    flags: '--reference-at <box>',
    help: 'where the paper or card lies: x,y,width,height in pixels of the one capture (default: looked for around the chart)',
  },
  {
    flags: '--direction <way>',
    help: 'how the material really marks, where the chart was drawn for the other way (default: as the chart)',
    choices: ['lighter', 'darker'],
  },
];

/** Commands for charts: one for each kind, and what reads them. */
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
    name: 'chart focus',
    summary: 'Where the beam is sharpest, and how deep: fine lines burned on a piece that leans.',
    args: '',
    options: [
      ...CHART_MATERIAL,
      {
        flags: '--rise <length>',
        help: 'how far the upper edge of the piece stands above its lower edge, mm (default: three depths of focus by the optics)',
      },
      ...CHART_BURN,
    ],
    examples: ['chart focus --machine galvo-1064-f160 --material anodised-black --rise 6 --out focus'],
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
      {
        flags: '--cells <what>',
        help: 'empty: tags, letters and references around an empty field, into which your software burns the grid that it makes itself (default: cells of our own)',
        choices: ['empty'],
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
      ...CHART_SIDE,
      LEVELS,
      ...CHART_BURN,
    ],
    examples: [
      'chart tone --machine galvo-355-f210 --material anodised-black --out chart',
      'chart tone --after card.json --out second',
      'chart tone --machine gantry-10600 --material clear-glass --seen through --out glass',
      'chart tone --machine gantry-450 --material birch-plywood --levels 16 --out chart',
    ],
    load: loadChart,
  },
  {
    name: 'chart field',
    summary: 'How even the field is: where the beam arrives weaker and wider, for pieces that lie anywhere.',
    args: '',
    options: [
      ...CHART_MATERIAL,
      THROUGH,
      {
        flags: '--at <x,y>',
        help: 'where the chart’s middle lies in the field, mm from the field’s upper left corner (default: its middle); several charts at several places are learned together',
      },
      ...CHART_BURN,
    ],
    examples: [
      'chart field --profile anodised-black --out field',
      'chart field --profile anodised-black --size 60x40 --at 35,25 --out upper-left',
    ],
    load: loadChart,
  },
  {
    name: 'chart verify',
    summary: 'Do photos come out as promised: other tones than the profile was learned from, burned through it.',
    args: '',
    options: [...CHART_MATERIAL, THROUGH, STEPS, THROUGH_LEVELS, ...CHART_SIDE, ...CHART_BURN],
    examples: ['chart verify --profile anodised-black --out verify'],
    load: loadChart,
  },
  {
    name: 'chart check',
    summary: 'Does a profile still hold: a strip of seven patches to burn on waste.',
    args: '',
    options: [...CHART_MATERIAL, THROUGH, THROUGH_LEVELS, ...CHART_SIDE, ...CHART_BURN],
    examples: ['chart check --profile anodised-black --out strip'],
    load: loadChart,
  },
  {
    name: 'learn',
    summary:
      'Learn from scans or photos of a burned chart: tone gives a profile, spot the mark width, dose the settings, field the evenness.',
    args: '<captures...>',
    options: [
      {
        flags: '--out <file>',
        help: 'the profile or what a spot, dose or field chart told, a .json file; its report of the same name ends in .html',
        required: true,
      },
      {
        flags: '--chart <file>',
        help: 'the chart.json written with the chart (default: found in the shop by its tags)',
      },
      {
        flags: '--camera <kind>',
        help: 'known: values are sRGB or the embedded profile says; unknown: a contrast curve of its own (default: known)',
        choices: ['known', 'unknown'],
      },
      {
        flags: '--mirrored',
        help: 'the picture shows the chart left to right, as through glass burned from the back; of clear stock the marks tell it',
      },
      {
        flags: '--corners <points>',
        help: 'outer corners of the corner tags by hand: "x,y x,y x,y x,y" in pixels, from the chart’s upper left clockwise',
      },
      ...CAPTURE_LIGHT,
      { flags: '--name <name>', help: 'name of the profile (default: of its title, else material and chart)' },
      { flags: '--title <text>', help: 'title of the profile, as lists show it (default: material and machine)' },
      {
        flags: '--aim <aim>',
        help: 'aim curve of every picture through the profile: lightness, density or names of profiles (default: lightness)',
      },
      {
        flags: '--profile <name>',
        help: 'field: the profile that the chart was drawn through (default: the one of its name in the shop)',
      },
      {
        flags: '--diameters <list>',
        help: 'dose: crater diameters by cell, µm, such as A2=31,A3=38.5: adds the peak fluence threshold',
      },
      ...FIELD_GRID,
      FORCE,
    ],
    examples: [
      'learn scan.png --chart chart/chart.json --out slate.json',
      'learn photo1.jpg photo2.jpg --camera unknown --out slate.json',
      'learn photo.jpg --reference paper --out slate.json',
      'learn dose.png --chart dose/chart.json --out settings.json',
      'learn field.png --chart field/chart.json --out evenness.json',
    ],
    load: async () => (await import('./learn.ts')).run,
  },
  {
    name: 'check',
    summary: 'Read a burned strip or verify chart: does the profile still hold? It reads spot and dose charts, too.',
    args: '<capture>',
    options: [
      {
        ...PROFILE,
        help: `${PROFILE.help} (default: the one that the strip was drawn through); spot and dose charts need none`,
      },
      { flags: '--chart <file>', help: 'chart.json of the strip (default: found in the shop folder by its tags)' },
      {
        flags: '--camera <kind>',
        help: 'known: sRGB or the embedded profile; unknown: a phone with its own contrast curve (default: known)',
        choices: ['known', 'unknown'],
      },
      {
        flags: '--mirrored',
        help: 'the picture shows the chart left to right, as through glass burned from the back; of clear stock the marks tell it',
      },
      { flags: '--corners <x,y,…>', help: 'corners by hand, pixels: four points clockwise from the upper left' },
      ...CAPTURE_LIGHT,
      {
        flags: '--diameters <list>',
        help: 'dose: crater diameters by cell, µm, such as A2=31,A3=38.5: adds the peak fluence threshold',
      },
      {
        flags: '--palette <file>',
        help: 'dose: JSON file to write the marks of several tones to, for `prepare --marks`',
      },
      { flags: '--cells <list>', help: '--palette: cells to take, such as A2,B5,C7 (default: the most distinct ones)' },
      {
        flags: '--count <n>',
        help: '--palette: how many marks to choose, 1 to 8 (default: the clearly distinct, up to 4)',
      },
      {
        flags: '--adjust [file]',
        help: 'adjust the profile to the day by this strip, instead of learning anew (default: into the shop, its name with the date)',
      },
      { flags: '--out <file>', help: 'HTML page with the curve, the capture and the history' },
      FORCE,
    ],
    examples: [
      'check dose.png --chart dose/chart.json --palette marks.json --count 3',
      'check strip.png --chart strip/chart.json --profile anodised-black',
      'check strip.png --adjust',
      'check strip.jpg --profile anodised-black --camera unknown --out check.html',
    ],
    load: async () => (await import('./check.ts')).run,
  },
];
