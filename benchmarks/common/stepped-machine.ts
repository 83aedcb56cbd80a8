import type { Motion } from '../../src/machine/index.ts';
import type { Dots } from '../../src/plane/index.ts';

/**
 * A machine that is stepped through time: it knows where it is, how fast it goes and where it must go, and nothing of
 * closed forms. In each step it speeds up or cruises while it could still brake in the way that is left, else brakes.
 */
interface Run {
  readonly distanceMm: number;
  readonly speedMmPerS: number;
  readonly accelerationMmPerS2: number;
  readonly stepS: number;
}

export function simulateMove({ distanceMm, speedMmPerS, accelerationMmPerS2, stepS }: Run): number {
  let at = 0;
  let speed = 0;
  let seconds = 0;
  while (distanceMm - at > 1e-9) {
    const left = distanceMm - at;
    const faster = Math.min(speedMmPerS, speed + accelerationMmPerS2 * stepS);
    const mayGoOn = faster ** 2 / (2 * accelerationMmPerS2) + ((speed + faster) / 2) * stepS <= left;
    // Braking aims at rest exactly at the end: v²/(2·left) is the deceleration that does it.
    const next = mayGoOn ? faster : Math.max(0, speed - (speed ** 2 / (2 * left)) * stepS);
    const travelled = ((speed + next) / 2) * stepS;
    if (next === 0 || travelled <= 0) return seconds + (2 * left) / Math.max(speed, 1e-9);
    at += travelled;
    speed = next;
    seconds += stepS;
    if (!mayGoOn && speed < accelerationMmPerS2 * stepS) return seconds + (2 * (distanceMm - at)) / speed;
  }
  return seconds;
}

/**
 * Time from rest up to the scan speed, over the marks and back to rest, stepped; and the way that getting up to speed
 * takes.
 */
function simulateLine(lengthMm: number, speedMmPerS: number, { accelerationMmPerS2, stepS, extraMm }: LineRun) {
  let speed = 0;
  let rampMm = 0;
  let rampS = 0;
  while (speed < speedMmPerS) {
    const next = Math.min(speedMmPerS, speed + accelerationMmPerS2 * stepS);
    const partS = (next - speed) / accelerationMmPerS2;
    rampMm += ((speed + next) / 2) * partS;
    rampS += partS;
    speed = next;
  }
  let at = 0;
  let evenS = 0;
  const evenMm = lengthMm + 2 * extraMm;
  while (at < evenMm) {
    const stride = Math.min(speed * stepS, evenMm - at);
    at += stride;
    evenS += stride / speed;
  }
  return { seconds: 2 * rampS + evenS, runMm: rampMm + extraMm };
}

interface LineRun {
  readonly accelerationMmPerS2: number;
  readonly stepS: number;
  readonly extraMm: number;
}

interface Job {
  readonly motion: Motion;
  readonly speedMmPerS: number;
  readonly scan: 'one-way' | 'two-way';
  readonly passes: number;
  readonly pitchMm: number;
  readonly lineSpacingMm: number;
  readonly stepS: number;
}

/** Seconds of a whole job, by walking through the bitmap dot by dot and stepping every motion. */
export function simulateJob(dots: Dots, job: Job): number {
  const { motion, stepS } = job;
  const lines: { y: number; left: number; right: number }[] = [];
  for (let y = 0; y < dots.height; y++) {
    const fired = Array.from(dots.data.subarray(y * dots.width, (y + 1) * dots.width), (bit, x) => (bit > 0 ? x : -1));
    const marks = fired.filter((x) => x >= 0);
    if (marks.length > 0) {
      const left = Math.min(...marks) * job.pitchMm;
      lines.push({ y: y * job.lineSpacingMm, left, right: (Math.max(...marks) + 1) * job.pitchMm });
    }
  }
  let seconds = 0;
  let place: { x: number; y: number } | undefined;
  let home: { x: number; y: number } | undefined;
  const go = (to: { x: number; y: number }) => {
    if (place) {
      seconds += travel(Math.abs(to.x - place.x), Math.abs(to.y - place.y));
      if (motion.kind === 'galvo') seconds += motion.jumpDelayUs * 1e-6;
    }
    place = to;
  };
  const travel = (dx: number, dy: number) => {
    const rest = { accelerationMmPerS2: motion.accelerationMmPerS2, stepS };
    if (motion.kind === 'galvo') {
      return simulateMove({ distanceMm: Math.sqrt(dx * dx + dy * dy), speedMmPerS: motion.jumpSpeedMmPerS, ...rest });
    }
    const axis = (distanceMm: number) => simulateMove({ distanceMm, speedMmPerS: motion.travelSpeedMmPerS, ...rest });
    return Math.max(axis(dx), axis(dy));
  };
  for (let pass = 0; pass < job.passes; pass++) {
    let rightwards = true;
    for (const line of lines) {
      const extraMm = motion.kind === 'gantry' ? motion.overtravelMm : 0;
      const run = simulateLine(line.right - line.left, job.speedMmPerS, {
        accelerationMmPerS2: motion.accelerationMmPerS2,
        stepS,
        extraMm,
      });
      const leftEnd = { x: line.left - run.runMm, y: line.y };
      const rightEnd = { x: line.right + run.runMm, y: line.y };
      go(rightwards ? leftEnd : rightEnd);
      home ??= place;
      seconds += run.seconds;
      place = rightwards ? rightEnd : leftEnd;
      if (motion.kind === 'galvo') {
        seconds += (motion.lineDelayUs + motion.beamOnDelayUs + motion.beamOffDelayUs) * 1e-6;
      } else {
        seconds += motion.turnDelayMs * 1e-3;
      }
      if (job.scan === 'two-way') rightwards = !rightwards;
    }
  }
  if (home) go(home);
  return seconds + motion.jobOverheadS;
}
