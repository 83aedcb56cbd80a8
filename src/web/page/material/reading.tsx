import { useEffect, useRef, useState } from 'preact/hooks';
import type { ComparisonView, PhotoSettings, ProfileUses, ProfileView, Reading } from '../../protocol.ts';
import {
  compareProfiles,
  getProfile,
  getProfileUses,
  getReading,
  removeProfile,
  renameProfile,
  saveReading,
} from '../api.ts';
import { NoticeLines } from '../notices/notices.tsx';
import { numbers } from '../numbers.ts';
import { Busy, Button, Icon, Problem } from '../parts/parts.tsx';
import { CompareChart, DriftChart, ResidualChart, ToneCurveChart } from '../parts/plots.tsx';
import { PrintSheet } from '../parts/print-sheet.tsx';
import { without } from '../photo/without.ts';
import { useShop, useWords } from '../shop-context.ts';
import { titleOf, VERDICTS } from './material.tsx';
import { sayProvenance, sayReadingProvenance } from './profile-words.ts';

function BackToMaterials() {
  return (
    <a class="back" href="#/material">
      <Icon name="back" />
      All materials
    </a>
  );
}

interface Fact {
  readonly label: string;
  readonly value: string;
  readonly meaning?: string | undefined;
}

function FactRows({ facts }: { readonly facts: readonly Fact[] }) {
  const words = useWords();
  return (
    <dl class="fact-rows">
      {facts.map(({ label, value, meaning }) => (
        <>
          <dt key={label}>{label}</dt>
          <dd key={`${label}-value`}>
            {words(value)}
            {meaning && <span class="note"> {words(meaning)}</span>}
          </dd>
        </>
      ))}
    </dl>
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

/** A photo on what was read: what a chart is to be drawn for, where that mends something. */
function wishOf(reading: Reading, last: PhotoSettings): PhotoSettings {
  if (reading.kind !== 'learned') return last;
  const { machine, material } = reading;
  return { ...without(last, 'profile', 'material'), machine, material };
}

/** What was found in a capture, and what to make of it. */
export function ReadingScreen({ id }: { readonly id: string }) {
  const [reading, error, setReading] = useLoaded(() => getReading(id), id);
  const { lastSettings } = useShop();
  const words = useWords();
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
            <p class="soft">{sayReadingProvenance(reading)}</p>
            {reading.kind === 'learned' && reading.verdict && <p class="lead">{words(reading.verdict)}</p>}
            {reading.isVirtual && (
              <p class="note">
                No laser has burned this piece: the virtual engraver did, and a virtual scanner took its picture. It
                shows the way. Burn the chart on your own material before you trust its numbers.
              </p>
            )}
          </div>
          {reading.warnings.length > 0 && (
            <section class="distrust" aria-labelledby="distrust-title">
              <h2 id="distrust-title">
                <Icon name="warn" />
                What to distrust
              </h2>
              {reading.notices ? (
                <NoticeLines notices={reading.notices} mending={{ wish: wishOf(reading, lastSettings) }} />
              ) : (
                <ul>
                  {reading.warnings.map((text) => (
                    <li key={text}>{words(text)}</li>
                  ))}
                </ul>
              )}
            </section>
          )}
          {reading.kind === 'learned' && <Learned reading={reading} onSaved={setReading} />}
          {reading.kind === 'checked' && <Checked reading={reading} onSaved={setReading} />}
          {reading.kind === 'measured' && (
            <section class="card">
              {reading.sentences.map((text) => (
                <p key={text}>{words(text)}</p>
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
        <FactRows facts={reading.facts} />
        <SaveReading found={reading} id={reading.id} date={reading.date} onSaved={onSaved} />
        <ReportLinks id={reading.id} />
      </section>
    </div>
  );
}

/** What was learned, into the shop: as itself, in the place of another, or beside it. */
function SaveReading({
  found,
  id,
  date,
  onSaved,
}: {
  readonly found: Pick<Extract<Reading, { kind: 'learned' }>, 'saved' | 'machine' | 'title'>;
  readonly id: string;
  readonly date: string;
  readonly onSaved: (reading: Reading) => void;
}) {
  const { keepSettings, lastSettings, go } = useShop();
  const { saved, machine } = found;
  const [error, setError] = useState<unknown>();
  const [busy, setBusy] = useState(false);
  const [title, setTitle] = useState(`${found.title}, ${numbers.sayDay(date)}`);
  const save = async (how: Parameters<typeof saveReading>[1]) => {
    setBusy(true);
    setError(undefined);
    try {
      onSaved(await saveReading(id, how));
    } catch (problem) {
      setError(problem);
      // Another window may have saved meanwhile.
      await getReading(id).then(onSaved, () => undefined);
    } finally {
      setBusy(false);
    }
  };
  if (busy) return <Busy>Saving</Busy>;
  if (saved.state === 'this') {
    return (
      <>
        <p class="done" role="status">
          <Icon name="check" />
          Saved as “{saved.title}”.
        </p>
        <div class="actions">
          <Button
            kind="main"
            onClick={() => {
              const { material: _material, ...wish } = lastSettings;
              keepSettings({ ...wish, profile: saved.name, machine });
              go('/');
            }}
          >
            Use it for a photo
          </Button>
          <a class="button plain" href={`#/material/profile/${saved.name}`}>
            <span>See the profile</span>
          </a>
        </div>
      </>
    );
  }
  return (
    <>
      {error !== undefined && <Problem error={error} onClose={() => setError(undefined)} />}
      {saved.state === 'no' ? (
        <Button kind="main" icon="check" onClick={() => save({ replace: false })}>
          Save the profile
        </Button>
      ) : (
        <>
          <p class="warn-line" role="status">
            <Icon name="warn" />
            Another reading, of {numbers.sayDay(saved.date)}, is saved as “{saved.title}”.
          </p>
          <Button onClick={() => save({ replace: true })}>Replace it with this one</Button>
          <div class="field">
            <label class="label" for="save-title">
              Or save this one beside it as
            </label>
            <input
              id="save-title"
              type="text"
              value={title}
              maxLength={80}
              onInput={({ currentTarget }) => setTitle(currentTarget.value)}
            />
          </div>
          <Button
            kind="main"
            icon="check"
            disabled={title.trim() === ''}
            onClick={() => save({ replace: false, title: title.trim() })}
          >
            Save as
          </Button>
        </>
      )}
    </>
  );
}

function Checked({
  reading,
  onSaved,
}: {
  readonly reading: Extract<Reading, { kind: 'checked' }>;
  readonly onSaved: (reading: Reading) => void;
}) {
  const words = useWords();
  return (
    <div class="two-columns">
      <section class="card" aria-labelledby="verdict-title">
        <h2 id="verdict-title" class={`verdict ${reading.verdict}`}>
          The profile {VERDICTS[reading.verdict]}
        </h2>
        {[...(reading.ofPrint ?? []), ...reading.sentences].map((text) => (
          <p key={text}>{words(text)}</p>
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
                <td>{numbers.say(expected, 1, 'fixed')}</td>
                <td>{numbers.say(lightness, 1, 'fixed')}</td>
                <td>{numbers.say(delta, 1, 'fixed')}</td>
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
        {reading.adjustment && (
          <>
            <h2>Adjusted to the day</h2>
            {reading.adjustment.sentences.map((text) => (
              <p key={text}>{words(text)}</p>
            ))}
            <SaveReading found={reading.adjustment} id={reading.id} date={reading.date} onSaved={onSaved} />
          </>
        )}
        {reading.notAdjusted !== undefined && <p class="note">Not adjusted. {words(reading.notAdjusted)}</p>}
      </section>
    </div>
  );
}

/** One profile: its curve, its numbers, and how it has drifted. */
export function ProfileScreen({ name }: { readonly name: string }) {
  const isThere = useShop().shop.profiles.some((one) => one.name === name);
  // One that was saved just now may not be in the list yet.
  const wasThere = useRef(false);
  wasThere.current ||= isThere;
  const [profile, error, setProfile] = useLoaded<ProfileView>(() => getProfile(name), name);
  if (wasThere.current && !isThere) {
    return (
      <div class="aside-note">
        <BackToMaterials />
        <h1>This profile was removed</h1>
        <p class="empty" role="alert">
          It is not in the shop any more.
        </p>
      </div>
    );
  }
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
                : `Learned ${sayProvenance(profile)}`}
            </p>
          </div>
          {profile.from === 'shop' && <ProfileActions profile={profile} onRenamed={setProfile} />}
          <div class="two-columns">
            <section class="card" aria-labelledby="curve-title">
              <h2 id="curve-title">Tone curve</h2>
              <ToneCurveChart points={profile.points} band={profile.band} />
            </section>
            <section class="card" aria-labelledby="numbers-title">
              <h2 id="numbers-title">Numbers</h2>
              <FactRows facts={profile.facts} />
              <h2>Drift</h2>
              {profile.history.length > 0 ? (
                <>
                  <DriftChart history={profile.history} />
                  <p class="note">Below the first line the profile holds; above the second it must be learned again.</p>
                </>
              ) : (
                <p class="empty">Never checked. Burn a control strip now and then: it takes a minute.</p>
              )}
            </section>
          </div>
        </>
      )}
    </div>
  );
}

/** Another title for a profile of the shop, or its end. */
function ProfileActions({
  profile,
  onRenamed,
}: {
  readonly profile: ProfileView;
  readonly onRenamed: (profile: ProfileView) => void;
}) {
  const { go } = useShop();
  const [title, setTitle] = useState<string>();
  const [uses, setUses] = useState<ProfileUses>();
  const [error, setError] = useState<unknown>();
  const rename = (wanted: string) =>
    renameProfile(profile.name, wanted).then((renamed) => {
      onRenamed(renamed);
      setTitle(undefined);
    }, setError);
  const count = (uses?.jobs.length ?? 0) + (uses?.orders.length ?? 0);
  return (
    <section class="profile-actions" aria-label="Name and end of this profile">
      {error !== undefined && <Problem error={error} onClose={() => setError(undefined)} />}
      {uses ? (
        <div class="problem" role="alertdialog" aria-label="Delete this profile?">
          <Icon name="warn" />
          <div>
            <p>Delete “{profile.title}”, its report and its history of checks? It cannot be brought back.</p>
            {count > 0 && (
              <p>
                {[...uses.jobs, ...uses.orders].join(', ')} {count === 1 ? 'goes' : 'go'} through it and will ask for
                another material.
              </p>
            )}
          </div>
          <div class="problem-actions">
            <Button onClick={() => removeProfile(profile.name).then(() => go('/material'), setError)}>Delete it</Button>
            <Button kind="quiet" onClick={() => setUses(undefined)}>
              Keep it
            </Button>
          </div>
        </div>
      ) : title === undefined ? (
        <div class="actions">
          <Button onClick={() => setTitle(profile.title)}>Rename</Button>
          <Button kind="quiet" onClick={() => getProfileUses(profile.name).then(setUses, setError)}>
            Delete
          </Button>
        </div>
      ) : (
        <form
          class="actions"
          onSubmit={(event) => {
            event.preventDefault();
            void rename(title.trim());
          }}
        >
          <div class="field">
            <label class="label" for="profile-title">
              Name of the profile
            </label>
            <input
              id="profile-title"
              type="text"
              value={title}
              maxLength={80}
              required
              onInput={({ currentTarget }) => setTitle(currentTarget.value)}
            />
          </div>
          <button type="submit" class="button main" disabled={title.trim() === ''}>
            <span>Rename</span>
          </button>
          <Button kind="quiet" onClick={() => setTitle(undefined)}>
            Leave it
          </Button>
        </form>
      )}
    </section>
  );
}

/** Two profiles over each other. */
export function CompareScreen({ a, b }: { readonly a: string; readonly b: string }) {
  const [comparison, error] = useLoaded<ComparisonView>(() => compareProfiles(a, b), `${a}/${b}`);
  const words = useWords();
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
              <FactRows facts={comparison.facts} />
              {comparison.notes.map((text) => (
                <p key={text}>{words(text)}</p>
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
                        <td>{numbers.say(lightnessA, 1, 'fixed')}</td>
                        <td>{numbers.say(lightnessB, 1, 'fixed')}</td>
                        <td>{numbers.say(delta, 1, 'fixed')}</td>
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
