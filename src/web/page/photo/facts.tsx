import type { JobCard, PredictionJson } from '../../protocol.ts';
import { sayShare } from '../measure.ts';
import { type Mending, NoticeLines } from '../notices/notices.tsx';
import { numbers } from '../numbers.ts';
import { sayAgreed } from '../parts/agreed.tsx';
import { Busy, Button, Icon } from '../parts/parts.tsx';
import { PrintSheet } from '../parts/print-sheet.tsx';
import { titleIn, useShop, useWords } from '../shop-context.ts';
import type { ShownPreview } from '../stage/use-preview.ts';
import { Burned } from './burned.tsx';

/** What a person should know before the piece is burned, and what to do about it. */
export function ThingsToKnow({ seen, mending }: { readonly seen: ShownPreview; readonly mending: Mending }) {
  const { facts, error } = seen;
  if (!facts || error !== undefined) return <p class="empty">They come with the proof.</p>;
  return (
    <>
      {facts.notices.length === 0 ? (
        <p class="empty">Nothing any more.</p>
      ) : (
        <NoticeLines notices={facts.notices} mending={mending} />
      )}
      {facts.atRest && <p class="note">Put to rest by the shop: {facts.atRest}.</p>}
    </>
  );
}

/** The figures of the proof, for whoever burns it. */
export function BenchFacts({ seen }: { readonly seen: ShownPreview }) {
  const words = useWords();
  const { facts, waiting, error } = seen;
  if (!facts || error !== undefined) return <p class="empty">The figures come with the proof.</p>;
  return (
    <>
      <section aria-labelledby="expect-title" aria-busy={waiting}>
        <h3 id="expect-title">What to expect</h3>
        <Expect facts={facts} />
      </section>
      {facts.cautions.length > 0 && (
        <details>
          <summary>{facts.cautions.length} cautions for this machine and material</summary>
          <ul class="cautions">
            {facts.cautions.map(({ text }) => (
              <li key={text}>{words(text)}</li>
            ))}
          </ul>
          <p class="note">The machine’s manual, local codes and licensed practice come first.</p>
        </details>
      )}
    </>
  );
}

function Expect({ facts }: { readonly facts: PredictionJson }) {
  const words = useWords();
  const { shop } = useShop();
  const { prediction, clippedDark, clippedLight, profile, dots, typed, screen, price, seen } = facts;
  return (
    <>
      <dl class="fact-rows">
        <dt>Tones off by, ΔL*</dt>
        <dd>
          {numbers.say(prediction.meanDeltaL, 1)} on average, {numbers.say(prediction.worstDeltaL, 1)} at worst
        </dd>
        <dt>Cut off</dt>
        <dd>
          {sayShare(clippedDark)} dark, {sayShare(clippedLight)} light
        </dd>
        <dt>The material shows</dt>
        <dd>
          L* {Math.round(profile.bareL)} bare to {Math.round(profile.fullL)} marked
        </dd>
        {seen && (
          <>
            <dt>Looked at</dt>
            <dd>{words(seen.note)}</dd>
          </>
        )}
        <dt>Dots</dt>
        <dd>
          {dots.width} × {dots.height}, {sayShare(dots.firing)} fire
        </dd>
        <dt>Screen</dt>
        <dd>{titleIn(shop.screens, screen)}</dd>
        <dt>Type in</dt>
        <dd>{words(typed)}</dd>
      </dl>
      {price ? (
        <details>
          <summary>How the price comes about</summary>
          <table class="price">
            <tbody>
              {price.lines.map(([what, amount]) => (
                <tr key={what}>
                  <th scope="row">{words(what)}</th>
                  <td>{amount}</td>
                </tr>
              ))}
            </tbody>
          </table>
        </details>
      ) : (
        <p class="note">
          No price: the shop has no list of prices. <a href="#/shop/new/price">Set the prices</a>
        </p>
      )}
    </>
  );
}

/** The files of a job, and how to make them. */
export function KeepJob({
  job,
  ready,
  onKeep,
}: {
  readonly job: JobCard;
  readonly ready: boolean;
  readonly onKeep: () => void;
}) {
  const { shop } = useShop();
  const { state, files, stale } = job;
  const kept = state === 'kept' && !stale;
  return (
    <section class="keep">
      {state === 'making' ? (
        <Busy>Making the files</Busy>
      ) : (
        <>
          {job.agreed && <p class={job.agreed.holds ? 'note' : 'warn-line'}>{sayAgreed(job.agreed)}.</p>}
          {stale && <p class="note">You have changed something since the files were made.</p>}
          {!kept && (
            <Button kind="main" icon="check" disabled={!ready} onClick={onKeep}>
              Make the files
            </Button>
          )}
        </>
      )}
      {kept && <JobFiles job={job} files={files} />}
      {kept && <Burned job={job} />}
      {!kept && files.length === 0 && (
        <p class="note">
          Makes the bitmap, the proof and the ticket, and keeps them in <code>{shop.folder}/jobs</code>.
        </p>
      )}
    </section>
  );
}

const KINDS: readonly (readonly [ending: string, what: string])[] = [
  ['.ticket.html', 'Ticket to print'],
  ['.ticket.json', 'Ticket for programs'],
  ['.proof.png', 'Proof'],
  ['.png', 'Bitmap to burn'],
];

function JobFiles({ job, files }: { readonly job: JobCard; readonly files: readonly string[] }) {
  const sheet = files.find((file) => file.endsWith('.ticket.html'));
  const address = (file: string) => `/api/jobs/${job.id}/files/${encodeURIComponent(file)}`;
  return (
    <>
      <p class="done" role="status">
        <Icon name="check" />
        Kept. One pixel is one dot: import the bitmap at its own size.
      </p>
      <ul class="files">
        <li>
          <a href={`/api/jobs/${job.id}/all.zip`} download={`${job.name}.zip`}>
            <Icon name="down" />
            <span>
              Everything<small>{job.name}.zip</small>
            </span>
          </a>
        </li>
        {files.map((file) => (
          <li key={file}>
            <a href={address(file)} download={file}>
              <Icon name="down" />
              <span>
                {KINDS.find(([ending]) => file.endsWith(ending))?.[1] ?? 'File'}
                <small>{file}</small>
              </span>
            </a>
          </li>
        ))}
      </ul>
      {sheet && <PrintSheet address={`${address(sheet)}?view`} />}
    </>
  );
}
