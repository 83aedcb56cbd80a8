import type { MotionUnknown } from './motions/motion.ts';
import { motionRecord } from './motions/register.ts';
import { ROTARY_SETTLING } from './rotary.ts';
import type { BareHandling, Motion, MotionFactors } from './types.ts';

/** One unknown of a motion with its value. */
export interface MotionParameter extends Pick<MotionUnknown<Motion>, 'name' | 'factor' | 'label' | 'unit' | 'show'> {
  readonly value: number;
  /** A size of it that is never 0, for steps and bounds. */
  readonly scale: number;
  /** It is above 0: the inverse of a speed or of an acceleration. */
  readonly inverse?: true;
}

/** Factors by which a file that says nothing may be off. Assumed: round numbers, from common practice. */
export const ASSUMED_MOTION_FACTORS: MotionFactors = { speed: 1.5, acceleration: 3, delay: 2, overhead: 2 };

function unknownsOf(motion: Motion): readonly MotionUnknown<Motion>[] {
  const { unknowns, dotByDot } = motionRecord(motion);
  return [
    ...unknowns,
    ...(motion.bare === 'dot-by-dot' && dotByDot ? dotByDot.unknowns : []),
    // Last, so that a machine without one has the list that it had before.
    ...(motion.rotarySettleMs === undefined ? [] : [ROTARY_SETTLING]),
  ];
}

/** The unknowns of a motion with what its machine's file says. */
export function listMotionParameters(motion: Motion): readonly MotionParameter[] {
  return unknownsOf(motion).map((unknown) => {
    const value = unknown.read(motion);
    const { name, floor, factor, label, unit, show } = unknown;
    return {
      ...{ name, value, scale: floor === undefined ? value : Math.max(value, floor), factor, label, unit, show },
      ...(floor === undefined ? { inverse: true } : {}),
    };
  });
}

/**
 * The motion with other values of its parameters, in the order of `listMotionParameters`. Values ≥ 0, those that are
 * inverse > 0.
 */
export function applyMotionParameters(motion: Motion, values: readonly number[]): Motion {
  const named = Object.fromEntries(unknownsOf(motion).map(({ name }, k) => [name, values[k]!]));
  const { apply, dotByDot } = motionRecord(motion);
  const changed = apply(motion, named);
  const burned = motion.bare === 'dot-by-dot' && dotByDot ? dotByDot.apply(changed, named) : changed;
  const { rotarySettleS } = named;
  return rotarySettleS === undefined ? burned : { ...burned, rotarySettleMs: rotarySettleS * 1000 };
}

/**
 * The same machine with another way with bare places; what belongs to one way alone goes with it.
 * @throws RangeError for a way that its kind of motion does not have
 */
export function withBareHandling(motion: Motion, bare: BareHandling): Motion {
  const { dotByDot } = motionRecord(motion);
  if (bare !== 'dot-by-dot') {
    const kept = Object.entries(motion).filter(([field]) => !dotByDot?.fields.includes(field));
    return { ...(Object.fromEntries(kept) as unknown as Motion), bare };
  }
  if (!dotByDot) throw new RangeError(`a ${motion.kind} does not burn dot by dot`);
  return { ...motion, bare } as Motion;
}
