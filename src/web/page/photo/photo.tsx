import { useEffect, useMemo, useRef, useState } from 'preact/hooks';
import type { JobCard, Wish } from '../../protocol.ts';
import { getJob, keepJob } from '../api.ts';
import { Busy, Icon, isSameProblem, Problem, useProblem } from '../parts/parts.tsx';
import { useShop } from '../shop-context.ts';
import { PhotoStage } from '../stage/stage.tsx';
import { useLook } from '../stage/use-look.ts';
import { forgetChange } from '../unsaved.ts';
import { useWish } from '../use-wish.ts';
import { PhotoChoices } from './choices.tsx';
import { PhotoFacts } from './facts.tsx';

/** A customer is waiting: one photo, on the piece, before it is burned. */
export function PhotoScreen({ id }: { readonly id: string }) {
  const { jobs } = useShop();
  const known = jobs.get(id);
  const [first, setFirst] = useState<JobCard | undefined>(known);
  const [error, setError] = useState<unknown>();
  const wasThere = useRef(false);
  if (known) wasThere.current = true;
  const gone = wasThere.current && !known;
  useEffect(() => {
    if (!first) getJob(id).then(setFirst, setError);
  }, [id, first]);
  useEffect(() => {
    if (gone) forgetChange(pathOf(id));
  }, [id, gone]);
  if (gone || error !== undefined) {
    return (
      <>
        <BackLink />
        <h1 class={gone ? '' : 'unseen'}>{gone ? 'This photo was removed' : 'Photo'}</h1>
        {gone ? (
          <p class="empty" role="alert">
            Another window has removed it and its files from the shop.
          </p>
        ) : (
          <Problem error={error} />
        )}
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

const pathOf = (id: string) => `/api/jobs/${id}`;

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
  const [error, setError] = useProblem();
  const { wish, change, flush } = useWish(pathOf(job.id), job.wish, {
    onRefused: setError,
    onSend: (sent) => keepWish(sent as Wish),
  });
  const choose = (next: Wish) => {
    setError(undefined);
    change(next);
  };
  const keep = async () => {
    try {
      // What cannot be saved must not be made of an older wish.
      if (!(await flush())) return;
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
      {error !== undefined && !isSameProblem(error, seen.error) && (
        <Problem error={error} onClose={() => setError(undefined)} />
      )}
      <div class="work-grid">
        <PhotoStage
          job={job}
          wish={wish}
          seen={seen}
          piece={piece}
          focus={shownFocus}
          showClipped={showClipped}
          onClipped={setShowClipped}
          onFocus={(next) => choose({ ...wish, focus: next })}
        />
        <PhotoChoices wish={wish} facts={seen.facts} onChange={choose} />
        <PhotoFacts job={job} seen={seen} onKeep={keep} />
      </div>
    </div>
  );
}
