import { useEffect, useRef, useState } from 'preact/hooks';
import type { Wish } from '../protocol.ts';

/** Pause after which a change is written to the shop folder, ms. */
const SAVE_MS = 400;
/** What this window has sent comes back as news; so many of its own wishes are known again. */
const REMEMBERED = 30;

export interface KeptWish {
  readonly wish: Wish;
  readonly change: (next: Wish) => void;
  /** Writes at once what is not written yet. */
  readonly flush: () => Promise<void>;
}

/**
 * A wish that is changed here and kept in the shop folder. Changes that follow each other faster than the page is drawn
 * add up; what another window has changed is taken over, what was changed here meanwhile stands.
 */
export function useWish(stored: Wish, save: (wish: Wish) => Promise<unknown>): KeptWish {
  const [wish, setWish] = useState(stored);
  const state = useRef({
    latest: stored,
    sent: [JSON.stringify(stored)],
    timer: undefined as ReturnType<typeof setTimeout> | undefined,
    saving: 0,
  }).current;
  const text = JSON.stringify(stored);

  useEffect(() => {
    if (state.sent.includes(text) || state.timer !== undefined || state.saving > 0) return;
    state.latest = JSON.parse(text) as Wish;
    state.sent.push(text);
    setWish(state.latest);
  }, [text, state]);

  const flush = async () => {
    clearTimeout(state.timer);
    state.timer = undefined;
    state.sent = [...state.sent, JSON.stringify(state.latest)].slice(-REMEMBERED);
    state.saving++;
    try {
      await save(state.latest);
    } finally {
      state.saving--;
    }
  };
  const change = (next: Wish) => {
    state.latest = mergeWish(state.latest, { from: wish, to: next });
    setWish(state.latest);
    clearTimeout(state.timer);
    state.timer = setTimeout(() => void flush(), SAVE_MS);
  };
  return { wish, change, flush };
}

/** What differs between two wishes, done to a third one. */
function mergeWish(wish: Wish, { from, to }: { readonly from: Wish; readonly to: Wish }): Wish {
  return {
    ...(mergeRecord(wish, from, to) as unknown as Wish),
    toneValues: mergeRecord(wish.toneValues, from.toneValues, to.toneValues),
  };
}

function mergeRecord<T extends object>(base: T, from: T, to: T): T {
  const out = { ...base } as Record<string, unknown>;
  const [before, after] = [from, to] as [Record<string, unknown>, Record<string, unknown>];
  for (const key of new Set([...Object.keys(before), ...Object.keys(after)])) {
    if (before[key] === after[key]) continue;
    if (after[key] === undefined) delete out[key];
    else out[key] = after[key];
  }
  return out as T;
}
