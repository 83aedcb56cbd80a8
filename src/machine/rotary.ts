import * as v from 'valibot';
import { within } from '../quantities.ts';
import type { MotionUnknown } from './motions/motion.ts';
import { computeTrapezoidSeconds } from './trapezoid.ts';
import type { Machine, Motion, RotaryMotion } from './types.ts';

/** Fields of a rotary in a machine's file. Ranges assumed: ten times or more beyond what rotaries have. */
export const ROTARY_FIELDS = {
  rotarySpeedDegPerS: v.exactOptional(within(0.1, 1e5, 'degrees a second')),
  rotaryAccelerationDegPerS2: v.exactOptional(within(1, 1e7, 'degrees a second, each second')),
  rotarySettleMs: v.exactOptional(within(0, 1e4, 'ms')),
} as const;

/**
 * A rotary of which nothing is said: degrees a second, degrees a second each second, ms. Assumed: common practice, no
 * source; half a turn a second, gained in a tenth of one, and a wait that lets a chuck with a tumbler come to rest.
 */
export const ASSUMED_ROTARY = {
  rotarySpeedDegPerS: 180,
  rotaryAccelerationDegPerS2: 1800,
  rotarySettleMs: 20,
} as const satisfies Required<RotaryMotion>;

/** Size of a settling time that stands for 0, s. Assumed: the least that changes a job's time noticeably. */
const FLOOR_S = 1e-3;

/** The motion with what is assumed of its rotary where nothing is said. */
export const withRotary = (motion: Motion): Motion => ({ ...ASSUMED_ROTARY, ...motion });

/** The machine as one that has no rotary, with what was measured of the rest. */
export function withoutRotary(machine: Machine): Machine {
  const rest = Object.entries(machine.motion).filter(([field]) => !Object.hasOwn(ROTARY_FIELDS, field));
  const motion = Object.fromEntries(rest) as unknown as Motion;
  const { motionUncertainty: known } = machine;
  if (known?.kind !== 'fitted') return { ...machine, motion };
  const at = known.parameters.indexOf(ROTARY_SETTLING.name);
  if (at < 0) return { ...machine, motion };
  const parameters = known.parameters.toSpliced(at, 1);
  const covariance = known.covariance.toSpliced(at, 1).map((row) => row.toSpliced(at, 1));
  return { ...machine, motion, motionUncertainty: { ...known, parameters, covariance } };
}

/** From rest to rest about so many degrees, and until it stands still, s. */
export function computeTurnSeconds(degrees: number, motion: RotaryMotion): number {
  const { rotarySpeedDegPerS, rotaryAccelerationDegPerS2, rotarySettleMs } = { ...ASSUMED_ROTARY, ...motion };
  if (degrees === 0) return 0;
  // The same law as that of a straight axis, its way in degrees.
  const turnS = computeTrapezoidSeconds({
    distanceMm: degrees,
    speedMmPerS: rotarySpeedDegPerS,
    accelerationMmPerS2: rotaryAccelerationDegPerS2,
  });
  return turnS + rotarySettleMs / 1000;
}

/** What a stopwatch tells of a rotary: all its lines turn as far, so that only their sum of turn and wait shows. */
export const ROTARY_SETTLING: MotionUnknown<Motion, 'rotarySettleS'> = {
  name: 'rotarySettleS',
  read: ({ rotarySettleMs = ASSUMED_ROTARY.rotarySettleMs }) => rotarySettleMs / 1000,
  floor: FLOOR_S,
  factor: 'delay',
  label: 'rotary comes to rest',
  unit: 'ms',
  show: (value) => value * 1000,
};

/** What a person reads of a rotary. */
export function listRotaryRows({ rotarySpeedDegPerS, rotaryAccelerationDegPerS2, rotarySettleMs }: RotaryMotion) {
  const row = (label: string, value: number | undefined, unit: string) =>
    value === undefined ? [] : [{ label, values: [value], unit }];
  return [
    ...row('rotary turns at most', rotarySpeedDegPerS, '°/s'),
    ...row('rotary gains speed by', rotaryAccelerationDegPerS2, '°/s²'),
    ...row('rotary comes to rest', rotarySettleMs, 'ms'),
  ];
}
