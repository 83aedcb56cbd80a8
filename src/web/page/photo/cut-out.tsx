import type { PhotoSettings } from '../../protocol.ts';
import { fromUnit, toUnit } from '../measure.ts';
import { NumberField, Segments } from '../parts/parts.tsx';
import { useShop } from '../shop-context.ts';
import { without } from './without.ts';

/** What a photo or a piece of an order may want left off. */
type CutOutSettings = Pick<PhotoSettings, 'backdrop' | 'outline' | 'vignetteMm'>;

/** Widest vignette that can be typed in, mm. Assumed: half of the widest piece that fields reach. */
const WIDEST_MM = 200;

/** What is left off around the subject, and the form of the picture on the piece. */
export function CutOutChoice<W extends CutOutSettings>({
  wish,
  onChange,
}: {
  readonly wish: W;
  readonly onChange: (wish: W) => void;
}) {
  const { unit } = useShop();
  const { backdrop = 'keep', outline = 'rectangle', vignetteMm = 0 } = wish;
  return (
    <>
      <Segments
        label="Backdrop"
        value={backdrop}
        choices={[
          { value: 'keep', label: 'Kept' },
          { value: 'soften', label: 'Softer' },
          { value: 'fade', label: 'Fades' },
          { value: 'bare', label: 'Bare' },
        ]}
        onChange={(next) => onChange(next === 'keep' ? without(wish, 'backdrop') : { ...wish, backdrop: next })}
      />
      <Segments
        label="Form"
        value={outline}
        choices={[
          { value: 'rectangle', label: 'Whole' },
          { value: 'circle', label: 'Circle' },
          { value: 'oval', label: 'Oval' },
          { value: 'arch', label: 'Arch' },
        ]}
        onChange={(next) => onChange(next === 'rectangle' ? without(wish, 'outline') : { ...wish, outline: next })}
      />
      <NumberField
        label="Soft edge"
        unit={unit}
        value={toUnit(vignetteMm, unit)}
        min={0}
        max={toUnit(WIDEST_MM, unit)}
        step={unit === 'mm' ? 0.5 : 0.02}
        onChange={(value) =>
          onChange(value > 0 ? { ...wish, vignetteMm: fromUnit(value, unit) } : without(wish, 'vignetteMm'))
        }
      />
    </>
  );
}
