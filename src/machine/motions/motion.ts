import type * as v from 'valibot';
import type { BareHandling, Motion, MotionFactors } from '../types.ts';

/**
 * One unknown of a motion, in the form in which the time of a job is nearly a straight line in it: seconds a millimetre
 * instead of speeds, s²/mm instead of acceleration. So a fit converges from far off, and its intervals hold.
 */
export interface MotionUnknown<M extends Motion, Name extends string = string> {
  readonly name: Name;
  read(motion: M): number;
  /** Size that stands for a value of 0; absent: it is above 0, the inverse of a speed or of an acceleration. */
  readonly floor?: number;
  /** Which of the assumed factors speaks of it. */
  readonly factor: keyof MotionFactors;
  /** What a person calls it, and how its value is said there: `show(value)` in `unit`. */
  readonly label: string;
  readonly unit: string;
  readonly show: (value: number) => number;
}

/** Before and after each line. */
export interface RunUp {
  readonly runUpMm: number;
  readonly runUpS: number;
}

/** Seconds of a move with the beam off. */
export type Move = (dxMm: number, dyMm: number) => number;

/** Numbers of a motion that a person reads as one line. */
export interface MotionRow {
  readonly label: string;
  readonly values: readonly number[];
  readonly unit: string;
}

/** What a motion is that can burn every dot by itself. */
export interface DotByDot<M extends Motion, Name extends string = string> {
  /** Fields that belong to this way alone. */
  readonly fields: readonly string[];
  readonly unknowns: readonly MotionUnknown<M, Name>[];
  /** What a dot takes beside its pitch at scan speed, s; each gap between dots, s; the speed over bare dots. */
  computeTimes(motion: M): { readonly dotS: number; readonly gapS: number; readonly skipSpeedMmPerS: number };
  apply(motion: M, values: Readonly<Record<Name, number>>): M;
}

/** One kind of motion: its fields in a machine's file, its kinematics, its unknowns and its words. */
export interface MotionRecord<M extends Motion = Motion, Name extends string = string> {
  /**
   * How the beam comes down: everywhere upright, or from one point above the field's middle, about a focal length high,
   * as behind mirrors and a scan lens that is not telecentric.
   */
  readonly rays: 'upright' | 'from-a-point';
  /** Fields in a machine's file beside `kind` and `bare`, in their sequence. */
  readonly fields: v.ObjectEntries;
  /** Run-up of a scan line at a speed; it starts and ends at rest. */
  computeRunUp(motion: M, speedMmPerS: number): RunUp;
  createMove(motion: M): Move;
  /** All waits of one scan line, s. */
  computeWaitS(motion: M): number;
  /** What a stopwatch can fit, whatever is done with bare places. */
  readonly unknowns: readonly MotionUnknown<M, Name>[];
  /** The motion with other values of its unknowns, ≥ 0, those without a floor > 0. */
  apply(motion: M, values: Readonly<Record<Name, number>>): M;
  /** Absent: it does not burn dot by dot. */
  readonly dotByDot?: DotByDot<M>;
  /** Its kinematics in plain words. */
  describeFormula(motion: M, bare: BareHandling): string;
  /** What a person reads of it. */
  listRows(motion: M): readonly MotionRow[];
  /** What to know of numbers that were fitted to a stopwatch. */
  readonly fitNote?: string;
}

/** The inverse of a speed or of an acceleration. */
export function inverse<M extends Motion, Name extends string>(
  unknown: Pick<MotionUnknown<M, Name>, 'name' | 'factor' | 'label' | 'unit'> & { readonly of: (motion: M) => number },
): MotionUnknown<M, Name> {
  const { of, ...rest } = unknown;
  return { ...rest, read: (motion) => 1 / of(motion), show: (value) => 1 / value };
}

/** How fast speed is gained, as every motion has it. */
export const RAMP: MotionUnknown<Motion, 'rampS2PerMm'> = inverse({
  name: 'rampS2PerMm',
  of: ({ accelerationMmPerS2 }) => accelerationMmPerS2,
  factor: 'acceleration',
  label: 'acceleration',
  unit: 'mm/s²',
});

/** A start and end of a job, as every motion has them. */
export const OVERHEAD: MotionUnknown<Motion, 'overheadS'> = {
  name: 'overheadS',
  read: ({ jobOverheadS }) => jobOverheadS,
  // s. Assumed: the least that changes a job's time noticeably.
  floor: 1,
  factor: 'overhead',
  label: 'start and end of a job',
  unit: 's',
  show: (value) => value,
};
