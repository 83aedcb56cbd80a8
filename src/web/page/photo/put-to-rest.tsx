import { useState } from 'preact/hooks';
import type { KnownNotice } from '../../../notices.ts';
import { restNotice } from '../api.ts';
import { Button } from '../parts/parts.tsx';

/** A warning that the shop knows and accepts speaks no more, until it is about something else or worse by much. */
export function PutToRest({ known }: { readonly known: KnownNotice | null | undefined }) {
  const [said, setSaid] = useState<string>();
  if (!known) return null;
  const rest = () =>
    restNotice(known).then(
      () => setSaid('At rest from now on. The shop’s page lets it speak again.'),
      (error: unknown) => setSaid(error instanceof Error ? error.message : String(error)),
    );
  return said === undefined ? (
    <Button kind="quiet" class="put-to-rest" onClick={() => void rest()}>
      We know: put it to rest
    </Button>
  ) : (
    <span class="note" role="status">
      {' '}
      {said}
    </span>
  );
}
