import type { RefObject } from 'preact';
import { useEffect, useRef, useState } from 'preact/hooks';
import type { Frame } from '../../../photo/index.ts';
import type { JobCard } from '../../protocol.ts';
import { followPointer } from '../parts/drag.ts';
import { Segments } from '../parts/parts.tsx';
import { radiusOf } from './crop.tsx';
import type { Seen } from './use-look.ts';

/** Steps to the right and down. Exact: by definition of the keys. */
const KEYS: Readonly<Record<string, readonly [number, number]>> = {
  ArrowLeft: [-1, 0],
  ArrowRight: [1, 0],
  ArrowUp: [0, -1],
  ArrowDown: [0, 1],
};
/**
 * Height of the loupe's glass, CSS pixels, and of what its width is a multiple: whole dots at each of its scales.
 * Assumed: a face's eye at four pixels a dot, beside the controls.
 */
const GLASS = { height: 192, step: 8, most: 720 } as const;
const SCALES = ['1', '4', '8'] as const;
type LoupeScale = (typeof SCALES)[number];

/** A place on the piece, shares of its width and height. */
export interface Place {
  readonly x: number;
  readonly y: number;
}

/** The proof, and under the loupe the dots it is made of. */
export function ProofPane({
  frame,
  seen,
  box,
  at,
  onMove: setAt,
}: {
  readonly frame: Frame;
  readonly seen: Seen;
  readonly box: RefObject<HTMLDivElement | null>;
  readonly at: Place;
  readonly onMove: (at: Place) => void;
}) {
  const follow = (event: PointerEvent) => {
    const size = box.current?.getBoundingClientRect();
    if (!size) return;
    setAt({
      x: clamp((event.clientX - size.left) / size.width),
      y: clamp((event.clientY - size.top) / size.height),
    });
  };
  return (
    <figure class="pane proof">
      <div
        ref={box}
        class={`piece ${seen.error === undefined ? '' : 'void'}`}
        role="slider"
        tabIndex={0}
        aria-label="Proof of the engraved piece. Arrow keys move the loupe."
        aria-valuemin={0}
        aria-valuemax={100}
        aria-valuenow={Math.round(100 * at.x)}
        aria-valuetext={`Loupe at ${Math.round(100 * at.x)} % across, ${Math.round(100 * at.y)} % down`}
        style={{
          '--aspect': `${frame.widthMm} / ${frame.heightMm}`,
          '--ratio': frame.widthMm / frame.heightMm,
          borderRadius: radiusOf(frame),
        }}
        {...followPointer(follow)}
        onKeyDown={(event) => {
          const way = KEYS[event.key];
          if (!way) return;
          event.preventDefault();
          const step = event.shiftKey ? 0.05 : 0.005;
          setAt({ x: clamp(at.x + way[0] * step), y: clamp(at.y + way[1] * step) });
        }}
      >
        {seen.picture && <img src={seen.picture} alt="" draggable={false} />}
        {seen.facts && <span class="ring" style={{ left: `${100 * at.x}%`, top: `${100 * at.y}%` }} />}
      </div>
      <figcaption>
        {seen.error === undefined ? 'Proof: how the piece will look' : 'No proof of these choices'}
      </figcaption>
    </figure>
  );
}

export function Loupe({
  job,
  look: { look, dots },
  at,
}: {
  readonly job: JobCard;
  readonly look: NonNullable<Seen['facts']>;
  readonly at: Place;
}) {
  const [scale, setScale] = useState<LoupeScale>('4');
  const [as, setAs] = useState<'surface' | 'dots'>('surface');
  const room = useRef<HTMLDivElement>(null);
  const glass = useGlassWidth(room);
  const times = Number(scale);
  const width = Math.min(dots.width, Math.ceil(glass / times));
  const height = Math.min(dots.height, GLASS.height / times);
  const x = Math.round(Math.min(Math.max(0, at.x * dots.width - width / 2), dots.width - width));
  const y = Math.round(Math.min(Math.max(0, at.y * dots.height - height / 2), dots.height - height));
  const address = `/api/jobs/${job.id}/looks/${look}/loupe?x=${x}&y=${y}&width=${width}&height=${height}&as=${as}`;
  const shown = useReady(address);
  return (
    <div class="loupe">
      <div ref={room} class="glass" style={{ height: `${GLASS.height}px` }}>
        {shown && (
          <img
            src={shown}
            alt={as === 'dots' ? 'Dots that fire, black, under the loupe' : 'Surface under the loupe'}
            width={width * times}
            height={height * times}
            draggable={false}
          />
        )}
      </div>
      <div class="loupe-tools">
        <Segments
          label="Loupe"
          value={as}
          choices={[
            { value: 'surface', label: 'Surface' },
            { value: 'dots', label: 'Dots' },
          ]}
          onChange={setAs}
        />
        <Segments
          label="Pixels to a dot"
          value={scale}
          choices={SCALES.map((value) => ({ value, label: value }))}
          onChange={setScale}
        />
        <p class="note">
          Dot {x + Math.round(width / 2)} of {dots.width},<br />
          line {y + Math.round(height / 2)} of {dots.height}
        </p>
      </div>
    </div>
  );
}

/** As wide as there is room, in whole steps. */
function useGlassWidth(room: { readonly current: HTMLDivElement | null }): number {
  const [width, setWidth] = useState(288);
  useEffect(() => {
    const box = room.current;
    if (!box) return;
    const watch = new ResizeObserver(() => {
      const whole = Math.ceil(box.clientWidth / GLASS.step) * GLASS.step;
      setWidth(Math.min(GLASS.most, Math.max(GLASS.step, whole)));
    });
    watch.observe(box);
    return () => watch.disconnect();
  }, [room]);
  return width;
}

/** The last picture that is there, until the next one is: the glass never goes blank. One at a time, the newest next. */
function useReady(address: string): string | undefined {
  const [shown, setShown] = useState<string>();
  const state = useRef({ busy: false, wanted: address }).current;
  useEffect(() => {
    state.wanted = address;
    const load = async (wanted: string) => {
      state.busy = true;
      const image = new Image();
      image.src = wanted;
      // A look that is gone by now gives no picture; the next look's will come.
      const there = await image.decode().then(
        () => true,
        () => false,
      );
      state.busy = false;
      if (there) setShown(wanted);
      if (state.wanted !== wanted) void load(state.wanted);
    };
    if (!state.busy) void load(address);
  }, [address, state]);
  return shown;
}

const clamp = (share: number) => Math.min(1, Math.max(0, share));
