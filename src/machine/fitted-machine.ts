import { roundNumbers } from '../numeric/index.ts';
import type { MotionFit } from './fit.ts';
import { motionRecord } from './motions/register.ts';
import type { Machine } from './types.ts';

/** The machine with its fitted motion, rounded to what can be read. */
export function describeFitted(
  machine: Machine,
  { fit, date }: { readonly fit: MotionFit; readonly date: string },
): Machine {
  const { readings, leftOut } = fit.uncertainty;
  const { fitNote } = motionRecord(fit.motion);
  const leaving = leftOut > 0 ? `, ${leftOut} more left out` : '';
  return {
    ...machine,
    motion: roundNumbers(fit.motion, 6),
    motionUncertainty: { kind: 'fitted', date, ...roundNumbers(fit.uncertainty, 8) },
    origins: {
      ...machine.origins,
      motion: {
        kind: 'measured',
        source: 'ownStopwatch',
        note: `Fitted on ${date} to ${readings} stopwatch ${readings === 1 ? 'reading' : 'readings'}${leaving}.${fitNote === undefined ? '' : ` ${fitNote}`}`,
      },
    },
  };
}
