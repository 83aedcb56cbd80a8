import { useEffect, useRef, useState } from 'preact/hooks';
import type { OrderPiece, OrderView, PieceWish } from '../../protocol.ts';
import { Button, NumberField, Segments } from '../parts/parts.tsx';
import { CropPane } from '../stage/crop.tsx';
import { frameOf } from '../stage/frame.ts';

export interface PieceChange {
  readonly count: number;
  readonly text: string;
  readonly own: PieceWish;
}

/** One piece of an order: its crop, its number of copies, a word for the ticket. */
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
  const dialog = useRef<HTMLDialogElement>(null);
  const [own, setOwn] = useState(piece.own);
  const [count, setCount] = useState(piece.count);
  const [text, setText] = useState(piece.text);
  useEffect(() => dialog.current?.showModal(), []);
  const size = {
    widthMm: own.widthMm ?? order.wish.widthMm,
    heightMm: own.heightMm ?? order.wish.heightMm,
  };
  const wish = {
    ...order.wish,
    ...own,
    widthMm: own.turned ? size.heightMm : size.widthMm,
    heightMm: own.turned ? size.widthMm : size.heightMm,
  };
  const frame = frameOf(piece, wish, own.focus);
  const { fit } = wish;
  const isCut = frame !== undefined && (frame.crop.width < piece.width - 1 || frame.crop.height < piece.height - 1);
  return (
    <dialog ref={dialog} class="piece-dialog" aria-labelledby="piece-dialog-title" onClose={onClose}>
      <h2 id="piece-dialog-title">{piece.photo}</h2>
      {piece.reason && <p class="warn-line">{piece.reason}</p>}
      {frame && (
        <div class="panes">
          <CropPane
            photo={piece}
            source={`/api/orders/${order.id}/pieces/${piece.id}/photo`}
            name={piece.photo}
            frame={frame}
            fit={fit}
            onFocus={(focus) => setOwn({ ...own, focus })}
          />
        </div>
      )}
      {!own.focus && isCut && (
        <p class="note">Until you move the outline, the crop follows what draws the eye in the photo.</p>
      )}
      <div class="dialog-row">
        <Segments
          label="Photo on the piece"
          value={fit}
          choices={[
            { value: 'cover', label: 'Fills it' },
            { value: 'contain', label: 'Shown whole' },
          ]}
          onChange={(next) => setOwn({ ...own, fit: next })}
        />
        <Button icon="turn" onClick={() => setOwn({ ...own, turned: !own.turned })}>
          Turn the piece
        </Button>
        <NumberField label="Copies" unit="" value={count} min={1} max={100000} step={1} onChange={setCount} />
      </div>
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
      <div class="actions">
        <Button kind="main" icon="check" onClick={() => onSave({ own, count: Math.round(count), text })}>
          Take this
        </Button>
        <Button onClick={() => dialog.current?.close()}>Leave it as it was</Button>
      </div>
    </dialog>
  );
}
