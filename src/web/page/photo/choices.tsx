import type { ToneField, ToneOptions } from '../../../photo/index.ts';
import type { PhotoSettings, PredictionJson } from '../../protocol.ts';
import { fromUnit, saySize, toUnit } from '../measure.ts';
import { numbers } from '../numbers.ts';
import { LevelsChoice } from '../parts/levels-choice.tsx';
import { Button, Icon, NumberField, Segments, Select, Slider } from '../parts/parts.tsx';
import { listMaterials, materialFor, useShop, useWords } from '../shop-context.ts';
import { edgeOf, rememberEdge } from './bare-edge.ts';
import { ShapeChoice } from './shape.tsx';
import { SideChoice } from './side.tsx';
import { without } from './without.ts';

/** The few that a customer asks for; the rest is one click away. */
const FIRST_TONES: readonly (keyof ToneOptions)[] = [
  'brightnessEv',
  'midtoneL',
  'contrast',
  'localContrast',
  'sharpenAmount',
];
const MORE_TONES: readonly (keyof ToneOptions)[] = [
  'blackPointL',
  'whitePointL',
  'noiseL',
  'noiseRadiusMm',
  'localRadiusMm',
  'sharpenRadiusMm',
];
const OWN_SIZE = 'own';

export interface ChoicesProps {
  readonly wish: PhotoSettings;
  readonly facts: PredictionJson | undefined;
  readonly onChange: (wish: PhotoSettings) => void;
}

export function PieceChoice({ wish, onChange }: Omit<ChoicesProps, 'facts'>) {
  const { shop, unit } = useShop();
  const { widthMm, heightMm, cornerRadiusMm, safeMarginMm } = wish;
  const fits = (width: number, height: number) =>
    shop.pieces.find(
      (piece) => piece.widthMm === width && piece.heightMm === height && piece.cornerRadiusMm === cornerRadiusMm,
    );
  const piece = fits(widthMm, heightMm) ?? fits(heightMm, widthMm);
  const [fieldWidth, fieldHeight] = shop.machines.find(({ name }) => name === wish.machine)?.fieldMm ?? [1e9, 1e9];
  const reaches = (width: number, height: number) => width <= fieldWidth && height <= fieldHeight;
  const most = toUnit(1000, unit);
  const step = unit === 'mm' ? 0.01 : 0.001;
  return (
    <>
      <Select
        label="Kind"
        value={piece?.name ?? OWN_SIZE}
        groups={[
          {
            label: '',
            choices: [
              ...shop.pieces.map(({ name, title, widthMm: w, heightMm: h }) => {
                const label = `${title}, ${saySize(w, h, unit)}`;
                if (reaches(w, h) || reaches(h, w)) return { value: name, label };
                return { value: name, label: `${label}: beyond the field of this machine`, disabled: true };
              }),
              { value: OWN_SIZE, label: 'Another size' },
            ],
          },
        ]}
        onChange={(name) => {
          const found = shop.pieces.find((one) => one.name === name);
          if (!found) return onChange({ ...wish, cornerRadiusMm: piece ? 1 : cornerRadiusMm });
          const wanted = heightMm > widthMm && found.widthMm !== found.heightMm;
          const { widthMm: long, heightMm: short } = found;
          // As the piece lay before, where the machine reaches it so.
          const upright = wanted ? reaches(short, long) || !reaches(long, short) : !reaches(long, short);
          onChange({
            ...wish,
            widthMm: upright ? found.heightMm : found.widthMm,
            heightMm: upright ? found.widthMm : found.heightMm,
            cornerRadiusMm: found.cornerRadiusMm,
            safeMarginMm: edgeOf(found),
          });
        }}
      />
      <div class="row">
        <NumberField
          label="Width"
          unit={unit}
          value={toUnit(widthMm, unit)}
          min={toUnit(1, unit)}
          max={most}
          step={step}
          onChange={(value) => onChange({ ...wish, widthMm: fromUnit(value, unit) })}
        />
        <NumberField
          label="Height"
          unit={unit}
          value={toUnit(heightMm, unit)}
          min={toUnit(1, unit)}
          max={most}
          step={step}
          onChange={(value) => onChange({ ...wish, heightMm: fromUnit(value, unit) })}
        />
        <button
          type="button"
          class="button plain square"
          aria-label="Turn the piece: width and height change places"
          title="Turn the piece"
          onClick={() => onChange({ ...wish, widthMm: heightMm, heightMm: widthMm })}
        >
          <Icon name="turn" />
        </button>
      </div>
      <div class="row">
        <NumberField
          label="Corner radius"
          unit={unit}
          value={toUnit(cornerRadiusMm, unit)}
          min={0}
          max={toUnit(Math.min(widthMm, heightMm) / 2, unit)}
          step={step}
          onChange={(value) => onChange({ ...wish, cornerRadiusMm: fromUnit(value, unit) })}
        />
        <NumberField
          label="Bare edge"
          unit={unit}
          value={toUnit(safeMarginMm, unit)}
          min={0}
          max={toUnit(Math.min(widthMm, heightMm) / 2 - 0.5, unit)}
          step={step}
          onChange={(value) => {
            const edgeMm = fromUnit(value, unit);
            if (piece) rememberEdge(piece.name, edgeMm);
            onChange({ ...wish, safeMarginMm: edgeMm });
          }}
        />
      </div>
      <ShapeChoice wish={wish} onChange={onChange} />
    </>
  );
}

/** How much of the photo the piece takes. */
export function FitChoice({
  fit,
  onChange,
}: {
  readonly fit: PhotoSettings['fit'];
  readonly onChange: (fit: PhotoSettings['fit']) => void;
}) {
  return (
    <Segments
      label="Photo on the piece"
      value={fit}
      choices={[
        { value: 'cover', label: 'Fills it' },
        { value: 'contain', label: 'Shown whole' },
      ]}
      onChange={onChange}
    />
  );
}

export function UnitChoice() {
  const { unit, setUnit } = useShop();
  return (
    <Segments
      label="Lengths in"
      value={unit}
      choices={[
        { value: 'mm', label: 'mm' },
        { value: 'in', label: 'inch' },
      ]}
      onChange={setUnit}
    />
  );
}

export function MaterialChoice({ wish, onChange }: Omit<ChoicesProps, 'facts'>) {
  const { shop } = useShop();
  const here = shop.profiles.filter(({ machine }) => machine === wish.machine);
  const elsewhere = shop.profiles.filter(({ machine }) => machine !== wish.machine);
  const profile = shop.profiles.find(({ name }) => name === wish.profile);
  const asChoices = (list: readonly { readonly name: string; readonly title: string }[], kind: string) =>
    list.map(({ name, title }) => ({ value: `${kind}:${name}`, label: title }));
  const note = !profile
    ? 'Never measured: the tones are a guess. Burn a chart and learn it first.'
    : profile.origin !== 'measured'
      ? 'A computed example, not measured on your machine. Good for a look.'
      : profile.machine !== wish.machine
        ? 'Learned on another machine: the tones will be off.'
        : `Learned on ${numbers.sayDay(profile.date)}.`;
  return (
    <>
      <Select
        label="Machine"
        value={wish.machine}
        groups={[{ label: '', choices: shop.machines.map(({ name, title }) => ({ value: name, label: title })) }]}
        onChange={(machine) => {
          const first = shop.profiles.find((one) => one.machine === machine);
          const {
            profile: _profile,
            material: _material,
            settings: _settings,
            levels,
            ...rest
          } = without(wish, 'seen', 'beneath');
          const most = shop.machines.find(({ name }) => name === machine)?.levels ?? 2;
          const kept = levels !== undefined && levels <= most ? { levels } : {};
          const material = materialFor(shop, machine, wish.material ?? profile?.material);
          onChange({ ...rest, ...kept, machine, ...(first ? { profile: first.name } : { material }) });
        }}
      />
      <Select
        label="Material"
        value={wish.profile ? `profile:${wish.profile}` : `material:${wish.material}`}
        note={note}
        groups={[
          { label: 'Learned on this machine', choices: asChoices(here, 'profile') },
          {
            label: 'Not learned yet',
            choices: listMaterials(shop, wish.machine).map((one) => ({ ...one, value: `material:${one.value}` })),
          },
          { label: 'Learned on another machine', choices: asChoices(elsewhere, 'profile') },
        ]}
        onChange={(value) => {
          const [kind, name] = value.split(':') as [string, string];
          const { profile: _profile, material: _material, ...rest } = without(wish, 'seen', 'beneath');
          onChange({ ...rest, ...(kind === 'profile' ? { profile: name } : { material: name }) });
        }}
      />
      <SideChoice
        material={profile?.material ?? wish.material}
        profile={profile}
        side={wish}
        onChange={(side) => onChange({ ...without(wish, 'seen', 'beneath', 'mirror'), ...side })}
      />
    </>
  );
}

/** The screen that the program chooses, which counts marks where they were measured. */
const COUNTED = 'auto';

/** How the tones become dots. */
export function DotsChoice({ wish, onChange }: Omit<ChoicesProps, 'facts'>) {
  const { shop } = useShop();
  const learned = shop.profiles.find(({ name }) => name === wish.profile)?.levels;
  // A screen that is offered stays offered while it is asked for.
  const counts = (wish.levels !== undefined && learned != null) || wish.screen === COUNTED;
  return (
    <>
      <Segments
        label="Lightness"
        value={wish.range}
        choices={[
          { value: 'scale', label: 'Fit to the material' },
          { value: 'absolute', label: 'Keep as in the photo' },
        ]}
        onChange={(range) => onChange({ ...wish, range })}
      />
      <Select
        label="Screen"
        value={wish.screen ?? ''}
        groups={[
          {
            label: '',
            choices: [
              { value: '', label: 'As the profile has it' },
              ...(counts ? [{ value: COUNTED, label: 'By what the marks leave' }] : []),
              ...shop.screens.map(({ name, title }) => ({ value: name, label: title })),
            ],
          },
        ]}
        onChange={(screen) => {
          const { screen: _screen, ...rest } = wish;
          onChange(screen === '' ? rest : { ...rest, screen });
        }}
      />
      <LevelsChoice
        machine={shop.machines.find(({ name }) => name === wish.machine)}
        learned={learned}
        value={wish.levels}
        onChange={(levels) => {
          const { levels: _levels, ...rest } = wish;
          onChange(levels === undefined ? rest : { ...rest, levels });
        }}
      />
    </>
  );
}

export function ToneChoice({ wish, facts, onChange }: ChoicesProps) {
  const words = useWords();
  const { shop } = useShop();
  const { toneValues } = wish;
  const slider = (name: keyof ToneOptions) => (
    <ToneSlider
      key={name}
      name={name}
      field={shop.toneFields[name]}
      chosen={facts?.tone[name]}
      wish={wish}
      onChange={onChange}
    />
  );
  const changed = Object.keys(toneValues).length > 0;
  return (
    <>
      <Segments
        label="To begin with"
        value={wish.tone}
        choices={[
          { value: 'auto', label: 'Suit the photo' },
          { value: 'plain', label: 'As it is' },
        ]}
        onChange={(tone) => onChange({ ...wish, tone })}
      />
      {wish.tone === 'auto' && facts?.metered && <p class="note">{words(facts.metered)}</p>}
      <div class="sliders">{FIRST_TONES.map(slider)}</div>
      <details>
        <summary>More tone controls</summary>
        <div class="sliders">{MORE_TONES.map(slider)}</div>
      </details>
      <Button kind="quiet" icon="undo" disabled={!changed} onClick={() => onChange({ ...wish, toneValues: {} })}>
        Undo all tone changes
      </Button>
    </>
  );
}

function ToneSlider({
  name,
  field,
  chosen,
  wish,
  onChange,
}: {
  readonly name: keyof ToneOptions;
  readonly field: ToneField;
  readonly chosen: number | undefined;
  readonly wish: PhotoSettings;
  readonly onChange: (wish: PhotoSettings) => void;
}) {
  const set = wish.toneValues[name];
  const middle = Math.min(field.max, Math.max(field.min, 0));
  return (
    <Slider
      {...field}
      value={set ?? chosen ?? middle}
      changed={set !== undefined}
      onInput={(value) => onChange({ ...wish, toneValues: { ...wish.toneValues, [name]: value } })}
      onReset={() => {
        const { [name]: _, ...rest } = wish.toneValues;
        onChange({ ...wish, toneValues: rest });
      }}
    />
  );
}
