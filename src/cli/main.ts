#!/usr/bin/env node
import { COMMANDS } from './commands/index.ts';
import { runProgram } from './program.ts';
import { version } from './version.ts';

// A reader that closes early (such as `head`) is no fault of ours.
process.stdout.on('error', (error: NodeJS.ErrnoException) => {
  if (error.code !== 'EPIPE') throw error;
});

const status = runProgram(process.argv.slice(2), {
  commands: COMMANDS,
  version,
  io: {
    stdout: (text) => process.stdout.write(text),
    stderr: (text) => process.stderr.write(text),
    env: process.env,
    cwd: process.cwd(),
    terminal: process.stderr.isTTY === true && !process.env.NO_COLOR && process.env.TERM !== 'dumb',
    clock: () => performance.now() / 1000,
    today: () => new Date().toISOString().slice(0, 10),
  },
});
void status.then((code) => {
  process.exitCode = code;
});
