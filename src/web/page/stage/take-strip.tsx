import type { ComponentChildren } from 'preact';
import { useEffect, useMemo, useRef, useState } from 'preact/hooks';
import type { PhotoSettings } from '../../protocol.ts';
import { getDraft } from '../api.ts';
import { capitalise, Icon } from '../parts/parts.tsx';
import { useKey } from '../parts/use-key.ts';
import { type History, type KnownState, keyOfWish } from './use-history.ts';
import { groupsBetween } from './wish.ts';

export interface TakeStrip {
  readonly isOpen: boolean;
  /** Whether there is one beside the present one. */
  readonly hasMore: boolean;
  readonly toggle: () => void;
  readonly strip: ComponentChildren;
}

/** Takes in the strip, the newest ones, a count. Assumed: as many as lie beside each other on a common screen. */
const MOST_TAKES = 10;
/** Pixels of the long side of a take's picture. Assumed: sharp at 96 pixels on a screen of two for one. */
const PICTURE_PX = 192;
/** A hand that has rested so long is done, ms. Assumed: a picture of each step of a slider helps nobody. */
const REST_MS = 600;
/** Pictures that are kept, a count, the oldest let go of first. Assumed: the takes of a few photos. */
const MOST_PICTURES = 60;

/** Addresses by what they are of, empty where nothing can be made; they outlive the strip, which opens with them. */
const pictures = new Map<string, string>();

function keepPicture(key: string, url: string): void {
  pictures.set(key, url);
  for (const [old, gone] of [...pictures].slice(0, -MOST_PICTURES)) {
    if (gone) URL.revokeObjectURL(gone);
    pictures.delete(old);
  }
}

/** What a photo was asked to be before, as small pictures along the foot of the stage: one press goes back there. */
export function useTakeStrip(path: string, { states, change }: Pick<History, 'states' | 'change'>): TakeStrip {
  const [isOpen, setOpen] = useState(false);
  const toggle = () => setOpen((open) => !open && states.length > 1);
  useKey('t', toggle);
  return {
    isOpen,
    hasMore: states.length > 1,
    toggle,
    strip: isOpen && (
      <Strip path={path} states={states} onTake={(wish) => change(wish, 'apart')} onClose={() => setOpen(false)} />
    ),
  };
}

interface StripProps {
  readonly path: string;
  readonly states: readonly KnownState[];
  readonly onTake: (wish: PhotoSettings) => void;
  readonly onClose: () => void;
}

function Strip({ path, states, onTake, onClose }: StripProps) {
  const list = useRef<HTMLOListElement>(null);
  const shown = newestOf(states);
  const pictureOf = usePictures(path, shown);
  const buttons = () => [...(list.current?.querySelectorAll<HTMLButtonElement>('button') ?? [])];
  useEffect(() => {
    const before = document.activeElement as HTMLElement | null;
    const now = buttons().find((one) => one.ariaCurrent === 'true');
    now?.focus({ preventScroll: true });
    return () => before?.focus({ preventScroll: true });
  }, []);
  const now = shown.find(({ isNow }) => isNow)?.number;
  // Where the window is narrow the strip is as wide as all of them, and the present one is in sight.
  useEffect(() => {
    const one = buttons().find(({ ariaCurrent }) => ariaCurrent === 'true');
    const box = list.current;
    if (one && box) box.scrollLeft = one.offsetLeft - (box.clientWidth - one.offsetWidth) / 2;
  }, [now, shown.length]);
  const press = (event: KeyboardEvent) => {
    const all = buttons();
    const at = all.indexOf(document.activeElement as HTMLButtonElement);
    const to = { ArrowLeft: at - 1, ArrowRight: at + 1, Home: 0, End: all.length - 1 }[event.key];
    if (event.key === 'Escape') onClose();
    else if (to === undefined || at < 0) return;
    else all[Math.min(all.length - 1, Math.max(0, to))]!.focus();
    // Neither the piece beside it nor the dialog around it is meant.
    event.preventDefault();
    event.stopPropagation();
  };
  return (
    <section id="take-strip" class="take-strip" aria-label="Takes to go back to" onKeyDown={press}>
      <ol ref={list}>
        {shown.map(({ wish, number, before, isNow }) => (
          <li key={number}>
            <button
              type="button"
              aria-current={isNow ? 'true' : undefined}
              aria-label={`Take ${number}${isNow ? ' now' : ''}: ${sayWhat(wish, before)}`}
              onClick={() => !isNow && onTake(wish)}
            >
              <span class="take-picture">
                <TakePicture url={pictureOf(wish)} />
              </span>
              <span class="take-name">
                <b>{number}</b> {isNow ? 'Now' : capitalise(sayWhat(wish, before))}
              </span>
            </button>
          </li>
        ))}
      </ol>
      <button type="button" class="button quiet square" aria-label="Close: takes to go back to" onClick={onClose}>
        <Icon name="cross" />
      </button>
    </section>
  );
}

function TakePicture({ url }: { readonly url: string | undefined }) {
  if (url) return <img src={url} alt="" />;
  return url === '' ? <Icon name="warn" /> : null;
}

/** The newest ones, and the present one wherever it stands. */
function newestOf(states: readonly KnownState[]): readonly KnownState[] {
  const newest = states.slice(-MOST_TAKES);
  if (newest.some(({ isNow }) => isNow)) return newest;
  return [...states.filter(({ isNow }) => isNow), ...newest.slice(1)];
}

/** What was changed to come there, as the groups of controls are called. */
function sayWhat(wish: PhotoSettings, before: PhotoSettings | undefined): string {
  const groups = before ? groupsBetween(before, wish) : [];
  return groups.length === 0 ? 'at first' : groups.length > 2 ? `${groups[0]} and more` : groups.join(', ');
}

/** Drafts of the takes, one after the other, each drawn once; the dots of none are asked for. */
function usePictures(path: string, states: readonly KnownState[]): (wish: PhotoSettings) => string | undefined {
  const [, redraw] = useState(0);
  // A name of its own: none of its drafts overtakes one of the stage.
  const window = useMemo(() => crypto.randomUUID(), []);
  const keyOf = (wish: PhotoSettings) => `${path} ${keyOfWish(wish)}`;
  const signature = states.map(({ wish }) => keyOf(wish)).join('\n');
  useEffect(() => {
    const stop = new AbortController();
    const draw = async () => {
      for (const { wish } of [...states].reverse()) {
        const key = keyOf(wish);
        if (pictures.has(key)) continue;
        try {
          const blob = await getDraft(path, { wish, showClipped: false, window, longSidePx: PICTURE_PX }, stop.signal);
          if (blob) keepPicture(key, URL.createObjectURL(blob));
        } catch {
          // What makes no piece has no picture, and can be gone back to all the same.
          if (!stop.signal.aborted) keepPicture(key, '');
        }
        if (stop.signal.aborted) return;
        redraw((count) => count + 1);
      }
    };
    const timer = setTimeout(() => void draw(), states.some(({ wish }) => pictures.has(keyOf(wish))) ? REST_MS : 0);
    return () => {
      clearTimeout(timer);
      stop.abort();
    };
  }, [signature]);
  return (wish) => pictures.get(keyOf(wish));
}
