import type { RefObject } from 'preact';
import { useEffect, useState } from 'preact/hooks';
import type { JobCard, Wish } from '../../protocol.ts';
import { sayShare } from '../measure.ts';
import { Busy, isOffline, Problem, Segments } from '../parts/parts.tsx';
import { CropPane } from './crop.tsx';
import { DividerPane } from './divider.tsx';
import { frameOf } from './frame.ts';
import { Loupe, ProofPane } from './loupe.tsx';
import type { Seen } from './use-look.ts';

export interface StageProps {
  readonly job: JobCard;
  readonly wish: Wish;
  readonly seen: Seen;
  /** Where the piece is drawn. */
  readonly piece: RefObject<HTMLDivElement | null>;
  readonly focus: { readonly x: number; readonly y: number } | undefined;
  readonly showClipped: boolean;
  readonly onClipped: (show: boolean) => void;
  readonly onFocus: (focus: { readonly x: number; readonly y: number }) => void;
}

type View = 'beside' | 'divider';

export function PhotoStage(props: StageProps) {
  const { job, wish, seen, piece, focus, showClipped, onClipped, onFocus } = props;
  const [view, setView] = useState<View>('beside');
  const [at, setAt] = useState({ x: 0.5, y: 0.45 });
  const { facts } = seen;
  const frame = frameOf(job.photo, wish, focus, facts?.frame.bareBelowMm);
  return (
    <section class="stage" aria-label="Photo and proof">
      <div class="stage-bar">
        <Segments
          label="View"
          hideLabel
          value={view}
          choices={[
            { value: 'beside', label: 'Photo and proof' },
            { value: 'divider', label: 'Before and after' },
          ]}
          onChange={setView}
        />
        <label class="toggle">
          <input
            type="checkbox"
            checked={showClipped}
            onChange={({ currentTarget }) => onClipped(currentTarget.checked)}
          />
          <span>Show what is cut off</span>
        </label>
        <LookState seen={seen} />
      </div>
      {seen.error !== undefined && !isOffline(seen.error) && <Problem error={seen.error} onAgain={seen.again} />}
      {frame && (
        <div class={`panes ${view} ${wish.widthMm > wish.heightMm ? 'wide' : 'tall'}`}>
          {view === 'beside' ? (
            <>
              <CropPane
                photo={job.photo}
                source={`/api/jobs/${job.id}/photo`}
                name={job.photo.file}
                frame={frame}
                fit={wish.fit}
                onFocus={onFocus}
              />
              <ProofPane frame={frame} seen={seen} box={piece} at={at} onMove={setAt} />
              {facts && <Loupe job={job} look={facts} at={at} />}
            </>
          ) : (
            <DividerPane job={job} frame={frame} seen={seen} box={piece} />
          )}
        </div>
      )}
      {showClipped && facts && (
        <p class="legend">
          <span class="swatch dark" /> cut off at the dark end: {sayShare(facts.clippedDark)}
          <span class="swatch light" /> at the light end: {sayShare(facts.clippedLight)}
        </p>
      )}
    </section>
  );
}

/** Says once in a while what is shown, without a flicker while a slider moves. */
function LookState({ seen }: { readonly seen: Seen }) {
  const [late, setLate] = useState(false);
  const { waiting, error } = seen;
  useEffect(() => {
    if (!waiting) return setLate(false);
    const timer = setTimeout(() => setLate(true), 700);
    return () => clearTimeout(timer);
  }, [waiting]);
  if (error !== undefined) return null;
  if (waiting && late) return <Busy>{seen.picture ? 'Drawing the dots' : 'Reading the photo'}</Busy>;
  return (
    <p class="look-state" role="status">
      {seen.kind === 'proof' && !waiting ? 'Proof of the dots as they will burn' : ''}
    </p>
  );
}
