import type { DriftPoint } from '../protocol.ts';

/** What the page draws of a check. */
export function toDriftPoint({ date, meanDelta, worstDelta, unit, verdict }: DriftPoint): DriftPoint {
  return { date, meanDelta, worstDelta, unit, verdict };
}
