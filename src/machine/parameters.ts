import type { BareHandling, GalvoMotion, GantryMotion, Motion, MotionFactors } from './types.ts';

/**
 * One unknown of a motion, in the form in which the time of a job is nearly a straight line in it: seconds a millimetre
 * instead of speeds, s²/mm instead of acceleration. So a fit converges from far off, and its intervals hold.
 */
export interface MotionParameter {
  readonly name: string;
  readonly value: number;
  /** A size of it that is never 0, for steps and bounds. */
  readonly scale: number;
  /** It is above 0: the inverse of a speed or of an acceleration. */
  readonly inverse?: true;
  /** Which of the assumed factors speaks of it. */
  readonly factor: keyof MotionFactors;
  /** What a person calls it, and how its value is said there: `show(value)` in `unit`. */
  readonly label: string;
  readonly unit: string;
  readonly show: (value: number) => number;
}

/** Factors by which a file that says nothing may be off. Assumed: round numbers, from common practice. */
export const ASSUMED_MOTION_FACTORS: MotionFactors = { speed: 1.5, acceleration: 3, delay: 2, overhead: 2 };

/** Sizes that stand for a value of 0. Assumed: the least of each that changes a job's time noticeably. */
const FLOORS = {
  waitS: 1e-4,
  settlingS: 1e-4,
  riseS: 1e-2,
  overtravelMm: 0.5,
  overheadS: 1,
  dotS: 2e-5,
  gapS: 5e-5,
} as const;

/**
 * The unknowns of a motion. The four delays of a galvo follow one another in every line: a stopwatch can only tell
 * their sum.
 */
export function listMotionParameters(motion: Motion): readonly MotionParameter[] {
  const galvo = motion.kind === 'galvo';
  const speed = galvo ? motion.jumpSpeedMmPerS : motion.travelSpeedMmPerS;
  const invert = (value: number) => 1 / value;
  const inverse = { inverse: true, show: invert } as const;
  const waitS = waitSecondsPerLine(motion);
  const riseS = galvo ? 0 : (motion.accelerationRiseMs ?? 0) / 1e3;
  const settlingS = galvo ? (motion.settlingUs ?? 0) / 1e6 : 0;
  return [
    {
      name: galvo ? 'jumpSPerMm' : 'travelSPerMm',
      value: 1 / speed,
      scale: 1 / speed,
      factor: 'speed',
      label: galvo ? 'jump speed' : 'travel speed',
      unit: 'mm/s',
      ...inverse,
    },
    {
      name: 'rampS2PerMm',
      value: 1 / motion.accelerationMmPerS2,
      scale: 1 / motion.accelerationMmPerS2,
      factor: 'acceleration',
      label: 'acceleration',
      unit: 'mm/s²',
      ...inverse,
    },
    galvo
      ? {
          name: 'settlingS',
          value: settlingS,
          scale: Math.max(settlingS, FLOORS.settlingS),
          factor: 'delay',
          label: 'settling, each e-fold of a jump',
          unit: 'µs',
          show: (value) => value * 1e6,
        }
      : {
          name: 'riseS',
          value: riseS,
          scale: Math.max(riseS, FLOORS.riseS),
          factor: 'delay',
          label: 'rise of acceleration',
          unit: 'ms',
          show: (value) => value * 1e3,
        },
    {
      name: 'waitS',
      value: waitS,
      scale: Math.max(waitS, FLOORS.waitS),
      factor: 'delay',
      label: galvo ? 'all delays of a line together' : 'delay at a turn',
      unit: galvo ? 'µs' : 'ms',
      show: (value) => value * (galvo ? 1e6 : 1e3),
    },
    ...(galvo
      ? []
      : [
          {
            name: 'overtravelMm',
            value: motion.overtravelMm,
            scale: Math.max(motion.overtravelMm, FLOORS.overtravelMm),
            factor: 'delay' as const,
            label: 'overtravel',
            unit: 'mm',
            show: (value: number) => value,
          },
        ]),
    {
      name: 'overheadS',
      value: motion.jobOverheadS,
      scale: Math.max(motion.jobOverheadS, FLOORS.overheadS),
      factor: 'overhead',
      label: 'start and end of a job',
      unit: 's',
      show: (value) => value,
    },
    ...(galvo && motion.bare === 'dot-by-dot' ? listDotParameters(motion, inverse) : []),
  ];
}

/** What a machine has that burns dot by dot. */
function listDotParameters(
  { dotDelayUs = 0, gapDelayUs = 0, skipSpeedMmPerS, jumpSpeedMmPerS }: GalvoMotion,
  inverse: Pick<MotionParameter, 'inverse' | 'show'>,
): readonly MotionParameter[] {
  const slowness = 1 / (skipSpeedMmPerS ?? jumpSpeedMmPerS);
  const delay = { factor: 'delay', unit: 'µs', show: (value: number) => value * 1e6 } as const;
  return [
    {
      name: 'dotS',
      value: dotDelayUs / 1e6,
      scale: Math.max(dotDelayUs / 1e6, FLOORS.dotS),
      label: 'delay of each dot',
      ...delay,
    },
    {
      name: 'gapS',
      value: gapDelayUs / 1e6,
      scale: Math.max(gapDelayUs / 1e6, FLOORS.gapS),
      label: 'delay of each gap between dots',
      ...delay,
    },
    {
      name: 'skipSPerMm',
      value: slowness,
      scale: slowness,
      factor: 'speed',
      label: 'speed over bare dots',
      unit: 'mm/s',
      ...inverse,
    },
  ];
}

/**
 * The motion with other values of its parameters, in the order of `listMotionParameters`. Values ≥ 0, those that are
 * inverse > 0.
 */
export function applyMotionParameters(motion: Motion, values: readonly number[]): Motion {
  return motion.kind === 'galvo' ? applyToGalvo(motion, values) : applyToGantry(motion, values);
}

function applyToGalvo(motion: GalvoMotion, values: readonly number[]): GalvoMotion {
  const [slowness, ramp, settlingS, waitS, overheadS, ...ofDots] = values as [number, number, number, number, number];
  const before = waitSecondsPerLine(motion);
  // Only the sum is known: each delay keeps its share of it.
  const share = (delayUs: number) => (before > 0 ? (delayUs / before) * waitS : 0);
  const { settlingUs: _, ...rest } = motion;
  return {
    ...rest,
    jumpSpeedMmPerS: 1 / slowness,
    accelerationMmPerS2: 1 / ramp,
    ...(settlingS > 0 ? { settlingUs: settlingS * 1e6 } : {}),
    jumpDelayUs: before > 0 ? share(motion.jumpDelayUs) : waitS * 1e6,
    lineDelayUs: share(motion.lineDelayUs),
    beamOnDelayUs: share(motion.beamOnDelayUs),
    beamOffDelayUs: share(motion.beamOffDelayUs),
    jobOverheadS: overheadS,
    ...(motion.bare === 'dot-by-dot' ? applyDots(ofDots as unknown as [number, number, number]) : {}),
  };
}

function applyDots([dotS, gapS, slowness]: readonly [dotS: number, gapS: number, skipSPerMm: number]) {
  return { dotDelayUs: dotS * 1e6, gapDelayUs: gapS * 1e6, skipSpeedMmPerS: 1 / slowness };
}

/** The same machine with another way with bare places; what belongs to one way alone goes with it. */
export function withBareHandling(motion: Motion, bare: BareHandling): Motion {
  if (motion.kind === 'gantry') {
    if (bare === 'dot-by-dot') throw new RangeError('a gantry does not burn dot by dot');
    return { ...motion, bare };
  }
  if (bare === 'dot-by-dot') return { ...motion, bare };
  const { dotDelayUs: _dot, gapDelayUs: _gap, skipSpeedMmPerS: _skip, ...rest } = motion;
  return { ...rest, bare };
}

function applyToGantry(motion: GantryMotion, values: readonly number[]): GantryMotion {
  const [slowness, ramp, riseS, waitS, overtravelMm, overheadS] = values as [
    number,
    number,
    number,
    number,
    number,
    number,
  ];
  const { accelerationRiseMs: _, ...rest } = motion;
  return {
    ...rest,
    travelSpeedMmPerS: 1 / slowness,
    accelerationMmPerS2: 1 / ramp,
    ...(riseS > 0 ? { accelerationRiseMs: riseS * 1e3 } : {}),
    turnDelayMs: waitS * 1e3,
    overtravelMm,
    jobOverheadS: overheadS,
  };
}

/** All waits of one scan line, s. */
export function waitSecondsPerLine(motion: Motion): number {
  if (motion.kind === 'gantry') return motion.turnDelayMs / 1000;
  return (motion.jumpDelayUs + motion.lineDelayUs + motion.beamOnDelayUs + motion.beamOffDelayUs) / 1e6;
}
