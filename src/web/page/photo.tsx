import { useEffect, useMemo, useRef, useState } from 'preact/hooks';
import type { JobCard } from '../protocol.ts';
import { getJob, keepJob, setWish } from './api.ts';
import { Busy, Icon, Problem } from './parts.tsx';
import { PhotoChoices } from './photo-choices.tsx';
import { PhotoFacts } from './photo-facts.tsx';
import { PhotoStage } from './photo-stage.tsx';
import { useShop } from './shop-context.ts';
import { useLook } from './use-look.ts';
import { useWish } from './use-wish.ts';

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
        <h1 class="unseen">Photo</h1>
        <Problem error={error} />
      </>
    );
  }
  if (!first) {
    return (
      <>
        <h1 class="unseen">Photo</h1>
        <Busy>Opening the photo</Busy>
      </>
    );
  }
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
  const [showClipped, setShowClipped] = useState(false);
  const [error, setError] = useState<unknown>();
  const { wish, change, flush } = useWish(job.wish, async (next) => {
    keepWish(next);
    try {
      await setWish(job.id, next);
      setError(undefined);
    } catch (problem) {
      setError(problem);
    }
  });
  const keep = async () => {
    await flush();
    try {
      await keepJob(job.id);
      setError(undefined);
    } catch (problem) {
      setError(problem);
    }
  };

  const piece = useRef<HTMLDivElement>(null);
  const seen = useLook(job.id, { wish, showClipped, piece });
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
          piece={piece}
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
