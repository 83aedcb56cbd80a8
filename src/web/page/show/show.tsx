import { useEffect, useRef, useState } from 'preact/hooks';
import type { JobCard } from '../../protocol.ts';
import { saySize } from '../measure.ts';
import { numbers } from '../numbers.ts';
import { Button, Icon } from '../parts/parts.tsx';
import { useHeldKey, useKey } from '../parts/use-key.ts';
import { useShop } from '../shop-context.ts';
import { frameOf, turnOf } from '../stage/frame.ts';
import { PhotoOnPiece, PieceFace, radiusOf } from '../stage/piece.tsx';
import { thingOf } from '../stage/thing.ts';
import { usePreview } from '../stage/use-preview.ts';

const CALIBRATED = 'tonewright-px-per-mm';
/** A bank card, ID-1, mm. Published: source: 'iso7810', dimensions of ID-1. */
const CARD_MM = { width: 85.6, height: 53.98 } as const;
/** Pixels a millimetre before the screen was measured. Exact: the CSS inch has 96 pixels and 25.4 mm. */
const CSS_PX_PER_MM = 96 / 25.4;

/** The piece alone, for whoever is going to have it. It follows what is changed in another window. */
export function ShowScreen({ id }: { readonly id: string }) {
  const { jobs, go } = useShop();
  const job = jobs.get(id);
  useEffect(() => {
    if (!job) go('/');
  }, [job]);
  return job ? <Show job={job} /> : null;
}

function Show({ job }: { readonly job: JobCard }) {
  const { shop, unit, go } = useShop();
  const path = `/api/jobs/${job.id}`;
  const { wish, photo } = job;
  const piece = useRef<HTMLDivElement>(null);
  const seen = usePreview(path, { wish, showClipped: false, piece });
  const { facts } = seen;
  const frame = frameOf(photo, wish, facts);
  const [held, setHeld] = useHeldKey('p');
  const [trueSize, setTrueSize] = useState(false);
  const [pxPerMm, setPxPerMm] = useState(readScale);
  const [measuring, setMeasuring] = useState(false);
  const leave = () => (opener ? close() : go(`/photo/${job.id}`));
  useKey('escape', () => measuring || leave());
  useKey('f', leave);
  const thing = thingOf(wish, facts, shop);
  const kind = shop.pieces.find(
    ({ widthMm, heightMm, cornerRadiusMm }) =>
      cornerRadiusMm === wish.cornerRadiusMm &&
      Math.min(widthMm, heightMm) === Math.min(wish.widthMm, wish.heightMm) &&
      Math.max(widthMm, heightMm) === Math.max(wish.widthMm, wish.heightMm),
  );
  const source = { ...photo, turnDeg: turnOf(wish, facts), source: `${path}/photo` };
  return (
    <div class={`show on-${thing.table} ${trueSize ? 'true-size' : ''}`}>
      {frame && (
        <div class="show-stage" style={{ '--ratio': frame.widthMm / frame.heightMm }}>
          <div
            ref={piece}
            class="piece"
            style={{
              borderRadius: radiusOf(frame),
              ...(trueSize ? { width: `${frame.widthMm * (pxPerMm ?? CSS_PX_PER_MM)}px` } : {}),
            }}
          >
            <PieceFace picture={seen.picture} surface={thing.surface} alt="How the piece will look" />
            {held && (
              <div class="before">
                <PhotoOnPiece frame={frame} photo={source} />
              </div>
            )}
            <div class="rim" aria-hidden="true" />
          </div>
        </div>
      )}
      <div class="show-words">
        <h1>{thing.title || job.name}</h1>
        <p>
          {kind ? `${kind.title}, ` : ''}
          {saySize(wish.widthMm, wish.heightMm, unit)}
        </p>
        {facts?.seen && (
          <p>
            {facts.seen.seen === 'through' ? 'engraved on the back, smooth in front' : 'engraved on the front'}
            {facts.seen.beneath &&
              `, shown with something ${facts.seen.beneath === 'dark' ? 'dark' : 'white'} behind it`}
          </p>
        )}
        <p class="soft">as it will look, seen by daylight</p>
        {facts?.price && <p class="show-price">{facts.price.total}</p>}
        <button
          type="button"
          class="show-photo"
          aria-pressed={held}
          onPointerDown={(event) => {
            event.currentTarget.setPointerCapture(event.pointerId);
            setHeld(true);
          }}
          onLostPointerCapture={() => setHeld(false)}
          onKeyDown={({ key }) => (key === ' ' || key === 'Enter') && setHeld(true)}
          onKeyUp={() => setHeld(false)}
          onBlur={() => setHeld(false)}
          onContextMenu={(event) => event.preventDefault()}
        >
          <img src={source.source} alt="" draggable={false} />
          <span>your photo: press to compare</span>
        </button>
        <p class="show-agree">Version of {numbers.sayMoment(job.changed)}. I like it as it is shown here:</p>
      </div>
      <div class="show-tools">
        <Button
          aria-pressed={trueSize}
          onClick={() => {
            setTrueSize(!trueSize);
            setMeasuring(!trueSize && pxPerMm === undefined);
          }}
        >
          True size
        </Button>
        <Button icon="print" onClick={() => print()}>
          Print a sheet
        </Button>
        <button type="button" class="button square" aria-label="Back to the work" title="Esc" onClick={leave}>
          <Icon name="cross" />
        </button>
      </div>
      {measuring && (
        <Measure
          first={pxPerMm ?? CSS_PX_PER_MM}
          onDone={(found) => {
            localStorage.setItem(CALIBRATED, String(found));
            setPxPerMm(found);
            setMeasuring(false);
          }}
        />
      )}
    </div>
  );
}

/** Once for each screen: a card held against it says how large its pixels are. */
function Measure({ first, onDone }: { readonly first: number; readonly onDone: (pxPerMm: number) => void }) {
  const [scale, setScale] = useState(first);
  const dialog = useRef<HTMLDialogElement>(null);
  useEffect(() => dialog.current?.showModal(), []);
  return (
    <dialog ref={dialog} class="measure" aria-labelledby="measure-title" onClose={() => onDone(scale)}>
      <h2 id="measure-title">How large is this screen?</h2>
      <p>Hold a bank card against the frame and move the slider until they are the same.</p>
      <div
        class="measure-card"
        style={{ width: `${CARD_MM.width * scale}px`, height: `${CARD_MM.height * scale}px` }}
      />
      <input
        type="range"
        min={2}
        max={9}
        step={0.01}
        value={scale}
        aria-label="Size of the frame"
        onInput={({ currentTarget }) => setScale(currentTarget.valueAsNumber)}
      />
      <Button kind="main" icon="check" onClick={() => dialog.current?.close()}>
        They are the same
      </Button>
    </dialog>
  );
}

function readScale(): number | undefined {
  const found = Number(localStorage.getItem(CALIBRATED));
  return found > 0 ? found : undefined;
}
