import { photoSettingsOf } from '../../piece-settings.ts';
import type { OrderPiece, PhotoSettings, PieceSettings } from '../../protocol.ts';
import { without } from '../photo/without.ts';

/** What belongs to one photo: its crop, its subject, the words of whom it is for, and which way its piece lies. */
const OF_ONE_PHOTO = ['focus', 'zoom', 'turnDeg', 'subject', 'caption', 'turned'] as const;

export interface Applied {
  /** What the order asks of every piece. */
  readonly wish: PhotoSettings;
  /** What pieces want differently after that, by their ids; only of those that change. */
  readonly own: ReadonlyMap<string, PieceSettings>;
}

/** What one piece wants becomes what the order wants: no piece wants that differently any more. */
export function applyToAll(
  { wish, pieces }: { readonly wish: PhotoSettings; readonly pieces: readonly Pick<OrderPiece, 'id' | 'own'>[] },
  { own: asked }: Pick<OrderPiece, 'own'>,
): Applied {
  const shared = without(asked, ...OF_ONE_PHOTO);
  const names = Object.keys(shared) as (keyof PieceSettings)[];
  // Of profile and material one goes with the other.
  const given = names.some((name) => name === 'profile' || name === 'material')
    ? [...names, 'profile' as const, 'material' as const]
    : names;
  const own = new Map(
    pieces
      .filter((piece) => given.some((name) => name in piece.own))
      .map((piece) => [piece.id, without(piece.own, ...given)]),
  );
  return { wish: photoSettingsOf(wish, shared), own };
}

/** Whether a piece wants anything that all could want. */
export const hasForAll = ({ own }: Pick<OrderPiece, 'own'>) => Object.keys(without(own, ...OF_ONE_PHOTO)).length > 0;
