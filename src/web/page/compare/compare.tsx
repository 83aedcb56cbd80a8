import { useEffect, useRef, useState } from 'preact/hooks';
import type { JobCard, PhotoSettings } from '../../protocol.ts';
import { Button, Icon, isOffline, Problem, type SelectGroup, useProblem } from '../parts/parts.tsx';
import { Saved } from '../parts/saved.tsx';
import { useHeldKey, useKey } from '../parts/use-key.ts';
import { useShop } from '../shop-context.ts';
import { Closer } from '../stage/closer.tsx';
import { KeyFacts } from '../stage/fact-line.tsx';
import { frameOf, turnOf } from '../stage/frame.ts';
import { useGestures, useMostScale } from '../stage/gestures.ts';
import { PhotoOnPiece, PieceFace, radiusOf } from '../stage/piece.tsx';
import { thingOf } from '../stage/thing.ts';
import { useHistory } from '../stage/use-history.ts';
import { usePreview } from '../stage/use-preview.ts';
import { transformOf, type View, viewByKey, WHOLE, ZOOM_STEP, zoomBy } from '../stage/view.ts';
import { usePhotoSettings } from '../use-photo-settings.ts';
import {
  type Compared,
  firstTakes,
  keepTakes,
  listTakes,
  PANES,
  readTakes,
  settingsOfTake,
  splitTake,
  type Take,
  takeOf,
} from './takes.ts';

/** Two to four ways of a job's photo side by side, of which one is taken. */
export function CompareTakesScreen({ id }: { readonly id: string }) {
  const { jobs, go } = useShop();
  const job = jobs.get(id);
  useEffect(() => {
    if (!job) go('/');
  }, [job]);
  return job ? <CompareJob job={job} /> : null;
}

const pathOf = (id: string) => `/api/jobs/${id}`;

function CompareJob({ job }: { readonly job: JobCard }) {
  const { jobs, go, keepSettings } = useShop();
  const path = pathOf(job.id);
  const [refusal, setRefusal] = useProblem();
  const isRefused = useRef(false);
  const { wish, change, flush } = usePhotoSettings(path, job.wish, {
    onRefused: (error) => {
      isRefused.current = true;
      setRefusal(error);
    },
    onSend: (sent) => keepSettings(sent as PhotoSettings),
  });
  const history = useHistory(path, wish, change);
  const back = () => go(`/photo/${job.id}`);
  return (
    <Comparison
      own={{ id: job.id, name: job.name, path, photo: job.photo, wish }}
      others={[...jobs.values()]
        .filter(({ id }) => id !== job.id)
        .map(({ id, name, photo, wish: its }) => ({ id, name, path: pathOf(id), photo, wish: its }))}
      earlier={history.earlier}
      backTo="Back to the photo"
      refusal={refusal}
      onRefusalRead={() => setRefusal(undefined)}
      onBack={back}
      onGo={(id) => go(`/photo/${id}`)}
      onTake={async (next) => {
        setRefusal(undefined);
        isRefused.current = false;
        if (next) {
          history.change(next);
          await flush();
        }
        // What the shop refuses is told here, where another can be taken.
        if (!isRefused.current) back();
      }}
    />
  );
}

export interface ComparisonProps {
  readonly own: Compared;
  readonly others: readonly Compared[];
  /** What was asked of it before, the newest first. */
  readonly earlier: readonly PhotoSettings[];
  /** Where the way back leads, in words. */
  readonly backTo: string;
  readonly refusal?: unknown;
  readonly onRefusalRead?: () => void;
  readonly onBack: () => void;
  /** To another photo. */
  readonly onGo: (id: string) => void;
  /** One is taken: what is asked of the photo from now on, where that is a change. */
  readonly onTake: (next: PhotoSettings | undefined) => void;
}

/** Two to four ways of one photo side by side, looked at in one place, of which one is taken. */
export function Comparison(props: ComparisonProps) {
  const { own, others, earlier, backTo, refusal, onRefusalRead, onBack, onGo, onTake } = props;
  const { shop } = useShop();
  const { path, wish } = own;
  const offers = { wish, others, shop, earlier };
  const [takes, setTakes] = useState<readonly Take[]>(() => readTakes(path, offers));
  const [view, setView] = useState(WHOLE);
  const [most, setMost] = useState(1);
  const [photoHeld] = useHeldKey('p');
  useKey('escape', onBack);
  useKey('c', onBack);
  const put = (next: readonly Take[]) => {
    setTakes(next);
    keepTakes(path, next);
  };
  const take = (chosen: Take) => {
    const [kind, other] = splitTake(chosen.what);
    if (kind === 'other') onGo(other!);
    else onTake(settingsOfTake(chosen, wish));
  };
  const groups = listTakes(offers);
  const add = () => {
    const shown = new Set(takes.map(({ what }) => what));
    const all = groups.flatMap(({ choices }) => choices.map(({ value }) => value));
    const wanted = [...firstTakes(offers).map(({ what }) => what), ...all.filter((one) => one.startsWith('profile:'))];
    const next = [...wanted, ...all].find((one) => !shown.has(one) && one !== 'photo') ?? 'photo';
    put([...takes, takeOf(next, earlier)]);
  };
  return (
    <div class="comparing">
      <header class="stage-head">
        <Button kind="quiet" class="back" icon="back" aria-label={backTo} title="Esc" onClick={onBack}>
          {backTo}
        </Button>
        <h1>Compare {own.name}</h1>
        <Saved />
        <div class="head-actions">
          {view.scale > 1 && (
            <Button
              kind="quiet"
              class="sign-first"
              icon="piece"
              aria-label="Whole piece"
              onClick={() => setView(WHOLE)}
            >
              Whole piece
            </Button>
          )}
          <button
            type="button"
            class="button square"
            aria-label="Farther"
            disabled={view.scale <= 1}
            onClick={() => setView(zoomBy(view, 1 / ZOOM_STEP, most))}
          >
            <Icon name="minus" />
          </button>
          <button
            type="button"
            class="button square"
            aria-label="Nearer"
            disabled={view.scale >= most}
            onClick={() => setView(zoomBy(view, ZOOM_STEP, most))}
          >
            <Icon name="plus" />
          </button>
          <Button
            icon="beside"
            class="sign-first"
            aria-label="Add another"
            disabled={takes.length >= PANES.most}
            onClick={add}
          >
            Add another
          </Button>
        </div>
      </header>
      {refusal !== undefined && <Problem error={refusal} {...(onRefusalRead ? { onClose: onRefusalRead } : {})} />}
      <div class={`panes of-${takes.length}`}>
        {takes.map((one, at) => (
          <Pane
            key={at}
            place={at + 1}
            take={one}
            own={own}
            other={others.find(({ id }) => one.what === `other:${id}`)}
            groups={groups}
            view={view}
            asPhoto={photoHeld}
            onView={setView}
            onMost={setMost}
            onTake={() => take(one)}
            onChange={(what) => put(takes.map((old, index) => (index === at ? takeOf(what, earlier) : old)))}
            onRemove={takes.length > PANES.least ? () => put(takes.filter((_, index) => index !== at)) : undefined}
          />
        ))}
      </div>
    </div>
  );
}

interface PaneProps {
  /** Counts from one. */
  readonly place: number;
  readonly take: Take;
  /** What is compared. */
  readonly own: Compared;
  /** Another photo that stands here. */
  readonly other: Compared | undefined;
  readonly groups: readonly SelectGroup[];
  readonly view: View;
  /** Shows the photo instead of the piece. */
  readonly asPhoto: boolean;
  readonly onView: (view: View) => void;
  /** Tells how near it can be looked at. */
  readonly onMost: (most: number) => void;
  readonly onTake: () => void;
  readonly onChange: (what: string) => void;
  readonly onRemove: (() => void) | undefined;
}

function Pane({ groups, onChange, onRemove, ...body }: PaneProps) {
  const { take, place } = body;
  const title = labelOf(take.what, groups);
  return (
    <section class="pane" aria-label={`${place}: ${title}`}>
      <div class="pane-head">
        <select
          value={take.what}
          aria-label={`What stands in place ${place}`}
          onChange={({ currentTarget }) => onChange(currentTarget.value)}
        >
          {take.wish && <option value={take.what}>{title}</option>}
          {groups
            .filter(({ choices }) => choices.length > 0)
            .map(({ label, choices }) => (
              <optgroup key={label} label={label || 'This photo'}>
                {choices
                  .filter(({ value }) => !take.wish || value !== take.what)
                  .map(({ value, label: name }) => (
                    <option key={value} value={value}>
                      {name}
                    </option>
                  ))}
              </optgroup>
            ))}
        </select>
        {onRemove && (
          <button type="button" class="button quiet square" aria-label={`Put away: ${title}`} onClick={onRemove}>
            <Icon name="cross" />
          </button>
        )}
      </div>
      <PaneStage key={take.what} {...body} title={title} />
    </section>
  );
}

/** Where one of them is seen; made anew for another, so that no picture stands under a name that is not its own. */
function PaneStage({
  take,
  own,
  other,
  view,
  asPhoto,
  title,
  onView,
  onMost,
  onTake,
}: Omit<PaneProps, 'place' | 'groups' | 'onChange' | 'onRemove'> & { readonly title: string }) {
  const { shop } = useShop();
  const { path, photo: size } = other ?? own;
  const wish = other ? other.wish : (settingsOfTake(take, own.wish) ?? own.wish);
  const piece = useRef<HTMLDivElement>(null);
  const rest = useRef<HTMLDivElement>(null);
  const cloth = useRef<HTMLDivElement>(null);
  const seen = usePreview(path, { wish, showClipped: false, piece });
  const { facts, error } = seen;
  const frame = frameOf(size, wish, facts);
  const most = useMostScale(rest, facts?.dots.width);
  const thing = thingOf(wish, facts, shop);
  const gestures = useGestures(cloth, {
    view,
    most,
    restOf: () => rest.current?.getBoundingClientRect(),
    locked: false,
    onView,
  });
  const lost = error !== undefined && !isOffline(error);
  const photo = { ...size, turnDeg: turnOf(wish, facts), source: `${path}/photo` };
  const isPhoto = take.what === 'photo';
  useEffect(() => onMost(most), [most]);
  return (
    <>
      <div class={`stage on-${thing.table}`} style={{ '--ratio': frame ? frame.widthMm / frame.heightMm : 1 }}>
        {/* biome-ignore lint/a11y/useSemanticElements: a group of fields is not what this is */}
        <div
          ref={cloth}
          class={`cloth ${view.scale > 1 ? 'near' : ''}`}
          role="group"
          // biome-ignore lint/a11y/noNoninteractiveTabindex: keys zoom and move what is seen
          tabIndex={0}
          aria-label={`Proof: ${title}. Plus, minus, zero and the arrow keys zoom and move all of them.`}
          {...gestures}
          onKeyDown={(event) => {
            if (event.ctrlKey || event.metaKey) return;
            const next = viewByKey(view, event, most);
            if (!next) return;
            event.preventDefault();
            onView(next);
          }}
        >
          {frame && (
            <div ref={rest} class="place">
              <div
                ref={piece}
                class={`piece ${lost ? 'void' : ''}`}
                style={{ transform: transformOf(view), borderRadius: radiusOf(frame) }}
              >
                {isPhoto || asPhoto ? (
                  <div class="before">
                    <PhotoOnPiece frame={frame} photo={photo} />
                  </div>
                ) : (
                  <>
                    <PieceFace picture={seen.picture} surface={lost ? undefined : thing.surface} />
                    {facts && !lost && (
                      <Closer path={path} look={facts.look} dots={facts.dots} view={view} piece={rest} />
                    )}
                  </>
                )}
                <div class="rim" aria-hidden="true" />
              </div>
            </div>
          )}
        </div>
        {lost && (
          <div class="stage-problems floats">
            <Problem error={error} onAgain={seen.again} />
          </div>
        )}
      </div>
      <div class="pane-foot" aria-busy={seen.waiting}>
        {isPhoto ? (
          <p class="empty">The photo as it came.</p>
        ) : facts && !lost ? (
          <KeyFacts facts={facts} />
        ) : (
          <p class="empty">{lost ? 'None: these choices make no piece.' : 'The figures come with the proof.'}</p>
        )}
        {take.what !== 'now' && !isPhoto && (
          <Button kind="main" icon="check" disabled={lost} aria-label={`Take this one: ${title}`} onClick={onTake}>
            {other ? 'Go there' : 'Take this'}
          </Button>
        )}
      </div>
    </>
  );
}

/** What the list calls it. */
function labelOf(what: string, groups: readonly SelectGroup[]): string {
  const found = groups.flatMap(({ choices }) => choices).find(({ value }) => value === what);
  return found?.label ?? (splitTake(what)[0] === 'earlier' ? 'An earlier state' : 'As it stands now');
}
