import { useEffect, useRef } from 'preact/hooks';
import type { Frame } from '../../../photo/index.ts';
import { numbers } from '../numbers.ts';
import { Icon } from '../parts/parts.tsx';
import { sizeTurned, splitTurn } from './frame.ts';
import { type PhotoFacts, placeOf, radiusOf } from './piece.tsx';
import { wheelFactor, ZOOM_STEP } from './view.ts';
import { tidyDeg } from './wish.ts';

type Point = { readonly x: number; readonly y: number };

/**
 * What of the photo fills the piece: the middle as shares of the photo as it stands, and how much nearer than it must
 * be.
 */
export interface Crop {
  readonly focus: Point;
  readonly zoom: number;
}

/** Nearest zoom by hand, a factor. Format: the largest that a request may ask for. */
const MOST_ZOOM = 20;

/** Steps to the right and down. Exact: by definition of the keys. */
export const ARROWS: Readonly<Record<string, readonly [number, number]>> = {
  ArrowLeft: [-1, 0],
  ArrowRight: [1, 0],
  ArrowUp: [0, -1],
  ArrowDown: [0, 1],
};
/** Times nearer with a key. Exact: by definition of the keys. */
const ZOOM_KEYS: Readonly<Record<string, number>> = { '+': ZOOM_STEP, '=': ZOOM_STEP, '-': 1 / ZOOM_STEP };
/**
 * Step of an arrow key, share of the photo; with the shift key ten times as much. Assumed: a pixel or two of the
 * picture on the page.
 */
const STEP = 0.005;
/** A hand on the wheel has done when it rests so long, ms. Assumed: a wheel's notches follow each other sooner. */
const WHEEL_REST_MS = 300;

/** What of the photo lies beside the piece, behind it. */
export function PhotoAround({ frame, photo }: { readonly frame: Frame; readonly photo: PhotoFacts }) {
  if (frame.fit !== 'cover') return null;
  return <img class="around" src={photo.source} alt="" draggable={false} style={placeOf(photo, frame.crop)} />;
}

interface CropHandProps {
  readonly frame: Frame;
  readonly photo: Omit<PhotoFacts, 'source'>;
  readonly zoom: number;
  readonly onCrop: (crop: Crop) => void;
  readonly onMoving: (moving: boolean) => void;
}

/**
 * Takes hold of the photo under the piece: dragging or the arrow keys move it, wheel, two fingers, plus and minus zoom
 * it.
 */
export function CropHand(props: CropHandProps) {
  const { frame, zoom, onMoving } = props;
  const now = useRef(props);
  now.current = props;
  const hand = useRef<HTMLDivElement>(null);
  const down = useRef(new Map<number, Point>()).current;
  const movable = frame.fit === 'cover';
  useWheel(hand, now);
  const { centre } = spanOf(props);
  const end = ({ pointerId }: PointerEvent) => {
    down.delete(pointerId);
    if (down.size === 0) onMoving(false);
  };
  return (
    // biome-ignore lint/a11y/useSemanticElements: a button cannot be dragged by touch in every browser
    <div
      ref={hand}
      class={`crop-hand ${movable ? 'movable' : ''}`}
      style={{ borderRadius: radiusOf(frame) }}
      role="button"
      tabIndex={movable ? 0 : -1}
      aria-disabled={!movable}
      aria-label={
        movable
          ? `Crop, middle at ${Math.round(100 * centre.x)} % across and ${Math.round(100 * centre.y)} % down, ${numbers.say(zoom, 1, 'fixed')} times nearer. Arrow keys move it, plus and minus zoom.`
          : 'Crop: the photo is shown whole.'
      }
      onPointerDown={(event) => {
        if (!movable || event.button !== 0) return;
        event.currentTarget.setPointerCapture(event.pointerId);
        down.set(event.pointerId, { x: event.clientX, y: event.clientY });
        onMoving(true);
      }}
      onPointerMove={(event) => {
        const before = down.get(event.pointerId);
        if (!before) return;
        const to = { x: event.clientX, y: event.clientY };
        const other = [...down].find(([id]) => id !== event.pointerId)?.[1];
        down.set(event.pointerId, to);
        const box = event.currentTarget.getBoundingClientRect();
        // The photo goes with the hand; of two fingers each moves half.
        const share = other ? 0.5 : 1;
        const by = { x: (share * (to.x - before.x)) / box.width, y: (share * (to.y - before.y)) / box.height };
        const apart = (a: Point) => (other ? Math.max(1, Math.hypot(a.x - other.x, a.y - other.y)) : 1);
        const middle = other ? { x: (to.x + other.x) / 2, y: (to.y + other.y) / 2 } : to;
        const at = { x: (middle.x - box.left) / box.width, y: (middle.y - box.top) / box.height };
        now.current.onCrop(cropAt(now.current, { factor: apart(to) / apart(before), at, by }));
      }}
      onPointerUp={end}
      onPointerCancel={end}
      onKeyDown={(event) => {
        if (!movable || event.ctrlKey || event.metaKey || event.altKey) return;
        const way = ARROWS[event.key];
        const factor = ZOOM_KEYS[event.key];
        if (!way && factor === undefined) return;
        event.preventDefault();
        const { crop } = frame;
        const { width, height } = standing(props.photo);
        const step = event.shiftKey ? 10 * STEP : STEP;
        const by = way
          ? { x: (-way[0] * step * width) / crop.width, y: (-way[1] * step * height) / crop.height }
          : NONE;
        now.current.onCrop(cropAt(now.current, { factor: factor ?? 1, at: MIDDLE, by }));
      }}
    />
  );
}

/** Shares of the piece: no way at all, and its middle. Exact: by definition. */
const NONE: Point = { x: 0, y: 0 };
const MIDDLE: Point = { x: 0.5, y: 0.5 };

const standing = (photo: CropHandProps['photo']) => sizeTurned(photo, photo.turnDeg);

/** Middle and half of the crop, shares of the photo as it stands. */
function spanOf({ frame: { crop }, photo }: Pick<CropHandProps, 'frame' | 'photo'>) {
  const { width, height } = standing(photo);
  return {
    centre: { x: (crop.x + crop.width / 2) / width, y: (crop.y + crop.height / 2) / height },
    half: { x: crop.width / width / 2, y: crop.height / height / 2 },
  };
}

/**
 * The crop that is so many times nearer, with the point of the photo under the hand where the hand takes it.
 * @param at the hand, shares of the piece
 * @param by how far it went, shares of the piece
 */
function cropAt(
  { frame, photo, zoom }: Pick<CropHandProps, 'frame' | 'photo' | 'zoom'>,
  { factor, at, by }: { readonly factor: number; readonly at: Point; readonly by: Point },
): Crop {
  const { centre, half } = spanOf({ frame, photo });
  const nearer = clamp(zoom * factor, 1, MOST_ZOOM);
  const scale = zoom / nearer;
  const along = (axis: 'x' | 'y') => {
    const span = 2 * half[axis];
    const held = centre[axis] + (at[axis] - by[axis] - 0.5) * span;
    const middle = held - (at[axis] - 0.5) * span * scale;
    const edge = Math.min(0.5, half[axis] * scale);
    return clamp(middle, edge, 1 - edge);
  };
  return { focus: { x: along('x'), y: along('y') }, zoom: nearer };
}

/** A listener of its own: the page must be able to keep the wheel from scrolling. */
function useWheel(hand: { readonly current: HTMLDivElement | null }, now: { readonly current: CropHandProps }): void {
  useEffect(() => {
    const box = hand.current;
    let rest: ReturnType<typeof setTimeout> | undefined;
    const turn = (event: WheelEvent) => {
      const { frame, onCrop, onMoving } = now.current;
      if (frame.fit !== 'cover') return;
      event.preventDefault();
      const { left, top, width, height } = hand.current!.getBoundingClientRect();
      const at = { x: (event.clientX - left) / width, y: (event.clientY - top) / height };
      onMoving(true);
      clearTimeout(rest);
      rest = setTimeout(() => now.current.onMoving(false), WHEEL_REST_MS);
      onCrop(cropAt(now.current, { factor: wheelFactor(event), at, by: NONE }));
    };
    box?.addEventListener('wheel', turn, { passive: false });
    return () => {
      clearTimeout(rest);
      box?.removeEventListener('wheel', turn);
    };
  }, [hand, now]);
}

const clamp = (value: number, low: number, high: number) => Math.min(Math.max(value, low), high);

/** Degrees of straightening on either side of upright. Assumed: what leans more was meant to. */
export const MOST_LEAN_DEG = 15;
/**
 * Degrees, a step of straightening, and one with the shift key. Assumed: what the eye sees of a horizon along a card.
 */
export const LEAN_STEP_DEG = 0.1;
const LEAN_LEAP_DEG = 1;

/** Tenths of degrees from −180 to 180, without the dust of sums. */
interface TurnHandleProps {
  readonly turnDeg: number;
  readonly onTurn: (turnDeg: number) => void;
  readonly onMoving: (moving: boolean) => void;
}

/** A knob on the edge of the piece that turns the photo about the piece's middle, until what should be level is. */
export function TurnHandle({ turnDeg, onTurn, onMoving }: TurnHandleProps) {
  const held = useRef<{ readonly from: number; readonly turnDeg: number } | undefined>(undefined);
  const { restDeg } = splitTurn(turnDeg);
  const most = Math.max(MOST_LEAN_DEG, Math.abs(restDeg));
  const lean = (deg: number) => onTurn(tidyDeg(turnDeg - restDeg + clamp(deg, -most, most)));
  const angleOf = (event: PointerEvent & { readonly currentTarget: HTMLElement }) => {
    const { left, top, width, height } = event.currentTarget.parentElement!.getBoundingClientRect();
    return (Math.atan2(event.clientY - top - height / 2, event.clientX - left - width / 2) * 180) / Math.PI;
  };
  const end = () => {
    held.current = undefined;
    onMoving(false);
  };
  return (
    <div
      class="turn-handle"
      role="slider"
      tabIndex={0}
      aria-label="Straighten by hand"
      aria-valuemin={-most}
      aria-valuemax={most}
      aria-valuenow={restDeg}
      aria-valuetext={`${restDeg.toFixed(1)} degrees`}
      title="Straighten"
      onPointerDown={(event) => {
        if (event.button !== 0) return;
        event.currentTarget.setPointerCapture(event.pointerId);
        held.current = { from: angleOf(event), turnDeg: restDeg };
        onMoving(true);
      }}
      onPointerMove={(event) => {
        if (held.current) lean(held.current.turnDeg + tidyDeg(angleOf(event) - held.current.from));
      }}
      onPointerUp={end}
      onPointerCancel={end}
      onKeyDown={(event) => {
        const way = ARROWS[event.key];
        if (!way || event.ctrlKey || event.metaKey || event.altKey) return;
        event.preventDefault();
        lean(restDeg + (event.shiftKey ? LEAN_LEAP_DEG : LEAN_STEP_DEG) * (way[0] - way[1]));
      }}
    >
      <Icon name="straighten" />
    </div>
  );
}
