import { useEffect, useRef, useState } from 'preact/hooks';
import type { PhotoSettings } from '../protocol.ts';
import { mergeSettings } from './merge-settings.ts';
import { type ChangeOptions, flush, rebase, sendLater, unsavedOf } from './unsaved.ts';

/**
 * Wishes of its own, a count, that a window knows again when they come back as news, for so long. Assumed: more than a
 * hand makes in 3 s; the server answers sooner.
 */
const REMEMBERED = 60;
const ECHO_MS = 3000;

export interface StoredSettings {
  readonly wish: PhotoSettings;
  readonly change: (next: PhotoSettings) => void;
  /** Sends at once what is not saved yet; false when that could not be done. */
  readonly flush: () => Promise<boolean>;
}

/**
 * A wish that is changed here and kept in the shop folder. Changes that follow each other faster than the page is drawn
 * add up; what another window has changed is taken over, what was changed here meanwhile stands.
 * @param path where the server takes the wish
 */
export function usePhotoSettings(
  path: string,
  stored: PhotoSettings,
  told: Omit<ChangeOptions, 'from'>,
): StoredSettings {
  // A change that no server has yet outlives its screen.
  const [wish, setPhotoSettings] = useState(() => (unsavedOf(path) as PhotoSettings | undefined) ?? stored);
  const text = JSON.stringify(stored);
  const state = useRef({ latest: wish, base: stored, known: [text], changedAt: 0 }).current;
  const know = (one: string) => {
    state.known = [...state.known, one].slice(-REMEMBERED);
  };

  useEffect(() => {
    const mine = unsavedOf(path) !== undefined;
    const fresh = mine || performance.now() - state.changedAt < ECHO_MS;
    if (fresh && state.known.includes(text)) return;
    const theirs = JSON.parse(text) as PhotoSettings;
    state.latest = mine ? mergeSettings(theirs, { from: state.base, to: state.latest }) : theirs;
    state.base = theirs;
    if (mine) rebase(path, theirs, state.latest);
    setPhotoSettings(state.latest);
  }, [text]);

  const change = (next: PhotoSettings) => {
    // All that was changed before is saved.
    if (unsavedOf(path) === undefined) state.base = state.latest;
    state.latest = mergeSettings(state.latest, { from: wish, to: next });
    know(JSON.stringify(state.latest));
    state.changedAt = performance.now();
    setPhotoSettings(state.latest);
    sendLater(path, state.latest, { ...told, from: state.base });
  };
  return { wish, change, flush: () => flush(path) };
}
