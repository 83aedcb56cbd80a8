import type { JobCard, LookFactsJson } from '../../protocol.ts';
import { round, sayDuration, sayShare } from '../measure.ts';
import { Busy, Button, Icon, isOffline } from '../parts/parts.tsx';
import { PrintSheet } from '../parts/print-sheet.tsx';
import { useShop } from '../shop-context.ts';
import type { Seen } from '../stage/use-look.ts';

/** What to expect, what to mind, and the way to the files. */
export function PhotoFacts({
  job,
  seen,
  onKeep,
}: {
  readonly job: JobCard;
  readonly seen: Seen;
  readonly onKeep: () => void;
}) {
  const { facts, waiting, error } = seen;
  return (
    <div class="facts">
      <section aria-labelledby="expect-title" aria-busy={waiting}>
        <h2 id="expect-title">What to expect</h2>
        {facts ? (
          <Expect facts={facts} />
        ) : (
          <p class="empty">
            {error === undefined || isOffline(error)
              ? 'The figures come with the proof.'
              : 'None: these choices make no piece.'}
          </p>
        )}
      </section>
      {facts && facts.warnings.length > 0 && (
        <section class="warnings" aria-labelledby="warn-title">
          <h2 id="warn-title">
            <Icon name="warn" />
            Before you burn
          </h2>
          <ul>
            {facts.warnings.map((text) => (
              <li key={text}>{text}</li>
            ))}
          </ul>
        </section>
      )}
      <KeepJob job={job} ready={facts !== undefined && error === undefined} onKeep={onKeep} />
      {facts && facts.cautions.length > 0 && (
        <section aria-labelledby="caution-title">
          <details open>
            <summary id="caution-title">Cautions for this machine and material</summary>
            <ul class="cautions">
              {facts.cautions.map(({ text }) => (
                <li key={text}>{text}</li>
              ))}
            </ul>
            <p class="note">The machine’s manual, local codes and licensed practice come first.</p>
          </details>
        </section>
      )}
    </div>
  );
}

function Expect({ facts }: { readonly facts: LookFactsJson }) {
  const { seconds, prediction, clippedDark, clippedLight, profile, dots, settings, screen, price } = facts;
  const burn = [
    `${round(settings.powerW, 2)} W`,
    `${round(settings.speedMmPerS, 1)} mm/s`,
    ...(settings.rateKHz === undefined ? [] : [`${round(settings.rateKHz, 1)} kHz`]),
    ...(settings.pulseNs === undefined ? [] : [`${round(settings.pulseNs, 1)} ns`]),
    `${settings.passes} ${settings.passes === 1 ? 'pass' : 'passes'}`,
    settings.scan === 'two-way' ? 'two ways' : 'one way',
  ].join(', ');
  return (
    <>
      <dl class="key-facts">
        <div>
          <dt>On the machine</dt>
          <dd>{sayDuration(seconds)}</dd>
        </div>
        {price && (
          <div>
            <dt>Price</dt>
            <dd>{price.total}</dd>
          </div>
        )}
      </dl>
      <dl class="fact-rows">
        <dt>Tones off by, ΔL*</dt>
        <dd>
          {round(prediction.meanDeltaL, 1)} on average, {round(prediction.worstDeltaL, 1)} at worst
        </dd>
        <dt>Cut off</dt>
        <dd>
          {sayShare(clippedDark)} dark, {sayShare(clippedLight)} light
        </dd>
        <dt>The material shows</dt>
        <dd>
          L* {Math.round(profile.bareL)} bare to {Math.round(profile.fullL)} marked
        </dd>
        <dt>Dots</dt>
        <dd>
          {dots.width} × {dots.height}, {sayShare(dots.firing)} fire
        </dd>
        <dt>Screen</dt>
        <dd>{screen}</dd>
        <dt>Type in</dt>
        <dd>{burn}</dd>
      </dl>
      {price && (
        <details>
          <summary>How the price comes about</summary>
          <table class="price">
            <tbody>
              {price.lines.map(([what, amount]) => (
                <tr key={what}>
                  <th scope="row">{what}</th>
                  <td>{amount}</td>
                </tr>
              ))}
            </tbody>
          </table>
        </details>
      )}
    </>
  );
}

function KeepJob({
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
    <section class="keep" aria-labelledby="keep-title">
      <h2 id="keep-title">Files to burn</h2>
      {state === 'making' ? (
        <Busy>Making the files</Busy>
      ) : (
        <>
          {stale && <p class="note">You have changed something since the files were made.</p>}
          {!kept && (
            <Button kind="main" icon="check" disabled={!ready} onClick={onKeep}>
              {stale ? 'Make the files again' : 'Keep as a job'}
            </Button>
          )}
        </>
      )}
      {kept && <JobFiles job={job} files={files} />}
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
