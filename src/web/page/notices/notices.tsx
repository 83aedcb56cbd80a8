import type { NoticeJson, PhotoSettings, PredictionJson } from '../../protocol.ts';
import { PutToRest } from '../photo/put-to-rest.tsx';
import { useShop, useWords } from '../shop-context.ts';
import { type Mend, mendOf } from './mends.ts';

/** What notices speak of, and what does what mends them. */
export interface Mending {
  readonly wish: PhotoSettings;
  readonly facts?: Pick<PredictionJson, 'zoom' | 'turnDeg'> | undefined;
  /** Another wish, or a group of controls. */
  readonly onMend?: (mend: Exclude<Mend, { readonly go: string }>) => void;
  /** Other screens open in a window of their own: what is on this one is not kept yet. */
  readonly apart?: boolean;
}

/** Each notice on one line with one thing to do about it; the rest of it is a click away. */
export function NoticeLines({
  notices,
  mending,
}: {
  readonly notices: readonly NoticeJson[];
  readonly mending?: Mending;
}) {
  const words = useWords();
  return (
    <ul class="notice-lines">
      {notices.map((one) => (
        <li key={one.text}>
          <p>{words(one.line)}</p>
          {mending && <MendButton notice={one} mending={mending} />}
          <details>
            <summary>More about it</summary>
            <p>{words(one.text)}</p>
            <PutToRest known={one.rest} />
          </details>
        </li>
      ))}
    </ul>
  );
}

/** The one thing to do about a notice; nothing where only a person can. */
export function MendButton({ notice, mending }: { readonly notice: NoticeJson; readonly mending: Mending }) {
  const { shop, unit } = useShop();
  const { wish, facts, onMend, apart } = mending;
  const mend = mendOf(notice, { wish, facts, shop, unit });
  if (!mend) return null;
  if ('go' in mend) {
    return (
      <a
        class="button plain mend"
        href={`#${mend.go}`}
        {...(apart ? { target: '_blank', rel: 'noopener opener' } : {})}
      >
        <span>{mend.label}</span>
      </a>
    );
  }
  return onMend ? (
    <button type="button" class="button plain mend" onClick={() => onMend(mend)}>
      <span>{mend.label}</span>
    </button>
  ) : null;
}
