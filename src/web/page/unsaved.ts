import { useEffect, useState } from 'preact/hooks';
import type { PhotoSettings } from '../protocol.ts';
import { getPhotoSettings, PageError, put } from './api.ts';
import { mergeSettings } from './merge-settings.ts';

/**
 * Changes on their way to the shop folder. Each is written down in the browser before it is sent and forgotten when the
 * server has it: neither a server that is away nor a window that is closed loses one.
 */

/**
 * Pause after which a change is sent, ms: a slider that moves is one change. Assumed: longer than between two steps of
 * a hand, shorter than a person waits.
 */
const SEND_MS = 400;
/**
 * Pause before a change that found no server is sent again, ms. Assumed: a server that is started again is there within
 * a few tries.
 */
const AGAIN_MS = 2000;
const STORE = 'tonewright-unsaved';
/**
 * Windows share the browser's store; each has changes of its own, and a lock that tells the others that it is there.
 */
const WINDOW: string = crypto.randomUUID();
const LEFT = 'left';
void navigator.locks.request(`${STORE} ${WINDOW}`, () => new Promise(() => undefined));
/** Faults of the change itself: sent again it would be refused again. */
const FINAL = ['option-invalid', 'name-unknown', 'file-invalid', 'upload-too-large'];

interface Change {
  readonly path: string;
  body: object;
  /** The wish that the body was made from, when it is one: what others change meanwhile stays. */
  from?: PhotoSettings;
  timer?: ReturnType<typeof setTimeout> | undefined;
  sending?: Promise<boolean> | undefined;
  /** Whether a try has failed: what lies in the shop may be another one by now. */
  late: boolean;
  readonly onRefused?: ((error: unknown) => void) | undefined;
  readonly onSend?: ((body: object) => void) | undefined;
}

export type SavedState =
  | { readonly state: 'nothing' | 'saved' | 'saving' }
  | { readonly state: 'waiting'; readonly reason: string };

const changes = new Map<string, Change>();
const watchers = new Set<(state: SavedState) => void>();
let state: SavedState = { state: 'nothing' };

export interface ChangeOptions {
  /** The wish that this one was made from. */
  readonly from?: PhotoSettings;
  /** Told when the server refuses the change itself. */
  readonly onRefused?: (error: unknown) => void;
  /** Told what is sent, once a change has come to rest. */
  readonly onSend?: (body: object) => void;
}

/** Takes a change in hand; a newer one of the same path takes its place, field by field for what is no wish. */
export function sendLater(path: string, body: object, { from, onRefused, onSend }: ChangeOptions = {}): void {
  const before = changes.get(path);
  const base = before?.from ?? from;
  const change: Change = {
    path,
    body: base ? body : { ...before?.body, ...body },
    ...(base ? { from: base } : {}),
    late: before?.late ?? false,
    sending: before?.sending,
    onRefused,
    onSend,
  };
  clearTimeout(before?.timer);
  change.timer = setTimeout(() => void flush(path), SEND_MS);
  changes.set(path, change);
  write(change);
  tell();
}

/** What was changed here and the server does not have yet. */
export const unsavedOf = (path: string): object | undefined => changes.get(path)?.body;

/** Another window has changed the same wish: from now on this one's change is one of that. */
export function rebase(path: string, from: PhotoSettings, body: PhotoSettings): void {
  const change = changes.get(path);
  if (!change) return;
  change.from = from;
  change.body = body;
  write(change);
}

/** The thing itself is gone. */
export function forgetChange(path: string): void {
  const change = changes.get(path);
  if (!change) return;
  clearTimeout(change.timer);
  changes.delete(path);
  localStorage.removeItem(keyOf(path));
  tell();
}

/** Sends at once. @returns whether nothing of this path is left unsaved. */
export async function flush(path: string): Promise<boolean> {
  for (;;) {
    const change = changes.get(path);
    if (!change) return true;
    clearTimeout(change.timer);
    change.timer = undefined;
    change.sending ??= send(change).finally(() => {
      const now = changes.get(path);
      if (now) now.sending = undefined;
    });
    tell();
    const done = await change.sending;
    if (!done) return false;
  }
}

async function send(change: Change): Promise<boolean> {
  const { path, late, from } = change;
  let { body } = change;
  change.onSend?.(body);
  try {
    if (late && from) body = mergeSettings(await getPhotoSettings(path), { from, to: body as PhotoSettings });
    await put(path, body);
    // What was changed while this was on its way is a change of its own.
    const now = changes.get(path);
    if (now && JSON.stringify(now.body) !== JSON.stringify(change.body)) {
      if (now.from) now.from = body as PhotoSettings;
      now.late = false;
      write(now);
    } else forgetChange(path);
    return true;
  } catch (error) {
    if (error instanceof PageError && FINAL.includes(error.code)) {
      const { onRefused } = changes.get(path) ?? change;
      forgetChange(path);
      onRefused?.(error);
      return false;
    }
    const now = changes.get(path);
    if (now) {
      now.late = true;
      clearTimeout(now.timer);
      now.timer = setTimeout(() => void flush(path), AGAIN_MS);
      tell(sayWhy(error));
    }
    return false;
  }
}

/** Takes over what windows that are gone could not send, and sends it. */
export async function sendLeftOvers(): Promise<void> {
  const { held = [] } = await navigator.locks.query();
  const alive = new Set(held.map(({ name }) => name));
  for (const key of Object.keys(localStorage).filter((one) => one.startsWith(`${STORE} `))) {
    const [, owner = '', path = ''] = key.split(' ');
    if (owner !== LEFT && (owner === WINDOW || alive.has(`${STORE} ${owner}`))) continue;
    try {
      const { body, from } = JSON.parse(localStorage.getItem(key) ?? '') as Pick<Change, 'body' | 'from'>;
      localStorage.removeItem(key);
      if (!PATH.test(path) || changes.has(path)) continue;
      const change: Change = { path, body, ...(from ? { from } : {}), late: true };
      changes.set(path, change);
      write(change);
    } catch {
      localStorage.removeItem(key);
    }
  }
  await Promise.all([...changes.keys()].map(flush));
}

const PATH = /^\/api\/(?:jobs|orders)\/[0-9a-f]{16}(?:\/pieces\/[0-9a-f]{16})?$/;

/** The bar's one word about all changes. */
export function useSavedState(): SavedState {
  const [seen, setSeen] = useState(state);
  useEffect(() => {
    setSeen(state);
    watchers.add(setSeen);
    return () => {
      watchers.delete(setSeen);
    };
  }, []);
  return seen;
}

function tell(reason?: string): void {
  const list = [...changes.values()];
  if (list.length === 0) state = { state: state.state === 'nothing' ? 'nothing' : 'saved' };
  else if (list.some(({ late }) => late)) {
    state = { state: 'waiting', reason: reason ?? (state.state === 'waiting' ? state.reason : NOT_RUNNING) };
  } else state = { state: 'saving' };
  for (const watcher of watchers) watcher(state);
}

const NOT_RUNNING = 'the program is not running';
const sayWhy = (error: unknown) =>
  error instanceof PageError && error.code !== 'offline' ? error.message : NOT_RUNNING;

const keyOf = (path: string, owner = WINDOW) => `${STORE} ${owner} ${path}`;

function write({ path, body, from }: Change, owner = WINDOW): void {
  try {
    localStorage.setItem(keyOf(path, owner), JSON.stringify({ body, from }));
  } catch {
    // A browser that keeps nothing: the window itself still has it.
  }
}

/** A window that goes sends what it has, as requests that outlive it, and leaves it to the next window beside. */
addEventListener('pagehide', () => {
  for (const change of changes.values()) {
    void put(change.path, change.body).catch(() => undefined);
    write(change, LEFT);
    localStorage.removeItem(keyOf(change.path));
  }
});
addEventListener('tonewright-online', () => {
  for (const path of changes.keys()) void flush(path);
});
