import { join } from 'node:path';
import { type RefusedMaterial, readRefusedIn, type Shop } from '../material/index.ts';
import { packageRoot } from './shop.ts';

/** Materials that are never put under a laser: the built-in list, and the shop's own where it keeps one. */
export function readRefused(shop: Shop): readonly RefusedMaterial[] {
  return readRefusedIn([join(packageRoot(), 'shared'), ...(shop.shopDir === undefined ? [] : [shop.shopDir])]);
}
