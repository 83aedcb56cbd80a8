import type { CommandRecord, OptionRecord } from '../command.ts';

const MACHINE: OptionRecord = {
  flags: '--machine <name>',
  help: 'machine: a name (see `machine list`) or a JSON file',
};

/** Every command, in the order of `--help`. Each is a record; its code in the file of its name is loaded on demand. */
export const COMMANDS: readonly CommandRecord[] = [
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
      'optics --machine galvo-355-f150',
      'optics --machine galvo-1064-f160 --power 12 --speed 800 --rate 40 --cylinder 70',
    ],
    load: async () => (await import('./optics.ts')).run,
  },
  {
    name: 'time',
    summary: 'How long a bitmap takes on a machine, and where the time goes.',
    args: '<file>',
    options: [
      MACHINE,
      { flags: '--speed <mm/s>', help: 'speed along a scan line, mm/s (default: the ticket’s, else the machine’s)' },
      {
        flags: '--passes <n>',
        help: 'how often the bitmap is burned over itself (default: the ticket’s, else the machine’s)',
      },
      {
        flags: '--scan <way>',
        help: 'scan lines one way, or there and back (default: the ticket’s, else the machine’s)',
        choices: ['one-way', 'two-way'],
      },
      { flags: '--pitch <length>', help: 'distance between dots, mm (default: as the file says)' },
      { flags: '--spacing <length>', help: 'distance between scan lines, mm (default: as the file says)' },
    ],
    examples: ['time out/dog.png --machine galvo-355-f150', 'time out/dog.ticket.json --scan two-way'],
    load: async () => (await import('./time.ts')).run,
  },
  {
    name: 'machine',
    summary: 'List the machines, or show one.',
    args: '<action> [name]',
    options: [],
    examples: ['machine list', 'machine show galvo-355-f150'],
    load: async () => (await import('./machine.ts')).run,
  },
];
