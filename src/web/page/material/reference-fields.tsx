import type { CaptureCard, ReadingRequest } from '../../protocol.ts';
import { NumberField, Select } from '../parts/parts.tsx';

/** What tells how light the captures are, as it is being chosen. */
export interface ReferenceChoice {
  readonly kind: 'none' | 'paper' | 'card' | 'scanner';
  /** L* of a card, and half its 95 % interval. */
  readonly lightness: number;
  readonly tolerance: number;
  /** Where the paper or card lies; absent: it is looked for. */
  readonly at?: NonNullable<ReadingRequest['referenceAt']>;
}

/** L* of a card and half its 95 % interval, to begin with. Assumed: a grey card is near 50, and its maker says ± 1. */
export const NO_REFERENCE: ReferenceChoice = { kind: 'none', lightness: 50, tolerance: 1 };

/** Side of the box that a click sets, a share of the picture's width. Assumed: smaller than a card in most pictures. */
const BOX_SHARE = 0.06;

const liesBeside = ({ kind }: ReferenceChoice) => kind === 'paper' || kind === 'card';

/** The choice as the server is asked; a place belongs to one picture. */
export function askReference(
  choice: ReferenceChoice,
  captures: number,
): Pick<ReadingRequest, 'reference' | 'referenceAt'> {
  const { kind, lightness, tolerance, at } = choice;
  if (kind === 'none') return {};
  return {
    reference: kind === 'card' ? { lightness, tolerance } : kind,
    ...(at && captures === 1 && liesBeside(choice) ? { referenceAt: at } : {}),
  };
}

export function ReferenceFields({
  choice,
  capture,
  onChange,
}: {
  readonly choice: ReferenceChoice;
  /** The one picture, where there is one alone. */
  readonly capture: CaptureCard | undefined;
  readonly onChange: (choice: ReferenceChoice) => void;
}) {
  const { kind, lightness, tolerance } = choice;
  return (
    <>
      <Select
        label="What tells how light it is"
        value={kind}
        groups={[
          {
            label: '',
            choices: [
              { value: 'none', label: 'Nothing in the picture' },
              { value: 'paper', label: 'White office paper beside the chart' },
              { value: 'card', label: 'A grey card of known L* beside it' },
              { value: 'scanner', label: 'A scanner with its automatics off' },
            ],
          },
        ]}
        onChange={(value) => onChange({ ...choice, kind: value as ReferenceChoice['kind'] })}
      />
      {kind === 'card' && (
        <>
          <NumberField
            label="Lightness of the card"
            unit="L*"
            value={lightness}
            min={20}
            max={99}
            step="any"
            onChange={(value) => onChange({ ...choice, lightness: value })}
          />
          <NumberField
            label="Known to ±"
            unit="L*"
            value={tolerance}
            min={0.1}
            max={10}
            step="any"
            onChange={(value) => onChange({ ...choice, tolerance: value })}
          />
        </>
      )}
      {capture && liesBeside(choice) && <ReferencePlace choice={choice} capture={capture} onChange={onChange} />}
    </>
  );
}

/** Where the paper or card lies: a click sets a box, four numbers move and size it. */
function ReferencePlace({
  choice,
  capture,
  onChange,
}: {
  readonly choice: ReferenceChoice;
  readonly capture: CaptureCard;
  readonly onChange: (choice: ReferenceChoice) => void;
}) {
  const { at, ...unplaced } = choice;
  const { width, height } = capture;
  const side = Math.round(BOX_SHARE * width);
  const place = (x: number, y: number) => {
    const within = (middle: number, most: number) =>
      Math.round(Math.min(Math.max(0, most - side), Math.max(0, middle - side / 2)));
    onChange({ ...choice, at: { x: within(x, width), y: within(y, height), width: side, height: side } });
  };
  return (
    <>
      <label class="toggle">
        <input
          type="checkbox"
          checked={at !== undefined}
          onChange={({ currentTarget }) => (currentTarget.checked ? place(width / 2, side) : onChange(unplaced))}
        />
        <span>I say where it lies (otherwise it is looked for around the chart)</span>
      </label>
      {at && (
        <div class="corner-picker">
          <p>Click on the paper or card, off its edges.</p>
          {/* biome-ignore lint/a11y/useKeyWithClickEvents: the four numbers below say the same by keys. */}
          {/* biome-ignore lint/a11y/noStaticElementInteractions: likewise. */}
          <div
            class="corner-box"
            style={{ aspectRatio: `${width} / ${height}` }}
            onClick={(event) => {
              const size = event.currentTarget.getBoundingClientRect();
              place(
                ((event.clientX - size.left) / size.width) * width,
                ((event.clientY - size.top) / size.height) * height,
              );
            }}
          >
            <img src={`/api/captures/${capture.id}/view`} alt="The capture" draggable={false} />
            <svg viewBox={`0 0 ${width} ${height}`} aria-hidden="true">
              <polygon
                points={`${at.x},${at.y} ${at.x + at.width},${at.y} ${at.x + at.width},${at.y + at.height} ${at.x},${at.y + at.height}`}
              />
            </svg>
          </div>
          {(
            [
              ['x', 'From the left', width],
              ['y', 'From the top', height],
              ['width', 'Width', width],
              ['height', 'Height', height],
            ] as const
          ).map(([key, label, most]) => (
            <NumberField
              key={key}
              label={label}
              unit="px"
              value={at[key]}
              min={key === 'x' || key === 'y' ? 0 : 1}
              max={most}
              step={1}
              onChange={(value) => onChange({ ...choice, at: { ...at, [key]: value } })}
            />
          ))}
        </div>
      )}
    </>
  );
}
