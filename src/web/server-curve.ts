import { type Profile, toneCurveOf } from '../material/index.ts';
import type { CurvePoint, DriftPoint } from './protocol.ts';

/** Steps of a curve that is drawn, a count. Assumed: straight between them to less than a pixel. */
const STEPS = 64;

/** The curve that pictures go through, fine enough to draw. */
export function sampleCurve(points: Profile['points']): CurvePoint[] {
  const curve = toneCurveOf({ points });
  const end = points.at(-1)!.coverage;
  return Array.from({ length: STEPS + 1 }, (_, at) => {
    const coverage = (end * at) / STEPS;
    return { coverage, lightness: curve.lightnessAt(coverage) };
  });
}

export function toDriftPoint({ date, meanDelta, worstDelta, unit, verdict }: DriftPoint): DriftPoint {
  return { date, meanDelta, worstDelta, unit, verdict };
}
