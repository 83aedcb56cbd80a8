import { BACKDROPS, DOT_FORMAT_NAMES, OUTLINES, SCREEN_NAMES, TONE_FIELDS } from '../../tasks/index.ts';
import { CHART_RECORDS, SHOP_RECORDS, SIMULATE_RECORDS } from '../action-records.ts';
import type { CommandRecord, OptionRecord } from '../command.ts';
import { orderRecords } from '../order-records.ts';

const MACHINE: OptionRecord = {
  flags: '--machine <name>',
  help: 'machine: a name (see `machine list`) or a JSON file',
};

const PROFILE: OptionRecord = {
  flags: '--profile <name>',
  help: 'profile: a name (see `profile list`) or a JSON file',
};
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

const FORCE: OptionRecord = { flags: '--force', help: 'replace results that exist' };

const SCREENS = SCREEN_NAMES.join(', ');

/** Every tone value as an option: `blackPointL` becomes `--black-point-l`. */
const TONE_OPTIONS: readonly OptionRecord[] = Object.entries(TONE_FIELDS).map(([name, field]) => ({
  flags: `--${name.replace(/[A-Z]/g, (letter) => `-${letter.toLowerCase()}`)} <${field.unit === '' ? 'value' : field.unit}>`,
  help: `${field.help} ${field.min} … ${field.max}${field.unit === '' ? '' : ` ${field.unit}`} (default: as --tone chooses)`,
}));

const RECORDS: readonly CommandRecord[] = [
  {
    name: 'prepare',
    summary: 'Make a photo into the bitmap that burns it right, with a proof, a time and a ticket.',
    args: '[photo]',
    options: [
      {
        flags: '--size <size>',
        help: 'WIDTHxHEIGHT such as 85.6x54, 3.37x2.13in, one length for a square, ⌀80 for a round piece, or card (ID-1), ID-2, ID-3',
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
      { flags: '--out <dir>', help: 'folder for the results; made when it is not there', required: true },
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
        help: 'fill the piece, or show the whole photo (default: cover)',
        choices: ['cover', 'contain'],
      },
      {
        flags: '--keep <x,y>',
        help: 'what must stay in sight, shares of width and height (default: the subject)',
      },
      {
        flags: '--zoom <times>',
        help: 'how many times larger than it must be to fill the piece, 1 to 20 (default: 1)',
      },
      {
        flags: '--turn <degrees>',
        help: 'turn the photo clockwise, -180 to 180; 0 keeps it (default: upright by its faces, where they leave no doubt)',
      },
      {
        flags: '--subject <what>',
        help: 'auto: faces, people, or what stands out; none; x,y,width,height as shares of the photo; or a picture that is white where the subject is (default: auto)',
      },
      {
        flags: '--backdrop <way>',
        help: 'what is around the subject: keep it, soften its contrast, fade it out, or leave it bare (default: keep)',
        choices: BACKDROPS,
      },
      {
        flags: '--outline <form>',
        help: 'of the picture on the piece: rectangle, circle, oval or arch (default: rectangle)',
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
      { flags: '--margin <length>', help: 'nothing is burned nearer than this to the edge, mm (default: 0)' },
      { flags: '--viewed-from <length>', help: 'distance from which the piece is looked at, mm (default: 300)' },
      {
        flags: '--tone <mode>',
        help: 'auto looks at the photo, plain leaves it as it is (default: auto)',
        choices: ['auto', 'plain'],
      },
      ...TONE_OPTIONS,
      {
        flags: '--range <way>',
        help: 'scale: draw the photo’s L* onto the material’s range; absolute: keep L*, cut off the rest (default: scale)',
        choices: ['scale', 'absolute'],
      },
      {
        flags: '--aim <aim>',
        help: 'lightness or density: equal steps of which; or names of profiles with commas between: the range that all of them reach, so that different stock looks like one set (default: the profile’s, else lightness)',
      },
      { flags: '--weights <r,g,b>', help: 'shares of red, green and blue (default: Rec. 709, 0.2126,0.7152,0.0722)' },
      {
        flags: '--screen <name>',
        help: `${SCREENS}; auto: the one for this profile and machine, its reason on the ticket (default: auto; the profile’s where it was learned with another screen)`,
      },
      { flags: '--serpentine', help: 'error diffusion turns at each row’s end (default)' },
      { flags: '--raster', help: 'error diffusion always runs left to right' },
      {
        flags: '--model-based',
        help: 'error diffusion passes on the error of the marks that the dot table predicts, not of the dots',
      },
      {
        flags: '--edges <strength>',
        help: 'how far error diffusion’s threshold follows local contrast, 0 to 4 (default: 0, not at all)',
      },
      {
        flags: '--run <dots>',
        help: 'error diffusion keeps the beam on, and off, for at least so many dots, 1 to 32 (default: 1)',
      },
      {
        flags: '--dot-size <dots>',
        help: 'mark diameter that blue-noise is spread for, 0 to 3 dots (default: 0, a dot marks its own cell)',
      },
      { flags: '--cluster <dots>', help: 'smallest cluster of green-noise, 1 to 64 dots (default: 4)' },
      { flags: '--lines-per-cm <n>', help: 'ruling of clustered-dot and line' },
      { flags: '--angle <degrees>', help: 'angle of clustered-dot and line, clockwise from the scan line' },
      { flags: '--shape <shape>', help: 'dot of clustered-dot', choices: ['round', 'ellipse', 'square', 'diamond'] },
      { flags: '--matrix <dots>', help: 'side of the matrix of bayer and blue-noise, dots' },
      { flags: '--seed <n>', help: 'random seed of screens that use chance' },
      {
        flags: '--response <way>',
        help: 'what direct-search takes dots to leave: as the dot table says, or each the same, in a third of the time (default: table)',
        choices: ['table', 'linear'],
      },
      {
        flags: '--threads <n>',
        help: 'threads of direct-search, 1 to 64; the dots are the same (default: the processors)',
      },
      { flags: '--levels <n>', help: 'power levels per dot, 2 to 256 (default: 2, the beam fires or not)' },
      { flags: '--format <format>', help: 'file of the bitmap (default: png)', choices: DOT_FORMAT_NAMES },
      {
        flags: '--marks <palette>',
        help: 'marks of several tones: a name or a JSON file, as `check --palette` writes it; one bitmap for each mark',
      },
      {
        flags: '--separate <by>',
        help: '--marks: by lightness alone, or by colour (default: colour where the palette has colours)',
        choices: ['lightness', 'colour'],
      },
      {
        flags: '--settings <file>',
        help: 'settings that a dose chart recommends, as `learn` wrote them; options below go over it',
      },
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
      { flags: '--mirror', help: 'left and right change places in the bitmap: for glass that is burned from behind' },
      {
        flags: '--rotate <degrees>',
        help: 'the piece lies turned in the machine, clockwise: 0, 90, 180 or 270 (default: 0); --turn turns the photo',
        choices: ['0', '90', '180', '270'],
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
    ],
    load: async () => (await import('./prepare.ts')).run,
  },
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
      { flags: '--mirrored', help: 'the chart is seen from behind, as on glass burned from the back' },
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
      { flags: '--out <file>', help: 'HTML page with the curve, the capture and the history' },
      FORCE,
    ],
    examples: [
      'check dose.png --chart dose/chart.json --palette marks.json --count 3',
      'check strip.png --chart strip/chart.json --profile anodised-black',
      'check strip.jpg --profile anodised-black --camera unknown --out check.html',
    ],
    load: async () => (await import('./check.ts')).run,
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
  {
    name: 'optics',
    summary: 'Spot, focus, pulses, dose and the line spacing that the spot supports.',
    args: '',
    options: [
      { ...MACHINE, required: true },
      { flags: '--power <W>', help: 'mean power at the work, W (default: the machine’s)' },
      { flags: '--speed <mm/s>', help: 'speed along a scan line, mm/s (default: the machine’s)' },
      { flags: '--rate <kHz>', help: 'pulse repetition rate, kHz (default: the machine’s)' },
      { flags: '--pulse <ns>', help: 'pulse duration, ns' },
      { flags: '--spacing <length>', help: 'line spacing, mm (default: the recommended one)' },
      {
        flags: '--pitch <length>',
        help: 'distance between dots along a line, mm (default: whole pulses near the spacing)',
      },
      { flags: '--passes <n>', help: 'how often the bitmap is burned over itself (default: 1)' },
      { flags: '--mark <length>', help: 'mark diameter if measured, e.g. 32um (default: the spot diameter)' },
      {
        flags: '--cylinder <length>',
        help: 'diameter of a round piece that lies still, mm: the width that stays in focus',
      },
    ],
    examples: [
      'optics --machine galvo-355-f210',
      'optics --machine galvo-1064-f160 --power 12 --speed 800 --rate 40 --cylinder 70',
    ],
    load: async () => (await import('./optics.ts')).run,
  },
  {
    name: 'time',
    summary: 'How long a bitmap takes, where the time goes and what would save it; fit the machine to a stopwatch.',
    args: '[file]',
    options: [
      MACHINE,
      { flags: '--speed <mm/s>', help: 'speed along a scan line, mm/s (default: the ticket’s, else the machine’s)' },
      {
        flags: '--passes <n>',
        help: 'how often the bitmap is burned over itself (default: the ticket’s, else the machine’s)',
      },
      {
        flags: '--scan <way>',
        help: 'scan lines one way, or there and back (default: the ticket’s, else the machine’s; both with --compare)',
        choices: ['one-way', 'two-way'],
      },
      { flags: '--pitch <length>', help: 'distance between dots, mm (default: as the file says)' },
      { flags: '--spacing <length>', help: 'distance between scan lines, mm (default: as the file says)' },
      {
        flags: '--stopwatch <csv>',
        help: 'stopwatch readings: columns file (bitmap or ticket) and seconds (95.2 or 1:35.2), and where it differs speed, passes, scan, pitch, spacing; fits the machine’s motion and writes it into its file in the shop folder',
      },
      { flags: '--dry', help: 'with --stopwatch: show the fit and write nothing' },
      {
        flags: '--compare',
        help: 'the file is a photo: burn time against predicted error over screens, spacings and directions',
      },
      { flags: '--size <size>', help: 'with --compare: size of the piece, such as 85.6x54 or ID-1' },
      { ...PROFILE, help: `with --compare: ${PROFILE.help}` },
      { flags: '--material <name>', help: 'with --compare: material without a profile' },
      {
        flags: '--screens <list>',
        help: 'with --compare: screens with commas between (default: the profile’s, floyd-steinberg, blue-noise, clustered-dot, line)',
      },
      {
        flags: '--spacings <list>',
        help: 'with --compare: line spacings, mm, with commas between (default: 0.8, 1, 1.25 and 1.6 times the job’s)',
      },
      {
        flags: '--fit <way>',
        help: 'with --compare: cover or contain (default: cover)',
        choices: ['cover', 'contain'],
      },
      {
        flags: '--tone <mode>',
        help: 'with --compare: auto or plain (default: auto)',
        choices: ['auto', 'plain'],
      },
      { flags: '--viewed-from <length>', help: 'with --compare: viewing distance, mm (default: 300)' },
      FORCE,
    ],
    examples: [
      'time out/dog.png --machine galvo-355-f210',
      'time out/dog.ticket.json --scan two-way',
      'time --stopwatch readings.csv --machine galvo-355-f210 --shop shop',
      'time images/photos/cat.png --compare --size ID-1 --profile anodised-black --screens floyd-steinberg,line --spacings 0.02,0.03',
    ],
    load: async () => (await import('./time.ts')).run,
  },
  {
    name: 'learn',
    summary:
      'Learn from scans or photos of a burned chart: tone gives a profile, spot the mark width, dose the settings.',
    args: '<captures...>',
    options: [
      {
        flags: '--out <file>',
        help: 'the profile or what a spot or dose chart told, a .json file; its report of the same name ends in .html',
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
      { flags: '--mirrored', help: 'the chart is seen from behind, as on glass burned from the back' },
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
        flags: '--diameters <list>',
        help: 'dose: crater diameters by cell, µm, such as A2=31,A3=38.5: adds the peak fluence threshold',
      },
      FORCE,
    ],
    examples: [
      'learn scan.png --chart chart/chart.json --out slate.json',
      'learn photo1.jpg photo2.jpg --camera unknown --out slate.json',
      'learn photo.jpg --reference paper --out slate.json',
      'learn dose.png --chart dose/chart.json --out settings.json',
    ],
    load: async () => (await import('./learn.ts')).run,
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
      { flags: '--pocket <size>', help: 'size of the piece that a pocket of --grid takes, such as 85.6x54, or ID-1' },
      { flags: '--gap <length>', help: 'between two pockets, mm (default: 10)' },
      {
        flags: '--margin <length>',
        help: 'nothing is burned nearer than this to the edge of the field, mm (default: 2)',
      },
      { flags: '--rim <length>', help: 'board around the outermost pockets, mm (default: 12)' },
      { flags: '--clearance <length>', help: 'what a pocket is cut larger than its piece, mm (default: 0.2)' },
      { flags: '--kerf <length>', help: 'width of the cut that the drawing allows for, mm (default: 0)' },
      {
        flags: '--stop <corner>',
        help: 'corner into which pieces and the jig are pushed (default: top-left)',
        choices: ['top-left', 'top-right', 'bottom-left', 'bottom-right'],
      },
      {
        flags: '--origin <point>',
        help: 'what the control software calls 0, 0 (default: stop)',
        choices: ['stop', 'field-corner', 'field-centre'],
      },
      { flags: '--y-axis <way>', help: 'how the control software counts y (default: down)', choices: ['down', 'up'] },
      { flags: '--name <name>', help: 'name of the jig, engraved on it (default: from its grid)' },
      { ...MACHINE, help: `${MACHINE.help} whose field bounds the jig (default: the jig’s, else the jobs’)` },
      {
        flags: '--bitmaps <way>',
        help: 'plate: one bitmap for all pieces of the same settings; piece: one each, with its place (default: plate)',
        choices: ['plate', 'piece'],
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
      { flags: '--format <format>', help: 'file of the bitmaps (default: png)', choices: DOT_FORMAT_NAMES },
      { flags: '--out <dir>', help: 'folder for the results; made when it is not there', required: true },
      FORCE,
    ],
    examples: [
      'plate --grid 1x2 --pocket ID-1 --gap 1.5 --margin 0 --machine galvo-355-f210 --out jig',
      'plate cards-2x3 --jobs out --count 6 --out plates',
      'plate --jobs out --gap 6 --quarter-turns --strip --out plates',
    ],
    load: async () => (await import('./plate.ts')).run,
  },
  {
    name: 'open',
    summary: 'Open the local page: see a photo on the material before it is burned. Nothing leaves this computer.',
    args: '',
    options: [
      { flags: '--port <n>', help: 'port on 127.0.0.1; 0 is the one of last time, else any that is free (default: 0)' },
      { flags: '--no-launch', help: 'print the address and start no browser' },
      {
        flags: '--forget-browsers',
        help: 'let no browser in that used the page before, but by the address printed now (default: for 30 days)',
      },
    ],
    examples: ['open', 'open --shop my-shop --port 8765 --no-launch', 'open --forget-browsers'],
    load: async () => (await import('./open.ts')).run,
  },
  {
    name: 'demo',
    summary: 'The whole loop on sample data: chart, scan, profile, photo, proof and what is burned. No laser needed.',
    args: '',
    options: [{ flags: '--out <dir>', help: 'folder for the results (default: out/demo)' }],
    examples: ['demo'],
    load: async () => (await import('./demo.ts')).run,
  },
];
/** The options of a photo that the help lists under a heading, in its order; the others are what a shop uses first. */
const HEADINGS: Readonly<Record<string, string>> = {
  'The photo on the piece':
    'keep zoom turn subject backdrop outline vignette upright lengthwise corner margin viewed-from',
  'Words and a drawing':
    'caption caption2 caption-place caption-height caption-font caption-ink artwork artwork-width artwork-at artwork-ink',
  'A material that was never learned': 'material direction',
  'By hand: settings and how it lies': 'settings power speed rate pulse passes scan mirror rotate spacing pitch levels',
  'By hand: tone': ['range aim weights', ...TONE_OPTIONS.map(({ flags }) => flags.slice(2).split(' ')[0])].join(' '),
  'By hand: screen':
    'screen serpentine raster model-based edges run dot-size cluster lines-per-cm angle shape matrix seed response threads',
  'By hand: marks of several tones': 'marks separate',
  'By hand: file': 'format only name text prices strip-joined',
};
const headingOf = (flags: string) =>
  Object.entries(HEADINGS).find(([, names]) => names.split(' ').includes(/^--([a-z\d-]+)/.exec(flags)![1]!))?.[0];

const [FLAT, ...OTHERS] = RECORDS;
const GROUPED = FLAT!.options.map((option) => ({ option, group: headingOf(option.flags) }));
const PREPARE: CommandRecord = {
  ...FLAT!,
  options: [undefined, ...Object.keys(HEADINGS)].flatMap((heading) =>
    GROUPED.filter(({ group }) => group === heading).map(({ option, group }) =>
      group === undefined ? option : { ...option, group },
    ),
  ),
};

/** Every command, in the order of `--help`. Each is a record; its code in the file of its name is loaded on demand. */
export const COMMANDS: readonly CommandRecord[] = [
  PREPARE,
  ...orderRecords(PREPARE),
  ...CHART_RECORDS,
  ...OTHERS,
  ...SHOP_RECORDS,
  ...SIMULATE_RECORDS,
];

export { GROUPS } from '../action-records.ts';
