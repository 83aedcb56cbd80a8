import {
  BACKDROPS,
  BENEATH,
  DOT_FORMAT_NAMES,
  JOB_DEFAULTS,
  MOST_ZOOM,
  OUTLINES,
  SEEN,
  TONE_FIELDS,
} from '../../tasks/index.ts';
import type { CommandRecord, OptionRecord } from '../command.ts';
import {
  FORCE,
  MACHINE,
  OUT_FOLDER,
  PROFILE,
  rangeOf,
  SCREEN_DEFAULTS,
  SCREENS,
  SETTINGS_FILE,
  VIEWED_FROM,
  wordsOf,
} from '../option-records.ts';

/** Every tone value as an option: `blackPointL` becomes `--black-point-l`. */
const TONE_OPTIONS: readonly OptionRecord[] = Object.entries(TONE_FIELDS).map(([name, field]) => ({
  flags: `--${name.replace(/[A-Z]/g, (letter) => `-${letter.toLowerCase()}`)} <${field.unit === '' ? 'value' : field.unit}>`,
  help: `${field.help} ${field.min} … ${field.max}${field.unit === '' ? '' : ` ${field.unit}`} (default: as --tone chooses)`,
}));

const FLAT: CommandRecord = {
  name: 'prepare',
  summary: 'Make a photo into the bitmap that burns it right, with a proof, a time and a ticket.',
  args: '[photo]',
  options: [
    {
      flags: '--size <size>',
      help: 'WIDTHxHEIGHT such as 85.6x54, 3.37x2.13in, one length for a square, ⌀80 or d80 for a round piece, or card (ID-1), ID-2, ID-3',
    },
    PROFILE,
    {
      flags: '--material <name>',
      help: 'material without a profile: a straight curve and a loud warning (see `material list`), or any name together with --direction',
    },
    {
      flags: '--direction <way>',
      help: 'how a material marks that the shop has no record of',
      choices: ['lighter', 'darker'],
    },
    { ...MACHINE, help: `${MACHINE.help} (default: the profile’s)` },
    OUT_FOLDER,
    {
      flags: '--spacing <length>',
      help: 'line spacing, mm, or auto (default: the profile’s, else the recommended one)',
    },
    {
      flags: '--pitch <length>',
      help: 'distance between dots along a line, mm, or auto (default: as for --spacing)',
    },
    {
      flags: '--fit <way>',
      help: `fill the piece, or show the whole photo (default: ${JOB_DEFAULTS.fit})`,
      choices: ['cover', 'contain'],
    },
    {
      flags: '--keep <x,y>',
      help: 'what must stay in sight, shares of width and height (default: the subject)',
    },
    {
      flags: '--zoom <times>',
      help: `how many times larger than it must be to fill the piece, 1 to ${MOST_ZOOM} (default: 1)`,
    },
    {
      flags: '--turn <degrees>',
      help: 'turn the photo clockwise, -180 to 180; 0 keeps it (default: upright by its faces, where they leave no doubt)',
    },
    {
      flags: '--subject <what>',
      help: `auto: faces, people, or what stands out; none; x,y,width,height as shares of the photo; or a picture that is white where the subject is (default: ${JOB_DEFAULTS.subject})`,
    },
    {
      flags: '--backdrop <way>',
      help: `what is around the subject: keep it, soften its contrast, fade it out, or leave it bare (default: ${JOB_DEFAULTS.backdrop})`,
      choices: BACKDROPS,
    },
    {
      flags: '--outline <form>',
      help: `of the picture on the piece (default: ${OUTLINES[0]})`,
      choices: OUTLINES,
    },
    {
      flags: '--vignette <length>',
      help: 'width over which the picture fades out towards its outline, mm (default: 0)',
    },
    {
      flags: '--upright',
      help: 'the piece’s long side down (default: a named size lies as suits the photo; in an order lengthwise)',
    },
    { flags: '--lengthwise', help: 'the piece’s long side across' },
    { flags: '--corner <length>', help: 'corner radius of the piece, mm (default: the named size’s, else 0)' },
    {
      flags: '--margin <length>',
      help: `nothing is burned nearer than this to the edge, mm (default: ${JOB_DEFAULTS.safeMarginMm})`,
    },
    VIEWED_FROM,
    {
      flags: '--tone <mode>',
      help: `auto looks at the photo, plain leaves it as it is (default: ${JOB_DEFAULTS.tone})`,
      choices: ['auto', 'plain'],
    },
    ...TONE_OPTIONS,
    {
      flags: '--range <way>',
      help: `scale: draw the photo’s L* onto the material’s range; absolute: keep L*, cut off the rest (default: ${JOB_DEFAULTS.range})`,
      choices: ['scale', 'absolute'],
    },
    {
      flags: '--aim <aim>',
      help: 'lightness or density: equal steps of which; or names of profiles with commas between: the range that all of them reach, so that different stock looks like one set (default: the profile’s, else lightness)',
    },
    { flags: '--weights <r,g,b>', help: 'shares of red, green and blue (default: Rec. 709, 0.2126,0.7152,0.0722)' },
    {
      flags: '--screen <name>',
      help: `${SCREENS}; auto: the one for this profile and machine, its reason on the ticket (default: ${JOB_DEFAULTS.screen}; the profile’s where it was learned with another screen)`,
    },
    { flags: '--serpentine', help: 'error diffusion turns at each row’s end (default)' },
    { flags: '--raster', help: 'error diffusion always runs left to right' },
    {
      flags: '--model-based',
      help: 'error diffusion passes on the error of the marks that the dot table predicts, not of the dots',
    },
    {
      flags: '--edges <strength>',
      help: `how far error diffusion’s threshold follows local contrast, ${rangeOf('edges')} (default: ${SCREEN_DEFAULTS.edges}, not at all)`,
    },
    {
      flags: '--run <dots>',
      help: `error diffusion keeps the beam on, and off, for at least so many dots, ${rangeOf('run')} (default: ${SCREEN_DEFAULTS.run})`,
    },
    {
      flags: '--dot-size <dots>',
      help: `mark diameter that blue-noise is spread for, ${rangeOf('dotSize')} dots (default: ${SCREEN_DEFAULTS.dotSize}, a dot marks its own cell)`,
    },
    {
      flags: '--cluster <dots>',
      help: `smallest cluster of green-noise, ${rangeOf('cluster')} dots (default: ${SCREEN_DEFAULTS.cluster})`,
    },
    {
      flags: '--lines-per-cm <n>',
      help: `ruling of clustered-dot and line, ${rangeOf('linesPerCm')} (default: ${SCREEN_DEFAULTS.linesPerCm})`,
    },
    { flags: '--angle <degrees>', help: 'angle of clustered-dot and line, clockwise from the scan line' },
    { flags: '--shape <shape>', help: 'dot of clustered-dot', ...wordsOf('shape') },
    { flags: '--matrix <dots>', help: 'side of the matrix of bayer and blue-noise, dots' },
    { flags: '--seed <n>', help: 'random seed of screens that use chance' },
    {
      flags: '--response <way>',
      help: 'what direct-search takes dots to leave: as the dot table says, or each the same, in about half of the time (default: table)',
      ...wordsOf('response'),
    },
    {
      flags: '--threads <n>',
      help: 'threads of direct-search, 1 to 64; the dots are the same (default: the processors)',
    },
    {
      flags: '--levels <n>',
      help: `power levels per dot, ${rangeOf('levels')} (default: ${JOB_DEFAULTS.levels}, the beam fires or not)`,
    },
    {
      flags: '--format <format>',
      help: `file of the bitmap (default: ${JOB_DEFAULTS.format}); gcode: a program for a machine whose record says how it reads them`,
      choices: DOT_FORMAT_NAMES,
    },
    {
      flags: '--marks <palette>',
      help: 'marks of several tones: a name or a JSON file, as `check --palette` writes it; one bitmap for each mark',
    },
    {
      flags: '--separate <by>',
      help: '--marks: by lightness alone, or by colour (default: colour where the palette has colours)',
      choices: ['lightness', 'colour'],
    },
    SETTINGS_FILE,
    {
      flags: '--power <W>',
      help: 'settings by hand, no chart needed: mean power at the work, W, or as in 45% (default: the profile’s, else the machine’s)',
    },
    { flags: '--speed <mm/s>', help: 'speed along a scan line, mm/s, or as in 6000mm/min (default: as for --power)' },
    { flags: '--rate <kHz>', help: 'pulse repetition rate, kHz, or as in 20us (default: as for --power)' },
    { flags: '--pulse <ns>', help: 'pulse duration, ns (default: as for --power)' },
    { flags: '--passes <n>', help: 'how often the bitmap is burned over itself (default: as for --power)' },
    {
      flags: '--scan <way>',
      help: 'scan lines one way, or there and back (default: as for --power)',
      choices: ['one-way', 'two-way'],
    },
    {
      flags: '--seen <side>',
      help: 'how clear stock is looked at: at the burned face, or through the stock, which is burned from behind, mirrored (default: as the profile was learned, else as the material usually is)',
      choices: SEEN,
    },
    {
      flags: '--beneath <ground>',
      help: 'what lies beneath clear stock where it is looked at (default: as for --seen)',
      choices: BENEATH,
    },
    {
      flags: '--mirror',
      help: 'left and right change places in the bitmap; of clear stock the same as --seen through',
    },
    {
      flags: '--rotate <degrees>',
      help: 'the piece lies turned in the machine, clockwise: 0, 90, 180 or 270 (default: 0); --turn turns the photo',
      choices: ['0', '90', '180', '270'],
    },
    {
      flags: '--at <place>',
      help: 'where the piece lies in the field: its middle as x,y in mm from the field’s upper left corner, or JIG/POCKET; tones are corrected for how even the field is there (default: the middle, uncorrected)',
    },
    {
      flags: '--evenness <file>',
      help: '--at: what `learn` wrote of a field chart (default: the shop’s of this machine)',
    },
    {
      flags: '--round <diameter>',
      help: 'a round piece that lies still, its axis down the bitmap: diameter, mm; the width of --size then goes around it',
    },
    {
      flags: '--round-error <L>',
      help: 'with --round: tone error up to which a width is used, L* (default: 2); beyond, the picture fades out',
    },
    {
      flags: '--focus-reading <file>',
      help: 'with --round: what `learn` wrote of a focus chart, or none (default: the shop’s of this machine and material, else the optics)',
    },
    {
      flags: '--around <diameters>',
      help: 'a piece that a rotary turns, its axis along the scan lines: diameter, mm, or upper,lower of a cone such as 73,65; the width of --size then goes around it',
    },
    {
      flags: '--steps-per-turn <n>',
      help: 'with --around: steps of the rotary for one turn of the piece; lines then lie whole steps apart',
    },
    {
      flags: '--overlap <length>',
      help: 'with --around all the way: so much of the picture’s end is blended into its beginning, mm (default: 0)',
    },
    { flags: '--strip', help: 'a control strip of 60 × 8 mm beside the piece, as a bitmap of its own, for `check`' },
    { flags: '--strip-joined', help: 'the same in one bitmap with the picture' },
    {
      flags: '--caption <words>',
      help: 'words on the piece, solid at its own dots: a name, a date (--text is for the ticket)',
    },
    { flags: '--caption2 <words>', help: 'a second line, smaller' },
    {
      flags: '--caption-place <place>',
      help: 'below: a bare strip before which the picture ends; band: a strip over the picture; picture: on the picture itself; edge: the bare edge that --fit contain or --margin leaves (default: below)',
      choices: ['below', 'band', 'picture', 'edge'],
    },
    {
      flags: '--caption-height <length>',
      help: 'height of the capitals of the first line, mm, or auto (default: 3, on a large piece a twentieth of its short side, or as much as there is room for)',
    },
    {
      flags: '--caption-font <font>',
      help: 'Noto Sans, EB Garamond or Dancing Script; Hebrew and Arabic letters come from fonts of their own (default: sans)',
      choices: ['sans', 'serif', 'script'],
    },
    {
      flags: '--caption-ink <ink>',
      help: 'the letters’ dots fire, or are knocked out of what lies around them (default: solid)',
      choices: ['solid', 'bare'],
    },
    {
      flags: '--artwork <file>',
      help: 'a drawing on the piece: an SVG of curves, or the name of one that the shop keeps; dark paint is drawn',
    },
    {
      flags: '--artwork-width <length>',
      help: 'its width, mm (default: as the drawing says, else a quarter of the piece’s)',
    },
    {
      flags: '--artwork-at <x,y>',
      help: 'its upper left corner, mm right and down from the piece’s (default: in the upper right corner)',
    },
    {
      flags: '--artwork-ink <ink>',
      help: 'its dots fire, or are knocked out of the picture (default: solid)',
      choices: ['solid', 'bare'],
    },
    {
      flags: '--again <ticket>',
      help: 'instead of all choices: make a job as its ticket has it, or by its name once it is burned; the same bytes, or what has changed',
    },
    { flags: '--name <name>', help: 'name of the job and of its files (default: the photo’s)' },
    { flags: '--text <words>', help: 'what the ticket should tell whoever burns the piece' },
    {
      flags: '--prices <file>',
      help: 'price list for the ticket, or none (default: prices.json of the shop folder, where there is one)',
    },
    { flags: '--only <what>', help: 'write the bitmap and nothing else', choices: ['bitmap'] },
    FORCE,
  ],
  examples: [
    'prepare images/photos/cat.png --size 60x40 --marks stainless-oxides --out out',
    'prepare images/photos/cat.png --size ID-1 --profile anodised-black --out out',
    'prepare images/photos/cat.png --again out/cat.ticket.json --out again',
    'prepare dog.jpg --size 100x100 --material slate --machine gantry-450 --power 20 --speed 250 --out out',
    'prepare dog.jpg --size 100x100 --material slate --machine gantry-450 --fit contain --out out',
    'prepare images/photos/cup.png --size 25x30 --profile glass-tumbler --round 73 --out out',
    'prepare images/photos/cup.png --size 120x80 --profile glass-tumbler --around 73,65 --steps-per-turn 25600 --out out',
  ],
  load: async () => (await import('./prepare.ts')).run,
};

/** The options of a photo that the help lists under a heading, in its order; the others are what a shop uses first. */
const HEADINGS: Readonly<Record<string, string>> = {
  'The photo on the piece':
    'keep zoom turn subject backdrop outline vignette upright lengthwise corner margin viewed-from',
  'Words and a drawing':
    'caption caption2 caption-place caption-height caption-font caption-ink artwork artwork-width artwork-at artwork-ink',
  'A material that was never learned': 'material direction',
  'By hand: settings and how it lies':
    'settings power speed rate pulse passes scan seen beneath mirror rotate at evenness spacing pitch levels',
  'A round piece': 'round round-error focus-reading around steps-per-turn overlap',
  'By hand: tone': ['range aim weights', ...TONE_OPTIONS.map(({ flags }) => flags.slice(2).split(' ')[0])].join(' '),
  'By hand: screen':
    'screen serpentine raster model-based edges run dot-size cluster lines-per-cm angle shape matrix seed response threads',
  'By hand: marks of several tones': 'marks separate',
  'By hand: file': 'format only name text prices strip-joined',
};
const headingOf = (flags: string) =>
  Object.entries(HEADINGS).find(([, names]) => names.split(' ').includes(/^--([a-z\d-]+)/.exec(flags)![1]!))?.[0];

const GROUPED = FLAT.options.map((option) => ({ option, group: headingOf(option.flags) }));

/** With the options in groups: what an order takes of each piece is told from it, too. */
export const PREPARE: CommandRecord = {
  ...FLAT,
  options: [undefined, ...Object.keys(HEADINGS)].flatMap((heading) =>
    GROUPED.filter(({ group }) => group === heading).map(({ option, group }) =>
      group === undefined ? option : { ...option, group },
    ),
  ),
};

/** Commands for one photo. */
export const PHOTO_RECORDS: readonly CommandRecord[] = [
  PREPARE,
  {
    name: 'burned',
    summary: 'Keep what was burned and how it came out; without a ticket, list it, or a month of it as CSV.',
    args: '[ticket]',
    makesShop: true,
    options: [
      { flags: '--count <n>', help: 'good pieces (default: 1)' },
      { flags: '--scrap <n>', help: 'pieces that were spoiled (default: 0)' },
      { flags: '--note <words>', help: 'how it came out, in words' },
      { flags: '--photo <file>', help: 'a picture of the burned piece, to be kept with it' },
      { flags: '--date <day>', help: 'day of the burn, such as 2026-03-31 (default: today)' },
      {
        flags: '--month <month>',
        help: 'without a ticket: what was burned in a month, such as 2026-11 (default: all)',
      },
      { flags: '--out <file>', help: 'without a ticket: a CSV with time, pieces, scrap and money' },
      FORCE,
    ],
    examples: [
      'burned out/cat.ticket.json --count 2 --scrap 1 --note "a little dark"',
      'burned --month 2026-11 --out november.csv',
    ],
    load: async () => (await import('./burned.ts')).run,
  },
  {
    name: 'proof',
    summary: 'Show what a bitmap will look like on a material.',
    args: '<bitmap>',
    options: [
      { ...PROFILE, required: true },
      { flags: '--out <file>', help: 'PNG to write', required: true },
      { flags: '--pitch <length>', help: 'distance between dots, mm (default: as the file says, else the profile’s)' },
      { flags: '--spacing <length>', help: 'line spacing, mm (default: as the file says, else the profile’s)' },
      { flags: '--corner <length>', help: 'corner radius of the piece, mm (default: 0)' },
      FORCE,
    ],
    examples: ['proof out/cat.png --profile anodised-black --out out/again.png'],
    load: async () => (await import('./proof.ts')).run,
  },
];
