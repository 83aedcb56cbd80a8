import type { CommandRecord } from '../command.ts';

/** The local page, and a first look at everything. */
export const PAGE_RECORDS: readonly CommandRecord[] = [
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
