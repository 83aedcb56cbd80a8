import { type AimedTone, CHART_DEFAULTS, type ChartOptions } from '../options.ts';
import type { ChartKindRecord } from './kind.ts';
import { BARE, SOLID, stepOf, type WantedPatch } from './wanted.ts';

/**
 * Tones of the strip: two where most curves are steep, the others evenly. Coverages. Assumed: a first strip's, before
 * its curve is known.
 */
const STRIP_TONES: readonly number[] = [0.1, 0.25, 0.45, 0.65, 0.85];

export const CHECK_CHART: ChartKindRecord = {
  title: 'Control strip',
  purpose: 'Shows in a minute whether the profile still holds. Burn it on the waste margin or on an offcut.',
  question: 'Whether a profile still holds',
  hint: 'A small strip for the waste margin.',
  subject: 'control strip',
  gives: 'drift',
  widthMm: CHART_DEFAULTS.stripWidthMm,
  heightMm: CHART_DEFAULTS.stripHeightMm,
  isStrip: true,
  isTable: false,
  aims: 'with-profile',
  plan: planCheck,
};

function planCheck(options: ChartOptions): readonly WantedPatch[] {
  const tones: readonly AimedTone[] = options.tones ?? STRIP_TONES.map((coverage) => ({ coverage }));
  return [
    BARE,
    SOLID,
    ...tones.map((tone) => ({ ...stepOf(tone.coverage, tone.aimLightness), role: 'control' as const })),
  ];
}
