type PointerEventOn = PointerEvent & { readonly currentTarget: HTMLElement };

/** Handlers of an element along which something is dragged: told of the pointer while it is down, wherever it goes. */
export function followPointer(follow: (event: PointerEvent) => void) {
  return {
    onPointerDown(event: PointerEventOn) {
      event.currentTarget.setPointerCapture(event.pointerId);
      follow(event);
    },
    onPointerMove(event: PointerEventOn) {
      if (event.currentTarget.hasPointerCapture(event.pointerId)) follow(event);
    },
  };
}
