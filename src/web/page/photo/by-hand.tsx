import { useId } from 'preact/hooks';
import type { BurnSettings } from '../../../optics/index.ts';
import type { MachineFacts, PhotoSettings } from '../../protocol.ts';
import { round } from '../measure.ts';
import { numbers } from '../numbers.ts';
import { NumberField, Segments, Select, WordsInput } from '../parts/parts.tsx';
import { useShop } from '../shop-context.ts';
import { without } from './without.ts';

export interface HandProps {
  readonly wish: PhotoSettings;
  readonly onChange: (wish: PhotoSettings) => void;
}

type NumberSetting = 'powerW' | 'speedMmPerS' | 'rateKHz' | 'pulseNs' | 'passes';

/**
 * Most that can be typed in, and a step of it, in the record's own unit; power and speed are shown in the units of the
 * control software. Assumed: beyond every machine's range.
 */
const FIELDS: readonly {
  readonly key: NumberSetting;
  readonly label: string;
  readonly unit: string;
  readonly max: number;
  readonly step: number;
}[] = [
  { key: 'powerW', label: 'Power', unit: 'W', max: 1000, step: 0.1 },
  { key: 'speedMmPerS', label: 'Speed', unit: 'mm/s', max: 20_000, step: 10 },
  { key: 'rateKHz', label: 'Pulse rate', unit: 'kHz', max: 4000, step: 1 },
  { key: 'pulseNs', label: 'Pulse duration', unit: 'ns', max: 1000, step: 1 },
  { key: 'passes', label: 'Passes', unit: '', max: 100, step: 1 },
];

function unitOf(key: NumberSetting, machine: MachineFacts | undefined) {
  if (key === 'powerW') return machine?.units.power;
  return key === 'speedMmPerS' ? machine?.units.speed : undefined;
}

/** Two numbers with a semicolon between them, since a comma is a decimal sign for many; the wire has points. */
function readPlace(typed: string): string {
  const places = typed.split(';').map(numbers.read);
  return places.length === 2 && places.every((one) => one !== undefined) ? places.join(',') : typed;
}

function showPlace(at: string): string {
  const places = at.split(',').map(Number);
  return places.length === 2 && places.every(Number.isFinite) ? places.map((one) => numbers.say(one)).join('; ') : at;
}

/** House settings that replace the profile's or the machine's, and how the piece lies in the machine. */
export function HandChoice({ wish, onChange }: HandProps) {
  const { shop } = useShop();
  const placeId = useId();
  const profile = shop.profiles.find(({ name }) => name === wish.profile);
  const base = profile?.settings;
  // Of clear stock the material asks from which side it is looked at.
  const isClear = shop.materials.some(({ name, sides }) => sides && name === (profile?.material ?? wish.material));
  const { settings = {}, mirror, rotateDeg = 0 } = wish;
  const machine = shop.machines.find(({ name }) => name === wish.machine);
  const has = { rateKHz: machine?.pulses.rate === true, pulseNs: machine?.pulses.duration === true };
  const set = (next: Partial<BurnSettings>) =>
    onChange(Object.keys(next).length === 0 ? without(wish, 'settings') : { ...wish, settings: next });
  const isByHand = wish.settings !== undefined;
  return (
    <>
      <Segments
        label="How it lies in the machine"
        value={String(rotateDeg)}
        choices={[0, 90, 180, 270].map((deg) => ({ value: String(deg), label: `${deg}°` }))}
        onChange={(deg) =>
          onChange(deg === '0' ? without(wish, 'rotateDeg') : { ...wish, rotateDeg: Number(deg) as 90 | 180 | 270 })
        }
      />
      {machine?.isFieldMeasured && wish.profile !== undefined && (
        <div class="field">
          <label class="label" for={placeId}>
            Where it lies: its middle from the left; from above (mm), or jig/pocket
          </label>
          <WordsInput
            id={placeId}
            maxLength={80}
            placeholder="in the middle, uncorrected"
            value={showPlace(wish.at ?? '')}
            onChange={(words) => {
              const at = readPlace(words.trim());
              onChange(at === '' ? without(wish, 'at') : { ...wish, at });
            }}
          />
        </div>
      )}
      {!isClear && (
        <label class="toggle">
          <input
            type="checkbox"
            checked={mirror === true}
            onChange={({ currentTarget }) =>
              onChange(currentTarget.checked ? { ...wish, mirror: true } : without(wish, 'mirror'))
            }
          />
          <span>Mirrored, for the back of glass</span>
        </label>
      )}
      <FormatChoice wish={wish} onChange={onChange} />
      <label class="toggle">
        <input
          type="checkbox"
          checked={isByHand}
          onChange={({ currentTarget }) => {
            const start = base ?? machine?.settings;
            set(currentTarget.checked && start ? { powerW: start.powerW, speedMmPerS: start.speedMmPerS } : {});
          }}
        />
        <span>Settings by hand</span>
      </label>
      {isByHand && (
        <>
          <div class="row wraps">
            {FIELDS.filter(({ key }) => (key === 'rateKHz' || key === 'pulseNs' ? has[key] : true)).map(
              ({ key, unit: own, max, ...field }) => {
                const { unit, factor } = unitOf(key, machine) ?? { unit: own, factor: 1 };
                const value = settings[key] ?? (base ?? machine?.settings)?.[key];
                return (
                  <NumberField
                    key={key}
                    {...field}
                    unit={unit}
                    max={max / factor}
                    value={value === undefined || factor === 1 ? value : round(value / factor, 3)}
                    min={key === 'passes' ? 1 : 0.01}
                    onChange={(typed) => set({ ...settings, [key]: factor === 1 ? typed : typed * factor })}
                  />
                );
              },
            )}
          </div>
          <Select
            label="Scan lines"
            value={settings.scan ?? ''}
            groups={[
              {
                label: '',
                choices: [
                  { value: '', label: 'As the profile has it' },
                  { value: 'one-way', label: 'One way only' },
                  { value: 'two-way', label: 'There and back' },
                ],
              },
            ]}
            onChange={(scan) => {
              const { scan: _, ...rest } = settings;
              set(scan === '' ? rest : { ...rest, scan: scan as BurnSettings['scan'] });
            }}
          />
        </>
      )}
    </>
  );
}

/** Which file the dots are written to, for a machine that reads programs, too. */
function FormatChoice({ wish, onChange }: HandProps) {
  const { shop } = useShop();
  const formats = shop.machines.find(({ name }) => name === wish.machine)?.formats ?? [];
  const [first] = formats;
  if (!first) return null;
  return (
    <Select
      label="File for the machine"
      value={wish.format ?? first.name}
      groups={[{ label: '', choices: formats.map(({ name, title }) => ({ value: name, label: title })) }]}
      onChange={(name) => {
        const { format: _, ...rest } = wish;
        const chosen = formats.find((one) => one.name === name);
        onChange(chosen && chosen !== first ? { ...rest, format: chosen.name } : rest);
      }}
    />
  );
}
