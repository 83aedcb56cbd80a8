import { join } from 'node:path';
import { openShop, type RefusedMaterial, readRefusedIn, type Shop } from '../material/index.ts';
import { findPackageRoot } from '../plane/index.ts';

/** The folder of the package, which holds shared/ and images/. */
export function packageRoot(): string {
  const root = findPackageRoot();
  if (root === undefined) throw new Error('the folder of the package was not found beside the program');
  return root;
}

/** The folder of what comes with the program: machines, materials, reference tables. */
export function sharedFolder(): string {
  return join(packageRoot(), 'shared');
}

/**
 * A shop folder over the built-in examples, or the examples alone. Nothing is read until asked for.
 * @param cwd folder that paths of files are relative to; the process's when absent
 */
export function openShopFolder({ shopDir, cwd }: { readonly shopDir?: string; readonly cwd?: string }): Shop {
  const shared = sharedFolder();
  return openShop({
    ...(shopDir === undefined ? {} : { shopDir }),
    builtIn: [join(shared, 'shop'), shared],
    ...(cwd === undefined ? {} : { cwd }),
  });
}

/** Materials that are never put under a laser: the built-in list, and the shop's own where it keeps one. */
export function readRefused({ shopDir }: Pick<Shop, 'shopDir'>): readonly RefusedMaterial[] {
  return readRefusedIn([sharedFolder(), ...(shopDir === undefined ? [] : [shopDir])]);
}
