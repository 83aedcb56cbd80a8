import { readArtwork } from '../caption/index.ts';
import type { Shop } from '../material/index.ts';

/**
 * Keeps a drawing in the shop after looking it through; the name by which jobs ask for it.
 * @throws AppError artwork-unusable; path-missing without a shop folder, path-unwritable
 */
export async function keepArtwork(svg: string, fileName: string, { shop }: { readonly shop: Shop }): Promise<string> {
  readArtwork(svg, fileName);
  return shop.keepDrawing(fileName, svg);
}
