import type { RefObject } from 'preact';
import { useEffect, useLayoutEffect, useMemo, useRef, useState } from 'preact/hooks';
import type { PhotoSettings, PredictionJson } from '../../protocol.ts';
import { getDraft, getPreview, getShare } from '../api.ts';
import { isOffline } from '../parts/parts.tsx';
import { useShop } from '../shop-context.ts';

/**
 * A proof is asked for when its draft is there, or after this pause, ms: on two cores each would make the other late.
 * Assumed: longer than a draft takes on a machine at rest.
 */
const PROOF_MS = 90;
/**
 * Times as large or as small that the piece may become on the screen before it is drawn anew for that size, and the
 * pause before, ms. Assumed: less is not seen; a window's edge is moved in less.
 */
const RESIZED = { times: 1.2, restMs: 250 } as const;
/** Pause between two looks at how far a search is, ms. Assumed: sooner, nobody wonders. */
const SHARE_MS = 700;
/** Pixels to ask for as long as nothing is on the screen. Assumed: the width of the picture on a common screen. */
const FIRST_PX = 1100;
interface PreviewState {
  /** Counts the wishes. */
  turn: number;
  /** Rank of the picture that is shown: a proof ranks above the draft of the same wish. */
  shown: number;
  drafting: boolean;
  /** Drafts the newest wish once the draft in hand is there. */
  next?: () => void;
  url: string;
  /** Ends the proof that is waited for. */
  stop?: () => void;
  /** Pixels along the long side of the piece when it was asked for, before any zoom. */
  sidePx: number;
}

export interface ShownPreview {
  /** Address of the picture to show; undefined until there is one. */
  readonly picture: string | undefined;
  /** `draft`: the tones alone, the dots are on their way. */
  readonly kind: 'draft' | 'proof';
  readonly facts: PredictionJson | undefined;
  readonly waiting: boolean;
  readonly error: unknown;
  readonly again: () => void;
  /** Share of a search of dots that is done, 0 … 1; absent where none takes long. */
  readonly share?: number | undefined;
  /** The search was ended by hand: what is seen are tones without dots. */
  readonly stopped?: boolean;
  /** Ends a search. */
  readonly stop: () => void;
}

/**
 * Keeps the picture in step with the wish: a draft of the tones at once, the proof with its dots after it. Drafts
 * follow each other without a gap, only the newest wish is asked for; a proof that is overtaken is given up.
 */
export function usePreview(
  path: string,
  {
    wish,
    showClipped,
    piece,
  }: { readonly wish: PhotoSettings; readonly showClipped: boolean; readonly piece: RefObject<HTMLElement | null> },
): ShownPreview {
  const [seen, setSeen] = useState<Omit<ShownPreview, 'again' | 'stop'>>({
    picture: undefined,
    kind: 'draft',
    facts: undefined,
    waiting: true,
    error: undefined,
  });
  const [round, setRound] = useState(0);
  // Tells this picture from others of the same job, in this window or another: none overtakes another.
  const window = useMemo(() => crypto.randomUUID(), []);
  const state = useRef<PreviewState>({ turn: 0, shown: 0, drafting: false, url: '', sidePx: 0 }).current;
  // A profile that says something else now, or is gone, is a reason to ask again, too.
  const profile = useShop().shop.profiles.find(({ name }) => name === wish.profile);
  const key = JSON.stringify([path, wish, showClipped, round, profile]);
  // Before the page is drawn, not after: a frame sooner.
  useLayoutEffect(() => {
    const turn = ++state.turn;
    const ask = { wish, showClipped, window, longSidePx: measureLongSide(piece.current) };
    state.sidePx = measureSide(piece.current) || FIRST_PX;
    const stop = new AbortController();
    setSeen((before) => ({ ...before, waiting: true, error: undefined, share: undefined, stopped: false }));
    state.stop = () => {
      stop.abort();
      setSeen((before) => ({ ...before, waiting: false, kind: 'draft', facts: undefined, stopped: true }));
    };

    const show = async (blob: Blob, change: Partial<ShownPreview>, asked: number) => {
      if (asked < state.shown) return;
      const url = URL.createObjectURL(blob);
      const image = new Image();
      image.src = url;
      await image.decode().catch(() => undefined);
      if (asked < state.shown) return URL.revokeObjectURL(url);
      state.shown = asked;
      const old = state.url;
      state.url = url;
      setSeen((before) => ({ ...before, ...change, picture: url }));
      // After the next frame nothing draws the old picture any more.
      if (old) setTimeout(() => URL.revokeObjectURL(old), 1000);
    };
    const fail = (error: unknown) => {
      if (stop.signal.aborted || turn !== state.turn) return;
      // What is on the screen belongs to another wish: its figures go, and the picture is no proof any more.
      setSeen((before) => ({ ...before, waiting: false, kind: 'draft', facts: undefined, error }));
    };

    const draft = async () => {
      if (state.drafting) return;
      state.drafting = true;
      try {
        const blob = await getDraft(path, ask, new AbortController().signal);
        prove();
        if (blob) await show(blob, { kind: 'draft' }, 2 * turn);
      } catch (error) {
        fail(error);
      } finally {
        state.drafting = false;
        prove();
        const { next } = state;
        delete state.next;
        next?.();
      }
    };
    const look = async () => {
      try {
        await getPreview(path, ask, {
          signal: stop.signal,
          onPicture: (picture) => {
            if (turn === state.turn) {
              void show(picture, { kind: 'proof', waiting: false, error: undefined }, 2 * turn + 1);
            }
          },
          onFacts: (facts) => {
            if (turn === state.turn) setSeen((before) => ({ ...before, facts }));
          },
        });
      } catch (error) {
        fail(error);
      }
    };
    let proving = false;
    const prove = () => {
      if (proving || stop.signal.aborted) return;
      proving = true;
      void look();
    };
    const timer = setTimeout(prove, PROOF_MS);
    if (state.drafting) {
      state.next = () => {
        if (turn === state.turn) void draft();
      };
    } else void draft();

    return () => {
      clearTimeout(timer);
      stop.abort();
    };
  }, [key]);

  useEffect(() => () => URL.revokeObjectURL(state.url), [state]);

  const isShown = seen.picture !== undefined;
  useEffect(() => {
    const box = piece.current;
    if (!box || !isShown) return;
    let timer: ReturnType<typeof setTimeout> | undefined;
    const watch = new ResizeObserver(() => {
      clearTimeout(timer);
      timer = setTimeout(() => {
        const times = measureSide(box) / state.sidePx;
        // Put away, it has no size.
        if (times > 0 && Math.max(times, 1 / times) > RESIZED.times) setRound((count) => count + 1);
      }, RESIZED.restMs);
    });
    watch.observe(box);
    return () => {
      clearTimeout(timer);
      watch.disconnect();
    };
  }, [piece, isShown, state]);

  // What takes long says how far it is.
  const { waiting } = seen;
  useEffect(() => {
    if (!waiting) return;
    const timer = setInterval(() => {
      getShare(path, window).then(
        (share) => setSeen((now) => (now.waiting && share > 0 ? { ...now, share } : now)),
        () => undefined,
      );
    }, SHARE_MS);
    return () => clearInterval(timer);
  }, [waiting, path, window, key]);

  // The server's coming back is a reason to ask again.
  const offline = isOffline(seen.error);
  useEffect(() => {
    if (!offline) return;
    const again = () => setRound((count) => count + 1);
    addEventListener('tonewright-online', again);
    return () => removeEventListener('tonewright-online', again);
  }, [offline]);

  return { ...seen, again: () => setRound((count) => count + 1), stop: () => state.stop?.() };
}

/** The same before any zoom; 0 where nothing is laid out. */
function measureSide(element: HTMLElement | null): number {
  return element ? Math.max(element.clientWidth, element.clientHeight) * devicePixelRatio : 0;
}

/** Pixels of the screen along the long side of what is drawn there. */
function measureLongSide(element: HTMLElement | null): number {
  if (!element) return FIRST_PX;
  const { width, height } = element.getBoundingClientRect();
  // In a dialog that is about to open it has no size yet.
  return Math.ceil(Math.max(width, height) * devicePixelRatio) || FIRST_PX;
}
