import { spawnSync } from 'node:child_process';

/** Whether an outside program can be run; says so once when it cannot, so that no check is left out in silence. */
export function findProgram(command: string, probe: readonly string[]): boolean {
  const found = spawnSync(command, probe).error === undefined && spawnSync(command, probe).status === 0;
  if (!found)
    process.stderr.write(`${[command, ...probe].join(' ')} is missing: the comparison with it was not made\n`);
  return found;
}

/** What a program prints, given `input`; fails the test when the program fails. */
export function runProgram(command: string, parameters: readonly string[], input?: Uint8Array): Buffer {
  const { status, stdout, stderr } = spawnSync(command, parameters, { input, maxBuffer: 2 ** 27 });
  if (status !== 0) throw new Error(`${command} ${parameters.join(' ')} ended with ${status}: ${stderr}`);
  return stdout;
}

export const PYTHON = '/usr/bin/python3';
