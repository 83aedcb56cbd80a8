import { findExtents, fitMotion, type Reading } from '../../src/machine/index.ts';
import { createDots, type Dots } from '../../src/plane/index.ts';
import { type EngraverJob, normal } from './engraver.ts';
import { predictTime, type Stopwatch, startingMachine, type TimedJob } from './stopwatch.ts';

/**
 * Machines that move by physics that the motion model does not have: terms of other forms, pauses, caps, runs from dot
 * to dot. They walk over every line of the bitmap and share no code with the model or with the engravers that are
 * stepped.
 */
export interface Stranger {
  readonly kind: 'galvo' | 'gantry';
  readonly seconds: (dots: Dots, job: EngraverJob, chance: () => number) => number;
}

interface Line {
  readonly y: number;
  /** Ends of the runs of dots that fire: from, to (exclusive), from, to … */
  readonly runs: readonly number[];
}

function walkLines({ data, width, height }: Dots): Line[] {
  const lines: Line[] = [];
  for (let y = 0; y < height; y++) {
    const runs: number[] = [];
    for (let x = 0; x <= width; x++) {
      const on = x < width && data[y * width + x]! > 0;
      if (on !== (runs.length % 2 === 1)) runs.push(x);
    }
    if (runs.length > 0) lines.push({ y, runs });
  }
  return lines;
}

const between = (chance: () => number, low: number, high: number) => low * (high / low) ** chance();

/**
 * Mirrors settle for c + k·√d after each jump; the scan lags behind and is led out at each end; laser and polygon
 * delays.
 */
export function drawRootGalvo(chance: () => number): Stranger {
  const jump = between(chance, 2000, 7000);
  const c = between(chance, 1e-4, 6e-4);
  const k = between(chance, 2e-5, 2e-4);
  const lag = between(chance, 5e-5, 2e-4);
  const delays = between(chance, 1e-4, 6e-4);
  const start = between(chance, 0.5, 4);
  return {
    kind: 'galvo',
    seconds: (dots, job) => {
      let seconds = start;
      const lines = walkLines(dots);
      let [px, py] = [0, 0];
      for (let pass = 0; pass < job.passes; pass++) {
        lines.forEach(({ y, runs }, i) => {
          const back = job.scan === 'two-way' && i % 2 === 1;
          const ends = [runs[0]! * job.pitchMm, runs.at(-1)! * job.pitchMm];
          const [from, to] = back ? [ends[1]!, ends[0]!] : [ends[0]!, ends[1]!];
          const d = Math.sqrt((from - px) ** 2 + (y * job.lineSpacingMm - py) ** 2);
          seconds += d / jump + c + k * Math.sqrt(d) + delays;
          seconds += Math.abs(to - from) / job.speedMmPerS + 2 * lag;
          [px, py] = [to, y * job.lineSpacingMm];
        });
      }
      return seconds;
    },
  };
}

interface GantryHabits {
  /** Pauses to fill the buffer: each so many lines, so long. */
  readonly buffer?: { readonly everyLines: number; readonly pauseS: number };
  /** Run beyond the marks as a share of the speed, mm per mm/s. */
  readonly overscanS?: number;
  /** Dots a second that the controller can feed. */
  readonly mostDotsPerS?: number;
}

/** A head with a constant run beyond the marks, dead time that scatters, and habits of its own. */
function drawGantry(chance: () => number, habits: GantryHabits): Stranger {
  const a = between(chance, 1000, 8000);
  const travel = between(chance, 150, 500);
  const dead = between(chance, 3e-3, 3e-2);
  const over = between(chance, 0.5, 4);
  const start = between(chance, 1, 5);
  const ramp = (v: number, way: number) => (way >= v ** 2 / a ? way / v + v / a : 2 * Math.sqrt(way / a));
  return {
    kind: 'gantry',
    seconds: (dots, job, luck) => {
      let seconds = start;
      const cap = habits.mostDotsPerS === undefined ? Number.POSITIVE_INFINITY : habits.mostDotsPerS * job.pitchMm;
      const v = Math.min(job.speedMmPerS, cap);
      const beyond = over + (habits.overscanS ?? 0) * v + v ** 2 / (2 * a);
      const lines = walkLines(dots);
      let x = 0;
      let lastY = 0;
      for (let pass = 0; pass < job.passes; pass++) {
        lines.forEach(({ y, runs }, i) => {
          const back = job.scan === 'two-way' && i % 2 === 1;
          const [left, right] = [runs[0]! * job.pitchMm - beyond, runs.at(-1)! * job.pitchMm + beyond];
          const from = back ? right : left;
          // Along and across one after the other.
          if (Math.abs(from - x) > 1e-6) seconds += ramp(travel, Math.abs(from - x));
          seconds += ramp(travel, Math.abs(y - lastY) * job.lineSpacingMm + 1e-9);
          seconds += (right - left - v ** 2 / a) / v + (2 * v) / a;
          seconds += dead * (1 + 0.15 * normal(luck));
          if (habits.buffer && i % habits.buffer.everyLines === habits.buffer.everyLines - 1)
            seconds += habits.buffer.pauseS;
          x = back ? left : right;
          lastY = y;
        });
      }
      return seconds;
    },
  };
}

export const drawBufferedGantry = (chance: () => number) =>
  drawGantry(chance, {
    buffer: { everyLines: Math.round(between(chance, 40, 200)), pauseS: between(chance, 0.05, 0.3) },
  });

export const drawOverscanGantry = (chance: () => number) =>
  drawGantry(chance, { overscanS: between(chance, 0.005, 0.03) });

/** A cap that usual speeds meet. */
export const drawCappedGantry = (chance: () => number) =>
  drawGantry(chance, { mostDotsPerS: between(chance, 1500, 3000) });

/**
 * Every dot burned by itself for its pitch at scan speed, never less than a least time; gaps are jumped over as c +
 * d/u.
 */
export function drawDotGalvo(chance: () => number, { slow = false } = {}): Stranger {
  const jump = between(chance, 2000, 7000);
  const skip = between(chance, 1500, 5000);
  const gap = slow ? between(chance, 4e-5, 2e-4) : between(chance, 2e-6, 2e-5);
  const dot = slow ? between(chance, 1e-5, 1e-4) : 0;
  const least = between(chance, 2e-6, 1e-5);
  const c = between(chance, 2e-4, 8e-4);
  const k = between(chance, 2e-5, 2e-4);
  const start = between(chance, 0.5, 4);
  return {
    kind: 'galvo',
    seconds: (dots, job, luck) => {
      let seconds = start;
      const lines = walkLines(dots);
      let [px, py] = [0, 0];
      const each = Math.max(least, job.pitchMm / job.speedMmPerS) + dot;
      for (let pass = 0; pass < job.passes; pass++) {
        lines.forEach(({ y, runs }, i) => {
          const back = job.scan === 'two-way' && i % 2 === 1;
          const ends = [runs[0]! * job.pitchMm, runs.at(-1)! * job.pitchMm];
          const [from, to] = back ? [ends[1]!, ends[0]!] : [ends[0]!, ends[1]!];
          const d = Math.sqrt((from - px) ** 2 + (y * job.lineSpacingMm - py) ** 2);
          seconds += d / jump + (c + k * Math.sqrt(d)) * (1 + 0.1 * normal(luck));
          for (let at = 0; at < runs.length; at += 2) {
            seconds += (runs[at + 1]! - runs[at]!) * each;
            if (at > 0) seconds += gap + ((runs[at]! - runs[at - 1]!) * job.pitchMm) / skip;
          }
          [px, py] = [to, y * job.lineSpacingMm];
        });
      }
      return seconds;
    },
  };
}

/** Every dot is flashed for a time of its own whatever the speed says, and the mirrors settle before each. */
export function drawFlashingGalvo(chance: () => number): Stranger {
  const dwell = between(chance, 3e-5, 2e-4);
  const settle = between(chance, 2e-5, 1e-4);
  const jump = between(chance, 2000, 7000);
  const line = between(chance, 2e-4, 8e-4);
  const start = between(chance, 0.5, 4);
  return {
    kind: 'galvo',
    seconds: (dots, job) => {
      let seconds = start;
      const lines = walkLines(dots);
      for (let pass = 0; pass < job.passes; pass++) {
        for (const { runs } of lines) {
          let fired = 0;
          for (let at = 0; at < runs.length; at += 2) fired += runs[at + 1]! - runs[at]!;
          const wide = (runs.at(-1)! - runs[0]!) * job.pitchMm;
          seconds += fired * (dwell + settle) + (wide / jump) * (job.scan === 'one-way' ? 2 : 1) + line;
        }
      }
      return seconds;
    },
  };
}

/** By what each does that the motion does not know. */
export const STRANGERS = {
  'a galvo that settles as c + k√d': drawRootGalvo,
  'a gantry with buffer pauses': drawBufferedGantry,
  'a gantry whose overscan grows with the speed': drawOverscanGantry,
  'a gantry with a cap on dots a second': drawCappedGantry,
  'a galvo that burns dot by dot with quick skips': (chance: () => number) => drawDotGalvo(chance),
  'a galvo that burns dot by dot with slow skips': (chance: () => number) => drawDotGalvo(chance, { slow: true }),
  'a galvo that flashes each dot': drawFlashingGalvo,
} as const satisfies Record<string, (chance: () => number) => Stranger>;

const USUAL = {
  galvo: { spacingMm: 0.04, speedMmPerS: 1000, sizeMm: 30 },
  gantry: { spacingMm: 0.1, speedMmPerS: 200, sizeMm: 60 },
} as const;

/** A screened picture: within bare margins dots of chance whose share differs from place to place about `coverage`. */
function drawScreened(
  [widthMm, heightMm]: readonly [number, number],
  { spacingMm, coverage, margin }: { readonly spacingMm: number; readonly coverage: number; readonly margin: number },
  chance: () => number,
): Dots {
  const dots = createDots(Math.round(widthMm / spacingMm), Math.round(heightMm / spacingMm));
  const { width, height } = dots;
  // A seeded multiplicative generator of its own: a call of `chance` for each dot would take most of the time.
  let state = Math.floor(chance() * 2 ** 31) | 1;
  for (let y = Math.round(margin * height); y < (1 - margin) * height; y++) {
    for (let x = Math.round(margin * width); x < (1 - margin) * width; x++) {
      state = Math.imul(state, 48271) >>> 0;
      const local = coverage * (1 + 0.6 * Math.sin((7 * x) / width) * Math.cos((5 * y) / height));
      if (state / 2 ** 32 < local) dots.data[y * width + x] = 1;
    }
  }
  return dots;
}

/** Eight readings as a shop takes them: a wide and a small picture, three speeds, both directions. */
export function planStrangeReadings(kind: Stranger['kind'], chance: () => number): TimedJob[] {
  const { spacingMm, speedMmPerS, sizeMm } = USUAL[kind];
  const grid = { pitchMm: spacingMm, lineSpacingMm: spacingMm };
  const draw = (times: number, coverage: number, margin: number) =>
    drawScreened([2.5 * sizeMm * times, sizeMm * times], { spacingMm, coverage, margin }, chance);
  const wide = draw(1, 0.45, 0.1);
  const small = draw(0.45, 0.3, 0.05);
  const plan: [dots: Dots, times: number, scan: EngraverJob['scan'], passes: number][] = [
    [wide, 1, 'one-way', 1],
    [wide, 1, 'two-way', 1],
    [wide, 2, 'one-way', 1],
    [wide, 0.5, 'two-way', 1],
    [small, 1, 'one-way', 2],
    [small, 2, 'two-way', 3],
    [small, 0.5, 'one-way', 1],
    [small, 1, 'two-way', 2],
  ];
  return plan.map(([dots, times, scan, passes]) => ({
    dots,
    job: { ...grid, speedMmPerS: times * speedMmPerS, scan, passes },
  }));
}

/** A job that no reading was like: another size, tone, grid and speed. */
export function drawStrangeJob(kind: Stranger['kind'], chance: () => number): TimedJob {
  const { spacingMm, speedMmPerS, sizeMm } = USUAL[kind];
  const pitchMm = spacingMm * (1 + 0.5 * chance());
  const size = [sizeMm * (0.8 + 2 * chance()), sizeMm * (0.8 + chance())] as const;
  const dots = drawScreened(
    size,
    { spacingMm: pitchMm, coverage: 0.2 + 0.4 * chance(), margin: chance() < 0.5 ? 0 : 0.1 },
    chance,
  );
  const scan = chance() < 0.5 ? 'one-way' : 'two-way';
  return {
    dots,
    job: {
      pitchMm,
      lineSpacingMm: pitchMm,
      speedMmPerS: Math.round(speedMmPerS * 0.6 * 3.3 ** chance()),
      scan,
      passes: chance() < 0.7 ? 1 : 2,
    },
  };
}

/** A machine is timed eight times and fitted, then burns jobs that the fit has not seen. */
export function tryStranger(
  draw: (chance: () => number) => Stranger,
  { chance, handS, jobs }: Stopwatch & { readonly jobs: number },
) {
  const stranger = draw(chance);
  const readings = planStrangeReadings(stranger.kind, chance).map(({ dots, job }): Reading => {
    const seconds = stranger.seconds(dots, job, chance) + handS * normal(chance);
    const settings = { powerW: 1, ...job };
    return { extents: findExtents(dots), grid: job, settings, seconds: Number(seconds.toFixed(1)), stepS: 0.1 };
  });
  const fit = fitMotion(readings, { motion: startingMachine(stranger.kind).motion });
  const unseen = Array.from({ length: jobs }, () => {
    const job = drawStrangeJob(stranger.kind, chance);
    return { ...predictTime(fit, job), truthS: stranger.seconds(job.dots, job.job, chance) };
  });
  return { fit, unseen };
}
