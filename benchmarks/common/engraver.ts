import type { Dots } from '../../src/plane/index.ts';

/**
 * Virtual engravers for the stopwatch. They move by their own rules, stepped through time: mirrors that lag behind what
 * they are told, axes whose acceleration builds up, controllers that think between lines, and every line a little
 * different. They know no closed form and none of the machine files' numbers.
 */
export type Engraver = GalvoEngraver | GantryEngraver;

export interface GalvoEngraver {
  readonly kind: 'galvo';
  /** Speed and acceleration that a jump is told, mm/s, mm/s². */
  readonly jumpMmPerS: number;
  readonly accelerationMmPerS2: number;
  /** The mirror follows like a critically damped spring of this frequency, rad/s. */
  readonly mirrorRadPerS: number;
  /** A jump is over when the mirror is this near, mm. */
  readonly settledMm: number;
  /** Waits of the controller in every line, s, and their scatter from line to line. */
  readonly lineS: number;
  readonly jitterS: number;
  readonly startS: number;
  /** Between passes, s. */
  readonly passS: number;
  readonly bare: 'skipped' | 'line-ends-scanned' | 'all-scanned';
}

export interface GantryEngraver {
  readonly kind: 'gantry';
  readonly travelMmPerS: number;
  readonly accelerationMmPerS2: number;
  /** How fast acceleration builds up, mm/s³. */
  readonly jerkMmPerS3: number;
  readonly overtravelMm: number;
  readonly turnS: number;
  readonly jitterS: number;
  readonly startS: number;
  readonly passS: number;
  readonly bare: 'skipped' | 'line-ends-scanned' | 'all-scanned';
}

export interface EngraverJob {
  readonly pitchMm: number;
  readonly lineSpacingMm: number;
  readonly speedMmPerS: number;
  readonly passes: number;
  readonly scan: 'one-way' | 'two-way';
}

/** Seconds that the engraver needs, without any error of the hand. `chance` gives 0 ≤ x < 1. */
export function engraveForSeconds(
  engraver: Engraver,
  { dots, job, chance }: { readonly dots: Dots; readonly job: EngraverJob; readonly chance: () => number },
): number {
  const lines = listLines(dots, engraver.bare);
  const rampOf = remember((speed) => rampUp(engraver, speed));
  const moveOf = remember((distance) => moveTime(engraver, distance));
  const extraMm = engraver.kind === 'gantry' ? engraver.overtravelMm : 0;
  const ramp = rampOf(job.speedMmPerS);
  const runMm = ramp.mm + extraMm;
  const waitS = engraver.kind === 'galvo' ? engraver.lineS : engraver.turnS;
  let seconds = engraver.startS + 0.05 * normal(chance);
  let spot: [number, number] | undefined;
  let home: [number, number] | undefined;
  const goTo = (x: number, y: number) => {
    if (spot) {
      const dx = Math.abs(x - spot[0]);
      const dy = Math.abs(y - spot[1]);
      seconds +=
        engraver.kind === 'galvo' ? moveOf(Math.sqrt(dx ** 2 + dy ** 2)).s : Math.max(moveOf(dx).s, moveOf(dy).s);
    }
    home ??= [x, y];
    spot = [x, y];
  };
  for (let pass = 0; pass < job.passes; pass++) {
    if (pass > 0) seconds += engraver.passS;
    lines.forEach(({ y, from, to }, at) => {
      const left = from * job.pitchMm - runMm;
      const right = to * job.pitchMm + runMm;
      const back = job.scan === 'two-way' && at % 2 === 1;
      goTo(back ? right : left, y * job.lineSpacingMm);
      seconds += 2 * ramp.s + (right - left - 2 * ramp.mm) / job.speedMmPerS;
      seconds += waitS + engraver.jitterS * normal(chance);
      spot = [back ? left : right, y * job.lineSpacingMm];
    });
  }
  if (home) goTo(home[0], home[1]);
  return seconds;
}

function listLines({ data, width, height }: Dots, bare: Engraver['bare']) {
  const lines: { y: number; from: number; to: number }[] = [];
  for (let y = 0; y < height; y++) {
    const row = data.subarray(y * width, (y + 1) * width);
    const from = row.findIndex((dot) => dot > 0);
    if (bare === 'all-scanned' || (bare === 'line-ends-scanned' && from >= 0)) lines.push({ y, from: 0, to: width });
    else if (from >= 0) lines.push({ y, from, to: row.findLastIndex((dot) => dot > 0) + 1 });
  }
  return lines;
}

interface Stretch {
  readonly s: number;
  readonly mm: number;
}

/** From rest to a speed. */
function rampUp(engraver: Engraver, speed: number): Stretch {
  if (engraver.kind === 'gantry') return jerkyRamp(engraver, speed);
  // The controller leads the mirror by the lag that it has at this speed, and gives the ramp that much more room.
  const step = 1e-6;
  let [s, mm, told] = [0, 0, 0];
  while (told < speed) {
    const next = Math.min(speed, told + engraver.accelerationMmPerS2 * step);
    mm += ((told + next) / 2) * step;
    told = next;
    s += step;
  }
  const lagS = 2 / engraver.mirrorRadPerS;
  return { s: s + lagS, mm: mm + speed * lagS };
}

/** Acceleration builds up, holds, and dies away before the speed is reached. */
function jerkyRamp({ accelerationMmPerS2, jerkMmPerS3 }: GantryEngraver, speed: number): Stretch {
  const step = 2e-5;
  let [s, mm, v, a] = [0, 0, 0, 0];
  while (v < speed && s < 60) {
    // What the speed still grows while the acceleration is taken back to nothing.
    const coming = a ** 2 / (2 * jerkMmPerS3);
    a =
      v + coming >= speed ? Math.max(a - jerkMmPerS3 * step, 0) : Math.min(a + jerkMmPerS3 * step, accelerationMmPerS2);
    if (a === 0) break;
    mm += (v + (a * step) / 2) * step;
    v += a * step;
    s += step;
  }
  return { s, mm };
}

/** From rest to rest. */
function moveTime(engraver: Engraver, distance: number): Stretch {
  if (distance <= 0) return { s: 0, mm: 0 };
  return engraver.kind === 'galvo' ? mirrorJump(engraver, distance) : jerkyMove(engraver, distance);
}

/** The told place runs ahead by a trapezoid of speed; the mirror follows as a spring and is waited for. */
function mirrorJump(
  { jumpMmPerS, accelerationMmPerS2, mirrorRadPerS, settledMm }: GalvoEngraver,
  distance: number,
): Stretch {
  const step = 5e-6;
  let [s, told, toldSpeed, x, v] = [0, 0, 0, 0, 0];
  while (s < 10) {
    const left = distance - told;
    const braking = toldSpeed ** 2 / (2 * accelerationMmPerS2);
    toldSpeed =
      left <= braking
        ? Math.max(toldSpeed - accelerationMmPerS2 * step, 0)
        : Math.min(toldSpeed + accelerationMmPerS2 * step, jumpMmPerS);
    told = toldSpeed === 0 ? distance : Math.min(distance, told + toldSpeed * step);
    v += (mirrorRadPerS ** 2 * (told - x) - 2 * mirrorRadPerS * v) * step;
    x += v * step;
    s += step;
    if (told >= distance && Math.abs(distance - x) <= settledMm) break;
  }
  return { s, mm: distance };
}

/** The highest speed from which half the way is enough, by halving. */
function jerkyMove(engraver: GantryEngraver, distance: number): Stretch {
  const full = jerkyRamp(engraver, engraver.travelMmPerS);
  if (2 * full.mm <= distance)
    return { s: 2 * full.s + (distance - 2 * full.mm) / engraver.travelMmPerS, mm: distance };
  let [low, high] = [0, engraver.travelMmPerS];
  for (let i = 0; i < 22; i++) {
    const middle = (low + high) / 2;
    if (2 * jerkyRamp(engraver, middle).mm < distance) low = middle;
    else high = middle;
  }
  const ramp = jerkyRamp(engraver, low);
  return { s: 2 * ramp.s + (distance - 2 * ramp.mm) / Math.max(low, 1e-6), mm: distance };
}

/**
 * Ways that differ by less than a hundredth of a millimetre, or a hundredth of their length when short, take the same.
 */
function remember(of: (value: number) => Stretch): (value: number) => Stretch {
  const known = new Map<number, Stretch>();
  return (value) => {
    const rounded = Number(value.toPrecision(3));
    const found = known.get(rounded);
    if (found) return found;
    const made = of(rounded);
    known.set(rounded, made);
    return made;
  };
}

/** A normal deviate, the sum of twelve even ones. */
export function normal(chance: () => number): number {
  let sum = -6;
  for (let i = 0; i < 12; i++) sum += chance();
  return sum;
}

/** An engraver with chance numbers, as wide apart as real ones are. */
export function drawEngraver(kind: Engraver['kind'], chance: () => number): Engraver {
  const between = (low: number, high: number) => low * (high / low) ** chance();
  const bare = (['skipped', 'skipped', 'line-ends-scanned', 'all-scanned'] as const)[Math.floor(4 * chance())]!;
  const rest = { startS: between(0.5, 6), passS: between(0.01, 0.1), bare };
  if (kind === 'galvo') {
    const lineS = between(2e-4, 1.5e-3);
    return {
      kind,
      jumpMmPerS: between(1500, 8000),
      accelerationMmPerS2: between(2e6, 3e7),
      mirrorRadPerS: between(3000, 9000),
      settledMm: between(0.005, 0.02),
      lineS,
      jitterS: 0.1 * lineS,
      ...rest,
    };
  }
  const accelerationMmPerS2 = between(800, 12_000);
  const turnS = between(2e-3, 4e-2);
  return {
    kind,
    travelMmPerS: between(100, 600),
    accelerationMmPerS2,
    jerkMmPerS3: accelerationMmPerS2 * between(15, 60),
    overtravelMm: between(0.5, 5),
    turnS,
    jitterS: 0.1 * turnS,
    ...rest,
  };
}
