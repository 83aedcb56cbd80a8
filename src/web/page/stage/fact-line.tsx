import type { PredictionJson } from '../../protocol.ts';
import { sayDuration } from '../measure.ts';
import { MendButton, type Mending } from '../notices/notices.tsx';
import { Button, Icon, isOffline } from '../parts/parts.tsx';
import { useWords } from '../shop-context.ts';
import type { ShownPreview } from './use-preview.ts';

/**
 * Mean error of the tones, L*, up to which they are called true and close. Assumed: one L* is about what the eye tells
 * apart side by side, three are seen by whoever compares with the photo.
 */
const TONES = { trueL: 1, closeL: 3 } as const;

/**
 * The error of the tones in words. It is that of the profile's own forecast: an example's is worth as much as the
 * example.
 */
function sayTones({ prediction, profile }: Pick<PredictionJson, 'prediction' | 'profile'>): string {
  if (profile.origin === 'assumed') return 'a guess';
  const { meanDeltaL } = prediction;
  if (meanDeltaL <= TONES.trueL) return 'true to the photo';
  return meanDeltaL <= TONES.closeL ? 'close to the photo' : 'not as in the photo';
}

/** Time, price and tones, in words. */
export function KeyFacts({ facts }: { readonly facts: PredictionJson }) {
  return (
    <dl class="key-facts">
      <div>
        <dt>On the machine</dt>
        <dd>{sayDuration(facts.seconds)}</dd>
      </div>
      {facts.price && (
        <div>
          <dt>Price</dt>
          <dd>{facts.price.total}</dd>
        </div>
      )}
      <div>
        <dt>Tones</dt>
        <dd>{sayTones(facts)}</dd>
      </div>
    </dl>
  );
}

/** What to expect, in one line: time, price, tones, and whether there is something to know. */
export function FactLine({
  seen,
  mending,
  onKnow,
  onBench,
}: {
  readonly seen: ShownPreview;
  readonly mending: Mending;
  /** Asks for all that is to be known. */
  readonly onKnow: () => void;
  readonly onBench: () => void;
}) {
  const words = useWords();
  const { facts, error, waiting } = seen;
  const known = error === undefined ? facts : undefined;
  const [first] = known?.notices ?? [];
  return (
    <>
      <div class="fact-line" aria-busy={waiting}>
        {known ? (
          <KeyFacts facts={known} />
        ) : (
          <p class="empty">
            {error === undefined || isOffline(error)
              ? 'The figures come with the proof.'
              : 'These choices make no piece.'}
          </p>
        )}
      </div>
      {known && first && (
        <div class="know">
          <button type="button" class="to-know" onClick={onKnow}>
            <Icon name="warn" />
            <span>
              <b>{known.notices.length === 1 ? '1 thing to know' : `${known.notices.length} things to know`}</b>
              <span class="first-word">{words(first.line)}</span>
            </span>
          </button>
          <MendButton notice={first} mending={mending} />
        </div>
      )}
      <Button kind="quiet" class="for-bench" onClick={onBench}>
        For the bench
      </Button>
    </>
  );
}
