import { JOB_DEFAULTS, PROGRAM_CHOICES } from '../../tasks/index.ts';
import type { CommandRecord } from '../command.ts';
import { FORCE, MACHINE, PROFILE, VIEWED_FROM } from '../option-records.ts';

const loadMachine = async () => (await import('./machine.ts')).run;

/** Commands for machines: what they are, what their beam does, how long they take. */
export const MACHINE_RECORDS: readonly CommandRecord[] = [
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
      {
        flags: '--program <answer>',
        help: 'whether its controller reads programs of ISO 6983 (G-code); yes takes the standard’s words for what is not said below',
        choices: ['no', 'yes'],
      },
      { flags: '--program-units <unit>', help: 'units of its programs', choices: PROGRAM_CHOICES.units },
      {
        flags: '--program-feed <time>',
        help: 'time of the F word, a minute (the standard’s) or a second',
        choices: PROGRAM_CHOICES.feedPer,
      },
      { flags: '--program-power <S>', help: 'S word of full power, such as 1000 or 255' },
      {
        flags: '--program-beam <word>',
        help: 'word that lets the beam follow the S word',
        choices: PROGRAM_CHOICES.beam,
      },
      { flags: '--program-end <word>', help: 'word that ends a program', choices: PROGRAM_CHOICES.end },
      { flags: '--program-decimals <n>', help: 'decimals that it reads of a place, 1 to 6' },
      {
        flags: '--program-zero <place>',
        help: '0, 0 of its programs: at its place in the field, or at that corner of the piece, set by hand',
        choices: PROGRAM_CHOICES.zero,
      },
      { flags: '--program-blocks <n>', help: 'blocks of a program that it follows in a second (default: not known)' },
      {
        flags: '--program-lag <us>',
        help: 'how much later than told the beam follows, µs: half of what lines there and back lie apart, by the speed (default: 0)',
      },
      {
        flags: '--program-backlash <length>',
        help: 'slack of the scan axis, mm: how far lines back lie apart at any speed (default: 0)',
      },
      {
        flags: '--program-turn-axis <axis>',
        help: 'axis with which its programs turn a round piece, Y where the motor of the rotary takes that axis’ place (default: none)',
        choices: ['no', ...PROGRAM_CHOICES.turnAxis],
      },
      {
        flags: '--program-turn <word>',
        help: 'what the word of that axis grows by in a whole turn: degrees, for Y mm; negative where it turns the other way (default: 360 for A, B and C)',
      },
      {
        flags: '--rotary <answer>',
        help: 'whether it has a rotary that turns round pieces; yes takes what is assumed of any for what is not said below',
        choices: ['no', 'yes'],
      },
      { flags: '--rotary-speed <deg/s>', help: 'highest speed of the rotary, degrees a second' },
      { flags: '--rotary-acceleration <deg/s2>', help: 'how fast it gains speed, degrees a second each second' },
      { flags: '--rotary-settle <ms>', help: 'how long it comes to rest after a turn from line to line, ms' },
      FORCE,
    ],
    examples: [
      'machine new',
      'machine new --title "My galvo" --like galvo-1064-f160 --focal-length 160 --field 110x110 --full-power 20 --power-unit % --speed-unit mm/s --rate-unit kHz --fires black --origin bottom-left',
    ],
    load: loadMachine,
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
        help: `with --compare: cover or contain (default: ${JOB_DEFAULTS.fit})`,
        choices: ['cover', 'contain'],
      },
      {
        flags: '--tone <mode>',
        help: `with --compare: auto or plain (default: ${JOB_DEFAULTS.tone})`,
        choices: ['auto', 'plain'],
      },
      { ...VIEWED_FROM, help: `with --compare: ${VIEWED_FROM.help}` },
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
];
