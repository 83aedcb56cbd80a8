import { join } from 'node:path';
import { parseRefused, type RefusedMaterial, readJson, type Shop } from '../material/index.ts';
import { packageRoot } from './shop.ts';

/** Materials that are never put under a laser: the built-in list, and the shop's own where it keeps one. */
export function readRefused(shop: Shop): readonly RefusedMaterial[] {
  const folders = [join(packageRoot(), 'shared'), ...(shop.shopDir === undefined ? [] : [shop.shopDir])];
  return folders.flatMap((folder, at) => {
    const path = join(folder, 'materials', 'never.json');
    try {
      return parseRefused(readJson(path), path);
    } catch (error) {
      // The shop need not keep a list of its own; the built-in one must be there.
      if (at > 0 && (error as { code?: unknown }).code === 'path-missing') return [];
      throw error;
    }
  });
}
