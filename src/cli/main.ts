#!/usr/bin/env node
import { openAsk } from './ask.ts';
import { COMMANDS, GROUPS } from './commands/index.ts';
import { openOutput } from './output.ts';
import { runProgram } from './program.ts';
import { version } from './version.ts';

const output = openOutput(process, (words) => {
  process.exitCode = 1;
  output.stderr(`tonewright: ${words}\n`);
});

/** The folder in which the command was typed; undefined when it has been removed since. */
function findFolder(): string | undefined {
  try {
    return process.cwd();
  } catch {
    return undefined;
  }
}

/** Time for an answer of a few lines to be written, ms. Assumed: far more than it takes. */
const ANSWER_MS = 2000;

const cwd = findFolder();
if (cwd === undefined) {
  output.stderr(
    'tonewright: the current folder is gone, needed one that is there\nChange into another folder first.\n',
  );
  process.exitCode = 1;
} else {
  const status = runProgram(process.argv.slice(2), {
    commands: COMMANDS,
    groups: GROUPS,
    version,
    io: {
      stdout: output.stdout,
      stderr: output.stderr,
      env: process.env,
      cwd,
      ...openAsk(process),
      terminal: process.stderr.isTTY === true && !process.env.NO_COLOR && process.env.TERM !== 'dumb',
      clock: () => performance.now() / 1000,
      today: () => new Date().toISOString().slice(0, 10),
      endSoon: () => void setTimeout(() => process.exit(), ANSWER_MS).unref(),
    },
  });
  void status.then((code) => {
    process.exitCode = code === 0 && output.failure() !== undefined ? 1 : code;
  });
}
