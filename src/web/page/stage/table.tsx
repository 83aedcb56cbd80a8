import type { ComponentChildren, RefObject } from 'preact';
import { useEffect, useLayoutEffect, useRef, useState } from 'preact/hooks';
import type { Frame } from '../../../photo/index.ts';
import { numbers } from '../numbers.ts';
import { Busy, Button, Icon } from '../parts/parts.tsx';
import { useHeldKey, useKey } from '../parts/use-key.ts';
import { Closer, type CloserProps } from './closer.tsx';
import { type Crop, CropHand, PhotoAround, TurnHandle } from './crop.tsx';
import { middleOf, useGestures, useMostScale } from './gestures.ts';
import { type Brush, MaskSheet } from './mask-sheet.tsx';
import { PhotoOnPiece, PieceFace, radiusOf } from './piece.tsx';
import type { Thing } from './thing.ts';
import type { Mask } from './use-mask.ts';
import type { ShownPreview } from './use-preview.ts';
import { transformOf, viewByKey, WHOLE, ZOOM_STEP, zoomAt } from './view.ts';

export interface TableProps {
  readonly frame: Frame;
  readonly photo: {
    readonly width: number;
    readonly height: number;
    /** Degrees clockwise by which it stands turned. */
    readonly turnDeg: number;
    /** Address of its small picture. */
    readonly source: string;
    readonly name: string;
  };
  readonly seen: Pick<ShownPreview, 'picture' | 'kind' | 'waiting' | 'error' | 'share' | 'stopped' | 'stop' | 'again'>;
  readonly thing: Thing;
  /** Where the piece is drawn. */
  readonly piece: RefObject<HTMLDivElement | null>;
  /** The dots of the proof, for looking closer. */
  readonly closer: Omit<CloserProps, 'view' | 'piece'> | undefined;
  /** Moves the photo under the piece instead of the piece under the eye. */
  readonly cropping: boolean;
  /** Times nearer than the photo must be to fill the piece. */
  readonly zoom: number;
  readonly onCrop: (crop: Crop) => void;
  /** Degrees clockwise. */
  readonly onTurn: (turnDeg: number) => void;
  /** Where the subject is painted, not where the piece is looked at; undefined: it is not. */
  readonly mask?: Mask | undefined;
  /** What floats over the stage. */
  readonly children?: ComponentChildren;
}

/**
 * The piece as large as the stage lets it be; nearer by wheel, pinch, button or key; the photo in its place on demand.
 */
export function Table(props: TableProps) {
  const { frame, photo, seen, thing, piece, closer, cropping, zoom: cropZoom, onCrop, onTurn, mask, children } = props;
  const [view, setView] = useState(WHOLE);
  const [divider, setDivider] = useState<number>();
  const [held, setHeld] = useHeldKey('p');
  const [asMeasured, setAsMeasured] = useState(false);
  useKey('m', () => setAsMeasured(!asMeasured));
  const [moving, setMoving] = useState(false);
  const rest = useRef<HTMLDivElement>(null);
  const cloth = useRef<HTMLDivElement>(null);
  const brush = useRef<Brush | undefined>(undefined);
  const shown = cropping ? WHOLE : view;
  const most = useMostScale(rest, closer?.dots.width);
  useLayoutEffect(() => {
    if (cropping) setView(WHOLE);
  }, [cropping]);
  const gestures = useGestures(cloth, {
    view: shown,
    most,
    restOf: () => rest.current?.getBoundingClientRect(),
    locked: cropping,
    onView: setView,
    brush,
  });
  const zoom = (factor: number) => {
    const box = rest.current?.getBoundingClientRect();
    if (!box) return;
    setView(zoomAt(shown, factor, { rest: box, most, at: middleOf(box) }));
  };
  const asPhoto = !mask && (held || (cropping && (moving || seen.waiting)));
  const share = asPhoto ? 1 : divider === undefined || cropping || mask ? 0 : divider / 100;
  const lost = seen.error !== undefined;
  return (
    <section
      class={`stage on-${thing.table} ${asMeasured ? 'as-measured' : ''} ${mask ? 'painting' : ''}`}
      aria-label="Photo and proof"
      style={{ '--ratio': frame.widthMm / frame.heightMm }}
    >
      {/* biome-ignore lint/a11y/useSemanticElements: a group of fields is not what this is */}
      <div
        ref={cloth}
        class={`cloth ${mask ? 'painted' : shown.scale > 1 ? 'near' : ''}`}
        role="group"
        // biome-ignore lint/a11y/noNoninteractiveTabindex: keys zoom and move what is seen
        tabIndex={0}
        aria-label="Proof of the engraved piece"
        aria-describedby="stage-keys"
        {...gestures}
        onKeyDown={(event) => {
          if (event.target !== event.currentTarget || cropping || event.ctrlKey || event.metaKey) return;
          const next = viewByKey(view, event, most);
          if (!next) return;
          event.preventDefault();
          setView(next);
        }}
      >
        <p id="stage-keys" class="unseen">
          Plus and minus zoom, the arrow keys move what is seen, zero shows the whole piece; hold P for the photo, M
          shows the tones as measured, without the surface of the material.
        </p>
        <div ref={rest} class="place">
          {cropping && <PhotoAround frame={frame} photo={photo} />}
          <div
            ref={piece}
            class={`piece ${lost ? 'void' : ''}`}
            style={{ transform: transformOf(shown), borderRadius: radiusOf(frame) }}
          >
            <PieceFace picture={seen.picture} surface={asMeasured || lost ? undefined : thing.surface} />
            {closer && !lost && <Closer {...closer} view={shown} piece={rest} />}
            {share > 0 && (
              <div class="before" style={{ clipPath: `inset(0 ${100 * (1 - share)}% 0 0)` }}>
                <PhotoOnPiece frame={frame} photo={photo} />
              </div>
            )}
            {mask && !held && <MaskSheet frame={frame} photo={photo} mask={mask} brush={brush} />}
            {share > 0 && share < 1 && <div class="line" style={{ left: `${100 * share}%` }} aria-hidden="true" />}
            <div class="rim" aria-hidden="true" />
          </div>
          {cropping && <CropHand frame={frame} photo={photo} zoom={cropZoom} onCrop={onCrop} onMoving={setMoving} />}
          {cropping && <TurnHandle turnDeg={photo.turnDeg} onTurn={onTurn} onMoving={setMoving} />}
        </div>
      </div>
      <StageState seen={seen} mask={held ? undefined : mask} />
      {divider !== undefined && !cropping && !mask && (
        <label class="divider-range floats">
          <span>Photo</span>
          <input
            type="range"
            min={0}
            max={100}
            value={divider}
            aria-label="Divider between photo and proof"
            aria-valuetext={`${divider} % photo`}
            onInput={({ currentTarget }) => setDivider(currentTarget.valueAsNumber)}
          />
          <span>Proof</span>
        </label>
      )}
      <div class="stage-tools floats">
        <HoldButton held={held} onHold={setHeld} of={mask ? 'proof' : 'photo'} />
        {!cropping && !mask && (
          <Button
            icon="divide"
            aria-pressed={divider !== undefined}
            onClick={() => setDivider(divider === undefined ? 50 : undefined)}
          >
            Before and after
          </Button>
        )}
      </div>
      {!cropping && (
        <div class="stage-zoom floats">
          <button
            type="button"
            class="button square"
            aria-label="Farther"
            disabled={view.scale <= 1}
            onClick={() => zoom(1 / ZOOM_STEP)}
          >
            <Icon name="minus" />
          </button>
          {view.scale > 1 && (
            <Button onClick={() => setView(WHOLE)} aria-label="Whole piece">
              {numbers.say(view.scale, view.scale < 10 ? 1 : 0, 'fixed')} ×
            </Button>
          )}
          <button
            type="button"
            class="button square"
            aria-label="Nearer"
            disabled={view.scale >= most}
            onClick={() => zoom(ZOOM_STEP)}
          >
            <Icon name="plus" />
          </button>
        </div>
      )}
      {children}
    </section>
  );
}

/** Says once in a while what is shown, without a flicker while a slider moves. */
function StageState({ seen, mask }: Pick<TableProps, 'seen' | 'mask'>) {
  const [late, setLate] = useState(false);
  const { waiting, error } = seen;
  useEffect(() => {
    if (!waiting) return setLate(false);
    const timer = setTimeout(() => setLate(true), 700);
    return () => clearTimeout(timer);
  }, [waiting]);
  return (
    <div class="look-state">
      {mask ? (
        mask.isReady ? (
          <p role="status">The photo under the mask of its subject</p>
        ) : (
          <Busy>Looking for the subject</Busy>
        )
      ) : error !== undefined ? (
        <p>No proof of these choices</p>
      ) : waiting && late ? (
        <>
          <Busy>
            {seen.picture ? 'Drawing the dots' : 'Reading the photo'}
            {seen.share === undefined ? '' : `, ${Math.round(100 * seen.share)} %`}
          </Busy>
          {seen.share !== undefined && <Button onClick={seen.stop}>Stop</Button>}
        </>
      ) : seen.stopped ? (
        <>
          <p role="status">Stopped: the tones without their dots</p>
          <Button onClick={seen.again}>Draw the dots</Button>
        </>
      ) : (
        <p role="status">{seen.kind === 'proof' && !waiting ? 'Proof of the dots as they will burn' : ''}</p>
      )}
    </div>
  );
}

/** The photo, or the proof, is there as long as it is pressed, by mouse, finger or key. */
function HoldButton({
  held,
  onHold,
  of,
}: {
  readonly held: boolean;
  readonly onHold: (held: boolean) => void;
  readonly of: 'photo' | 'proof';
}) {
  const press = (event: PointerEvent & { readonly currentTarget: HTMLElement }) => {
    event.currentTarget.setPointerCapture(event.pointerId);
    onHold(true);
  };
  const isPress = ({ key }: KeyboardEvent) => key === ' ' || key === 'Enter';
  return (
    <Button
      class="hold"
      icon="photo"
      aria-pressed={held}
      title="Hold P"
      onPointerDown={press}
      onPointerUp={() => onHold(false)}
      onLostPointerCapture={() => onHold(false)}
      onContextMenu={(event) => event.preventDefault()}
      onKeyDown={(event) => {
        if (!isPress(event)) return;
        event.preventDefault();
        onHold(true);
      }}
      onKeyUp={(event) => isPress(event) && onHold(false)}
      onBlur={() => onHold(false)}
    >
      Hold for the {of}
    </Button>
  );
}
