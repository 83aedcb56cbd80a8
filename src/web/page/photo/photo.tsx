import { useEffect, useRef, useState } from 'preact/hooks';
import type { JobCard, PhotoSettings } from '../../protocol.ts';
import { getJob, keepJob } from '../api.ts';
import { forgetTakes } from '../compare/takes.ts';
import type { Mending } from '../notices/notices.tsx';
import { AgreedMark } from '../parts/agreed.tsx';
import { Busy, Button, Icon, isOffline, isSameProblem, Problem, useProblem } from '../parts/parts.tsx';
import { Saved } from '../parts/saved.tsx';
import { useKey } from '../parts/use-key.ts';
import { useShop } from '../shop-context.ts';
import { FactLine } from '../stage/fact-line.tsx';
import { frameOf, turnOf, zoomOf } from '../stage/frame.ts';
import { groupsOf, useGroup } from '../stage/groups.tsx';
import { Drawer, StageLayout, StepButtons } from '../stage/layout.tsx';
import { Table } from '../stage/table.tsx';
import { useTakeStrip } from '../stage/take-strip.tsx';
import { thingOf } from '../stage/thing.ts';
import { forgetSteps, useHistory } from '../stage/use-history.ts';
import { useMask, withMask } from '../stage/use-mask.ts';
import { usePreview } from '../stage/use-preview.ts';
import { type GroupId, withCrop } from '../stage/wish.ts';
import { forgetChange } from '../unsaved.ts';
import { usePhotoSettings } from '../use-photo-settings.ts';
import { BenchFacts, KeepJob, ThingsToKnow } from './facts.tsx';

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
    if (!gone) return;
    forgetChange(pathOf(id));
    forgetSteps(pathOf(id));
    forgetTakes(pathOf(id));
  }, [id, gone]);
  if (gone || error !== undefined) {
    return (
      <div class="aside-note">
        <BackLink />
        <h1 class={gone ? '' : 'unseen'}>{gone ? 'This photo was removed' : 'Photo'}</h1>
        {gone ? (
          <p class="empty" role="alert">
            Another window has removed it and its files from the shop.
          </p>
        ) : (
          <Problem error={error} />
        )}
      </div>
    );
  }
  if (!first) {
    return (
      <div class="aside-note">
        <h1 class="unseen">Photo</h1>
        <Busy>Opening the photo</Busy>
      </div>
    );
  }
  return <PhotoWork job={known ?? first} />;
}

const pathOf = (id: string) => `/api/jobs/${id}`;

function BackLink() {
  return (
    <a class="back" href="#/" aria-label="All photos">
      <Icon name="back" />
      <span>All photos</span>
    </a>
  );
}

type DrawerId = 'know' | 'bench' | 'files';

function PhotoWork({ job }: { readonly job: JobCard }) {
  const { keepSettings, shop, go } = useShop();
  const [group, setGroup] = useGroup();
  const [drawer, setDrawer] = useState<DrawerId>();
  const [showClipped, setShowClipped] = useState(false);
  const [error, setError] = useProblem();
  const path = pathOf(job.id);
  const { wish, change, flush } = usePhotoSettings(path, job.wish, {
    onRefused: setError,
    onSend: (sent) => keepSettings(sent as PhotoSettings),
  });
  const history = useHistory(path, wish, (next) => {
    setError(undefined);
    change(next);
  });
  const choose = history.change;
  const show = async () => {
    await flush();
    go(`/show/${job.id}`);
  };
  useKey('f', () => void show());
  const compare = () => go(`/compare/${job.id}`);
  useKey('c', compare);
  const keep = async () => {
    try {
      // What cannot be saved must not be made of an older wish.
      if (!(await flush())) return;
      setDrawer('files');
      await keepJob(job.id);
      setError(undefined);
    } catch (problem) {
      setError(problem);
    }
  };

  const piece = useRef<HTMLDivElement>(null);
  const seen = usePreview(path, { wish, showClipped, piece });
  const { facts } = seen;
  const takes = useTakeStrip(path, history);
  const frame = frameOf(job.photo, wish, facts);
  const ready = facts !== undefined && seen.error === undefined;
  const kept = job.state === 'kept' && !job.stale;
  const mask = useMask({
    path,
    wish,
    onPainted: (name) => choose(withMask(wish, name, facts), 'apart'),
    onProblem: setError,
  });
  const painting = group === 'crop' && mask.isOn;
  const mending: Mending = {
    wish,
    facts,
    onMend: (mend) => {
      if ('wish' in mend) return choose(mend.wish, 'apart');
      setDrawer(undefined);
      setGroup(mend.open);
      if (mend.painting) mask.turnOn(true);
    },
  };
  const toggle = (id: DrawerId) => setDrawer(drawer === id ? undefined : id);
  const groups = groupsOf({
    mask,
    wish,
    facts,
    showClipped,
    onChange: choose,
    onClipped: setShowClipped,
    frame,
  });
  return (
    <StageLayout<GroupId>
      head={
        <>
          <BackLink />
          <h1>{job.name}</h1>
          <AgreedMark agreed={job.agreed} />
          <Saved />
          <div class="head-actions">
            <StepButtons history={history} takes={takes} class="in-head" />
            <Button icon="beside" class="sign-first" aria-label="Compare" title="C" onClick={compare}>
              Compare
            </Button>
            <Button icon="show" class="sign-first" aria-label="Show the customer" title="F" onClick={show}>
              Show the customer
            </Button>
            <a
              class="button quiet square second-window"
              href={`#/show/${job.id}`}
              target="_blank"
              rel="noopener opener"
              aria-label="Show the customer in a second window"
              title="In a second window"
            >
              <Icon name="stack" />
            </a>
            {(kept || job.files.length > 0) && <Button onClick={() => setDrawer('files')}>Files</Button>}
            {!kept && (
              <Button
                kind="main"
                icon="check"
                disabled={!ready || job.state === 'making'}
                aria-label={job.stale ? 'Make the files again' : 'Keep as a job'}
                onClick={keep}
              >
                {job.stale ? 'Make again' : 'Keep'}
              </Button>
            )}
          </div>
        </>
      }
      history={history}
      takes={takes}
      groups={groups}
      open={group}
      onOpen={setGroup}
      drawer={
        drawer === 'know' ? (
          <Drawer title="Before you burn" onClose={() => setDrawer(undefined)}>
            <ThingsToKnow seen={seen} mending={mending} />
          </Drawer>
        ) : drawer === 'bench' ? (
          <Drawer title="For the bench" onClose={() => setDrawer(undefined)}>
            <BenchFacts seen={seen} />
          </Drawer>
        ) : drawer === 'files' ? (
          <Drawer title="Files to burn" onClose={() => setDrawer(undefined)}>
            <KeepJob job={job} ready={ready} onKeep={keep} />
          </Drawer>
        ) : undefined
      }
      foot={<FactLine seen={seen} mending={mending} onKnow={() => toggle('know')} onBench={() => toggle('bench')} />}
    >
      {frame ? (
        <Table
          frame={frame}
          photo={{ ...job.photo, turnDeg: turnOf(wish, facts), source: `${path}/photo`, name: job.photo.file }}
          seen={seen}
          thing={thingOf(wish, facts, shop)}
          piece={piece}
          closer={facts && { path, look: facts.look, dots: facts.dots }}
          cropping={group === 'crop' && !painting}
          mask={painting ? mask : undefined}
          zoom={zoomOf(wish, facts)}
          onCrop={(crop) => choose(withCrop(wish, crop))}
          onTurn={(turnDeg) => choose({ ...wish, turnDeg })}
        >
          <Problems error={error} seen={seen} onClose={() => setError(undefined)} />
        </Table>
      ) : (
        <section class="stage" aria-label="Photo and proof">
          <div class="look-state">
            <p>No proof of these choices</p>
          </div>
          <Problems error={error} seen={seen} onClose={() => setError(undefined)} />
        </section>
      )}
    </StageLayout>
  );
}

/** What stands in the way, over the stage. */
function Problems({
  error,
  seen,
  onClose,
}: {
  readonly error: unknown;
  readonly seen: { readonly error: unknown; readonly again: () => void };
  readonly onClose: () => void;
}) {
  const ofPreview = seen.error !== undefined && !isOffline(seen.error);
  const own = error !== undefined && !isSameProblem(error, seen.error);
  if (!ofPreview && !own) return null;
  return (
    <div class="stage-problems floats">
      {ofPreview && <Problem error={seen.error} onAgain={seen.again} />}
      {own && <Problem error={error} onClose={onClose} />}
    </div>
  );
}
