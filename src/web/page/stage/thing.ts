import type { PhotoSettings, PredictionJson, ShopFacts } from '../../protocol.ts';
import { type SurfaceKind, surfaceOf } from './surface.ts';

/** What the piece is made of, as it concerns the eye. */
export interface Thing {
  readonly surface: SurfaceKind | undefined;
  /** The table is lighter or darker than the bare piece, so that the piece stands out. */
  readonly table: 'light' | 'dark';
  /** Title of its material, for people. */
  readonly title: string;
}

/** L* of the bare piece from which it lies on a dark table. Assumed: half way between the two tables. */
const LIGHT_PIECE = 58;

export function thingOf(wish: PhotoSettings, facts: PredictionJson | undefined, shop: ShopFacts): Thing {
  const profile = shop.profiles.find(({ name }) => name === wish.profile);
  const name = profile?.material ?? wish.material;
  const bareL = profile?.bareL ?? facts?.profile.bareL ?? 0;
  const title = shop.materials.find((one) => one.name === name)?.title ?? profile?.title ?? '';
  // Through the stock its smooth face is what is seen.
  return {
    surface: facts?.seen?.seen === 'through' ? undefined : surfaceOf(name),
    table: bareL >= LIGHT_PIECE ? 'dark' : 'light',
    title,
  };
}
