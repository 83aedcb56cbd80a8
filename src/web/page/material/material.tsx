import { useEffect, useState } from 'preact/hooks';
import type { ChartCard, ChartMade, ChartRequestJson, MachineFacts, Reading } from '../../protocol.ts';
import { listCharts, listReadings, makeChart, putAwayChart, tryChart } from '../api.ts';
import { fromUnit, round, sayDuration, saySize, toUnit } from '../measure.ts';
import { type Mending, NoticeLines } from '../notices/notices.tsx';
import { numbers } from '../numbers.ts';
import { LevelsChoice } from '../parts/levels-choice.tsx';
import { Busy, Button, capitalise, Icon, NumberField, Problem, Segments, Select } from '../parts/parts.tsx';
import { PrintSheet } from '../parts/print-sheet.tsx';
import { SideChoice } from '../photo/side.tsx';
import { listMaterials, materialFor, sayChart, titleIn, useShop, useWords } from '../shop-context.ts';
import { CaptureStep } from './capture.tsx';
import { nameChoice, sayCheck, sayProvenance, sayReadingProvenance } from './profile-words.ts';

type Kind = ChartCard['kind'];

/** The chart that tells how wide a line is, and whether lines there and back meet. */
const SPOT: Kind = 'spot';

/** What a dose chart sweeps, as the request has it. */
const SWEEPS: readonly { readonly value: string; readonly label: string }[] = [
  { value: '', label: 'As suits the machine' },
  { value: 'power speed', label: 'Power across, speed down' },
  { value: 'power', label: 'A ladder of power' },
  { value: 'speed', label: 'A ladder of speed' },
  { value: 'empty', label: 'An empty field for the grid of your own software' },
];

const askSweep = (sweep: string): Pick<ChartRequestJson, 'vary' | 'cells'> =>
  sweep === 'empty' ? { cells: 'empty' } : { vary: sweep.split(' ') };

/** Units of a record, where nothing is known of the control software; factors to W and mm/s. Exact: its own. */
const OWN_UNITS: MachineFacts['units'] = {
  power: { unit: 'W', factor: 1 },
  speed: { unit: 'mm/s', factor: 1 },
};
const inUnit = (value: number | undefined, { factor }: { readonly factor: number }) =>
  value === undefined ? undefined : round(value / factor, 3);

/** A chart that another screen has asked for, by names. */
export interface AskedChart {
  readonly kind: string;
  readonly machine: string;
  readonly material: string;
  /** From which side its picture will be taken, or that its lines run there and back, at a speed in mm/s. */
  readonly more?: string | undefined;
}

/** A new material: burn a chart, take its picture, look at what was found, keep the profile. */
export function MaterialScreen({ draw }: { readonly draw?: AskedChart | undefined }) {
  const [charts, setCharts] = useState<readonly ChartCard[]>();
  const [made, setMade] = useState<ChartMade>();
  const [readings, setReadings] = useState<readonly Reading[]>([]);
  /** A drawn chart whose form begins again, with the settings that its machine starts with. */
  const [usual, setUsual] = useState<ChartMade>();
  const [error, setError] = useState<unknown>();
  const load = () => {
    setError(undefined);
    listCharts().then(setCharts, setError);
    listReadings().then(setReadings, setError);
  };
  useEffect(load, [made]);
  const waiting = (charts ?? [])
    .filter(
      ({ hash, files }) => files.length > 0 && !readings.some(({ chart, isVirtual }) => chart === hash && !isVirtual),
    )
    .sort((a, b) => ((a.drawn ?? '') < (b.drawn ?? '') ? 1 : -1));
  return (
    <div class="material">
      <div class="intro">
        <h1>Learn a material</h1>
        <p class="lead">
          Burn one chart, scan it, and know which dots give which tone on this material with this machine.
        </p>
      </div>
      {error !== undefined && <Problem error={error} onAgain={load} />}
      <div class="steps">
        <section class="step" aria-labelledby="burn-title">
          <h2 id="burn-title">
            <span class="step-number">1</span>Burn a chart
          </h2>
          <ChartForm key={usual?.hash} asked={usual ?? draw} onMade={setMade} />
          {made && <ChartDone chart={made} onUsual={() => setUsual(made)} />}
        </section>
        <section class="step" aria-labelledby="capture-title">
          <h2 id="capture-title">
            <span class="step-number">2</span>Take its picture
          </h2>
          {charts ? <CaptureStep charts={charts} latest={made?.hash} /> : <Busy>Looking for charts</Busy>}
        </section>
      </div>
      <Waiting charts={waiting} onChange={load} />
      <Readings readings={readings} />
      <Profiles />
    </div>
  );
}

function ChartForm({
  asked: first,
  onMade,
}: {
  readonly asked: AskedChart | undefined;
  readonly onMade: (chart: ChartMade) => void;
}) {
  const { shop, unit, lastSettings } = useShop();
  const [kind, setKind] = useState<Kind>(shop.charts.find((one) => one.kind === first?.kind)?.kind ?? 'tone');
  const known = shop.machines.find(({ name }) => name === first?.machine)?.name ?? lastSettings.machine;
  const [machine, setMachine] = useState(known);
  const [material, setMaterial] = useState(() =>
    materialFor(
      shop,
      known,
      first?.material ?? shop.profiles.find(({ name }) => name === lastSettings.profile)?.material,
    ),
  );
  const [profile, setProfile] = useState(lastSettings.profile ?? shop.profiles[0]?.name ?? '');
  const [size, setSize] = useState({ widthMm: 85.6, heightMm: 54 });
  const [powerW, setPower] = useState<number>();
  const thereAndBack = /^two-way(?:-([\d.]+))?$/.exec(first?.more ?? '');
  const [speedMmPerS, setSpeed] = useState<number | undefined>(
    thereAndBack?.[1] === undefined ? undefined : Number(thereAndBack[1]),
  );
  const [scan, setScan] = useState<'one-way' | 'two-way' | undefined>(thereAndBack ? 'two-way' : undefined);
  const [spacingMm, setSpacing] = useState<number>();
  const [side, setSide] = useState<Pick<ChartRequestJson, 'seen' | 'beneath'>>(() =>
    first?.more === 'through' || first?.more === 'face' ? { seen: first.more } : {},
  );
  const [sweep, setSweep] = useState('');
  const [levels, setLevels] = useState<number>();
  const [busy, setBusy] = useState(false);
  const [error, setError] = useState<unknown>();
  const {
    isStrip,
    isTable,
    aims,
    gives,
    hint,
    coversField = false,
    ...offered
  } = shop.charts.find((one) => one.kind === kind)!;
  const through = aims !== 'never';
  // Of the charts that are burned without a profile, the one that teaches tones is looked at as pieces are.
  const hasTones = gives === 'profile';
  // The spot chart has a vernier where its lines run there and back.
  const tellsWays = kind === SPOT;
  // On another grid than the recommended one the dose is kept: what that takes is said when the chart is drawn.
  const record = shop.machines.find(({ name }) => name === machine);
  const start = spacingMm === undefined ? record?.settings : undefined;
  const found = record?.found.find((one) => one.material === material)?.settings;
  const units = record?.units ?? OWN_UNITS;
  const learned = shop.profiles.find(({ name }) => name === profile);
  const burnsOn = through ? shop.machines.find(({ name }) => name === learned?.machine) : record;
  // Measured by a tone chart; others are burned with what a profile has measured.
  const hasLevels = hasTones || (gives === 'drift' && learned?.levels != null);
  const most = through ? (learned?.levels ?? 2) : (burnsOn?.levels ?? 2);
  const asksLevels = hasLevels && levels !== undefined && levels <= most ? { levels } : {};
  const draw = async () => {
    setBusy(true);
    setError(undefined);
    const strip = coversField ? {} : isStrip ? { widthMm: offered.widthMm, heightMm: offered.heightMm } : size;
    const asked: ChartRequestJson = through
      ? {
          kind,
          machine: shop.profiles.find(({ name }) => name === profile)?.machine ?? machine,
          profile,
          ...strip,
          ...asksLevels,
        }
      : {
          kind,
          machine,
          material,
          ...strip,
          ...asksLevels,
          ...(powerW === undefined ? {} : { powerW }),
          ...(speedMmPerS === undefined ? {} : { speedMmPerS }),
          ...(spacingMm === undefined ? {} : { spacingMm }),
          ...(isTable && sweep !== '' ? askSweep(sweep) : {}),
          ...(hasTones ? side : {}),
          ...(tellsWays && scan ? { scan } : {}),
        };
    try {
      onMade(await makeChart(asked));
    } catch (problem) {
      setError(problem);
    } finally {
      setBusy(false);
    }
  };
  return (
    <div class="form">
      <Select
        label="What do you want to know?"
        value={kind}
        note={hint}
        groups={[{ label: '', choices: shop.charts.map((one) => ({ value: one.kind, label: one.question })) }]}
        onChange={(value) => setKind(value as Kind)}
      />
      {through ? (
        <Select
          label="Profile"
          value={profile}
          groups={[{ label: '', choices: shop.profiles.map((one) => ({ value: one.name, label: nameChoice(one) })) }]}
          onChange={setProfile}
        />
      ) : (
        <>
          <Select
            label="Machine and lens"
            value={machine}
            groups={[{ label: '', choices: shop.machines.map(({ name, title }) => ({ value: name, label: title })) }]}
            onChange={(name) => {
              setMachine(name);
              setMaterial(materialFor(shop, name, material));
              setSide({});
              setPower(undefined);
              setSpeed(undefined);
            }}
          />
          <Select
            label="Material"
            value={material}
            groups={[{ label: '', choices: listMaterials(shop, machine) }]}
            onChange={(name) => {
              setMaterial(name);
              setSide({});
            }}
          />
          {hasTones && <SideChoice material={material} side={side} onChange={setSide} />}
          {isTable && (
            <Select
              label="Cells"
              value={sweep}
              note="Each cell is burned with settings of its own."
              groups={[{ label: '', choices: SWEEPS }]}
              onChange={setSweep}
            />
          )}
          {found && !isTable && (
            <div class="found-settings">
              <p class="note">
                A dose chart found {numbers.say(found.powerW / units.power.factor)} {units.power.unit},{' '}
                {numbers.say(found.speedMmPerS / units.speed.factor)} {units.speed.unit}, lines{' '}
                {numbers.say(found.lineSpacingMm, 4)} mm apart.
              </p>
              <Button
                onClick={() => {
                  setPower(found.powerW);
                  setSpeed(found.speedMmPerS);
                  setSpacing(found.lineSpacingMm);
                }}
              >
                Take them
              </Button>
            </div>
          )}
          <div class="row">
            <NumberField
              label="Power"
              unit={units.power.unit}
              value={inUnit(powerW ?? start?.powerW, units.power)}
              min={0.01}
              max={500}
              step="any"
              onChange={(value) => setPower(value * units.power.factor)}
            />
            <NumberField
              label="Speed"
              unit={units.speed.unit}
              value={inUnit(speedMmPerS ?? start?.speedMmPerS, units.speed)}
              min={1}
              max={1_200_000}
              step="any"
              onChange={(value) => setSpeed(value * units.speed.factor)}
            />
          </div>
          {tellsWays && (
            <Segments
              label="Lines"
              value={scan ?? start?.scan ?? 'one-way'}
              choices={[
                { value: 'one-way', label: 'One way' },
                { value: 'two-way', label: 'There and back' },
              ]}
              onChange={setScan}
            />
          )}
          {tellsWays && (scan ?? start?.scan) === 'two-way' && (
            <p class="note">It then tells how far lines that run back land beside the others at this speed.</p>
          )}
          <NumberField
            label="Distance between dots (empty: as recommended)"
            unit={unit}
            value={spacingMm === undefined ? undefined : round(unit === 'mm' ? spacingMm : spacingMm / 25.4, 5)}
            min={unit === 'mm' ? 0.001 : 0.00004}
            max={unit === 'mm' ? 2 : 0.08}
            step="any"
            onChange={(value) => setSpacing(unit === 'mm' ? value : round(value * 25.4, 4))}
          />
        </>
      )}
      {hasLevels && (
        <LevelsChoice
          machine={burnsOn}
          learned={through ? learned?.levels : undefined}
          value={asksLevels.levels}
          isMeasuredOnly={through}
          note={
            through
              ? 'As the profile has measured them.'
              : 'With levels the chart also measures what the machine makes of each.'
          }
          onChange={setLevels}
        />
      )}
      {!isStrip && !coversField && (
        <div class="row">
          <NumberField
            label="Width"
            unit={unit}
            value={toUnit(size.widthMm, unit)}
            min={toUnit(30, unit)}
            max={toUnit(400, unit)}
            step="any"
            onChange={(value) => setSize({ ...size, widthMm: fromUnit(value, unit) })}
          />
          <NumberField
            label="Height"
            unit={unit}
            value={toUnit(size.heightMm, unit)}
            min={toUnit(20, unit)}
            max={toUnit(400, unit)}
            step="any"
            onChange={(value) => setSize({ ...size, heightMm: fromUnit(value, unit) })}
          />
        </div>
      )}
      {error !== undefined && <Problem error={error} onClose={() => setError(undefined)} />}
      {busy ? (
        <Busy>Drawing the chart</Busy>
      ) : (
        <Button kind="main" icon="strip" onClick={draw}>
          Draw the chart
        </Button>
      )}
    </div>
  );
}

function ChartDone({ chart, onUsual }: { readonly chart: ChartMade; readonly onUsual: () => void }) {
  const { unit, lastSettings } = useShop();
  // Of a photo's wish only what a chart has, too: nothing but its settings can be mended here.
  const wish = { ...lastSettings, machine: chart.machine, settings: chart.settings };
  const mending: Mending = {
    wish,
    onMend: (mend) => {
      if ('wish' in mend) onUsual();
      else document.querySelector<HTMLElement>('.step input')?.focus();
    },
  };
  const words = useWords();
  const { hash, files, seconds, programSeconds, typed, notices, expected, widthMm, heightMm } = chart;
  const address = (file: string) => `/api/charts/${hash}/${file}`;
  return (
    <div class="chart-done" role="status">
      <img src={`${address('chart.png')}?view`} alt={`The chart, ${chart.patches} patches`} />
      <p>
        <b>{sayDuration(seconds)}</b> on the machine
        {programSeconds !== undefined && ` (as a program ${sayDuration(programSeconds)})`},{' '}
        {saySize(widthMm, heightMm, unit)}, {words(typed)}.
      </p>
      {expected && <p class="note">{words(expected)}</p>}
      {notices.length > 0 && <NoticeLines notices={notices} mending={mending} />}
      <ul class="files">
        {files
          .filter((file) => file !== 'chart.html')
          .map((file) => (
            <li key={file}>
              <a href={address(file)} download={`${chart.kind}-${hash.slice(0, 6)}-${file}`}>
                <Icon name="down" />
                <span>{CHART_FILES[file] ?? file}</span>
              </a>
            </li>
          ))}
      </ul>
      <div class="actions">
        <a class="button plain" href={`${address('chart.html')}?view`} target="_blank" rel="noreferrer">
          <Icon name="photo" />
          <span>Read the instructions</span>
        </a>
        <PrintSheet address={`${address('chart.html')}?view`} label="Print them" title="Instructions" />
      </div>
      {!chart.hasField && <TryVirtually hash={hash} />}
    </div>
  );
}

/** The chart burned and scanned by the virtual engraver, and what is read of that: the whole way, without a laser. */
function TryVirtually({ hash }: { readonly hash: string }) {
  const { go } = useShop();
  const [busy, setBusy] = useState(false);
  const [error, setError] = useState<unknown>();
  const run = async () => {
    setBusy(true);
    setError(undefined);
    try {
      const { id } = await tryChart(hash);
      go(`/material/reading/${id}`);
    } catch (problem) {
      setError(problem);
      setBusy(false);
    }
  };
  if (busy) return <Busy>Burning, scanning and reading a virtual piece</Busy>;
  return (
    <>
      {error !== undefined && <Problem error={error} onClose={() => setError(undefined)} />}
      <Button onClick={run}>Try it without a laser</Button>
    </>
  );
}

/**
 * Burning comes later than drawing, and the scan after it: a chart keeps its files until it was read or is put away.
 */
function Waiting({ charts, onChange }: { readonly charts: readonly ChartCard[]; readonly onChange: () => void }) {
  const { shop, unit } = useShop();
  const [error, setError] = useState<unknown>();
  if (charts.length === 0) return null;
  return (
    <section aria-labelledby="waiting-title">
      <h2 id="waiting-title">Charts waiting to be scanned</h2>
      {error !== undefined && <Problem error={error} onClose={() => setError(undefined)} />}
      <ul class="waiting">
        {charts.map(({ hash, kind, material, machine, widthMm, heightMm, files, drawn, hasField }) => {
          const address = (file: string) => `/api/charts/${hash}/${file}`;
          const label = `${capitalise(sayChart(shop, kind))}: ${material === '' ? 'unnamed' : titleIn(shop.materials, material)}`;
          return (
            <li key={hash}>
              {files.includes('chart.png') && <img src={`${address('chart.png')}?view`} alt="" loading="lazy" />}
              <div>
                <b>{label}</b>
                <p class="soft">
                  {titleIn(shop.machines, machine)} · {saySize(widthMm, heightMm, unit)}
                  {drawn === undefined ? '' : ` · drawn on ${drawn.slice(0, 10)}`}
                </p>
                <p class="actions">
                  {files
                    .filter((file) => file !== 'chart.html')
                    .map((file) => (
                      <a key={file} href={address(file)} download={`${kind}-${hash.slice(0, 6)}-${file}`}>
                        {CHART_FILES[file] ?? file}
                      </a>
                    ))}
                  {files.includes('chart.html') && (
                    <a href={`${address('chart.html')}?view`} target="_blank" rel="noreferrer">
                      Instructions
                    </a>
                  )}
                </p>
                {!hasField && files.includes('chart.png') && <TryVirtually hash={hash} />}
              </div>
              <button
                type="button"
                class="button quiet square"
                aria-label={`Put away the chart ${hash.slice(0, 6)}, ${label}`}
                title="Put away: its files go, a scan of it can still be read"
                onClick={() => void putAwayChart(hash).then(onChange, setError)}
              >
                <Icon name="bin" />
              </button>
            </li>
          );
        })}
      </ul>
    </section>
  );
}

const CHART_FILES: Readonly<Record<string, string>> = {
  'chart.png': 'Bitmap to burn',
  'chart.json': 'Layout, for programs',
  'chart.svg': 'Drawing of the cells',
  'chart.csv': 'Table of the cells',
  'chart.nc': 'Program for the machine',
};

function Readings({ readings }: { readonly readings: readonly Reading[] }) {
  if (readings.length === 0) return null;
  return (
    <section aria-labelledby="readings-title">
      <h2 id="readings-title">What was read</h2>
      <ul class="link-list">
        {readings.map((reading) => (
          <li key={reading.id}>
            <a href={`#/material/reading/${reading.id}`}>
              <b>{titleOf(reading)}</b>
              <span class="soft">{sayReadingProvenance(reading)}</span>
            </a>
          </li>
        ))}
      </ul>
    </section>
  );
}

export function titleOf(reading: Reading): string {
  if (reading.kind === 'learned') {
    const { saved, title } = reading;
    const kind = reading.isVirtual ? ', virtual' : '';
    return saved.state === 'this' ? saved.title : `${title}${kind}, not saved`;
  }
  if (reading.kind === 'checked') return `${reading.title ?? reading.profile}: ${VERDICTS[reading.verdict]}`;
  return 'A chart, measured';
}

export const VERDICTS = {
  holds: 'still holds',
  drifting: 'is drifting',
  'learn-again': 'must be learned again',
} as const;

function Profiles() {
  const { shop, go } = useShop();
  const [picked, setPicked] = useState<readonly string[]>([]);
  const pick = (name: string) =>
    setPicked(picked.includes(name) ? picked.filter((one) => one !== name) : [...picked, name].slice(-2));
  const [filter, setFilter] = useState<'all' | 'shop'>('all');
  const shown = shop.profiles.filter(({ from }) => filter === 'all' || from === 'shop');
  return (
    <section class="profiles" aria-labelledby="profiles-title">
      <div class="list-head">
        <h2 id="profiles-title">Profiles</h2>
        <Segments
          label="Shown"
          hideLabel
          value={filter}
          choices={[
            { value: 'all', label: 'All' },
            { value: 'shop', label: 'Learned here' },
          ]}
          onChange={setFilter}
        />
        <Button disabled={picked.length !== 2} onClick={() => go(`/material/compare/${picked.join('/')}`)}>
          {picked.length === 2 ? 'Compare these two' : 'Pick two to compare'}
        </Button>
      </div>
      {shop.broken.map((text) => (
        <p key={text} class="warn-line">
          <Icon name="warn" />
          {numbers.inText(text)}
        </p>
      ))}
      {shown.length === 0 ? (
        <p class="empty">None yet. Burn a chart above, scan it, and save what is learned.</p>
      ) : (
        <ul class="link-list">
          {shown.map((profile) => (
            <li key={profile.name}>
              <input
                type="checkbox"
                checked={picked.includes(profile.name)}
                aria-label={`Compare ${profile.title}`}
                onChange={() => pick(profile.name)}
              />
              <a href={`#/material/profile/${profile.name}`}>
                <b>{profile.title}</b>
                <span class="soft">
                  {titleIn(shop.machines, profile.machine)} · {sayProvenance(profile)}
                  {profile.checkDue !== null && ` · ${sayCheck(profile.checkDue)}`}
                </span>
              </a>
            </li>
          ))}
        </ul>
      )}
    </section>
  );
}
