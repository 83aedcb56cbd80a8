import { useState } from 'preact/hooks';
import type { BurnedCard, JobCard } from '../../protocol.ts';
import { recordBurned } from '../api.ts';
import { numbers } from '../numbers.ts';
import { Button, NumberField } from '../parts/parts.tsx';

/** Most pieces of one entry, a count. Assumed: far above a shop's day. */
const MOST_PIECES = 100_000;

/** Keeps how many of a job were burned, and how they came out. */
export function Burned({ job }: { readonly job: JobCard }) {
  const [count, setCount] = useState(1);
  const [scrap, setScrap] = useState(0);
  const [note, setNote] = useState('');
  const [picture, setPicture] = useState<File>();
  const [kept, setKept] = useState<BurnedCard>();
  const [problem, setProblem] = useState<string>();
  const keep = async () => {
    try {
      const asked = { count, scrap, ...(note.trim() === '' ? {} : { note: note.trim() }) };
      setKept(await recordBurned(job.id, asked, picture));
      setProblem(undefined);
    } catch (error) {
      setProblem(error instanceof Error ? error.message : String(error));
    }
  };
  return (
    <details class="burned">
      <summary>Burned</summary>
      <div class="row">
        <NumberField label="Good" unit="" value={count} min={0} max={MOST_PIECES} step={1} onChange={setCount} />
        <NumberField label="Spoiled" unit="" value={scrap} min={0} max={MOST_PIECES} step={1} onChange={setScrap} />
      </div>
      <label class="field">
        <span class="label">How it came out</span>
        <input
          type="text"
          maxLength={1000}
          value={note}
          onInput={({ currentTarget }) => setNote(currentTarget.value)}
        />
      </label>
      <label class="field">
        <span class="label">A picture of the piece</span>
        <input type="file" accept="image/*" onChange={({ currentTarget }) => setPicture(currentTarget.files?.[0])} />
      </label>
      <Button disabled={count + scrap === 0} onClick={() => void keep()}>
        Keep in the record
      </Button>
      <p class="note" role="status">
        {problem ?? (kept ? `Kept: ${kept.count} good, ${kept.scrap} spoiled, ${numbers.sayDay(kept.date)}. ` : '')}
        {kept && <a href="#/shop">The record of the shop</a>}
      </p>
    </details>
  );
}
