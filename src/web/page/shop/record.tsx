import { useEffect, useState } from 'preact/hooks';
import type { BurnedAgain, BurnedLine, BurnedMonth } from '../../protocol.ts';
import { burnAgain, getBurned, PageError } from '../api.ts';
import { sayDuration } from '../measure.ts';
import { numbers } from '../numbers.ts';
import { Busy, Button, Icon, Problem } from '../parts/parts.tsx';

const thisMonth = () => new Date().toISOString().slice(0, 7);

/** What was burned in a month, as a list and as a table for a spreadsheet, and each of it once more. */
export function BurnedRecord() {
  const [month, setMonth] = useState(thisMonth);
  const [burned, setBurned] = useState<BurnedMonth>();
  const [error, setError] = useState<unknown>();
  useEffect(() => {
    setError(undefined);
    getBurned(month).then(setBurned, setError);
  }, [month]);
  return (
    <section class="record" aria-labelledby="record-title">
      <h2 id="record-title">Burned</h2>
      <div class="row">
        <label class="field">
          <span class="label">Month</span>
          <input
            type="month"
            value={month}
            onChange={({ currentTarget }) => /^\d{4}-\d{2}$/.test(currentTarget.value) && setMonth(currentTarget.value)}
          />
        </label>
        <a class="button plain" href={`/api/burned.csv?month=${month}`} download={`burned-${month}.csv`}>
          <Icon name="down" />
          <span>As a table (CSV)</span>
        </a>
      </div>
      {error !== undefined && <Problem error={error} />}
      {burned && <p role="status">{sayTotals(burned)}</p>}
      {burned && burned.entries.length > 0 && (
        <ul class="burned-list">
          {[...burned.entries].reverse().map((entry) => (
            <BurnedRow key={entry.id} entry={entry} />
          ))}
        </ul>
      )}
    </section>
  );
}

function sayTotals({ entries, totals }: BurnedMonth): string {
  if (entries.length === 0) return 'Nothing in this month. “Burned” beside the files of a photo keeps it here.';
  const money = totals.money.map(({ currency, amountMinor, minorDigits }) =>
    new Intl.NumberFormat(undefined, { style: 'currency', currency }).format(amountMinor / 10 ** minorDigits),
  );
  const facts = [`${totals.count} good`, `${totals.scrap} spoiled`, sayDuration(totals.seconds), ...money];
  return `${facts.join(' · ')}.`;
}

function BurnedRow({ entry }: { readonly entry: BurnedLine }) {
  const { id, date, name, count, scrap, note, picture } = entry;
  return (
    <li>
      {picture && <img src={`/api/burned/${id}/picture`} alt={`${name} as it came out`} loading="lazy" />}
      <div>
        <p>
          <b>{name}</b> · {numbers.sayDay(date)} · {count} good{scrap > 0 ? `, ${scrap} spoiled` : ''}
        </p>
        {note && <p class="note">{note}</p>}
        <SameAgain entry={entry} />
      </div>
    </li>
  );
}

/** The same bytes as then, or what has changed; as things stand now only when that is said. */
function SameAgain({ entry: { id, name } }: { readonly entry: BurnedLine }) {
  const [made, setMade] = useState<BurnedAgain>();
  const [busy, setBusy] = useState(false);
  const [error, setError] = useState<unknown>();
  const make = async (force: boolean) => {
    setBusy(true);
    setError(undefined);
    try {
      setMade(await burnAgain(id, force));
    } catch (problem) {
      setError(problem);
    } finally {
      setBusy(false);
    }
  };
  const changed = error instanceof PageError && error.code === 'job-changed';
  return (
    <>
      {busy ? (
        <Busy>Making {name} again</Busy>
      ) : (
        <Button icon="redo" onClick={() => void make(false)}>
          The same again
        </Button>
      )}
      {error !== undefined && <Problem error={error} onClose={() => setError(undefined)} />}
      {changed && <Button onClick={() => void make(true)}>Make it as things stand now</Button>}
      {made && (
        <>
          <p class="done" role="status">
            <Icon name="check" />
            {made.changes.length === 0 ? 'The same bitmap as then, byte for byte.' : made.changes.join(' ')}
          </p>
          <ul class="files">
            {made.files.map((file) => (
              <li key={file}>
                <a href={`/api/burned/${id}/files/${encodeURIComponent(file)}`} download={file}>
                  <Icon name="down" />
                  <span>{file}</span>
                </a>
              </li>
            ))}
          </ul>
        </>
      )}
    </>
  );
}
