import { useEffect, useRef, useState } from 'preact/hooks';
import { ownSettingsOf, photoSettingsOf } from '../../piece-settings.ts';
import type { OrderPiece, OrderView, PieceSettings } from '../../protocol.ts';
import { Comparison } from '../compare/compare.tsx';
import type { Mending } from '../notices/notices.tsx';
import { Button, Icon, isOffline, NumberField, Problem, useProblem } from '../parts/parts.tsx';
import { useKey } from '../parts/use-key.ts';
import { BenchFacts, ThingsToKnow } from '../photo/facts.tsx';
import { useShop, useWords } from '../shop-context.ts';
import { FactLine } from '../stage/fact-line.tsx';
import { frameOf, turnOf, zoomOf } from '../stage/frame.ts';
import { groupsOf } from '../stage/groups.tsx';
import { Drawer, StageLayout, StepButtons } from '../stage/layout.tsx';
import { Table } from '../stage/table.tsx';
import { useTakeStrip } from '../stage/take-strip.tsx';
import { thingOf } from '../stage/thing.ts';
import { forgetSteps, useHistory } from '../stage/use-history.ts';
import { useMask, withMask } from '../stage/use-mask.ts';
import { usePreview } from '../stage/use-preview.ts';
import { type GroupId, withCrop } from '../stage/wish.ts';

export interface PieceChange {
  readonly count: number;
  readonly text: string;
  readonly own: PieceSettings;
}

export type PieceGroupId = GroupId | 'copies';

/** A hand that has rested so long is done, ms. Assumed: shorter than a customer waits. */
const FOLLOW_MS = 400;

/** The group of the last piece: the next one is likely to want the same. */
let last: PieceGroupId | undefined = 'crop';

/** Whether arrow keys mean something to what has the focus. */
const takesArrows = (target: EventTarget | null) =>
  target instanceof HTMLElement &&
  target.matches(
    'input, select, textarea, [role="slider"], [role="button"], [role="group"], .piece-dialog [tabindex="0"]',
  );

/** One piece of an order on the stage: all that a photo may want, its number of copies, a word for the ticket. */
export function PieceDialog({
  order,
  piece,
  first,
  onBefore,
  onAfter,
  onGo,
  onSave,
  onClose,
}: {
  readonly order: OrderView;
  readonly piece: OrderPiece;
  /** The group of controls to open first. */
  readonly first?: PieceGroupId;
  /** Undefined where the row of pieces ends. */
  readonly onBefore: (() => void) | undefined;
  readonly onAfter: (() => void) | undefined;
  /** To another piece. */
  readonly onGo: (id: string) => void;
  readonly onSave: (change: PieceChange) => void;
  readonly onClose: () => void;
}) {
  const { shop, go } = useShop();
  const words = useWords();
  const dialog = useRef<HTMLDialogElement>(null);
  const pathOf = (id: string) => `/api/orders/${order.id}/pieces/${id}`;
  const path = pathOf(piece.id);
  // What the order asks may change while this is open: the piece's own is what was changed here.
  const [all] = useState(order.wish);
  const [wish, setPhotoSettings] = useState(() => {
    // What was done to it before is in the order, or was left.
    forgetSteps(path);
    return photoSettingsOf(all, piece.own);
  });
  const history = useHistory(path, wish, setPhotoSettings);
  const [count, setCount] = useState(piece.count);
  const [text, setText] = useState(piece.text);
  const [group, setGroup] = useState<PieceGroupId | undefined>(first ?? last);
  const [drawer, setDrawer] = useState<'know' | 'bench'>();
  const [comparing, setComparing] = useState(false);
  useKey('c', () => setComparing(true));
  useKey('f', () => show());
  useEffect(() => {
    if (!comparing) return;
    dialog.current?.querySelector<HTMLElement>('.comparing .back')?.focus();
    // Escape leaves the comparison and not the piece, wherever the focus is.
    const leave = (event: KeyboardEvent) => {
      if (event.key !== 'Escape') return;
      event.preventDefault();
      setComparing(false);
    };
    addEventListener('keydown', leave, true);
    return () => removeEventListener('keydown', leave, true);
  }, [comparing]);
  useEffect(() => dialog.current?.showModal(), []);
  const [showClipped, setShowClipped] = useState(false);
  const drawn = useRef<HTMLDivElement>(null);
  const seen = usePreview(path, { wish, showClipped, piece: drawn });
  const { facts, error } = seen;
  const takes = useTakeStrip(path, history);
  const frame = frameOf(piece, wish, facts);
  const [problem, setProblem] = useProblem();
  const mask = useMask({
    path,
    wish,
    onPainted: (name) => history.change(withMask(wish, name, facts), 'apart'),
    onProblem: setProblem,
  });
  const painting = group === 'crop' && mask.isOn;
  const mending: Mending = {
    wish,
    facts,
    apart: true,
    onMend: (mend) => {
      if ('wish' in mend) return history.change(mend.wish, 'apart');
      setDrawer(undefined);
      setGroup(mend.open);
      if (mend.painting) mask.turnOn(true);
    },
  };
  const now: PieceChange = { own: ownSettingsOf(all, wish), count: Math.round(count), text };
  const save = () => onSave(now);
  const before = useRef<PieceChange>({ own: piece.own, count: piece.count, text: piece.text }).current;
  // A second window shows what is in the order: from then on each change goes there once the hand rests.
  const taken = useRef(false);
  const [isFollowed, setFollowed] = useState(false);
  const follows = isFollowed ? JSON.stringify(now) : '';
  const sent = useRef('');
  useEffect(() => {
    if (follows === '' || follows === sent.current) return;
    const timer = setTimeout(() => {
      sent.current = follows;
      save();
    }, FOLLOW_MS);
    return () => clearTimeout(timer);
  }, [follows]);
  const isChanged = history.undo !== undefined || count !== piece.count || text !== piece.text;
  /** To the piece beside it; what was done to this one is kept. */
  const walk = (to: (() => void) | undefined) => {
    if (!to) return;
    if (isChanged || isFollowed) save();
    to();
  };
  const show = () => walk(() => go(`/show/${order.id}/${piece.id}`));
  const toggle = (id: 'know' | 'bench') => setDrawer(drawer === id ? undefined : id);
  const groups = groupsOf({
    mask,
    wish,
    facts,
    showClipped,
    onChange: history.change,
    onClipped: setShowClipped,
    frame,
  });
  return (
    <dialog
      ref={dialog}
      class="piece-dialog"
      aria-labelledby="piece-dialog-title"
      onClose={() => {
        // Left as it was, whatever the second window has shown; but what the customer said yes to there stays.
        if (isFollowed && !taken.current && !piece.agreed?.holds) onSave(before);
        onClose();
      }}
      onKeyDown={(event) => {
        if (comparing || event.defaultPrevented || event.ctrlKey || event.metaKey || event.altKey) return;
        const isArrow = (event.key === 'ArrowLeft' || event.key === 'ArrowRight') && !takesArrows(event.target);
        if (!isArrow && event.key !== 'PageUp' && event.key !== 'PageDown') return;
        event.preventDefault();
        walk(event.key === 'ArrowLeft' || event.key === 'PageUp' ? onBefore : onAfter);
      }}
    >
      {comparing ? (
        <Comparison
          own={{ id: piece.id, name: piece.photo, path, photo: piece, wish }}
          others={order.pieces
            .filter(({ id }) => id !== piece.id)
            .map((other) => ({
              id: other.id,
              name: other.photo,
              path: pathOf(other.id),
              photo: other,
              wish: photoSettingsOf(all, other.own),
            }))}
          earlier={history.earlier}
          backTo="Back to the piece"
          onBack={() => setComparing(false)}
          onGo={(id) => walk(() => onGo(id))}
          onTake={(next) => {
            if (next) history.change(next, 'apart');
            setComparing(false);
          }}
        />
      ) : (
        <StageLayout<PieceGroupId>
          head={
            <>
              <h2 id="piece-dialog-title">{piece.photo}</h2>
              {piece.reason && <p class="warn-line">{words(piece.reason)}</p>}
              <div class="head-actions">
                <button
                  type="button"
                  class="button quiet square"
                  aria-label="The piece before"
                  title="Arrow left"
                  disabled={!onBefore}
                  onClick={() => walk(onBefore)}
                >
                  <Icon name="back" />
                </button>
                <button
                  type="button"
                  class="button quiet square onward"
                  aria-label="The next piece"
                  title="Arrow right"
                  disabled={!onAfter}
                  onClick={() => walk(onAfter)}
                >
                  <Icon name="back" />
                </button>
                <StepButtons history={history} takes={takes} class="in-head" />
                <Button
                  class="sign-first"
                  icon="beside"
                  aria-label="Compare"
                  title="C"
                  onClick={() => setComparing(true)}
                >
                  Compare
                </Button>
                <Button class="sign-first" icon="show" aria-label="Show the customer" title="F" onClick={show}>
                  Show
                </Button>
                <a
                  class="button quiet square second-window"
                  href={`#/show/${order.id}/${piece.id}`}
                  target="_blank"
                  rel="noopener opener"
                  aria-label="Show the customer in a second window"
                  title="In a second window"
                  onClick={() => {
                    sent.current = JSON.stringify(now);
                    if (isChanged) save();
                    setFollowed(true);
                  }}
                >
                  <Icon name="stack" />
                </a>
                <Button
                  class="sign-first"
                  icon="cross"
                  aria-label="Leave it as it was"
                  onClick={() => dialog.current?.close()}
                >
                  Leave it
                </Button>
                <Button
                  kind="main"
                  class="sign-first"
                  icon="check"
                  aria-label="Take this"
                  onClick={() => {
                    taken.current = true;
                    save();
                    dialog.current?.close();
                  }}
                >
                  Take this
                </Button>
              </div>
            </>
          }
          history={history}
          takes={takes}
          groups={[
            ...groups,
            {
              id: 'copies',
              label: 'Copies',
              icon: 'stack',
              body: () => (
                <>
                  <NumberField label="Copies" unit="" value={count} min={1} max={100000} step={1} onChange={setCount} />
                  <div class="field">
                    <label class="label" for="piece-text">
                      For the ticket
                    </label>
                    <input
                      id="piece-text"
                      type="text"
                      maxLength={500}
                      value={text}
                      placeholder="collected on Friday"
                      onInput={({ currentTarget }) => setText(currentTarget.value)}
                    />
                  </div>
                </>
              ),
            },
          ]}
          open={group}
          onOpen={(next) => {
            last = next;
            setGroup(next);
          }}
          drawer={
            drawer === 'know' ? (
              <Drawer title="Before you burn" onClose={() => setDrawer(undefined)}>
                <ThingsToKnow seen={seen} mending={mending} />
              </Drawer>
            ) : drawer === 'bench' ? (
              <Drawer title="For the bench" onClose={() => setDrawer(undefined)}>
                <BenchFacts seen={seen} />
              </Drawer>
            ) : undefined
          }
          foot={
            <FactLine seen={seen} mending={mending} onKnow={() => toggle('know')} onBench={() => toggle('bench')} />
          }
        >
          {frame ? (
            <Table
              frame={frame}
              photo={{
                width: piece.width,
                height: piece.height,
                turnDeg: turnOf(wish, facts),
                source: `${path}/photo`,
                name: piece.photo,
              }}
              seen={seen}
              thing={thingOf(wish, facts, shop)}
              piece={drawn}
              closer={facts && { path, look: facts.look, dots: facts.dots }}
              cropping={group === 'crop' && !painting}
              mask={painting ? mask : undefined}
              zoom={zoomOf(wish, facts)}
              onCrop={(next) => history.change(withCrop(wish, next))}
              onTurn={(turnDeg) => history.change({ ...wish, turnDeg })}
            >
              {error !== undefined && !isOffline(error) && (
                <div class="stage-problems floats">
                  <Problem error={error} onAgain={seen.again} />
                </div>
              )}
              {problem !== undefined && (
                <div class="stage-problems floats">
                  <Problem error={problem} onClose={() => setProblem(undefined)} />
                </div>
              )}
            </Table>
          ) : (
            <section class="stage" aria-label="Photo and proof" />
          )}
        </StageLayout>
      )}
    </dialog>
  );
}
