import { existsSync } from 'node:fs';
import { join } from 'node:path';
import { type PriceList, parsePriceList } from '../job/index.ts';
import { readJson, type Shop } from '../material/index.ts';

/**
 * The price list in force: the one that is asked for, else `prices.json` of the shop folder, else none. The built-in
 * examples have none: an invented price must not get onto a customer's ticket.
 * @param asked path of a list, or `none`, which leaves the shop's out
 * @throws AppError path-missing, path-is-folder, path-unreadable, file-invalid
 */
export function readPrices(asked: string | undefined, { shopDir }: Pick<Shop, 'shopDir'>): PriceList | undefined {
  if (asked === 'none') return undefined;
  if (asked !== undefined) return parsePriceList(readJson(asked), asked);
  const path = findPrices(shopDir);
  return path === undefined ? undefined : parsePriceList(readJson(path), path);
}

/** Whether a shop has a price list of its own, be it readable or not. */
export const hasPrices = ({ shopDir }: Pick<Shop, 'shopDir'>): boolean => findPrices(shopDir) !== undefined;

function findPrices(shopDir: string | undefined): string | undefined {
  const path = shopDir === undefined ? undefined : join(shopDir, 'prices.json');
  return path !== undefined && existsSync(path) ? path : undefined;
}
