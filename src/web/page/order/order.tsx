import { useEffect, useRef, useState } from 'preact/hooks';
import { ownSettingsOf, photoSettingsOf } from '../../piece-settings.ts';
import type { OrderPiece, OrderTotals, OrderView, PhotoSettings } from '../../protocol.ts';
import { agree, copyPiece, layPlates, makeOnlyAgreed, removePiece, runOrder, stopOrder, takeYesBack } from '../api.ts';
import { sayDuration, saySize } from '../measure.ts';
import { NoticeLines } from '../notices/notices.tsx';
import { DropPlace } from '../parts/drop-place.tsx';
import { Busy, Button, Icon, NumberField, Problem, Segments, useProblem } from '../parts/parts.tsx';
import { PrintSheet } from '../parts/print-sheet.tsx';
import { FitChoice, MaterialChoice, PieceChoice } from '../photo/choices.tsx';
import { useShop, useWords } from '../shop-context.ts';
import { flush as flushChange, sendLater } from '../unsaved.ts';
import { usePhotoSettings } from '../use-photo-settings.ts';
import { Ahead } from './ahead.tsx';
import { type Applied, applyToAll } from './apply-to-all.ts';
import { fillOrder, type LeftOut, pendingFiles } from './orders.tsx';
import { type CardActions, OF_THE_ORDER, PieceCard } from './piece-card.tsx';
import { PieceDialog, type PieceGroupId } from './piece-dialog.tsx';
import { PlateDrawing } from './plate-drawing.tsx';
import { type CardLook, useCardLooks } from './use-card-looks.ts';

/** One order: its photos as cards that fill in, its plates, its sums. */
export function OrderScreen({ id }: { readonly id: string }) {
  const { orders } = useShop();
  const order = orders.get(id);
  if (!order) {
    return (
      <>
        <BackToOrders />
        <h1>No such order</h1>
        <p class="empty">This order is not in the shop any more.</p>
      </>
    );
  }
  return <OrderWork order={order} />;
}

function BackToOrders() {
  return (
    <a class="back" href="#/order">
      <Icon name="back" />
      All orders
    </a>
  );
}

function OrderWork({ order }: { readonly order: OrderView }) {
  const { keepSettings } = useShop();
  const words = useWords();
  const [error, setError] = useProblem();
  const [left, setLeft] = useState<readonly LeftOut[]>([]);
  const [filling, setFilling] = useState<{ readonly done: number; readonly total: number }>();
  const [open, setOpen] = useState<{ readonly id: string; readonly first?: PieceGroupId }>();
  /** How it was before the wishes of one piece became those of all. */
  const [before, setBefore] = useState<Applied>();
  const attempt = async (work: () => Promise<unknown>) => {
    setError(undefined);
    try {
      await work();
    } catch (problem) {
      setError(problem);
    }
  };
  const fill = async (files: readonly File[]) => {
    setLeft([]);
    const refused = await fillOrder(order.id, files, (done, total) => setFilling({ done, total }));
    setFilling(undefined);
    setLeft(refused);
  };
  const taken = useRef(false);
  useEffect(() => {
    const files = pendingFiles.get(order.id);
    if (!files || taken.current) return;
    taken.current = true;
    pendingFiles.delete(order.id);
    void fill(files);
  });
  const path = `/api/orders/${order.id}`;
  const { wish, change, flush } = usePhotoSettings(path, order.wish, {
    onRefused: setError,
    onSend: (sent) => keepSettings(sent as PhotoSettings),
  });
  const choose = (next: PhotoSettings) => {
    setError(undefined);
    change(next);
  };
  const piecePath = (piece: OrderPiece) => `${path}/pieces/${piece.id}`;
  const changePiece = async (piece: OrderPiece, asked: object) => {
    setError(undefined);
    sendLater(piecePath(piece), asked, { onRefused: setError });
    await flushChange(piecePath(piece));
  };
  const make = async () => {
    // What is not saved would be made as it was asked for before.
    const saved = await Promise.all([flush(), ...order.pieces.map((piece) => flushChange(piecePath(piece)))]);
    if (saved.every(Boolean)) await attempt(() => runOrder(order.id));
  };
  const { pieces, running, totals } = order;
  const wanted = pieces.filter(({ excluded, awaitsYes }) => !excluded && !awaitsYes);
  const agreed = pieces.filter((piece) => !piece.excluded && piece.agreed?.holds).length;
  const made = wanted.filter(({ status }) => status === 'done').length;
  const failed = wanted.filter(({ status }) => status === 'failed').length;
  const chosen = pieces.find((piece) => piece.id === open?.id);
  const walked = pieces.filter(({ missing }) => !missing);
  const at = walked.findIndex((piece) => piece.id === open?.id);
  const beside = (way: 1 | -1) => {
    const piece = at < 0 ? undefined : walked[at + way];
    return piece && (() => setOpen({ id: piece.id }));
  };
  const lookOf = useCardLooks(order, wish, running || chosen !== undefined);
  const apply = ({ wish: next, own }: Applied) => {
    choose(next);
    for (const piece of pieces) {
      const changed = own.get(piece.id);
      if (changed) void changePiece(piece, { own: changed });
    }
  };
  const actionsOf = (piece: OrderPiece): CardActions => ({
    open: () => setOpen({ id: piece.id }),
    change: (asked) => void changePiece(piece, asked),
    mend: (mend) => {
      if (!('wish' in mend)) return setOpen({ id: piece.id, first: mend.open });
      void changePiece(piece, { own: ownSettingsOf(wish, mend.wish) });
    },
    copy: () =>
      attempt(async () => {
        const known = new Set(pieces.map(({ id }) => id));
        const { pieces: now } = await copyPiece(order.id, piece.id);
        const copy = now.find(({ id }) => !known.has(id));
        if (copy) setOpen({ id: copy.id, first: 'piece' });
      }),
    remove:
      pieces.filter(({ photo }) => photo === piece.photo).length > 1
        ? () => attempt(() => removePiece(order.id, piece.id))
        : undefined,
    applyToAll: () => {
      const applied = applyToAll({ wish, pieces }, piece);
      setBefore({ wish, own: new Map(pieces.filter(({ id }) => applied.own.has(id)).map(({ id, own }) => [id, own])) });
      apply(applied);
    },
    again: make,
    agree: (yes) => {
      void attempt(async () => {
        // The yes is to what the card shows.
        if (!(await flush()) || !(await flushChange(piecePath(piece)))) return;
        await (yes ? agree(piecePath(piece), photoSettingsOf(wish, piece.own)) : takeYesBack(piecePath(piece)));
      });
    },
  });
  return (
    <div class="work">
      <div class="work-head">
        <BackToOrders />
        <h1>{order.title}</h1>
        <p class="soft">{pieces.length === 1 ? '1 photo' : `${pieces.length} photos`}</p>
      </div>
      {error !== undefined && <Problem error={error} onClose={() => setError(undefined)} />}
      {order.problem && <Problem error={new Error(order.problem)} onAgain={make} />}
      {left.map(({ file, error: why }) => (
        <Problem
          key={file}
          error={why instanceof Error ? Object.assign(why, { message: withFile(file, why.message) }) : why}
          onClose={() => setLeft(left.filter((one) => one.file !== file))}
        />
      ))}
      <div class="order-grid">
        <div class="order-main">
          <div class="order-bar">
            {running ? (
              <>
                <progress max={wanted.length} value={made + failed} aria-label="Pieces made" />
                <p role="status">
                  {made + failed} of {wanted.length} pieces
                </p>
                <Button icon="cross" onClick={() => attempt(() => stopOrder(order.id))}>
                  Stop
                </Button>
              </>
            ) : (
              <Button
                kind="main"
                icon="check"
                disabled={wanted.length === 0 || filling !== undefined || totals !== null}
                onClick={make}
              >
                {totals ? 'All pieces are made' : made > 0 ? 'Make what is missing' : 'Make all pieces'}
              </Button>
            )}
            {!running && pieces.length > 0 && (
              <label class="toggle">
                <input
                  type="checkbox"
                  checked={order.onlyAgreed}
                  onChange={({ currentTarget }) => attempt(() => makeOnlyAgreed(order.id, currentTarget.checked))}
                />
                <span>
                  Only what is agreed ({agreed} of {pieces.filter(({ excluded }) => !excluded).length})
                </span>
              </label>
            )}
            {filling && (
              <Busy>
                {filling.done} of {filling.total} files received
              </Busy>
            )}
          </div>
          {before && (
            <p class="applied" role="status">
              All pieces follow this one now.
              <Button
                icon="undo"
                onClick={() => {
                  apply(before);
                  setBefore(undefined);
                }}
              >
                Undo
              </Button>
            </p>
          )}
          <OfTheOrder
            order={order}
            wish={wish}
            lookOf={lookOf}
            onWish={choose}
            onOpen={(first) => walked[0] && setOpen({ id: walked[0].id, first })}
          />
          <ul class="cards" aria-label="Pieces">
            {pieces.map((piece) => (
              <PieceCard
                key={piece.id}
                order={order}
                wish={wish}
                piece={piece}
                look={lookOf(piece)}
                actions={actionsOf(piece)}
              />
            ))}
          </ul>
          {!filling && (
            <DropPlace
              many
              small={pieces.length > 0}
              label={pieces.length > 0 ? 'Add photos or a list' : 'Choose photos'}
              what="photos and a list"
              accept=".jpg,.jpeg,.jfif,.png,.tif,.tiff,.webp,.avif,.heic,.heif,.hif,.csv,image/*"
              onFiles={fill}
            />
          )}
        </div>
        <div class="choices">
          <section aria-labelledby="all-title">
            <h2 id="all-title">For all pieces</h2>
            <PieceChoice wish={wish} onChange={choose} />
            <FitChoice fit={wish.fit} onChange={(fit) => choose({ ...wish, fit })} />
          </section>
          <section aria-labelledby="burn-title">
            <h2 id="burn-title">Machine and material</h2>
            <MaterialChoice wish={wish} onChange={choose} />
            <Segments
              label="Tone"
              value={wish.tone}
              choices={[
                { value: 'auto', label: 'Suit each photo' },
                { value: 'plain', label: 'As they are' },
              ]}
              onChange={(tone) => choose({ ...wish, tone })}
            />
          </section>
        </div>
        <div class="facts">
          {totals ? <Totals order={order} totals={totals} /> : <Ahead order={order} lookOf={lookOf} />}
          {totals && <Plates order={order} attempt={attempt} />}
        </div>
      </div>
      {order.plates.length > 0 && (
        <section class="plates" aria-labelledby="plates-title">
          <h2 id="plates-title">Plates</h2>
          {order.plateNotes.map((text) => (
            <p key={text} class="note">
              {words(text)}
            </p>
          ))}
          <ul>
            {order.plates.map((plate) => (
              <li key={plate.name}>
                <PlateDrawing plate={plate} order={order} />
              </li>
            ))}
          </ul>
        </section>
      )}
      {chosen && (
        <PieceDialog
          key={chosen.id}
          order={{ ...order, wish }}
          piece={chosen}
          {...(open?.first ? { first: open.first } : {})}
          onBefore={beside(-1)}
          onAfter={beside(1)}
          onGo={(id) => setOpen({ id })}
          onClose={() => setOpen((now) => (now?.id === chosen.id ? undefined : now))}
          onSave={(change) => void changePiece(chosen, change)}
        />
      )}
    </div>
  );
}

const withFile = (file: string, message: string) => (message.includes(file) ? message : `${file}: ${message}`);

/** What there is to know of the machine and material that all pieces share, once. */
function OfTheOrder({
  order,
  wish,
  lookOf,
  onWish,
  onOpen,
}: {
  readonly order: OrderView;
  readonly wish: PhotoSettings;
  readonly lookOf: (piece: OrderPiece) => CardLook | undefined;
  readonly onWish: (wish: PhotoSettings) => void;
  /** Where a piece has the controls that the order has not. */
  readonly onOpen: (first: PieceGroupId) => void;
}) {
  const found = order.pieces.flatMap((piece) => lookOf(piece)?.facts?.notices ?? []);
  const shared = found.filter(
    ({ code, text }, at) => OF_THE_ORDER.includes(code) && found.findIndex((one) => one.text === text) === at,
  );
  if (shared.length === 0) return null;
  return (
    <NoticeLines
      notices={shared}
      mending={{
        wish,
        onMend: (mend) => {
          if ('wish' in mend) onWish(mend.wish);
          else onOpen(mend.open);
        },
      }}
    />
  );
}

function Totals({ order, totals }: { readonly order: OrderView; readonly totals: OrderTotals }) {
  const { id } = order;
  const file = (name: string) => `/api/orders/${id}/files/${name}`;
  return (
    <section aria-labelledby="sums-title">
      <h2 id="sums-title">Sums</h2>
      <dl class="key-facts">
        <div>
          <dt>On the machine</dt>
          <dd>{sayDuration(totals.seconds)}</dd>
        </div>
        {totals.price && (
          <div>
            <dt>Price</dt>
            <dd>{totals.price}</dd>
          </div>
        )}
      </dl>
      <p>
        {totals.pieces} pieces, {totals.copies} to burn{totals.failed > 0 ? `, ${totals.failed} not made` : ''}
      </p>
      <ul class="files">
        <li>
          <a href={`/api/orders/${id}/all.zip`} download="order.zip">
            <Icon name="down" />
            <span>
              Everything<small>order.zip</small>
            </span>
          </a>
        </li>
        <li>
          <a href={file('order.customer.html')} download="order.customer.html">
            <Icon name="down" />
            <span>
              Sheet for the customer<small>order.customer.html</small>
            </span>
          </a>
        </li>
        <li>
          <a href={file('order.csv')} download="order.csv">
            <Icon name="down" />
            <span>
              Sums as a table<small>order.csv</small>
            </span>
          </a>
        </li>
      </ul>
      <PrintSheet address={`${file('order.html')}?view`} label="Print the contact sheet" title="Contact sheet" />
      <PrintSheet
        address={`${file('order.customer.html')}?view`}
        label="Print the customer’s sheet"
        title="Customer’s sheet"
      />
    </section>
  );
}

function Plates({
  order,
  attempt,
}: {
  readonly order: OrderView;
  readonly attempt: (work: () => Promise<unknown>) => Promise<void>;
}) {
  const { unit } = useShop();
  const { widthMm, heightMm } = order.wish;
  const [way, setWay] = useState<'packed' | 'grid'>('packed');
  const [size, setSize] = useState({ columns: 2, rows: 2 });
  const [busy, setBusy] = useState(false);
  const lay = async () => {
    setBusy(true);
    await attempt(() => layPlates(order.id, way === 'grid' ? { ...size, widthMm, heightMm } : undefined));
    setBusy(false);
  };
  return (
    <section aria-labelledby="lay-title">
      <h2 id="lay-title">Lay them on plates</h2>
      <Segments
        label="Pockets"
        value={way}
        choices={[
          { value: 'packed', label: 'Packed' },
          { value: 'grid', label: 'In rows' },
        ]}
        onChange={setWay}
      />
      {way === 'grid' && (
        <>
          <div class="row">
            <NumberField
              label="Across"
              unit=""
              value={size.columns}
              min={1}
              max={100}
              step={1}
              onChange={(columns) => setSize({ ...size, columns: Math.round(columns) })}
            />
            <NumberField
              label="Down"
              unit=""
              value={size.rows}
              min={1}
              max={100}
              step={1}
              onChange={(rows) => setSize({ ...size, rows: Math.round(rows) })}
            />
          </div>
          <p class="note">Pockets of {saySize(widthMm, heightMm, unit)}, as the pieces are.</p>
        </>
      )}
      {busy ? (
        <Busy>Laying them out</Busy>
      ) : (
        <Button icon="stack" onClick={lay}>
          {order.plates.length > 0 ? 'Lay them out again' : 'Lay them out'}
        </Button>
      )}
      {order.plates.length > 0 && (
        <PrintSheet
          address={`/api/orders/${order.id}/plates/plates.html?view`}
          label="Print the plates"
          title="Plates"
        />
      )}
    </section>
  );
}
