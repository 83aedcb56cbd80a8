import { useEffect, useState } from 'preact/hooks';
import type { JobCard, PhotoSettings } from '../../protocol.ts';
import { removeJob, type Sending, sendPhoto, setPhotoSettings, useSample } from '../api.ts';
import { collectWaiting } from '../dropped.ts';
import { saySize } from '../measure.ts';
import { DropPlace } from '../parts/drop-place.tsx';
import { Busy, Button, Icon, Problem } from '../parts/parts.tsx';
import { useShop } from '../shop-context.ts';

/** The way in: a photo, and what was begun before. */
export function Home() {
  const { jobs, go, lastSettings } = useShop();
  const [error, setError] = useState<unknown>();
  const [sending, setSending] = useState<{
    readonly name: string;
    readonly share: number;
    readonly stop: () => void;
  }>();

  const open = async (begin: () => Promise<JobCard>) => {
    setError(undefined);
    try {
      go(`/photo/${(await turnToPhoto(await begin())).id}`);
    } catch (problem) {
      if (!(problem instanceof DOMException && problem.name === 'AbortError')) setError(problem);
    } finally {
      setSending(undefined);
    }
  };
  const send = (file: File) =>
    open(() => {
      let way: Sending | undefined;
      const onProgress = (share: number) => setSending({ name: file.name, share, stop: () => way?.stop() });
      way = sendPhoto(file, { wish: freshSettings(lastSettings), onProgress });
      onProgress(0);
      return way.done;
    });
  useEffect(() => {
    const [file] = collectWaiting();
    if (file) void send(file);
  }, []);

  return (
    <div class="home">
      <section class="welcome" aria-labelledby="welcome-title">
        <h1 id="welcome-title">See it before it is burned</h1>
        <p class="lead">
          Drop a customer’s photo here. You will see how the piece will look, how long it takes and what to type in.
        </p>
        {sending ? (
          <SendingNote {...sending} />
        ) : (
          <DropPlace label="Choose a photo" what="a photo" onFiles={([file]) => send(file!)} />
        )}
        {error !== undefined && <Problem error={error} onClose={() => setError(undefined)} />}
      </section>
      <FirstDay />
      <Samples onPick={(id) => open(() => useSample(id, freshSettings(lastSettings)))} prominent={jobs.size === 0} />
      <JobList />
    </div>
  );
}

/** What makes the examples' guesses into the shop's own figures; gone once all of it is known. */
function FirstDay() {
  const { own } = useShop().shop;
  if (own.machine && own.profile && own.prices) return null;
  const steps = [
    {
      title: 'Your machine',
      what: 'its lens, field and power, and how its software counts',
      to: '/shop/new/machine',
      done: own.machine,
    },
    { title: 'What a minute costs', what: 'then each photo has its price', to: '/shop/new/price', done: own.prices },
    { title: 'Your first material', what: 'one chart, burned and scanned', to: '/material', done: own.profile },
  ];
  return (
    <section class="first-day" aria-labelledby="first-day-title">
      <h2 id="first-day-title">The first day</h2>
      <p class="soft">Until these are known, the figures are those of built-in examples: good for a look.</p>
      <ol>
        {steps.map(({ title, what, to, done }) => (
          <li key={to}>
            <a href={`#${to}`}>
              <b>
                {title}
                {done && <Icon name="check" />}
              </b>
              <span class="soft">{done ? 'done' : what}</span>
            </a>
          </li>
        ))}
      </ol>
    </section>
  );
}

/** The piece, machine and material of last time; crop and tone belong to a photo. */
function freshSettings({ focus: _focus, ...wish }: PhotoSettings): PhotoSettings {
  return { ...wish, toneValues: {} };
}

/** An upright photo on an upright piece: the long sides together, until a person says otherwise. */
async function turnToPhoto(job: JobCard): Promise<JobCard> {
  const { photo, wish } = job;
  if (photo.width > photo.height === wish.widthMm > wish.heightMm || photo.width === photo.height) return job;
  if (wish.widthMm === wish.heightMm) return job;
  return setPhotoSettings(job.id, { ...wish, widthMm: wish.heightMm, heightMm: wish.widthMm });
}

function SendingNote({
  name,
  share,
  stop,
}: {
  readonly name: string;
  readonly share: number;
  readonly stop: () => void;
}) {
  const percent = Math.round(100 * share);
  return (
    <div class="drop sending">
      <p role="status">{share < 1 ? `${name}: ${percent} % received` : `${name}: reading the picture`}</p>
      <progress max={100} value={share < 1 ? percent : undefined} aria-label={`Receiving ${name}`} />
      <Button kind="quiet" icon="cross" onClick={stop}>
        Stop
      </Button>
    </div>
  );
}

function Samples({
  onPick,
  prominent,
}: {
  readonly onPick: (id: string) => Promise<void>;
  readonly prominent: boolean;
}) {
  const { shop } = useShop();
  const [busy, setBusy] = useState<string>();
  if (shop.samples.length === 0) return null;
  return (
    <section class={`samples ${prominent ? 'prominent' : ''}`} aria-labelledby="samples-title">
      <h2 id="samples-title">No photo at hand? Take one of these</h2>
      <ul>
        {shop.samples.map(({ id, title }) => (
          <li key={id}>
            <button
              type="button"
              disabled={busy !== undefined}
              onClick={async () => {
                setBusy(id);
                await onPick(id);
                setBusy(undefined);
              }}
            >
              <img src={`/api/samples/${id}`} alt="" width={120} height={90} loading="lazy" />
              <span>{title}</span>
            </button>
          </li>
        ))}
      </ul>
      {busy !== undefined && <Busy>Reading the picture</Busy>}
    </section>
  );
}

function JobList() {
  const { jobs, unit, shop } = useShop();
  const list = [...jobs.values()].sort((a, b) => (a.changed < b.changed ? 1 : -1));
  const [going, setGoing] = useState<string>();
  const [error, setError] = useState<unknown>();
  return (
    <section class="job-list" aria-labelledby="jobs-title">
      <h2 id="jobs-title">In this shop</h2>
      {error !== undefined && <Problem error={error} onClose={() => setError(undefined)} />}
      {list.length === 0 ? (
        <p class="empty">
          Nothing yet. Photos that you open are kept in <code>{shop.folder}/jobs</code> until you remove them.
        </p>
      ) : (
        <ul>
          {list.map((job) => (
            <li key={job.id}>
              <a href={`#/photo/${job.id}`}>
                <img src={`/api/jobs/${job.id}/thumbnail`} alt="" loading="lazy" />
                <span class="job-name">{job.name}</span>
                <span class="soft">
                  {saySize(job.wish.widthMm, job.wish.heightMm, unit)} · {nameOf(job.wish)}
                </span>
                <span class={`state ${job.state}`}>{sayState(job)}</span>
              </a>
              {going === job.id ? (
                <fieldset class="confirm" aria-label={`Remove ${job.name}?`}>
                  <p>Remove this photo and its files?</p>
                  <Button
                    kind="main"
                    onClick={() => {
                      setGoing(undefined);
                      void removeJob(job.id).catch(setError);
                    }}
                  >
                    Remove
                  </Button>
                  <Button onClick={() => setGoing(undefined)}>Keep it</Button>
                </fieldset>
              ) : (
                <button type="button" class="remove" aria-label={`Remove ${job.name}`} onClick={() => setGoing(job.id)}>
                  <Icon name="bin" />
                </button>
              )}
            </li>
          ))}
        </ul>
      )}
    </section>
  );

  function nameOf({ profile, material }: PhotoSettings): string {
    return (
      shop.profiles.find(({ name }) => name === profile)?.title ??
      shop.materials.find(({ name }) => name === material)?.title ??
      profile ??
      material ??
      ''
    );
  }
}

function sayState(job: JobCard): string {
  const { agreed } = job;
  return `${sayMade(job)}${agreed ? (agreed.holds ? ' · agreed' : ' · changed since agreed') : ''}`;
}

function sayMade({ state, stale }: JobCard): string {
  if (state === 'making') return 'being made';
  if (state === 'open') return 'open';
  return stale ? 'changed since it was made' : 'ready to burn';
}
