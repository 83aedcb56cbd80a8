import { useState } from 'preact/hooks';
import type { ChartCard, ReadingRequest } from '../../protocol.ts';
import { PageError, readCaptures, sendCapture } from '../api.ts';
import { DropPlace } from '../parts/drop-place.tsx';
import { Busy, Button, Icon, NumberField, Problem, Segments, Select } from '../parts/parts.tsx';
import { sayChart, titleIn, useShop } from '../shop-context.ts';
import { CornerPicker, type CornerPoints } from './corner-picker.tsx';
import { forgetCaptures, useKeptCaptures } from './kept-captures.ts';
import { nameChoice } from './profile-words.ts';
import { askReference, NO_REFERENCE, ReferenceFields } from './reference-fields.tsx';

/** Trouble that four corners by hand can mend. */
const BY_HAND = ['chart-not-found', 'chart-corner-missing'];

/** Scan or phone photo of the burned chart, and how it is to be read. */
export function CaptureStep({
  charts,
  latest,
}: {
  readonly charts: readonly ChartCard[];
  readonly latest: string | undefined;
}) {
  const { shop, go } = useShop();
  const { captures, add: keep, leaveOut } = useKeptCaptures();
  const [sending, setSending] = useState<string>();
  const [reading, setReading] = useState(false);
  const [error, setError] = useState<unknown>();
  const [hash, setHash] = useState<string>();
  const [camera, setCamera] = useState<'known' | 'unknown'>('known');
  const [mirrored, setMirrored] = useState(false);
  const [reference, setReference] = useState(NO_REFERENCE);
  const [direction, setDirection] = useState<'' | 'lighter' | 'darker'>('');
  const [profile, setProfile] = useState('');
  const [title, setTitle] = useState('');
  const [grid, setGrid] = useState({ columns: 'power=10%:60%:6', rows: 'speed=500:2000:4', gapMm: 1 });
  const [corners, setCorners] = useState<CornerPoints>();
  const chosen = hash ?? latest ?? '';
  const chart = charts.find((one) => one.hash === chosen);
  const compared = shop.charts.find(({ kind }) => kind === chart?.kind)?.gives === 'drift';
  if (charts.length === 0) {
    return (
      <p class="empty">Draw a chart first. When it is burned, scan it at 300 dpi or more and drop the picture here.</p>
    );
  }
  const add = async (file: File) => {
    setError(undefined);
    setSending(file.name);
    try {
      const capture = await sendCapture(file, () => undefined).done;
      keep(capture);
      if (capture.isExposed) setCamera('unknown');
    } catch (problem) {
      setError(problem);
    } finally {
      setSending(undefined);
    }
  };
  const read = async () => {
    setReading(true);
    setError(undefined);
    const wanted: ReadingRequest = {
      captures: captures.map(({ id }) => id),
      camera,
      mirrored,
      ...(chosen === '' ? {} : { chart: chosen }),
      ...askReference(reference, captures.length),
      ...(direction === '' ? {} : { direction }),
      ...(compared && profile !== '' ? { profile } : {}),
      ...(corners && captures.length === 1 ? { corners } : {}),
      ...(chart?.hasField ? { grid } : {}),
      ...(title.trim() === '' || compared ? {} : { title: title.trim() }),
    };
    try {
      const { id } = await readCaptures(wanted);
      forgetCaptures();
      go(`/material/reading/${id}`);
    } catch (problem) {
      setError(problem);
      setReading(false);
    }
  };
  const mendable = error instanceof PageError && BY_HAND.includes(error.code) && captures.length === 1;
  return (
    <div class="form">
      <Select
        label="Chart"
        value={chosen}
        groups={[
          {
            label: '',
            choices: [
              { value: '', label: 'Find out from its marks' },
              ...charts.map(({ hash: one, kind, material, machine }) => ({
                value: one,
                label: `${sayChart(shop, kind)}: ${material === '' ? 'unnamed' : titleIn(shop.materials, material)}, ${titleIn(shop.machines, machine)} (${one.slice(0, 6)})`,
              })),
            ],
          },
        ]}
        onChange={setHash}
      />
      {compared && (
        <Select
          label="Compare with the profile"
          value={profile}
          groups={[
            {
              label: '',
              choices: [
                { value: '', label: 'The one that it was drawn for' },
                ...shop.profiles.map((one) => ({ value: one.name, label: nameChoice(one) })),
              ],
            },
          ]}
          onChange={setProfile}
        />
      )}
      {chart?.hasField && (
        <fieldset class="field">
          <legend class="label">The grid that your software burned</legend>
          {(['columns', 'rows'] as const).map((key) => (
            <label key={key} class="label">
              {key === 'columns' ? 'From left to right' : 'From top to bottom'}
              <input
                type="text"
                value={grid[key]}
                maxLength={400}
                onInput={({ currentTarget }) => setGrid({ ...grid, [key]: currentTarget.value })}
              />
            </label>
          ))}
          <NumberField
            label="Gap between cells"
            unit="mm"
            value={grid.gapMm}
            min={0}
            max={20}
            step="any"
            onChange={(gapMm) => setGrid({ ...grid, gapMm })}
          />
        </fieldset>
      )}
      <Segments
        label="Taken with"
        value={camera}
        choices={[
          { value: 'known', label: 'Scanner' },
          { value: 'unknown', label: 'Phone or camera' },
        ]}
        onChange={setCamera}
      />
      {camera === 'unknown' && captures.some(({ isExposed }) => isExposed) && (
        <p class="note">The file says how it was exposed: a phone or camera took it.</p>
      )}
      <ReferenceFields
        choice={reference}
        capture={captures.length === 1 ? captures[0] : undefined}
        onChange={setReference}
      />
      <Select
        label="The marks are"
        value={direction}
        groups={[
          {
            label: '',
            choices: [
              { value: '', label: 'As the chart was drawn for' },
              { value: 'lighter', label: 'Lighter than bare' },
              { value: 'darker', label: 'Darker than bare' },
            ],
          },
        ]}
        onChange={(value) => setDirection(value as typeof direction)}
      />
      <label class="toggle">
        <input
          type="checkbox"
          checked={mirrored}
          onChange={({ currentTarget }) => setMirrored(currentTarget.checked)}
        />
        <span>Seen from behind, as on glass</span>
      </label>
      {captures.length > 0 && (
        <ul class="captures">
          {captures.map(({ id, file, width, height }) => (
            <li key={id}>
              <img src={`/api/captures/${id}/view`} alt="" onError={() => leaveOut(id)} />
              <span>
                {file}
                <small class="soft">
                  {width} × {height} pixels
                </small>
              </span>
              <button
                type="button"
                class="button quiet square"
                aria-label={`Leave out ${file}`}
                onClick={() => leaveOut(id)}
              >
                <Icon name="cross" />
              </button>
            </li>
          ))}
        </ul>
      )}
      {sending === undefined ? (
        <DropPlace
          small={captures.length > 0}
          label={captures.length > 0 ? 'Add another picture' : 'Choose a picture'}
          what="the scan or photo"
          onFiles={async (files) => {
            for (const file of files) await add(file);
          }}
        />
      ) : (
        <Busy>Receiving {sending}</Busy>
      )}
      {error !== undefined && <Problem error={error} onClose={() => setError(undefined)} />}
      {(mendable || corners) && captures.length === 1 && (
        <CornerPicker capture={captures[0]!} corners={corners} onChange={setCorners} />
      )}
      {captures.length > 0 && !compared && (
        <div class="field">
          <label class="label" for="profile-name">
            Name of the profile (may be left empty)
          </label>
          <input
            id="profile-name"
            type="text"
            value={title}
            maxLength={80}
            placeholder="Slate, batch 7"
            onInput={({ currentTarget }) => setTitle(currentTarget.value)}
          />
        </div>
      )}
      {captures.length > 0 &&
        (reading ? (
          <Busy>Finding the chart and reading its patches</Busy>
        ) : (
          <Button kind="main" icon="check" onClick={read}>
            Read it
          </Button>
        ))}
    </div>
  );
}
