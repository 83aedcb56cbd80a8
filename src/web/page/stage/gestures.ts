import type { RefObject } from 'preact';
import { useEffect, useRef, useState } from 'preact/hooks';
import type { Brush } from './mask-sheet.tsx';
import { type Box, moveBy, type View, wheelFactor, zoomAt } from './view.ts';

/**
 * Pixels of the screen along one dot when the stage is as near as it goes. Assumed: a single mark is a thing to look
 * at.
 */
const MOST_PX_A_DOT = 24;
/** As near as without dots to see. Assumed: the proof's own pixels are large squares by then. */
const MOST_WITHOUT_DOTS = 4;

export const middleOf = ({ left, top, width, height }: Box) => ({ x: left + width / 2, y: top + height / 2 });

/** How near the stage goes: to single marks, where there are dots to see. */
export function useMostScale(rest: RefObject<HTMLDivElement | null>, dots: number | undefined): number {
  const [width, setWidth] = useState(0);
  useEffect(() => {
    const box = rest.current;
    if (!box) return;
    const watch = new ResizeObserver(() => setWidth(box.clientWidth));
    watch.observe(box);
    return () => watch.disconnect();
  }, [rest]);
  if (dots === undefined || width === 0) return MOST_WITHOUT_DOTS;
  return Math.max(MOST_WITHOUT_DOTS, (MOST_PX_A_DOT * dots) / width);
}

interface GestureOptions {
  readonly view: View;
  readonly most: number;
  readonly restOf: () => Box | undefined;
  readonly locked: boolean;
  readonly onView: (view: View) => void;
  /** What one finger, the pen or the mouse does instead of moving the piece. */
  readonly brush?: { readonly current: Brush | undefined };
}

/** A wheel or two fingers zoom about where they are, one finger or the mouse moves what is enlarged, or paints. */
export function useGestures(cloth: RefObject<HTMLDivElement | null>, options: GestureOptions) {
  const now = useRef(options);
  now.current = options;
  const down = useRef(new Map<number, { readonly x: number; readonly y: number }>()).current;
  useEffect(() => {
    const box = cloth.current;
    // A listener of its own: the page must be able to keep the wheel from scrolling.
    const turn = (event: WheelEvent) => {
      const { view, most, restOf, locked, onView } = now.current;
      const rest = restOf();
      if (locked || !rest) return;
      event.preventDefault();
      onView(zoomAt(view, wheelFactor(event), { rest, most, at: { x: event.clientX, y: event.clientY } }));
    };
    box?.addEventListener('wheel', turn, { passive: false });
    return () => box?.removeEventListener('wheel', turn);
  }, [cloth]);
  return {
    onPointerDown(event: PointerEvent & { readonly currentTarget: HTMLElement }) {
      if (now.current.locked || event.button !== 0) return;
      event.currentTarget.setPointerCapture(event.pointerId);
      const at = { x: event.clientX, y: event.clientY };
      down.set(event.pointerId, at);
      const brush = now.current.brush?.current;
      // A second finger shows that the first one did not mean to paint.
      if (down.size === 1) brush?.begin(at);
      else brush?.drop();
    },
    onPointerMove(event: PointerEvent) {
      const before = down.get(event.pointerId);
      const { view, most, restOf, locked, onView } = now.current;
      const brush = now.current.brush?.current;
      const rest = restOf();
      if (!before && event.pointerType !== 'touch') brush?.hover({ x: event.clientX, y: event.clientY });
      if (!before || !rest || locked) return;
      const to = { x: event.clientX, y: event.clientY };
      const other = [...down].find(([id]) => id !== event.pointerId)?.[1];
      down.set(event.pointerId, to);
      const moved = { x: to.x - before.x, y: to.y - before.y };
      if (!other && brush) {
        for (const { clientX, clientY } of event.getCoalescedEvents?.() ?? []) brush.go({ x: clientX, y: clientY });
        return brush.go(to);
      }
      if (!other) {
        if (view.scale > 1) onView(moveBy(view, moved.x, moved.y, rest));
        return;
      }
      const apart = (a: typeof to) => Math.max(1, Math.hypot(a.x - other.x, a.y - other.y));
      const at = { x: (to.x + other.x) / 2, y: (to.y + other.y) / 2 };
      onView(moveBy(zoomAt(view, apart(to) / apart(before), { rest, most, at }), moved.x / 2, moved.y / 2, rest));
    },
    onPointerUp({ pointerId, pointerType }: PointerEvent) {
      down.delete(pointerId);
      const brush = now.current.brush?.current;
      brush?.end();
      if (pointerType === 'touch') brush?.hover(undefined);
    },
    onPointerCancel({ pointerId }: PointerEvent) {
      down.delete(pointerId);
      now.current.brush?.current?.drop();
    },
    onPointerLeave: () => now.current.brush?.current?.hover(undefined),
  };
}
