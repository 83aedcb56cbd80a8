import { useEffect, useRef, useState } from 'preact/hooks';
import { photoSettingsOf } from '../../piece-settings.ts';
import type { Agreement, JobCard, OrderPiece, OrderView, PhotoSettings } from '../../protocol.ts';
import { agree, setReady, takeYesBack } from '../api.ts';
import { saySize } from '../measure.ts';
import { numbers } from '../numbers.ts';
import { sayAgreed } from '../parts/agreed.tsx';
import { Button, Icon, Problem, useProblem } from '../parts/parts.tsx';
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

/** What is shown: a photo of its own, or a piece of an order. */
interface Shown {
  /** Where the server has it, and where it has the day on which it will be ready. */
  readonly path: string;
  readonly readyAt: string;
  /** The screen where it is worked on. */
  readonly work: string;
  readonly name: string;
  readonly photo: { readonly width: number; readonly height: number };
  readonly wish: PhotoSettings;
  readonly changed: string;
  readonly agreed: Agreement | null;
  readonly ready: string | null;
}

const showJob = ({ id, ...job }: JobCard): Shown => ({
  ...job,
  path: `/api/jobs/${id}`,
  readyAt: `/api/jobs/${id}`,
  work: `/photo/${id}`,
});

function showPiece(order: OrderView, piece: OrderPiece): Shown {
  const { agreed, own, width, height } = piece;
  return {
    path: `/api/orders/${order.id}/pieces/${piece.id}`,
    readyAt: `/api/orders/${order.id}`,
    work: `/order/${order.id}`,
    name: order.title,
    photo: { width, height },
    wish: photoSettingsOf(order.wish, own),
    changed: order.changed,
    agreed,
    ready: order.ready,
  };
}

/**
 * The piece alone, for whoever is going to have it. It follows what is changed in another window.
 * @param piece of the order that `id` is of; none for a photo of its own
 */
export function ShowScreen({ id, piece }: { readonly id: string; readonly piece: string }) {
  const { jobs, orders, go } = useShop();
  const job = jobs.get(id);
  const order = orders.get(id);
  const one = order?.pieces.find((each) => each.id === piece);
  const shown = job ? showJob(job) : order && one ? showPiece(order, one) : undefined;
  const isGone = shown === undefined;
  useEffect(() => {
    if (isGone) go('/');
  }, [isGone]);
  return shown ? <Show shown={shown} /> : null;
}

function Show({ shown }: { readonly shown: Shown }) {
  const { shop, unit, go } = useShop();
  const { path, wish, photo, name } = shown;
  const piece = useRef<HTMLDivElement>(null);
  const seen = usePreview(path, { wish, showClipped: false, piece });
  const { facts } = seen;
  const frame = frameOf(photo, wish, facts);
  const [held, setHeld] = useHeldKey('p');
  const [trueSize, setTrueSize] = useState(false);
  const [pxPerMm, setPxPerMm] = useState(readScale);
  const [measuring, setMeasuring] = useState(false);
  const leave = () => (opener ? close() : go(shown.work));
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
    <div class={`show on-${thing.table} ${trueSize ? 'true-size' : ''}`} aria-busy={seen.waiting}>
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
        <h1>{thing.title || name}</h1>
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
        <Ready day={shown.ready} path={shown.readyAt} />
        <SayYes shown={shown} isSeen={facts !== undefined && seen.kind === 'proof' && !seen.waiting} />
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
        <p class="show-agree">Version of {numbers.sayMoment(shown.changed)}. I like it as it is shown here:</p>
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

/** The customer's yes to what is shown; what was changed since a yes says so. */
function SayYes({ shown, isSeen }: { readonly shown: Shown; readonly isSeen: boolean }) {
  const { path, wish, agreed } = shown;
  const [error, setError] = useProblem();
  const tell = (work: Promise<unknown>) => work.then(() => setError(undefined), setError);
  return (
    <div class="show-yes">
      {agreed && (
        <p class={agreed.holds ? '' : 'is-over'} role="status">
          <Icon name={agreed.holds ? 'check' : 'warn'} />
          {sayAgreed(agreed)}
        </p>
      )}
      {agreed?.holds ? (
        <Button kind="quiet" onClick={() => tell(takeYesBack(path))}>
          Take it back
        </Button>
      ) : (
        <Button kind="main" icon="check" disabled={!isSeen} onClick={() => tell(agree(path, wish))}>
          Yes, like this
        </Button>
      )}
      {error !== undefined && <Problem error={error} onClose={() => setError(undefined)} />}
    </div>
  );
}

/** The day on which it will be ready: said once it is known, set by one click. */
function Ready({ day, path }: { readonly day: string | null; readonly path: string }) {
  const [setting, setSetting] = useState(false);
  const field = useRef<HTMLInputElement>(null);
  useEffect(() => {
    if (setting) field.current?.focus();
  }, [setting]);
  if (setting) {
    return (
      <label class="show-ready">
        Ready on
        <input
          ref={field}
          type="date"
          value={day ?? ''}
          onChange={({ currentTarget }) => void setReady(path, currentTarget.value || null).catch(() => undefined)}
          onBlur={() => setSetting(false)}
          onKeyDown={(event) => {
            if (event.key !== 'Escape' && event.key !== 'Enter') return;
            event.stopPropagation();
            setSetting(false);
          }}
        />
      </label>
    );
  }
  return (
    <button type="button" class={`show-ready ${day ? '' : 'is-open'}`} onClick={() => setSetting(true)}>
      {day ? `Ready on ${numbers.sayDay(day)}` : 'Ready on …'}
    </button>
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
