import type { PhotoSettings, PieceSettings } from './protocol.ts';

/** The order's wish with what one piece wants differently. */
export function photoSettingsOf(
  wish: PhotoSettings,
  { turned, widthMm, heightMm, profile, material, ...own }: PieceSettings,
): PhotoSettings {
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

/**
 * What says no more than that nothing was asked, mm, a factor and a count: so a piece gives up what its order asks.
 * Exact: the defaults of a request.
 */
const RESET: Partial<PhotoSettings> = {
  subject: 'auto',
  backdrop: 'keep',
  outline: 'rectangle',
  vignetteMm: 0,
  zoom: 1,
  levels: 2,
};

/** What a wish of a piece wants that its order does not, so that the piece follows the order in all the rest. */
export function ownSettingsOf(all: PhotoSettings, next: PhotoSettings): PieceSettings {
  const { widthMm, heightMm, ...rest } = next;
  const isSame = (a: unknown, b: unknown) => JSON.stringify(a) === JSON.stringify(b);
  const isTurned = widthMm === all.heightMm && heightMm === all.widthMm && widthMm !== heightMm;
  const size =
    widthMm === all.widthMm && heightMm === all.heightMm ? {} : isTurned ? { turned: true } : { widthMm, heightMm };
  const names = [...new Set([...Object.keys(rest), ...Object.keys(RESET)])] as (keyof typeof rest)[];
  const own = names
    .filter((name) => !isSame(all[name], next[name]))
    .map((name) => [name, next[name] ?? RESET[name]])
    .filter(([, value]) => value !== undefined);
  return { ...size, ...Object.fromEntries(own) };
}
