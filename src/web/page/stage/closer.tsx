import type { RefObject } from 'preact';
import { useEffect, useRef, useState } from 'preact/hooks';
import type { View } from './view.ts';

/** Most dots along a side that the server draws at once. Format: the limit of its loupe. */
const MOST_DOTS = 1200;
/**
 * Pixels of the screen along one dot from which the dots are worth asking for. Assumed: before, the proof is as sharp.
 */
const LEAST_PX_A_DOT = 0.9;
/** Pause after the last move before the dots are asked for, ms. Assumed: shorter than anybody waits. */
const REST_MS = 90;
/**
 * Share of what is seen that is drawn beyond its edges, so that a small move needs nothing new. Assumed: a hand seldom
 * goes farther in one move.
 */
const BEYOND = 0.25;

export interface CloserProps {
  /** Where the previews of this photo are asked for. */
  readonly path: string;
  readonly look: string;
  readonly dots: { readonly width: number; readonly height: number };
  readonly view: View;
  /** Where the whole piece lies. */
  readonly piece: RefObject<HTMLDivElement | null>;
}

interface Part {
  readonly x: number;
  readonly y: number;
  readonly width: number;
  readonly height: number;
}

/** The surface at the dots, over the proof, where the eye is near enough to tell them. */
export function Closer({ path, look, dots, view, piece }: CloserProps) {
  const [part, setPart] = useState<Part>();
  const { scale, x, y } = view;
  useEffect(() => {
    const timer = setTimeout(() => setPart(findPart({ view, dots, piece: piece.current })), REST_MS);
    return () => clearTimeout(timer);
  }, [scale, x, y, look, dots.width, dots.height]);
  const shown = useReady(part && { part, address: addressOf(path, look, part) });
  if (!shown || scale === 1) return null;
  const percent = (dotsOf: number, whole: number) => `${(100 * dotsOf) / whole}%`;
  return (
    <img
      class="closer"
      src={shown.address}
      alt=""
      draggable={false}
      style={{
        left: percent(shown.part.x, dots.width),
        top: percent(shown.part.y, dots.height),
        width: percent(shown.part.width, dots.width),
        height: percent(shown.part.height, dots.height),
      }}
    />
  );
}

function addressOf(path: string, look: string, { x, y, width, height }: Part): string {
  return `${path}/previews/${look}/loupe?x=${x}&y=${y}&width=${width}&height=${height}&as=surface`;
}

/** The dots that are seen and some beyond; undefined when the eye is too far away for them. */
function findPart({
  view,
  dots,
  piece,
}: Pick<CloserProps, 'view' | 'dots'> & { readonly piece: HTMLDivElement | null }): Part | undefined {
  const stage = piece?.closest('.cloth');
  if (!piece || !stage) return undefined;
  const pxADot = (piece.clientWidth * view.scale * devicePixelRatio) / dots.width;
  if (pxADot < LEAST_PX_A_DOT) return undefined;
  const along = (at: number, stagePx: number, piecePx: number, all: number) => {
    const seen = (stagePx / (piecePx * view.scale)) * all;
    const size = Math.min(all, MOST_DOTS, Math.ceil(seen * (1 + 2 * BEYOND)));
    const from = Math.round(Math.min(Math.max(0, at * all - size / 2), all - size));
    return [from, size] as const;
  };
  const [x, width] = along(view.x, stage.clientWidth, piece.clientWidth, dots.width);
  const [y, height] = along(view.y, stage.clientHeight, piece.clientHeight, dots.height);
  return { x, y, width, height };
}

interface LoupePlace {
  readonly part: Part;
  readonly address: string;
}

/**
 * The last picture that is there, until the next one is: the glass never goes blank. One at a time, the newest next.
 */
function useReady(asked: LoupePlace | undefined): LoupePlace | undefined {
  const [shown, setShown] = useState<LoupePlace>();
  const state = useRef<{ busy: boolean; wanted: LoupePlace | undefined }>({ busy: false, wanted: asked }).current;
  useEffect(() => {
    state.wanted = asked;
    const load = async (wanted: LoupePlace) => {
      state.busy = true;
      const image = new Image();
      image.src = wanted.address;
      // A look that is gone by now gives no picture; the next look's will come.
      const there = await image.decode().then(
        () => true,
        () => false,
      );
      state.busy = false;
      const next = state.wanted;
      if (there && next) setShown(wanted);
      if (next && next.address !== wanted.address) void load(next);
    };
    if (!asked) setShown(undefined);
    else if (!state.busy) void load(asked);
  }, [asked?.address, state]);
  return asked && shown;
}
