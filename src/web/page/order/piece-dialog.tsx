import { useEffect, useRef, useState } from 'preact/hooks';
import { wishOf } from '../../piece-wish.ts';
import type { OrderPiece, OrderView, PieceWish } from '../../protocol.ts';
import { Button, isOffline, NumberField, Problem, useProblem } from '../parts/parts.tsx';
import { BenchFacts } from '../photo/facts.tsx';
import { PaintChoice } from '../photo/paint.tsx';
import { useShop } from '../shop-context.ts';
import { FactLine } from '../stage/fact-line.tsx';
import { frameOf, turnOf } from '../stage/frame.ts';
import { CropChoice, type CropWish, withCrop } from '../stage/groups.tsx';
import { Drawer, StageLayout } from '../stage/layout.tsx';
import { Table } from '../stage/table.tsx';
import { thingOf } from '../stage/thing.ts';
import { useLook } from '../stage/use-look.ts';
import { useMask, withMask } from '../stage/use-mask.ts';

export interface PieceChange {
  readonly count: number;
  readonly text: string;
  readonly own: PieceWish;
}

type GroupId = 'crop' | 'copies';

/** One piece of an order on the stage: its crop, its number of copies, a word for the ticket. */
export function PieceDialog({
  order,
  piece,
  onSave,
  onClose,
}: {
  readonly order: OrderView;
  readonly piece: OrderPiece;
  readonly onSave: (change: PieceChange) => void;
  readonly onClose: () => void;
}) {
  const { shop } = useShop();
  const dialog = useRef<HTMLDialogElement>(null);
  const [own, setOwn] = useState(piece.own);
  const [count, setCount] = useState(piece.count);
  const [text, setText] = useState(piece.text);
  const [group, setGroup] = useState<GroupId | undefined>('crop');
  const [bench, setBench] = useState(false);
  useEffect(() => dialog.current?.showModal(), []);
  const path = `/api/orders/${order.id}/pieces/${piece.id}`;
  const wish = wishOf(order.wish, own);
  const drawn = useRef<HTMLDivElement>(null);
  const seen = useLook(path, { wish, showClipped: false, piece: drawn });
  const { facts, error } = seen;
  const frame = frameOf(piece, wish, facts);
  const [problem, setProblem] = useProblem();
  const mask = useMask({
    path,
    wish,
    onPainted: (name) => crop(withMask(wish, name, facts)),
    onProblem: setProblem,
  });
  const painting = group === 'crop' && mask.isOn;
  const crop = (next: CropWish) => setOwn(ownCrop(own, order.wish, next));
  return (
    <dialog ref={dialog} class="piece-dialog" aria-labelledby="piece-dialog-title" onClose={onClose}>
      <StageLayout<GroupId>
        head={
          <>
            <h2 id="piece-dialog-title">{piece.photo}</h2>
            {piece.reason && <p class="warn-line">{piece.reason}</p>}
            <div class="head-actions">
              <Button aria-label="Leave it as it was" onClick={() => dialog.current?.close()}>
                Leave it
              </Button>
              <Button kind="main" icon="check" onClick={() => onSave({ own, count: Math.round(count), text })}>
                Take this
              </Button>
            </div>
          </>
        }
        groups={[
          {
            id: 'crop',
            label: 'Crop',
            icon: 'crop',
            body: () =>
              mask.isOn ? (
                <PaintChoice wish={wish} frame={frame} mask={mask} onChange={crop} />
              ) : (
                <>
                  <CropChoice wish={wish} facts={facts} frame={frame} mask={mask} onChange={crop} />
                  <Button icon="turn" onClick={() => setOwn({ ...own, turned: !own.turned })}>
                    Turn the piece
                  </Button>
                </>
              ),
          },
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
        onOpen={setGroup}
        drawer={
          bench && (
            <Drawer title="For the bench" onClose={() => setBench(false)}>
              <BenchFacts seen={seen} />
            </Drawer>
          )
        }
        foot={<FactLine seen={seen} onBench={() => setBench(!bench)} />}
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
            zoom={wish.zoom ?? 1}
            onCrop={(next) => crop(withCrop(wish, next))}
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
    </dialog>
  );
}

/** What a piece wants of its crop that the order does not. */
function ownCrop(own: PieceWish, all: CropWish, next: CropWish): PieceWish {
  const { fit: _fit, focus: _focus, zoom: _zoom, turnDeg: _turnDeg, subject: _subject, ...rest } = own;
  const names = ['fit', 'focus', 'zoom', 'turnDeg', 'subject'] as const;
  const differ = names.filter((name) => next[name] !== undefined && next[name] !== all[name]);
  return { ...rest, ...Object.fromEntries(differ.map((name) => [name, next[name]])) };
}
