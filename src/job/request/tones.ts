import { type AimedTone, CHART_DEFAULTS } from '../../chart/index.ts';
import { type TonePoint, toneCurveOf } from '../../material/index.ts';

/**
 * Tones of a strip between bare and solid. A count. Assumed: as many as `STRIP_TONES` of the chart, for which a strip
 * has room.
 */
const STRIP_TONES = 5;

/** Equal steps of L* between bare and solid, half a step away from the ends for `verify`, and the coverage of each. */
export function aimTones(
  points: readonly TonePoint[],
  { kind, steps }: { readonly kind: 'verify' | 'check'; readonly steps: number | undefined },
): readonly AimedTone[] {
  const curve = toneCurveOf({ points });
  const bare = points[0]!.lightness;
  const full = points.at(-1)!.lightness;
  const count = kind === 'check' ? STRIP_TONES : (steps ?? CHART_DEFAULTS.steps.verify);
  return Array.from({ length: count }, (_, at) => {
    const share = kind === 'check' ? (at + 1) / (count + 1) : (at + 0.5) / count;
    const aimLightness = Math.round((bare + (full - bare) * share) * 100) / 100;
    return { coverage: Math.round(curve.coverageAt(aimLightness) * 1e5) / 1e5, aimLightness };
  });
}
