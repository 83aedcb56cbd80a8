import type { ChartLayout } from '../chart/index.ts';
import { AppError } from '../errors.ts';
import type { Shop } from '../material/index.ts';

/**
 * Keeps the layout of a chart or strip in the shop, where `learn` and `check` find it by its marks; its path, or
 * undefined without a folder. The results are there by then, so a folder that cannot be written is said and is no
 * failure. The same layout has the same hash: keeping it again changes nothing.
 */
export async function keepLayout(
  layout: ChartLayout,
  { shop, warn }: { readonly shop: Shop; readonly warn: (text: string) => void },
): Promise<string | undefined> {
  if (shop.shopDir === undefined) return undefined;
  try {
    return await shop.write('charts', layout.hash, layout, { force: true });
  } catch (error) {
    if (!(error instanceof AppError) || error.code !== 'path-unwritable') throw error;
    warn(
      `The results are written, but the shop does not keep the layout of the marks: ${error.message}. Name the layout’s file when its capture is read.`,
    );
    return undefined;
  }
}
