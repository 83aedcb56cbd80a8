import type { RefObject } from 'preact';
import { useState } from 'preact/hooks';
import type { Frame } from '../../../photo/index.ts';
import type { JobCard } from '../../protocol.ts';
import { followPointer } from '../parts/drag.ts';
import { radiusOf } from './crop.tsx';
import type { Seen } from './use-look.ts';

/** The photo on the left of the line, the engraved piece on the right, both cut to the piece. */
export function DividerPane({
  job,
  frame,
  seen,
  box,
}: {
  readonly job: JobCard;
  readonly frame: Frame;
  readonly seen: Seen;
  readonly box: RefObject<HTMLDivElement | null>;
}) {
  const [at, setAt] = useState(50);
  const follow = (event: PointerEvent) => {
    const size = box.current?.getBoundingClientRect();
    if (size) setAt(Math.round(Math.min(100, Math.max(0, (100 * (event.clientX - size.left)) / size.width))));
  };
  return (
    <figure class="pane divider-pane">
      <div
        ref={box}
        class={`piece ${seen.error === undefined ? '' : 'void'}`}
        style={{
          '--aspect': `${frame.widthMm} / ${frame.heightMm}`,
          '--ratio': frame.widthMm / frame.heightMm,
          '--at': `${at}%`,
          borderRadius: radiusOf(frame),
        }}
        {...followPointer(follow)}
      >
        {seen.picture && <img class="after" src={seen.picture} alt="Proof of the engraved piece" draggable={false} />}
        <div class="before">
          <CroppedPhoto job={job} frame={frame} />
        </div>
        <div class="line" aria-hidden="true" />
      </div>
      <figcaption>
        <label class="divider-range">
          <span>Photo</span>
          <input
            type="range"
            min={0}
            max={100}
            value={at}
            aria-label="Divider between photo and proof"
            aria-valuetext={`${at} % photo`}
            onInput={({ currentTarget }) => setAt(currentTarget.valueAsNumber)}
          />
          <span>Proof</span>
        </label>
      </figcaption>
    </figure>
  );
}

/** The photo as the frame crops and places it, drawn by scaling its small picture. */
function CroppedPhoto({ job, frame }: { readonly job: JobCard; readonly frame: Frame }) {
  const { photo } = job;
  const { crop, place, width, height } = frame;
  const share = (part: number, whole: number) => `${(100 * part) / whole}%`;
  return (
    <div
      class="placed"
      style={{
        left: share(place.x, width),
        top: share(place.y, height),
        width: share(place.width, width),
        height: share(place.height, height),
      }}
    >
      <img
        src={`/api/jobs/${job.id}/photo`}
        alt="As cropped, before engraving"
        draggable={false}
        style={{
          width: share(photo.width, crop.width),
          height: share(photo.height, crop.height),
          left: share(-crop.x, crop.width),
          top: share(-crop.y, crop.height),
        }}
      />
    </div>
  );
}
