import { useEffect, useRef, useState } from 'preact/hooks';
import type { PhotoSettings } from '../../protocol.ts';
import { mergeSettings } from '../merge-settings.ts';
import { isTyping } from '../parts/typing.ts';

/** What one hand did in one go: undone and done again as one, and only what it changed. */
interface Step {
  readonly from: PhotoSettings;
  to: PhotoSettings;
}

interface Steps {
  readonly past: readonly Step[];
  readonly future: readonly Step[];
}

/** Steps that are remembered of one photo, a count. Assumed: more than a person goes back. */
const MOST_STEPS = 100;
/** Changes of the same field that follow each other sooner are one step, ms. Assumed: a hand that rests has done. */
const REST_MS = 900;
const STORE = 'tonewright-steps';

export interface History {
  /**
   * Changes the wish and remembers how it was.
   * @param apart a step of its own, however soon it follows another one
   */
  readonly change: (next: PhotoSettings, apart?: 'apart') => void;
  readonly undo: (() => void) | undefined;
  readonly redo: (() => void) | undefined;
  /** How it was before each step, the newest first. */
  readonly earlier: readonly PhotoSettings[];
  /** Every state of the photo that is remembered, once each, in the sequence in which they came; one of them is now. */
  readonly states: readonly KnownState[];
}

/** How a photo was asked for at some time. */
export interface KnownState {
  readonly wish: PhotoSettings;
  /** Counts from one. */
  readonly number: number;
  /** The state that it was made from; absent for the first. */
  readonly before?: PhotoSettings;
  readonly isNow: boolean;
}

/**
 * Every change of a wish can be taken back and made again, also after a reload. What another window changes meanwhile
 * stays: a step takes back its own fields alone.
 * @param path where the wish is kept
 */
export function useHistory(path: string, wish: PhotoSettings, apply: (next: PhotoSettings) => void): History {
  const [steps, setSteps] = useState<Steps>(() => readSteps(path));
  const state = useRef({ changedAt: 0, field: '', wish, steps }).current;
  state.wish = wish;
  const keep = (next: Steps) => {
    state.steps = next;
    setSteps(next);
    try {
      localStorage.setItem(`${STORE} ${path}`, JSON.stringify(next));
    } catch {
      // A browser that keeps nothing: the window itself still has them.
    }
  };
  const change = (next: PhotoSettings, apart?: 'apart') => {
    const field = fieldsOf(wish, next);
    if (field === '') return apply(next);
    const now = performance.now();
    const { past } = state.steps;
    const last = past.at(-1);
    const goesOn =
      apart === undefined && last !== undefined && field === state.field && now - state.changedAt < REST_MS;
    const step = goesOn ? { from: last.from, to: next } : { from: wish, to: next };
    keep({ past: [...(goesOn ? past.slice(0, -1) : past), step].slice(-MOST_STEPS), future: [] });
    Object.assign(state, { field, changedAt: now });
    apply(next);
  };
  const go = (back: boolean) => {
    const { past, future } = state.steps;
    const step = (back ? past : future).at(-1);
    if (!step) return;
    state.field = '';
    keep(
      back
        ? { past: past.slice(0, -1), future: [...future, step] }
        : { past: [...past, step], future: future.slice(0, -1) },
    );
    apply(mergeSettings(state.wish, back ? { from: step.to, to: step.from } : step));
  };
  const act = useRef(go);
  act.current = go;
  useEffect(() => {
    const press = (event: KeyboardEvent) => {
      if (!(event.ctrlKey || event.metaKey) || event.altKey || isTyping(event)) return;
      const key = event.key.toLowerCase();
      if (key !== 'z' && key !== 'y') return;
      event.preventDefault();
      act.current(key === 'z' && !event.shiftKey);
    };
    addEventListener('keydown', press);
    return () => removeEventListener('keydown', press);
  }, []);
  return {
    change,
    undo: steps.past.length > 0 ? () => go(true) : undefined,
    redo: steps.future.length > 0 ? () => go(false) : undefined,
    earlier: steps.past.map(({ from }) => from).reverse(),
    states: listStates(steps, wish),
  };
}

/** A state that was come back to stands where it was at first: steps to and fro make no new ones. */
function listStates({ past, future }: Steps, wish: PhotoSettings): readonly KnownState[] {
  const found = new Map<string, Omit<KnownState, 'number' | 'isNow'>>();
  const note = (state: PhotoSettings, before?: PhotoSettings) => {
    const key = keyOfWish(state);
    if (!found.has(key)) found.set(key, { wish: state, ...(before ? { before } : {}) });
  };
  for (const { from, to } of past) {
    note(from);
    note(to, from);
  }
  note(wish, past.at(-1)?.to);
  for (const { from, to } of [...future].reverse()) note(to, from);
  const now = keyOfWish(wish);
  return [...found].map(([key, state], at) => ({ ...state, number: at + 1, isNow: key === now }));
}

/** The same for the same wish, in whatever sequence its fields were set. */
export const keyOfWish = (wish: PhotoSettings): string =>
  JSON.stringify(wish, (_, value: unknown) =>
    value !== null && typeof value === 'object' && !Array.isArray(value)
      ? Object.fromEntries(Object.entries(value).sort(([a], [b]) => (a < b ? -1 : 1)))
      : value,
  );

/** The photo is gone, and with it what was done to it. */
export function forgetSteps(path: string): void {
  localStorage.removeItem(`${STORE} ${path}`);
}

function readSteps(path: string): Steps {
  try {
    const { past, future } = JSON.parse(localStorage.getItem(`${STORE} ${path}`) ?? '') as Steps;
    return { past, future };
  } catch {
    return { past: [], future: [] };
  }
}

/** Names of what differs. */
function fieldsOf(a: PhotoSettings, b: PhotoSettings): string {
  const differ = (x: object, y: object) => {
    const [one, two] = [x, y] as [Record<string, unknown>, Record<string, unknown>];
    const names = new Set([...Object.keys(one), ...Object.keys(two)]);
    return [...names].filter((name) => JSON.stringify(one[name]) !== JSON.stringify(two[name]));
  };
  const names = differ(a, b).filter((name) => name !== 'toneValues');
  return [...names, ...differ(a.toneValues, b.toneValues)].sort().join(' ');
}
