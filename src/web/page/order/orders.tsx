import { useState } from 'preact/hooks';
import type { OrderView } from '../../protocol.ts';
import { createOrder, removeOrder, sendList, sendOrderPhoto } from '../api.ts';
import { sayDuration } from '../measure.ts';
import { DropPlace } from '../parts/drop-place.tsx';
import { Button, Icon, Problem } from '../parts/parts.tsx';
import { useShop } from '../shop-context.ts';

/** Photos that are on their way at once, a count. Assumed: fills the way to the server and keeps the page quick. */
const AT_ONCE = 2;

const isList = (file: File) => /\.csv$/i.test(file.name);

export interface LeftOut {
  readonly file: string;
  readonly error: unknown;
}

/** Send photos, a few at a time, then the lists that speak of them. What is refused is told and stops nothing. */
export async function fillOrder(
  id: string,
  files: readonly File[],
  onProgress: (done: number, total: number) => void,
): Promise<readonly LeftOut[]> {
  const photos = files.filter((file) => !isList(file));
  const left: LeftOut[] = [];
  let next = 0;
  let done = 0;
  const work = async () => {
    while (next < photos.length) {
      const file = photos[next++]!;
      try {
        await sendOrderPhoto(id, file).done;
      } catch (error) {
        left.push({ file: file.name, error });
      }
      onProgress(++done, files.length);
    }
  };
  onProgress(0, files.length);
  await Promise.all(Array.from({ length: AT_ONCE }, work));
  for (const file of files.filter(isList)) {
    try {
      const { notes } = await sendList(id, file);
      left.push(...notes.map((note) => ({ file: file.name, error: new Error(note) })));
    } catch (error) {
      left.push({ file: file.name, error });
    }
    onProgress(++done, files.length);
  }
  return left;
}

/** The orders of the shop, and the way to a new one. */
export function OrdersScreen() {
  const { orders, lastSettings, go } = useShop();
  const [error, setError] = useState<unknown>();
  const [going, setGoing] = useState<string>();
  const list = [...orders.values()].sort((a, b) => (a.changed < b.changed ? 1 : -1));
  const begin = async (files: readonly File[]) => {
    setError(undefined);
    try {
      const { focus: _focus, ...wish } = lastSettings;
      const day = new Date().toLocaleDateString(undefined, { day: 'numeric', month: 'long' });
      const order = await createOrder(`Order of ${day}`, { ...wish, toneValues: {} });
      pendingFiles.set(order.id, files);
      go(`/order/${order.id}`);
    } catch (problem) {
      setError(problem);
    }
  };
  return (
    <div class="home">
      <section class="welcome" aria-labelledby="order-title">
        <h1 id="order-title">Make a whole order</h1>
        <p class="lead">
          Drop all photos of an order, with or without a list (CSV). Each becomes a card here, live, and one bad photo
          never stops the others.
        </p>
        <DropPlace
          many
          label="Choose photos"
          what="photos and a list"
          accept=".jpg,.jpeg,.jfif,.png,.tif,.tiff,.webp,.avif,.heic,.heif,.hif,.csv,image/*"
          onFiles={begin}
        />
        {error !== undefined && <Problem error={error} onClose={() => setError(undefined)} />}
      </section>
      <section class="job-list" aria-labelledby="orders-title">
        <h2 id="orders-title">Orders in this shop</h2>
        {list.length === 0 ? (
          <p class="empty">
            None yet. A list has a line for each piece, with the columns photo, count, size, profile, material and text,
            or any other option.
          </p>
        ) : (
          <ul class="link-list">
            {list.map((order) => (
              <li key={order.id}>
                <a href={`#/order/${order.id}`}>
                  <b>{order.title}</b>
                  <span class="soft">{sayOrder(order)}</span>
                </a>
                {going === order.id ? (
                  <span class="actions">
                    <Button
                      kind="main"
                      onClick={() => {
                        setGoing(undefined);
                        void removeOrder(order.id).catch(setError);
                      }}
                    >
                      Remove
                    </Button>
                    <Button onClick={() => setGoing(undefined)}>Keep it</Button>
                  </span>
                ) : (
                  <button
                    type="button"
                    class="button quiet square"
                    aria-label={`Remove ${order.title}`}
                    onClick={() => setGoing(order.id)}
                  >
                    <Icon name="bin" />
                  </button>
                )}
              </li>
            ))}
          </ul>
        )}
      </section>
    </div>
  );
}

/** Files of a new order until its own screen takes them. */
export const pendingFiles = new Map<string, readonly File[]>();

function sayOrder({ pieces, running, totals }: OrderView): string {
  const count = pieces.length === 1 ? '1 photo' : `${pieces.length} photos`;
  if (running) return `${count} · being made`;
  if (totals) return `${count} · ${sayDuration(totals.seconds)}${totals.price ? ` · ${totals.price}` : ''}`;
  return `${count} · not made yet`;
}
