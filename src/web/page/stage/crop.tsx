import { useRef } from 'preact/hooks';
import type { Frame } from '../../../photo/index.ts';
import { boxOf, type PhotoFacts, radiusOf } from './piece.tsx';

type Focus = { readonly x: number; readonly y: number };

/** Steps to the right and down. Exact: by definition of the keys. */
const KEYS: Readonly<Record<string, readonly [number, number]>> = {
  ArrowLeft: [-1, 0],
  ArrowRight: [1, 0],
  ArrowUp: [0, -1],
  ArrowDown: [0, 1],
};
/**
 * Step of an arrow key, share of the photo; with the shift key ten times as much. Assumed: a pixel or two of the
 * picture on the page.
 */
const STEP = 0.005;

/** What of the photo lies beside the piece, behind it. */
export function PhotoAround({ frame, photo }: { readonly frame: Frame; readonly photo: PhotoFacts }) {
  if (frame.fit !== 'cover') return null;
  return <img class="around" src={photo.source} alt="" draggable={false} style={boxOf(photo, frame.crop)} />;
}

/** Takes hold of the photo under the piece: dragging or the arrow keys move it. */
export function CropHand({
  frame,
  photo,
  onFocus,
  onMoving,
}: {
  readonly frame: Frame;
  readonly photo: Pick<PhotoFacts, 'width' | 'height'>;
  readonly onFocus: (focus: Focus) => void;
  readonly onMoving: (moving: boolean) => void;
}) {
  const { crop, fit } = frame;
  const from = useRef<(Focus & { readonly centre: Focus }) | undefined>(undefined);
  const centre = { x: (crop.x + crop.width / 2) / photo.width, y: (crop.y + crop.height / 2) / photo.height };
  const half = { x: crop.width / photo.width / 2, y: crop.height / photo.height / 2 };
  const moveTo = (x: number, y: number) =>
    onFocus({ x: clamp(x, half.x, 1 - half.x), y: clamp(y, half.y, 1 - half.y) });
  const movable = fit === 'cover' && (half.x < 0.4999 || half.y < 0.4999);
  const end = () => {
    from.current = undefined;
    onMoving(false);
  };
  return (
    // biome-ignore lint/a11y/useSemanticElements: a button cannot be dragged by touch in every browser
    <div
      class={`crop-hand ${movable ? 'movable' : ''}`}
      style={{ borderRadius: radiusOf(frame) }}
      role="button"
      tabIndex={movable ? 0 : -1}
      aria-disabled={!movable}
      aria-label={
        movable
          ? `Crop, middle at ${Math.round(100 * centre.x)} % across and ${Math.round(100 * centre.y)} % down. Arrow keys move it.`
          : fit === 'contain'
            ? 'Crop: the photo is shown whole.'
            : 'Crop: the photo has the shape of the piece, nothing is cut off.'
      }
      onPointerDown={(event) => {
        if (!movable || event.button !== 0) return;
        event.currentTarget.setPointerCapture(event.pointerId);
        from.current = { x: event.clientX, y: event.clientY, centre };
        onMoving(true);
      }}
      onPointerMove={(event) => {
        const start = from.current;
        if (!start) return;
        // The photo goes with the hand: what must stay goes the other way.
        const { width, height } = event.currentTarget.getBoundingClientRect();
        moveTo(
          start.centre.x - ((event.clientX - start.x) / width) * 2 * half.x,
          start.centre.y - ((event.clientY - start.y) / height) * 2 * half.y,
        );
      }}
      onPointerUp={end}
      onPointerCancel={end}
      onKeyDown={(event) => {
        const way = KEYS[event.key];
        if (!way || !movable) return;
        event.preventDefault();
        const step = event.shiftKey ? 10 * STEP : STEP;
        moveTo(centre.x + way[0] * step, centre.y + way[1] * step);
      }}
    />
  );
}

const clamp = (value: number, low: number, high: number) => Math.min(Math.max(value, low), high);
