/**
 * What is seen of the piece: how many times larger than the whole of it, and which of its points lies in the middle.
 */
export interface View {
  readonly scale: number;
  /** Shares of the piece's width and height. */
  readonly x: number;
  readonly y: number;
}

/** All of the piece, its middle in the middle. Factor and shares, exact: by definition of the view. */
export const WHOLE: View = { scale: 1, x: 0.5, y: 0.5 };

/**
 * Times larger with each press of a key or a button. Assumed: three presses are a large step, one is still followed.
 */
export const ZOOM_STEP = 1.5;
/** Times larger with each pixel that a wheel turns, as an exponent. Assumed: a notch (100 pixels) is a fifth larger. */
const WHEEL_RATE = 0.0018;
/** Pixels of one line, for wheels that count lines. Assumed: the browsers' own line. */
const LINE_PX = 16;
/**
 * Share of what is seen that an arrow key moves; with the shift key so many times more. Assumed: the eye can follow.
 */
const ARROW_SHARE = 0.08;
const ARROW_FASTER = 4;

export const wheelFactor = ({ deltaY, deltaMode }: WheelEvent) =>
  Math.exp(-deltaY * (deltaMode === 1 ? LINE_PX : 1) * WHEEL_RATE);

/** A box on the screen, CSS pixels. */
export interface Box {
  readonly left: number;
  readonly top: number;
  readonly width: number;
  readonly height: number;
}

/**
 * The view that is so many times larger, with the point of the piece under the pointer where it is.
 * @param rest where the whole piece lies
 */
export function zoomAt(
  view: View,
  factor: number,
  {
    rest,
    at,
    most,
  }: { readonly rest: Box; readonly at: { readonly x: number; readonly y: number }; readonly most: number },
): View {
  const scale = Math.min(most, Math.max(1, view.scale * factor));
  const dx = (at.x - rest.left - rest.width / 2) / rest.width;
  const dy = (at.y - rest.top - rest.height / 2) / rest.height;
  return within({ scale, x: view.x + dx / view.scale - dx / scale, y: view.y + dy / view.scale - dy / scale });
}

/** The same view moved by so many pixels of the screen. */
export function moveBy(view: View, dx: number, dy: number, rest: Box): View {
  const { scale, x, y } = view;
  return within({ scale, x: x - dx / (rest.width * scale), y: y - dy / (rest.height * scale) });
}

/** The view so many times larger about the middle of what is seen. */
export const zoomBy = (view: View, factor: number, most: number): View =>
  within({ ...view, scale: Math.min(most, Math.max(1, view.scale * factor)) });

/** The view that a key makes; undefined for other keys. */
export function viewByKey(view: View, { key, shiftKey }: KeyboardEvent, most: number): View | undefined {
  const { scale, x, y } = view;
  const step = ((shiftKey ? ARROW_FASTER : 1) * ARROW_SHARE) / scale;
  switch (key) {
    case '+':
    case '=':
      return zoomBy(view, ZOOM_STEP, most);
    case '-':
      return zoomBy(view, 1 / ZOOM_STEP, most);
    case '0':
      return WHOLE;
    case 'ArrowLeft':
      return scale > 1 ? within({ scale, x: x - step, y }) : undefined;
    case 'ArrowRight':
      return scale > 1 ? within({ scale, x: x + step, y }) : undefined;
    case 'ArrowUp':
      return scale > 1 ? within({ scale, x, y: y - step }) : undefined;
    case 'ArrowDown':
      return scale > 1 ? within({ scale, x, y: y + step }) : undefined;
    default:
      return undefined;
  }
}

/** The piece never leaves the stage: as soon as it is larger, its edges reach the middle's half at most. */
function within({ scale, x, y }: View): View {
  const half = Math.min(0.5, 0.35 / scale);
  const inside = (share: number) => Math.min(1 - half, Math.max(half, share));
  return scale === 1 ? WHOLE : { scale, x: inside(x), y: inside(y) };
}

/** The view as a transform of the piece, whose percentages are those of its own box. */
export function transformOf({ scale, x, y }: View): string {
  if (scale === 1) return 'none';
  return `translate(${(0.5 - x) * 100 * scale}%, ${(0.5 - y) * 100 * scale}%) scale(${scale})`;
}
