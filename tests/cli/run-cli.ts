import { mkdtempSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { join } from 'node:path';
import { afterEach } from 'vitest';
import type { Io } from '../../src/cli/command.ts';
import { COMMANDS, GROUPS } from '../../src/cli/commands/index.ts';
import { runProgram } from '../../src/cli/program.ts';

/** Runs the command line in this process and gives what it printed. */
export async function runCli(
  argv: readonly string[],
  commandContext: Partial<Pick<Io, 'cwd' | 'env' | 'terminal' | 'clock' | 'today' | 'ask'>> = {},
) {
  let stdout = '';
  let stderr = '';
  const status = await runProgram(argv, {
    commands: COMMANDS,
    groups: GROUPS,
    version: '0.0.0-test',
    io: {
      stdout: (text) => {
        stdout += text;
      },
      stderr: (text) => {
        stderr += text;
      },
      env: {},
      cwd: process.cwd(),
      terminal: false,
      clock: () => 0,
      today: () => '2026-01-01',
      ...commandContext,
    },
  });
  return { status, stdout, stderr };
}

/** A new folder for one test, removed after it. */
export function useFolder(): () => string {
  const made: string[] = [];
  afterEach(() => {
    for (const folder of made.splice(0)) rmSync(folder, { recursive: true, force: true });
  });
  return () => {
    const folder = mkdtempSync(join(tmpdir(), 'tonewright-'));
    made.push(folder);
    return folder;
  };
}
