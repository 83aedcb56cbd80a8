import { useEffect, useState } from 'preact/hooks';
import type { RestableLine } from '../../protocol.ts';
import { listRestable, wakeNotice } from '../api.ts';
import { numbers } from '../numbers.ts';
import { Button, Problem } from '../parts/parts.tsx';

/** Warnings that the shop has put to rest. */
export function RestedWarnings() {
  const [lines, setLines] = useState<readonly RestableLine[]>([]);
  const [error, setError] = useState<unknown>();
  const load = () => listRestable().then((all) => setLines(all.filter(({ rested }) => rested)), setError);
  useEffect(() => void load(), []);
  return (
    <section aria-labelledby="rested-title">
      <h2 id="rested-title">Warnings at rest</h2>
      {error !== undefined && <Problem error={error} onClose={() => setError(undefined)} />}
      {lines.length === 0 && <p class="empty">None: every warning speaks.</p>}
      <ul class="rested-list">
        {lines.map(({ code, title, rested }) => (
          <li key={code}>
            <span>
              {title}
              <small>
                since {numbers.sayDay(rested!.date)}
                {rested!.causes ? `: ${rested!.causes.join('; ')}` : ''}
                {rested!.note ? ` (${rested!.note})` : ''}
              </small>
            </span>
            <Button onClick={() => void wakeNotice(code).then(load, setError)}>Let it speak</Button>
          </li>
        ))}
      </ul>
    </section>
  );
}
