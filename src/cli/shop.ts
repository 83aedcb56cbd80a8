import { existsSync } from 'node:fs';
import { join, resolve } from 'node:path';
import { AppError } from '../errors.ts';
import { openShop, type Shop } from '../material/index.ts';
import { findPackageRoot, rememberInput, rememberInputs } from '../plane/index.ts';
import type { Io, OptionValues } from './command.ts';
import { textOf } from './options.ts';

/**
 * The shop in force: `--shop`, else TONEWRIGHT_SHOP, else ./shop when it is there, over the built-in examples.
 * @throws AppError path-missing when the folder that was named is not there
 */
export function openShopFor(options: OptionValues, io: Io): Shop {
  const named = textOf(options, 'shop') ?? io.env.TONEWRIGHT_SHOP;
  const folder = named === undefined || named === '' ? join(io.cwd, 'shop') : resolve(io.cwd, named);
  const there = existsSync(folder);
  if (named && !there) {
    throw new AppError('path-missing', `shop folder ${folder}: found nothing there, needed a folder`, { folder });
  }
  const shared = join(packageRoot(), 'shared');
  return openShop({ ...(there ? { shopDir: folder } : {}), builtIn: [join(shared, 'shop'), shared], cwd: io.cwd });
}

/** The folder of the package, which holds shared/ and images/. */
export function packageRoot(): string {
  const root = findPackageRoot();
  if (root === undefined) throw new Error('the folder of the package was not found beside the program');
  return root;
}

/**
 * Runs a command so that no result of it can be written over a file that it was given: the arguments are known before
 * they are read, so that no work is begun in vain, and all else once it is read.
 */
export function rememberGiven<T>(args: readonly string[], { cwd }: Io, work: () => Promise<T>): Promise<T> {
  return rememberInputs(() => {
    for (const arg of args) rememberInput(resolve(cwd, arg));
    return work();
  });
}
