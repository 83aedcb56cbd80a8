import { createHash } from 'node:crypto';
import { existsSync, readFileSync } from 'node:fs';
import { join } from 'node:path';
import { findPackageRoot } from '../plane/index.ts';

/** The code that makes pieces: the bundle of the pool's threads, and the kernels. */
export const THREAD_FILE = 'piece-thread.cjs';
const CODE = [THREAD_FILE, 'kernels.wasm'];

/** The folder of the built program. */
export function findBuilt(): string {
  const root = findPackageRoot();
  const folder = root === undefined ? undefined : join(root, 'dist');
  if (folder === undefined || !existsSync(join(folder, THREAD_FILE))) {
    throw new Error(`${THREAD_FILE} was not found beside the program; build it`);
  }
  return folder;
}

/**
 * What tells the arithmetic of this program from that of every other: a hash of the code that makes pieces. A version
 * alone would take two builds of one version for the same.
 */
export function identifyBuild(): string {
  const hash = createHash('sha256');
  const folder = findBuilt();
  for (const file of CODE) {
    const path = join(folder, file);
    if (existsSync(path)) hash.update(readFileSync(path));
  }
  return hash.digest('hex').slice(0, 12);
}
