import { useEffect, useState } from 'preact/hooks';
import type { OrderAhead, OrderPiece, OrderView } from '../../protocol.ts';
import { quoteOrder } from '../api.ts';
import { sayDuration } from '../measure.ts';
import type { CardLook } from './use-card-looks.ts';

/** A sum is asked for once so long nothing has been added, ms. Assumed: cards that fill in come one by one. */
const REST_MS = 300;

/** Seconds of every piece whose time is known: made, or looked at. */
function listSeconds(
  pieces: readonly OrderPiece[],
  lookOf: (piece: OrderPiece) => CardLook | undefined,
): Readonly<Record<string, number>> {
  const known = pieces.flatMap((piece) => {
    const seconds = piece.status === 'done' ? piece.seconds : lookOf(piece)?.facts?.seconds;
    return seconds === undefined || seconds === null ? [] : [[piece.id, seconds] as const];
  });
  return Object.fromEntries(known);
}

/** Hours and price of an order before it is made, as its pieces become known. */
export function Ahead({
  order,
  lookOf,
}: {
  readonly order: OrderView;
  readonly lookOf: (piece: OrderPiece) => CardLook | undefined;
}) {
  const [ahead, setAhead] = useState<OrderAhead>();
  const wanted = order.pieces.filter(({ excluded, awaitsYes, missing }) => !excluded && !awaitsYes && !missing);
  const seconds = listSeconds(wanted, lookOf);
  const key = JSON.stringify([seconds, wanted.map(({ id, count }) => [id, count])]);
  useEffect(() => {
    if (Object.keys(seconds).length === 0) return setAhead(undefined);
    const timer = setTimeout(() => quoteOrder(order.id, seconds).then(setAhead, () => undefined), REST_MS);
    return () => clearTimeout(timer);
  }, [order.id, key]);
  const copies = wanted.reduce((sum, { count }) => sum + count, 0);
  const isAll = ahead !== undefined && ahead.counted.length >= wanted.length;
  return (
    <section aria-labelledby="sums-title" aria-busy={!isAll && wanted.length > 0}>
      <h2 id="sums-title">Sums</h2>
      {ahead && (
        <dl class="key-facts">
          <div>
            <dt>On the machine</dt>
            <dd>{sayDuration(ahead.seconds)}</dd>
          </div>
          {ahead.price && (
            <div>
              <dt>Price</dt>
              <dd>{ahead.price}</dd>
            </div>
          )}
        </dl>
      )}
      <p class="note" role="status">
        {wanted.length === 0
          ? 'Time and price come with the photos.'
          : isAll
            ? `As foreseen, ${copies === 1 ? '1 piece' : `${copies} pieces`} to burn. The files come when they are made.`
            : `${ahead?.counted.length ?? 0} of ${wanted.length} looked at so far.`}
      </p>
    </section>
  );
}
