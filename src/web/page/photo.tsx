import { useEffect, useMemo, useRef, useState } from 'preact/hooks';
import type { JobCard, Wish } from '../protocol.ts';
import { getJob, keepJob, setWish } from './api.ts';
import { Busy, Icon, Problem } from './parts.tsx';
import { PhotoChoices } from './photo-choices.tsx';
import { PhotoFacts } from './photo-facts.tsx';
import { PhotoStage } from './photo-stage.tsx';
import { useShop } from './shop-context.ts';
import { useLook } from './use-look.ts';

/** Pause after which a change is written to the shop folder, ms. */
const SAVE_MS = 400;

/** A customer is waiting: one photo, on the piece, before it is burned. */
export function PhotoScreen({ id }: { readonly id: string }) {
  const { jobs } = useShop();
  const known = jobs.get(id);
  const [first, setFirst] = useState<JobCard | undefined>(known);
  const [error, setError] = useState<unknown>();
  useEffect(() => {
    if (!first) getJob(id).then(setFirst, setError);
  }, [id, first]);
  if (error !== undefined) {
    return (
      <>
        <BackLink />
        <Problem error={error} />
      </>
    );
  }
  if (!first) return <Busy>Opening the photo</Busy>;
  return <PhotoWork job={known ?? first} />;
}

function BackLink() {
  return (
    <a class="back" href="#/">
      <Icon name="back" />
      All photos
    </a>
  );
}

function PhotoWork({ job }: { readonly job: JobCard }) {
  const { keepWish } = useShop();
  const [wish, changeWish] = useState(job.wish);
  const [showClipped, setShowClipped] = useState(false);
  const [error, setError] = useState<unknown>();
  const own = useRef(JSON.stringify(job.wish));

  // Another window may have changed the wish; what was changed here meanwhile stands.
  const stored = JSON.stringify(job.wish);
  const pending = useRef<ReturnType<typeof setTimeout> | undefined>(undefined);
  useEffect(() => {
    if (stored !== own.current && pending.current === undefined) {
      own.current = stored;
      changeWish(JSON.parse(stored) as Wish);
    }
  }, [stored]);

  const change = (next: Wish) => {
    changeWish(next);
    keepWish(next);
    clearTimeout(pending.current);
    pending.current = setTimeout(() => void save(next), SAVE_MS);
  };
  const save = async (next: Wish) => {
    own.current = JSON.stringify(next);
    try {
      await setWish(job.id, next);
      setError(undefined);
    } catch (problem) {
      setError(problem);
    } finally {
      pending.current = undefined;
    }
  };
  const keep = async () => {
    setError(undefined);
    try {
      clearTimeout(pending.current);
      pending.current = undefined;
      own.current = JSON.stringify(wish);
      await setWish(job.id, wish);
      await keepJob(job.id);
    } catch (problem) {
      setError(problem);
    }
  };

  const seen = useLook(job.id, wish, showClipped);
  const focus = wish.focus ?? seen.facts?.focus;
  const shownFocus = useMemo(() => focus && { x: focus.x, y: focus.y }, [focus?.x, focus?.y]);
  return (
    <div class="work">
      <div class="work-head">
        <BackLink />
        <h1>{job.name}</h1>
        <p class="soft">
          {job.photo.width} × {job.photo.height} pixels
        </p>
      </div>
      {error !== undefined && <Problem error={error} onClose={() => setError(undefined)} />}
      <div class="work-grid">
        <PhotoStage
          job={job}
          wish={wish}
          seen={seen}
          focus={shownFocus}
          showClipped={showClipped}
          onClipped={setShowClipped}
          onFocus={(next) => change({ ...wish, focus: next })}
        />
        <PhotoChoices wish={wish} facts={seen.facts} onChange={change} />
        <PhotoFacts job={job} seen={seen} onKeep={keep} />
      </div>
    </div>
  );
}
