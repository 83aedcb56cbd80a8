import { useEffect, useState } from 'preact/hooks';
import type { ComparisonView, ProfileView, Reading } from '../protocol.ts';
import { compareProfiles, getProfile, getReading, PageError, saveReading } from './api.ts';
import { titleOf, VERDICTS } from './material.tsx';
import { Busy, Button, Icon, Problem } from './parts.tsx';
import { CompareChart, DriftChart, ResidualChart, ToneCurveChart } from './plots.tsx';
import { PrintSheet } from './print-sheet.tsx';
import { useShop } from './shop-context.ts';

function BackToMaterials() {
  return (
    <a class="back" href="#/material">
      <Icon name="back" />
      All materials
    </a>
  );
}

function useLoaded<T>(load: () => Promise<T>, key: string): readonly [T | undefined, unknown, (value: T) => void] {
  const [value, setValue] = useState<T>();
  const [error, setError] = useState<unknown>();
  useEffect(() => {
    load().then(setValue, setError);
  }, [key]);
  return [value, error, setValue];
}

/** What was found in a capture, and what to make of it. */
export function ReadingScreen({ id }: { readonly id: string }) {
  const [reading, error, setReading] = useLoaded(() => getReading(id), id);
  return (
    <div class="reading">
      <BackToMaterials />
      {error !== undefined && <Problem error={error} />}
      {!reading && <h1 class="unseen">What was read</h1>}
      {!reading && error === undefined && <Busy>Opening what was read</Busy>}
      {reading && (
        <>
          <div class="intro">
            <h1>{titleOf(reading)}</h1>
            <p class="soft">
              {reading.date} · chart {reading.chart.slice(0, 6)}
            </p>
          </div>
          {reading.warnings.length > 0 && (
            <section class="distrust" aria-labelledby="distrust-title">
              <h2 id="distrust-title">
                <Icon name="warn" />
                What to distrust
              </h2>
              <ul>
                {reading.warnings.map((text) => (
                  <li key={text}>{text}</li>
                ))}
              </ul>
            </section>
          )}
          {reading.kind === 'learned' && <Learned reading={reading} onSaved={setReading} />}
          {reading.kind === 'checked' && <Checked reading={reading} />}
          {reading.kind === 'measured' && (
            <section class="card">
              {reading.sentences.map((text) => (
                <p key={text}>{text}</p>
              ))}
              <ReportLinks id={reading.id} />
            </section>
          )}
          <section aria-labelledby="found-title">
            <h2 id="found-title">What was found</h2>
            <p class="note">
              Green: patches that were read. Red: left out. Blue: the marks that say which chart it is. If the outlines
              do not lie on the patches, read the picture again with the corners by hand.
            </p>
            <div class="found">
              {Array.from({ length: reading.found }, (_, at) => (
                <img
                  key={at}
                  src={`/api/readings/${reading.id}/found-${at}.jpg?view`}
                  alt={`Capture ${at + 1} with the patches that were found`}
                />
              ))}
            </div>
          </section>
        </>
      )}
    </div>
  );
}

function ReportLinks({ id }: { readonly id: string }) {
  const address = `/api/readings/${id}/report.html?view`;
  return (
    <div class="actions">
      <a class="button plain" href={address} target="_blank" rel="noreferrer">
        <Icon name="photo" />
        <span>The whole report</span>
      </a>
      <PrintSheet address={address} label="Print it" title="Report" />
    </div>
  );
}

function Learned({
  reading,
  onSaved,
}: {
  readonly reading: Extract<Reading, { kind: 'learned' }>;
  readonly onSaved: (reading: Reading) => void;
}) {
  const { keepWish, lastWish, go } = useShop();
  const [error, setError] = useState<unknown>();
  const [busy, setBusy] = useState(false);
  const save = async (replace: boolean) => {
    setBusy(true);
    setError(undefined);
    try {
      onSaved(await saveReading(reading.id, replace));
    } catch (problem) {
      setError(problem);
    } finally {
      setBusy(false);
    }
  };
  const there = error instanceof PageError && error.code === 'result-exists';
  return (
    <div class="two-columns">
      <section class="card" aria-labelledby="curve-title">
        <h2 id="curve-title">Tone curve</h2>
        <ToneCurveChart points={reading.points} band={reading.band} patches={reading.patches} />
        <p class="note">
          Line: the curve that pictures go through. Band: where 95 % of patches burned later should lie. Dots: what was
          read, with the scatter of equal patches.
        </p>
        <h2>Measured minus model</h2>
        <ResidualChart patches={reading.patches} />
        <p class="note">Circles: tones. Squares: clusters and lines, which tell how wide a mark is.</p>
      </section>
      <section class="card" aria-labelledby="facts-title">
        <h2 id="facts-title">What was learned</h2>
        <dl class="fact-rows">
          {reading.facts.map(({ label, value }) => (
            <>
              <dt key={label}>{label}</dt>
              <dd key={`${label}-value`}>{value}</dd>
            </>
          ))}
        </dl>
        {there ? (
          <div class="problem" role="alert">
            <Icon name="warn" />
            <div>
              <p>The shop has a profile “{reading.name}” already.</p>
            </div>
            <div class="problem-actions">
              <Button onClick={() => save(true)}>Replace it</Button>
              <Button kind="quiet" onClick={() => setError(undefined)}>
                Leave it
              </Button>
            </div>
          </div>
        ) : (
          error !== undefined && <Problem error={error} onClose={() => setError(undefined)} />
        )}
        {busy ? (
          <Busy>Saving</Busy>
        ) : reading.saved ? (
          <>
            <p class="done" role="status">
              <Icon name="check" />
              Saved as “{reading.name}”.
            </p>
            <div class="actions">
              <Button
                kind="main"
                onClick={() => {
                  const { material: _material, ...wish } = lastWish;
                  keepWish({ ...wish, profile: reading.name, machine: reading.machine });
                  go('/');
                }}
              >
                Use it for a photo
              </Button>
              <a class="button plain" href={`#/material/profile/${reading.name}`}>
                <span>See the profile</span>
              </a>
            </div>
          </>
        ) : (
          !there && (
            <Button kind="main" icon="check" onClick={() => save(false)}>
              Save the profile
            </Button>
          )
        )}
        <ReportLinks id={reading.id} />
      </section>
    </div>
  );
}

function Checked({ reading }: { readonly reading: Extract<Reading, { kind: 'checked' }> }) {
  return (
    <div class="two-columns">
      <section class="card" aria-labelledby="verdict-title">
        <h2 id="verdict-title" class={`verdict ${reading.verdict}`}>
          The profile {VERDICTS[reading.verdict]}
        </h2>
        {reading.sentences.map((text) => (
          <p key={text}>{text}</p>
        ))}
        <table class="table">
          <thead>
            <tr>
              <th scope="col">Patch</th>
              <th scope="col">Coverage</th>
              <th scope="col">Expected</th>
              <th scope="col">Read</th>
              <th scope="col">ΔL*</th>
            </tr>
          </thead>
          <tbody>
            {reading.patches.map(({ label, coverage, expected, lightness, delta }) => (
              <tr key={label}>
                <th scope="row">{label}</th>
                <td>{Math.round(100 * coverage)} %</td>
                <td>{expected.toFixed(1)}</td>
                <td>{lightness.toFixed(1)}</td>
                <td>{delta.toFixed(1)}</td>
              </tr>
            ))}
          </tbody>
        </table>
        <ReportLinks id={reading.id} />
      </section>
      <section class="card" aria-labelledby="drift-title">
        <h2 id="drift-title">Drift so far</h2>
        <DriftChart history={reading.history} />
        <p class="note">Below the first line the profile holds; above the second it must be learned again.</p>
      </section>
    </div>
  );
}

/** One profile: its curve, its numbers, and how it has drifted. */
export function ProfileScreen({ name }: { readonly name: string }) {
  const [profile, error] = useLoaded<ProfileView>(() => getProfile(name), name);
  return (
    <div class="reading">
      <BackToMaterials />
      {error !== undefined && <Problem error={error} />}
      {!profile && <h1 class="unseen">Profile</h1>}
      {!profile && error === undefined && <Busy>Opening the profile</Busy>}
      {profile && (
        <>
          <div class="intro">
            <h1>{profile.title}</h1>
            <p class="soft">
              {profile.from === 'built-in'
                ? 'A computed example, not measured on your machine'
                : `Learned on ${profile.date}`}
            </p>
          </div>
          <div class="two-columns">
            <section class="card" aria-labelledby="curve-title">
              <h2 id="curve-title">Tone curve</h2>
              <ToneCurveChart points={profile.points} band={profile.band} />
            </section>
            <section class="card" aria-labelledby="numbers-title">
              <h2 id="numbers-title">Numbers</h2>
              <dl class="fact-rows">
                {profile.facts.map(({ label, value }) => (
                  <>
                    <dt key={label}>{label}</dt>
                    <dd key={`${label}-value`}>{value}</dd>
                  </>
                ))}
              </dl>
              <h2>Drift</h2>
              {profile.history.length > 0 ? (
                <>
                  <DriftChart history={profile.history} />
                  <p class="note">Below the first line the profile holds; above the second it must be learned again.</p>
                </>
              ) : (
                <p class="empty">Never checked. Burn a check strip now and then: it takes a minute.</p>
              )}
            </section>
          </div>
        </>
      )}
    </div>
  );
}

/** Two profiles over each other. */
export function CompareScreen({ a, b }: { readonly a: string; readonly b: string }) {
  const [comparison, error] = useLoaded<ComparisonView>(() => compareProfiles(a, b), `${a}/${b}`);
  return (
    <div class="reading">
      <BackToMaterials />
      {error !== undefined && <Problem error={error} />}
      {!comparison && <h1 class="unseen">Two profiles</h1>}
      {!comparison && error === undefined && <Busy>Comparing</Busy>}
      {comparison && (
        <>
          <div class="intro">
            <h1>Two profiles</h1>
            <ul class="two-keys">
              <li>
                <span class="key-line" /> {comparison.a.title}
              </li>
              <li>
                <span class="key-line dashed" /> {comparison.b.title}
              </li>
            </ul>
          </div>
          <div class="two-columns">
            <section class="card" aria-labelledby="curves-title">
              <h2 id="curves-title">Tone curves</h2>
              <CompareChart comparison={comparison} />
            </section>
            <section class="card" aria-labelledby="differ-title">
              <h2 id="differ-title">How they differ</h2>
              {comparison.sentences.map((text) => (
                <p key={text}>{text}</p>
              ))}
              <details>
                <summary>All tones</summary>
                <table class="table">
                  <thead>
                    <tr>
                      <th scope="col">Coverage</th>
                      <th scope="col">L* of the first</th>
                      <th scope="col">L* of the second</th>
                      <th scope="col">Difference</th>
                    </tr>
                  </thead>
                  <tbody>
                    {comparison.rows.map(({ coverage, lightnessA, lightnessB, delta }) => (
                      <tr key={coverage}>
                        <th scope="row">{Math.round(100 * coverage)} %</th>
                        <td>{lightnessA.toFixed(1)}</td>
                        <td>{lightnessB.toFixed(1)}</td>
                        <td>{delta.toFixed(1)}</td>
                      </tr>
                    ))}
                  </tbody>
                </table>
              </details>
            </section>
          </div>
        </>
      )}
    </div>
  );
}
