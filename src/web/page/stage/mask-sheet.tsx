import { useEffect, useRef, useState } from 'preact/hooks';
import type { Frame } from '../../../photo/index.ts';
import { ARROWS } from './crop.tsx';
import { type PhotoFacts, PhotoOnPiece, placeOf } from './piece.tsx';
import type { Mask, Spot } from './use-mask.ts';

/**
 * Way of an arrow key, a share of what is seen of the photo; with the shift key so many times more. Assumed: as crops
 * move.
 */
const STEP = 0.01;
const FASTER = 5;
/** Times larger with each press of a bracket. Assumed: few presses lead from the finest to the widest. */
const BRUSH_STEP = 1.25;
/** Finest brush, mm. Assumed: about a strand of hair on a card. */
const FINEST_MM = 0.2;

/** Widest brush, mm. Assumed: half of the piece. */
export const widestBrushMm = ({ widthMm, heightMm }: Pick<Frame, 'widthMm' | 'heightMm'>): number =>
  Math.max(1, Math.min(widthMm, heightMm) / 2);

export const clampBrush = (mm: number, frame: Pick<Frame, 'widthMm' | 'heightMm'>): number =>
  Math.min(widestBrushMm(frame), Math.max(FINEST_MM, mm));

/** What a pointer on the stage does to the mask. Places in CSS pixels of the window. */
export interface Brush {
  readonly begin: (at: Spot) => void;
  readonly go: (to: Spot) => void;
  readonly end: () => void;
  readonly drop: () => void;
  readonly hover: (at: Spot | undefined) => void;
}

interface MaskSheetProps {
  readonly frame: Frame;
  readonly photo: PhotoFacts;
  readonly mask: Mask;
  /** Hands the brush to whoever hears the pointers. */
  readonly brush: { current: Brush | undefined };
}

/**
 * The photo on the piece under the mask, and the brush: pointers paint by way of the stage, which zooms as well; keys
 * by the sheet itself.
 */
export function MaskSheet({ frame, photo, mask, brush }: MaskSheetProps) {
  const sheet = useRef<HTMLDivElement>(null);
  const hand = useRef<HTMLDivElement>(null);
  const [at, setAt] = useState<Spot>();
  const [byKey, setByKey] = useState<Spot>({ x: 0.5, y: 0.5 });
  const [focused, setFocused] = useState(false);
  const { crop, place, grid } = frame;
  const pxPerMm = crop.width / (place.width * grid.pitchMm);
  const width = (mask.brushMm * pxPerMm) / photo.width;
  const angle = (photo.turnDeg * Math.PI) / 180;
  const [cos, sin] = [Math.cos(angle), Math.sin(angle)];

  // The button that began it is gone.
  useEffect(() => hand.current?.focus({ preventScroll: true }), []);
  useEffect(() => {
    sheet.current!.prepend(mask.sheet);
    return () => mask.sheet.remove();
  }, [mask.sheet]);

  // The sheet is turned about its middle, as the photo is, and enlarged with the piece.
  const spotOf = ({ x, y }: Spot): Spot => {
    const box = sheet.current!.getBoundingClientRect();
    const [dx, dy] = [x - box.left - box.width / 2, y - box.top - box.height / 2];
    const turned = { width: sheet.current!.offsetWidth, height: sheet.current!.offsetHeight };
    const scale = box.width / (turned.width * Math.abs(cos) + turned.height * Math.abs(sin));
    return {
      x: 0.5 + (dx * cos + dy * sin) / (turned.width * scale),
      y: 0.5 + (dy * cos - dx * sin) / (turned.height * scale),
    };
  };
  brush.current = {
    begin: (to) => mask.begin(spotOf(to), width),
    go: (to) => {
      setAt(spotOf(to));
      mask.go(spotOf(to));
    },
    end: mask.end,
    drop: mask.drop,
    hover: (to) => setAt(to && spotOf(to)),
  };
  useEffect(
    () => () => {
      brush.current = undefined;
    },
    [brush],
  );

  const press = (event: KeyboardEvent) => {
    if (event.ctrlKey || event.metaKey || event.altKey) return;
    const way = ARROWS[event.key];
    const act: Readonly<Record<string, () => void>> = {
      ' ': () => dab(),
      Enter: () => dab(),
      a: () => mask.chooseTool('add'),
      t: () => mask.chooseTool('take'),
      '[': () => mask.chooseBrush(clampBrush(mask.brushMm / BRUSH_STEP, frame)),
      ']': () => mask.chooseBrush(clampBrush(mask.brushMm * BRUSH_STEP, frame)),
    };
    const dab = () => {
      mask.begin(byKey, width);
      mask.end();
    };
    if (way) {
      const step = (event.shiftKey ? FASTER : 1) * STEP * Math.max(crop.width, crop.height);
      const [dx, dy] = [way[0] * step, way[1] * step];
      const within = (share: number) => Math.min(1, Math.max(0, share));
      setByKey({
        x: within(byKey.x + (dx * cos + dy * sin) / photo.width),
        y: within(byKey.y + (dy * cos - dx * sin) / photo.height),
      });
    } else if (!act[event.key]) return;
    event.preventDefault();
    event.stopPropagation();
    act[event.key]?.();
  };
  const shown = at ?? (focused ? byKey : undefined);
  return (
    <PhotoOnPiece frame={frame} photo={photo}>
      <div ref={sheet} class="mask-sheet" style={placeOf(photo, crop)}>
        {/* The brush is drawn in pixels of the photo, its line in those of the screen. */}
        <svg viewBox={`0 0 ${photo.width} ${photo.height}`} preserveAspectRatio="none" aria-hidden="true">
          {shown && (
            <>
              <circle
                class="brush-rim"
                cx={shown.x * photo.width}
                cy={shown.y * photo.height}
                r={(width * photo.width) / 2}
              />
              <circle
                class="brush"
                cx={shown.x * photo.width}
                cy={shown.y * photo.height}
                r={(width * photo.width) / 2}
              />
            </>
          )}
        </svg>
      </div>
      {/* biome-ignore lint/a11y/useSemanticElements: a button cannot be painted on by touch in every browser */}
      <div
        ref={hand}
        class="mask-hand"
        role="button"
        tabIndex={0}
        aria-disabled={!mask.isReady}
        aria-label={`Mask of the subject. The brush ${mask.tool === 'add' ? 'adds to the subject' : 'takes away from it'}, at ${Math.round(100 * byKey.x)} % across and ${Math.round(100 * byKey.y)} % down the photo. Arrow keys move it, space paints, A adds, T takes away, brackets change its size.`}
        onFocus={({ currentTarget }) => setFocused(currentTarget.matches(':focus-visible'))}
        onBlur={() => setFocused(false)}
        onKeyDown={press}
      />
    </PhotoOnPiece>
  );
}
