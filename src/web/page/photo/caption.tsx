import { useId, useState } from 'preact/hooks';
import type { PhotoSettings } from '../../protocol.ts';
import { keepDrawing } from '../api.ts';
import { fromUnit, toUnit } from '../measure.ts';
import { Button, NumberField, Problem, Segments, Select, WordsInput } from '../parts/parts.tsx';
import { useShop } from '../shop-context.ts';

type Caption = NonNullable<PhotoSettings['caption']>;
type Artwork = NonNullable<PhotoSettings['artwork']>;

interface CaptionProps {
  readonly wish: PhotoSettings;
  readonly onChange: (wish: PhotoSettings) => void;
}

/** Words and a drawing on the piece. */
export function CaptionChoice({ wish, onChange }: CaptionProps) {
  const { unit } = useShop();
  const { caption, ...rest } = wish;
  const set = (next: Partial<Caption>) => onChange({ ...rest, caption: { text: '', ...caption, ...next } });
  const write = (line: 'text' | 'text2', words: string) => {
    const lines = { text: caption?.text ?? '', text2: caption?.text2 ?? '', [line]: words };
    const [text, text2] = [lines.text, lines.text2].filter((one) => one.trim() !== '');
    const { text: _text, text2: _text2, ...previews } = caption ?? { text: '' };
    if (text === undefined) return onChange(rest);
    onChange({ ...rest, caption: { ...previews, text, ...(text2 === undefined ? {} : { text2 }) } });
  };
  const height = (mm: number) => {
    const { heightMm: _height, ...others } = caption!;
    onChange({ ...rest, caption: mm > 0 ? { ...others, heightMm: mm } : others });
  };
  return (
    <>
      <WordsField label="Words" value={caption?.text ?? ''} onChange={(words) => write('text', words)} />
      <WordsField label="Second line" value={caption?.text2 ?? ''} onChange={(words) => write('text2', words)} />
      {caption && (
        <>
          <Select
            label="Where they stand"
            value={caption.place ?? 'below'}
            groups={[
              {
                label: '',
                choices: [
                  { value: 'below', label: 'Below the picture' },
                  { value: 'band', label: 'On a band over the picture' },
                  { value: 'picture', label: 'On the picture itself' },
                  { value: 'edge', label: 'On the bare edge' },
                ],
              },
            ]}
            onChange={(place) => set({ place: place as NonNullable<Caption['place']> })}
          />
          <Select
            label="Letters"
            value={caption.font ?? 'sans'}
            groups={[
              {
                label: '',
                choices: [
                  { value: 'sans', label: 'Plain (Noto Sans)' },
                  { value: 'serif', label: 'Book (EB Garamond)' },
                  { value: 'script', label: 'Handwriting (Dancing Script)' },
                ],
              },
            ]}
            onChange={(font) => set({ font: font as NonNullable<Caption['font']> })}
          />
          <NumberField
            label="Height of capitals, 0 as there is room"
            unit={unit}
            value={toUnit(caption.heightMm ?? 0, unit)}
            min={0}
            max={toUnit(200, unit)}
            step={unit === 'mm' ? 0.1 : 0.005}
            onChange={(value) => height(fromUnit(value, unit))}
          />
          <InkChoice label="The letters are" value={caption.ink} onChange={(ink) => set({ ink })} />
        </>
      )}
      <ArtworkChoice wish={wish} onChange={onChange} />
    </>
  );
}

function ArtworkChoice({ wish, onChange }: CaptionProps) {
  const { unit } = useShop();
  const id = useId();
  const [problem, setProblem] = useState<unknown>();
  const { artwork, ...rest } = wish;
  const set = (next: Partial<Artwork>) => artwork && onChange({ ...rest, artwork: { ...artwork, ...next } });
  const take = async (file: File | undefined) => {
    if (!file) return;
    setProblem(undefined);
    try {
      const { name } = await keepDrawing(file);
      onChange({ ...rest, artwork: { ...artwork, name } });
    } catch (error) {
      setProblem(error);
    }
  };
  const step = unit === 'mm' ? 0.1 : 0.005;
  const place = (label: string, axis: 'xMm' | 'yMm') => (
    <NumberField
      label={label}
      unit={unit}
      value={artwork?.at && toUnit(artwork.at[axis], unit)}
      min={toUnit(-2000, unit)}
      max={toUnit(2000, unit)}
      step={step}
      onChange={(value) => set({ at: { xMm: 0, yMm: 0, ...artwork?.at, [axis]: fromUnit(value, unit) } })}
    />
  );
  return (
    <>
      <div class="field">
        <label class="label" for={id}>
          Drawing (SVG)
        </label>
        <input
          id={id}
          type="file"
          accept=".svg,image/svg+xml"
          onChange={({ currentTarget }) => take(currentTarget.files?.[0])}
        />
      </div>
      {problem !== undefined && <Problem error={problem} />}
      {artwork && (
        <>
          <div class="row">
            <NumberField
              label="Width"
              unit={unit}
              value={artwork.widthMm && toUnit(artwork.widthMm, unit)}
              min={toUnit(1, unit)}
              max={toUnit(2000, unit)}
              step={step}
              onChange={(value) => set({ widthMm: fromUnit(value, unit) })}
            />
            {place('From the left', 'xMm')}
            {place('From above', 'yMm')}
          </div>
          <InkChoice label="The drawing is" value={artwork.ink} onChange={(ink) => set({ ink })} />
          <Button kind="quiet" icon="undo" onClick={() => onChange(rest)}>
            Take the drawing away: {artwork.name}
          </Button>
        </>
      )}
    </>
  );
}

function InkChoice({
  label,
  value,
  onChange,
}: {
  readonly label: string;
  readonly value: 'solid' | 'bare' | undefined;
  readonly onChange: (ink: 'solid' | 'bare') => void;
}) {
  return (
    <Segments
      label={label}
      value={value ?? 'solid'}
      choices={[
        { value: 'solid', label: 'Burned' },
        { value: 'bare', label: 'Left bare' },
      ]}
      onChange={onChange}
    />
  );
}

function WordsField({
  label,
  value,
  onChange,
}: {
  readonly label: string;
  readonly value: string;
  readonly onChange: (words: string) => void;
}) {
  const id = useId();
  return (
    <div class="field">
      <label class="label" for={id}>
        {label}
      </label>
      <WordsInput id={id} maxLength={200} value={value} onChange={onChange} />
    </div>
  );
}
