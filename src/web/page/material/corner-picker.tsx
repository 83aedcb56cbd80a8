import { useRef, useState } from 'preact/hooks';
import type { CaptureCard } from '../../protocol.ts';
import { Button } from '../parts/parts.tsx';

export type CornerPoints = readonly (readonly [x: number, y: number])[];

const NAMES = ['Upper left', 'Upper right', 'Lower right', 'Lower left'] as const;
/** Steps to the right and down. Exact: by definition of the keys. */
const KEYS: Readonly<Record<string, readonly [number, number]>> = {
  ArrowLeft: [-1, 0],
  ArrowRight: [1, 0],
  ArrowUp: [0, -1],
  ArrowDown: [0, 1],
};

/** How much larger the picture is under the glass, a factor. Assumed: a mark's corner is found to half a pixel. */
const NEARER = 4;
/** Its diameter, and how far from the handle it keeps, CSS pixels. Assumed: a thumb covers less. */
const GLASS = { size: 128, apart: 40 } as const;

/**
 * Four handles on the capture: drag each onto the outer corner of the chart's corner mark, or move it with the arrow
 * keys.
 */
export function CornerPicker({
  capture,
  corners,
  onChange,
}: {
  readonly capture: CaptureCard;
  readonly corners: CornerPoints | undefined;
  readonly onChange: (corners: CornerPoints | undefined) => void;
}) {
  const box = useRef<HTMLDivElement>(null);
  const [held, setHeld] = useState<number>();
  const { width, height } = capture;
  const view = `/api/captures/${capture.id}/view`;
  const points =
    corners ??
    (
      [
        [0.1, 0.1],
        [0.9, 0.1],
        [0.9, 0.9],
        [0.1, 0.9],
      ] as const
    ).map(([x, y]) => [x * width, y * height] as const);
  const move = (at: number, x: number, y: number) => {
    const put = [Math.min(width, Math.max(0, x)), Math.min(height, Math.max(0, y))] as const;
    onChange(points.map((point, index) => (index === at ? put : point)));
  };
  return (
    <div class="corner-picker">
      <p>Put the four handles on the outer corners of the chart’s corner marks, as the chart is read upright.</p>
      <div ref={box} class="corner-box" style={{ aspectRatio: `${width} / ${height}` }}>
        <img src={view} alt="The capture" draggable={false} />
        <svg viewBox={`0 0 ${width} ${height}`} aria-hidden="true">
          <polygon points={points.map((point) => point.join(',')).join(' ')} />
        </svg>
        {points.map(([x, y], at) => (
          <button
            key={NAMES[at]}
            type="button"
            class="handle"
            aria-label={`${NAMES[at]} corner, at ${Math.round(x)}, ${Math.round(y)} pixels. Arrow keys move it.`}
            style={{ left: `${(100 * x) / width}%`, top: `${(100 * y) / height}%` }}
            onPointerDown={(event) => {
              event.currentTarget.setPointerCapture(event.pointerId);
              setHeld(at);
            }}
            onLostPointerCapture={() => setHeld(undefined)}
            onBlur={() => setHeld((now) => (now === at ? undefined : now))}
            onPointerMove={(event) => {
              const size = box.current?.getBoundingClientRect();
              if (!size || !event.currentTarget.hasPointerCapture(event.pointerId)) return;
              move(
                at,
                ((event.clientX - size.left) / size.width) * width,
                ((event.clientY - size.top) / size.height) * height,
              );
            }}
            onKeyDown={(event) => {
              const way = KEYS[event.key];
              if (!way) return;
              event.preventDefault();
              setHeld(at);
              const step = (event.shiftKey ? 0.02 : 0.001) * Math.max(width, height);
              move(at, x + way[0] * step, y + way[1] * step);
            }}
          >
            {at + 1}
          </button>
        ))}
        {held !== undefined && box.current && (
          <Glass view={view} x={points[held]![0] / width} y={points[held]![1] / height} box={box.current} />
        )}
      </div>
      <div class="actions">
        {corners === undefined ? (
          <Button onClick={() => onChange(points)}>Use these corners</Button>
        ) : (
          <Button kind="quiet" icon="undo" onClick={() => onChange(undefined)}>
            Find the chart by its marks again
          </Button>
        )}
      </div>
    </div>
  );
}

/** What lies under a handle, nearer, beside the thumb or the mouse; `x` and `y` are shares of the picture. */
function Glass({
  view,
  x,
  y,
  box,
}: {
  readonly view: string;
  readonly x: number;
  readonly y: number;
  readonly box: HTMLElement;
}) {
  const { width, height } = box.getBoundingClientRect();
  const { size, apart } = GLASS;
  const isAbove = y * height > size + apart;
  const left = Math.min(Math.max(0, x * width - size / 2), Math.max(0, width - size));
  return (
    <div
      class="glass"
      aria-hidden="true"
      style={{
        left: `${left}px`,
        top: `${y * height + (isAbove ? -size - apart : apart)}px`,
        backgroundImage: `url(${view})`,
        backgroundSize: `${width * NEARER}px ${height * NEARER}px`,
        backgroundPosition: `${size / 2 - x * width * NEARER}px ${size / 2 - y * height * NEARER}px`,
      }}
    />
  );
}
