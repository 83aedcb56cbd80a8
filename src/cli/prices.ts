import { resolve } from 'node:path';
import type { Io, OptionValues } from './command.ts';
import { textOf } from './options.ts';

/** The price list that `--prices` asks for: a path, or `none`. */
export function readPricesOption(options: OptionValues, { cwd }: Io): { readonly prices?: string } {
  const named = textOf(options, 'prices');
  if (named === undefined) return {};
  return { prices: named === 'none' ? named : resolve(cwd, named) };
}
