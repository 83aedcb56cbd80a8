import { spawnSync } from 'node:child_process';
import { mkdirSync, writeFileSync } from 'node:fs';
import { join, resolve } from 'node:path';

/** What is built here as `npm pack` packs it. @returns path of the archive */
export function packBuilt(folder: string): string {
  mkdirSync(folder, { recursive: true });
  const packed = npm(['pack', '--ignore-scripts', '--silent', '--pack-destination', folder], resolve('.'));
  return join(folder, packed.trim().split('\n').at(-1)!);
}

/** A system and a processor as npm names them. */
export interface Platform {
  readonly os: 'linux' | 'darwin' | 'win32';
  readonly cpu: 'x64' | 'arm64';
}

/**
 * Installs an archive into an empty folder as a shop does: no tools of development, no script of any package.
 * @returns path of the program's `main`
 */
export function installPacked(archive: string, folder: string, platform?: Platform): string {
  mkdirSync(folder, { recursive: true });
  writeFileSync(join(folder, 'package.json'), '{ "name": "shop", "private": true }\n');
  const of = platform === undefined ? [] : [`--os=${platform.os}`, `--cpu=${platform.cpu}`];
  npm(
    ['install', archive, '--omit=dev', '--ignore-scripts', '--prefer-offline', '--no-audit', '--no-fund', ...of],
    folder,
  );
  return join(folder, 'node_modules', 'tonewright', 'dist', 'tonewright.cjs');
}

function npm(args: readonly string[], cwd: string): string {
  const env = Object.fromEntries(Object.entries(process.env).filter(([name]) => !/^npm_/i.test(name)));
  const ended = spawnSync('npm', args, { cwd, env, encoding: 'utf8', shell: process.platform === 'win32' });
  if (ended.status !== 0) throw new Error(`npm ${args[0]} ended with ${ended.status}: ${ended.stderr}`);
  return ended.stdout;
}
