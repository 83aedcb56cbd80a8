import * as v from 'valibot';
import { QUANTITIES as Q } from '../../quantities.ts';
import { computeMoveSeconds, computeRamp, type Drive } from '../trapezoid.ts';
import type { GantryMotion } from '../types.ts';
import { inverse, type MotionRecord, OVERHEAD, RAMP } from './motion.ts';

/** Sizes that stand for a value of 0, s and mm. Assumed: the least of each that changes a job's time noticeably. */
const FLOORS = { riseS: 1e-2, waitS: 1e-4, overtravelMm: 0.5 } as const;

const toMs = (seconds: number) => seconds * 1e3;

/** The turn at the end of a line. */
const computeWaitS = ({ turnDelayMs }: GantryMotion): number => turnDelayMs / 1000;

/** A head on two axes. */
export const GANTRY: MotionRecord<
  GantryMotion,
  'travelSPerMm' | 'rampS2PerMm' | 'riseS' | 'waitS' | 'overtravelMm' | 'overheadS'
> = {
  rays: 'upright',
  fields: {
    accelerationMmPerS2: Q.accelerationMmPerS2,
    accelerationRiseMs: v.exactOptional(Q.delayMs),
    travelSpeedMmPerS: Q.speedMmPerS,
    overtravelMm: Q.marginMm,
    turnDelayMs: Q.delayMs,
    jobOverheadS: Q.overheadS,
  },
  /** It runs on over its overtravel at scan speed. */
  computeRunUp: (motion, speedMmPerS) => {
    const { overtravelMm } = motion;
    const { distanceMm, seconds } = computeRamp(driveOf(motion, speedMmPerS));
    return { runUpMm: distanceMm + overtravelMm, runUpS: seconds + overtravelMm / speedMmPerS };
  },
  /** The axes travel at once, each by itself: the slower one decides. */
  createMove: (motion) => {
    const drive = driveOf(motion, motion.travelSpeedMmPerS);
    return (dxMm, dyMm) =>
      Math.max(computeMoveSeconds(Math.abs(dxMm), drive), computeMoveSeconds(Math.abs(dyMm), drive));
  },
  computeWaitS,
  unknowns: [
    inverse({
      name: 'travelSPerMm',
      of: ({ travelSpeedMmPerS }) => travelSpeedMmPerS,
      factor: 'speed',
      label: 'travel speed',
      unit: 'mm/s',
    }),
    RAMP,
    {
      name: 'riseS',
      read: ({ accelerationRiseMs = 0 }) => accelerationRiseMs / 1e3,
      floor: FLOORS.riseS,
      factor: 'delay',
      label: 'rise of acceleration',
      unit: 'ms',
      show: toMs,
    },
    {
      name: 'waitS',
      read: computeWaitS,
      floor: FLOORS.waitS,
      factor: 'delay',
      label: 'delay at a turn',
      unit: 'ms',
      show: toMs,
    },
    {
      name: 'overtravelMm',
      read: ({ overtravelMm }) => overtravelMm,
      floor: FLOORS.overtravelMm,
      factor: 'delay',
      label: 'overtravel',
      unit: 'mm',
      show: (value) => value,
    },
    OVERHEAD,
  ],
  apply: (motion, { travelSPerMm, rampS2PerMm, riseS, waitS, overtravelMm, overheadS }) => {
    const { accelerationRiseMs: _, ...rest } = motion;
    return {
      ...rest,
      travelSpeedMmPerS: 1 / travelSPerMm,
      accelerationMmPerS2: 1 / rampS2PerMm,
      ...(riseS > 0 ? { accelerationRiseMs: toMs(riseS) } : {}),
      turnDelayMs: toMs(waitS),
      overtravelMm,
      jobOverheadS: overheadS,
    };
  },
  describeFormula: ({ accelerationRiseMs = 0 }) =>
    [
      'Turning: before and after each line the head gains and loses its speed at acceleration a and runs on over the overtravel o at scan speed, 2v/a + 2o/v a line. Moving: both axes travel to the next line at once and the slower one counts; d at travel speed t takes 2t/a + (d − t²/a)/t, or 2√(d/a) when it is shorter than t²/a. Waiting: the turn delay, once a line.',
      accelerationRiseMs > 0
        ? ' Acceleration rises and falls in the time r: gaining the speed v takes v/a + r, or 2√(v·r/a) below v = a·r; a move that does not reach its speed takes r + √(r² + 4d/a), or 4·∛(d·r/2a) below d = 2a·r².'
        : '',
    ].join(''),
  listRows: ({ accelerationRiseMs, ...motion }) => [
    { label: 'acceleration', values: [motion.accelerationMmPerS2], unit: 'mm/s²' },
    { label: 'travel speed', values: [motion.travelSpeedMmPerS], unit: 'mm/s' },
    { label: 'overtravel', values: [motion.overtravelMm], unit: 'mm' },
    { label: 'delay at a turn', values: [motion.turnDelayMs], unit: 'ms' },
    { label: 'start and end of a job', values: [motion.jobOverheadS], unit: 's' },
    ...(accelerationRiseMs === undefined
      ? []
      : [{ label: 'rise of acceleration', values: [accelerationRiseMs], unit: 'ms' }]),
  ],
};

function driveOf({ accelerationMmPerS2, accelerationRiseMs = 0 }: GantryMotion, speedMmPerS: number): Drive {
  return { speedMmPerS, accelerationMmPerS2, riseS: accelerationRiseMs / 1000 };
}
