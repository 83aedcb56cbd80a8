import { existsSync } from 'node:fs';
import { join, resolve } from 'node:path';
import { AppError } from '../errors.ts';
import type { Shop } from '../material/index.ts';
import { makeFolder, openShopFolder, rememberInput, rememberInputs } from '../tasks/index.ts';
import type { Io, OptionValues } from './command.ts';
import { textOf } from './options.ts';

/**
 * The shop in force: `--shop`, else TONEWRIGHT_SHOP, else ./shop when it is there, over the built-in examples.
 * @throws AppError path-missing when the folder that was named is not there
 */
export function openShopFor(options: OptionValues, io: Io): Shop {
  const { named, folder } = nameShop(options, io);
  const there = existsSync(folder);
  if (named && !there) {
    throw new AppError('path-missing', `shop folder ${folder}: found nothing there, needed a folder`, { folder });
  }
  return openShopFolder({ ...(there ? { shopDir: folder } : {}), cwd: io.cwd });
}

/** The folder in which a shop is looked for, and whether somebody named it. */
function nameShop(options: OptionValues, io: Io): { readonly named: string | undefined; readonly folder: string } {
  const named = textOf(options, 'shop') ?? io.env.TONEWRIGHT_SHOP;
  return { named, folder: named === undefined || named === '' ? join(io.cwd, 'shop') : resolve(io.cwd, named) };
}

/** Makes the shop folder where there is none: a command that writes its first record needs no other step. */
export async function makeShopFor(options: OptionValues, io: Io): Promise<void> {
  const { folder } = nameShop(options, io);
  if (!existsSync(folder)) await makeFolder(folder);
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
