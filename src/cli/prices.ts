import { resolve } from 'node:path';
import { type PriceList, parsePriceList } from '../job/index.ts';
import { readJson, type Shop } from '../material/index.ts';
import { readShopPrices } from '../tasks/index.ts';
import type { Io, OptionValues } from './command.ts';
import { textOf } from './options.ts';

/**
 * The price list in force: `--prices FILE`, else prices.json of the shop folder, else none. `--prices none` leaves the
 * shop's out. The built-in examples have none: an invented price must not get onto a customer's ticket.
 * @throws AppError path-missing, path-is-folder, path-unreadable, file-invalid
 */
export function readPrices(
  options: OptionValues,
  { io, shop }: { readonly io: Io; readonly shop: Shop },
): PriceList | undefined {
  const named = textOf(options, 'prices');
  if (named === 'none') return undefined;
  if (named === undefined) return shop.shopDir === undefined ? undefined : readShopPrices(shop.shopDir);
  const path = resolve(io.cwd, named);
  return parsePriceList(readJson(path), path);
}
