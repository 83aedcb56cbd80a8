import type { RefObject } from 'preact';
import { useEffect, useRef, useState } from 'preact/hooks';
import type { View } from './view.ts';

/** Most pixels along a side that the server draws at once. Format: the limit of its loupe. */
const MOST_PX = 2400;
/** Most pixels along a dot, and most dots along a pixel. Format: the same. */
const MOST_TIMES = 12;
/**
 * How much nearer than the whole piece the eye is before a part is drawn for it. Assumed: before, the proof is as
 * sharp.
 */
const LEAST_SCALE = 1.1;
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
  /** Pixels along a dot, or dots along a pixel. */
  readonly samples: number;
  readonly average: number;
}

/**
 * What the eye sees of the dots, over the proof: from afar their mean light in each pixel of the screen, from near each
 * mark with its round edge. A browser that scales dots instead makes a moiré of them.
 */
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

function addressOf(path: string, look: string, { x, y, width, height, samples, average }: Part): string {
  const part = `x=${x}&y=${y}&width=${width}&height=${height}`;
  return `${path}/previews/${look}/loupe?${part}&as=surface&samples=${samples}&average=${average}`;
}

/** The dots that are seen and some beyond; undefined when the eye is too far away for them. */
function findPart({
  view,
  dots,
  piece,
}: Pick<CloserProps, 'view' | 'dots'> & { readonly piece: HTMLDivElement | null }): Part | undefined {
  const stage = piece?.closest('.cloth');
  if (!piece || !stage || view.scale < LEAST_SCALE) return undefined;
  const pxADot = (piece.clientWidth * view.scale * devicePixelRatio) / dots.width;
  const average = Math.min(MOST_TIMES, Math.max(1, Math.floor(1 / pxADot)));
  const seenOf = (stagePx: number, piecePx: number, all: number) =>
    Math.min(all, Math.ceil((stagePx / (piecePx * view.scale)) * all * (1 + 2 * BEYOND)));
  const wide = Math.min(MOST_PX * average, seenOf(stage.clientWidth, piece.clientWidth, dots.width));
  const high = Math.min(MOST_PX * average, seenOf(stage.clientHeight, piece.clientHeight, dots.height));
  const samples =
    average > 1 ? 1 : Math.max(1, Math.min(MOST_TIMES, Math.ceil(pxADot), Math.floor(MOST_PX / Math.max(wide, high))));
  // In whole pixels of what is drawn, but for the last one at an edge.
  const along = (at: number, size: number, all: number) => {
    const from = average * Math.floor(Math.min(Math.max(0, at * all - size / 2), all - size) / average);
    return [from, Math.min(all - from, average * Math.ceil(size / average))] as const;
  };
  const [x, width] = along(view.x, wide, dots.width);
  const [y, height] = along(view.y, high, dots.height);
  return { x, y, width, height, samples, average };
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
