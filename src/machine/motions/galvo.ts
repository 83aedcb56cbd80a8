import * as v from 'valibot';
import { QUANTITIES as Q } from '../../quantities.ts';
import { computeMoveSeconds, computeRamp, type Drive } from '../trapezoid.ts';
import type { GalvoMotion } from '../types.ts';
import { type DotByDot, inverse, type MotionRecord, OVERHEAD, RAMP } from './motion.ts';

/** A jump of this length settles within a time constant times ln 2, mm. Assumed: about what a mark forgives. */
const SETTLED_MM = 0.01;

/** Sizes that stand for a value of 0, s. Assumed: the least of each that changes a job's time noticeably. */
const FLOORS = { settlingS: 1e-4, waitS: 1e-4, dotS: 2e-5, gapS: 5e-5 } as const;

const toUs = (seconds: number) => seconds * 1e6;

const DOT_BY_DOT: DotByDot<GalvoMotion, 'dotS' | 'gapS' | 'skipSPerMm'> = {
  fields: ['dotDelayUs', 'gapDelayUs', 'skipSpeedMmPerS'],
  unknowns: [
    {
      name: 'dotS',
      read: ({ dotDelayUs = 0 }) => dotDelayUs / 1e6,
      floor: FLOORS.dotS,
      factor: 'delay',
      label: 'delay of each dot',
      unit: 'µs',
      show: toUs,
    },
    {
      name: 'gapS',
      read: ({ gapDelayUs = 0 }) => gapDelayUs / 1e6,
      floor: FLOORS.gapS,
      factor: 'delay',
      label: 'delay of each gap between dots',
      unit: 'µs',
      show: toUs,
    },
    inverse({
      name: 'skipSPerMm',
      of: ({ skipSpeedMmPerS, jumpSpeedMmPerS }) => skipSpeedMmPerS ?? jumpSpeedMmPerS,
      factor: 'speed',
      label: 'speed over bare dots',
      unit: 'mm/s',
    }),
  ],
  computeTimes: ({ dotDelayUs = 0, gapDelayUs = 0, jumpSpeedMmPerS, skipSpeedMmPerS = jumpSpeedMmPerS }) => ({
    dotS: dotDelayUs / 1e6,
    gapS: gapDelayUs / 1e6,
    skipSpeedMmPerS,
  }),
  apply: (motion, { dotS, gapS, skipSPerMm }) => ({
    ...motion,
    dotDelayUs: toUs(dotS),
    gapDelayUs: toUs(gapS),
    skipSpeedMmPerS: 1 / skipSPerMm,
  }),
};

/** Mirrors that turn the beam: the controller sets speed and acceleration of the spot, not of each mirror. */
export const GALVO: MotionRecord<GalvoMotion, 'jumpSPerMm' | 'rampS2PerMm' | 'settlingS' | 'waitS' | 'overheadS'> = {
  rays: 'from-a-point',
  fields: {
    jumpSpeedMmPerS: Q.speedMmPerS,
    accelerationMmPerS2: Q.accelerationMmPerS2,
    jumpDelayUs: Q.delayUs,
    settlingUs: v.exactOptional(Q.delayUs),
    lineDelayUs: Q.delayUs,
    beamOnDelayUs: Q.delayUs,
    beamOffDelayUs: Q.delayUs,
    jobOverheadS: Q.overheadS,
    dotDelayUs: v.exactOptional(Q.delayUs),
    gapDelayUs: v.exactOptional(Q.delayUs),
    skipSpeedMmPerS: v.exactOptional(Q.speedMmPerS),
  },
  computeRunUp: (motion, speedMmPerS) => {
    const { distanceMm, seconds } = computeRamp(driveOf(motion, speedMmPerS));
    return { runUpMm: distanceMm, runUpS: seconds };
  },
  /**
   * Along the straight line. What is left of the way when the jump has been told dies away exponentially, until it is
   * no more than SETTLED_MM.
   */
  createMove: (motion) => {
    const drive = driveOf(motion, motion.jumpSpeedMmPerS);
    const settlingS = (motion.settlingUs ?? 0) / 1e6;
    return (dxMm, dyMm) => {
      const distanceMm = Math.hypot(dxMm, dyMm);
      const settling = settlingS > 0 ? settlingS * Math.log1p(distanceMm / SETTLED_MM) : 0;
      return computeMoveSeconds(distanceMm, drive) + settling;
    };
  },
  computeWaitS,
  // The four delays follow one another in every line: a stopwatch can only tell their sum.
  unknowns: [
    inverse({
      name: 'jumpSPerMm',
      of: ({ jumpSpeedMmPerS }) => jumpSpeedMmPerS,
      factor: 'speed',
      label: 'jump speed',
      unit: 'mm/s',
    }),
    RAMP,
    {
      name: 'settlingS',
      read: ({ settlingUs = 0 }) => settlingUs / 1e6,
      floor: FLOORS.settlingS,
      factor: 'delay',
      label: 'settling, each e-fold of a jump',
      unit: 'µs',
      show: toUs,
    },
    {
      name: 'waitS',
      read: computeWaitS,
      floor: FLOORS.waitS,
      factor: 'delay',
      label: 'all delays of a line together',
      unit: 'µs',
      show: toUs,
    },
    OVERHEAD,
  ],
  apply: (motion, { jumpSPerMm, rampS2PerMm, settlingS, waitS, overheadS }) => {
    const before = computeWaitS(motion);
    // Only the sum is known: each delay keeps its share of it.
    const share = (delayUs: number) => (before > 0 ? (delayUs / before) * waitS : 0);
    const { settlingUs: _, ...rest } = motion;
    return {
      ...rest,
      jumpSpeedMmPerS: 1 / jumpSPerMm,
      accelerationMmPerS2: 1 / rampS2PerMm,
      ...(settlingS > 0 ? { settlingUs: toUs(settlingS) } : {}),
      jumpDelayUs: before > 0 ? share(motion.jumpDelayUs) : toUs(waitS),
      lineDelayUs: share(motion.lineDelayUs),
      beamOnDelayUs: share(motion.beamOnDelayUs),
      beamOffDelayUs: share(motion.beamOffDelayUs),
      jobOverheadS: overheadS,
    };
  },
  dotByDot: DOT_BY_DOT,
  describeFormula: ({ settlingUs = 0 }, bare) =>
    [
      bare === 'dot-by-dot'
        ? ''
        : 'Turning: before and after each line the spot gains and loses its speed at acceleration a, 2v/a a line. ',
      'Moving: the spot jumps straight to the next line; a jump of length d at jump speed j takes 2j/a + (d − j²/a)/j, or 2√(d/a) when it is shorter than j²/a. Waiting: jump, line, beam-on and beam-off delay, once a line.',
      settlingUs > 0
        ? ` After a jump of length d the mirrors settle for τ·ln(1 + d/${SETTLED_MM} mm), counted with the move.`
        : '',
    ].join(''),
  listRows: (motion) => {
    const { settlingUs, dotDelayUs = 0, gapDelayUs = 0, skipSpeedMmPerS = motion.jumpSpeedMmPerS } = motion;
    return [
      { label: 'jump speed', values: [motion.jumpSpeedMmPerS], unit: 'mm/s' },
      { label: 'acceleration', values: [motion.accelerationMmPerS2], unit: 'mm/s²' },
      { label: 'delay after a jump', values: [motion.jumpDelayUs], unit: 'µs' },
      { label: 'delay after a line', values: [motion.lineDelayUs], unit: 'µs' },
      { label: 'beam on, beam off', values: [motion.beamOnDelayUs, motion.beamOffDelayUs], unit: 'µs' },
      { label: 'start and end of a job', values: [motion.jobOverheadS], unit: 's' },
      ...(settlingUs === undefined
        ? []
        : [{ label: 'settling, each e-fold of a jump', values: [settlingUs], unit: 'µs' }]),
      ...(motion.bare === 'dot-by-dot'
        ? [
            { label: 'delay of each dot', values: [dotDelayUs], unit: 'µs' },
            { label: 'delay of each gap between dots', values: [gapDelayUs], unit: 'µs' },
            { label: 'speed over bare dots', values: [skipSpeedMmPerS], unit: 'mm/s' },
          ]
        : []),
    ];
  },
  fitNote: 'Of the four delays only the sum is measured; each keeps its share of it.',
};

function driveOf({ accelerationMmPerS2 }: GalvoMotion, speedMmPerS: number): Drive {
  return { speedMmPerS, accelerationMmPerS2, riseS: 0 };
}

function computeWaitS({ jumpDelayUs, lineDelayUs, beamOnDelayUs, beamOffDelayUs }: GalvoMotion): number {
  return (jumpDelayUs + lineDelayUs + beamOnDelayUs + beamOffDelayUs) / 1e6;
}
