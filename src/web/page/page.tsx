import { render } from 'preact';
import { useCallback, useEffect, useRef, useState } from 'preact/hooks';
import type { PageEvent, PhotoSettings, ShopFacts } from '../protocol.ts';
import { enter, getShop, getStart, PageError } from './api.ts';
import { CompareTakesScreen } from './compare/compare.tsx';
import { followEvents } from './events.ts';
import { Home } from './home/home.tsx';
import { MaterialScreen } from './material/material.tsx';
import { CompareScreen, ProfileScreen, ReadingScreen } from './material/reading.tsx';
import type { Unit } from './measure.ts';
import { OrderScreen } from './order/order.tsx';
import { OrdersScreen } from './order/orders.tsx';
import { Busy, Icon, Problem, Segments } from './parts/parts.tsx';
import { Saved } from './parts/saved.tsx';
import { PhotoScreen } from './photo/photo.tsx';
import { ShopScreen } from './shop/shop.tsx';
import { firstSettings, type PageContext, ShopContext } from './shop-context.ts';
import { ShowScreen } from './show/show.tsx';
import { sendLeftOvers } from './unsaved.ts';
import { useTitle } from './use-title.ts';

const TOKEN = /^#[0-9a-f]{48}$/;

/** The token of the address is traded for a cookie and leaves the address, so that it is neither seen nor kept. */
async function enterWithAddress(): Promise<void> {
  if (!TOKEN.test(location.hash)) return;
  const token = location.hash.slice(1);
  history.replaceState(null, '', '#/');
  await enter(token);
}

function useRoute(): readonly [string, (route: string) => void] {
  const [route, setRoute] = useState(() => location.hash.slice(1) || '/');
  useEffect(() => {
    const follow = () => {
      setRoute(location.hash.slice(1) || '/');
      scrollTo(0, 0);
    };
    addEventListener('hashchange', follow);
    // It may have changed between the first drawing and now.
    setRoute(location.hash.slice(1) || '/');
    return () => removeEventListener('hashchange', follow);
  }, []);
  return [route, (next) => location.assign(`#${next}`)];
}

function useStored<T>(key: string, first: T): readonly [T, (value: T) => void] {
  const [value, setValue] = useState<T>(() => {
    try {
      const text = localStorage.getItem(`tonewright-${key}`);
      return text === null ? first : (JSON.parse(text) as T);
    } catch {
      return first;
    }
  });
  const keep = useCallback(
    (next: T) => {
      setValue(next);
      localStorage.setItem(`tonewright-${key}`, JSON.stringify(next));
    },
    [key],
  );
  return [value, keep];
}

type Entry = Pick<PageContext, 'shop' | 'jobs' | 'orders'>;

/** What the page knows, after something has happened to a job or an order. */
function applyEvent(entry: Entry, event: PageEvent): Entry {
  switch (event.type) {
    case 'job':
      return { ...entry, jobs: new Map(entry.jobs).set(event.job.id, event.job) };
    case 'job-gone':
      return { ...entry, jobs: without(entry.jobs, event.id) };
    case 'order':
      return { ...entry, orders: new Map(entry.orders).set(event.order.id, event.order) };
    case 'order-gone':
      return { ...entry, orders: without(entry.orders, event.id) };
    case 'shop':
      return entry;
  }
}

function without<T>(map: ReadonlyMap<string, T>, id: string): ReadonlyMap<string, T> {
  const rest = new Map(map);
  rest.delete(id);
  return rest;
}

function App() {
  const [entry, setEntry] = useState<Entry | undefined>();
  const [error, setError] = useState<unknown>();
  const [online, setOnline] = useState(true);
  const [route, go] = useRoute();
  useTitle(route);
  const [unit, setUnit] = useStored<Unit>('unit', 'mm');
  const [wish, keepSettings] = useStored<PhotoSettings | undefined>('wish', undefined);

  /** What happens while lists are on their way: a list may be older than that. */
  const meanwhile = useRef(new Set<PageEvent[]>()).current;
  /** The revision of the last lists, once they are there; none where they did not come. */
  const loading = useRef<Promise<string | undefined>>(undefined);
  const load = useCallback(() => {
    const begin = async () => {
      const events: PageEvent[] = [];
      meanwhile.add(events);
      try {
        setError(undefined);
        await sendLeftOvers();
        const { shop, jobs, orders, revision } = await getStart();
        const listed: Entry = {
          shop,
          jobs: new Map(jobs.map((job) => [job.id, job])),
          orders: new Map(orders.map((order) => [order.id, order])),
        };
        setEntry(events.reduce(applyEvent, listed));
        return revision;
      } catch (problem) {
        setError(problem);
        return undefined;
      } finally {
        meanwhile.delete(events);
      }
    };
    loading.current = begin();
  }, []);

  useEffect(() => {
    load();
    const onChange = (event: PageEvent) => {
      for (const events of meanwhile) events.push(event);
      if (event.type === 'shop') void getShop().then((shop) => setEntry((now) => now && { ...now, shop }));
      else setEntry((now) => now && applyEvent(now, event));
    };
    return followEvents({
      onChange,
      onLost: () => setOnline(false),
      onHello: async (from) => {
        setOnline(true);
        if (from === undefined) return;
        dispatchEvent(new Event('tonewright-online'));
        if ((await loading.current) !== from) load();
      },
    });
  }, [load]);

  if (error instanceof PageError && error.code === 'request-refused') return <Refused />;
  const place = route.split('/')[1] ?? '';
  const staged = place === 'photo' || place === 'show' || place === 'compare';
  const shopSettings = entry && (isStillThere(wish, entry.shop) ? wish! : firstSettings(entry.shop));
  const bar = (
    <header class="bar">
      <a class="mark" href="#/" aria-label="Tonewright, start">
        <svg viewBox="0 0 32 32" aria-hidden="true">
          <Dots />
        </svg>
        <span>Tonewright</span>
      </a>
      <nav aria-label="Work">
        <a href="#/" aria-current={place === '' || place === 'photo' ? 'page' : undefined}>
          Photo
        </a>
        <a href="#/material" aria-current={place === 'material' ? 'page' : undefined}>
          Material
        </a>
        <a href="#/order" aria-current={place === 'order' ? 'page' : undefined}>
          Order
        </a>
        <a href="#/shop" aria-current={place === 'shop' ? 'page' : undefined}>
          Shop
        </a>
      </nav>
      <Saved />
      <Segments
        label="Lengths in"
        hideLabel
        value={unit}
        choices={[
          { value: 'mm', label: 'mm' },
          { value: 'in', label: 'inch' },
        ]}
        onChange={setUnit}
      />
    </header>
  );
  return (
    <div class={staged ? 'app staged' : 'app'}>
      <button type="button" class="skip" onClick={focusMain}>
        To the content
      </button>
      {!staged && bar}
      {!online && (
        <div class="offline" role="alert">
          <Icon name="plug" />
          <p>
            <b>The server has stopped.</b> Open Tonewright again on this computer. What you have changed waits in this
            browser; this page goes on by itself.
          </p>
        </div>
      )}
      <main id="main" tabIndex={-1}>
        {error !== undefined && <Problem error={error} onAgain={load} />}
        {!entry && <h1 class="unseen">Tonewright</h1>}
        {!entry && error === undefined && <Busy>Opening the shop</Busy>}
        {entry && shopSettings && (
          <ShopContext.Provider value={{ ...entry, unit, setUnit, lastSettings: shopSettings, keepSettings, go }}>
            <Screen key={route} route={route} />
          </ShopContext.Provider>
        )}
      </main>
    </div>
  );
}

function Screen({ route }: { readonly route: string }) {
  const [, place = '', part = '', first = '', second = '', third = '', fourth] = route.split('/');
  if (place === 'photo') return <PhotoScreen id={part} />;
  if (place === 'show') return <ShowScreen id={part} piece={first} />;
  if (place === 'compare') return <CompareTakesScreen id={part} />;
  if (place === 'material') {
    if (part === 'reading') return <ReadingScreen id={first} />;
    if (part === 'profile') return <ProfileScreen name={first} />;
    if (part === 'compare') return <CompareScreen a={first} b={second} />;
    return (
      <MaterialScreen
        draw={part === 'draw' ? { kind: first, machine: second, material: third, more: fourth } : undefined}
      />
    );
  }
  if (place === 'shop') return <ShopScreen begin={part === 'new' ? first : undefined} />;
  if (place === 'order') return part === '' ? <OrdersScreen /> : <OrderScreen id={part} />;
  return <Home />;
}

function Dots() {
  const radii = [1.2, 2, 2.8, 1.8, 2.7, 3.3, 2.5, 3.2, 3.7];
  return (
    <g>
      {radii.map((radius, at) => (
        <circle key={radius} cx={9 + 7 * (at % 3)} cy={9 + 7 * Math.floor(at / 3)} r={radius} />
      ))}
    </g>
  );
}

function focusMain() {
  document.getElementById('main')?.focus();
}

/** A wish that was kept may name what the shop has no more. */
function isStillThere(wish: PhotoSettings | undefined, { machines, profiles, materials }: ShopFacts): boolean {
  if (!wish) return false;
  const named = (list: readonly { readonly name: string }[], name: string | undefined) =>
    name === undefined || list.some((one) => one.name === name);
  return named(machines, wish.machine) && named(profiles, wish.profile) && named(materials, wish.material);
}

function Refused() {
  return (
    <main class="refused">
      <h1>This page opens with its own address</h1>
      <p>
        Open Tonewright on this computer and use the address that it shows. It carries a key, so that no other program
        and no other site can look into the shop.
      </p>
      <p class="soft">
        Have you just opened it? Then the shop folder is another one: open the new address in this window.
      </p>
    </main>
  );
}

await enterWithAddress().catch(() => undefined);
render(<App />, document.getElementById('page')!);
