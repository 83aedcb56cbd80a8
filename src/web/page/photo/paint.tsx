import type { Frame } from '../../../photo/index.ts';
import type { PhotoSettings } from '../../protocol.ts';
import { fromUnit, toUnit } from '../measure.ts';
import { Button, Segments, Slider } from '../parts/parts.tsx';
import { useShop } from '../shop-context.ts';
import { clampBrush, widestBrushMm } from '../stage/mask-sheet.tsx';
import type { Mask } from '../stage/use-mask.ts';
import { without } from './without.ts';

const BUTTON = 'paint-the-subject';

interface PaintProps<W> {
  readonly wish: W;
  readonly frame: Frame | undefined;
  readonly mask: Mask;
  readonly onChange: (wish: W) => void;
}

/** The brush with which the subject is told from its backdrop. */
export function PaintChoice<W extends Pick<PhotoSettings, 'subject' | 'backdrop'>>({
  wish,
  frame,
  mask,
  onChange,
}: PaintProps<W>) {
  const { unit } = useShop();
  const { tool, brushMm } = mask;
  const leave = () => {
    mask.turnOn(false);
    requestAnimationFrame(() => document.getElementById(BUTTON)?.focus({ preventScroll: true }));
  };
  const size = frame ?? { widthMm: brushMm, heightMm: brushMm };
  return (
    <>
      <p class="note">
        What is tinted is backdrop. Paint with mouse, pen or finger; two fingers or the wheel go nearer.
      </p>
      <Segments
        label="The brush"
        value={tool}
        choices={[
          { value: 'add', label: 'Adds' },
          { value: 'take', label: 'Takes away' },
        ]}
        onChange={mask.chooseTool}
      />
      <div class="sliders">
        <Slider
          label="Size of the brush"
          help="Its width on the piece."
          unit={unit}
          value={toUnit(brushMm, unit)}
          min={toUnit(clampBrush(0, size), unit)}
          max={toUnit(widestBrushMm(size), unit)}
          step={unit === 'mm' ? 0.1 : 0.005}
          changed={false}
          onInput={(value) => mask.chooseBrush(clampBrush(fromUnit(value, unit), size))}
          onReset={() => undefined}
        />
      </div>
      {(wish.backdrop ?? 'keep') === 'keep' && (
        <p class="note">The backdrop is kept: choose Softer, Fades or Bare afterwards, and the mask is seen.</p>
      )}
      <Button
        kind="quiet"
        icon="undo"
        disabled={typeof wish.subject !== 'object'}
        onClick={() => onChange(without(wish, 'subject'))}
      >
        Back to what was found
      </Button>
      <Button icon="check" onClick={leave}>
        Done
      </Button>
    </>
  );
}

/** Where painting begins, and where the keys come back to when it is done. */
export function PaintButton({ mask }: { readonly mask: Mask }) {
  return (
    <Button icon="brush" id={BUTTON} onClick={() => mask.turnOn(true)}>
      Paint the subject
    </Button>
  );
}
