import { existsSync } from 'node:fs';
import { join, resolve } from 'node:path';
import { AppError } from '../errors.ts';
import type { Shop } from '../material/index.ts';
import { openShopFolder, rememberInput, rememberInputs } from '../tasks/index.ts';
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
  return openShopFolder({ ...(there ? { shopDir: folder } : {}), cwd: io.cwd });
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
