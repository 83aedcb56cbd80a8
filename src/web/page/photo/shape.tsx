import type { PhotoSettings } from '../../protocol.ts';
import { fromUnit, toUnit } from '../measure.ts';
import { numbers } from '../numbers.ts';
import { NumberField, Segments } from '../parts/parts.tsx';
import { useShop } from '../shop-context.ts';
import { without } from './without.ts';

interface ShapeProps {
  readonly wish: PhotoSettings;
  readonly onChange: (wish: PhotoSettings) => void;
}

/** Diameter with which a round piece begins, mm. Assumed: a common tumbler. */
const ROUND_MM = 73;
/** Largest diameter that can be typed in, mm. Assumed: flatter pieces are flat. */
const MOST_MM = 2000;

type Shape = 'flat' | 'round' | 'around';

/** Whether the piece is flat, round and at rest, or turned by a rotary; its width is then the one around it. */
export function ShapeChoice({ wish, onChange }: ShapeProps) {
  const { around, round } = wish;
  const shape: Shape = around ? 'around' : round ? 'round' : 'flat';
  const diameterMm = around?.diametersMm[0] ?? round?.diameterMm ?? ROUND_MM;
  const flat = without(wish, 'round', 'around');
  // A picture fills a round piece from edge to edge, and lines of a rotary run along its axis.
  const fitting = (next: PhotoSettings): PhotoSettings => without({ ...next, fit: 'cover' }, 'rotateDeg', 'backdrop');
  const choose = (next: Shape) => {
    if (next === 'flat') return onChange(flat);
    onChange(
      fitting(
        next === 'round'
          ? { ...flat, round: { diameterMm } }
          : { ...flat, around: { diametersMm: [diameterMm, around?.diametersMm[1] ?? diameterMm] } },
      ),
    );
  };
  return (
    <>
      <Segments
        label="Shape"
        value={shape}
        choices={[
          { value: 'flat', label: 'Flat' },
          { value: 'round', label: 'Round, at rest' },
          { value: 'around', label: 'On a rotary' },
        ]}
        onChange={choose}
      />
      {round && <RestingFields round={round} onChange={(next) => onChange({ ...wish, round: next })} />}
      {around && <TurningFields around={around} onChange={(next) => onChange({ ...wish, around: next })} />}
    </>
  );
}

function RestingFields({
  round,
  onChange,
}: {
  readonly round: NonNullable<PhotoSettings['round']>;
  readonly onChange: (round: NonNullable<PhotoSettings['round']>) => void;
}) {
  return (
    <>
      <div class="row">
        <DiameterField
          label="Diameter"
          valueMm={round.diameterMm}
          onChange={(diameterMm) => onChange({ ...round, diameterMm })}
        />
        <NumberField
          label="Tone error allowed"
          unit="L*"
          value={round.toneErrorL ?? 2}
          min={0.1}
          max={50}
          step={0.5}
          onChange={(toneErrorL) => onChange({ ...round, toneErrorL })}
        />
      </div>
      <p class="note">The width goes around it, its axis lies down. Beyond the allowed error the picture fades out.</p>
    </>
  );
}

function TurningFields({
  around,
  onChange,
}: {
  readonly around: NonNullable<PhotoSettings['around']>;
  readonly onChange: (around: NonNullable<PhotoSettings['around']>) => void;
}) {
  const { unit } = useShop();
  const [upper, lower] = around.diametersMm;
  return (
    <>
      <div class="row">
        <DiameterField
          label="Upper diameter"
          valueMm={upper}
          onChange={(next) => onChange({ ...around, diametersMm: [next, lower === upper ? next : lower] })}
        />
        <DiameterField
          label="Lower diameter"
          valueMm={lower}
          onChange={(next) => onChange({ ...around, diametersMm: [upper, next] })}
        />
      </div>
      <div class="row">
        <NumberField
          label="Steps of a turn (0: not known)"
          unit=""
          value={around.stepsPerTurn ?? 0}
          min={0}
          max={1e7}
          step={1}
          onChange={(steps) =>
            onChange(steps < 1 ? without(around, 'stepsPerTurn') : { ...around, stepsPerTurn: Math.round(steps) })
          }
        />
        <NumberField
          label="Blended at the seam"
          unit={unit}
          value={toUnit(around.overlapMm ?? 0, unit)}
          min={0}
          max={toUnit(1000, unit)}
          step={0.5}
          onChange={(value) =>
            onChange(value === 0 ? without(around, 'overlapMm') : { ...around, overlapMm: fromUnit(value, unit) })
          }
        />
      </div>
      <p class="note">
        The width goes around it, once around is{' '}
        {numbers.say(toUnit((Math.PI * (upper + lower)) / 2, unit), unit === 'mm' ? 1 : 2, 'fixed')} {unit}. Different
        diameters make a cone: the picture is unrolled for it.
      </p>
    </>
  );
}

function DiameterField({
  label,
  valueMm,
  onChange,
}: {
  readonly label: string;
  readonly valueMm: number;
  readonly onChange: (valueMm: number) => void;
}) {
  const { unit } = useShop();
  return (
    <NumberField
      label={label}
      unit={unit}
      value={toUnit(valueMm, unit)}
      min={toUnit(1, unit)}
      max={toUnit(MOST_MM, unit)}
      step={unit === 'mm' ? 0.1 : 0.01}
      onChange={(value) => onChange(fromUnit(value, unit))}
    />
  );
}
