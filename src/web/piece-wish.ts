import type { PieceWish, Wish } from './protocol.ts';

/** The order's wish with what one piece wants differently. */
export function wishOf(wish: Wish, { turned, widthMm, heightMm, profile, material, ...own }: PieceWish): Wish {
  const size = { widthMm: widthMm ?? wish.widthMm, heightMm: heightMm ?? wish.heightMm };
  const { profile: all, material: allMaterial, ...rest } = wish;
  const stuff =
    profile !== undefined
      ? { profile }
      : material !== undefined
        ? { material }
        : {
            ...(all === undefined ? {} : { profile: all }),
            ...(allMaterial === undefined ? {} : { material: allMaterial }),
          };
  return {
    ...rest,
    ...stuff,
    ...own,
    widthMm: turned ? size.heightMm : size.widthMm,
    heightMm: turned ? size.widthMm : size.heightMm,
  };
}
