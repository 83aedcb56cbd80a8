import { existsSync } from 'node:fs';
import { join } from 'node:path';
import { type PriceList, parsePriceList } from '../job/index.ts';
import { readJson } from '../material/index.ts';

/** The shop's own price list; the built-in examples have none, since an invented price must not get onto a ticket. */
export function readShopPrices(shopDir: string): PriceList | undefined {
  const path = join(shopDir, 'prices.json');
  return existsSync(path) ? parsePriceList(readJson(path), path) : undefined;
}
