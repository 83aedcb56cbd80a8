import { type AimedTone, CHART_DEFAULTS, type ChartOptions } from '../options.ts';
import { round4, spaceCoverages } from '../space-coverages.ts';
import type { ChartKindRecord } from './kind.ts';
import { BARE, repeat, requireWhole, SOLID, stepOf, type WantedPatch } from './wanted.ts';

export const VERIFY_CHART: ChartKindRecord = {
  title: 'Verification chart',
  purpose:
    'Shows the true error of the profile: its tones were not on the tone chart, and they are burned through the profile.',
  question: 'How well a profile prints',
  hint: 'Tones burned through the profile: the honest error.',
  subject: 'verification',
  gives: 'drift',
  widthMm: CHART_DEFAULTS.widthMm,
  heightMm: CHART_DEFAULTS.heightMm,
  isStrip: false,
  isTable: false,
  aims: 'always',
  plan: planVerify,
};

function planVerify(options: ChartOptions): readonly WantedPatch[] {
  const { steps = CHART_DEFAULTS.steps.verify, replicates = CHART_DEFAULTS.replicates.verify } = options;
  requireWhole(steps, 'steps', 3, 100);
  requireWhole(replicates, 'replicates', 1, 12);
  // Half a step away from those of a tone chart, so that no tone of the fit is asked again.
  const fitted = spaceCoverages(steps + 1, options.expected);
  const own = fitted.slice(1).map((coverage, at) => ({ coverage: round4((coverage + fitted[at]!) / 2) }));
  const asked: readonly AimedTone[] = options.tones ?? own;
  const tones = asked.map((tone) => stepOf(tone.coverage, tone.aimLightness));
  return [
    ...repeat(10, BARE),
    ...repeat(6, SOLID),
    ...tones.flatMap((tone) => repeat(replicates, tone)),
    ...repeat(2, { ...BARE, spare: true }),
    ...repeat(2, { ...SOLID, spare: true }),
  ];
}
