import { useRef } from 'preact/hooks';
import type { Frame } from '../../../photo/index.ts';

export interface CropProps {
  readonly photo: { readonly width: number; readonly height: number };
  /** Address of its small picture. */
  readonly source: string;
  readonly name: string;
  readonly frame: Frame;
  readonly fit: 'cover' | 'contain';
  readonly onFocus: (focus: { readonly x: number; readonly y: number }) => void;
}

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

/** The whole photo with the piece's outline on it: drag the outline, or move it with the arrow keys. */
export function CropPane({ photo, source, name, frame, fit, onFocus }: CropProps) {
  const { crop } = frame;
  const box = useRef<HTMLDivElement>(null);
  const from = useRef<
    { readonly x: number; readonly y: number; readonly centre: readonly [number, number] } | undefined
  >(undefined);
  const centre = [(crop.x + crop.width / 2) / photo.width, (crop.y + crop.height / 2) / photo.height] as const;
  const [half, tall] = [crop.width / photo.width / 2, crop.height / photo.height / 2];
  const moveTo = (x: number, y: number) => onFocus({ x: clamp(x, half, 1 - half), y: clamp(y, tall, 1 - tall) });
  const movable = fit === 'cover' && (half < 0.4999 || tall < 0.4999);
  const percent = (share: number) => `${100 * share}%`;
  const outline = {
    left: percent(crop.x / photo.width),
    top: percent(crop.y / photo.height),
    width: percent(crop.width / photo.width),
    height: percent(crop.height / photo.height),
    borderRadius: radiusOf(frame),
  };
  return (
    <figure class="pane crop">
      <div
        ref={box}
        class="photo-box"
        style={{ '--aspect': `${photo.width} / ${photo.height}`, '--ratio': photo.width / photo.height }}
      >
        <img src={source} alt={name} draggable={false} />
        {fit === 'cover' && (
          // biome-ignore lint/a11y/useSemanticElements: a button cannot be dragged by touch in every browser
          <div
            class={`outline ${movable ? 'movable' : ''}`}
            style={outline}
            role="button"
            tabIndex={movable ? 0 : -1}
            aria-disabled={!movable}
            aria-label={
              movable
                ? `Crop, middle at ${Math.round(100 * centre[0])} % across and ${Math.round(100 * centre[1])} % down. Arrow keys move it.`
                : 'Crop: the photo has the shape of the piece, nothing is cut off.'
            }
            onPointerDown={(event) => {
              if (!movable || event.button !== 0) return;
              event.currentTarget.setPointerCapture(event.pointerId);
              from.current = { x: event.clientX, y: event.clientY, centre };
            }}
            onPointerMove={(event) => {
              const start = from.current;
              const size = box.current?.getBoundingClientRect();
              if (!start || !size) return;
              const [x, y] = start.centre;
              moveTo(x + (event.clientX - start.x) / size.width, y + (event.clientY - start.y) / size.height);
            }}
            onPointerUp={() => {
              from.current = undefined;
            }}
            onPointerCancel={() => {
              from.current = undefined;
            }}
            onKeyDown={(event) => {
              const way = KEYS[event.key];
              if (!way || !movable) return;
              event.preventDefault();
              const step = event.shiftKey ? 10 * STEP : STEP;
              moveTo(centre[0] + way[0] * step, centre[1] + way[1] * step);
            }}
          />
        )}
      </div>
      <figcaption>
        {movable ? 'Drag the outline to what must stay' : fit === 'contain' ? 'Shown whole' : 'Nothing is cut off'}
      </figcaption>
    </figure>
  );
}

/** Corners of the piece as CSS has them: shares of the box's width and height. */
export function radiusOf({ cornerRadiusMm, widthMm, heightMm }: Frame): string {
  return `${(100 * cornerRadiusMm) / widthMm}% / ${(100 * cornerRadiusMm) / heightMm}%`;
}

const clamp = (value: number, low: number, high: number) => Math.min(Math.max(value, low), high);
