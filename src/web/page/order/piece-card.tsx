import { useId } from 'preact/hooks';
import { photoSettingsOf } from '../../piece-settings.ts';
import type { OrderPiece, OrderView, PhotoSettings, PieceSettings } from '../../protocol.ts';
import { sayDuration, saySize } from '../measure.ts';
import type { Mend } from '../notices/mends.ts';
import { MendButton } from '../notices/notices.tsx';
import { sayAgreed } from '../parts/agreed.tsx';
import { Button, capitalise, Icon, NumberField, WordsInput } from '../parts/parts.tsx';
import { without } from '../photo/without.ts';
import { useShop, useWords } from '../shop-context.ts';
import { frameOf, turnOf } from '../stage/frame.ts';
import { PhotoOnPiece, radiusOf } from '../stage/piece.tsx';
import { hasForAll } from './apply-to-all.ts';
import type { CardLook } from './use-card-looks.ts';

const STATES: Readonly<Record<OrderPiece['status'], string>> = {
  waiting: '',
  making: 'being made',
  done: 'ready',
  changed: 'changed, make it again',
  failed: 'not made',
};

/** What a card asks of the order. */
export interface CardActions {
  /** Opens the piece on the stage. */
  readonly open: () => void;
  readonly change: (asked: {
    readonly excluded?: boolean;
    readonly count?: number;
    readonly own?: PieceSettings;
  }) => void;
  readonly mend: (mend: Exclude<Mend, { readonly go: string }>) => void;
  /** The photo once more, in another size. */
  readonly copy: () => void;
  /** Undefined for the only piece of its photo. */
  readonly remove: (() => void) | undefined;
  readonly applyToAll: () => void;
  readonly again: () => void;
  /** The customer likes it as it is now, or not yet. */
  readonly agree: (yes: boolean) => void;
}

/** One piece: as it will look, what it is, what there is to know of it. */
export function PieceCard({
  order,
  wish: all,
  piece,
  look,
  actions,
}: {
  readonly order: OrderView;
  /** What the order asks of every piece. */
  readonly wish: PhotoSettings;
  readonly piece: OrderPiece;
  readonly look: CardLook | undefined;
  readonly actions: CardActions;
}) {
  const { unit } = useShop();
  const { status, excluded, photo, count, missing, agreed, awaitsYes } = piece;
  const wish = photoSettingsOf(all, piece.own);
  const seconds = status === 'done' ? piece.seconds : look?.facts?.seconds;
  const facts = [
    saySize(wish.widthMm, wish.heightMm, unit),
    ...(count > 1 ? [`${count} copies`] : []),
    ...(excluded ? ['left out'] : awaitsYes ? ['waits for a yes'] : STATES[status] === '' ? [] : [STATES[status]]),
    ...(agreed && !agreed.holds ? ['changed since agreed'] : []),
    ...(seconds === undefined || seconds === null || excluded ? [] : [sayDuration(seconds)]),
  ];
  return (
    <li class={`piece-card is-${status} ${excluded ? 'excluded' : ''}`}>
      {missing ? (
        <div class="piece-picture" />
      ) : (
        <button type="button" class="piece-picture" onClick={actions.open} aria-label={`${photo}: see and change`}>
          <CardPicture order={order} piece={piece} wish={wish} look={look} />
        </button>
      )}
      <div class="piece-text">
        <b>{photo}</b>
        <span class="soft">{facts.join(' · ')}</span>
        {!excluded && <Faults piece={piece} wish={wish} look={look} actions={actions} running={order.running} />}
      </div>
      {!missing && <Fields piece={piece} all={all} actions={actions} />}
      <div class="actions">
        <label class="toggle">
          <input
            type="checkbox"
            checked={!excluded}
            disabled={order.running}
            aria-label={`Make ${photo}`}
            onChange={({ currentTarget }) => actions.change({ excluded: !currentTarget.checked })}
          />
          <span>Make it</span>
        </label>
        {!missing && (
          <label class="toggle">
            <input
              type="checkbox"
              checked={agreed?.holds ?? false}
              aria-label={`The customer has agreed to ${photo}`}
              title={agreed ? sayAgreed(agreed) : undefined}
              onChange={({ currentTarget }) => actions.agree(currentTarget.checked)}
            />
            <span>Agreed</span>
          </label>
        )}
        {!missing && (
          <Button kind="quiet" aria-label={`One more size of ${photo}`} onClick={actions.copy}>
            One more size
          </Button>
        )}
        {hasForAll(piece) && order.pieces.length > 1 && (
          <Button kind="quiet" aria-label={`Apply to all what ${photo} wants`} onClick={actions.applyToAll}>
            Apply to all
          </Button>
        )}
        {actions.remove && !order.running && (
          <button
            type="button"
            class="button quiet square"
            aria-label={`Take this piece of ${photo} away`}
            onClick={actions.remove}
          >
            <Icon name="bin" />
          </button>
        )}
      </div>
    </li>
  );
}

/** The proof once it is made, before that its draft, and at once the photo as it is cropped. */
function CardPicture({
  order,
  piece,
  wish,
  look,
}: {
  readonly order: OrderView;
  readonly piece: OrderPiece;
  readonly wish: PhotoSettings;
  readonly look: CardLook | undefined;
}) {
  const path = `/api/orders/${order.id}`;
  if (piece.status === 'done') {
    const file = encodeURIComponent(`${piece.name}.proof.png`);
    return <img src={`${path}/files/${file}?view&of=${order.changed}`} alt="" loading="lazy" />;
  }
  const frame = frameOf(piece, wish, look?.facts);
  const ratio = wish.widthMm / wish.heightMm;
  const photo = `${path}/pieces/${piece.id}/photo`;
  if (!frame) return <img src={photo} alt="" loading="lazy" />;
  const { width, height } = piece;
  return (
    <span class="card-piece" style={{ '--ratio': ratio, borderRadius: radiusOf(frame) }}>
      {look?.picture ? (
        <img class="seen" src={look.picture} alt="" />
      ) : (
        <PhotoOnPiece frame={frame} photo={{ width, height, source: photo, turnDeg: turnOf(wish, look?.facts) }} />
      )}
    </span>
  );
}

/** What is wrong with a piece, or what there is to know of it, and what to do. */
function Faults({
  piece,
  wish,
  look,
  actions,
  running,
}: {
  readonly piece: OrderPiece;
  readonly wish: PhotoSettings;
  readonly look: CardLook | undefined;
  readonly actions: CardActions;
  readonly running: boolean;
}) {
  const words = useWords();
  const { reason, hint, status, missing } = piece;
  if (reason) {
    return (
      <div class="card-fault">
        <p class="warn-line">
          <Icon name="warn" />
          <span>
            {capitalise(words(reason))}
            {hint && <small>{words(hint)}</small>}
          </span>
        </p>
        {status === 'failed' && !missing && !running && (
          <div class="actions">
            <Button onClick={actions.open}>See and change</Button>
            <Button onClick={actions.again}>Try again</Button>
          </div>
        )}
      </div>
    );
  }
  if (look?.error !== undefined) {
    const message = look.error instanceof Error ? look.error.message : String(look.error);
    return (
      <div class="card-fault">
        <p class="warn-line">
          <Icon name="warn" />
          {capitalise(words(message))}
        </p>
        <Button onClick={actions.open}>See and change</Button>
      </div>
    );
  }
  const [first, ...more] = look?.facts?.notices.filter(({ code }) => !OF_THE_ORDER.includes(code)) ?? [];
  if (!first) return null;
  return (
    <div class="card-fault">
      <p class="soft">
        {words(first.line)}
        {more.length > 0 && ` And ${more.length} more.`}
      </p>
      <MendButton notice={first} mending={{ wish, facts: look?.facts, onMend: actions.mend, apart: true }} />
    </div>
  );
}

/** What is said once for the whole order, since its machine and material are. */
export const OF_THE_ORDER: readonly string[] = [
  'tone-guessed',
  'profile-assumed',
  'profile-simulated',
  'material-unrecorded',
  'profile-of-another',
  'job-differs',
  'dose-strong',
  'dose-faint',
  'setting-beyond',
  'optics-doubt',
  'solid-uneven',
];

/** Words on the piece, and how many of it. */
function Fields({
  piece,
  all,
  actions,
}: {
  readonly piece: OrderPiece;
  readonly all: PhotoSettings;
  readonly actions: CardActions;
}) {
  const id = useId();
  const { own, photo, count } = piece;
  const caption = own.caption ?? all.caption;
  const write = (text: string) => {
    if (text === (caption?.text ?? '')) return;
    actions.change({ own: text === '' ? without(own, 'caption') : { ...own, caption: { ...caption, text } } });
  };
  return (
    <div class="card-fields">
      <label class="unseen" for={id}>
        Words on {photo}
      </label>
      <WordsInput
        id={id}
        maxLength={200}
        placeholder="Words on it"
        value={caption?.text ?? ''}
        onChange={(words) => write(words.trim())}
      />
      <NumberField
        label={`Copies of ${photo}`}
        unit="×"
        value={count}
        min={1}
        max={100000}
        step={1}
        onChange={(next) => actions.change({ count: Math.round(next) })}
      />
    </div>
  );
}
