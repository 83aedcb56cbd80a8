import { useEffect, useMemo, useState } from 'preact/hooks';
import { photoSettingsOf } from '../../piece-settings.ts';
import type { OrderPiece, OrderView, PhotoSettings, PredictionJson } from '../../protocol.ts';
import { getDraft, getPreview } from '../api.ts';
import { isOffline } from '../parts/parts.tsx';
import { useShop } from '../shop-context.ts';

/** What is seen of a piece before it is made. */
export interface CardLook {
  /** Address of its draft, or of its proof. */
  readonly picture?: string;
  readonly facts?: PredictionJson;
  /** These choices make no piece. */
  readonly error?: unknown;
}

/** A hand that has rested so long is done, ms. Assumed: longer than between two steps of a slider. */
const REST_MS = 500;
/** Pixels of a card's long side. Assumed: sharp at 240 pixels on a screen of two for one. */
const CARD_PX = 480;
/** Looks that are kept, a count, the oldest let go of first. Assumed: a few screens full. */
const MOST_LOOKS = 400;

/** By what they are of; they outlive the screen, so that going back shows them at once. */
const looks = new Map<string, CardLook>();

function keep(key: string, look: CardLook): void {
  const before = looks.get(key);
  if (before?.picture && before.picture !== look.picture) URL.revokeObjectURL(before.picture);
  looks.delete(key);
  looks.set(key, look);
  for (const [old, { picture }] of [...looks].slice(0, -MOST_LOOKS)) {
    if (picture) URL.revokeObjectURL(picture);
    looks.delete(old);
  }
}

/**
 * Drafts of all pieces at once, as they are cropped and toned, and then their proofs, one after the other while nobody
 * asks for anything else: with them come time, price and what there is to know.
 * @param paused while somebody works on one piece, or the order is made
 */
export function useCardLooks(
  order: OrderView,
  wish: PhotoSettings,
  paused: boolean,
): (piece: OrderPiece) => CardLook | undefined {
  const { profiles } = useShop().shop;
  const [, redraw] = useState(0);
  const window = useMemo(() => crypto.randomUUID(), []);
  const askOf = (piece: OrderPiece) => photoSettingsOf(wish, piece.own);
  const keyOf = (piece: OrderPiece) => {
    const asked = askOf(piece);
    // A profile that says something else now is another look.
    const profile = profiles.find(({ name }) => name === asked.profile);
    return JSON.stringify([order.id, piece.photo, asked, profile?.date, profile?.bareL, profile?.fullL]);
  };
  const wanted = order.pieces.filter(({ excluded, missing, status }) => !excluded && !missing && status !== 'done');
  const signature = wanted.map(keyOf).join('\n');
  useEffect(() => {
    if (paused || wanted.length === 0) return;
    const stop = new AbortController();
    const { signal } = stop;
    const told = (key: string, look: CardLook) => {
      keep(key, look);
      redraw((count) => count + 1);
    };
    const look = async (piece: OrderPiece, kind: 'draft' | 'proof') => {
      const key = keyOf(piece);
      const known = looks.get(key);
      if (known && (kind === 'draft' || known.facts || known.error !== undefined)) return;
      const path = `/api/orders/${order.id}/pieces/${piece.id}`;
      const ask = { wish: askOf(piece), showClipped: false, window, longSidePx: CARD_PX };
      try {
        if (kind === 'draft') {
          const blob = await getDraft(path, ask, signal);
          if (blob) told(key, { picture: URL.createObjectURL(blob) });
          return;
        }
        await getPreview(path, ask, {
          signal,
          onPicture: (blob) => told(key, { ...looks.get(key), picture: URL.createObjectURL(blob) }),
          onFacts: (facts) => told(key, { ...looks.get(key), facts }),
        });
      } catch (error) {
        if (!signal.aborted && !isOffline(error)) told(key, { ...looks.get(key), error });
      }
    };
    const timer = setTimeout(async () => {
      for (const kind of ['draft', 'proof'] as const) {
        for (const piece of wanted) {
          if (signal.aborted) return;
          await look(piece, kind);
        }
      }
    }, REST_MS);
    return () => {
      clearTimeout(timer);
      stop.abort();
    };
  }, [signature, paused, order.id]);
  return (piece) => looks.get(keyOf(piece));
}
